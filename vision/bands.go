package vision

import (
	"context"
	"math"
	"sort"

	"dentcount/calib"
	"dentcount/photo"
)

// Kind is what a row of bands belongs to.
type Kind string

// The kinds of bands.
const (
	Reed        Kind = "reed"
	RigidHeddle Kind = "rigid-heddle"
)

// State of one place in the row of bands.
type State int

// What a place can be.
const (
	Good    State = iota // counted, on its place
	Bent                 // counted, off its place
	Missing              // no band where one belongs
	Hidden               // covered: yarn, lint, glare
	LeftOut              // left out by a person
)

// Band is one wire, or one slot (or slot and hole) of a rigid heddle.
type Band struct {
	Index int     // whole number of band spacings from the first
	Along float64 // px, on the ruler's edge
	In    float64 // inches on the ruler's own scale
	Match float64 // likeness to the typical band, -1…1
	State State
	// ByHand: a person counted it in or left it out; see Mend.
	ByHand bool
}

// Bands is a row of bands read on a ruler's scale.
type Bands struct {
	Kind            Kind
	KindProbability float64
	// HolesHidden says that the bands may as well be the slots of a rigid heddle
	// whose holes lie under the ruler as the wires of a reed of half as many dents.
	HolesHidden bool
	// KindCues are what the kind was told by, where bands are as coarse as slots.
	KindCues []Cue
	// Field is how far the bands run across the ruler and what they end in.
	Field Field
	// DentsPerBand is 2 where only every second opening of a rigid heddle (its
	// slots) crosses the ruler's edge, else 1.
	DentsPerBand int
	Row          []Band
	// PerInch is bands per inch of the ruler by regression of place on index, U
	// its standard uncertainty from the bands' scatter alone.
	PerInch, U float64
	// ScatterIn is the standard deviation of the good bands about the line.
	ScatterIn float64
	// MiddlePerInch is the regression through the middles of the bands, whichever
	// plane they lie in; PerInch is that, or the front's where DepthTold.
	MiddlePerInch, MiddleU float64
	// SpectralPerInch is the independent second opinion, SpectralU its
	// standard uncertainty.
	SpectralPerInch, SpectralU float64
	// Skew is the angle between the bands and the ruler's perpendicular in their
	// own plane, at the middle of the scale, radians.
	Skew float64
	// Slant is the spacing along the edge over that square to the bands: one over
	// the cosine of Skew, but for a tape that bends.
	Slant float64
	// BendPerIn is the curvature of the marked edge in its plane, one over its
	// radius in inches: positive where it is the outer edge of a tape that bends,
	// 0 for a straight one.
	BendPerIn float64
	// HeightIn is the camera's height above the ruler's face, square to it, as
	// seen through a lens of focal length FocalPx; it goes with that.
	HeightIn, FocalPx float64
	// Squares say how square to its edge the ruler's marks would stand through
	// lenses of other focal lengths: where the camera leans both along and across
	// the ruler, they tell the lens. None where the marks' lean was not read.
	Squares []Square
	// PxPerBand is the typical spacing in the photo.
	PxPerBand float64
	// FinestPx is the spacing of what stands out most beside the ruler: PxPerBand or
	// a whole part of it.
	FinestPx float64
	// Contrast of the bands: how far their line stands over the spectrum's floor.
	Contrast float64
	// Lean of the bands, along px per depth px: Lean[0] + Lean[1]·along/1000.
	Lean [2]float64
	// DepthTold says whether the edges told the wires' front from their back; then
	// PerInch is that of the front.
	DepthTold bool
	// DepthBySides: only the edges that look away from the camera's foot were
	// heeded, since the others lie deeper.
	DepthBySides bool
	// Coherence is the share of the contrast beside the ruler that runs along the
	// bands, 0…1: near 1 for wires, small for a table's texture.
	Coherence float64
	// ReachPx is how far from the edge the bands were followed.
	ReachPx float64
}

// Options are the settings of FindBands; the zero value is the default.
type Options struct {
	Kind Kind // said by a person; empty: told from the photo
	// FocalPx is the focal length in pixels, for where the camera stood; 0: a
	// phone's usual one.
	FocalPx float64
}

