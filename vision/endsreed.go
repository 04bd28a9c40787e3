package vision

import (
	"math"
	"sort"

	"dentcount/calib"
	"dentcount/photo"
)

// A reed lies along the ruler, beside it or under it: a field of wires square to
// the ruler, between two baulks along it, closed by two end caps. Sizes in
// inches (common practice, no source).
const (
	reedReachIn    = 8.0 // how far from the ruler's edge a reed may reach
	reedZoneMinIn  = 1.2 // lowest field of wires
	capReachIn     = 1.5 // how far outside the last wire a cap's outer face may be
	capMinIn       = 0.1 // narrowest end cap
	reedMinPeriods = 12
)

// wireField is a field of wires (or of a rigid heddle's slots) found in a patch.
type wireField struct {
	kind              Kind
	q                 patch
	ppi               float64
	T                 float64 // spacing, inches on the ruler
	sig               signal  // the field's profile, inches along the ruler
	flat              signal  // the same, its contrast evened
	plain             signal  // the same, only its slow changes taken off
	places            []float64
	match             []float64
	spacing, spacingU float64 // T by regression, and its standard uncertainty
	// doubtful is set where, at an end, something more stands that is half like a wire.
	doubtful  bool
	evened    bool    // the caps told how many wires there are at an end
	frontTold bool    // spacing is that of the wires' fronts
	heightIn  float64 // of the wires as far as they are seen
	bright    bool    // the wires are the lighter lobes
}

// luma is the profile of all rows in grey, on an even grid of inches.
func (q patch) luma(ppi float64) signal {
	p := q.profile(0, q.rows, 0)
	s := q.plane.Scale
	v := make([]float64, q.cols)
	for c := range v {
		v[c] = 0.114*p[0][c] + 0.587*p[1][c] + 0.299*p[2][c]
	}
	a, b := s.In(q.lo), s.In(q.lo+float64(q.cols-1))
	u0, u1 := math.Min(a, b), math.Max(a, b)
	return evenly(v, q.lo, u0, u1, s, ppi)
}

// column is the patch's column of a place in inches.
func (f wireField) column(in float64) float64 { return f.q.plane.Scale.Along(in) - f.q.lo }

// findField looks for the wires on both sides of the ruler's edge.
func findField(img photo.Colour, pl Plane) (wireField, bool) {
	return findFieldOf(img, pl, Reed)
}

// findFieldOf looks for the wires of a reed, or the slots of a rigid heddle.
func findFieldOf(img photo.Colour, pl Plane, kind Kind) (f wireField, ok bool) {
	s := pl.Scale
	f.kind = kind
	f.ppi = math.Abs(s.PxPerIn())
	lo, hi := alongOf(img, pl)
	// a scale read far beyond its last marks is no scale
	span := s.Hi - s.Lo
	lo, hi = math.Max(lo, s.Lo-0.6*span), math.Min(hi, s.Hi+0.6*span)
	d0, d1, ok := f.findRows(img.G, pl, lo, hi)
	if !ok {
		return f, false
	}
	ways, ok := findFan(img.G, pl, lo, hi, d0, d1, f.T)
	if !ok {
		return f, false
	}
	// the spacing was seen in the plane as the marks told it
	f.T *= ways.plane.inPerPx((lo+hi)/2, (d0+d1)/2) / pl.inPerPx((lo+hi)/2, (d0+d1)/2)
	f.q = drawSlanted(img, ways.plane, ways.slant, lo, hi, d0, d1, math.Max(1, f.ppi/40))
	if f.q.cols == 0 {
		return f, false
	}
	f.sig = f.q.luma(f.ppi)
	f.flat = f.sig.highPass(0.75 * f.T)
	f.plain = f.sig.highPassPlain(0.75 * f.T)
	return f, f.follow()
}

// How much the spacing may change, by its natural logarithm, from one row to the
// next and over all rows of one field: short marks tell the plane's tilt to some
// degrees only, and a tilt that is wrong by 8° makes it change by a tenth over six
// inches seen from two feet.
const toneStep, toneDrift = 0.01, 0.1

