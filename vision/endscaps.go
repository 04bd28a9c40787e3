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
	const fewPx = 6
	if f.T*f.ppi < fewPx {
		// wires that stand within some pixels are told to one more or less
		e.UIn = math.Hypot(e.UIn, 0.7*f.T)
	}
	if f.doubtful {
		// one wire more or less at an end
		e.Probability *= 0.75
		e.UIn = math.Hypot(e.UIn, 0.5*f.T)
	}
	if f.lopsided() {
		e.Probability *= lopsidedOdds
	}
	if f.evened {
		e.Probability *= evenedOdds
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

// underRuler says whether the ruler lies on the wires or the baulks: its marked
// edge, or its other one where the wires are seen behind it.
func (f wireField) underRuler() bool {
	// the field reaches a baulk's width beyond its wires; rulers are half an inch to
	// an inch and a half wide (common practice, no source)
	const baulkIn, widthIn = 0.5, 1.0
	back := f.q.plane.BackPx
	if back == 0 {
		back = widthIn * f.ppi
	}
	d0, d1 := f.q.d0, f.q.depth(f.q.rows-1)
	return d0 < back+baulkIn*f.ppi && d1 > -baulkIn*f.ppi
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

// capPair is a pair of edges that may be the outer faces of the two end caps.
type capPair struct {
	l, r  edgeLine
	sure  float64 // how clear and how even they are, 0…1
	alike float64 // how much more likely caps of one make are than chance edges, 1: not told
}

// A cap that is taken for the reed's first wire, or a last wire in its shadow that
// is not seen, shifts an end by one spacing: so often (a stated prior), and so often
// where the end is in doubt.
const capShiftOdds, capShiftDoubtful = 0.15, 0.4

// shift moves an end inward by so many inches.
type shift struct{ in, odds float64 }

// shifts are the ways in which an end may have to be moved. Where wires stand
// close it does not matter.
func (f wireField) shifts() []shift {
	const matters = 0.1 // inches, half of how uneven caps may be
	s := []shift{{0, 1}}
	if f.T > matters {
		odds := capShiftOdds
		if f.doubtful {
			odds = capShiftDoubtful
		}
		s = append(s, shift{f.T, odds}, shift{-f.T, odds})
	}
	return s
}

// caps are the outer faces of the two end caps: clear edges along the whole
// field, outside of its wires, as far from the first as from the last.
func (f wireField) caps() (l, r edgeLine, probability float64) {
	s := f.q.plane.Scale
	a, b := f.places[0], f.places[len(f.places)-1]
	opt := lineSearch{SigmaPx: math.Max(1.2, f.ppi/90), ChunkPx: 0.15 * f.ppi, MaxExtra: 0.08, MostLines: 100}
	left, right := f.linesBeside(a-capReachIn, a+1.5*f.T, opt), f.linesBeside(b-1.5*f.T, b+capReachIn, opt)
	var best capPair
	top, rival := 0.0, 0.0
	least := 0.4*f.T + capMinIn
	shifts := f.shifts()
	for _, x := range left {
		for _, y := range right {
			p, score := capPair{l: x, r: y}, 0.0
			for _, kl := range shifts {
				for _, kr := range shifts {
					dl, dr := a-s.In(x.along)+kl.in, s.In(y.along)-b+kr.in
					if math.Min(dl, dr) < least {
						continue // the inner edge of a cap
					}
					lop := (dl - dr) / 0.2
					sure := x.clear() * y.clear() * math.Exp(-lop*lop/2)
					// Of a cap's two edges the outer one is meant.
					v := sure * math.Min(1, 0.05+math.Min(dl, dr)/0.3) * kl.odds * kr.odds
					alike := 1.0
					if off := math.Abs(dl - dr); off < capsEvenIn {
						if w, ok := f.twins(x, y, left, right); ok {
							alike = twinsOdds
							if math.Max(off, w) < closeTwinsIn {
								alike *= closeTwinsOdds
							}
						}
					}
					if v *= alike; v > score {
						score, p.sure, p.alike = v, sure, alike
					}
				}
			}
			if score == 0 {
				continue
			}
			if score > top {
				if top > 0 && s.In(best.l.along)-s.In(x.along) > capMinIn {
					rival = top
				}
				top, best = score, p
			} else if out := s.In(best.l.along) - s.In(x.along); score > rival && math.Abs(out) > capMinIn {
				rival = score
			}
		}
	}
	if top == 0 {
		return l, r, 0
	}
	probability = math.Min(1, 1.5*best.sure) * top / (top + 0.2*rival)
	probability = probability * best.alike / (probability*best.alike + 1 - probability)
	return best.l, best.r, math.Min(0.97, probability)
}

// Caps are made alike: they stand evenly to capsEvenIn inches, are of one width to
// capsTwinIn, and their edges look alike. Two chance edges of a picture are all of
// that one time in twinsOdds, and to closeTwinsIn closeTwinsOdds times more rarely
// (stated priors).
const (
	capsEvenIn, capsTwinIn, twinsOdds = 0.08, 0.04, 4.0
	closeTwinsIn, closeTwinsOdds      = 0.02, 3.0
)

// twins says whether the outer edges x and y belong to caps of one make: each has
// an inner edge as far from it as the other, and the steps across them are alike,
// turned round. off is by how many inches the two are not of one width.
func (f wireField) twins(x, y edgeLine, left, right []edgeLine) (off float64, ok bool) {
	const leastClear, alike, widest = 0.15, 0.6, 1.0
	s := f.q.plane.Scale
	facing := func(a, b edgeLine) bool { // one changes as the other, seen from the middle
		return -a.step.dot(b.step) > alike*a.step.len()*b.step.len()
	}
	if !facing(x, y) {
		return 0, false
	}
	off = capsTwinIn
	for _, xi := range left {
		w := s.In(xi.along) - s.In(x.along)
		if w < capMinIn || w > widest || xi.clear() < leastClear {
			continue
		}
		for _, yi := range right {
			v := s.In(y.along) - s.In(yi.along)
			if d := math.Abs(w - v); d < off && yi.clear() >= leastClear && facing(xi, yi) {
				off, ok = d, true
			}
		}
	}
	return off, ok
}

// lopsidedOdds is how often the ends are right where one of them seems to lack a
// wire: a stated prior.
const lopsidedOdds = 0.6

// evenedOdds is how often a number of wires is right that the caps told: a stated
// prior.
const evenedOdds = 0.85

// outsides are how far the outermost clear edge, that of a cap, lies outside the
// first wire and outside the last, in inches; ok is false where one of the two
// shows none, or where a wire more or less matters little.
func (f wireField) outsides() (l, r float64, ok bool) {
	const leastClear = 0.3
	a, b := f.places[0], f.places[len(f.places)-1]
	if f.T < math.Max(1.0/16, 0.005*(b-a)) {
		return 0, 0, false
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
	l, r = reach(a-capReachIn, a, a), reach(b, b+capReachIn, b)
	return l, r, l > 0 && r > 0
}

// offEven is how near to a whole spacing a difference must be to be one, in
// spacings.
const offEven = 0.3

// lopsided says whether what lies outside the last wire reaches one spacing
// further at one end than at the other, as where a wire in a cap's shadow was not
// seen, or a cap's edge was taken for one. Caps are made alike.
func (f wireField) lopsided() bool {
	l, r, ok := f.outsides()
	return ok && math.Abs(math.Abs(l-r)/f.T-1) < offEven
}

// evenOut mends ends at which the caps stand unevenly by a whole spacing. Where the
// outermost edge lies so near to the last wire that there is no room for a cap, the
// cap was taken for a wire. Where a cap then stands a spacing further off than the
// other, a wire touches it that was not seen: bright on bright, it shows only its
// inner side.
func (f *wireField) evenOut() {
	l, r, ok := f.outsides()
	if !ok {
		return
	}
	out := [2]float64{l, r}
	least := 0.4*f.T + capMinIn
	for i, dir := range [2]float64{-1, 1} {
		k := (out[1-i] - out[i]) / f.T
		if out[i] < least && k > 1-offEven && math.Abs(k-math.Round(k)) < offEven && k < 2+offEven {
			f.setEnd(dir, len(f.places)-1, nil)
			out[i] += f.T
			f.evened = true
		}
	}
	const leastContrast = 0.6 // of the last wires'
	for i, dir := range [2]float64{-1, 1} {
		if math.Abs((out[i]-out[1-i])/f.T-1) > offEven || f.goesOnTo(dir) {
			continue
		}
		at := f.outward(dir)
		last := at[len(at)-1]
		if f.contrastAt(last+dir*f.T) > leastContrast*f.contrastAt(last) {
			f.setEnd(dir, len(at), []float64{last + dir*f.T})
			f.evened = true
		}
	}
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
