package calib

import (
	"math"
	"slices"
	"sort"
)

// Every whole unit has its number, and nothing else has: what is printed past
// the ends of the marks comes again with every unit, whatever it is. So where
// dirt, worn print or the numbers themselves cut the longest marks short, so that
// wholes look like halves, the numbers still tell how many marks make a unit.

// measureInk measures for every rung how much is printed past the marks' ends there: the
// mean slope of the grey levels along the rows of that depth, and by how much more they are
// of the marks' tone than those of most rungs at the same depth. What is left of wires that
// were taken off a transparent ruler is all slopes, and evens out in the mean. lengths
// are the marks' lengths by rung, 0 unknown.
func (l *ladder) measureInk(s strip, lengths []float64) {
	for i := range l.rungs {
		l.rungs[i].ink, l.rungs[i].tone = math.NaN(), math.NaN()
	}
	long := l.ended(lengths)
	if len(long) < fewestForInk {
		return
	}
	const past = 1.1 // of the length of the long marks
	top := longMarks(long)
	// A mark whose end was not found may run on as deep as that: what is printed there is
	// what stands beside its line, too.
	half, line := l.periodPx/2, l.periodPx/4
	slopes, tones := make([]float64, len(l.rungs)), make([]float64, len(l.rungs))
	ns, nt := make([]float64, len(l.rungs)), make([]float64, len(l.rungs))
	cells := make([]float64, len(l.rungs))
	for r := 0; r < s.rows; r++ {
		d := s.d0 + float64(r)*s.step
		if d < past*top || d > math.Min(numbersDeep*top, l.maxDepth) {
			continue
		}
		row := s.v[r*s.cols : (r+1)*s.cols]
		for i, g := range l.rungs {
			ended := lengths[i] > 0 && lengths[i] < past*top
			c := g.along - s.lo + l.shearAt(g.along)*d
			var sum, n float64
			for j := max(1, int(c-half)); j <= min(s.cols-2, int(c+half)); j++ {
				if !ended && math.Abs(float64(j)-c) <= line {
					continue
				}
				if v := row[j+1] - row[j-1]; v == v {
					slopes[i], ns[i] = slopes[i]+math.Abs(float64(v)), ns[i]+1
				}
				if v := row[j]; v == v {
					sum, n = sum+l.ink(float64(v)), n+1
				}
			}
			cells[i] = sum / n // NaN where nothing is seen
		}
		face := median(slices.DeleteFunc(slices.Clone(cells), func(v float64) bool { return v != v }))
		for i, v := range cells {
			if v == v {
				tones[i], nt[i] = tones[i]+v-face, nt[i]+1
			}
		}
	}
	for i := range l.rungs {
		if ns[i] > 0 {
			l.rungs[i].ink = slopes[i] / ns[i]
		}
		if nt[i] > 0 {
			l.rungs[i].tone = math.Max(0, tones[i]/nt[i])
		}
	}
}

// ended are those of some lengths of marks whose end was found.
func (l *ladder) ended(lengths []float64) (out []float64) {
	for _, n := range lengths {
		if n > 0 && n < deepest*l.maxDepth {
			out = append(out, n)
		}
	}
	return out
}

// longMarks is the length of the long marks among some: that of one in so many as the
// finest scale has in a unit of which so many marks show the numbers twice. Of
// thirty-seconds of an inch one mark in thirty-two is a whole inch's and as many
// halves': past most of the halves are their numbers, not the marks. A few marks are
// of no such scale, and one in thirty-two of them were what is longest by chance.
func longMarks(lengths []float64) float64 {
	long := slices.Sorted(slices.Values(lengths))
	finest := 8
	for finest < 32 && float64(len(long)) >= leastUnits*float64(2*finest) {
		finest *= 2
	}
	return long[len(long)-1-len(long)/(finest+1)]
}

// inkWithin is measureInk for the rungs lo…hi alone; ok says whether that leaves some out.
// What is seen past a ruler's ends comes again with no unit, and wires there are longer
// than marks, so that numbers would be looked for too deep.
func (l *ladder) inkWithin(s strip, lo, hi int, lengths []float64) (ok bool) {
	within := make([]float64, len(lengths))
	for i, g := range l.rungs {
		if g.n >= lo && g.n <= hi {
			within[i] = lengths[i]
		} else {
			ok = true
		}
	}
	l.measureInk(s, within)
	for i, g := range l.rungs {
		if g.n < lo || g.n > hi {
			l.rungs[i].ink, l.rungs[i].tone = math.NaN(), math.NaN()
		}
	}
	return ok
}

// markedStretch is the stretch of rungs most of which are about as long as the typical one:
// past a ruler's ends lines run on or are no marks at all.
func (l *ladder) markedStretch(lengths []float64) (lo, hi int) {
	// The longest marks of a scale are some four times as long as most of it; one of a
	// few marks runs into a figure or is worn off.
	const shortest, longest, spoilt = 0.4, 4.5, 2
	var seen []float64
	for _, v := range lengths {
		if v > 0 {
			seen = append(seen, v)
		}
	}
	if len(seen) == 0 {
		return l.rungs[0].n, l.rungs[len(l.rungs)-1].n
	}
	typical := quickSelect(seen, len(seen)/2)
	like := make([]float64, len(lengths))
	for i, v := range lengths {
		like[i] = -spoilt
		if v > shortest*typical && v < longest*typical && v < deepest*l.maxDepth {
			like[i] = 1
		}
	}
	first, last, _ := bestStretch(like)
	return l.rungs[first].n, l.rungs[last].n
}

