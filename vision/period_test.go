package vision

import (
	"math"
	"math/rand/v2"
	"testing"
)

// toneIn is a signal of span inches with a tone of amplitude a at f per inch in
// white noise of standard deviation sigma, n values.
func toneIn(rng *rand.Rand, n int, span, f, a, sigma float64) signal {
	s := signal{du: span / float64(n), v: make([]float64, n)}
	phase := 2 * math.Pi * rng.Float64()
	for i := range s.v {
		s.v[i] = a*math.Cos(2*math.Pi*f*float64(i)*s.du+phase) + sigma*rng.NormFloat64()
	}
	return s
}

// Rife & Boorstyn, IEEE Trans. Inform. Theory IT-20 (1974) 591: no unbiased
// estimate of a tone's frequency scatters less than, for a real tone of
// amplitude A in white noise σ at n values du apart,
//
//	sd(f) = √(24 σ² / (A² n (n²-1))) / (2π du)
//
// The Hann window costs some of it (it weighs down the ends, which tell most of
// a frequency), and what is stated as uncertainty must be what it scatters by.
func TestSpectralEstimateAgainstRifeBoorstyn(t *testing.T) {
	rng := rand.New(rand.NewPCG(74, 591))
	const n, span, f = 700, 5.0, 12.37
	for _, sigma := range []float64{0.3, 1} {
		floor := math.Sqrt(24*sigma*sigma/(float64(n)*(n*float64(n)-1))) / (2 * math.Pi * span / n)
		const rounds = 150
		var sq, bias, stated float64
		for range rounds {
			got, ok := findPeriod(toneIn(rng, n, span, f, 1, sigma), 2.3, 42)
			if !ok {
				t.Fatalf("no tone found at σ = %g", sigma)
			}
			bias += (got.PerInch - f) / rounds
			sq += (got.PerInch - f) * (got.PerInch - f) / rounds
			stated += got.U / rounds
		}
		sd := math.Sqrt(sq)
		t.Logf("σ = %g: floor %.5f, scatter %.5f, stated %.5f, bias %.5f", sigma, floor, sd, stated, bias)
		// 150 rounds tell a standard deviation to 6 %.
		if r := sd / floor; r < 0.85 || r > 2.3 {
			t.Errorf("σ = %g: scatters by %.2f of the floor", sigma, r)
		}
		if r := stated / sd; r < 0.6 || r > 2.5 {
			t.Errorf("σ = %g: states %.2f of what it scatters by", sigma, r)
		}
		if math.Abs(bias) > 4*sd/math.Sqrt(rounds) {
			t.Errorf("σ = %g: off by %.5f in the mean", sigma, bias)
		}
	}
}

// Where every second band differs, the bands are counted by twos, and what stands
// out most is still said: bands too fine for the pixels may seem to differ.
func TestStrongestLineIsKept(t *testing.T) {
	rng := rand.New(rand.NewPCG(75, 1))
	s := toneIn(rng, 900, 6, 16, 1, 0.1)
	for i, v := range toneIn(rng, 900, 6, 8, 0.4, 0).v {
		s.v[i] += v
	}
	got, ok := findPeriod(s, 2.3, 42)
	if !ok || math.Abs(got.PerInch-8) > 0.05 || math.Abs(got.Strongest-16) > 0.3 {
		t.Errorf("%v %+v, want 8 per inch of which the line at 16 is the strongest", ok, got)
	}
	if b := (Bands{PxPerBand: 5.2, FinestPx: 2.6}); !b.TooFine() {
		t.Error("bands of 2.6 px that are counted by twos are not too fine")
	}
}

