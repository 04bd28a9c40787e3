package judge

import (
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/trade"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.6g, want %.6g ± %.2g", what, got, want, tol)
	}
}

// Bounds that can be worked out by hand, and one that is printed in textbooks.
func TestClopperPearsonTruth(t *testing.T) {
	// None of n: 1 - 0.05^(1/n). With n = 2000 it is 0.1497 %, close to the
	// "rule of three" 3/n (Hanley & Lippman-Hand 1983).
	near(t, "0 of 2000, upper 95 %", UpperBound(0, 2000, 0.95), 1-math.Pow(0.05, 1.0/2000), 1e-12)
	near(t, "rule of three", UpperBound(0, 2000, 0.95), 3.0/2000, 5e-6)
	// None of 10: [0, 0.3085], (Clopper & Pearson 1934; printed in many tables of
	// exact binomial limits, from memory).
	iv := ClopperPearson(0, 10, 0.95)
	near(t, "0 of 10, low", iv.Lo, 0, 0)
	near(t, "0 of 10, high", iv.Hi, 0.3085, 5e-5)
	// All of 10 mirrors none of 10.
	near(t, "10 of 10, low", ClopperPearson(10, 10, 0.95).Lo, 1-iv.Hi, 1e-12)
}

// The bounds are defined by tail sums of the binomial; those are added up here
// without the beta function.
func TestClopperPearsonTails(t *testing.T) {
	for _, c := range []struct{ k, n int }{{1, 20}, {5, 20}, {19, 20}, {3, 300}, {150, 300}} {
		iv := ClopperPearson(c.k, c.n, 0.95)
		var atLeast, atMost float64
		for k := 0; k <= c.n; k++ {
			if k >= c.k {
				atLeast += binomial(k, c.n, iv.Lo)
			}
			if k <= c.k {
				atMost += binomial(k, c.n, iv.Hi)
			}
		}
		near(t, "upper tail at the low bound", atLeast, 0.025, 1e-9)
		near(t, "lower tail at the high bound", atMost, 0.025, 1e-9)
	}
}

func binomial(k, n int, p float64) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return math.Exp(a - b - c + float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p))
}

// Claims that are drawn to be true as often as they say are found calibrated;
// boasting ones are not.
func TestReliability(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var honest, boasting []Claim
	for range 20000 {
		p := rng.Float64()
		honest = append(honest, Claim{p, rng.Float64() < p})
		boasting = append(boasting, Claim{p, rng.Float64() < 0.8*p})
	}
	bins := Reliability(honest, 10)
	n := 0
	for _, b := range bins {
		n += b.N
		if iv := ClopperPearson(b.True, b.N, 0.9999); b.MeanP < iv.Lo || b.MeanP > iv.Hi {
			t.Errorf("bin %.1f: %d of %d true, stated %.3f", b.Hi, b.True, b.N, b.MeanP)
		}
	}
	if n != len(honest) {
		t.Fatalf("the bins hold %d claims of %d", n, len(honest))
	}
	if e := ExpectedCalibrationError(bins); e > 0.015 {
		t.Errorf("honest claims: calibration error %.4f", e)
	}
	// 0.2·p on average: 0.1.
	near(t, "boasting claims", ExpectedCalibrationError(Reliability(boasting, 10)), 0.1, 0.01)
	// ∫p(1-p) = 1/6 for honest claims, evenly spread.
	near(t, "Brier of honest claims", Brier(honest), 1.0/6, 0.005)
}

func TestReliabilityEdges(t *testing.T) {
	bins := Reliability([]Claim{{0, false}, {0.1, true}, {0.1000001, true}, {1, true}}, 10)
	if bins[0].N != 2 || bins[1].N != 1 || bins[9].N != 1 {
		t.Errorf("claims fell into %+v", bins)
	}
	if !math.IsNaN(ExpectedCalibrationError(Reliability(nil, 10))) || !math.IsNaN(Brier(nil)) || !math.IsNaN(AreaUnderRisk(nil)) {
		t.Error("no claims have a calibration")
	}
}

