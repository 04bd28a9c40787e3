package calib

import (
	"context"
	"errors"
	"math"
	"runtime"
	"slices"
	"sort"
	"sync"

	"dentcount/photo"
)

// Ruler is a ruler found in a photo.
type Ruler struct {
	// Scale is the better of the ruler's scales, Second the one on its other
	// edge where there is one and it agrees; nil where there is none.
	Scale  Scale
	Second *Scale
	// UnitProbability is the probability that the unit was read right, as far
	// as the marks tell.
	UnitProbability float64
	// Candidates is how many edges carried a ladder.
	Candidates int
}

// Options are the settings of FindRuler; the zero value is the default.
type Options struct {
	Unit Unit // said by a person; empty: read from the marks
}

// FindRuler finds the ruler and reads its scale. found is false where the
// photo shows no ladder of marks. Positions are OpenCV pixels of p.
func FindRuler(ctx context.Context, p photo.Plane, opt Options) (r Ruler, found bool, err error) {
	py, err := newPyramid(p)
	if err != nil {
		return r, false, err
	}
	work, kw := py.work.Plane, py.work.k
	if err := ctx.Err(); err != nil {
		return r, false, err
	}
	segs, err := findEdges(work, kw)
	if err != nil {
		return r, false, err
	}
	cands, err := ladderCandidates(py, segs)
	if err != nil {
		return r, false, err
	}
	if len(cands) > maxReads {
		cands = cands[:maxReads]
	}
	// In batches, so that the many candidates behind a clear ruler need not be
	// read; of those only the ones on the same ruler are: its true edge and its
	// other scale may be among them.
	var reads []read
	clear := false
	for len(cands) > 0 && !clear {
		n := min(batch, len(cands))
		if err := ctx.Err(); err != nil {
			return r, false, err
		}
		var ruler Scale
		for _, q := range readAll(py, cands[:n]) {
			reads = append(reads, *q)
			if !clear && q.worth() > clearWorth && (opt.Unit == "" || q.has(opt.Unit)) {
				clear, ruler = true, q.scale
			}
		}
		cands = cands[n:]
		if clear {
			for _, q := range readAll(py, onRuler(cands, ruler, maxBeside)) {
				reads = append(reads, *q)
			}
		}
	}
	if len(reads) == 0 {
		return r, false, nil
	}
	sort.SliceStable(reads, func(i, j int) bool { return reads[i].worth() > reads[j].worth() })
	pick, ok := choose(reads, opt.Unit)
	if !ok {
		return r, false, nil
	}
	r.UnitProbability = pick.unitP
	q := reads[pick.read]
	if r.Scale, err = fullScale(py, q, q.readings[pick.reading]); err != nil {
		r.Scale, err = q.scale, nil
	}
	if pick.second >= 0 {
		q = reads[pick.second]
		if t, err := fullScale(py, q, q.readings[pick.secondReading]); err == nil {
			r.Second = &t
		}
	}
	r.Candidates = len(reads)
	return r, true, nil
}

// findEdges finds the straight edges of the picture. work is the photo reduced
// by kw, the result in full-photo pixels.
func findEdges(work photo.Plane, kw float64) ([]segment, error) {
	searches := lineSearches()
	found := make([][]segment, len(searches))
	errs := make([]error, len(searches))
	SideBySide(len(searches), func(i int) {
		small, k, err := work.Shrink(searches[i].SidePx)
		if errs[i] = err; err == nil {
			found[i] = findLines(small, k*kw, searches[i])
		}
	})
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	segs := slices.Concat(found...)
	sw := defaultSweep()
	small, k, err := work.Shrink(sw.SidePx)
	if err != nil {
		return nil, err
	}
	return append(segs, sweepEdges(small, k*kw, segs, sw)...), nil
}

const (
	maxReads   = 240 // candidates read at most
	batch      = 8
	maxBeside  = 32  // more of them on a clear ruler
	clearWorth = 120 // a ladder of this worth is a ruler beyond doubt
)

