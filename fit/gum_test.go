package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/calib"
	"dentcount/vision"
)

func close(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.5g, want %.5g ± %.2g", what, got, want, tol)
	}
}

// JCGM 100:2008, example H.1, end-gauge calibration: the budget of table H.1
// in nanometres, as it is printed, through the same code as a pitch.
func TestEndGaugeH1(t *testing.T) {
	// H.1.3.2: the comparison itself, of repeats, random and systematic effects.
	d := Combine(Component{5.8, 24}, Component{3.9, 5}, Component{6.7, 8})
	close(t, "u(d)", d.U, 9.7, 0.05)
	close(t, "its degrees of freedom", d.DoF, 25.6, 0.3)
	// G.4.2: an uncertainty known to 10 % and to 50 %.
	close(t, "known to 10 %", DoFOf(0.10), 50, 1e-9)
	close(t, "known to 50 %", DoFOf(0.50), 2, 1e-9)
	l := Combine(
		Component{25, 18},            // the standard
		Component{9.7, 25.6},         // the comparison
		Component{2.9, DoFOf(0.10)},  // difference of expansion
		Component{16.6, DoFOf(0.50)}, // difference of temperature
	)
	close(t, "u_c", math.Round(l.U), 32, 0)
	close(t, "effective degrees of freedom", l.DoF, 16.7, 0.1)
	close(t, "truncated", math.Floor(l.DoF), 16, 0)
	close(t, "t99(16)", l.Coverage(0.99), 2.92, 0.005)
	close(t, "U99", math.Round(l.Coverage(0.99)*l.U), 93, 0)
}

// JCGM 100:2008, table G.2: t for 95 % (95.45 % is another column).
func TestCoverageTable(t *testing.T) {
	for _, c := range []struct{ dof, k float64 }{{1, 12.71}, {2, 4.30}, {5, 2.57}, {10, 2.23}, {20, 2.09}, {50, 2.01}, {Known, 1.960}} {
		close(t, "t95", Component{1, c.dof}.Coverage(0.95), c.k, 0.005)
	}
	// 16.7 counts as 16, and less than one as one.
	if a, b := (Component{1, 16.7}).Coverage(0.95), (Component{1, 16}).Coverage(0.95); a != b {
		t.Errorf("16.7 degrees of freedom give %.4f, 16 give %.4f", a, b)
	}
	close(t, "nothing to add", Combine().U, 0, 0)
	close(t, "nothing to add, k", Combine().Coverage(0.95), 1.96, 0.001)
}

// JCGM 101:2008, clause 9.2.3: the sum of four rectangular quantities of
// standard deviation 1 has u = 2.00 and a 95 % interval of ±3.88 (±3.92 by the
// GUM's own way, clause 9.2.3.4).
func TestFourRectangular(t *testing.T) {
	s := Propagate(1_000_000, func(r *rand.Rand) float64 {
		var y float64
		for range 4 {
			y += math.Sqrt(3) * (2*r.Float64() - 1)
		}
		return y
	})
	mean, sd := s.MeanSD()
	close(t, "mean", mean, 0, 0.01)
	close(t, "u", sd, 2, 0.005)
	lo, hi := s.Interval(0.95)
	close(t, "low", lo, -3.88, 0.015)
	close(t, "high", hi, 3.88, 0.015)
	gum := Combine(Component{1, Known}, Component{1, Known}, Component{1, Known}, Component{1, Known})
	close(t, "by the GUM's way", gum.Coverage(0.95)*gum.U, 3.92, 0.005)
}

func TestIntervalEdges(t *testing.T) {
	if lo, hi := (Spread{}).Interval(0.95); lo != 0 || hi != 0 {
		t.Errorf("no values give %g to %g", lo, hi)
	}
	if lo, hi := (Spread{7}).Interval(0.95); lo != 7 || hi != 7 {
		t.Errorf("one value gives %g to %g", lo, hi)
	}
}

