package main

import (
	"fmt"
	"io"
	"math"
	"sort"
	"strings"

	"dentcount/judge"
	"dentcount/measure"
	"dentcount/scene"
	"dentcount/trade"
)

// line is one photo in one line of text.
func line(r row) string {
	s := fmt.Sprintf("%-14s %-17s %-13s %6s %7.3f | %-8s", r.File, r.Expect, r.Part, r.Label, r.DentsPerInch, r.got.Status)
	if r.claims() {
		ok := "WRONG"
		if r.right() {
			ok = "right"
		}
		s += fmt.Sprintf(" %-13s %6s p=%.3f %s dpi %.3f ±%.3f err %+.3f%% px/dent %.1f", r.got.Part, r.got.Label, r.got.Confidence, ok,
			r.got.PerInch, r.got.U, 100*r.rel(), r.pxPerDent())
		if !r.unitRight() {
			s += " UNIT " + r.got.Unit
		}
	}
	if r.got.Reason != "" {
		s += " (" + r.got.Reason + ")"
	}
	return fmt.Sprintf("%s %d ms", s, r.tookMS)
}

// of is a count beside its whole, with its share and the 95 % interval of that.
func of(k, n int) string {
	if n == 0 {
		return "0 of 0"
	}
	iv := judge.ClopperPearson(k, n, 0.95)
	return fmt.Sprintf("%d of %d, %.1f %% [%.1f, %.1f]", k, n, 100*float64(k)/float64(n), 100*iv.Lo, 100*iv.Hi)
}

func count(rows []row, is func(row) bool) int {
	n := 0
	for _, r := range rows {
		if is(r) {
			n++
		}
	}
	return n
}

func which(rows []row, is func(row) bool) []row {
	var out []row
	for _, r := range rows {
		if is(r) {
			out = append(out, r)
		}
	}
	return out
}

func answered(r row) bool { return r.got.Status == measure.Answered }
func unsure(r row) bool   { return r.got.Status == measure.Unsure }
func refused(r row) bool  { return r.got.Status == measure.Refused }

// report prints the whole table of one way of asking. Brackets hold 95 %
// intervals (Clopper–Pearson).
func report(w io.Writer, rows []row, told bool) {
	p := func(format string, args ...any) { fmt.Fprintf(w, format+"\n", args...) }
	answers := which(rows, row.answerable)
	others := which(rows, func(r row) bool { return !r.answerable() })
	p("all scenes %d: answered %d, unsure %d, refused %d", len(rows), count(rows, answered), count(rows, unsure), count(rows, refused))
	right := count(answers, func(r row) bool { return answered(r) && r.right() })
	p("answer scenes %d: answered %d, right %d (%.0f %%), wrong %d; unsure %d, refused %d; unit wrong %d",
		len(answers), count(answers, answered), right, 100*float64(right)/math.Max(1, float64(len(answers))),
		count(answers, func(r row) bool { return answered(r) && !r.right() }),
		count(answers, unsure), count(answers, refused),
		count(answers, func(r row) bool { return answered(r) && !r.unitRight() }))
	p("  answered and right: %s", of(right, len(answers)))
	clear := which(answers, func(r row) bool { return !indistinct(r) })
	p("  of those whose size the makers' tolerances do not hide: %s", of(count(clear, func(r row) bool { return answered(r) && r.right() }), len(clear)))
	f := floorOf(answers, told)
	p("  a perfect reader decides (%.2f or more) %s; right %d", decidedAt, of(len(f.decided), f.n), f.decidedRight)
	p("  answered and right of those that he decides: %s", of(count(f.decided, func(r row) bool { return answered(r) && r.right() }), len(f.decided)))
	p("refuse scenes %d: refused or unsure %d; answered %d, unsure %d (of those to be refused %d), refused %d", len(others), count(others, func(r row) bool { return !answered(r) }),
		count(others, answered), count(others, unsure), count(others, func(r row) bool { return unsure(r) && !heeded(r) }), count(others, refused))
	for _, least := range []float64{0.9, 0.95} {
		sure := which(rows, func(r row) bool { return r.claims() && r.got.Confidence >= least })
		wrong := count(sure, func(r row) bool { return !r.right() })
		p("confidence >= %g: %d, of them wrong %d; 95 %% upper bound %.3f %%", least, len(sure), wrong, 100*judge.UpperBound(wrong, len(sure), 0.95))
	}
	errorsTable(p, answers, f)
	pairs(p, answers)
	scatter(p, answers)
	coverage(p, answers)
	calibration(p, rows)
	failures(p, answers)
	byCase(p, rows)
}

