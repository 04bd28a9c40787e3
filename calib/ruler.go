package calib

import (
	"context"
	"fmt"
	"math"
	"os"
	"sort"

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

// workSide is the long side of the picture the search for ladders works on.
const workSide = 2400

// FindRuler finds the ruler and reads its scale. found is false where the
// photo shows no ladder of marks. Positions are OpenCV pixels of p.
func FindRuler(ctx context.Context, p photo.Plane, opt Options) (r Ruler, found bool, err error) {
	work, kw, err := p.Shrink(workSide)
	if err != nil {
		return r, false, err
	}
	if err := ctx.Err(); err != nil {
		return r, false, err
	}
	var segs []segment
	for _, ls := range lineSearches() {
		small, k, err := work.Shrink(ls.SidePx)
		if err != nil {
			return r, false, err
		}
		segs = append(segs, findLines(small, k*kw, ls)...)
	}
	cands := ladderCandidates(work, kw, segs)
	var reads []read
	for i, c := range cands {
		if err := ctx.Err(); err != nil {
			return r, false, err
		}
		if i > maxReads {
			break
		}
		l, ok := readLadder(p, c.frame, c.comb)
		if !ok {
			continue
		}
		rds := decode(l)
		if len(rds) == 0 || rds[0].explained < minExplained {
			continue
		}
		s, err := fitScale(l, rds[0])
		if err != nil {
			continue
		}
		reads = append(reads, read{l, rds, s})
	}
	if len(reads) == 0 {
		return r, false, nil
	}
	sort.SliceStable(reads, func(i, j int) bool { return reads[i].worth() > reads[j].worth() })
	r.Scale = reads[0].scale
	if debugReads {
		for i, q := range reads {
			if i < 6 {
				step := q.scale.Unit.Inches() / float64(q.scale.Divisions)
				fmt.Printf("   worth %.0f %s%d score %.1f expl %.3f n %d filled %.2f res %.4f steps T %.1f pxin %.1f base %.1f dark %v contrast %.1f\n", q.worth(), q.scale.Unit, q.scale.Divisions, q.readings[0].score, q.readings[0].explained, len(q.scale.Marks), q.ladder.filled, q.scale.ResidualIn/step, q.ladder.periodPx, 1/q.scale.InPerPx((q.scale.Lo+q.scale.Hi)/2), q.ladder.base, q.ladder.dark, q.ladder.contrast)
			}
		}
	}
	r.Candidates = len(reads)
	return r, true, nil
}

const maxReads = 60

// minExplained is the share of the scatter of the mark lengths that a ruler's
// hierarchy must explain; an even comb of wires explains none.
const minExplained = 0.55

var debugReads = os.Getenv("DBG") != ""

type read struct {
	ladder   ladder
	readings []reading
	scale    Scale
}

// worth ranks what was read: the log evidence that the marks stand on an even
// lattice (against marks strewn at random within the search window, whose rms
// is about 0.16 steps) and that their lengths have a ruler's hierarchy.
func (r read) worth() float64 {
	step := r.scale.Unit.Inches() / float64(r.scale.Divisions)
	n := math.Min(float64(len(r.scale.Marks)), 80)
	return r.readings[0].score + 0.5*n*math.Log(0.16/math.Max(r.scale.ResidualIn/step, 0.004))
}

type candidate struct {
	frame Frame // full-photo pixels
	comb  comb
}

// ladderCandidates are the edge sides which carry a comb, the likeliest first.
func ladderCandidates(work photo.Plane, kw float64, segs []segment) []candidate {
	var out []candidate
	for _, sg := range segs {
		ws := sg
		ws.X = (sg.X+0.5)*kw - 0.5
		ws.Y = (sg.Y+0.5)*kw - 0.5
		ws.Lo *= kw
		ws.Hi *= kw
		f := traceEdge(work, newFrame(ws), 8)
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
			for _, d := range [4][2]float64{{1, 5}, {3, 10}, {6, 20}, {12, 32}} {
				prof := st.profile(d[0], d[1])
				for _, c := range findCombs(prof, lo, combSearch{window: 256, minPeriodPx: 2}) {
					c.depth = d
					best = append(best, c)
				}
			}
			sort.SliceStable(best, func(i, j int) bool { return best[i].strength > best[j].strength })
			var kept []float64
			keep := func(c comb) {
				for _, t := range kept {
					if math.Abs(c.periodPx/t-1) < 0.1 {
						return
					}
				}
				if len(kept) < 4 && c.periodPx > 1.9 {
					kept = append(kept, c.periodPx)
					out = append(out, candidate{frame: scaleFrame(side, 1/kw), comb: scaleComb(c, 1/kw)})
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
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].comb.strength > out[j].comb.strength })
	return out
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
