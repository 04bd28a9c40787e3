package main

import (
	"fmt"
	"math"

	"dentcount/judge"
	"dentcount/measure"
	"dentcount/trade"
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
	reportPrinted(p, all)
}

// reportPrinted says what a perfect reader would gain by a thin printed scale on
// the wires, beside the ruler, for prints that are true to so much (a standard
// uncertainty); 0 is no such scale.
func reportPrinted(p printf, all []series) {
	p("computed: a perfect reader with a printed scale on the wires beside the ruler")
	for _, relU := range []float64{0, 0.0005, 0.001, 0.002, 0.004} {
		var errs []float64
		decided, n := 0, 0
		for _, s := range all {
			r := judge.Reader{ThinMM: thinMM, ThickMM: thickMM, NoneShare: noneShare}
			t := s.truth
			if t.heightMM() == 0 || t.DentsPerInch == 0 {
				continue
			}
			// Prints are off one way and the other, by equal parts of the normal distribution.
			for _, z := range []float64{-1.43, -0.80, -0.38, 0, 0.38, 0.80, 1.43} {
				r.Second = judge.SecondScale{RelU: relU, Off: z * relU}
				v := r.Read(t.DentsPerInch, t.ThicknessMM, t.heightMM(), trade.Sizes(t.Part))
				errs = append(errs, math.Abs(v.PlainPerInch/t.DentsPerInch-1))
				n++
				if v.P >= decidedAt && v.Label == t.Label {
					decided++
				}
			}
		}
		if n == 0 {
			return
		}
		name := "no printed scale"
		if relU > 0 {
			name = fmt.Sprintf("print true to %.2f %%", 100*relU)
		}
		q := judge.Quantiles(errs, 0.5, 0.95)
		p("  %-28s median %.3f %%, 95th %.3f %%; decided and right %.0f %%", name, 100*q[0], 100*q[1], 100*float64(decided)/float64(n))
	}
}

// lineOf is one part in one line: the error by each way.
func lineOf(s series) string {
	out := fmt.Sprintf("%-13s %6s %-12s t %.2f mm, D %3.0f mm:", s.truth.Part, s.truth.Label, s.truth.RulerLook, s.truth.ThicknessMM, s.truth.heightMM())
	for _, o := range s.ways {
		r := row{truth: s.truth, got: o}
		out += fmt.Sprintf(" %+.3f ±%.3f %s %s %.2f |", 100*r.rel(), 100*o.U/math.Max(o.PerInch, 1e-9), o.Status, o.Label, o.Confidence)
	}
	return fmt.Sprintf("%s t seen %.2f ± %.2f mm", out, s.thicknessMM, s.thicknessUMM)
}
