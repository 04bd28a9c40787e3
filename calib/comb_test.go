package calib

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A ruler's marks are a comb, though along a third of the edge wires are seen that are
// ten times as strong.
func TestStrongWiresDoNotDrownMarks(t *testing.T) {
	const marks, wires, n, ends = 5.4, 6.6, 344, 240
	rng := rand.New(rand.NewPCG(54, 11))
	prof := make([]float64, n)
	for i := range prof {
		prof[i] = 150 + 0.5*rng.NormFloat64()
		switch x := float64(i); {
		case x < ends:
			off := math.Remainder(x, marks) // blurred over a pixel
			prof[i] -= 5 * math.Exp(-off*off/2)
		case x >= ends:
			prof[i] += 40 * math.Sin(2*math.Pi*x/wires)
		}
	}
	combs, err := findCombs([][]float64{prof}, 0, combSearch{window: combWindow, minPeriodPx: 2, clip: clipMarks})
	if err != nil {
		t.Fatal(err)
	}
	var seen []float64
	for _, c := range combs[0] {
		seen = append(seen, c.periodPx)
		if math.Abs(c.periodPx/marks-1) < 0.03 {
			return
		}
	}
	t.Errorf("combs of %.2f px, none of %.1f", seen, marks)
}