// onRuler are the first n candidates that run along a ruler already found: as
// its marked edge does, no further from it than a ruler is wide.
func onRuler(cands []candidate, s Scale, n int) []candidate {
	wide := 6 / math.Abs(s.InPerPx((s.Lo+s.Hi)/2))
	var out []candidate
	for _, c := range cands {
		if len(out) == n {
			break
		}
		if math.Abs(c.frame.NX*s.Frame.NX+c.frame.NY*s.Frame.NY) < 0.985 {
			continue
		}
		x, y := c.frame.Point((c.frame.Lo+c.frame.Hi)/2, 0)
		if along, depth := s.Frame.Locate(x, y); along > s.Lo-wide && along < s.Hi+wide && math.Abs(depth) < wide {
			out = append(out, c)
		}
	}
	return out
}

// readAll reads candidates side by side; the result keeps their order and
// leaves out those that are no ladder.
func readAll(py pyramid, cands []candidate) []*read {
	slots := make([]*read, len(cands))
	SideBySide(len(cands), func(i int) { slots[i] = readCandidate(py, cands[i]) })
	var out []*read
	for _, q := range slots {
		if q != nil {
			out = append(out, q)
		}
	}
	return out
}

// SideBySide calls f for 0 … n-1 on all cores and returns when all are done.
func SideBySide(n int, f func(i int)) {
	next := make(chan int)
	var wg sync.WaitGroup
	for w := 0; w < runtime.GOMAXPROCS(0); w++ {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range next {
				f(i)
			}
		}()
	}
	for i := 0; i < n; i++ {
		next <- i
	}
	close(next)
	wg.Wait()
}

// minExplained is the share of marks whose length must be as their place in the
// unit foretells.
const minExplained = 0.7

// minScore is the log odds a reading must have: some 10⁴ readings of a photo
// are tried (a hundred candidate edges, a hundred schemes and phases), so that
// chance alone reaches ln 10⁴.
const minScore = 9.2

type read struct {
	from     candidate
	ladder   ladder // in px of the photo, whatever level it was read on
	readings []reading
	scale    Scale
}

// worth ranks what was read: the log evidence that the marks stand on an even
// lattice (against marks strewn at random within the search window, whose rms
// is about 0.16 steps) and that their lengths have a ruler's hierarchy.
func (r read) worth() float64 { return r.worthOf(0) }

func (r read) worthOf(k int) float64 {
	step := r.scale.Unit.Inches() / float64(r.scale.Divisions)
	n := math.Min(float64(len(r.scale.Marks)), 80)
	even := 0.5 * n * math.Log(0.16/math.Max(r.scale.ResidualIn/step, 0.004))
	// Marks start at the ruler's edge: of two lines along one row of marks the
	// edge is the one they start from.
	best := r.readings[0] // so that a reading of smaller units does not escape
	offMM := r.ladder.base[0] / r.ladder.periodPx / float64(best.divisions) * best.unit.Inches() * 25.4
	return r.readings[k].score + even - offEdgePerMM*math.Max(0, offMM-0.3)
}

// offEdgePerMM is the log odds against marks that stand a millimetre off the edge.
const offEdgePerMM = 10

// readCandidate reads one candidate edge; nil where no ladder stands there.
func readCandidate(py pyramid, c candidate) *read {
	lv := py.forSpacing(c.comb.periodPx)
	l, ok := readLadder(lv.Plane, scaleFrame(c.frame, lv.k), scaleComb(c.comb, lv.k))
	if !ok {
		return nil
	}
	l = l.scaled(1 / lv.k)
	rds := decode(l)
	if len(rds) == 0 || !(rds[0].explained >= minExplained) || rds[0].score < minScore {
		return nil
	}
	s, err := fitScale(l, rds[0])
	if err != nil {
		return nil
	}
	return &read{c, l, distinct(rds), s}
}

// fullScale is the scale of one reading of a ladder, with the places of its
// marks read in the photo at full size.
func fullScale(py pyramid, q read, rd reading) (Scale, error) {
	s, err := fitScale(q.ladder, rd)
	if err != nil || py.forSpacing(q.from.comb.periodPx).k == 1 {
		return s, err
	}
	c := q.from.comb
	c.periodPx, c.center = q.ladder.periodPx, (s.Lo+s.Hi)/2
	l, ok := readLadder(py.levels[0].Plane, q.from.frame, c)
	if !ok {
		return s, nil
	}
	// The same lattice may start at another mark.
	shift, same := q.ladder.shiftTo(l)
	if !same {
		return s, nil
	}
	rd.phase, rd.lo, rd.hi = rd.phase+shift, rd.lo+shift, rd.hi+shift
	t, err := fitScale(l, rd)
	if err != nil || len(t.Marks) < 9*len(s.Marks)/10 {
		return s, nil
	}
	return t, nil
}

