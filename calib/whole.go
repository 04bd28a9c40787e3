package calib

import "math"

// Rules are made in few lengths, and so many inches are not as many centimetres: a
// scale of six or of twelve units, both ends of which are in the picture, counts
// inches.

const (
	// beyondEnd is how many spacings of the picture must lie past the last mark, so
	// that marks would be seen there if the ruler went on; runOn is how many the edge
	// may go on, or a row that tells nothing, as where wires stand in step.
	beyondEnd, runOn = 5, 20
	// Scales are 150 to 620 mm long (common practice, no source), and a unit at their
	// ends may be missed: of 25 drawn ones of millimetres the shortest was seen 130 mm
	// long. One in thirty is seen cut short, or is one for the pocket.
	shortestMM, shorterSpread = 145.0, 0.09
	// On one of 150 mm five inches are marked.
	shortestIn              = 5.0
	longestMM, longerSpread = 620.0, 0.3
	seenCut                 = 1.0 / 30
)

// wholeSteps is how many spacings long a scale is that is seen as a whole; 0 where
// it may go on past the picture or under what hides it.
func (s surroundings) wholeSteps(q read, rd reading) float64 {
	first, last := math.NaN(), math.NaN()
	for _, r := range q.ladder.rungs {
		switch r.n {
		case rd.lo:
			first = r.along
		case rd.hi:
			last = r.along
		}
	}
	step, k := q.ladder.periodPx, s.work.k
	if !(last > first) {
		return 0
	}
	f := q.from.frame
	ends := len(q.ladder.rungs)-1-(rd.hi-rd.lo) <= runOn && f.Lo >= first-runOn*step && f.Hi <= last+runOn*step
	if !ends && !q.ladder.stops(rd) {
		return 0
	}
	f = scaleFrame(q.ladder.frame, k)
	lo, hi := (first-beyondEnd*step)*k, (last+beyondEnd*step)*k
	if a, b := f.Inside(s.work.Plane, lo, hi, 0, 1); a > lo || b < hi {
		return 0
	}
	return float64(rd.hi - rd.lo)
}

// stops says whether a reading begins and ends with a whole unit, and what was followed
// past either end is no row of marks: of the places of another unit half or more are
// empty, or have what is shorter or longer than its marks, as wires in step with them.
func (l ladder) stops(rd reading) bool {
	const near, alike = 1, 0.75 // places; parts of a length
	whole := func(n int) bool {
		p := mod(n-rd.phase, rd.divisions)
		return p <= near || p >= rd.divisions-near
	}
	if !whole(rd.lo) || !whole(rd.hi) {
		return false
	}
	shortest, longest := math.Inf(1), 0.0
	for _, g := range l.rungs {
		if g.n >= rd.lo && g.n <= rd.hi && g.found && g.length > 0 {
			shortest, longest = math.Min(shortest, g.length), math.Max(longest, g.length)
		}
	}
	var marks [2]int
	for _, g := range l.rungs {
		if !g.found || g.length < alike*shortest || g.length > longest/alike {
			continue
		}
		if g.n < rd.lo && g.n >= rd.lo-rd.divisions {
			marks[0]++
		} else if g.n > rd.hi && g.n <= rd.hi+rd.divisions {
			marks[1]++
		}
	}
	return 2*max(marks[0], marks[1]) < rd.divisions
}

// whole is the log likelihood of a scale's length if it is seen as a whole, up to a
// constant.
func (s surroundings) whole(q read, rd reading) float64 {
	if steps := s.wholeSteps(q, rd); steps > 0 {
		return wholeAs(steps, rd)
	}
	return 0
}

// wholeAs is the log likelihood of so many spacings of a reading's marks being all of a
// scale, up to a constant.
func wholeAs(steps float64, rd reading) float64 {
	shortest := shortestMM
	if rd.unit == Inch {
		shortest = shortestIn * 25.4
	}
	return wholeLikelihood(steps*rd.unit.Inches()/float64(rd.divisions)*25.4, shortest)
}

// wholeRow is whole of the i-th of some reads, or, where its line runs on, of another that
// was read of the same row of marks about as far and is seen to end.
func (s surroundings) wholeRow(reads []read, i int, rd reading) float64 {
	if steps := s.wholeSteps(reads[i], rd); steps > 0 {
		return wholeAs(steps, rd)
	}
	const asFar = 0.1
	for j := range reads {
		if j == i || !reads[j].alone() || !reads[i].sameRow(reads[j]) {
			continue
		}
		for _, o := range reads[j].readings {
			if far := float64(o.hi-o.lo) / float64(rd.hi-rd.lo); o.unit == rd.unit && o.divisions == rd.divisions && math.Abs(far-1) < asFar {
				if v := s.whole(reads[j], o); v < 0 {
					return v
				}
			}
		}
	}
	return 0
}

// wholeLikelihood is that of a length where the shortest scales are so long.
func wholeLikelihood(mm, shortest float64) float64 {
	off := outside(mm, typical{shortest, shorterSpread}, typical{longestMM, longerSpread})
	return math.Log((math.Exp(off) + seenCut) / (1 + seenCut))
}