// Wires 2.6 px apart, sharp: the second harmonic of what the pixels saw of them comes
// back 4.3 px apart (Shannon's theorem: 1 - 2/2.6 of the pixels' frequency), stronger
// than they are. Wires that are 4.3 px apart have no line at 2.6 px.
func TestMoireOfFinerBands(t *testing.T) {
	const px = 57.6 // px per inch
	for _, c := range []struct {
		name        string
		perInch     float64 // of the tone
		other, high float64 // another line, and its amplitude
		perPx       float64
		wantFine    float64
	}{
		{"second harmonic comes back", px - 2*22, 22, 0.45, px * 1.001, 22},
		{"third harmonic comes back", 3*22 - px, 22, 0.45, px * 1.001, 22},
		{"wires 4.3 px apart", px - 2*22, 2 * (px - 2*22), 0.3, px * 1.001, 0},
		// beside the place where the wires would be
		{"a harmonic, a little off", 7.5, 22.3, 0.3, 58.65, 0},
		{"no tone", 0, 0, 0, px, 0},
		{"a high harmonic", px / 41, 14 * px / 41, 0.3, px, 0},
	} {
		rng := rand.New(rand.NewPCG(91, 4))
		g := signal{du: 1 / (1.5 * px), v: make([]float64, 907)} // 10.5 inches
		for i := range g.v {
			x := 2 * math.Pi * float64(i) * g.du
			g.v[i] = 0.7*math.Sin(c.perInch*x) + 0.15*rng.NormFloat64() + c.high*math.Sin(c.other*x+1)
		}
		if got, _ := g.finerBehind(tone{PerInch: c.perInch, Strongest: c.perInch}, c.perPx); math.Abs(got-c.wantFine) > 0.1 {
			t.Errorf("%s: %g per inch behind %g, want %g", c.name, got, c.perInch, c.wantFine)
		}
	}
}

// A line much finer than any part's bands, in a photo from near, is no sign of moiré.
func TestFinerThanAnyPart(t *testing.T) {
	for _, c := range []struct {
		px, perInch float64
		want        bool
	}{{65, 7.8, true}, {313, 7.8, false}} {
		fine := (c.px - c.perInch) / 2
		rng := rand.New(rand.NewPCG(91, 6))
		g := signal{du: 1 / (1.5 * c.px), v: make([]float64, int(9*c.px))} // 6 inches
		for i := range g.v {
			x := 2 * math.Pi * float64(i) * g.du
			g.v[i] = 0.7*math.Sin(c.perInch*x) + 0.4*math.Sin(fine*x+1) + 0.15*rng.NormFloat64()
		}
		if got, _ := g.finerBehind(tone{PerInch: c.perInch, Strongest: c.perInch}, c.px); got > 0 != c.want {
			t.Errorf("%g px an inch: %g per inch behind %g", c.px, got, c.perInch)
		}
	}
}

// Wires 8/3 px apart come back 8 px apart, and their own line is the third of that
// row. So sharp a third line has no row whose first is the strongest.
func TestMayBeMoire(t *testing.T) {
	const px = 57.6 // px per inch
	for _, c := range []struct {
		name                 string
		first, second, third float64
		bandPx               float64
		want                 bool
	}{
		{"wires 8/3 px apart", 0.4, 0.7, 0.4, 8, true},
		{"sharp wires 8 px apart", 0.7, 0.5, 0.4, 8, false},
		{"blurred wires 8 px apart with a dark side", 0.4, 0.7, 0.15, 8, false},
		{"wires 8.5 px apart with a dark side", 0.4, 0.7, 0.4, 8.5, false},
	} {
		rng := rand.New(rand.NewPCG(91, 5))
		g := signal{du: 1 / (1.5 * px), v: make([]float64, 907)} // 10.5 inches
		f := px / c.bandPx
		for i := range g.v {
			x := 2 * math.Pi * f * float64(i) * g.du
			g.v[i] = c.first*math.Sin(x) + c.second*math.Sin(2*x+1) + c.third*math.Sin(3*x+2) + 0.15*rng.NormFloat64()
		}
		strongest := f
		if c.second > c.first {
			strongest = 2 * f
		}
		if fine, mayBe := g.finerBehind(tone{PerInch: f, Strongest: strongest}, px); fine != 0 || mayBe != c.want {
			t.Errorf("%s: %g per inch behind, may be moiré: %v, want %v", c.name, fine, mayBe, c.want)
		}
	}
}

// Grain beside slots makes a line at half their tone that is no fundamental; slots
// that differ by turns make a plain one.
func TestHalfToneOfGrain(t *testing.T) {
	for _, c := range []struct {
		name       string
		half, want float64
	}{{"grain", 0.2, 7.5}, {"slots by turns", 0.5, 3.75}} {
		g := signal{du: 1.0 / 480, v: make([]float64, 2800)}
		rng := rand.New(rand.NewPCG(3, 1))
		smooth := 0.0
		for i := range g.v {
			x := 2 * math.Pi * 7.5 * float64(i) * g.du
			smooth += 0.02 * (rng.NormFloat64() - smooth) // of lines as broad as wood's
			g.v[i] = math.Cos(x) + c.half*math.Cos(x/2) + 1.5*smooth
		}
		got, ok := findPeriod(g, coarsest, 42)
		if !ok || math.Abs(got.PerInch/c.want-1) > 0.01 {
			t.Errorf("%s: %.3f per inch (%v), want %v", c.name, got.PerInch, ok, c.want)
		}
	}
}

