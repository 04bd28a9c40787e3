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
	if f.goesOn() {
		e.Probability *= 0.2
	}
	if f.lopsided() {
		e.Probability *= lopsidedOdds
	}
	f.tell(&e)
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
	s := f.q.plane.Scale
	dx, dy, arc := f.q.plane.straight(s.Along(a), s.Along(b))
	skew := f.q.skew(0, 0)
	e.LengthIn = f.spacing * float64(n-1) * math.Abs((dx-dy*math.Tan(skew))/arc) * math.Cos(skew)
	e.UIn = math.Hypot(0.1*f.T, f.spacingU*float64(n-1))
	e.Wires = n
	e.Probability = 0.93
	if f.goesOn() {
		e.Probability = 0.2
	}
	if f.doubtful {
		// one wire more or less at an end
		e.Probability *= 0.75
		e.UIn = math.Hypot(e.UIn, 0.5*f.T)
	}
	if f.lopsided() {
		e.Probability *= lopsidedOdds
	}
	f.tell(&e)
	return e, true
}

// endsOf are the ends at two places along the ruler, shown in the middle of the
// wires.
func (f wireField) endsOf(a, b float64) Ends {
	q := f.q
	s := q.plane.Scale
	var e Ends
	d := (q.d0 + q.depth(q.rows-1)) / 2
	for i, u := range [2]float64{a, b} {
		along := s.Along(u)
		x, y := s.Frame.Point(along+q.leanAt(along)*d, d)
		e.At[i] = [2]float64{x, y}
	}
	m := (s.Along(a) + s.Along(b)) / 2
	e.LengthIn = math.Abs(b-a) * math.Cos(q.skew(0, m))
	e.UIn = 0.15 * f.T
	return e
}

// underRuler says whether the ruler's edge lies on the wires or the baulks.
func (f wireField) underRuler() bool {
	// the field reaches a baulk's width beyond its wires
	const baulkIn = 0.5
	d0, d1 := f.q.d0, f.q.depth(f.q.rows-1)
	return d0 < baulkIn*f.ppi && d1 > -baulkIn*f.ppi
}

// goesOn tells whether the wires reach to where the patch ends, at the picture's
// edge or where the scale is read no further: what was found last is no end.
func (f wireField) goesOn() bool { return f.goesOnTo(-1) || f.goesOnTo(1) }

// goesOnTo is goesOn for the side at fewer inches (-1) or at more (+1).
func (f wireField) goesOnTo(dir float64) bool {
	const near = 2.5 // spacings
	n := len(f.sig.v)
	i, step, last := 0, 1, f.places[0]
	if dir > 0 {
		i, step, last = n-1, -1, f.places[len(f.places)-1]
	}
	for i >= 0 && i < n && f.sig.v[i] != f.sig.v[i] {
		i += step
	}
	return math.Abs(f.sig.u0+float64(i)*f.sig.du-last) < near*f.T
}

// tell adds what the wires tell of the ruler's place and of the plane.
func (f wireField) tell(e *Ends) {
	e.UnderRuler, e.Plane = f.underRuler(), f.q.plane
	e.FieldIn = f.heightIn
	if f.frontTold {
		e.SpacingIn, e.SpacingU, e.DentsPerSpacing = f.spacing*math.Cos(f.q.skew(0, 0)), f.spacingU, 1
		if f.kind == RigidHeddle {
			e.DentsPerSpacing = 2
		}
	}
}

// caps are the outer faces of the two end caps: clear edges along the whole
// field, outside of its wires, as far from the first as from the last.
func (f wireField) caps() (l, r edgeLine, probability float64) {
	s := f.q.plane.Scale
	a, b := f.places[0], f.places[len(f.places)-1]
	opt := lineSearch{SigmaPx: math.Max(1.2, f.ppi/90), ChunkPx: 0.15 * f.ppi, MaxExtra: 0.08, MostLines: 100}
	left, right := f.linesBeside(a-capReachIn, a, opt), f.linesBeside(b, b+capReachIn, opt)
	best, rival := 0.0, 0.0
	least := 0.4*f.T + capMinIn
	for _, x := range left {
		for _, y := range right {
			dl, dr := a-s.In(x.along), s.In(y.along)-b
			if math.Min(dl, dr) < least {
				continue // the inner edge of a cap
			}
			lop := (dl - dr) / 0.2
			sure := x.clear() * y.clear() * math.Exp(-lop*lop/2)
			// Of a cap's two edges the outer one is meant.
			score := sure * math.Min(1, 0.05+math.Min(dl, dr)/0.3)
			if score > best {
				if best > 0 && s.In(l.along)-s.In(x.along) > capMinIn {
					rival = best
				}
				best, probability, l, r = score, sure, x, y
			} else if out := s.In(l.along) - s.In(x.along); score > rival && math.Abs(out) > capMinIn {
				rival = score
			}
		}
	}
	if best > 0 {
		probability *= best / (best + 0.2*rival)
	}
	return l, r, math.Min(0.97, probability*1.5)
}

// lopsidedOdds is how often the ends are right where one of them seems to lack a
// wire: a stated prior.
const lopsidedOdds = 0.6

// lopsided says whether what lies outside the last wire reaches one spacing
// further at one end than at the other, as where a wire in a cap's shadow was not
// seen, or a cap's edge was taken for one. Caps are made alike.
func (f wireField) lopsided() bool {
	const leastClear, offEven = 0.3, 0.3
	a, b := f.places[0], f.places[len(f.places)-1]
	if f.T < math.Max(1.0/16, 0.005*(b-a)) {
		return false // one wire more or less matters little
	}
	s := f.q.plane.Scale
	opt := lineSearch{SigmaPx: math.Max(1.2, f.ppi/90), ChunkPx: 0.15 * f.ppi, MaxExtra: 0.08, MostLines: 100}
	reach := func(from, to, at float64) (out float64) {
		for _, l := range f.linesBeside(from, to, opt) {
			if l.clear() > leastClear {
				out = math.Max(out, math.Abs(s.In(l.along)-at))
			}
		}
		return out
	}
	l, r := reach(a-capReachIn, a, a), reach(b, b+capReachIn, b)
	return l > 0 && r > 0 && math.Abs(math.Abs(l-r)/f.T-1) < offEven
}

// linesBeside are the long edges that meet the ruler between two places, inches.
func (f wireField) linesBeside(from, to float64, opt lineSearch) (out []edgeLine) {
	const margin = 0.25 // inches, for the filter and for edges that lean
	s := f.q.plane.Scale
	u, v := s.Along(from-margin), s.Along(to+margin)
	q := f.q.columns(math.Min(u, v), math.Max(u, v))
	if q.cols == 0 {
		return nil
	}
	for _, x := range q.edgeLines(0, q.rows, opt) {
		if in := s.In(x.along); in > from && in < to {
			out = append(out, x)
		}
	}
	return out
}