// The finest bands that are read: under this many pixels a band the picture
// holds no more than their tone, and moiré takes their place (Nyquist is 2).
const minPxPerBand = 2.9

// coarsest is the fewest bands per inch that are looked for: the slots of a
// rigid heddle of 4 dents. Below it lie shadows, digits and the picture's edge.
const coarsest = 1.9

// FindBands counts the bands beside the ruler's marked edge. found is false
// where nothing regular crosses it.
func FindBands(ctx context.Context, p photo.Plane, s calib.Scale, opt Options) (b Bands, found bool, err error) {
	ppi := s.PxPerIn()
	o, found, err := besideEdge(ctx, p, s, math.Max(3, 0.025*ppi))
	if !found || err != nil {
		return b, false, err
	}
	if o.t.likeMarks(s) {
		// The finest marks may stand before the traced edge, which then runs along
		// their ends: what lies beyond them is bands.
		if past, found, err := besideEdge(ctx, p, s, pastMarksIn*ppi); err != nil {
			return b, false, err
		} else if found && past.t.Line > plainLine && !past.t.likeMarks(s) {
			o = past
		}
	}
	st, ln, sig, t := o.st, o.ln, o.sig, o.t
	b.PxPerBand, b.FinestPx = ppi/t.PerInch, ppi/t.Strongest
	b.Lean = [2]float64{ln.A, ln.B}
	b.ReachPx, b.Coherence = -st.d0, o.gain
	shape := sig.highPass(0.75 / t.PerInch)
	if u, turns := shape.unsigned(t.PerInch); turns {
		shape, t.PerInch = u, refine(u, t.PerInch)
	}
	b.SpectralPerInch, b.SpectralU, b.Contrast = t.PerInch, t.U, t.Line
	b.locate(shape, sig, s, t.PerInch)
	if len(b.Row) < 5 || b.PerInch <= 0 {
		return b, false, nil
	}
	b.MiddlePerInch, b.MiddleU = b.PerInch, b.U
	focalPx := opt.FocalPx
	if focalPx <= 0 {
		focalPx = 0.8 * float64(max(p.W, p.H))
	}
	att := attitudeOf(p, s, ln, focalPx)
	first, last := b.Row[0].Along, b.Row[len(b.Row)-1].Along
	b.Skew, b.Slant, b.BendPerIn = att.skew, att.slant(s, first, last), att.bend(s, math.Min(first, last), math.Max(first, last))
	b.HeightIn, b.FocalPx = att.heightIn, focalPx
	b.Squares = squaresOf(p, s, ln, focalPx)
	b.frontOf(st, ln, sig, s, focalPx, att.footIn)
	l := lattice{first: b.Row[0].In, T: 1 / b.PerInch, count: b.Row[len(b.Row)-1].Index + 1}
	var told *arcs
	if t.PerInch <= finestSlots {
		if a, ok := arcsOf(sig, l, b.PxPerBand); ok {
			long, all := o.pastEnds(p, s, l, ppi)
			f, at := fold(long, all)
			f, at = f.withBands(at, l)
			a.wires = f.wiresOrBars(all, at, view{att.footIn, ppi / 25.4 / focalPx}, b.PxPerBand)
			told = &a
		}
	}
	k := kindOf(p, s, ln, t, ppi, told, opt.Kind)
	b.Kind, b.KindProbability, b.DentsPerBand = k.kind, k.probability, k.dentsPerBand
	b.HolesHidden = opt.Kind == "" && k.holesHidden
	b.KindCues = k.cues
	b.Field = fieldOf(p, s, ln, b.Row, t, ppi)
	b.Field.Told = opt.Kind != ""
	return b, true, nil
}

// Marks are this long at least where finer ones stand among longer (common
// practice, no source), and a line this far over the spectrum's floor is no chance.
const pastMarksIn, plainLine = 0.2, 10.0

// likeMarks says whether a tone is that of the scale's marks, or of marks twice as
// fine.
func (t tone) likeMarks(s calib.Scale) bool {
	const same = 0.01
	marks := float64(s.Divisions) / s.Unit.Inches()
	return marks > 0 && (math.Abs(t.PerInch/marks-1) < same || math.Abs(t.PerInch/(2*marks)-1) < same)
}