// heeded says whether a scene that is not to be answered was not.
func heeded(r row) bool {
	return refused(r) || unsure(r) && r.Expect == string(scene.ExpectRefuseOrUnsure)
}

type printf func(format string, args ...any)

// absErrors are the pitch errors of the rows that have one, absolute.
func absErrors(rows []row) []float64 {
	var out []float64
	for _, r := range rows {
		if e := r.rel(); !math.IsNaN(e) {
			out = append(out, math.Abs(e))
		}
	}
	return out
}

func percentiles(v []float64) string {
	q := judge.Quantiles(v, 0.5, 0.9, 0.95, 0.99)
	return fmt.Sprintf("median %.3f %%, 90th %.3f %%, 95th %.3f %%, 99th %.3f %%", 100*q[0], 100*q[1], 100*q[2], 100*q[3])
}

func errorsTable(p printf, rows []row, f floor) {
	all := absErrors(rows)
	if len(all) == 0 {
		return
	}
	p("pitch error of %d measured: %s", len(all), percentiles(all))
	p("  of the answered:  %s", percentiles(absErrors(which(rows, answered))))
	p("  perfect reader:   %s", percentiles(f.plain))
	p("  with made sizes:  %s", percentiles(f.withSizes))
	for _, part := range []string{string(scene.Reed), string(scene.RigidHeddle)} {
		group(p, rows, part, func(r row) bool { return r.Part == part })
	}
	edges := []float64{0, 6, 9, 12, 15, 18, math.Inf(1)}
	for i := 1; i < len(edges); i++ {
		name := fmt.Sprintf("%g to %g per inch", edges[i-1], edges[i])
		if math.IsInf(edges[i], 1) {
			name = fmt.Sprintf("over %g per inch", edges[i-1])
		}
		group(p, rows, name, func(r row) bool { return r.DentsPerInch > edges[i-1] && r.DentsPerInch <= edges[i] })
	}
}

func group(p printf, rows []row, name string, is func(row) bool) {
	g := which(rows, is)
	if e := absErrors(g); len(e) > 0 {
		p("  %-17s n %4d: %s; answered and right %.0f %%", name, len(e), percentiles(e),
			100*float64(count(g, func(r row) bool { return answered(r) && r.right() }))/float64(len(g)))
	}
}

// pairs are the neighbours of the two systems that get confused.
func pairs(p printf, rows []row) {
	const leastIn = 3.0
	var all []row
	var parts []string
	for _, pair := range [][2]string{{"10", "40/10"}, {"12.5", "50/10"}, {"15", "60/10"}} {
		g := which(rows, func(r row) bool {
			return (r.Label == pair[0] || r.Label == pair[1]) && r.SpanIn >= leastIn
		})
		if len(g) == 0 {
			continue
		}
		parts = append(parts, fmt.Sprintf("%s/%s %d of %d", pair[0], pair[1], count(g, func(r row) bool { return answered(r) && r.right() }), len(g)))
		all = append(all, g...)
	}
	if len(all) > 0 {
		p("neighbours told apart with %g in of ruler or more: %s (%s)", leastIn,
			of(count(all, func(r row) bool { return answered(r) && r.right() }), len(all)), strings.Join(parts, "; "))
	}
	close := which(rows, indistinct)
	p("sizes that the makers' tolerances hide from a neighbour (14 and 55/10): %s answered and right",
		of(count(close, func(r row) bool { return answered(r) && r.right() }), len(close)))
}

