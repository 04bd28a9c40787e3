package calib

import (
	"context"
	"fmt"
	"math"

	"dentcount/photo"
)

// KnownScale is a scale whose place in a photo is known: two whole-unit marks
// where they meet the ruler's edge, in OpenCV pixels, and what lies between.
type KnownScale struct {
	X0, Y0, X1, Y1 float64
	Units          float64 // between the two marks
	Unit           Unit
	Divisions      int
}

// stepPx is the typical spacing of the marks.
func (k KnownScale) stepPx() float64 {
	return math.Hypot(k.X1-k.X0, k.Y1-k.Y0) / (k.Units * float64(k.Divisions))
}

// apart is how far a frame lies from the known edge, px, at the worst of three
// places, and whether it runs along it at all.
func (k KnownScale) apart(f Frame) (px float64, along bool) {
	for _, t := range [3]float64{0.1, 0.5, 0.9} {
		a, d := f.Locate(k.X0+t*(k.X1-k.X0), k.Y0+t*(k.Y1-k.Y0))
		px = math.Max(px, math.Abs(d))
		along = along || a > f.Lo && a < f.Hi
	}
	return px, along
}

// WhyNot says at which stage the search for rulers loses a known scale: whether
// an edge was seen along it, a comb of its spacing there, a ladder, its
// hierarchy, and how it ranked among what else was read. For those who work on
// the search; FindRuler does not use it.
func WhyNot(ctx context.Context, p photo.Plane, k KnownScale, opt Options) (string, error) {
	py, err := newPyramid(p)
	if err != nil {
		return "", err
	}
	step := k.stepPx()
	// Marks of transparent rulers begin up to half a millimetre inside the edge.
	const insideMM = 0.5
	near := math.Max(math.Max(2/py.work.k, 0.2*step), insideMM/25.4*step*float64(k.Divisions)/k.Unit.Inches())
	say := fmt.Sprintf("marks %.1f px apart (work level %.2f)", step, py.work.k)
	nearest := func(segs []segment) string {
		best := math.Inf(1)
		for _, g := range segs {
			if d, along := k.apart(newFrame(g)); along {
				best = math.Min(best, d)
			}
		}
		return fmt.Sprintf("%.1f px", best)
	}
	coarse, err := coarseEdges(py)
	if err != nil {
		return "", err
	}
	fine, err := fineEdges(py, coarse)
	if err != nil {
		return "", err
	}
	across, err := acrossEdges(py, defaultAcross())
	if err != nil {
		return "", err
	}
	among, err := amongEdges(py, defaultAmong())
	if err != nil {
		return "", err
	}
	veil, err := veilEdges(py, defaultVeil())
	if err != nil {
		return "", err
	}
	say += "; nearest coarse edge " + nearest(coarse) + ", across " + nearest(across) + ", among " + nearest(among) + ", fine " + nearest(fine) + ", veil " + nearest(veil)
	h := hunt{py: py, unit: opt.Unit}
	if err := h.add(coarse, 0); err != nil {
		return "", err
	}
	if err := h.add(across, leastAcross); err != nil {
		return "", err
	}
	if err := h.add(among, leastAcross); err != nil {
		return "", err
	}
	nAcross := len(h.traced)
	if err := h.add(fine, 0); err != nil {
		return "", err
	}
	if err := h.add(across, leastFaint); err != nil {
		return "", err
	}
	if err := h.add(veil, leastVeil); err != nil {
		return "", err
	}
	best, bi := math.Inf(1), -1
	for i, f := range h.traced {
		if d, along := k.apart(scaleFrame(f, 1/py.work.k)); along && d < best {
			best, bi = d, i
		}
	}
	say += fmt.Sprintf("; nearest of %d traced %.1f px (no. %d, %d coarse or across)", len(h.traced), best, bi, nAcross)
	if best > near {
		return say + ": EDGE LOST", nil
	}
	rank, tried := -1, 0
	for i, c := range h.all {
		d, along := k.apart(c.frame)
		if !along || d > near {
			continue
		}
		say += fmt.Sprintf("\n    no. %d of %d: %.1f px off, held %.2f, comb %.2f px strength %.1f depth %.0f-%.0f weight %.2f", i, len(h.all), d, c.held, c.comb.periodPx, c.comb.strength, c.comb.depth[0], c.comb.depth[1], c.weight)
		if math.Abs(c.comb.periodPx/step-1) > 0.06 {
			continue
		}
		if rank < 0 {
			rank = i
		}
		tried++
		say += ": " + whyNoLadder(py, c)
	}
	seen := map[Frame]bool{}
	for _, c := range h.all {
		if d, along := k.apart(c.frame); along && d <= near && !seen[c.frame] {
			seen[c.frame] = true
			said, err := h.whyNotThrough(c, step, opt.Colours)
			if err != nil {
				return "", err
			}
			say += fmt.Sprintf("\n    through, %.1f px off, held %.2f: ", d, c.held) + said
		}
	}
	switch {
	case tried == 0:
		say += ": COMB LOST"
	case rank >= maxReads+2*firstReads:
		say += ": NEVER READ"
	}
	reads, err := search(ctx, py, opt)
	if err != nil {
		return "", err
	}
	for _, q := range reads {
		d, along := k.apart(q.from.frame)
		if along && d < 4*near || q.alone() {
			rd := q.readings[0]
			say += fmt.Sprintf("\n    read %.1f px off (period %.2f px, through %v): %s/%d odds %.1f worth %.1f explained %.2f score %.1f", d, q.ladder.periodPx, q.through, rd.unit, rd.divisions, q.odds(0), q.worth(), rd.explained, rd.score)
		}
	}
	return say, nil
}