// besideRead is the strip before a marked edge, its bands' lean and tone.
type besideRead struct {
	st   strip
	ln   lean
	gain float64
	sig  signal // along the bands, on the ruler's inches
	t    tone
}

// besideEdge reads the strip before the marked edge from depth near px on.
func besideEdge(ctx context.Context, p photo.Plane, s calib.Scale, near float64) (o besideRead, found bool, err error) {
	ppi := s.PxPerIn()
	far := math.Min(0.5*ppi, 260)
	// as far as the picture goes beside most of the scale
	for far > near+6 {
		lo, hi := s.Frame.Inside(p, s.Lo, s.Hi, -near, -far)
		if hi-lo > 0.7*(s.Hi-s.Lo) {
			break
		}
		far *= 0.8
	}
	if far < near+6 {
		return o, false, nil
	}
	st := beside(p, s.Frame, math.Floor(s.Lo), s.Hi, -far, -near, math.Max(1, (far-near)/90))
	if st.cols == 0 {
		return o, false, nil
	}
	if err := ctx.Err(); err != nil {
		return o, false, err
	}
	ln, gain := findLean(st, int(0.2*ppi))
	r0 := st.coherentFrom(ln, int(0.2*ppi))
	if r0 > 0 && st.rows-r0 >= 6 {
		cut := st
		cut.d0, cut.rows, cut.v = st.depth(r0), st.rows-r0, st.v[r0*st.cols:]
		st = cut
		ln, gain = findLean(st, int(0.2*ppi))
	}
	sig := onRuler(st.sheared(ln, 0, st.rows, 1), st.lo, s, ppi)
	t, ok := findPeriod(sig.highPass(0.4), coarsest, math.Min(ppi/2.2, 42))
	ok = ok && sig.highPassPlain(0.4).amplitude(t.Strongest) > leastLevels
	return besideRead{st, ln, gain, sig, t}, ok, nil
}

// leastLevels is the least amplitude of bands, in grey levels of 255: what is
// fainter no person sees, and a plain board shows the blocks of its JPEG so. Of the
// photos of two renderers with bands the faintest had ten.
const leastLevels = 0.75

// TooFine says that the bands are too close together in the photo to be told
// from an artefact of the pixels: in moiré every second or third of them may look
// alike, so that what stands out most counts.
func (b Bands) TooFine() bool { return b.FinestPx < minPxPerBand }

// coherentFrom is the first row (the farthest from the ruler) from which on all
// rows up to the ruler look like their common mean: past it lies the baulk, the
// table, or another part.
func (s strip) coherentFrom(l lean, half int) int {
	h := s.highPass(half)
	near := h.sheared(l, max(0, s.rows-max(6, s.rows/4)), s.rows, 1)
	fits := func(r int) float64 {
		row := h.sheared(l, r, r+1, 1)
		var ab, aa, bb float64
		for i := range row {
			if x, y := row[i], near[i]; x == x && y == y {
				ab += x * y
				aa += x * x
				bb += y * y
			}
		}
		if aa == 0 || bb == 0 {
			return 0
		}
		return ab / math.Sqrt(aa*bb)
	}
	c := make([]float64, s.rows)
	top := 0.0
	for r := range c {
		c[r] = fits(r)
		top = math.Max(top, c[r])
	}
	bad := 0
	for r := s.rows - 1; r >= 0; r-- {
		if c[r] < 0.35*top {
			if bad++; bad > 4 {
				return min(s.rows-1, r+bad)
			}
		} else {
			bad = 0
		}
	}
	return 0
}

func (g signal) at(u float64) float64 {
	x := (u - g.u0) / g.du
	j := int(math.Floor(x))
	if j < 0 || j+1 >= len(g.v) {
		return math.NaN()
	}
	return g.v[j] + (g.v[j+1]-g.v[j])*(x-float64(j))
}

