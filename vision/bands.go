package vision

import (
	"context"
	"math"
	"slices"

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
	// DentsIfHeddle is how many dents a reed's spacing would stand for in the rigid heddle
	// it was told from: 2 where bands are as coarse as slots, 1 where slots and holes in
	// turn were looked for.
	DentsIfHeddle int
	Row           []Band
	// Strays are bands that stand where none belongs, midway between two of the row.
	Strays int
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
	// BendPlain says that it bends farther than the edge of a straight ruler is usually
	// traced askew; that of a transparent one may be traced along something else.
	BendPlain bool
	// HeightIn is the camera's height above the ruler's face, square to it, as
	// seen through a lens of focal length FocalPx; it goes with that.
	HeightIn, FocalPx float64
	// Squares say how square to its edge the ruler's marks would stand through
	// lenses of other focal lengths: where the camera leans both along and across
	// the ruler, they tell the lens. None where the marks' lean was not read.
	Squares []Square
	// SquareU is the standard uncertainty of the marks' lean in Squares by the marks'
	// own scatter, radians.
	SquareU float64
	// PxPerBand is the typical spacing in the photo.
	PxPerBand float64
	// FinestPx is the spacing of what stands out most beside the ruler, or of what
	// makes the moiré that stands out.
	FinestPx float64
	// Beats: they may be the moiré of bands too fine to be counted, whose line in the
	// spectrum would stand where one of these bands' own does.
	Beats bool
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
	// Deep is how deep a reed's wires were seen to reach.
	Deep Deep
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
	// Colours are those of the photo, if there are any; they help to tell the kind.
	Colours photo.HalfColours
}

// The finest bands that are read: under this many pixels a band the picture
// holds no more than their tone, and moiré takes their place (Nyquist is 2). Nobody
// could check such a count on the photo.
const minPxPerBand = 3

// Under this many pixels a band moiré may still pass for bands. Wires that beat with the
// pixels were drawn 2 to 2.9 px apart, and two of 29 such scenes (seed 5621) read as 2.9;
// those of photos that are to be answered stand 4 px apart and more.
const plainPxPerBand = 3.3

// coarsest is the fewest bands per inch that are looked for: the slots of a
// rigid heddle of 4 dents. Below it lie shadows, digits and the picture's edge.
const coarsest = 1.9

// countedCoarsest is the fewest bands per inch that are taken: what is counted no closer
// together than where the search begins is the end of something longer, a shadow, moiré
// or a rib of cloth. Of four such rows in some 12,000 drawn photos none was a part's own.
const countedCoarsest = 1.95

// finest is the most bands per inch that are looked for: reeds have some 30 at most (common
// practice, no source).
const finest = 42.0

// finestBehind is the most of which a row may be the moiré: twice as many, as the ruler may be
// misread by that. What is finer is the print or the grain of what was photographed.
const finestBehind = 2 * finest

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
		} else if found && past.t.Line > plainLine && !past.t.likeMarks(s) && !sameLine(past.t.PerInch, o.t.PerInch) {
			o = past
		}
	}
	st, ln, sig, t := o.st, o.ln, o.sig, o.t
	if t.PerInch > finestTurns && everySecond(inTurn(tonesOf(p, s, stretch{s.Frame, s.Lo, s.Hi}, 0, ln, t, ppi), ppi)) {
		t.PerInch = refine(sig, t.PerInch/2)
	}
	b.PxPerBand, b.FinestPx, b.Beats = ppi/t.PerInch, ppi/t.Strongest, o.beats
	b.Lean = [2]float64{ln.A, ln.B}
	b.ReachPx, b.Coherence = -st.d0, o.gain
	shape := sig.highPass(0.75 / t.PerInch)
	if u, turns := shape.unsigned(t.PerInch); turns {
		shape, t.PerInch = u, refine(u, t.PerInch)
	}
	b.SpectralPerInch, b.SpectralU, b.Contrast = t.PerInch, t.U, t.Line
	b.locate(shape, sig, s, t.PerInch)
	if len(b.Row) < 5 || b.PerInch < countedCoarsest {
		return b, false, nil
	}
	b.MiddlePerInch, b.MiddleU = b.PerInch, b.U
	focalPx := opt.FocalPx
	if focalPx <= 0 {
		focalPx = 0.8 * float64(max(p.W, p.H))
	}
	att := attitudeOf(p, s, ln, focalPx)
	first, last := b.Row[0].Along, b.Row[len(b.Row)-1].Along
	b.Skew, b.Slant = att.skew, att.slant(s, first, last)
	b.BendPerIn, b.BendPlain = att.bend(s, math.Min(first, last), math.Max(first, last))
	b.HeightIn, b.FocalPx = att.heightIn, focalPx
	b.Squares, b.SquareU = squaresOf(p, s, ln, focalPx), s.ShearU
	b.frontOf(st, ln, sig, s, focalPx, att.footIn)
	l := lattice{first: b.Row[0].In, T: 1 / b.PerInch, count: b.Row[len(b.Row)-1].Index + 1}
	var ground []groundAt
	b.Field, ground = fieldOf(p, s, ln, b.Row, t, ppi)
	b.Field.Told = opt.Kind != ""
	var told *arcs
	if t.PerInch <= finestSlots {
		if a, ok := arcsOf(sig.goodOf(b.Row, l.T), l, b.PxPerBand); ok {
			long, all := o.pastEnds(p, s, l, ppi)
			long = long.goodOf(b.Row, l.T)
			f, at := fold(long, all)
			f, at = f.withBands(at, l)
			a.wires = f.wiresOrBars(all, at, view{att.footIn, ppi / 25.4 / focalPx}, b.PxPerBand)
			told = &a
			a.lighter = a.overGround(ground, s, att.footIn)
			if a.tinted, err = o.offGroundsHue(a, opt.Colours, ground, b.Row, s, att.footIn); err != nil {
				return b, false, err
			}
		}
	}
	k := kindOf(p, s, stretch{s.Frame, math.Min(first, last), math.Max(first, last)}, ln, t, ppi, told, opt.Kind)
	b.Kind, b.KindProbability, b.DentsPerBand, b.DentsIfHeddle = k.kind, k.probability, k.dentsPerBand(), k.ifHeddle
	b.HolesHidden = opt.Kind == "" && k.holesHidden
	b.KindCues = k.cues
	if b.Kind == RigidHeddle {
		b.U = math.Hypot(b.U, changingU(changedShape(shape, b.Row), b.RowIn()*ppi/2, ppi/25.4/focalPx)*b.PerInch)
	} else {
		b.drawFront(sig, l, att.footIn, ppi/25.4/focalPx)
	}
	return b, true, nil
}

