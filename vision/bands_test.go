package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/calib"
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

// Edges seen at the back are drawn towards the foot; those of the fronts run
// through the whole row with the largest spacing, and the strips are read along a
// lean that is a little off.
func TestFrontOfDeepWires(t *testing.T) {
	const T, z, n, foot, perMM = 0.1, 0.011, 80, 3.7, 1.0 / 270
	const leanIn, turnIn = 2e-5, 3e-6 // inches per px of depth, and that per band
	rng := rand.New(rand.NewPCG(5, 6))
	var all, strips []edge
	for k := range n {
		off := 0.001 * rng.NormFloat64()
		l, r := T*float64(k)-0.02+off, T*float64(k)+0.02+off
		// the front's both edges, and on the side that faces the foot the back's
		type row struct {
			in     float64
			rising bool
		}
		at := []row{{l, true}, {r, false}}
		if x := T * float64(k); (x-foot)*z > 0.1*T {
			at = []row{{foot + (l-foot)*(1-z), true}, {l, true}, {r, false}}
		} else if (foot-x)*z > 0.1*T {
			at = append(at, row{foot + (r-foot)*(1-z), false})
		}
		for _, x := range at {
			all = append(all, edge{in: x.in, weight: 1, rising: x.rising})
			for _, d := range [4]float64{-100, -70, -40, -10} {
				strips = append(strips, edge{in: x.in + d*(leanIn+turnIn*float64(k)), depth: d, weight: 1, rising: x.rising})
			}
		}
	}
	l := lattice{first: 0, T: T * (1 - z/2), count: n}
	p, depth, _, ok := frontPlane(planesOf(all, l), perMM)
	if !ok || math.Abs(depth-z) > 0.002 {
		t.Fatalf("planes %v apart (%v), want %v", depth, ok, z)
	}
	f, ok := fitFront(all, strips, l, p, anyEdge)
	if !ok || math.Abs(f.spacingIn/T-1) > 4*f.uRel || f.uRel > 2e-4 || math.Abs(f.widthRel-0.4) > 0.02 {
		t.Errorf("%v: spacing %.5f of the front's, u %.5f, width %.3f", ok, f.spacingIn/T, f.uRel, f.widthRel)
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
	// A table's grain past the part: now three in a row pass for bands, and most do not.
	row = nil
	for i := range 60 {
		st := Good
		if i < 20 && i%5 > 2 || i >= 45 && i%2 == 1 || i == 30 || i == 31 {
			st = Missing
		}
		row = append(row, Band{Index: i, State: st})
	}
	if got = trimEnds(row); len(got) < 25 || len(got) > 29 {
		t.Errorf("kept %d bands beside a table's grain, want the 25 of the part", len(got))
	}
	if trimEnds([]Band{{State: Good}, {State: Bent}, {State: Good}}) != nil {
		t.Error("no run of good bands, and a row was kept")
	}
}

// Slots that are brighter than the bars under the camera and darker elsewhere are
// slots all along: none is missing, and both ways to their pitch agree.
func TestBandsThatTurn(t *testing.T) {
	const perInch = 6.3
	rng := rand.New(rand.NewPCG(6, 3))
	g := signal{du: 1.0 / 240, v: make([]float64, 1800)}
	for i := range g.v {
		u := float64(i) * g.du
		x := math.Remainder(u*perInch-0.3, 1)
		sign := math.Tanh((math.Abs(u-3.5) - 1.2) * 3) // dark at the ends
		g.v[i] = 120 - 30*sign*math.Exp(-x*x/(2*0.05*0.05)) + 2*rng.NormFloat64()
	}
	s := calib.Scale{Half: 1, B: 1}
	turned, ok := g.highPass(0.75 / perInch).unsigned(perInch)
	if !ok {
		t.Fatal("the bands were not seen to turn")
	}
	var b Bands
	b.locate(turned, g, s, perInch)
	missing := 0
	for _, x := range b.Row {
		if x.State == Missing {
			missing++
		}
	}
	// Between dark and bright some are like the bars.
	if len(b.Row) < 44 || missing > 4 || math.Abs(b.PerInch/perInch-1) > 0.001 {
		t.Errorf("%d bands, %d missing, %.4f per inch, want %.4f", len(b.Row), missing, b.PerInch, perInch)
	}
	if f := refine(turned, perInch*1.004); math.Abs(f/perInch-1) > 0.002 {
		t.Errorf("spectrum tells %.4f per inch, want %.4f", f, perInch)
	}
	for _, h := range []float64{0, 60, 110} {
		if _, ok := comb(10, h, 0.01, 7).highPass(0.075).unsigned(10); ok {
			t.Errorf("wires with a highlight of %v were taken for bands that turn", h)
		}
	}
}

// Past the part a table's noise is like bands now and then, but faint.
func TestLocateStopsWhereBandsFade(t *testing.T) {
	const perInch, bands, table = 10.0, 40, 40
	rng := rand.New(rand.NewPCG(5, 7))
	g := signal{du: 0.005}
	for i := range int((bands + table) / perInch / g.du) {
		u := float64(i) * g.du
		v := 100 + 1.5*rng.NormFloat64() + 1.5*math.Sin(2*math.Pi*perInch*1.02*u)
		if u < bands/perInch {
			v += 40 * math.Sin(2*math.Pi*perInch*u)
		}
		g.v = append(g.v, v)
	}
	s := calib.Scale{Unit: calib.Inch, Half: 400, B: 4}
	var b Bands
	b.locate(g.highPass(0.75/perInch), g, s, perInch)
	if n := len(b.Row); n < bands-3 || n > bands+2 {
		t.Errorf("%d bands beside a table, want %d", n, bands)
	}
	if math.Abs(b.PerInch/perInch-1) > 1e-3 {
		t.Errorf("%.4f per inch, want %g", b.PerInch, perInch)
	}
}

// Rust hides all wires but every second one, here and there not those that should be: in a
// row counted at twice the spacing bands stand midway, in a row of all wires none does.
func TestStrays(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 515))
	const perInch, inches = 12.0, 6.0
	bright := make([]bool, int(perInch*inches)+2)
	for k := range bright {
		bright[k] = k%2 == 0
		if rng.Float64() < 0.15 {
			bright[k] = !bright[k]
		}
	}
	draw := func(seen func(k int) bool) signal {
		g := signal{du: 1 / 240.0, v: make([]float64, int(inches*240))}
		for i := range g.v {
			x := float64(i) * g.du * perInch
			k := int(x)
			v := 0.1
			if seen(k) {
				v = 1
			}
			if off := x - float64(k) - 0.5; math.Abs(off) < 0.25 {
				g.v[i] = v
			}
			g.v[i] += 0.05 * rng.NormFloat64()
		}
		return g
	}
	for _, c := range []struct {
		name        string
		seen        func(k int) bool
		perInch     float64
		least, most int
	}{
		{"every second wire, mostly", func(k int) bool { return bright[k] }, perInch / 2, 3, 9},
		{"every second wire", func(k int) bool { return k%2 == 0 }, perInch / 2, 0, 0},
		{"all wires", func(k int) bool { return true }, perInch, 0, 0},
	} {
		g := draw(c.seen)
		var b Bands
		s := calib.Scale{B: 1, Hi: inches}
		b.locate(g.highPass(0.75/c.perInch), g, s, c.perInch)
		if b.Strays < c.least || b.Strays > c.most {
			t.Errorf("%s: %d strays beside %d bands, want %d to %d", c.name, b.Strays, len(b.Row), c.least, c.most)
		}
	}
}
