package shelf

import (
	"strconv"
	"strings"
	"unicode/utf8"
)

// A text cell that begins with one of these is run as a formula by some
// spreadsheets (OWASP, "CSV Injection"; the full-width forms are folded to
// the plain ones by some of them).
const formulaStarts = "=+-@\t\r\n＝＋－＠"

// EscapeCell makes a text safe as a CSV cell: one that a spreadsheet would run
// as a formula gets an apostrophe in front, and so does one that begins with
// an apostrophe, so that UnescapeCell gives back exactly the text. A text
// that CSV itself would alter (a carriage return) or that is not valid UTF-8
// is written in Go's quoted form after an apostrophe and a backslash.
func EscapeCell(s string) string {
	if strings.ContainsAny(s, "\r\x00") || !utf8.ValidString(s) {
		q := strconv.Quote(s)
		return `'\` + q[1:len(q)-1]
	}
	first, _ := utf8.DecodeRuneInString(s)
	if s != "" && (first == '\'' || strings.ContainsRune(formulaStarts, first)) {
		return "'" + s
	}
	return s
}

// UnescapeCell is the inverse of EscapeCell.
func UnescapeCell(cell string) (string, error) {
	rest, escaped := strings.CutPrefix(cell, "'")
	if !escaped {
		return cell, nil
	}
	if quoted, ok := strings.CutPrefix(rest, `\`); ok {
		s, err := strconv.Unquote(`"` + quoted + `"`)
		if err != nil {
			return "", badValue("", "the cell %.40q cannot be read", cell)
		}
		return s, nil
	}
	return rest, nil
}
