package calib

import (
	"math/rand/v2"
	"testing"
)

// Lists that lie wholly apart do so by chance in two of all ways to choose the one from
// both: 2/C(n+m, n) is exact (Mann and Whitney 1947, U = 0). The approximation is near, and for
// more than four on the careful side.
func TestTakeTurnsAgainstExact(t *testing.T) {
	for _, c := range []struct {
		n     int
		exact float64
	}{{3, 2. / 20}, {4, 2. / 70}, {5, 2. / 252}, {6, 2. / 924}} {
		var turns [2][]float64
		for i := range c.n {
			turns[0], turns[1] = append(turns[0], 30+float64(i)), append(turns[1], 15+float64(i))
		}
		if got := takeTurns(turns); got < 0.8*c.exact || got > 2.5*c.exact {
			t.Errorf("%d and %d: %.4f, exactly %.4f", c.n, c.n, got, c.exact)
		}
	}
	if got := takeTurns([2][]float64{{30.2, 30.3, 30.4, 30.5}, {30, 30.1, 29.9, 29.8}}); got != 1 {
		t.Errorf("lengths that hardly differ: %v", got)
	}
}

// Halves that were taken for wholes take turns with them; true wholes do not, and where
// marks were measured together their one length is one observation.
func TestHeedTurns(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	row := func(units, divisions int, whole func(k int) float64) read {
		var r read
		for n := range units*divisions + 1 {
			l := 9.0
			if n%divisions == 0 {
				l = whole(n / divisions)
			}
			r.ladder.rungs = append(r.ladder.rungs, rung{n: n, length: l})
		}
		return r
	}
	alike := func(int) float64 { return 30 + rng.NormFloat64() }
	turns := func(k int) float64 { return 30 - 15*float64(k&1) + rng.NormFloat64() }
	together := func(k int) float64 { return 30 - 6*float64(k&1) }
	for _, c := range []struct {
		name   string
		rd     reading
		whole  func(int) float64
		units  int
		p      float64
		lo, hi float64
	}{
		{"halves", reading{unit: Inch, divisions: 8}, turns, 20, 1, 0, 0.2},
		{"halves, from the second mark on", reading{unit: Inch, divisions: 8, phase: 8}, turns, 20, 1, 0, 0.2},
		{"few halves", reading{unit: Inch, divisions: 16}, turns, 4, 0.99, 0.9, 0.99},
		{"wholes", reading{unit: Inch, divisions: 8}, alike, 20, 0.999, 0.999, 0.999},
		{"measured together", reading{unit: Inch, divisions: 8}, together, 20, 0.999, 0.999, 0.999},
		{"thirty-seconds", reading{unit: Inch, divisions: 32}, turns, 20, 0.999, 0.999, 0.999},
		{"tenths halved, taken for millimetres", reading{unit: CM, divisions: 10}, turns, 20, 0.999, 0, 0.2},
		{"millimetres", reading{unit: CM, divisions: 10}, alike, 20, 0.999, 0.999, 0.999},
	} {
		c.rd.hi = c.units * c.rd.divisions
		if got := row(c.units, c.rd.divisions, c.whole).heedTurns(c.rd, c.p); got < c.lo || got > c.hi {
			t.Errorf("%s: %.4f, want %g to %g", c.name, got, c.lo, c.hi)
		}
	}
}