// Marks are this long at least where finer ones stand among longer (common
// practice, no source), and a line this far over the spectrum's floor is no chance.
const pastMarksIn, plainLine = 0.2, 10.0

// likeMarks says whether a tone, or the line of it that stands out most, is that of the
// scale's marks, or of marks twice as fine: marks and bands seen together come again after
// some whole number of both, which is neither's spacing.
func (t tone) likeMarks(s calib.Scale) bool {
	marks := float64(s.Divisions) / s.Unit.Inches()
	return marks > 0 && slices.ContainsFunc([]float64{t.PerInch, t.Strongest}, func(line float64) bool {
		return sameLine(line, marks) || sameLine(line, 2*marks)
	})
}

// sameLine says whether two frequencies are those of one line.
func sameLine(a, b float64) bool {
	const same = 0.01
	return math.Abs(a/b-1) < same
}

// besideRead is the strip before a marked edge, its bands' lean and tone.
type besideRead struct {
	st   strip
	ln   lean
	gain float64
	sig  signal // along the bands, on the ruler's inches
	t    tone
	// beats: t may be the moiré of finer bands.
	beats bool
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
	if o, found = st.read(s, ppi); !found {
		if dim, crossed := st.dimmed(leanHalf(ppi)); crossed && ctx.Err() == nil {
			o, found = dim.read(s, ppi)
		}
	}
	return o, found, ctx.Err()
}

// leanHalf is over how much to either side the mean is taken off in the search for a
// lean, px.
func leanHalf(ppi float64) int { return int(0.2 * ppi) }

// read finds the lean of a strip's bands and their tone.
func (st strip) read(s calib.Scale, ppi float64) (besideRead, bool) {
	ln, gain := findLean(st, leanHalf(ppi))
	r0 := st.coherentFrom(ln, leanHalf(ppi))
	if r0 > 0 && st.rows-r0 >= 6 {
		cut := st
		cut.d0, cut.rows, cut.v = st.depth(r0), st.rows-r0, st.v[r0*st.cols:]
		st = cut
		ln, gain = findLean(st, leanHalf(ppi))
	}
	sig := onRuler(st.sheared(ln, 0, st.rows, 1), st.lo, s, ppi)
	bands := sig.highPass(0.4)
	t, ok := findPeriod(bands, coarsest, math.Min(ppi/2.2, finest))
	beats := false
	ok = ok && sig.highPassPlain(0.4).amplitude(t.Strongest) > leastLevels
	if ok {
		fine, mayBe := bands.finerBehind(t, ppi)
		if fine == 0 {
			fine = st.finerAslant(t, ln, sig, s, ppi)
		}
		if fine > 0 {
			t.Strongest = fine
		}
		beats = mayBe
	}
	return besideRead{st, ln, gain, sig, t, beats}, ok
}

// leastLevels is the least amplitude of bands, in grey levels of 255: what is
// fainter no person sees, and a plain board (one drawn) showed the blocks of its JPEG
// with 0.4. The faintest bands that are counted in the photos of ../shared had ten.
const leastLevels = 0.75

// RowIn is how far the row reaches along the ruler, inches; 0 without one.
func (b Bands) RowIn() float64 {
	if len(b.Row) == 0 {
		return 0
	}
	return b.Row[len(b.Row)-1].In - b.Row[0].In
}

// Of is how many places of the row are in a state.
func (b Bands) Of(state State) (n int) {
	for _, r := range b.Row {
		if r.State == state {
			n++
		}
	}
	return n
}

// TooFine says that the bands are too close together in the photo to be told
// from an artefact of the pixels: in moiré every second or third of them may look
// alike, so that what stands out most counts.
func (b Bands) TooFine() bool { return b.FinestPx < minPxPerBand }

// MayBeMoire says that the bands can hardly be told from an artefact of the pixels: they
// are not far enough apart in the photo, or look like one and no holes stand between them.
func (b Bands) MayBeMoire() bool { return b.PxPerBand < plainPxPerBand || b.Beats && !b.HolesPlain() }

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