// has says whether a ladder may be read in a unit.
func (r read) has(u Unit) bool {
	for _, q := range r.readings {
		if q.unit == u {
			return true
		}
	}
	return false
}

// distinct keeps the best reading of each unit and number of divisions.
func distinct(rds []reading) []reading {
	var out []reading
	for _, r := range rds {
		dup := false
		for _, o := range out {
			dup = dup || (o.unit == r.unit && o.divisions == r.divisions)
		}
		if !dup && r.score > rds[0].score-25 {
			out = append(out, r)
		}
	}
	return out
}

// chosen is a ladder and the way to understand it, and those of the second
// scale; second is -1 where there is none.
type chosen struct {
	read, reading         int
	second, secondReading int
	unitP                 float64
}

// choose picks the ruler among the ladders read and settles its unit. Two
// ladders on opposite edges of one ruler must agree on pixels per inch
// (25.4 mm = 1 in); a pair that does outweighs either alone. Where a person has
// said the unit, only scales of it are chosen; ok is false where there is none.
func choose(reads []read, said Unit) (c chosen, ok bool) {
	type option struct {
		i, k, j, m int // read i understood as its reading k, with read j as m; j = -1: alone
		score      float64
		pxPerInch  float64
	}
	var opts []option
	pxIn := func(r read, k int) float64 {
		perStep := (r.ladder.rungs[len(r.ladder.rungs)-1].along - r.ladder.rungs[0].along) / float64(r.ladder.rungs[len(r.ladder.rungs)-1].n)
		return perStep * float64(r.readings[k].divisions) / r.readings[k].unit.Inches()
	}
	n := len(reads)
	if said == "" {
		n = min(n, 8)
	}
	for i := 0; i < n; i++ {
		for k := range reads[i].readings {
			if said != "" && reads[i].readings[k].unit != said {
				continue
			}
			opts = append(opts, option{i, k, -1, 0, reads[i].worthOf(k), pxIn(reads[i], k)})
			for j := 0; j < n; j++ {
				if j == i || !opposite(reads[i].scale, reads[j].scale) {
					continue
				}
				for m := range reads[j].readings {
					q := math.Log(pxIn(reads[i], k) / pxIn(reads[j], m))
					// perspective across the ruler and along differing stretches: 3 %
					if math.Abs(q) > 0.08 {
						continue
					}
					// the other edge's own evenness is no evidence for this reading;
					// what counts is how well it fits beside its own best reading
					extra := 4 - q*q/(2*0.03*0.03) + reads[j].readings[m].score - reads[j].readings[0].score
					z := math.Log(apartPx(reads[i].scale, reads[j].scale)/pxIn(reads[i], k)*25.4/widthMM) / widthSpread
					extra -= z * z / 2
					opts = append(opts, option{i, k, j, m, reads[i].worthOf(k) + extra, pxIn(reads[i], k)})
				}
			}
		}
	}
	sort.SliceStable(opts, func(a, b int) bool { return opts[a].score > opts[b].score })
	if len(opts) == 0 {
		return c, false
	}
	best := opts[0]
	c.read, c.reading, c.second, c.secondReading = best.i, best.k, best.j, best.m
	// How much the rivals that understand the same ladder otherwise weigh.
	var sum float64
	for _, o := range opts {
		if o.i == best.i && math.Abs(math.Log(o.pxPerInch/best.pxPerInch)) > 0.1 {
			sum += math.Exp(math.Max(-60, o.score-best.score))
		}
	}
	// A ladder that is little better than chance says little about its unit.
	sure := math.Max(0, 1-math.Exp(minScore-reads[best.i].readings[best.k].score))
	c.unitP = sure / (1 + sum)
	return c, true
}

// How wide rules and tapes with a scale at either edge are (common practice, no
// source: 13 to 45 mm), and the spread of the width's logarithm.
const widthMM, widthSpread = 25.0, 0.4

// apartPx is how far the edge of one scale lies from that of another.
func apartPx(a, b Scale) float64 {
	x, y := b.Frame.Point((b.Lo+b.Hi)/2, 0)
	_, depth := a.Frame.Locate(x, y)
	return math.Abs(depth)
}

