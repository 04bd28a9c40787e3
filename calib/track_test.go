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

// Behind glare the marks of a plane that recedes go on where their spacing, which has drifted
// on, foretells, on whichever side of it they are begun from.
func TestMarksGoOnBehindGlareWhereTheyRecede(t *testing.T) {
	const marks, blotted, spacing, drift = 62, 16, 16.0, 0.0018
	place := func(k float64) float64 { return spacing * (k + 1 + drift/2*k*k) }
	for _, at := range []float64{12, 48} {
		rng := rand.New(rand.NewPCG(14, 3))
		prof := make([]float64, int(place(marks)))
		for i := range prof {
			prof[i] = 180 + rng.NormFloat64()
		}
		for k := range marks {
			if k >= 24 && k < 24+blotted {
				continue
			}
			for i := int(place(float64(k))) - 6; i < int(place(float64(k)))+8; i++ {
				prof[i] -= 40 * math.Exp(-math.Pow((float64(i)-place(float64(k)))/1.6, 2)/2)
			}
		}
		here := place(at+1) - place(at)
		rungs, _ := track(markResponse(prof, here, true), 0, place(at), here)
		on := 0
		for _, g := range rungs {
			for k := range marks {
				if g.found && math.Abs(g.along-place(float64(k))) < 1 {
					on++
				}
			}
		}
		if on < marks-blotted-2 {
			t.Errorf("from mark %.0f: %d of %d marks are followed", at, on, marks-blotted)
		}
		if n := rungs[len(rungs)-1].n; n < marks-3 || n > marks-1 {
			t.Errorf("from mark %.0f: the last of %d marks is the %dth", at, marks, n+1)
		}
	}
}

// Where wires begin that are far stronger than marks, some of which stand as far apart, the
// marks are followed for all that.
func TestMarksBesideStrongWires(t *testing.T) {
	const spacing, wires, marks, first = 33.6, 27.0, 40, 600.0
	rng := rand.New(rand.NewPCG(61, 3))
	const end = first + (marks-1)*spacing
	prof := make([]float64, int(math.Ceil(end+first)))
	lines := func(x, apart, deep, wide float64) float64 {
		return -deep * math.Exp(-math.Pow(math.Remainder(x, apart)/wide, 2))
	}
	for i := range prof {
		x := float64(i)
		switch {
		case x < first-spacing/2 || x > end+spacing/2:
			prof[i] = 140 + lines(x, wires, 120, 6)
		default:
			prof[i] = 180 + lines(x-first, spacing, 14, 2)
		}
		prof[i] += rng.NormFloat64()
	}
	for _, at := range []float64{first + 170, (first + end) / 2, end - 170} {
		on := 0
		rungs, _ := track(markResponse(prof, spacing, true), 0, at, spacing)
		for _, g := range rungs {
			if g.along > first-1 && g.along < end+1 && math.Abs(math.Remainder(g.along-first, spacing)) < 1 {
				on++
			}
		}
		if on < marks-2 {
			t.Errorf("from %.0f: %d of %d marks are followed", at, on, marks)
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
