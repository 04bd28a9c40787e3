package vision

import (
	"math"
	"math/rand/v2"
	"testing"
)

// wiresSeen is a row of wires as a camera over foot sees it along the ruler, inches:
// strips T apart, each with its side face towards the foot, rel deep over the camera's
// height, ppi pixels an inch, blurred over about a pixel by plain averages, with noise
// of one grey level.
func wiresSeen(T, wide, foot, rel, ppi, length float64, tones [3]float64, seed uint64) signal {
	const fine = 24 // samples a pixel
	at := func(x float64) float64 {
		k := math.Round(x / T)
		for _, n := range [3]float64{k - 1, k, k + 1} {
			c := n * T
			if math.Abs(x-c) <= wide*T/2 {
				return tones[0]
			}
		}
		for _, n := range [3]float64{k - 1, k, k + 1} {
			c := n * T
			near := c - wide*T/2*math.Copysign(1, c-foot)
			back := near + (foot-near)*rel
			if x >= math.Min(near, back) && x <= math.Max(near, back) {
				return tones[1]
			}
		}
		return tones[2]
	}
	n := int(length * ppi * fine)
	sum := make([]float64, n+1)
	for i := range n {
		sum[i+1] = sum[i] + at((float64(i)+0.5)/(ppi*fine))
	}
	// twice over a pixel and a half: a standard deviation of 0.6 px
	once := make([]float64, n)
	const half = 3 * fine / 4
	for i := range once {
		a, b := max(0, i-half), min(n, i+half)
		once[i] = (sum[b] - sum[a]) / float64(b-a)
	}
	for i, v := range once {
		sum[i+1] = sum[i] + v
	}
	r := rand.New(rand.NewPCG(seed, 7))
	g := signal{du: 1 / (1.5 * ppi)}
	for x := 0.0; x < length; x += g.du {
		i := int(x * ppi * fine)
		a, b := max(0, i-half), min(n, i+half)
		g.v = append(g.v, (sum[b]-sum[a])/float64(b-a)+r.NormFloat64())
	}
	return g
}

// Where the backs stand but two or three pixels behind the fronts at the row's ends,
// the drawing still tells the fronts' spacing from theirs, and says how well, whatever
// is bright and whatever dark, and wherever the foot is.
func TestDrawnFront(t *testing.T) {
	const perMM, deepMM, ppi = 1.0 / 350, 3.2, 105.0
	var far, told int
	var n float64
	for i, tones := range [][3]float64{{60, 40, 170}, {190, 90, 60}, {120, 60, 150}, {90, 150, 40}} {
		for _, T := range []float64{0.067, 0.095} {
			for _, foot := range []float64{3, 1.2, -0.5} {
				const length = 6.0
				g := wiresSeen(T, 0.36, foot, deepMM*perMM, ppi, length, tones, uint64(i))
				// as one reads it who takes a plane between for the front, and whose
				// foot is half an inch off
				l := lattice{first: 2 * T, T: T * 0.995, count: int(length/T) - 4}
				f, at := foldIn(g, l, 12, func(int) bool { return true })
				w := drawer{newDrawnRow(f, at, l), perMM, T * ppi, (foot + 0.5 - l.middle()) / l.T, 1 / (25.4 * perMM * l.T)}
				o, ok := w.front()
				if !ok {
					t.Fatalf("%v, %v, foot %v: not drawn", tones, T, foot)
				}
				off := l.T*(1+o.stretch)/T - 1
				// the depth, too, where the faces are some pixels wide and lie on both
				// sides of the foot
				if z := math.Log(o.deep.Rel/perMM/deepMM) / math.Hypot(o.deep.LnU, 0.1); o.deep.LnU > 0 && o.deep.LnU < 0.2 {
					told++
					if math.Abs(z) > 3 {
						t.Errorf("%v, %v in, foot %v: drawn %.2f mm deep, u %.2f, for %.1f", tones, T, foot, o.deep.Rel/perMM, o.deep.LnU, deepMM)
					}
				}
				n++
				if math.Abs(off) > 2*math.Hypot(o.u, 2e-4) {
					far++
				}
				if math.Abs(off) > 0.0015 || o.u > 0.008 {
					t.Errorf("%v, %v in, foot %v: %.3f %% off, u %.3f %%", tones, T, foot, 100*off, 100*o.u)
				}
			}
		}
	}
	if float64(told) < n/5 {
		t.Errorf("depth is told in %d of %.0f", told, n)
	}
	if float64(far) > 0.15*n {
		t.Errorf("%d of %v are off by more than twice their uncertainty", far, n)
	}
}

