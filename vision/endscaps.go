package vision

import (
	"math"

	"dentcount/photo"
)

// findReedEnds finds the outer faces of a reed's end caps.
func findReedEnds(img photo.Colour, pl Plane) (Ends, bool) {
	f, ok := findField(img, pl)
	if !ok {
		return Ends{}, false
	}
	l, r, p := f.caps()
	if p == 0 {
		return Ends{}, false
	}
	e := f.q.between(l, r)
	e.Probability = p
	e.UnderRuler = f.underRuler()
	return e, true
}

// findSley finds the middles of the first and the last wire.
func findSley(img photo.Colour, pl Plane) (Ends, bool) {
	f, ok := findField(img, pl)
	if !ok {
		return Ends{}, false
	}
	n := len(f.places)
	a, b := f.places[0], f.places[n-1]
	e := f.endsOf(a, b)
	// the places of the two end wires are read in shadow; the spacing of all is
	// known far better
	e.LengthIn *= f.spacing * float64(n-1) / (b - a)
	e.UIn = math.Hypot(0.15*f.T, f.spacingU*float64(n-1))
	e.Wires = n
	e.Probability = 0.93
	if f.doubtful {
		// one wire more or less at an end
		e.Probability = 0.7
		e.UIn = math.Hypot(e.UIn, 0.5*f.T)
	}
	e.UnderRuler = f.underRuler()
	return e, true
}

// endsOf are the ends at two places along the ruler, shown in the middle of the
// wires.
func (f wireField) endsOf(a, b float64) Ends {
	q := f.q
	s := q.plane.Scale
	var e Ends
	d := (q.depth(f.r0) + q.depth(f.r1-1)) / 2
	for i, u := range [2]float64{a, b} {
		along := s.Along(u)
		x, y := s.Frame.Point(along+(q.plane.leanAt(along)+f.extra)*d, d)
		e.At[i] = [2]float64{x, y}
	}
	m := (s.Along(a) + s.Along(b)) / 2
	e.LengthIn = math.Abs(b-a) * math.Cos(math.Atan(f.extra*q.plane.turn(m)))
	e.UIn = 0.15 * f.T
	return e
}

// underRuler says whether the ruler's edge lies on the wires or the baulks.
func (f wireField) underRuler() bool {
	// the field reaches a baulk's width beyond its wires
	const baulkIn = 0.5
	d0, d1 := f.q.depth(f.r0), f.q.depth(f.r1-1)
	return d0 < baulkIn*f.ppi && d1 > -baulkIn*f.ppi
}

// caps are the outer faces of the two end caps: clear edges along the whole
// field, outside of its wires, as far from the first as from the last.
func (f wireField) caps() (l, r edgeLine, probability float64) {
	s := f.q.plane.Scale
	lines := f.q.edgeLines(f.r0, f.r1, lineSearch{SigmaPx: math.Max(1.2, f.ppi/90), ChunkPx: 0.15 * f.ppi, MaxExtra: 0.08, MostLines: 400})
	a, b := f.places[0], f.places[len(f.places)-1]
	var left, right []edgeLine
	for _, x := range lines {
		u := s.In(x.along)
		switch {
		case u < a && u > a-capReachIn:
			left = append(left, x)
		case u > b && u < b+capReachIn:
			right = append(right, x)
		}
	}
	best := 0.0
	for _, x := range left {
		for _, y := range right {
			dl, dr := a-s.In(x.along), s.In(y.along)-b
			lop := (dl - dr) / 0.2
			sure := x.clear() * y.clear() * math.Exp(-lop*lop/2)
			// Of a cap's two edges the outer one is meant.
			score := sure * math.Min(1, 0.05+math.Min(dl, dr)/0.3)
			if score > best {
				best, probability, l, r = score, sure, x, y
			}
		}
	}
	return l, r, math.Min(0.97, probability*1.5)
}
