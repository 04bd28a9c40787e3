package calib

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
)

// What is left of wires is all slopes, here more and there less: numbers are seen among
// it as what is darker in the mean, and what is left alone is no number.
func TestNumbersAreSeenAmongWires(t *testing.T) {
	const step, units, face = 12.0, 5, 128.0
	sc := halving(Inch, 16, 0)
	lengths := []float64{10, 14, 18, 24, 30} // by class
	n := units*sc.divisions + 1
	for _, c := range []struct {
		numbers     bool
		divisions   int
		least, most float64
	}{{true, 16, 8, 12}, {true, 8, 0, 1}, {true, 32, 0, 2}, {false, 16, 0, 1}, {false, 8, 0, 1}} {
		rng := rand.New(rand.NewPCG(20, 7))
		s, l := blankRow(step, n, 70, 66)
		own := make([]float64, n)
		for i := range own {
			own[i] = lengths[sc.class[mod(i, sc.divisions)]]
		}
		strong := make([]float64, s.cols) // how much is left of the wire there
		for x := 0; x < s.cols; x += 7 {
			v := 60 * rng.Float64()
			for j := x; j < min(x+7, s.cols); j++ {
				strong[j] = v
			}
		}
		for r := range s.rows {
			for x := range s.cols {
				i := min(int(float64(x)/step), n-1)
				v := face + strong[x]*math.Sin(2*math.Pi*float64(x)/7)
				if c.numbers && i%sc.divisions == 0 && r > 36 && r < 60 {
					v -= 25
				}
				if math.Abs(float64(x)-l.rungs[i].along) < 1.5 && float64(r) < own[i] {
					v = 40
				}
				s.v[r*s.cols+x] = float32(v)
			}
		}
		l.measureInk(s, own)
		if got := numbersOdds(l.rungs, c.divisions); got < c.least || got > c.most {
			t.Errorf("numbers %v: %.2f for %d marks a unit, want %g to %g", c.numbers, got, c.divisions, c.least, c.most)
		}
	}
}

// A clear ruler's thirty-seconds of an inch were read as sixteenths, for among the wires
// its numbers were not seen, and the sixteenths of another as eighths: only one of the ways
// to take the wires off shows its numbers. Regression.
func TestNumbersAmongWiresTellTheUnit(t *testing.T) {
	for _, seed := range []uint64{5801_001_717, 5801_000_846} { // in32, in16
		p, truth := drawnFile(t, seed)
		got, found, err := FindRuler(context.Background(), p, Options{})
		if err != nil || !found {
			t.Fatalf("seed %d: found %v, err %v", seed, found, err)
		}
		if ratio := drawnRatio(got.Scale, truth); math.Abs(ratio-1) > 0.01 || got.UnitProbability < 0.9 {
			t.Errorf("seed %d: %s%d read %.3f times the truth, probability %.3f", seed, got.Scale.Unit, got.Scale.Divisions, ratio, got.UnitProbability)
		}
	}
}

// Numbers that lie deeper than marks are looked for are looked at, too: thirty-seconds of an
// inch on rusty wires, from near, were taken for sixteenths at 0.99. Regression.
func TestNumbersThatLieDeep(t *testing.T) {
	p, truth := drawnFile(t, 5701_000_047)
	got, found, err := FindRuler(context.Background(), p, Options{})
	if err != nil || !found {
		t.Fatalf("found %v, err %v", found, err)
	}
	if ratio := drawnRatio(got.Scale, truth); math.Abs(ratio-1) > 0.01 && got.UnitProbability > 0.8 {
		t.Errorf("%s%d read %.3f times the truth, probability %.3f", got.Scale.Unit, got.Scale.Divisions, ratio, got.UnitProbability)
	}
}
