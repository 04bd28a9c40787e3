package calib

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Where another ruler is sought than the one that was found, sides of edges count
// beside which bands stand; a bare board that lies on wires is none seen from them.
func TestOtherRulersAreSoughtBesideBands(t *testing.T) {
	p := drawing(1200, 600, 14, rand.New(rand.NewPCG(5, 6)))
	drawRuler(p, tenths(CM, 10, 0), []float64{-1, -1, -1}, 100, 0, 4)
	py, err := newPyramid(p)
	if err != nil {
		t.Fatal(err)
	}
	edge := newFrame(segment{X: 600, Y: 300, TX: 1, Lo: -450, Hi: 450})
	seen := func(notOn *Ruler) (up int) {
		h := hunt{py: py, notOn: notOn}
		cands, err := h.combsAlong(edge, 1)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range cands {
			if c.frame.NY < 0 {
				up++
			}
		}
		return up
	}
	if seen(nil) == 0 {
		t.Error("the wires' own comb is not seen at all")
	}
	if n := seen(&Ruler{}); n > 0 {
		t.Errorf("%d combs among the wires are read as another ruler's, with a bare board beside them", n)
	}
}

// The waves of several numbers of parts are those that each has alone; truth: the
// sums by which they are defined.
func TestWavesWithinAUnit(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	prof := make([]float64, 90)
	for i := range prof {
		prof[i] = rng.NormFloat64()
	}
	prof[40] = math.NaN()
	const lo, from, to, first = 10.0, 17.3, 88.9, 6
	x, y := partsWithin(prof, lo, from, to, first)
	for j := range x {
		var wx, wy float64
		for i, v := range prof {
			if at := lo + float64(i); at >= from && at < to && v == v {
				s, c := math.Sincos(2 * math.Pi * float64(first+j) * (at - from) / (to - from))
				wx, wy = wx+v*c, wy+v*s
			}
		}
		if math.Abs(x[j]-wx) > 1e-9 || math.Abs(y[j]-wy) > 1e-9 {
			t.Errorf("%d parts: (%.6f, %.6f), want (%.6f, %.6f)", first+j, x[j], y[j], wx, wy)
		}
	}
}

// A mark is looked at no deeper than it takes to see that it ended, and a row that
// runs on all the way is told by it.
func TestMarksAreLookedAtAsDeepAsTheyRun(t *testing.T) {
	const rows, length = 180, 24
	l := ladder{periodPx: 10, base: [2]float64{2, 8}, maxDepth: rows, rungs: []rung{{found: true}, {found: true}, {}}}
	s := strip{rows: rows, step: 1}
	c := make([]float64, rows)
	deepest := 0
	end := l.endOf(s, c, func(n int) {
		for ; deepest < n; deepest++ {
			c[deepest] = 1
			if deepest > length {
				c[deepest] = 0
			}
		}
	})
	if math.Abs(end-length) > 2 || deepest > 2*length {
		t.Errorf("a mark of %d rows ends at %.1f and was looked at to row %d", length, end, deepest)
	}
	if on := l.runOn([]float64{rows, length, rows}); on != 0.5 {
		t.Errorf("one of two marks runs on: %.2f, want 0.5", on)
	}
}
