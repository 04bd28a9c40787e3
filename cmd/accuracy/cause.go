package main

import (
	"fmt"
	"math"
	"sort"
	"strings"
)

// farOff is how many standard uncertainties a pitch may be off before it is
// called misread.
const farOff = 4

// causeOf says at which stage a photo that could be answered lost its right
// answer; "" where it did not.
func causeOf(r row) string {
	ratio := r.got.PerInch / r.DentsPerInch
	off := func(k float64) bool { return math.Abs(ratio/k-1) < 0.03 }
	switch {
	case refused(r) && r.got.Unit == "":
		return "ruler not found"
	case refused(r):
		return "bands refused: " + keepWords(r.got.Reason)
	case !r.unitRight():
		return "wrong unit"
	case off(2) || off(3) || off(0.5) || off(1.0/3) || off(1.5) || off(2.0/3):
		return "bands doubled or halved"
	case math.Abs(ratio-1) > 0.05:
		return "pitch far from the truth (5 % or more)"
	case math.Abs(r.got.PerInch-r.DentsPerInch) > farOff*r.got.U:
		return fmt.Sprintf("pitch off by more than %d u", farOff)
	case r.right() && answered(r):
		return ""
	case r.got.Part != r.Part:
		return "wrong part"
	case unsure(r) && r.got.Confidence+r.got.NextP > 0.75:
		return "size ambiguous"
	case unsure(r):
		return "reading doubted"
	}
	return "wrong size, pitch within 4 u"
}

// keepWords drops the figures from a reason, so that like reasons are alike.
func keepWords(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(c rune) bool { return c >= '0' && c <= '9' || c == '.' || c == ' ' }), " ")
}

// causes sorts the photos that could be answered by what went wrong.
func causes(rows []row) map[string][]row {
	out := map[string][]row{}
	for _, r := range rows {
		if c := causeOf(r); c != "" && r.answerable() {
			out[c] = append(out[c], r)
		}
	}
	return out
}

func failures(p printf, rows []row) {
	by := causes(rows)
	var names []string
	for n := range by {
		names = append(names, n)
	}
	sort.Slice(names, func(i, j int) bool {
		if len(by[names[i]]) != len(by[names[j]]) {
			return len(by[names[i]]) > len(by[names[j]])
		}
		return names[i] < names[j]
	})
	p("what went wrong with photos that could be answered (%d of %d):", len(rows)-count(rows, func(r row) bool { return causeOf(r) == "" }), len(rows))
	for _, n := range names {
		var eg []string
		for i, r := range by[n] {
			if i == 12 {
				eg = append(eg, "…")
				break
			}
			eg = append(eg, r.File)
		}
		p("  %4d %s: %s", len(by[n]), n, strings.Join(eg, " "))
	}
}