// inPerPx is how many inches along the ruler a pixel is, at a place of the plane.
func (pl Plane) inPerPx(along, depth float64) float64 {
	a, _ := pl.at(along-1, depth)
	b, _ := pl.at(along+1, depth)
	return math.Abs(b-a) / 2
}

// findRows finds the depths between which one tone runs along the ruler, and
// its spacing.
func (f *wireField) findRows(p photo.Plane, pl Plane, lo, hi float64) (d0, d1 float64, ok bool) {
	g := gridOf(pl, lo, hi, 1.5)
	if g.along == nil {
		return 0, 0, false
	}
	high := 0.15 * f.ppi
	n := int(2 * reedReachIn * f.ppi / high)
	tones := make([]tone, n)
	calib.SideBySide(n, func(i int) {
		d := (float64(i) + 0.5 - float64(n)/2) * high
		sig := g.row(p, pl.Scale.Frame, d-high/3, d, d+high/3)
		seen := 0
		for _, v := range sig.v {
			if v == v {
				seen++
			}
		}
		if float64(seen)*g.du > 3 {
			if t, ok := findPeriod(sig.highPass(0.4), coarsest, math.Min(f.ppi/2.2, finest)); ok {
				tones[i] = t
			}
		}
	})
	t, from, to := sharedTone(tones, int(math.Ceil(reedZoneMinIn*f.ppi/high)))
	if to == 0 {
		return 0, 0, false
	}
	f.T = 1 / t
	at := func(i int) float64 {
		_, across := pl.at((lo+hi)/2, (float64(i)-float64(n)/2)*high)
		return across
	}
	f.heightIn = math.Abs(at(to) - at(from))
	// the outer tenth on both sides may lie on the baulks
	cut := float64(to-from) / 10
	return (float64(from) + cut - float64(n)/2) * high, (float64(to) - cut - float64(n)/2) * high, true
}

// sharedTone finds the longest run of rows, from ≤ i < to and least of them at
// least, that share one tone, few of them left out; perInch is the middle one.
func sharedTone(tones []tone, least int) (perInch float64, from, to int) {
	best := 0.0
	for i, b := range tones {
		if b.PerInch == 0 {
			continue
		}
		sum, miss, last := 0.0, 0, i
		seen := b.PerInch
		var run []float64
		for j := i; j < len(tones) && miss <= 2; j++ {
			t := tones[j]
			if t.PerInch > 0 && math.Abs(math.Log(t.PerInch/seen)) < toneStep && math.Abs(math.Log(t.PerInch/b.PerInch)) < toneDrift {
				sum += math.Min(t.Line, 40)
				run = append(run, t.PerInch)
				miss, last, seen = 0, j, t.PerInch
			} else {
				miss++
			}
		}
		if sum > best && last+1-i >= least {
			best, perInch, from, to = sum, medianOf(run), i, last+1
		}
	}
	return perInch, from, to
}

// follow finds every wire's place by likeness to the typical one, outward from
// where the tone is strongest, as far as there are wires.
func (f *wireField) follow() bool {
	mid := f.strongest()
	if t := refine(f.flat.cut(mid-12*f.T, mid+12*f.T), 1/f.T); math.Abs(t*f.T-1) < 0.02 {
		f.T = 1 / t
	}
	tpl := f.fold(mid)
	if f.kind == RigidHeddle {
		f.bright = narrowBright(tpl) // slots are narrower than what stands between them
	} else {
		f.bright = f.brightWires(mid, tpl)
	}
	if f.kind != Reed {
		if !f.followLobes(tpl, mid) {
			return false
		}
		f.settleEnds()
		return len(f.places) >= reedMinPeriods
	}
	other := *f
	if !f.followLobes(tpl, mid) {
		return false
	}
	f.settleEnds()
	if cut := f.cutLobes(); cut > 0 {
		other.bright = !f.bright
		if other.followLobes(tpl, mid) {
			other.settleEnds()
			if other.cutLobes() < cut {
				*f, cut = other, other.cutLobes()
			}
		}
		f.doubtful = f.doubtful || cut > 0
	}
	f.evenOut()
	return len(f.places) >= reedMinPeriods
}

