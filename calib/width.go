package calib

import (
	"math"
	"slices"
)

// surroundings are what the photo tells of a ruler's size beside its marks: how
// far the camera would be, and how wide the ruler.
type surroundings struct {
	work    level
	focalPx float64 // of the photo
	known   bool    // else a phone's usual one is taken
	widths  map[int]faceSize
}

type faceSize struct {
	px float64
	ok bool
}

// newSurroundings takes the focal length in px of the photo, 0 where unknown.
func newSurroundings(py pyramid, focalPx float64) surroundings {
	s := surroundings{work: py.work, focalPx: focalPx, known: focalPx > 0, widths: map[int]faceSize{}}
	if !s.known {
		s.focalPx = usualFocal35 / 36 * float64(max(py.levels[0].W, py.levels[0].H))
	}
	return s
}

// How far from a part and its ruler photos are taken, the logarithm's spread,
// the focal length (35 mm equivalent) of a phone's main camera, and the spread
// of what is used instead (common practice, no source: two of three photos are
// taken from 19 to 64 cm).
const (
	distanceMM, distanceSpread = 350.0, 0.6
	usualFocal35, usualFSpread = 27.0, 0.3
	rulerMM, narrower, broader = 22.0, 0.27, 0.35
)

// distance is the log likelihood of the camera's distance at a number of px per
// inch, up to a constant.
func (s surroundings) distance(pxPerInch float64) float64 {
	spread := distanceSpread
	if !s.known {
		spread = math.Hypot(spread, usualFSpread)
	}
	return typical{distanceMM, spread}.against(s.focalPx / math.Abs(pxPerInch) * 25.4)
}

// width is the log likelihood of the ruler's width, up to a constant, in place
// of that of its marks' lengths, which go with the width; 0 where it cannot be
// measured. i is the read's number.
func (s surroundings) width(i int, q read, pxPerInch, lengths float64) float64 {
	f, known := s.widths[i]
	if !known {
		f.px, f.ok = faceWidth(s.work, q)
		s.widths[i] = f
	}
	if !f.ok {
		return 0
	}
	return widthLikelihood(f.px/pxPerInch) - lengths
}

// widthLikelihood is the log likelihood of a measured width in inches, up to a
// constant: one in thirty is measured wrongly.
func widthLikelihood(in float64) float64 {
	return math.Log(math.Exp(apartLikelihood(in)) + 1.0/30)
}

// apartLikelihood is the log likelihood of two scales so many inches apart being
// those of one ruler, up to a constant. Common practice, no source: rules and
// tapes are 12 to 45 mm wide, and hardly ever narrower.
func apartLikelihood(in float64) float64 {
	mm := math.Abs(in) * 25.4
	t := typical{rulerMM, broader}
	if mm < rulerMM {
		t.spread = narrower
	}
	return t.against(mm)
}

const (
	besidePx    = 30.0 // depth of the strip beside the edge in which wires are sought
	leastWires  = 0.3  // autocorrelation of a comb that is wires, all along the edge
	widestSteps = 46.0 // the widest ruler, in millimetres if marks are millimetres
	runSteps    = 4.0  // the wires show over so many spacings of marks before and behind
	leastShown  = 0.45 // how strong they must show behind the ruler, of what they are beside it
	leastWide   = 1.6  // a ruler is wider than its marks are long, by this factor at least
)

// faceWidth measures how wide the ruler under a scale is, in px of the photo:
// from its marked edge to the depth at which the wires beside the edge show
// again. ok is false where none show, or not on both sides.
func faceWidth(work level, q read) (px float64, ok bool) {
	s := q.scale
	f := scaleFrame(s.Frame, work.k)
	lo, hi := f.Inside(work.Plane, s.Lo*work.k, s.Hi*work.k, -besidePx, 0)
	if hi-lo < 96 {
		return 0, false
	}
	beside := sampleStrip(work.Plane, f, lo, hi, -besidePx, -3, 1)
	combs, err := findCombs([][]float64{beside.profile(-besidePx, -14), beside.profile(-14, -3)}, lo, combSearch{window: 256, minPeriodPx: 3})
	if err != nil {
		return 0, false
	}
	var wires comb
	for _, c := range slices.Concat(combs...) {
		if c.strength > wires.strength {
			wires = c
		}
	}
	if wires.strength < leastWires*math.Max(1, float64(beside.cols)/128) {
		return 0, false
	}
	step := q.ladder.periodPx * work.k
	across := math.Max(1, step/5)
	inside := sampleStrip(work.Plane, f, lo, hi, 0, widestSteps*step, across)
	shows := wiresShown(beside, inside, wires, step)
	// The ruler ends where the wires come back, beyond its marks.
	first := int(longest(q) * work.k / across)
	run := max(3, int(runSteps*step/across))
	best, at := 0.0, -1
	for d := max(first, run); d+run <= len(shows) && (at < 0 || d < at+run); d++ {
		before, after := median(shows[d-run:d]), median(shows[d:d+run])
		if after > leastShown && before < 0.6*after && after-before > best {
			best, at = after-before, d
		}
	}
	if at < 0 || float64(at) < leastWide*float64(first) {
		return 0, false
	}
	return float64(at) * across / work.k, true
}

// wiresShown is how strongly the wires show in each row of a strip, 1 being as
// strongly as beside the edge: the lower quartile of short windows along it, for
// in some there are digits. It ends where the picture does. stepPx is the
// spacing of the ruler's marks.
func wiresShown(beside, inside strip, wires comb, stepPx float64) []float64 {
	n := int(5 * math.Max(wires.periodPx, stepPx))
	perRow := make([][]float64, inside.rows)
	for a := 0; a+n <= beside.cols; a += n {
		// the spacing hereabouts
		T, top := wires.periodPx, 0.0
		for k := 0.85; k < 1.16; k += 0.02 {
			amp := make([]float64, beside.rows)
			beside.addAmplitude(amp, a, a+n-1, wires.periodPx*k)
			if m := median(amp); m > top {
				T, top = wires.periodPx*k, m
			}
		}
		if top <= 0 {
			continue
		}
		amp := make([]float64, inside.rows)
		for _, k := range [3]float64{0.98, 1, 1.02} {
			inside.addAmplitude(amp, a, a+n-1, T*k)
		}
		for r, v := range amp {
			if row := inside.v[r*inside.cols+a : r*inside.cols+a+n]; row[0] == row[0] && row[n-1] == row[n-1] {
				perRow[r] = append(perRow[r], v/top)
			}
		}
	}
	var out []float64
	for _, vs := range perRow {
		if len(vs) < max(1, len(perRow[0])/3) {
			break
		}
		out = append(out, quickSelect(vs, len(vs)/4))
	}
	return out
}

// longest is the length of a ladder's long marks, px of the photo: that of one
// in twenty.
func longest(q read) float64 {
	var v []float64
	for _, r := range q.ladder.rungs {
		if r.found && r.length > 0 && r.length < 0.96*q.ladder.maxDepth && r.n >= q.readings[0].lo && r.n <= q.readings[0].hi {
			v = append(v, r.length)
		}
	}
	if len(v) == 0 {
		return 0
	}
	return quickSelect(v, len(v)*19/20)
}
