package vision

import (
	"math"
	"math/rand/v2"
	"testing"
)

// comb is a profile of dark wires with a bright highlight in the middle of each.
func comb(perInch float64, highlight, jitter float64, seed uint64) signal {
	rng := rand.New(rand.NewPCG(seed, 1))
	g := signal{u0: 0.3, du: 1.0 / 240, v: make([]float64, 1440)}
	T := 1 / perInch
	at := make([]float64, 400)
	for k := range at {
		at[k] = T * (float64(k) + jitter*rng.NormFloat64())
	}
	for i := range g.v {
		u := g.u0 + float64(i)*g.du
		v := 120.0
		k := int(math.Round(u / T))
		x := (u - at[k]) / T
		v -= 70 * math.Exp(-x*x/(2*0.17*0.17))
		v += highlight * math.Exp(-x*x/(2*0.05*0.05))
		g.v[i] = v + 2*rng.NormFloat64()
	}
	return g
}

// A highlight that splits each wire in two does not double the count.
func TestPeriodHighlightsDoNotDouble(t *testing.T) {
	for _, h := range []float64{0, 40, 80, 110} {
		tone, ok := findPeriod(comb(10, h, 0.01, 7).highPass(0.4), coarsest, 42)
		if !ok || math.Abs(tone.PerInch/10-1) > 0.003 {
			t.Errorf("highlight %v: found %v, %.3f per inch, want 10", h, ok, tone.PerInch)
		}
	}
}

// Noise has no period.
func TestPeriodOfNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	g := signal{du: 1.0 / 240, v: make([]float64, 1440)}
	found := 0
	for n := 0; n < 20; n++ {
		for i := range g.v {
			g.v[i] = rng.NormFloat64()
		}
		if tone, ok := findPeriod(g, coarsest, 42); ok && tone.Line > 8 {
			found++
		}
	}
	if found > 0 {
		t.Errorf("a period stood out in %d of 20 noises", found)
	}
}

// The scatter of the pitch reaches for the Cramér–Rao floor of M equally spaced
// marks, sd(T) = s·√(12/(M(M²−1))): the robust line costs at most a fifth.
func TestRobustLineNearCramerRao(t *testing.T) {
	const m, s, T = 60, 0.002, 0.1
	rng := rand.New(rand.NewPCG(11, 4))
	var sq float64
	const runs = 600
	match := make([]float64, m)
	for i := range match {
		match[i] = 0.95
	}
	for n := 0; n < runs; n++ {
		place := make([]float64, m)
		for k := range place {
			place[k] = 0.05 + T*float64(k) + s*rng.NormFloat64()
		}
		_, slope, _, _ := robustLine(place, match, T)
		sq += (slope - T) * (slope - T)
	}
	got := math.Sqrt(sq / runs)
	floor := s * math.Sqrt(12/float64(m*(m*m-1)))
	if ratio := got / floor; ratio < 0.9 || ratio > 1.2 {
		t.Errorf("scatter of the pitch is %.3f of the Cramér–Rao floor, want 0.9 to 1.2", ratio)
	}
}

// Bent wires do not drag the line.
func TestRobustLineLeavesBentOut(t *testing.T) {
	place, match := make([]float64, 40), make([]float64, 40)
	for k := range place {
		place[k], match[k] = 0.1*float64(k), 0.9
	}
	place[33] += 0.03
	place[37] += 0.028
	if _, slope, _, _ := robustLine(place, match, 0.1); math.Abs(slope-0.1) > 1e-5 {
		t.Errorf("slope %.6f with two bent wires, want 0.1", slope)
	}
}

// Edges seen at the back are drawn towards the foot; their two slopes give the
// front's spacing back.
func TestFitDepthFindsFront(t *testing.T) {
	const T, z, n, foot = 0.1, 0.011, 80, 3.7
	rng := rand.New(rand.NewPCG(5, 6))
	var rise, fall edgeRow
	for k := 0; k < n; k++ {
		l, r := T*float64(k)-0.02, T*float64(k)+0.02
		back := func(x float64) float64 { return foot + (x-foot)*(1-z) }
		if T*float64(k) > foot {
			l = back(l)
		} else {
			r = back(r)
		}
		fall.in = append(fall.in, l+0.001*rng.NormFloat64())
		rise.in = append(rise.in, r+0.001*rng.NormFloat64())
	}
	f := fitDepth(rise, fall, 0, T*(1-z/2), foot+0.2, 0.3)
	if !f.ok || math.Abs(f.spacingIn/T-1) > 0.0005 || math.Abs(f.depthRel-z) > 0.002 {
		t.Errorf("found %v: spacing %.5f of the front's, depth %.4f, want 1 and %.4f", f.ok, f.spacingIn/T, f.depthRel, z)
	}
}

// What is bent or missing past the ends of the part is no part of the row.
func TestTrimEnds(t *testing.T) {
	var row []Band
	for i, st := range []State{Bent, Good, Missing, Good, Good, Good, Bent, Good, Good, Good, Good, Hidden, Good} {
		row = append(row, Band{Index: i, State: st})
	}
	got := trimEnds(row)
	if len(got) != 8 || got[0].Index != 0 || got[7].Index != 7 || got[3].State != Bent {
		t.Errorf("kept %d bands %v, want 8 from the first run of good ones to the last", len(got), got)
	}
	if trimEnds([]Band{{State: Good}, {State: Bent}, {State: Good}}) != nil {
		t.Error("no run of good bands, and a row was kept")
	}
}
