package calib

import (
	"context"
	"errors"
	"math"
	"slices"
	"sort"
)

// search finds ladders: along the edges that stand out when the picture is seen
// from afar, as a ruler's nearly always do, and only where none of them is a
// ruler beyond doubt along those that run across the wires, then along those among
// the wires' own field, and finer and fainter ones; where nothing was found, along short
// ones among the wires. Where another ruler is sought
// than one that was found beyond doubt, it is for one that lies as plainly across
// bands: when all was searched for it, none of ten that 330 drawn scenes (seeds 4911
// and 4912) and none of eight that practice photos asked for was found later than by
// the edges across the wires.
func search(ctx context.Context, py pyramid, opt Options) ([]read, error) {
	h := hunt{py: py, unit: opt.Unit, notOn: opt.NotOn}
	coarse, err := coarseEdges(py)
	if err != nil {
		return nil, err
	}
	if err := h.add(coarse, 0); err != nil {
		return nil, err
	}
	ruler, clear, err := h.read(ctx, firstReads)
	var across []segment
	if err == nil && !clear {
		if across, err = acrossEdges(py, defaultAcross()); err != nil {
			return nil, err
		}
		if err := h.add(across, leastAcross); err != nil {
			return nil, err
		}
		ruler, clear, err = h.read(ctx, firstReads)
	}
	if err == nil && !clear && opt.NotOn == nil {
		among, err := amongEdges(py, defaultAmong())
		if err != nil {
			return nil, err
		}
		if err := h.add(among, leastAcross); err != nil {
			return nil, err
		}
	}
	if err == nil && !clear && (opt.NotOn == nil || !opt.NotOn.from.beyondDoubt()) {
		var fine []segment
		if fine, err = fineEdges(py, coarse); err != nil {
			return nil, err
		}
		if err := h.add(fine, 0); err != nil {
			return nil, err
		}
		if err := h.add(across, leastFaint); err != nil {
			return nil, err
		}
		ruler, clear, err = h.read(ctx, firstReads)
		if err == nil && !clear {
			ruler, clear, err = h.through()
		}
		if err == nil && !clear {
			ruler, clear, err = h.read(ctx, maxReads-firstReads)
		}
		found := func(q read) bool { return q.alone() || q.wholeRow() }
		if err == nil && !clear && opt.NotOn == nil && !slices.ContainsFunc(h.reads, found) {
			ruler, clear, err = h.short(ctx)
			if err == nil && !clear {
				ruler, clear, err = h.throughAll(opt.Colours)
			}
		}
	}
	if err == nil && clear {
		elsewhere := h.unread
		if err = h.beside(ruler); err == nil {
			h.elsewhere(ruler, elsewhere)
		}
	}
	if err == nil {
		err = h.readNumbers()
	}
	return h.reads, err
}

const (
	firstReads = 24  // candidates read at most along the coarse edges, those across the wires, and
	maxReads   = 280 // the fine ones before and after transparent rulers are looked for; a sixth more than before clipMarks showed as many more combs
	shortReads = 96  // along short edges, where no ruler was found
	batch      = 4
	maxEdges   = 14  // looked at on a clear ruler
	maxOthers  = 14  // candidates read to see whether there is a second ruler: those of 30 drawn photos of two (practice, seed 4912) were among the first ten
	maxBeside  = 24  // candidates read on them at most
	clearWorth = 120 // a ladder of this worth and of clearOdds is a ruler beyond doubt
	clearOdds  = 1.5 * leastOdds
	// shortWorth and shortOdds are those of one of few marks, between and beyond which nothing stands.
	shortWorth = 80
	shortOdds  = 1.5 * clearOdds
	// clearlyHeld is the share of an edge that is there at least, of the edges of
	// a ruler found beyond doubt.
	clearlyHeld = 0.6
	// leastAcross is that of the edges found across the wires, many of which are
	// chance.
	leastAcross = 0.5
	// leastFaint is that where none of these was a ruler's: an edge as light as what lies
	// beside it is hardly seen between its marks. Drawn ones (seeds 4901 and 5001) had
	// 0.38 and 0.45.
	leastFaint = 0.3
	// leastVeil is that of the edges at which something changes along the wires:
	// those of transparent rulers in drawn scenes had 0.38 to 1.
	leastVeil = 0.3
)