func TestRiskCoverageByHand(t *testing.T) {
	got := RiskCoverage([]Claim{{0.5, false}, {0.9, true}, {0.7, false}, {0.7, true}})
	want := []Risk{{0.25, 0.9, 0}, {0.75, 0.7, 1.0 / 3}, {1, 0.5, 0.5}}
	if len(got) != len(want) {
		t.Fatalf("%d points, want %d", len(got), len(want))
	}
	for i := range got {
		if got[i] != want[i] {
			t.Errorf("point %d: %+v, want %+v", i, got[i], want[i])
		}
	}
	near(t, "area", AreaUnderRisk([]Claim{{0.5, false}, {0.9, true}, {0.7, false}, {0.7, true}}), 0.5/3+0.25*0.5, 1e-12)
}

// The bound for equally spaced marks is what least squares reaches.
func TestPitchFloorReachedByLeastSquares(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const m, s, rounds = 30, 0.02, 4000
	var sq float64
	for range rounds {
		var sk, sx, skk, skx float64
		for i := range m {
			k, x := float64(i), float64(i)+s*rng.NormFloat64()
			sk, sx, skk, skx = sk+k, sx+x, skk+k*k, skx+k*x
		}
		e := (m*skx-sk*sx)/(m*skk-sk*sk) - 1
		sq += e * e
	}
	// 4000 rounds tell a standard deviation to 1.1 %.
	near(t, "scatter over the floor", math.Sqrt(sq/rounds)/PitchFloor(s, m), 1, 0.04)
}

// Without made sizes the perfect reader is off by the thickness he does not
// know; with them he falls on the only one that is possible.
func TestReaderTruth(t *testing.T) {
	r := Reader{ThinMM: 0.2, ThickMM: 3, NoneShare: 0.08}
	sizes := trade.Sizes(trade.PartReed)
	v := r.Read(12, 2, 600, sizes)
	// He takes 1.6 mm in the mean: (D-1.6)/(D-2) of the truth.
	near(t, "plain pitch", v.PlainPerInch, 12*(600-1.6)/(600-2), 1e-4)
	if v.Label != "12" || v.P < 0.9 {
		t.Errorf("12 per inch from 600 mm: %s with %.3f", v.Label, v.P)
	}
	near(t, "pitch with sizes", v.PerInch, 12, 0.02)
	// From 120 mm the thickness covers 2.5 %: 10 and 40/10 are 1.6 % apart.
	if v := r.Read(10, 2.4, 120, sizes); v.P > 0.9 {
		t.Errorf("10 per inch from 120 mm: %s with %.3f, want doubt", v.Label, v.P)
	}
	// A second scale on the wires tells what the thickness hides, as far as it is
	// true itself.
	r.Second = SecondScale{RelU: 1e-4}
	if v := r.Read(10, 2.4, 120, sizes); v.Label != "10" || v.P < 0.99 {
		t.Errorf("10 per inch with a true scale on the wires: %s with %.3f", v.Label, v.P)
	}
	r.Second = SecondScale{RelU: 1e-3, Off: 2e-3}
	near(t, "plain pitch by a scale that is off", r.Read(12, 1.5, 300, sizes).PlainPerInch, 12*(1+2e-3), 12*4e-4)
	r.Second = SecondScale{}
	// What he says with 0.9 or more is right nearly always.
	rng := rand.New(rand.NewPCG(5, 6))
	var claims []Claim
	for range 400 {
		m := sizes[rng.IntN(len(sizes))]
		v := r.Read(m.PerInch*(1+m.TolRel*rng.NormFloat64()), 0.2+2.8*rng.Float64(), 150+500*rng.Float64(), sizes)
		claims = append(claims, Claim{v.P, v.Label == m.Label})
	}
	bad := 0
	for _, c := range claims {
		if c.P >= 0.9 && !c.True {
			bad++
		}
	}
	if bad > 25 {
		t.Errorf("%d of %d verdicts of 0.9 and more are wrong", bad, len(claims))
	}
}