// opposite says whether two scales lie on the two edges of one ruler: parallel,
// facing each other, no further apart than a ruler is wide.
func opposite(a, b Scale) bool {
	if a.Frame.NX*b.Frame.NX+a.Frame.NY*b.Frame.NY > -0.985 {
		return false
	}
	x, y := b.Frame.Point((b.Lo+b.Hi)/2, 0)
	al, depth := a.Frame.Locate(x, y)
	if al < a.Lo-0.5*(a.Hi-a.Lo) || al > a.Hi+0.5*(a.Hi-a.Lo) {
		return false
	}
	perIn := 1 / a.InPerPx((a.Lo+a.Hi)/2)
	return depth > 0 && depth < 6*math.Abs(perIn)
}

type candidate struct {
	frame  Frame // full-photo pixels
	comb   comb
	weight float64 // candidates are read in falling order of it
}

// ladderCandidates are the edge sides which carry a comb, the likeliest first.
func ladderCandidates(py pyramid, segs []segment) ([]candidate, error) {
	work, kw := py.work.Plane, py.work.k
	frames := make([]Frame, len(segs))
	SideBySide(len(segs), func(i int) {
		ws := segs[i]
		sg := ws
		ws.X = (sg.X+0.5)*kw - 0.5
		ws.Y = (sg.Y+0.5)*kw - 0.5
		ws.Lo *= kw
		ws.Hi *= kw
		frames[i] = traceEdge(work, newFrame(ws), 8)
	})
	var seen []Frame
	for _, f := range frames {
		if !sameEdge(seen, f) {
			seen = append(seen, f)
		}
	}
	// the combs of each edge side by side, gathered in the edges' order
	slots := make([][]candidate, len(seen))
	errs := make([]error, len(seen))
	SideBySide(len(seen), func(i int) { slots[i], errs[i] = combsAlong(py, seen[i]) })
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	var out []candidate
	for _, c := range slots {
		out = append(out, c...)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].weight > out[j].weight })
	return out, nil
}

// combsAlong are the combs on both sides of one edge.
func combsAlong(py pyramid, f Frame) ([]candidate, error) {
	work, kw := py.work.Plane, py.work.k
	var out []candidate
	for _, side := range [2]Frame{f, f.Flipped()} {
		lo, hi := side.Inside(work, side.Lo, side.Hi, 0, 8)
		if hi-lo < 60 {
			continue
		}
		st := sampleStrip(work, side, lo, hi, 0, 32, 1)
		if st.cols == 0 {
			continue
		}
		var best []comb
		depths := [4][2]float64{{1, 5}, {3, 10}, {6, 20}, {12, 32}}
		var profs [][]float64
		for _, d := range depths {
			profs = append(profs, st.profile(d[0], d[1]))
		}
		combs, err := findCombs(profs, lo, combSearch{window: 256, minPeriodPx: 2})
		if err != nil {
			return nil, err
		}
		for i, cs := range combs {
			for _, c := range cs {
				c.depth = depths[i]
				best = append(best, c)
			}
		}
		sort.SliceStable(best, func(i, j int) bool { return best[i].strength > best[j].strength })
		// An edge that carries a strong comb of wires is a likely ruler's
		// edge, so that its weaker combs come before the strong ones of
		// edges of less note.
		weight := 0.0
		if len(best) > 0 {
			weight = best[0].strength
		}
		var kept []float64
		keep := func(c comb) {
			for _, t := range kept {
				if math.Abs(c.periodPx/t-1) < 0.1 {
					return
				}
			}
			if len(kept) < 4 && c.periodPx > 1.9 {
				kept = append(kept, c.periodPx)
				full := candidate{frame: scaleFrame(side, 1/kw), comb: scaleComb(c, 1/kw)}
				full.weight = weight * likeMarks(py, full)
				out = append(out, full)
				weight /= 2
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
	}
	return out, nil
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

// scaleFrame carries a frame from a reduced picture to one k times as large.
func scaleFrame(f Frame, k float64) Frame {
	g := f
	g.X, g.Y = (f.X+0.5)*k-0.5, (f.Y+0.5)*k-0.5
	g.Lo, g.Hi, g.Half = f.Lo*k, f.Hi*k, f.Half*k
	for i := range g.Bow {
		g.Bow[i] *= k
	}
	return g
}

func scaleComb(c comb, k float64) comb {
	c.periodPx *= k
	c.center *= k
	c.lo *= k
	c.hi *= k
	c.depth[0] *= k
	c.depth[1] *= k
	return c
}