// hunt is what was found while a ruler is sought.
type hunt struct {
	py     pyramid
	unit   Unit        // said by a person
	notOn  *Ruler      // nothing is looked for there
	traced []Frame     // px of the work level
	unread []candidate // the likeliest first
	all    []candidate // those that were read, too
	reads  []read
	sharp  sharpPlane  // the work level; empty until transparent rulers are read
	clear  []candidate // the sides on which these were looked for
}

// sharpWork is the work level as a spline, made when it is first asked for.
func (h *hunt) sharpWork() sharpPlane {
	if h.sharp.c == nil {
		h.sharp = sharpen(h.py.work.Plane)
	}
	return h.sharp
}

// read reads candidates, n at most, until one is a ruler beyond doubt; in
// batches, so that the many behind it need not be read.
func (h *hunt) read(ctx context.Context, n int) (ruler read, clear bool, err error) {
	for n = min(n, len(h.unread)); n > 0 && !clear; {
		if err := ctx.Err(); err != nil {
			return ruler, false, err
		}
		k := min(batch, n)
		ruler, clear = h.took(readAll(h.py, h.unread[:k]))
		h.unread, n = h.unread[k:], n-k
	}
	return ruler, clear, nil
}

// short reads the ladders along edges among the wires that are too short to be seen from afar.
func (h *hunt) short(ctx context.Context) (ruler read, clear bool, err error) {
	edges, err := amongEdges(h.py, defaultShort())
	if err != nil {
		return ruler, false, err
	}
	rest := h.unread
	h.unread = nil
	if err = h.add(edges, leastAcross); err == nil {
		ruler, clear, err = h.read(ctx, shortReads)
	}
	h.unread = append(h.unread, rest...)
	return ruler, clear, err
}

// took takes up reads; clear says whether one is a ruler beyond doubt.
func (h *hunt) took(reads []*read) (ruler read, clear bool) {
	for _, q := range reads {
		h.reads = append(h.reads, *q)
		if !clear && q.beyondDoubt() && (h.unit == "" || q.has(h.unit)) {
			clear, ruler = true, *q
		}
	}
	return ruler, clear
}

// beyondDoubt says whether a ladder is certainly a ruler's. Of a short one few marks bear it out:
// less worth will do where the lengths of those tell more.
func (r read) beyondDoubt() bool {
	return r.odds(0) > clearOdds && r.worth() > clearWorth ||
		r.odds(0) > shortOdds && r.worth() > shortWorth && r.plain()
}