// followLobes follows the lighter or the darker lobes of the typical course,
// as f.bright says, from about mid outward.
func (f *wireField) followLobes(tpl []float64, mid float64) bool {
	top := 0
	for i := range tpl {
		if (f.bright && smoothAt(tpl, i) > smoothAt(tpl, top)) || (!f.bright && smoothAt(tpl, i) < smoothAt(tpl, top)) {
			top = i
		}
	}
	start := mid + ((float64(top)+0.5)/float64(len(tpl))-0.5)*f.T
	tpl = append(append([]float64(nil), tpl[(top+len(tpl)/2)%len(tpl):]...), tpl[:(top+len(tpl)/2)%len(tpl)]...)
	f.walkBoth(tpl, start, 1)
	if len(f.places) < reedMinPeriods {
		return false
	}
	f.measureSpacing()
	// A course that is learned on the way may slide along the wires: off the
	// camera's foot point their sides show, and more of them the further off. So
	// once more, held to the spacing of the fronts.
	if f.frontTold {
		f.T = f.spacing
		f.walkBoth(tpl, start, mostSlide)
		if len(f.places) < reedMinPeriods {
			return false
		}
		f.measureSpacing()
	}
	return true
}

// walkBoth follows the wires from start both ways.
func (f *wireField) walkBoth(tpl []float64, start, slide float64) {
	right, rm, doubtR := f.walk(tpl, start, f.T, slide)
	left, lm, doubtL := f.walk(tpl, start, -f.T, slide)
	f.doubtful = doubtL || doubtR
	f.places, f.match = nil, nil
	for i := len(left) - 1; i > 0; i-- {
		f.places = append(f.places, left[i])
		f.match = append(f.match, lm[i])
	}
	f.places = append(f.places, right...)
	f.match = append(f.match, rm...)
}

// depthDoubtIn is how far below the ruler's plane what is seen of the wires may
// lie, one standard deviation, where no row of edges tells their front: they are
// a tenth to a sixth of an inch deep.
const depthDoubtIn = 0.03

// measureSpacing is the spacing in the plane of the wires' fronts, as the rows
// of their edges tell it; where they do not, by regression over the places, its
// doubt that of the scatter and of the depth at which the wires are seen.
func (f *wireField) measureSpacing() {
	a, slope, _, u := robustLine(f.places, f.match, f.T)
	distanceIn := f.q.plane.FocalPx / f.ppi
	f.spacing, f.spacingU = slope, math.Hypot(u, slope*depthDoubtIn/distanceIn)
	l := lattice{first: a, T: slope, count: len(f.places)}
	all := edgesOf(f.sig, l.T, 0)
	p, _, otherRel, ok := frontPlane(planesOf(all, l), 1/25.4/distanceIn)
	if !ok {
		return
	}
	if front, ok := fitFront(all, all, l, p, anyEdge); ok && math.Abs(front.spacingIn/l.T-1) < 0.02 {
		f.frontTold = true
		f.spacing, f.spacingU = front.spacingIn, math.Hypot(front.uRel, otherRel)*front.spacingIn
	}
}