// whyNoLadder says what became of a candidate that is known to be right.
func whyNoLadder(py pyramid, c candidate) string {
	lv := py.forSpacing(c.comb.periodPx)
	l, ok := readLadder(lv.Plane, scaleFrame(c.frame, lv.k), scaleComb(c.comb, lv.k))
	if !ok {
		return "no ladder"
	}
	return ladderWords(l.scaled(1/lv.k), c.held)
}

// ladderWords are a ladder's figures and its likeliest readings, along an edge held.
func ladderWords(l ladder, held float64) string {
	say := fmt.Sprintf("%d rungs of %.2f px, filled %.2f, contrast %.1f, uneven %.3f, outside %.2f, base %.1f-%.1f, dark %v", len(l.rungs), l.periodPx, l.filled, l.contrast, l.unevenness(), l.outside, l.base[0], l.base[1], l.dark)
	for i, rd := range decode(l) {
		if i == 2 {
			break
		}
		say += fmt.Sprintf("; %s/%d phase %d of %d to %d score %.1f evidence %.1f numbers %.1f explained %.2f odds %.1f", rd.unit, rd.divisions, rd.phase, rd.lo, rd.hi, rd.score, rd.evidence, rd.numbers, rd.explained, rulerOdds(l, rd, held))
	}
	return say
}

// whyNotThrough says what becomes of marks step px apart on a side of an edge when it is
// read as a transparent ruler's, in grey and in colours.
func (h *hunt) whyNotThrough(c candidate, step float64, colours photo.HalfColours) (string, error) {
	work := h.py.work
	f := scaleFrame(c.frame, work.k)
	wires, ok, err := wiresBeside(work.Plane, f)
	if err != nil || !ok {
		return fmt.Sprintf("no wires beside (%.1f px, strength %.2f)", wires.periodPx/work.k, wires.strength), err
	}
	say := fmt.Sprintf("wires %.1f px, strength %.2f, under %.2f", wires.periodPx/work.k, wires.strength, wiresUnder(work.Plane, f, wires))
	said, err := whyNotCleared(h.sharpWork(), work, c, step, wires.periodPx)
	if err != nil {
		return "", err
	}
	say += said
	t, ok, err := tintedOf(work, colours)
	if err != nil || !ok {
		return say, err
	}
	if !t.weigh(f, wires.periodPx) {
		return say + "\n      tinted: nothing", nil
	}
	if said, err = whyNotCleared(t, work, c, step, wires.periodPx); err != nil {
		return "", err
	}
	return say + fmt.Sprintf("\n      tinted %.2f", t.weight) + said, nil
}

// whyNotCleared says what becomes of marks step px apart on a side of an edge in the ways
// in which wires of spacing T are taken off.
func whyNotCleared(sharp sharpView, work level, c candidate, step, T float64) (say string, err error) {
	ways, left := waysThrough(sharp, scaleFrame(c.frame, work.k), T, defaultClearing())
	if len(ways) == 0 {
		return ", not cleared", nil
	}
	say = fmt.Sprintf(", lean %.3f, left %.2f", ways[0].lean, left)
	for i, way := range ways {
		st := sampleStrip(way.Plane, way.frame, way.frame.Lo, way.frame.Hi, 0, combsDeep, 1)
		combs, err := combsLeft(st, way.frame.Lo, T)
		if err != nil {
			return "", err
		}
		say += fmt.Sprintf("\n        way %d:", i)
		for _, cb := range differing(append(unitCombs(st, way.frame.Lo, combs), combs...), 2*mostCombs) {
			say += fmt.Sprintf(" %.2f px (%.1f)", cb.periodPx/work.k, cb.strength)
			if math.Abs(cb.periodPx/work.k/step-1) > 0.06 {
				continue
			}
			l, ok := readLadder(way.Plane, way.frame, cb)
			if !ok {
				say += " no ladder"
				continue
			}
			say += " [" + ladderWords(l, c.held) + "]"
		}
	}
	return say, nil
}