// beside reads what else lies on a ruler: its true edge and its other scale may
// be among it.
func (h *hunt) beside(r read) error {
	s := r.scale
	x, y := s.Frame.Point((s.Lo+s.Hi)/2, 0)
	x0, y0 := s.Frame.Point(s.Lo, 0)
	x1, y1 := s.Frame.Point(s.Hi, 0)
	n := math.Hypot(x1-x0, y1-y0)
	own := segment{X: x, Y: y, TX: (x1 - x0) / n, TY: (y1 - y0) / n, Lo: -n / 2, Hi: n / 2}
	sw := defaultSweep()
	sw.Directions, sw.SpreadDeg = 1, 1.5
	segs, err := sweep(h.py, []segment{own}, sw)
	if err != nil {
		return err
	}
	near := []segment{own} // a line that crosses the edge ends on it
	for _, g := range segs {
		if len(near) < maxEdges && r.besides(g.X, g.Y) {
			near = append(near, g)
		}
	}
	if err := h.add(near, clearlyHeld); err != nil {
		return err
	}
	h.readBeside(r)
	if err := h.readOwnThrough(r); err != nil {
		return err
	}
	// Read along the line at which the short ones end, all begin at their other end.
	if starts, ok := r.startsOfMarks(); ok {
		if err := h.addFrames([]Frame{scaleFrame(starts, h.py.work.k)}, clearlyHeld); err != nil {
			return err
		}
		h.readBeside(r)
	}
	// The line at which the other edge's marks end may be seen instead of that edge.
	if ends, ok := h.endsOfMarks(r); ok {
		if err := h.addFrames(outwardOf(ends, r.widthPx(), h.py), clearlyHeld); err != nil {
			return err
		}
		h.readBeside(r)
	}
	// Some of it may have been read along lines within the marks.
	for _, q := range append([]read{r}, h.reads...) {
		if q.ladder.outside > overEdge && r.mayCarry(q.from) {
			if err := h.addFrames(q.outward(h.py), clearlyHeld); err != nil {
				return err
			}
			h.readBeside(r)
			break
		}
	}
	return nil
}

// readBeside reads the candidates that may lie on the ruler of a ladder.
func (h *hunt) readBeside(r read) {
	var cands, rest []candidate
	for _, c := range h.unread {
		if len(cands) < maxBeside && c.held >= clearlyHeld && r.mayCarry(c) && r.mayStandBeside(c.comb.periodPx) {
			cands = append(cands, c)
		} else {
			rest = append(rest, c)
		}
	}
	h.unread = rest
	for _, q := range readAll(h.py, cands) {
		h.reads = append(h.reads, *q)
	}
}

// overEdge is how much of marks is seen outside of an edge that is not theirs; see
// ladder.outside. On practice photos a true edge has 0.00, rarely 0.1.
const overEdge = 0.25

// endsOfMarks is a line at which marks end that may be those of a ladder's other edge,
// seen from that edge; ok is false where there is none, or the other edge's scale was read.
func (h *hunt) endsOfMarks(r read) (f Frame, ok bool) {
	if slices.ContainsFunc(h.reads, func(q read) bool { return q.alone() && opposite(r.scale, q.scale) }) {
		return f, false
	}
	for _, c := range h.all {
		// seen from the ruler's middle it faces as the ladder's own edge does
		inward := c
		inward.frame = c.frame.Flipped()
		if c.held >= clearlyHeld && r.mayCarry(inward) && !r.mayCarry(c) && r.mayStandBeside(c.comb.periodPx) {
			return inward.frame, true
		}
	}
	return f, false
}

// startsOfMarks is about where the marks of a ladder begin, if it was read turned over, from
// the line at which the short ones end; ok is false where no long ones go on past that line.
func (r read) startsOfMarks() (f Frame, ok bool) {
	length := r.ladder.usualLength()
	if !(r.ladder.outside > longOnesOver) || math.IsInf(length, 1) {
		return f, false
	}
	f = r.from.frame
	f.Lo, f.Hi = r.scale.Lo, r.scale.Hi
	f.Bow[0] += length
	return f, true
}

// outward are frames beside the line along which a ladder was read, each farther
// out, up to where the ruler's true edge may be; in px of the work level.
func (r read) outward(py pyramid) []Frame {
	f := r.from.frame
	f.Lo, f.Hi = r.scale.Lo, r.scale.Hi
	return outwardOf(f, r.widthPx(), py)
}

// outwardOf is outward for a frame, in px of the photo, on a ruler of a width.
func outwardOf(f Frame, widthPx float64, py pyramid) []Frame {
	f = scaleFrame(f, py.work.k)
	var out []Frame
	for d := traceReach; float64(d) < ownEdge*widthPx*py.work.k; d += traceReach {
		g := f
		g.Bow[0] -= float64(d)
		out = append(out, g)
	}
	return out
}

