package trade

import (
	"math/big"
	"strconv"
	"strings"
	"unicode"
)

// plainForm turns what people and phones type into plain ASCII: fraction
// characters become " 1/2", the several quote marks and dashes become one
// each, odd spaces become spaces, letters small.
func plainForm(s string) string {
	var b strings.Builder
	for _, r := range s {
		if f, ok := fractionChars[r]; ok {
			b.WriteString(" " + f)
			continue
		}
		switch r {
		case '\u2044', '\u2215': // fraction slash, division slash
			b.WriteByte('/')
		case '″', '”', '“', '„', '〃':
			b.WriteByte('"')
		case '′', '’', '‘', '´':
			b.WriteByte('\'')
		case '‐', '‑', '‒', '–', '—', '−':
			b.WriteByte('-')
		default:
			if unicode.IsSpace(r) || r == '\u200b' || r == '\ufeff' {
				r = ' '
			}
			b.WriteRune(unicode.ToLower(r))
		}
	}
	return strings.ReplaceAll(strings.Join(strings.Fields(b.String()), " "), "''", `"`)
}

var fractionChars = map[rune]string{
	'½': "1/2", '⅓': "1/3", '⅔': "2/3", '¼': "1/4", '¾': "3/4",
	'⅕': "1/5", '⅖': "2/5", '⅗': "3/5", '⅘': "4/5", '⅙': "1/6", '⅚': "5/6",
	'⅐': "1/7", '⅛': "1/8", '⅜': "3/8", '⅝': "5/8", '⅞': "7/8", '⅑': "1/9", '⅒': "1/10",
}

// leadingNumber reads the number a plain text starts with: "27", "27.5",
// "27,5", "1/2", "27 1/2", "27-1/2". used is how much of the text it took, 0
// where there is none. bad says in words what is wrong with it, where it is
// wrong. comma says that the only separator was a comma with exactly three
// digits after it, so that it could have been meant for thousands.
func leadingNumber(s string) (value float64, used int, comma bool, bad string) {
	whole := digits(s)
	if whole == 0 && (len(s) == 0 || (s[0] != '.' && s[0] != ',')) {
		return 0, 0, false, ""
	}
	i := whole
	if i < len(s) && s[i] == '/' {
		return fraction(s, 0)
	}
	if i < len(s) && (s[i] == '.' || s[i] == ',') {
		n := digits(s[i+1:])
		if n == 0 {
			return 0, 0, false, "the number ends in a " + string(s[i])
		}
		comma = s[i] == ',' && n == 3 && whole > 0 && strings.Trim(s[:whole], "0") != ""
		end := i + 1 + n
		v, err := strconv.ParseFloat(s[:i]+"."+s[i+1:end], 64)
		if err != nil {
			return 0, 0, false, "the number is too long"
		}
		if end < len(s) && (s[end] == '.' || s[end] == ',') {
			return 0, 0, false, "the number has two decimal points"
		}
		return v, end, comma, ""
	}
	v, err := strconv.ParseFloat(s[:i], 64)
	if err != nil {
		return 0, 0, false, "the number is too long"
	}
	// a fraction after the whole number, joined by a space or a dash
	if j := i + 1; i < len(s) && (s[i] == ' ' || s[i] == '-') && j < len(s) {
		if n := digits(s[j:]); n > 0 && j+n < len(s) && s[j+n] == '/' {
			f, end, _, bad := fraction(s, j)
			if bad == "" && f >= 1 {
				bad = "the fraction after the whole number is one or more"
			}
			return v + f, end, false, bad
		}
	}
	return v, i, false, ""
}

// fraction reads "n/d" at s[at:].
func fraction(s string, at int) (value float64, end int, comma bool, bad string) {
	n := digits(s[at:])
	d := digits(s[at+n+1:])
	if d == 0 {
		return 0, 0, false, "the fraction has nothing under the line"
	}
	end = at + n + 1 + d
	num, den := s[at:at+n], s[at+n+1:end]
	if strings.Trim(den, "0") == "" {
		return 0, 0, false, "the fraction has zero under the line"
	}
	r, ok := new(big.Rat).SetString(num + "/" + den)
	if !ok {
		return 0, 0, false, "the fraction can't be read"
	}
	value, _ = r.Float64()
	return value, end, false, ""
}

// digits counts the ASCII digits a text starts with.
func digits(s string) int {
	i := 0
	for i < len(s) && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	return i
}