// onRuler carries a profile along the edge to an even grid of ruler inches.
func onRuler(prof []float64, lo float64, s calib.Scale, ppi float64) signal {
	u0, u1 := s.In(s.Lo), s.In(s.Hi)
	du := 1 / (1.5 * ppi)
	n := int((u1-u0)/du) + 1
	g := signal{u0: u0, du: du, v: make([]float64, max(n, 0))}
	for i := range g.v {
		x := s.Along(u0+float64(i)*du) - lo
		j := int(math.Floor(x))
		if j < 0 || j+1 >= len(prof) {
			g.v[i] = math.NaN()
			continue
		}
		g.v[i] = prof[j] + (prof[j+1]-prof[j])*(x-float64(j))
	}
	return g
}

// highPass takes the moving mean over ±half inches off, and evens the contrast
// so that a patch of glare does not outweigh the rest.
func (g signal) highPass(half float64) signal {
	n := len(g.v)
	k := max(1, int(half/g.du))
	mean := movingMean(g.v, k)
	o := signal{u0: g.u0, du: g.du, v: make([]float64, n)}
	sq := make([]float64, n)
	var all float64
	cnt := 0
	for i, v := range g.v {
		o.v[i] = v - mean[i]
		sq[i] = o.v[i] * o.v[i]
		if sq[i] == sq[i] {
			all += sq[i]
			cnt++
		}
	}
	if cnt == 0 {
		return o
	}
	all = math.Sqrt(all / float64(cnt))
	local := movingMean(sq, 2*k)
	for i := range o.v {
		o.v[i] /= math.Sqrt(local[i]) + 0.3*all + 1e-6
	}
	return o
}

func movingMean(v []float64, k int) []float64 {
	n := len(v)
	sum := make([]float64, n+1)
	cnt := make([]int, n+1)
	for i, x := range v {
		sum[i+1], cnt[i+1] = sum[i], cnt[i]
		if x == x {
			sum[i+1] += x
			cnt[i+1]++
		}
	}
	out := make([]float64, n)
	for i := range v {
		a, b := max(0, i-k), min(n, i+k+1)
		if c := cnt[b] - cnt[a]; c > 0 {
			out[i] = (sum[b] - sum[a]) / float64(c)
		} else {
			out[i] = math.NaN()
		}
	}
	return out
}

// locate finds every band's place by likeness to the typical band, and the
// straight line of place on index through the good ones. plain is the signal as it
// was seen.
func (b *Bands) locate(g, plain signal, s calib.Scale, perInch float64) {
	T := 1 / perInch
	n := int(math.Round(T / g.du))
	if n < 3 {
		return
	}
	const bins = 48
	var tpl [bins]float64
	fold := func(center func(k int) float64, weights []float64) {
		var sum, cnt [bins]float64
		for i, v := range g.v {
			if v != v {
				continue
			}
			u := g.u0 + float64(i)*g.du
			k := int(math.Floor((u-center(0))/T + 0.5))
			w := 1.0
			if weights != nil {
				if k < 0 || k >= len(weights) {
					continue
				}
				w = weights[k]
			}
			ph := (u-center(k))/T + 0.5
			j := int(math.Floor(ph * bins))
			if j < 0 || j >= bins {
				continue
			}
			sum[j] += w * v
			cnt[j] += w
		}
		for j := range tpl {
			tpl[j] = 0
			if cnt[j] > 0 {
				tpl[j] = sum[j] / cnt[j]
			}
		}
	}
	start := g.u0
	fold(func(k int) float64 { return start + float64(k)*T }, nil)
	// the band is where the profile leaves its mean the most
	ext := 0
	for j := range tpl {
		if math.Abs(smoothAt(tpl[:], j)) > math.Abs(smoothAt(tpl[:], ext)) {
			ext = j
		}
	}
	start += (float64(ext) + 0.5 - bins/2) / bins * T
	for start > g.u0+T {
		start -= T
	}
	for start < g.u0 {
		start += T
	}
	count := int((g.u0+float64(len(g.v)-1)*g.du-start)/T) + 1
	place := make([]float64, count)
	match := make([]float64, count)
	a, slope := start, T
	for pass := 0; pass < 3; pass++ {
		w := make([]float64, count)
		for k := range w {
			w[k] = 1
			if pass > 0 && !(match[k] >= 0.4) {
				w[k] = 0
			}
		}
		fold(func(k int) float64 { return a + slope*float64(k) }, w)
		for k := range place {
			place[k], match[k] = g.bestShift(tpl[:], a+slope*float64(k), T)
		}
		plain.dropFaint(place, match, T)
		a, slope, b.ScatterIn, b.U = robustLine(place, match, T)
	}
	typical := medianOf(match)
	b.PerInch = 1 / slope
	b.U = b.U / slope * b.PerInch
	b.Row = b.Row[:0]
	for k := range place {
		r := place[k] - (a + slope*float64(k))
		st := Good
		switch {
		case match[k] < 0.35*typical || math.IsNaN(match[k]):
			st = Missing
			place[k] = a + slope*float64(k)
		case match[k] < 0.6*typical:
			st = Hidden
		case math.Abs(r) > math.Max(5*b.ScatterIn, 0.1*T):
			st = Bent
		}
		b.Row = append(b.Row, Band{Index: k, In: place[k], Along: s.Along(place[k]), Match: match[k], State: st})
	}
	b.Row = trimEnds(b.Row)
}

