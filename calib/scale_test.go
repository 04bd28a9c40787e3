package calib

import (
	"math"
	"math/rand/v2"
	"testing"
)

// syntheticLadder has n marks, step inches apart, where along(inch) says, with
// normal noise of sigma px and mark lengths of the given classes.
func syntheticLadder(n int, step float64, along func(in float64) float64, sigma float64, rng *rand.Rand) ladder {
	l := ladder{frame: Frame{TX: 1, NY: 1, Half: 1}, maxDepth: 200}
	for i := 0; i < n; i++ {
		x := along(float64(i) * step)
		l.rungs = append(l.rungs, rung{n: i, along: x + sigma*rng.NormFloat64(), found: true, length: 10, resp: 20})
	}
	l.periodPx = (l.rungs[n-1].along - l.rungs[0].along) / float64(n-1)
	return l
}

// A projective map with a cubic is recovered within its own covariance: over
// many trials the error in inches across the ruler, divided by the standard
// deviation the fit states, must scatter about as a normal deviate does.
func TestFitScaleRecoversProjectiveMapWithinItsCovariance(t *testing.T) {
	const n, sigma, trials = 161, 0.3, 200
	truth := Scale{Half: 900, A: 5, B: 5.2, C: 0.06, K: 0.004}
	rng := rand.New(rand.NewPCG(1, 2))
	var sum, sum2, worst float64
	count := 0.0
	for k := 0; k < trials; k++ {
		l := syntheticLadder(n, 1.0/16, truth.Along, sigma, rng)
		s, err := fitScale(l, reading{unit: Inch, divisions: 16, phase: 0, lo: 0, hi: n - 1})
		if err != nil {
			t.Fatal(err)
		}
		for _, span := range [][2]float64{{1, 9}, {3, 6}} {
			a, b := truth.Along(span[0]), truth.Along(span[1])
			got := s.In(b) - s.In(a)
			err := got - (span[1] - span[0])
			var g [4]float64
			for j, x := range [2]float64{a, b} {
				u := x / s.Half
				q := 1 + s.C*u
				sign := float64(2*j - 1)
				for i, v := range [4]float64{1 / q, u / q, -(s.A + s.B*u) * u / (q * q), u * u * u} {
					g[i] += sign * v
				}
			}
			var v float64
			for i := range g {
				for j := range g {
					v += g[i] * s.Cov.At(i, j) * g[j]
				}
			}
			z := err / math.Sqrt(v)
			sum += z
			sum2 += z * z
			count++
			worst = math.Max(worst, math.Abs(err))
		}
	}
	mean, rms := sum/count, math.Sqrt(sum2/count)
	t.Logf("mean z %.2f, rms z %.2f, worst %.5f in", mean, rms, worst)
	if math.Abs(mean) > 0.35 || rms < 0.7 || rms > 1.4 {
		t.Errorf("errors do not match the stated covariance: mean z %.2f, rms z %.2f", mean, rms)
	}
	if worst > 0.006 {
		t.Errorf("worst error %.5f in for marks read to %.1f px", worst, sigma)
	}
}

func TestFitScaleLeavesOutStrayMarks(t *testing.T) {
	truth := Scale{Half: 800, A: 4, B: 4, C: 0.03}
	rng := rand.New(rand.NewPCG(3, 4))
	l := syntheticLadder(129, 1.0/16, truth.Along, 0.2, rng)
	for _, i := range []int{7, 30, 31, 77, 100} {
		l.rungs[i].along += 4 // a third of a step
	}
	s, err := fitScale(l, reading{unit: Inch, divisions: 16, lo: 0, hi: 128})
	if err != nil {
		t.Fatal(err)
	}
	if d := s.In(truth.Along(7)) - s.In(truth.Along(1)) - 6; math.Abs(d) > 0.004 {
		t.Errorf("six inches read %.4f in off", d)
	}
	if len(s.Marks) > 125 {
		t.Errorf("%d marks kept, the five stray ones among them", len(s.Marks))
	}
}

