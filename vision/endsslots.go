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
	s := pl.Scale
	n := len(f.places)
	a, b := f.places[0], f.places[n-1]
	lines := f.q.edgeLines(f.r0, f.r1, lineSearch{SigmaPx: math.Max(1, f.ppi/110), ChunkPx: 0.15 * f.ppi, MaxExtra: 0.06, MostLines: 400})
	var l, r edgeLine
	for _, x := range lines {
		u := s.In(x.along)
		w := x.clear() * x.strength
		if u < a && u > a-0.5*f.T && w > l.clear()*l.strength {
			l = x
		}
		if u > b && u < b+0.5*f.T && w > r.clear()*r.strength {
			r = x
		}
	}
	if l.strength == 0 || r.strength == 0 {
		return Ends{}, false
	}
	e := f.q.between(l, r)
	e.Wires = n
	e.UnderRuler = f.underRuler()
	e.Probability = math.Min(0.9, l.clear()+r.clear())
	if f.doubtful {
		e.Probability *= 0.85
		e.UIn = math.Hypot(e.UIn, 0.5*f.T)
	}
	return e, true
}