const (
	numbersDeep   = 2.2 // times as deep as the long marks run what is printed past them is numbers
	mostOfNumbers = 12  // log odds that numbers give at most

	fewestForInk = 8   // marks tell where numbers would stand at least
	leastUnits   = 1.9 // units of numbers tell how long a unit is at least
)

// numbersOdds are the log odds that what is printed past the marks gives to so many of
// them making a unit: of the two ways to measure it those of the one that shows it plainer.
func numbersOdds(rungs []rung, divisions int) float64 {
	slopes, roots, tones := make(printed, len(rungs)), make(printed, len(rungs)), make(printed, len(rungs))
	for i, g := range rungs {
		// a number over all marks' mean is what counts, not how black it is
		slopes[i], roots[i], tones[i] = g.ink, math.Sqrt(g.ink), g.tone
	}
	odds := unitOdds(slopes, roots, divisions)
	// Figures are wider than thirty-seconds of an inch are apart.
	tones = tones.smoothed(divisions / 32)
	if slices.ContainsFunc(tones, func(v float64) bool { return v > faintestPrint }) {
		odds = math.Max(odds, unitOdds(tones, tones, divisions))
	}
	return odds
}

// faintestPrint is by how many grey levels what is printed differs in the mean from most
// places at least: grain and shade are alike by chance.
const faintestPrint = 2 * leastContrast

// printed is how much is printed past each of a ladder's marks; NaN where unknown.
type printed []float64

// smoothed is the mean of so many marks on either side.
func (p printed) smoothed(half int) printed {
	out := make(printed, len(p))
	for i := range p {
		var sum, n float64
		for j := max(0, i-half); j <= min(len(p)-1, i+half); j++ {
			if v := p[j]; v == v {
				sum, n = sum+v, n+1
			}
		}
		if out[i] = sum / n; p[i] != p[i] {
			out[i] = math.NaN()
		}
	}
	return out
}

// unitOdds are the log odds of so many marks making a unit: how like what is printed is
// to itself a unit on, less how like it is anywhere about half a unit on, as the numbers of
// the ruler's other scale would be, which are nearer to each other. 0 where nothing is
// printed, or what is leaves no blank between, as the marks of the ruler's other scale do;
// never against. p is what is looked at for blanks, like what is compared.
func unitOdds(p, like printed, divisions int) float64 {
	const perLikeness, fullUnits = 20, 4
	seen := 0
	for _, v := range p {
		if v == v {
			seen++
		}
	}
	units := float64(seen) / float64(divisions)
	if units < leastUnits || p.longestBlank(divisions) < leastBlank*float64(divisions) {
		return 0
	}
	unit := like.likeness(divisions)
	half := 0.0
	for apart := (divisions + 3) / 4; apart <= 3*divisions/4; apart++ {
		half = math.Max(half, like.likeness(apart))
	}
	two := like.likeness(2 * divisions)
	share := math.Min(1, (units-1)/(fullUnits-1))
	chance := 1 / math.Sqrt(math.Max(1, float64(seen-divisions))) // of a correlation
	return min(max(perLikeness*share*(unit-half-math.Max(two-unit, 0)-chance), 0), mostOfNumbers)
}

// leastBlank is the part of a unit that numbers leave blank in one piece.
const leastBlank = 0.35

// longestBlank is how many marks in a row have nothing printed past them, in most
// units alike.
func (p printed) longestBlank(divisions int) float64 {
	at := make([][]float64, divisions)
	for i, v := range p {
		if v == v {
			k := i % divisions
			at[k] = append(at[k], v)
		}
	}
	ink := make([]float64, divisions)
	for i, v := range at {
		if len(v) == 0 {
			return 0
		}
		ink[i] = median(v)
	}
	sorted := append([]float64(nil), ink...)
	sort.Float64s(sorted)
	const faint = 0.3 // of the way from the blank face to the blackest place
	low := sorted[len(sorted)/8]
	limit := low + faint*(sorted[len(sorted)-1]-low)
	run, best := 0, 0
	for i := range 2 * divisions { // the blank may run over the end of the fold
		if run++; ink[i%divisions] > limit {
			run = 0
		}
		best = max(best, run)
	}
	return float64(min(best, divisions))
}

// likeness is the correlation of what is printed at marks that are so many apart; 0
// where there are few.
func (p printed) likeness(apart int) float64 {
	pairs := 0
	var sx, sy, sxx, syy, sxy float64
	for i := 0; i+apart < len(p); i++ {
		x, y := p[i], p[i+apart]
		if x != x || y != y {
			continue
		}
		pairs++
		sx, sy, sxx, syy, sxy = sx+x, sy+y, sxx+x*x, syy+y*y, sxy+x*y
	}
	if pairs < 6 {
		return 0
	}
	n := float64(pairs)
	vx, vy := sxx-sx*sx/n, syy-sy*sy/n
	if vx <= 0 || vy <= 0 {
		return 0
	}
	return (sxy - sx*sy/n) / math.Sqrt(vx*vy)
}
