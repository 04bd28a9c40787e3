package vision

import (
	"math"

	"dentcount/photo"
)

// A wire heddle laid along the ruler: a thin wire or flat strip with an eye in
// its middle and a loop at each end. Sizes in inches (common practice, no source).
const (
	wireMinIn, wireMaxIn = 5.0, 18.0
	wireGapIn            = 0.35 // where it opens into an eye or a loop
	leastFilled          = 0.8  // share of one wire that is seen at least
)

// findWire finds the two ends of one wire heddle, loops included.
func findWire(img photo.Colour, pl Plane) (Ends, bool) {
	q, ppi := threadPatch(img, pl)
	if q.cols == 0 {
		return Ends{}, false
	}
	var best Ends
	bestScore := 0.0
	for _, t := range q.threadLines(ppi, 8) {
		rb := q.straighten(t, ppi)
		a, b, filled := rb.longestRun(ppi)
		if filled < leastFilled || !rb.endsBare(float64(a)-0.5, float64(b)+0.5, ppi) {
			continue // not one wire, or it leaves the picture
		}
		e := rb.endsAt(float64(a)-0.5, float64(b)+0.5)
		if e.LengthIn < wireMinIn || e.LengthIn > wireMaxIn {
			continue
		}
		if score := filled * t.score; score > bestScore {
			best, bestScore = e, score
			best.UIn = math.Hypot(best.UIn, 0.02) // ends of loops are round
			best.Probability = 0.9 * filled
		}
	}
	return best, bestScore > 0
}

// endsBare says whether bare ground follows in the picture on both sides of the
// stretch from column a to b.
func (rb ribbon) endsBare(a, b, ppi float64) bool {
	xs := rb.crosses(ppi)
	l, okL := rb.bareFrom(xs, a, -1, ppi)
	r, okR := rb.bareFrom(xs, b, 1, ppi)
	return okL && okR && math.Min(l, r) >= leastBare
}

// longestRun is the longest stretch of columns, from a to b, in which the thread
// is on the axis or split around it, short gaps passed over, and the share of
// its columns in which it is.
func (rb ribbon) longestRun(ppi float64) (a, b int, filled float64) {
	gap := int(wireGapIn * ppi)
	xs := rb.crosses(ppi)
	from, last, on := -1, -1, 0
	best := 0
	end := func() {
		if from >= 0 && last-from > best {
			best, a, b = last-from, from, last
			filled = float64(on) / float64(last-from+1)
		}
	}
	for c, x := range xs {
		if !x.on && !x.split {
			continue
		}
		if from < 0 || c-last > gap {
			end()
			from, on = c, 0
		}
		last = c
		on++
	}
	end()
	return a, b, filled
}