// dropFaint makes the likeness of bands that are hardly there NaN: those a tenth as
// strong as the strongest tenth or less, in a signal whose contrast was not evened.
// Bands in the shade are stronger than that, a table's grain is not. The share is a
// stated one, seen to do on two drawn combs (seeds 4701 and 4741).
func (g signal) dropFaint(place, match []float64, T float64) {
	const least, strongest = 0.1, 0.9
	strong := make([]float64, len(place))
	var seen []float64
	for k, u := range place {
		if strong[k] = g.rms(u-T/2, u+T/2); !math.IsNaN(strong[k]) {
			seen = append(seen, strong[k])
		}
	}
	if len(seen) == 0 {
		return
	}
	sort.Float64s(seen)
	most := seen[int(strongest*float64(len(seen)-1))]
	for k, v := range strong {
		if v < least*most {
			match[k] = math.NaN()
		}
	}
}

// rms is that of a signal about its mean between two places; NaN where it was not
// seen.
func (g signal) rms(from, to float64) float64 {
	var sum, sq, n float64
	for i := max(0, int(math.Ceil((from-g.u0)/g.du))); i < len(g.v) && g.u0+float64(i)*g.du <= to; i++ {
		if v := g.v[i]; v == v {
			sum, sq, n = sum+v, sq+v*v, n+1
		}
	}
	return math.Sqrt(math.Max(sq/n-sum/n*(sum/n), 0))
}

// trimEnds drops what lies before the first three good bands in a row and after
// the last, and at either end stretches of which too few are good: the ruler may be
// longer than the part, and past its end cap there are no wires to be missing or
// bent, but a table's grain may pass for some. Indices count from the first band
// kept.
func trimEnds(row []Band) []Band {
	const run = 3
	row = mostlyGood(row)
	firstGood := func(step int) int {
		i := 0
		if step < 0 {
			i = len(row) - 1
		}
		for n := 0; i >= 0 && i < len(row); i += step {
			if n++; row[i].State != Good {
				n = 0
			}
			if n == run {
				return i - step*(run-1)
			}
		}
		return -1
	}
	lo, hi := firstGood(1), firstGood(-1)
	if lo < 0 || hi <= lo {
		return nil
	}
	row = row[lo : hi+1]
	base := row[0].Index
	for i := range row {
		row[i].Index -= base
	}
	return row
}

// mostlyGood is the stretch of a row that is best by its good bands less half as
// many again of those that are missing or hidden.
func mostlyGood(row []Band) []Band {
	const against = 1.5 // stated: three in five must be good
	best, sum := 0.0, 0.0
	lo, hi, from := 0, 0, 0
	for i, b := range row {
		switch b.State {
		case Good:
			sum++
		case Missing, Hidden:
			sum -= against
		}
		if sum <= 0 {
			sum, from = 0, i+1
		}
		if sum > best {
			best, lo, hi = sum, from, i+1
		}
	}
	return row[lo:hi]
}

