package calib

import (
	"math"
	"slices"
)

// Figures are about as tall on every ruler, whatever they count, for people read them:
// in spacings a millimetre scale's are about twice as tall as those of a scale of tenths
// of an inch. So where their height is seen it tells the unit, from afar, too, where the
// width of lines does not.

// Figures are 2 to 6 mm tall (common practice, no source). Those of 17 practice photos in
// millimetres and two in tenths of an inch were 2.0 to 3.5 mm, those of 36 drawn rulers of
// either kind (seed 5222) 2.5 to 5 mm and 2.5 to 6.4. Turned ones were measured by their
// width; now and then something else is.
const (
	lowFigureMM, highFigureMM, figureSpread = 2.0, 6.0, 0.15
	notFigure                               = 0.05
)

// figureLikelihood is the log likelihood of the figures' height if the marks are read so,
// beside that of the likelier of inches and centimetres; 0 where it is not known and for
// what does not go by tens, for it was measured on tens.
func (r read) figureLikelihood(rd reading) float64 {
	if !(r.ladder.figure > 0) || !rd.byTen() {
		return 0
	}
	of := func(u Unit) float64 {
		mm := r.ladder.figure * u.Inches() * 25.4 / 10
		off := outside(mm, typical{lowFigureMM, figureSpread}, typical{highFigureMM, figureSpread})
		return math.Log((1-notFigure)*math.Exp(off) + notFigure)
	}
	return of(rd.unit) - math.Max(of(Inch), of(CM))
}

const (
	// figureBins is into how many parts a spacing is divided.
	figureBins = 4
	unitBins   = 10 * figureBins
	// Figures stand out of what grain leaves in the mean of units by figureSeen times, and
	// end at figureEnd of their ink.
	figureSeen, figureEnd = 4.0, 0.45
	// lowestFigure and highestFigure are how tall they are, in spacings: what is lower is
	// what blur leaves of the marks' ends, what is higher is not figures alone.
	lowestFigure, highestFigure = 1.0, 7.0
)

// measureFigures is how tall the figures of a reading by tens are, in spacings: the units
// are laid over one another, and what has ink in their mean past the marks is figures.
// NaN where none are seen, or no end of theirs.
func (l ladder) measureFigures(s strip, rd reading) float64 {
	past, ok := l.pastTens(rd)
	if !ok {
		return math.NaN()
	}
	ink := make([]float64, s.rows) // of a row, NaN unknown
	var known []float64
	for r := range ink {
		ink[r] = math.NaN()
		if d := s.d0 + float64(r)*s.step; d >= l.base[1] {
			if ink[r] = l.inkOfUnits(s, r, d, rd, past); ink[r] == ink[r] {
				known = append(known, ink[r])
			}
		}
	}
	const fewest = 6
	if len(known) < fewest {
		return math.NaN()
	}
	blank := quickSelect(known, len(known)/5)
	top, at := 0.0, -1
	for r, v := range ink {
		if v > top { // false for NaN
			top, at = v, r
		}
	}
	if top < math.Max(figureSeen*blank, leastContrast) {
		return math.NaN()
	}
	cut := blank + figureEnd*(top-blank)
	lo, hi := at, at
	for lo > 0 && ink[lo-1] > cut {
		lo--
	}
	for hi+1 < len(ink) && ink[hi+1] > cut {
		hi++
	}
	if hi+1 == len(ink) || ink[hi+1] != ink[hi+1] {
		return math.NaN()
	}
	if tall := float64(hi-lo+1) * s.step / l.periodPx; tall > lowestFigure && tall < highestFigure {
		return tall
	}
	return math.NaN()
}

// pastTens is from which depth on no mark is seen at each of the ten places of a unit; ok is
// false where there are no marks at some.
func (l ladder) pastTens(rd reading) (past [10]float64, ok bool) {
	const longer, blurPx = 1.1, 1.0 // of what was measured
	var lengths [3][]float64
	class := func(p int) int {
		switch p {
		case 0:
			return 2
		case 5:
			return 1
		}
		return 0
	}
	for _, g := range l.rungs {
		if g.n >= rd.lo && g.n <= rd.hi && g.found && g.length > 0 {
			c := class(mod(g.n-rd.phase, 10))
			lengths[c] = append(lengths[c], g.length)
		}
	}
	for p := range past {
		v := lengths[class(p)]
		if len(v) == 0 {
			return past, false
		}
		past[p] = longer*median(v) + blurPx
	}
	return past, true
}

// inkOfUnits is how much ink row r of a strip, at depth d, has where a unit has the most,
// over what it has where there is little, in the mean of units. Places where marks run as
// deep, past, are left out; NaN where few are left.
func (l ladder) inkOfUnits(s strip, r int, d float64, rd reading, past [10]float64) float64 {
	const fewestUnits, wide = 3, 2 * figureBins // figures with their gaps are two spacings wide or more
	row := s.v[r*s.cols : (r+1)*s.cols]
	var sum, n [unitBins]float64
	var unit, faces []float64
	var bins []int
	flush := func() { // takes up one unit
		if len(unit) > unitBins/2 {
			faces = append(faces[:0], unit...)
			face := quickSelect(faces, len(faces)/2)
			for i, b := range bins {
				sum[b], n[b] = sum[b]+l.ink(unit[i]-face), n[b]+1
			}
		}
		unit, bins = unit[:0], bins[:0]
	}
	last := math.MinInt
	for i := 0; i+1 < len(l.rungs); i++ {
		a, b := l.rungs[i], l.rungs[i+1]
		if a.n < rd.lo || b.n > rd.hi {
			continue
		}
		// from half a unit before a whole one to half a unit behind it
		at := a.n - rd.phase + 5
		place := mod(at, 10)
		if u := (at - place) / 10; u != last {
			flush()
			last = u
		}
		for q := range figureBins {
			t := (float64(q) + 0.5) / figureBins
			if d < past[mod(place-5+int(math.Round(t)), 10)] {
				continue
			}
			x := a.along + t*(b.along-a.along)
			if v := between(row, x-s.lo+l.shearAt(x)*d); v == v {
				unit, bins = append(unit, v), append(bins, place*figureBins+q)
			}
		}
	}
	flush()
	var mean []float64
	for b, v := range sum {
		if n[b] >= fewestUnits {
			mean = append(mean, v/n[b])
		}
	}
	if len(mean) < unitBins/2 {
		return math.NaN()
	}
	slices.Sort(mean)
	low, most := mean[len(mean)/4], 0.0
	for _, v := range mean[len(mean)-wide:] {
		most += (v - low) / wide
	}
	return most
}