// elsewhere reads the likeliest of the candidates that do not lie on a clear ruler:
// a second ruler may be among them.
func (h *hunt) elsewhere(r read, unread []candidate) {
	var cands []candidate
	for _, c := range unread {
		if len(cands) < maxOthers && c.held >= clearlyHeld && r.offRuler(c.frame, c.comb.center) {
			cands = append(cands, c)
		}
	}
	for _, q := range readAll(h.py, cands) {
		h.reads = append(h.reads, *q)
	}
}

// widthPx is how wide the ruler that carries a ladder may be.
func (r read) widthPx() float64 {
	const widestIn = 2.4
	w := widestIn * math.Abs(r.scale.PxPerIn())
	if r.scale.Unit == Inch && r.scale.Divisions == 10 {
		w *= 2.54 // it may be millimetres yet
	}
	return w
}

// besides says whether a point may lie on the ruler that carries a ladder.
func (r read) besides(x, y float64) bool {
	wide := r.widthPx()
	along, depth := r.scale.Frame.Locate(x, y)
	return along > r.scale.Lo-wide && along < r.scale.Hi+wide && math.Abs(depth) < wide
}

// Marks stand up to a quarter of an inch before a traced edge; rows of marks and
// figures on one face lie less than six tenths behind it (common practice, no source).
const beforeIn, behindIn = 0.3, 0.6

// parallel is the cosine of the angle that the two edges of a ruler make at most, as
// perspective sets them.
const parallel = 0.985

// offRuler says whether an edge, at a place along it, lies on no ruler that carries
// the ladder: too far away, before the edge at which its marks begin, or farther
// behind it while facing the same way, for a ruler has but two edges.
func (r read) offRuler(f Frame, along float64) bool {
	x, y := f.Point(along, 0)
	if !r.besides(x, y) {
		return true
	}
	_, depth := r.scale.Frame.Locate(x, y)
	in := depth / math.Abs(r.scale.PxPerIn())
	same := f.NX*r.scale.Frame.NX+f.NY*r.scale.Frame.NY > 0
	return in < -beforeIn || same && in > behindIn
}

// ownEdge is how far from the line along which marks were read the edge may lie at
// which they begin, in parts of the ruler's width.
const ownEdge = 0.15

// mayCarry says whether the edge of a candidate may be the true edge of the
// ladder, or the other edge of its ruler seen from the ruler's inside.
func (r read) mayCarry(c candidate) bool {
	x, y := c.frame.Point((c.frame.Lo+c.frame.Hi)/2, 0)
	if !r.besides(x, y) {
		return false
	}
	_, depth := r.scale.Frame.Locate(x, y)
	switch facing := c.frame.NX*r.scale.Frame.NX + c.frame.NY*r.scale.Frame.NY; {
	case facing > parallel:
		return math.Abs(depth) < ownEdge*r.widthPx()
	case facing < -parallel:
		behind := ownEdge * r.widthPx()
		if r.ladder.outside > longOnesOver {
			// read along the line at which the short ones end: the edge at which all begin
			// is at their other end
			behind = math.Min(behind, mostOfMark*r.ladder.usualLength())
		}
		return depth > behind
	}
	return false
}

// longOnesOver is how much of marks is seen outside of the line at which the short ones
// end, where two of ten go on: 0.2, see overEdge.
const longOnesOver = 0.1

// mostOfMark is the part of the usual mark's length at least that lies between the line
// at which it ends and the edge at which it begins.
const mostOfMark = 0.7

// mayStandBeside says whether marks so far apart may be the ladder's own, seen
// from another line or twice as far apart (see halvesOf), the tenths of a unit of which it
// has the halves or the wholes alone (see partOf), or those of another scale on the same
// ruler, however the ladder is understood.
func (r read) mayStandBeside(periodPx float64) bool {
	near := func(px float64) bool { return math.Abs(math.Log(periodPx/px)) < acrossRuler }
	own := r.ladder.periodPx
	if near(own) || near(2*own) || near(own/5) || near(own/10) {
		return true
	}
	for _, q := range r.readings {
		inchPx := r.ladder.periodPx * float64(q.divisions) / q.unit.Inches()
		for _, sc := range schemes() {
			if near(inchPx * sc.unit.Inches() / float64(sc.divisions)) {
				return true
			}
		}
	}
	return false
}

