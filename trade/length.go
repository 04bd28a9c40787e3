package trade

import (
	"errors"
	"fmt"
	"strings"
)

// The lengths a weaving part can have: ParseLengthIn refuses anything outside.
const (
	MinLengthIn = 1 / MMPerInch    // 1 mm
	MaxLengthIn = 4000 / MMPerInch // 4 m
)

// ParseLengthIn reads a length as people write it and gives inches: "27in",
// `27 1/2"`, "10-15/16 in", "27½ in", `2' 3 1/2"`, "68 cm", "68,5 cm",
// "685 mm", "0.68 m". A number without a unit is a [Question], not a guess.
// Negative, zero, under 1 mm and over 4 m are errors that say so.
func ParseLengthIn(s string) (float64, error) {
	shown := shorten(s)
	if len(s) > 100 {
		return 0, fmt.Errorf("%q is too long for a length: write it like 27 1/2 in or 68 cm", shown)
	}
	text := plainForm(s)
	if text == "" {
		return 0, errors.New("no length given: write it like 27 1/2 in or 68 cm")
	}
	if strings.HasPrefix(text, "-") {
		return 0, fmt.Errorf("%q is negative: a length is more than nothing", shown)
	}
	text = strings.TrimPrefix(text, "+")

	v, used, comma, bad := leadingNumber(strings.TrimSpace(text))
	text = strings.TrimSpace(text)
	switch {
	case bad != "":
		return 0, fmt.Errorf("%q: %s; write it like 27 1/2 in or 68.5 cm", shown, bad)
	case used == 0:
		return 0, fmt.Errorf("%q is not a length: write a number and a unit, like 27 1/2 in or 68 cm", shown)
	}
	num := text[:used]
	unit := strings.TrimSpace(text[used:])
	if unit == "" {
		return 0, Question{Ask: fmt.Sprintf("%s what? say %sin or %scm", num, num, num)}
	}

	if feet, rest := cutFeet(unit); feet {
		in := 0.0
		if rest != "" {
			var n int
			in, n, _, bad = leadingNumber(rest)
			if bad != "" || n == 0 || unitIn(strings.TrimSpace(rest[n:])) != 1 || in >= 12 {
				return 0, fmt.Errorf(`%q: after the feet come less than twelve inches, like 2' 3 1/2"`, shown)
			}
		}
		return inRange(shown, v*12+in)
	}
	per := unitIn(unit)
	if per == 0 {
		return 0, fmt.Errorf("%q: %q is not a unit of length here; use in, cm, mm, m or ft", shown, shorten(unit))
	}
	if comma {
		return commaLength(shown, num, v, per)
	}
	return inRange(shown, v*per)
}

// commaLength settles "1,234 mm": a decimal comma and a comma for thousands
// look the same. Where only one of the two is a length at all, it is that
// one; else it is asked.
func commaLength(shown, num string, v, per float64) (float64, error) {
	decimal, errD := inRange(shown, v*per)
	_, errT := inRange(shown, v*1000*per)
	if errD == nil && errT == nil {
		return 0, Question{
			Problem: fmt.Sprintf("%q could be read in two ways", shown),
			Ask: fmt.Sprintf("is it %s or %s? write it with a point, or without the comma",
				strings.Replace(num, ",", ".", 1), strings.Replace(num, ",", "", 1)),
		}
	}
	if errD != nil && errT == nil {
		return v * 1000 * per, nil
	}
	return decimal, errD
}

func inRange(shown string, in float64) (float64, error) {
	switch {
	case in == 0:
		return 0, fmt.Errorf("%q is zero: a length is more than nothing", shown)
	case in < MinLengthIn:
		return 0, fmt.Errorf("%q is under 1 mm: too short for anything on a loom; check the unit", shown)
	case !(in <= MaxLengthIn):
		return 0, fmt.Errorf("%q is over 4 m: too long for anything on a loom; check the unit", shown)
	}
	return in, nil
}

// cutFeet takes a unit of feet off the front: true and what follows it.
func cutFeet(s string) (bool, string) {
	for _, u := range []string{"feet", "foot", "ft.", "ft", "'"} {
		if rest, ok := strings.CutPrefix(s, u); ok {
			return true, strings.TrimLeft(rest, " -")
		}
	}
	return false, s
}

// unitIn is the length of one unit in inches, 0 where it is none we know.
func unitIn(u string) float64 {
	switch strings.TrimSuffix(u, ".") {
	case "in", "ins", "inch", "inches", `"`:
		return 1
	case "cm", "cms", "centimetre", "centimetres", "centimeter", "centimeters":
		return 10 / MMPerInch
	case "mm", "millimetre", "millimetres", "millimeter", "millimeters":
		return 1 / MMPerInch
	case "m", "metre", "metres", "meter", "meters":
		return 1000 / MMPerInch
	}
	return 0
}

// shorten keeps a person's own words readable in an error.
func shorten(s string) string {
	const most = 40
	r := []rune(strings.TrimSpace(strings.ToValidUTF8(s, "?")))
	if len(r) <= most {
		return string(r)
	}
	return string(r[:most]) + "…"
}