func TestFitScaleRefusesUnevenMarks(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	l := syntheticLadder(60, 1.0/8, func(in float64) float64 { return 100 * in }, 5, rng)
	if _, err := fitScale(l, reading{unit: Inch, divisions: 8, lo: 0, hi: 59}); err == nil {
		t.Error("marks scattered by 0.4 steps passed for a scale")
	}
}

func TestScaleAlongInvertsIn(t *testing.T) {
	s := Scale{Half: 1000, A: 3, B: 6, C: -0.12, K: 0.02}
	for x := -1000.0; x <= 1000; x += 125 {
		if got := s.Along(s.In(x)); math.Abs(got-x) > 1e-5 {
			t.Errorf("Along(In(%g)) = %g", x, got)
		}
		d := (s.In(x+0.5) - s.In(x-0.5))
		if got := s.InPerPx(x); math.Abs(got/d-1) > 1e-6 {
			t.Errorf("InPerPx(%g) = %g, differences give %g", x, got, d)
		}
	}
}

func TestFrameLocateInvertsPoint(t *testing.T) {
	sn, cs := math.Sincos(0.4)
	f := Frame{X: 1200, Y: 800, TX: cs, TY: sn, NX: -sn, NY: cs, Lo: -500, Hi: 500, Half: 500, Bow: [4]float64{1, -3, 6, 2}}
	for _, g := range []Frame{f, f.Flipped(), scaleFrame(f, 1.7)} {
		for a := -480.0; a <= 480; a += 120 {
			for d := -40.0; d <= 40; d += 20 {
				x, y := g.Point(a, d)
				if a2, d2 := g.Locate(x, y); math.Abs(a2-a) > 1e-9 || math.Abs(d2-d) > 1e-9 {
					t.Errorf("Locate(Point(%g, %g)) = (%g, %g)", a, d, a2, d2)
				}
			}
		}
	}
	// A point inside one side is outside the other.
	x, y := f.Point(100, 10)
	if _, d := f.Flipped().Locate(x, y); math.Abs(d+10) > 1e-9 {
		t.Errorf("flipped depth %g, want -10", d)
	}
	// A scaled frame carries the same edge: centres of pixels map as (x+½)k-½.
	x, y = f.Point(200, 8)
	x2, y2 := scaleFrame(f, 2).Point(400, 16)
	if math.Abs(x2-((x+0.5)*2-0.5)) > 1e-9 || math.Abs(y2-((y+0.5)*2-0.5)) > 1e-9 {
		t.Errorf("scaled frame at (%g, %g), want (%g, %g)", x2, y2, (x+0.5)*2-0.5, (y+0.5)*2-0.5)
	}
	// One of the picture at half its size counts on in the pixels of the whole one.
	x2, y2 = f.Halved().Point(200, 8)
	if math.Abs(x2-((x+0.5)/2-0.5)) > 1e-9 || math.Abs(y2-((y+0.5)/2-0.5)) > 1e-9 {
		t.Errorf("halved frame at (%g, %g), want (%g, %g)", x2, y2, (x+0.5)/2-0.5, (y+0.5)/2-0.5)
	}
}

// 25.4 mm = 1 in exactly (international yard and pound agreement, 1959).
func TestUnitInches(t *testing.T) {
	if got := CM.Inches() * 25.4; math.Abs(got-10) > 1e-12 {
		t.Errorf("a centimetre is %g mm", got)
	}
	if Inch.Inches() != 1 {
		t.Error("an inch is not an inch")
	}
}

// NIST Statistical Reference Datasets, linear regression, Norris: data and
// certified values, https://www.itl.nist.gov/div898/strd/lls/data/Norris.shtml
func TestStraightLineAgainstNorris(t *testing.T) {
	x := []float64{0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4,
		0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3,
		0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5}
	y := []float64{0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3,
		0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3,
		0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2}
	const b0, b1 = -0.262323073774029, 1.00211681802045
	a, b := straightLine(x, y)
	if math.Abs(a-b0) > 1e-11 || math.Abs(b-b1) > 1e-13 {
		t.Errorf("line %.15f + %.14f x, certified %.15f + %.14f x", a, b, b0, b1)
	}
}
