package main

import (
	"math"

	"dentcount/judge"
	"dentcount/measure"
)

// The ways of lowering the floor that a ruler's thickness puts under the pitch
// where it is not told.
const (
	wayPlain = iota
	waySide
	wayTwo
	wayTwoSide
	wayTold
	ways
)

var wayNames = [ways]string{
	"one photo, nothing heeded", "one photo, side face heeded",
	"all photos, no side face", "all photos and side faces", "one photo, thickness told",
}

// waysOf are the answers from the photos of one part by each way.
func waysOf(rs []measure.Reading, t truth) (out [ways]outcome) {
	plain, side, told := measure.Options{WithoutSideFace: true}, measure.Options{}, measure.Options{RulerThicknessMM: t.ThicknessMM}
	out[wayPlain], out[waySide] = outcomeOf(rs[0].Answer(plain)), outcomeOf(rs[0].Answer(side))
	out[wayTwo], out[wayTwoSide] = outcomeOf(measure.SamePart(rs, plain)), outcomeOf(measure.SamePart(rs, side))
	out[wayTold] = outcomeOf(rs[0].Answer(told))
	return out
}

// reportWays prints what each way of telling the ruler's height from the photos
// themselves gains, on the parts that every way reads right.
func reportWays(p printf, all []series) {
	table := func(title string, which func(series) bool) {
		var errs [ways][]float64
		var rows [ways][]row
		for _, s := range all {
			if !which(s) {
				continue
			}
			close := true
			var e [ways]float64
			for w, o := range s.ways {
				r := row{truth: s.truth, got: o}
				rows[w] = append(rows[w], r)
				e[w] = math.Abs(r.rel())
				close = close && e[w] < farOffRel
			}
			for w := range e {
				if close {
					errs[w] = append(errs[w], e[w])
				}
			}
		}
		n := len(rows[0])
		p("%s: %d parts, pitch error of the %d read right by every way", title, n, len(errs[0]))
		if len(errs[0]) == 0 {
			return
		}
		for w, name := range wayNames {
			q := judge.Quantiles(errs[w], 0.5, 0.95)
			in := 0
			for _, r := range rows[w] {
				if r.DentsPerInch >= r.got.Lo95 && r.DentsPerInch <= r.got.Hi95 {
					in++
				}
			}
			p("  %-28s median %.3f %%, 95th %.3f %%; answered and right %d (%.0f %%), wrong %d; in the 95 %% interval %d", name, 100*q[0], 100*q[1],
				count(rows[w], func(r row) bool { return answered(r) && r.right() }), 100*float64(count(rows[w], func(r row) bool { return answered(r) && r.right() }))/float64(n),
				count(rows[w], func(r row) bool { return answered(r) && !r.right() }), in)
		}
	}
	p("== lowering the floor of a thickness that is not told")
	table("all", func(series) bool { return true })
	table("those that may show the ruler's side face", func(s series) bool { return s.seesSide })
}
