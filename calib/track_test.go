package calib

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Marks go on behind a stretch that glare blots out; where nothing goes on, or lines that
// stand anyhow, they end before it.
func TestMarksGoOnBehindGlare(t *testing.T) {
	const spacing, before, blotted, behind = 8.6, 27, 24, 27
	rng := rand.New(rand.NewPCG(54, 12))
	lines := func(x, apart float64) float64 {
		return 180 - 40*math.Max(0, math.Cos(2*math.Pi*x/apart)) + rng.NormFloat64()
	}
	row := func(after func(x float64) float64) []float64 {
		prof := make([]float64, int(math.Round(spacing*(before+blotted+behind))))
		for i := range prof {
			x := float64(i)
			v := lines(x, spacing)
			if x > spacing*(before+blotted/2) {
				v = after(x)
			}
			glare := 200 * math.Exp(-math.Pow((x/spacing-before-blotted/2)/(blotted/2), 6))
			prof[i] = math.Min(255, v+glare)
		}
		return prof
	}
	count := func(prof []float64) int {
		rungs, _ := track(markResponse(prof, spacing, true), 0, spacing*before/2, spacing)
		return len(rungs)
	}
	if n := count(row(func(x float64) float64 { return lines(x, spacing) })); n < before+blotted+behind-4 {
		t.Errorf("%d rungs of a row of %d marks", n, before+blotted+behind)
	}
	for name, after := range map[string]func(float64) float64{
		"nothing": func(float64) float64 { return 180 + 0.2*rng.NormFloat64() },
		"wires":   func(x float64) float64 { return lines(x, 1.62*spacing) },
		"wires, the first in step": func(x float64) float64 {
			return lines(x-(before+blotted-1)*spacing, 1.62*spacing)
		},
	} {
		if n := count(row(after)); n > before+6 {
			t.Errorf("%d rungs of a row of %d marks, behind which is %s", n, before, name)
		}
	}
}

// Of marks that show two tops each, now the left one higher and now the right one, for
// many marks in a row, each is read in its middle; fine ones that show one top stay where
// they are.
func TestMarksOfTwoTopsAreReadInTheirMiddle(t *testing.T) {
	const spacing, marks = 5.7, 160
	for _, apart := range []float64{0, 1.8} {
		rng := rand.New(rand.NewPCG(20, 27))
		prof := make([]float64, int(math.Round(spacing*(marks+1))))
		for i := range prof {
			prof[i] = 180 + 0.3*rng.NormFloat64()
			for k := range marks {
				at, more := spacing*(float64(k)+0.7), 0.25
				if k/20%2 == 1 {
					more = -more
				}
				for _, side := range [2]float64{-1, 1} {
					x := (float64(i) - at - side*apart/2) / 0.75
					prof[i] -= 8 * (1 + side*more) * math.Exp(-x*x/2)
				}
			}
		}
		rungs, _ := track(markResponse(prof, spacing, true), 0, spacing*(marks/2+0.7), spacing)
		rungs = steadied(rungs, prof, 0, spacing, true)
		var sum float64
		for _, g := range rungs {
			off := g.along/spacing - 0.7
			off -= math.Round(off)
			sum += off * off
		}
		if rms := math.Sqrt(sum / float64(len(rungs))); len(rungs) < marks-2 || rms > 0.1 {
			t.Errorf("tops %g px apart: %d rungs, %.3f spacings off", apart, len(rungs), rms)
		}
	}
}