// strongest is the middle of the part of the signal in which the tone stands.
func (f *wireField) strongest() float64 {
	w := 6 * f.T
	type spot struct{ u, a float64 }
	var spots []spot
	for u := f.plain.u0 + w; u < f.plain.u0+float64(len(f.plain.v))*f.plain.du-w; u += w {
		g := f.plain.cut(u-w, u+w)
		var re, im float64
		n := 0.0
		for i, v := range g.v {
			if v == v {
				sn, cs := math.Sincos(2 * math.Pi * float64(i) * g.du / f.T)
				re += v * cs
				im += v * sn
				n++
			}
		}
		if n > 0.8*float64(len(g.v)) {
			spots = append(spots, spot{u, math.Hypot(re, im) / n})
		}
	}
	if len(spots) == 0 {
		return f.plain.u0 + float64(len(f.plain.v))*f.plain.du/2
	}
	byA := append([]spot(nil), spots...)
	sort.Slice(byA, func(i, j int) bool { return byA[i].a > byA[j].a })
	limit := 0.6 * byA[len(byA)/4].a
	var in []float64
	for _, x := range spots {
		if x.a > limit {
			in = append(in, x.u)
		}
	}
	return in[len(in)/2]
}

// cut is the part of a signal between two places.
func (g signal) cut(u0, u1 float64) signal {
	i, j := max(0, int((u0-g.u0)/g.du)), min(len(g.v), int((u1-g.u0)/g.du)+1)
	if j <= i {
		return signal{u0: u0, du: g.du}
	}
	return signal{u0: g.u0 + float64(i)*g.du, du: g.du, v: g.v[i:j]}
}

// fold is the typical course over one spacing about mid.
func (f *wireField) fold(mid float64) []float64 {
	const bins = 48
	sum, n := make([]float64, bins), make([]float64, bins)
	g := f.flat.cut(mid-8.5*f.T, mid+8.5*f.T)
	for i, v := range g.v {
		if v != v {
			continue
		}
		ph := (g.u0+float64(i)*g.du-mid)/f.T + 0.5
		j := int((ph - math.Floor(ph)) * bins)
		sum[j] += v
		n[j]++
	}
	for j := range sum {
		sum[j] /= math.Max(n[j], 1)
	}
	return sum
}