// A tone's amplitude is what it was made with, whatever else is there.
func TestAmplitude(t *testing.T) {
	rng := rand.New(rand.NewPCG(76, 2))
	s := toneIn(rng, 1200, 6, 9.3, 2.5, 1)
	for i, v := range toneIn(rng, 1200, 6, 14, 4, 0).v {
		s.v[i] += v
	}
	s.v[7], s.v[500] = math.NaN(), math.NaN()
	if got := s.amplitude(9.3); math.Abs(got-2.5) > 0.15 {
		t.Errorf("amplitude %.3f, made with 2.5", got)
	}
}

// Rust bites some wires and leaves others: that makes the strongest lines where they are
// coarse, and the wires' own lines still are the plainest. Their fundamental is told by
// all of them, where the plainest is a finer one.
func TestTonesBehindRust(t *testing.T) {
	for _, c := range []struct {
		name  string
		lines map[float64]float64 // amplitude by frequency, per inch
		want  float64
	}{
		{"one line", map[float64]float64{22: 0.5}, 22},
		{"a row of lines", map[float64]float64{10: 0.35, 20: 0.3, 30: 0.3}, 10},
	} {
		found := 0
		for seed := range uint64(20) {
			rng := rand.New(rand.NewPCG(seed, 12))
			g := signal{du: 1.0 / 200, v: make([]float64, 1100)}
			coarse := 0.0
			for i := range g.v {
				// each wire, a twentieth of an inch, as bright as it is left
				if i%10 == 0 {
					coarse = 2 * rng.NormFloat64()
				}
				g.v[i] = coarse + 0.2*rng.NormFloat64()
				for f, a := range c.lines {
					g.v[i] += 2 * a * math.Cos(2*math.Pi*f*float64(i)*g.du)
				}
			}
			got, ok := findPeriod(g.highPass(0.4), coarsest, 42)
			if ok && math.Abs(got.PerInch/c.want-1) > 0.02 {
				t.Errorf("%s, seed %d: %.3f per inch (%.1f), want %v", c.name, seed, got.PerInch, got.Line, c.want)
			} else if ok {
				found++
			}
		}
		if found < 18 {
			t.Errorf("%s: found %d times of 20", c.name, found)
		}
	}
}

// Where a wire's light and dark side leave its first line weak, the others of the row
// tell that the third is not the first.
func TestWeakFundamental(t *testing.T) {
	const f = 4.75
	g := signal{du: 1.0 / 200, v: make([]float64, 1200)}
	rng := rand.New(rand.NewPCG(5, 12))
	for i := range g.v {
		x := 2 * math.Pi * f * float64(i) * g.du
		g.v[i] = 0.05*math.Cos(x) + 0.35*math.Cos(2*x) + 0.8*math.Cos(3*x) + 0.3*math.Cos(4*x) + 0.6*rng.NormFloat64()
	}
	got, ok := findPeriod(g, coarsest, 42)
	if !ok || math.Abs(got.PerInch/f-1) > 0.01 {
		t.Errorf("%.3f per inch (%v), want %v", got.PerInch, ok, f)
	}
}