// The interval of a pitch agrees with the expanded uncertainty where all is
// symmetric, and leans to the fine side of it where the thickness is not told:
// the ruler may be much thicker than is usual, never much thinner.
func TestIntervalOfPitch(t *testing.T) {
	c := Component{0.001, 12}
	lo, hi := interval95(10, c, nil)
	want := 10 * c.Coverage(0.95) * c.U
	close(t, "below", 10-lo, want, 0.06*want)
	close(t, "above", hi-10, want, 0.06*want)
	v := View{}
	lift := lifts(v, heightsOf(250, 0.02, 9))
	mean, sd := meanSD(lift)
	lo, hi = interval95(10, Component{0.0002, Known}, lift)
	mid := 10 * math.Exp(mean)
	if !(mid-lo > 1.1*(hi-mid)) || mid-lo > 10*4*sd {
		t.Errorf("thickness not told: %.4f below and %.4f above", mid-lo, hi-mid)
	}
}

// syntheticRow is a row of bands a pitch apart, each off its place by a normal
// error, with the standard uncertainty that a straight line has through them.
func syntheticRow(rng *rand.Rand, n int, perInch, scatterIn float64) vision.Bands {
	b := vision.Bands{Kind: vision.Reed, DentsPerBand: 1, DepthTold: true}
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(i)/perInch + scatterIn*rng.NormFloat64()
		b.Row = append(b.Row, vision.Band{Index: i, In: x[i], State: vision.Good})
	}
	m := float64(n)
	var sk, sx, skk, skx, ss float64
	for i, v := range x {
		k := float64(i)
		sk, sx, skk, skx = sk+k, sx+v, skk+k*k, skx+k*v
	}
	slope := (m*skx - sk*sx) / (m*skk - sk*sk)
	a := (sx - slope*sk) / m
	for i, v := range x {
		e := v - a - slope*float64(i)
		ss += e * e
	}
	b.PerInch = 1 / slope
	b.U = math.Sqrt(ss/(m-2)/(skk-sk*sk/m)) / slope * b.PerInch
	b.MiddlePerInch, b.SpectralPerInch, b.ScatterIn = b.PerInch, b.PerInch, math.Sqrt(ss/(m-2))
	return b
}

// Few bands leave their own scatter in doubt: k·U of the whole budget holds the
// truth as often as it says, where twice U would not. The other lines are made
// negligible by a ruler of many marks seen from far away.
func TestCoverageOfPitchWithFewBands(t *testing.T) {
	s := calib.Scale{A: 0, B: 0.01, Half: 1, ResidualIn: 1e-6, Lo: 0, Hi: 4000, Marks: make([]calib.Mark, 600)}
	v := View{ThicknessMM: 0.2, DistanceMM: 9000}
	rng := rand.New(rand.NewPCG(8, 9))
	const rounds = 1500
	held, heldBy2, heldByShape := 0, 0, 0
	for range rounds {
		p, err := FindPitch(s, syntheticRow(rng, 6, 10, 0.02), v)
		if err != nil {
			t.Fatal(err)
		}
		off := math.Abs(p.PerInch - 10)
		if off <= p.K95*p.U {
			held++
		}
		if off <= 2*p.U {
			heldBy2++
		}
		if p.Lo95 <= 10 && 10 <= p.Hi95 {
			heldByShape++
		}
	}
	// Three standard deviations of a binomial of 0.95: 0.017.
	close(t, "held by k U", float64(held)/rounds, 0.95, 0.017)
	close(t, "held by its shape", float64(heldByShape)/rounds, 0.95, 0.017)
	if float64(heldBy2)/rounds > 0.92 {
		t.Errorf("twice U holds %d of %d: this test does not tell k from 2", heldBy2, rounds)
	}
}

func BenchmarkInterval95(b *testing.B) {
	lift := lifts(View{}, heightsOf(300, 0.02, 9))
	for b.Loop() {
		interval95(10, Component{0.001, 37.4}, lift)
	}
}
