package vision

import (
	"math"

	"dentcount/photo"
)

// findSlots finds the outer edges of a rigid heddle's first and last slot.
func findSlots(img photo.Colour, pl Plane) (Ends, bool) {
	f, ok := findFieldOf(img, pl, RigidHeddle)
	if !ok {
		return Ends{}, false
	}
	n := len(f.places)
	a, b := f.places[0], f.places[n-1]
	opt := lineSearch{SigmaPx: math.Max(1, f.ppi/110), ChunkPx: 0.15 * f.ppi, MaxExtra: 0.06, MostLines: 100}
	clearest := func(lines []edgeLine) (best edgeLine) {
		for _, x := range lines {
			if x.clear()*x.strength > best.clear()*best.strength {
				best = x
			}
		}
		return best
	}
	l := clearest(f.linesBeside(a-0.5*f.T, a, opt))
	r := clearest(f.linesBeside(b, b+0.5*f.T, opt))
	if l.strength == 0 || r.strength == 0 {
		return Ends{}, false
	}
	e := f.q.between(l, r)
	e.Wires = n
	f.tell(&e)
	e.Probability = math.Min(0.9, l.clear()+r.clear())
	if f.goesOn() {
		e.Probability *= 0.2
	}
	if f.lopsided() {
		// off the camera's foot point the side of a thick bar hides a slot beside a cap
		e.Probability *= lopsidedOdds
	}
	if f.doubtful {
		e.Probability *= 0.85
		e.UIn = math.Hypot(e.UIn, 0.5*f.T)
	}
	return e, true
}