func smoothAt(v []float64, j int) float64 {
	n := len(v)
	return (v[(j-2+n)%n] + v[(j-1+n)%n] + v[j] + v[(j+1)%n] + v[(j+2)%n]) / 5
}

// bestShift is the place within a third of a spacing of u where one spacing of
// the signal is most like the template, and the correlation there.
func (g signal) bestShift(tpl []float64, u, T float64) (place, match float64) {
	bins := len(tpl)
	m := int(math.Max(9, math.Round(T/g.du)))
	corr := func(c float64) float64 {
		var ab, aa, bb, ma, mb float64
		n := 0
		for i := 0; i < m; i++ {
			ph := (float64(i)+0.5)/float64(m) - 0.5
			v := g.at(c + ph*T)
			if v != v {
				return math.NaN()
			}
			q := (ph+0.5)*float64(bins) - 0.5
			k := int(math.Floor(q))
			f := q - float64(k)
			t := tpl[(k+bins)%bins]*(1-f) + tpl[(k+1)%bins]*f
			ab += v * t
			aa += v * v
			bb += t * t
			ma += v
			mb += t
			n++
		}
		k := float64(n)
		d := (aa - ma*ma/k) * (bb - mb*mb/k)
		if d <= 0 {
			return 0
		}
		return (ab - ma*mb/k) / math.Sqrt(d)
	}
	const steps = 13
	best, bi := math.Inf(-1), -1
	var c [steps]float64
	h := 0.6 * T / (steps - 1)
	for i := range c {
		c[i] = corr(u + (float64(i)-(steps-1)/2)*h)
		if c[i] > best {
			best, bi = c[i], i
		}
	}
	if bi < 0 {
		return u, math.NaN()
	}
	d := 0.0
	if bi > 0 && bi < steps-1 {
		if q := c[bi-1] - 2*c[bi] + c[bi+1]; q < 0 {
			d = 0.5 * (c[bi-1] - c[bi+1]) / q
		}
	}
	return u + (float64(bi)-(steps-1)/2+d)*h, best
}

// robustLine fits place = a + slope·k by Tukey's biweight; bands unlike the
// typical one weigh nothing. uSlope is the standard uncertainty of the slope.
func robustLine(place, match []float64, T float64) (a, slope, sd, uSlope float64) {
	typical := medianOf(match)
	w := make([]float64, len(place))
	for k := range w {
		if match[k] >= 0.5*typical {
			w[k] = 1
		}
	}
	sd = 0.05 * T
	var sw, swk, swkk, swx, swkx float64
	for it := 0; it < 12; it++ {
		sw, swk, swkk, swx, swkx = 0, 0, 0, 0, 0
		for k, x := range place {
			if w[k] == 0 || x != x {
				continue
			}
			f := float64(k)
			sw += w[k]
			swk += w[k] * f
			swkk += w[k] * f * f
			swx += w[k] * x
			swkx += w[k] * f * x
		}
		den := sw*swkk - swk*swk
		if den <= 0 {
			return 0, T, T, T
		}
		slope = (sw*swkx - swk*swx) / den
		a = (swx - slope*swk) / sw
		var abs []float64
		for k, x := range place {
			if match[k] >= 0.5*typical && x == x {
				abs = append(abs, math.Abs(x-a-slope*float64(k)))
			}
		}
		sd = math.Max(1.4826*medianOf(abs), 1e-5)
		for k, x := range place {
			w[k] = 0
			if match[k] >= 0.5*typical && x == x {
				if u := (x - a - slope*float64(k)) / (4.7 * sd); math.Abs(u) < 1 {
					w[k] = (1 - u*u) * (1 - u*u)
				}
			}
		}
	}
	uSlope = sd * math.Sqrt(sw/(sw*swkk-swk*swk))
	return a, slope, sd, uSlope
}

func medianOf(v []float64) float64 {
	c := make([]float64, 0, len(v))
	for _, x := range v {
		if x == x {
			c = append(c, x)
		}
	}
	if len(c) == 0 {
		return math.NaN()
	}
	sort.Float64s(c)
	return c[len(c)/2]
}