// acrossRuler is how far perspective may set the two scales of a ruler apart, as
// the logarithm of their px per inch.
const acrossRuler = 0.08

// coarseEdges are the edges that are seen from afar, in px of the photo.
func coarseEdges(py pyramid) ([]segment, error) { return linesOf(py, coarseSearch()) }

// fineEdges are finer edges than the coarse ones, and fainter ones nearly
// parallel to any known.
func fineEdges(py pyramid, coarse []segment) ([]segment, error) {
	fine, err := linesOf(py, fineSearch())
	if err != nil {
		return nil, err
	}
	faint, err := sweep(py, slices.Concat(coarse, fine), defaultSweep())
	return append(fine, faint...), err
}

func linesOf(py pyramid, s lineSearch) ([]segment, error) {
	l, err := py.reduced(s.SidePx)
	if err != nil {
		return nil, err
	}
	return findLines(l.Plane, l.k, s), nil
}

func sweep(py pyramid, known []segment, s sweepSearch) ([]segment, error) {
	l, err := py.reduced(s.SidePx)
	if err != nil {
		return nil, err
	}
	return sweepEdges(l.Plane, l.k, known, s), nil
}

type candidate struct {
	frame  Frame   // full-photo pixels
	held   float64 // see traceEdge
	comb   comb
	weight float64 // candidates are read in falling order of it
}

// add traces edges and looks for combs on both sides of those not yet traced, of
// which there is an edge on a share leastHeld or more.
func (h *hunt) add(segs []segment, leastHeld float64) error {
	starts := make([]Frame, len(segs))
	for i, g := range segs {
		starts[i] = newFrame(g.scaled(h.py.work.k))
	}
	return h.addFrames(starts, leastHeld)
}

// traceReach is how far from where it is thought to run an edge is sought, px of
// the work level.
const traceReach = 8

// addFrames does what add does, with edges that start from frames in px of the
// work level.
func (h *hunt) addFrames(starts []Frame, leastHeld float64) error {
	frames := make([]Frame, len(starts))
	held := make([]float64, len(starts))
	SideBySide(len(starts), func(i int) {
		frames[i], held[i] = traceEdge(h.py.work.Plane, starts[i], traceReach)
	})
	var fresh []int
	for i, f := range frames {
		if held[i] >= leastHeld && !sameEdge(h.traced, f) {
			h.traced, fresh = append(h.traced, f), append(fresh, i)
		}
	}
	// side by side, gathered in the edges' order
	slots := make([][]candidate, len(fresh))
	errs := make([]error, len(fresh))
	SideBySide(len(fresh), func(i int) { slots[i], errs[i] = h.combsAlong(frames[fresh[i]], held[fresh[i]]) })
	if err := errors.Join(errs...); err != nil {
		return err
	}
	found := slices.Concat(slots...)
	if h.notOn != nil {
		found = slices.DeleteFunc(found, func(c candidate) bool {
			return !h.notOn.from.offRuler(c.frame, c.comb.center)
		})
	}
	h.unread, h.all = append(h.unread, found...), append(h.all, found...)
	byWeight(h.unread)
	byWeight(h.all)
	return nil
}

// byWeight puts the likeliest candidates first.
func byWeight(cands []candidate) {
	sort.SliceStable(cands, func(i, j int) bool { return cands[i].weight > cands[j].weight })
}