// indistinct says whether the true size has a neighbour that no photo can tell
// it from.
func indistinct(r row) bool {
	sizes := trade.Sizes(r.Part)
	for _, a := range sizes {
		if a.Label != r.Label {
			continue
		}
		for _, b := range sizes {
			if b.Label != a.Label && trade.Indistinct(a, b) {
				return true
			}
		}
	}
	return false
}

// farOffRel is the error from which a pitch is misread, not merely inexact.
const farOffRel = 0.02

// scatter compares the pitch errors of the photos that were read right with the
// Cramér–Rao floor of the bands and marks in view, whose own scatter is known.
func scatter(p printf, rows []row) {
	var ratio []float64
	for _, r := range rows {
		e, f := math.Abs(r.rel()), r.cramerRao()
		if !(e < farOffRel) || math.IsNaN(f) {
			continue
		}
		ratio = append(ratio, e/f)
	}
	if len(ratio) == 0 {
		return
	}
	// Of a normal error as large as the floor the median is 0.6745, the 95th 1.96.
	q := judge.Quantiles(ratio, 0.5, 0.95)
	p("pitch scatter over the Cramér–Rao floor of the bands and marks in view, n %d: %.2f by the median, %.2f by the 95th percentile", len(ratio), q[0]/0.6745, q[1]/1.96)
}

func coverage(p printf, rows []row) {
	n, k, k1 := 0, 0, 0
	for _, r := range rows {
		if math.IsNaN(r.rel()) {
			continue
		}
		n++
		if r.DentsPerInch >= r.got.Lo95 && r.DentsPerInch <= r.got.Hi95 {
			k++
		}
		if math.Abs(r.got.PerInch-r.DentsPerInch) <= r.got.U {
			k1++
		}
	}
	p("the 95 %% interval holds the truth: %s; within one u: %s", of(k, n), of(k1, n))
}

func claimsOf(rows []row) []judge.Claim {
	var out []judge.Claim
	for _, r := range rows {
		if r.claims() {
			out = append(out, judge.Claim{P: r.got.Confidence, True: r.right()})
		}
	}
	return out
}

// reliabilityBins is how many bins the table and the plot have.
const reliabilityBins = 10

func calibration(p printf, rows []row) {
	claims := claimsOf(rows)
	if len(claims) == 0 {
		return
	}
	bins := judge.Reliability(claims, reliabilityBins)
	p("reliability of %d claims (unsure ones, too): expected calibration error %.4f, Brier %.4f", len(claims), judge.ExpectedCalibrationError(bins), judge.Brier(claims))
	for _, b := range bins {
		if b.N > 0 {
			p("  %.1f to %.1f: n %4d, stated %.3f, true %.3f %s", b.Lo, b.Hi, b.N, b.MeanP, b.Share(), band(b))
		}
	}
	p("risk against coverage (area %.4f):", judge.AreaUnderRisk(claims))
	curve := judge.RiskCoverage(claims)
	said := -1
	for _, want := range []float64{0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 1} {
		i := sort.Search(len(curve)-1, func(i int) bool { return curve[i].Coverage >= want })
		if i > said {
			p("  the surest %3.0f %%: confidence from %.3f, wrong %.2f %%", 100*curve[i].Coverage, curve[i].Least, 100*curve[i].Risk)
			said = i
		}
	}
}

func band(b judge.Bin) string {
	iv := judge.ClopperPearson(b.True, b.N, 0.95)
	return fmt.Sprintf("[%.3f, %.3f]", iv.Lo, iv.Hi)
}

// byCase says how each kind of photo fared.
func byCase(p printf, rows []row) {
	groups := map[string][]row{}
	for _, r := range rows {
		if r.Case != "" {
			groups[r.Case] = append(groups[r.Case], r)
		}
	}
	if len(groups) < 2 {
		return
	}
	var names []string
	for n := range groups {
		names = append(names, n)
	}
	sort.Strings(names)
	p("by case:")
	for _, n := range names {
		g := groups[n]
		p("  %-13s %4d: answered and right %d, answered and wrong %d, unsure %d, refused %d", n, len(g),
			count(g, func(r row) bool { return answered(r) && r.right() }), count(g, func(r row) bool { return answered(r) && !r.right() }),
			count(g, unsure), count(g, refused))
	}
}
