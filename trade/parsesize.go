package trade

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// The dent sizes ParseSize takes for possible, in dents per inch.
const (
	minPerInch = 0.5
	maxPerInch = 250
)

// ParseSize reads a dent size as people write it. "10", "7,5", "12 1/2",
// "12½", "10 dent", "10 per inch" are dents per inch; "40/10", "40 per 10 cm"
// are dents per 10 cm; "20/5" is dents per 5 cm and comes back as the same
// size per 10 cm, 40/10.
//
// A size that is made comes with its row's weight (its share among reeds and
// rigid heddles together), tolerance and source. Any other comes with weight
// 0 and no source: it can be right all the same, old reeds carry many counts
// (see [Counts]). What could be meant in two ways is a [Question].
func ParseSize(s string) (MadeSize, error) {
	shown := shorten(s)
	if len(s) > 100 {
		return MadeSize{}, fmt.Errorf("%q is too long for a dent size: write it like 10, 12 1/2 or 40/10", shown)
	}
	text := plainForm(s)
	if text == "" {
		return MadeSize{}, errors.New("no dent size given: write it like 10, 12 1/2 or 40/10")
	}
	if strings.HasPrefix(text, "-") {
		return MadeSize{}, fmt.Errorf("%q is negative: a dent size is a number of dents", shown)
	}
	if n, over, rest, ok := overForm(text); ok {
		return metricSize(shown, n, over, rest)
	}
	number, unit := cutUnit(text)
	v, used, _, bad := leadingNumber(number)
	if bad != "" || used == 0 || used != len(number) {
		return MadeSize{}, fmt.Errorf("%q is not a dent size: write it like 10, 12 1/2 or 40/10", shown)
	}
	switch unit {
	case unitLength:
		return MadeSize{}, Question{
			Problem: fmt.Sprintf("%q is a length", shown),
			Ask:     "how many dents are in one inch, or in 10 cm?",
		}
	case unitPer10CM:
		return knownSize(shown, SystemMetric, inchLabel(v)+"/10", v*MMPerInch/100)
	}
	return knownSize(shown, SystemInch, inchLabel(v), v)
}

// What a dent size can say after its number.
const (
	unitPerInch = iota
	unitPer10CM
	unitLength
)

// sizeUnits are the endings of a dent size, longest first where one ends in
// another.
var sizeUnits = []struct {
	text string
	unit int
}{
	{"dents per 10 cm", unitPer10CM}, {"per 10 cm", unitPer10CM}, {"per 10cm", unitPer10CM},
	{"per dm", unitPer10CM}, {"/dm", unitPer10CM}, {"/ dm", unitPer10CM},
	{"dents per inch", unitPerInch}, {"dent per inch", unitPerInch}, {"per inch", unitPerInch}, {"per in", unitPerInch},
	{"/inch", unitPerInch}, {"/ inch", unitPerInch}, {"/in", unitPerInch}, {"/ in", unitPerInch},
	{"dents", unitPerInch}, {"dent", unitPerInch}, {"dpi", unitPerInch},
	{"inches", unitLength}, {"inch", unitLength}, {"in", unitLength}, {`"`, unitLength}, {"cm", unitLength}, {"mm", unitLength},
}

func cutUnit(text string) (number string, unit int) {
	for _, u := range sizeUnits {
		if left, ok := strings.CutSuffix(text, u.text); ok {
			return strings.TrimSpace(left), u.unit
		}
	}
	return text, unitPerInch
}

// overForm takes "40/10" apart: dents, the centimetres they are counted over,
// and what follows.
func overForm(text string) (n, over float64, rest string, ok bool) {
	left, right, found := strings.Cut(text, "/")
	left, right = strings.TrimSpace(left), strings.TrimSpace(right)
	if !found || strings.Contains(left, " ") || strings.Contains(left, "-") {
		return 0, 0, "", false // a mixed number such as 12 1/2
	}
	n, used, _, bad := leadingNumber(left)
	if bad != "" || used != len(left) || used == 0 {
		return 0, 0, "", false
	}
	over, used, _, bad = leadingNumber(right)
	if bad != "" || used == 0 {
		return 0, 0, "", false // "10/in"
	}
	return n, over, strings.TrimSpace(right[used:]), true
}

func metricSize(shown string, n, over float64, rest string) (MadeSize, error) {
	if rest != "" && rest != "cm" {
		return MadeSize{}, fmt.Errorf("%q: %q does not belong there; metric sizes are dents per 10 cm, like 40/10", shown, shorten(rest))
	}
	if over != 10 && over != 5 {
		return MadeSize{}, Question{
			Problem: fmt.Sprintf("%q could be a fraction or a count over some centimetres", shown),
			Ask:     "how many dents are in 10 cm? say it like 40/10; a fraction of an inch size is written 12 1/2",
		}
	}
	per10 := n * (10 / over)
	return knownSize(shown, SystemMetric, inchLabel(per10)+"/10", per10*MMPerInch/100)
}

// CheckPerInch gives a pitch back where a reed or heddle can have it, and else an
// error about what a person wrote.
func CheckPerInch(said string, perInch float64) (float64, error) {
	if !(perInch >= minPerInch && perInch <= maxPerInch) {
		return 0, fmt.Errorf("%q is %s dents per inch: no reed or heddle has that; check the number", shorten(said), inchLabel(perInch))
	}
	return perInch, nil
}

// ParseNumber reads a number of an old count as people write it: "40", "12 1/2",
// "1200". It is more than nothing.
func ParseNumber(s string) (float64, error) {
	shown := shorten(s)
	text := plainForm(s)
	v, used, _, bad := leadingNumber(text)
	switch {
	case len(s) > 100 || bad != "" || used == 0 || used != len(text):
		return 0, fmt.Errorf("%q is not a number of a reed count: write it like 40, 12 1/2 or 1200", shown)
	case v == 0:
		return 0, fmt.Errorf("%q: a reed count is more than nothing", shown)
	}
	return v, nil
}

func knownSize(shown, system, label string, perInch float64) (MadeSize, error) {
	if _, err := CheckPerInch(shown, perInch); err != nil {
		return MadeSize{}, err
	}
	for _, m := range allSizes() {
		if m.System == system && m.Label == label {
			return m, nil
		}
	}
	return MadeSize{Label: label, System: system, PerInch: perInch, TolRel: defaultTolRel}, nil
}

// defaultTolRel is the maker's tolerance taken for a size in no table: that of
// the reeds (a stated prior).
const defaultTolRel = 0.0010

// inchLabel writes a number of dents as labels do: 10, 7.5, 12.25.
func inchLabel(v float64) string {
	t := strconv.FormatFloat(v, 'f', 4, 64)
	return strings.TrimSuffix(strings.TrimRight(t, "0"), ".")
}
