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
	wireMostWide         = 2.5  // typical widths of it: wider is something else
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

// longestRun is the stretch of columns, from a to b, that shows the most wire:
// the thread on the axis, no wider than a wire can be, or split around it. Bare
// columns count against it, so that what lies beyond an end, farther off than it
// is long, is no part of the wire; wide ones, blots of the ground or the bow of a
// loop, count neither way. Gaps up to an eye's or a loop's are passed over.
// filled is the share of its columns in which something is.
func (rb ribbon) longestRun(ppi float64) (a, b int, filled float64) {
	gap := int(wireGapIn * ppi)
	xs := rb.crosses(ppi)
	most := math.Max(wireMostWide*typicalWidth(xs), threadMaxWideIn*ppi/rb.patch.step)
	from, last := -1, -1 // of the stretch, and its last column that shows something
	on, sum := 0, 0
	best := 0
	for c, x := range xs {
		switch {
		case !x.on && !x.split:
			if sum--; sum < 0 || c-last > gap {
				from, sum = -1, 0
			}
			continue
		case from < 0:
			from, on, sum = c, 0, 0
		}
		last = c
		on++
		if !x.on || x.wide <= most {
			sum++
		}
		if sum > best {
			best, a, b = sum, from, last
			filled = float64(on) / float64(last-from+1)
		}
	}
	return a, b, filled
}