// Where wires stand hardly farther apart than the blur draws them out, their tones run
// into each other midway. A drawing whose strips move on by a little is a little more or
// less likely there, too: its cost does not jump, or a search ends at the jump.
func TestDrawingIsSmooth(t *testing.T) {
	const T, ppi, length, perMM = 0.1, 55.0, 6.0, 1.0 / 500
	g := wiresSeen(T, 0.5, 2.5, 3*perMM, ppi, length, [3]float64{60, 40, 170}, 3)
	l := lattice{first: 2 * T, T: T, count: int(length/T) - 4}
	f, at := foldIn(g, l, 12, func(int) bool { return true })
	w := drawer{newDrawnRow(f, at, l), perMM, T * ppi, (2.5 - l.middle()) / l.T, 1 / (25.4 * perMM * T)}
	const step = 1e-4
	var worst, before, last float64
	for n := 0; n < 400; n++ {
		c := w.cost(drawing{place: (float64(n) - 200) * step, wide: 0.5, depth: 3 * perMM, blur: 0.8 / (T * ppi), foot: w.foot})
		if n > 1 {
			worst = math.Max(worst, math.Abs(c-2*last+before))
		}
		before, last = last, c
	}
	// A likeliest place told to 0.002 of a spacing has 2/0.002² for a second derivative.
	if worst > 0.02 {
		t.Errorf("the cost jumps by %.3f", worst)
	}
}

// Variances of numbers of which some are told a hundred times better than others, two of
// them nearly alone together, by a cost that is a logarithm: those of its parabola.
func TestVariancesOfADrawing(t *testing.T) {
	const n = 144 // as many values as twelve stretches count for
	sd := []float64{0.05, 0.005, 0.3}
	const r = 0.95 // between the first two
	cost := func(v []float64) float64 {
		a, b, c := v[0]/sd[0], v[1]/sd[1], v[2]/sd[2]
		q := (a*a-2*r*a*b+b*b)/(1-r*r) + c*c
		return n * math.Log(1+q/n)
	}
	var w drawer
	for i, v := range w.variances(cost, make([]float64, 3)) {
		if got := math.Sqrt(v) / sd[i]; math.Abs(got-1) > 0.1 {
			t.Errorf("number %d: %.2f times its standard deviation", i, got)
		}
	}
	flat := w.variances(func(v []float64) float64 { return v[0] * v[0] }, make([]float64, 2))
	if math.Abs(flat[0]-1) > 1e-6 || flat[1] < 1 || flat[1] > 10 {
		t.Errorf("variances %.3f where the second number changes nothing", flat)
	}
}

// Close to the camera the faces are many pixels wide, and the fronts' spacing is told to
// a tenth of a percent, and said to be.
func TestDrawnFrontOfTallFaces(t *testing.T) {
	const perMM, deepMM, ppi, length = 1.0 / 145, 3.2, 390.0, 4.4
	for i, T := range []float64{0.097, 0.14} {
		for _, foot := range []float64{2.4, 1.2} {
			g := wiresSeen(T, 0.25, foot, deepMM*perMM, ppi, length, [3]float64{60, 100, 170}, uint64(i))
			l := lattice{first: 2 * T, T: T * 0.998, count: int(length/T) - 4}
			f, at := foldIn(g, l, 12, func(int) bool { return true })
			w := drawer{newDrawnRow(f, at, l), perMM, T * ppi, (foot - l.middle()) / l.T, 1 / (25.4 * perMM * l.T)}
			o, ok := w.front()
			if off := l.T*(1+o.stretch)/T - 1; !ok || o.u > 0.0015 || math.Abs(off) > 2*o.u {
				t.Errorf("%v in, foot %v: %.3f %% off, u %.3f %% (%v)", T, foot, 100*off, 100*o.u, ok)
			}
		}
	}
}

// A row that looks the same all along, or is black, is no number out of bounds.
func TestDrawnFrontOfNothing(t *testing.T) {
	l := lattice{T: 0.1, count: 40}
	for _, level := range []float64{0, 128} {
		g := signal{du: 0.01, v: make([]float64, 420)}
		for i := range g.v {
			g.v[i] = level
		}
		f, at := foldIn(g, l, 12, func(int) bool { return true })
		w := drawer{newDrawnRow(f, at, l), 1.0 / 350, 8, 0, 100}
		if o, ok := w.front(); ok && (math.IsNaN(o.stretch) || math.Abs(o.stretch) > 0.05 || math.IsNaN(o.u)) {
			t.Errorf("an even grey of %v is drawn with %+v", level, o)
		}
	}
}

// A guess that went into an estimate comes out again by weights of one over the
// squares of their uncertainties, in logarithms: of two alike the mean was 2 for a
// guess of 1, so that the other said 4.
func TestDeepWithout(t *testing.T) {
	d := Deep{2, 0.3 / math.Sqrt2}.without(1, 0.3)
	if math.Abs(d.Rel-4) > 1e-9 || math.Abs(d.LnU-0.3) > 1e-9 {
		t.Errorf("%+v without the guess, want 4 and 0.3", d)
	}
	if d := (Deep{2, 0.3}).without(1, 0.3); d != (Deep{}) {
		t.Errorf("the guess alone tells %+v", d)
	}
	// what the guess left by rounding alone is nothing, and not a depth of nought
	if d := (Deep{0.0099, 0.34999999999683745}).without(0.01, 0.35); d != (Deep{}) {
		t.Errorf("rounding left %+v", d)
	}
}
