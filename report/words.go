package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Printable returns s as one line that is safe on a terminal: control
// characters, line breaks, invisible and direction-changing characters and
// invalid UTF-8 are written as Go escapes. Ordinary text is unchanged.
func Printable(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, s[i])
		case unicode.IsPrint(r):
			b.WriteRune(r)
		default:
			q := strconv.QuoteRuneToASCII(r)
			b.WriteString(q[1 : len(q)-1])
		}
		i += n
	}
	return b.String()
}

// Sentences joins the parts that are not empty into sentences: each begins
// with a capital (but for the first, which follows a name) and ends with a
// full stop.
func Sentences(parts ...string) string {
	var out []string
	for _, p := range parts {
		p = strings.TrimSpace(p)
		if p == "" {
			continue
		}
		if len(out) > 0 {
			r, n := utf8.DecodeRuneInString(p)
			p = string(unicode.ToUpper(r)) + p[n:]
		}
		if !strings.ContainsAny(p[len(p)-1:], ".?!") {
			p += "."
		}
		out = append(out, p)
	}
	return strings.Join(out, " ")
}

// Inches writes a length as a weaver reads it off a ruler: whole inches and
// the nearest sixteenth, reduced ("6", "3 1/4", "15/16"). Not finite: "?".
func Inches(in float64) string { return fraction(in, 16) }

// fraction is x to the nearest 1/den, reduced; den is a power of two.
func fraction(x float64, den int64) string {
	if math.IsNaN(x) || math.Abs(x) > 1e9 {
		return "?"
	}
	n := int64(math.Round(math.Abs(x) * float64(den)))
	sign := ""
	if x < 0 && n > 0 {
		sign = "-"
	}
	whole, part := n/den, n%den
	for part > 0 && part%2 == 0 && den%2 == 0 {
		part, den = part/2, den/2
	}
	switch {
	case part == 0:
		return fmt.Sprintf("%s%d", sign, whole)
	case whole == 0:
		return fmt.Sprintf("%s%d/%d", sign, part, den)
	}
	return fmt.Sprintf("%s%d %d/%d", sign, whole, part, den)
}