// combsAlong are the combs on both sides of one edge; where another ruler is sought
// than the one that was found, on those beside which bands stand.
func (h *hunt) combsAlong(f Frame, held float64) ([]candidate, error) {
	py, work, kw := h.py, h.py.work.Plane, h.py.work.k
	var out []candidate
	for _, side := range [2]Frame{f, f.Flipped()} {
		if h.notOn != nil {
			if _, bands, err := wiresBeside(work, side); err != nil {
				return nil, err
			} else if !bands {
				continue
			}
		}
		lo, hi := side.Inside(work, side.Lo, side.Hi, 0, 8)
		if hi-lo < 60 {
			continue
		}
		st := sampleStrip(work, side, lo, hi, 0, combsDeep, 1)
		if st.cols == 0 {
			continue
		}
		best, err := combsIn(st, lo)
		if err != nil {
			return nil, err
		}
		var kept []float64
		keep := func(c comb) {
			for _, t := range kept {
				if math.Abs(c.periodPx/t-1) < 0.1 {
					return
				}
			}
			if len(kept) < 4 && c.periodPx > finestPx {
				kept = append(kept, c.periodPx)
				full := candidate{frame: scaleFrame(side, 1/kw), held: held, comb: scaleComb(c, 1/kw)}
				full.weight = weightOf(best[0].strength, c.strength, likeMarks(py, full), held, len(kept)-1)
				out = append(out, full)
			}
		}
		for _, c := range best {
			keep(c)
		}
		// Wires of twice the spacing can drown the marks' own comb.
		for _, c := range best {
			c.periodPx /= 2
			c.strength /= 2
			keep(c)
		}
		kept = kept[:min(len(kept), 2)]
		for _, c := range unitCombs(st, lo, best) {
			keep(c)
		}
	}
	return out, nil
}

// weightOf is how likely a comb is a ruler's marks, for the order in which combs
// are read; nth is how many of the same edge come before it. An edge that
// carries a strong comb of wires (strongest) is a likely ruler's edge, too. Chosen
// for the ranks that it gave true ladders in 120 drawn scenes: 4 in the mean, and
// of ten nine within the first 5 to 12.
func weightOf(strongest, own, like, held float64, nth int) float64 {
	held = math.Max(0.2, held)
	return math.Log1p(math.Sqrt(strongest*own)) * math.Pow(like, 1.5) * held * held / math.Pow(1.3, float64(nth))
}

const (
	// combsDeep is how deep in px of the work level marks are sought, combWindow the
	// length along the edge over which their spacing is taken as one.
	combsDeep  = 32
	combWindow = 256
)

// clipMarks clips what is looked at near the edge, where marks are: wires past a ruler's
// ends, ten times as strong as its marks, would drown them though they are the smaller
// part of a window. Stated, no source.
const clipMarks = 3

// combsIn are the combs in a strip at any depth, the strongest first.
func combsIn(st strip, lo float64) ([]comb, error) {
	var best []comb
	for _, d := range [4]struct{ from, to, clip float64 }{{1, 5, clipMarks}, {3, 10, clipMarks}, {6, 20, 0}, {12, combsDeep, 0}} {
		combs, err := findCombs([][]float64{st.profile(d.from, d.to)}, lo, combSearch{window: combWindow, minPeriodPx: 2, clip: d.clip})
		if err != nil {
			return nil, err
		}
		for _, c := range combs[0] {
			c.depth = [2]float64{d.from, d.to}
			best = append(best, c)
		}
	}
	sort.SliceStable(best, func(i, j int) bool { return best[i].strength > best[j].strength })
	return best, nil
}

// sameEdge says whether an edge was traced before from another start.
func sameEdge(seen []Frame, f Frame) bool {
	for _, g := range seen {
		near := 0
		for _, t := range [3]float64{0.1, 0.5, 0.9} {
			x, y := f.Point(f.Lo+t*(f.Hi-f.Lo), 0)
			a, d := g.Locate(x, y)
			if math.Abs(d) < 1.5 && a > g.Lo-10 && a < g.Hi+10 {
				near++
			}
		}
		if near == 3 {
			return true
		}
	}
	return false
}