// What tells of every second of a row of lines tells of every fourth, too, and a line may
// stand a little higher there by chance.
func TestFundamentalOfARow(t *testing.T) {
	const at, df, width = 30.0, 0.05, 0.3
	for _, c := range []struct {
		name   string
		lines  map[float64]float64 // how far over the floor, by frequency
		enough float64
		want   float64
	}{
		{"nothing", nil, 1, 30},
		{"every second, and a little by chance", map[float64]float64{15: 4.9, 7.5: 2.4}, 1, 15},
		{"every third", map[float64]float64{10: 5, 20: 5}, 1, 10},
		{"every fourth", map[float64]float64{7.5: 5, 15: 5, 22.5: 5, 37.5: 5}, 1, 7.5},
		{"every third, not enough", map[float64]float64{10: 5, 20: 5}, 2.75, 30},
	} {
		sp := spectrum{df: df, width: width, amp: make([]float64, 2000)}
		for i := range sp.amp {
			sp.amp[i] = 1
		}
		sp.amp[int(math.Round(at/df))] = 12
		for f, a := range c.lines {
			sp.amp[int(math.Round(f/df))] = a
		}
		if got := sp.fundamentalOf(at, coarsest, 1.2, c.enough); math.Abs(got/c.want-1) > 0.01 {
			t.Errorf("%s: %.2f per inch, want %v", c.name, got, c.want)
		}
	}
}

// Narrow slots have lines about as strong up to the sixth, and what lies across them leaves
// none that is plain by itself: that of which the strongest is the fourth all together tell.
func TestNarrowSlotsAcrossWhichYarnLies(t *testing.T) {
	const f = 5.1
	lines := []float64{0.15, 0.3, 0.4, 0.5, 0.4, 0.3, 0.1}
	right, runs := 0, 20
	for seed := range uint64(runs) {
		rng := rand.New(rand.NewPCG(seed, 14))
		g := signal{du: 1.0 / 300, v: make([]float64, 945)}
		for i := range g.v {
			g.v[i] = 0.9 * rng.NormFloat64()
			for m, a := range lines {
				g.v[i] += a * math.Cos(2*math.Pi*f*float64(m+1)*float64(i)*g.du+float64(m*m))
			}
		}
		if got, ok := findPeriod(g, coarsest, finest); ok && math.Abs(got.PerInch/f-1) < 0.02 {
			right++
		}
	}
	if right < 18 {
		t.Errorf("right %d times of %d", right, runs)
	}
}

// Slots with holes halfway between are alike by twos, not by fours, though two spacings on
// they may be a little less alike than four: what every second spacing has of lines of its
// own says nothing of every fourth.
func TestSlotsByTwosAreNotByFours(t *testing.T) {
	const f, span, n, width = 15.28, 4.7, 2400, 0.012
	row := func(rng *rand.Rand, tones [4]float64, sigma float64) signal {
		s := signal{du: span / float64(n), v: make([]float64, n)}
		for i := range s.v {
			u := float64(i) * s.du
			k := math.Round(u * f)
			x := (u - k/f) / width
			s.v[i] = tones[int(k)%4]*math.Exp(-x*x/2) + sigma*rng.NormFloat64()
		}
		return s.highPass(0.4)
	}
	by := func(rng *rand.Rand, tones [4]float64, sigma float64) float64 {
		s := row(rng, tones, sigma)
		sp := s.spectrum()
		return sp.subharmonic(s, f, coarsest, leastShare*sp.amplitude(sp.strongest(coarsest, 42)))
	}
	const rows = 200
	twos := 0
	for seed := range uint64(rows) {
		rng := rand.New(rand.NewPCG(18, seed))
		hole := 0.1 + 0.4*float64(seed)/rows
		switch k := by(rng, [4]float64{1, hole, 0.9, hole}, 0.1); k {
		case 2:
			twos++
		case 4:
			t.Errorf("holes of %.2f: by fours", hole)
		}
	}
	if twos < rows/10 {
		t.Errorf("%d of %d rows by twos", twos, rows)
	}
}

// Along a row of 30 inches perspective may leave each of the row's lines at a place of its
// own, where the light brings out one at one end and another at the other; and so may
// bands out of place, which leave the row less like itself.
func TestLongRowsLinesStandApart(t *testing.T) {
	const n, span, f = 2600, 30.0, 3.8
	for _, sigma := range [2]float64{0.1, 0.8} {
		rng := rand.New(rand.NewPCG(22, 89))
		s := toneIn(rng, n, span, 2*f, 1, sigma)
		for _, part := range [2]float64{1.009, 2.99} {
			for i, v := range toneIn(rng, n, span, part*f, 0.9, 0).v {
				s.v[i] += v
			}
		}
		got, ok := findPeriod(s, 1.9, 42)
		if !ok || math.Abs(got.PerInch/f-1) > 0.015 {
			t.Errorf("noise of %g: %v %+v, want %g per inch", sigma, ok, got, f)
		}
	}
}
