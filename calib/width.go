package calib

import "math"

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
		f.px, f.ok = faceByTone(s.work, q)
		s.widths[i] = f
	}
	if !f.ok {
		return 0
	}
	return widthLikelihood(f.px/math.Abs(pxPerInch), longest(q)/f.px, lengths, q.through) - lengths
}

// widthLikelihood is the log likelihood of a measured width in inches and of the
// marks' lengths, up to a constant. Where it is the ruler's, the longest marks are a
// part of it, a quarter or so, less beside a second scale (common practice, no
// source); where it was measured wrongly, as one in thirty is, and more of those
// through which wires are seen, the lengths speak for themselves.
func widthLikelihood(in, part, lengths float64, through bool) float64 {
	const wrong, wrongThrough = 1.0 / 30, 0.2
	w := wrong
	if through {
		w = wrongThrough
	}
	return math.Log(math.Exp(apartLikelihood(in)+typical{longPart, longPartSpread}.against(part)) + w*math.Exp(lengths))
}

// longPart is the length of a ruler's longest marks in parts of its width.
const longPart, longPartSpread = 0.27, 0.4

// apartLikelihood is the log likelihood of two scales so many inches apart being
// those of one ruler, up to a constant. Common practice, no source: tapes and
// rules are 12 to 38 mm wide, any of it about as often, hardly ever narrower and
// now and then wider.
func apartLikelihood(in float64) float64 {
	const narrowMM, wideMM, narrower, broader = 13.0, 34.0, 0.1, 0.2
	return outside(math.Max(math.Abs(in)*25.4, 1e-3), typical{narrowMM, narrower}, typical{wideMM, broader})
}

// longest is the length of a ladder's long marks, px of the photo: that of one
// in twenty. Where blur joins whole units' marks to their figures most of those are too
// long, so that by tens they count no longer than the fives' allow.
func longest(q read) float64 {
	// Half a unit's mark is about four fifths as long as the whole one's (common practice,
	// no source), 0.77 and 0.81 of it on two drawn rulers.
	const longerThanFives = 1.6
	rd := q.readings[0]
	var v, fives []float64
	for _, r := range q.ladder.rungs {
		if r.found && r.length > 0 && r.length < deepest*q.ladder.maxDepth && r.n >= rd.lo && r.n <= rd.hi {
			v = append(v, r.length)
			if rd.byTen() && mod(r.n-rd.phase, 10) == 5 {
				fives = append(fives, r.length)
			}
		}
	}
	if len(v) == 0 {
		return 0
	}
	long := quickSelect(v, len(v)*19/20)
	if len(fives) > 2 {
		long = math.Min(long, longerThanFives*quickSelect(fives, len(fives)/2))
	}
	return long
}