// narrowBright says whether the lighter lobe of a course is the narrower one.
func narrowBright(tpl []float64) bool {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range tpl {
		v := smoothAt(tpl, i)
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	over := 0
	for i := range tpl {
		if smoothAt(tpl, i) > (lo+hi)/2 {
			over++
		}
	}
	return 2*over < len(tpl)
}

// brightWires says whether the lighter lobes are the wires. They are, as steel
// throws highlights and what lies behind is in their shadow, unless the lighter
// ones have the ground's own colour and the darker ones have not.
func (f *wireField) brightWires(mid float64, tpl []float64) bool {
	q := f.q
	prof := q.profile(0, q.rows, 0)
	// the two lobes' colours, over some spacings
	hi, lo := 0, 0
	for i := range tpl {
		if smoothAt(tpl, i) > smoothAt(tpl, hi) {
			hi = i
		}
		if smoothAt(tpl, i) < smoothAt(tpl, lo) {
			lo = i
		}
	}
	lobe := func(j int) (c colour) {
		const half = 8
		for k := -half; k <= half; k++ {
			x := int(f.column(mid + (float64(k)+(float64(j)+0.5)/float64(len(tpl))-0.5)*f.T))
			if x < 0 || x >= q.cols {
				continue
			}
			for i := range c {
				c[i] += prof[i][x] / (2*half + 1)
			}
		}
		return c
	}
	light, dark := lobe(hi), lobe(lo)
	g, ok := f.groundBeside(prof, mid)
	if !ok {
		return true
	}
	dl, dd := offShade(light, g), offShade(dark, g)
	const own = 12 // grey levels
	return !(dl < own && dl < 0.5*dd)
}

// groundBeside is the median colour at those of the patch's two ends along the
// ruler to which the wires do not reach; ok is false where they reach to both.
func (f *wireField) groundBeside(prof [3][]float64, mid float64) (g colour, ok bool) {
	n := max(8, f.q.cols/25)
	level := f.contrastAt(mid)
	var v [3][]float64
	for _, step := range [2]int{1, -1} {
		c := 0
		if step < 0 {
			c = f.q.cols - 1
		}
		for c >= 0 && c < f.q.cols && prof[0][c] != prof[0][c] {
			c += step
		}
		to := c + step*n
		if to < 0 || to >= f.q.cols {
			continue
		}
		s := f.q.plane.Scale
		middle := s.In(f.q.lo + float64(c+to)/2)
		if !(f.contrastAt(middle) < 0.4*level) {
			continue // wires there, too
		}
		for ; c != to; c += step {
			for i := range v {
				v[i] = append(v[i], prof[i][c])
			}
		}
		ok = true
	}
	for i := range v {
		g[i] = medianOf(v[i])
	}
	return g, ok
}

// offShade is how far a colour lies from any shade of the ground.
func offShade(c, ground colour) float64 {
	n := ground.dot(ground)
	if !(n > 0) {
		return c.len()
	}
	k := math.Max(0.15, math.Min(1.1, c.dot(ground)/n))
	return c.sub(colour{ground[0] * k, ground[1] * k, ground[2] * k}).len()
}

// What still passes for a wire: likeness to the typical one, and contrast
// against that of its neighbours (the last ones stand in the caps' shadow).
const (
	leastMatch     = 0.75
	leastContrast  = 0.15
	mostShift      = 0.15 // of a spacing
	mostPassedOver = 6
	mostSlide      = 0.3 // of a spacing, off an even row
)

// learn moves the typical course a little towards that about u: light and ground
// change along a reed.
func (f *wireField) learn(tpl []float64, u float64) {
	for i := range tpl {
		v := f.flat.at(u + ((float64(i)+0.5)/float64(len(tpl))-0.5)*f.T)
		if v == v {
			tpl[i] += 0.2 * (v - tpl[i])
		}
	}
}

// contrastAt is how much the profile changes within a spacing about u.
func (f *wireField) contrastAt(u float64) float64 {
	g := f.plain.cut(u-f.T/2, u+f.T/2)
	var sq, n float64
	for _, v := range g.v {
		if v == v {
			sq += v * v
			n++
		}
	}
	return math.Sqrt(sq / math.Max(n, 1))
}

// walk follows the wires from start by steps of T (either way), as far as they
// look like wires. Places that do not are passed over where three in a row after
// them do: bent and missing wires, a thread across them.
// slide is how far, in spacings, they may come to lie off an even row; below 1
// what is learned stays where the row is. doubt says that the first place left out is half like a wire: one in a cap's
// shadow, or the cap's own edge.
func (f *wireField) walk(tpl []float64, start, T, slide float64) (at, match []float64, doubt bool) {
	step := math.Abs(T)
	level := f.contrastAt(start)
	off := 0.0 // how far the places lie beyond an even row, slowly followed
	tpl = append([]float64(nil), tpl...)
	good, sure := 0, 0
	half := map[int]bool{}
	for k := 0; k-sure <= mostPassedOver; k++ {
		want := start + float64(k)*T + off
		if want < f.flat.u0+step || want > f.flat.u0+float64(len(f.flat.v))*f.flat.du-step {
			break
		}
		u, m := f.flat.bestShift(tpl, want, step)
		here := f.contrastAt(u)
		if !(m >= leastMatch) || math.Abs(u-want) > mostShift*step || here < leastContrast*level {
			good = 0
			half[k] = m >= 0.35 && math.Abs(u-want) <= 0.25*step && here > 0.45*level
			at, match = append(at, want), append(match, math.NaN())
			continue
		}
		good++
		level += 0.1 * (here - level)
		off = math.Max(-slide*step, math.Min(slide*step, off+0.15*(u-want)))
		if slide < 1 {
			f.learn(tpl, want)
		} else {
			f.learn(tpl, u)
		}
		at, match = append(at, u), append(match, m)
		if good >= 3 || k-sure <= 1 {
			sure = k
		}
	}
	if len(at) > sure+1 {
		at, match = at[:sure+1], match[:sure+1]
	}
	return at, match, half[sure+1]
}
