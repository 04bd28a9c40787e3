package vision

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"dentcount/scene"
)

// combTones is the tone of a row of slots, and of holes between them, by Fourier's
// integral: an opening of width w spacings adds sin(πnw)·2/(πn) to harmonic n, and
// one half-way between adds it with the sign of (-1)ⁿ. contrast is in grey levels.
func combTones(slot, hole, contrast, phase float64) (one, two complex128) {
	h := func(n, w float64) float64 { return 2 * contrast / (math.Pi * n) * math.Sin(math.Pi*n*w) }
	return cmplx.Rect(1, phase) * complex(h(1, slot)-h(1, hole), 0), cmplx.Rect(1, 2*phase) * complex(h(2, slot)+h(2, hole), 0)
}

// laidOut are windows of a part seen from -1.5 to 1.5 inches at 100 px an inch:
// paint says what each shows at a depth in inches square to the bands.
func laidOut(n int, tan float64, paint func(window int, depthIn float64) zone) []window {
	const ppi = 100.0
	var ws []window
	for j := range n {
		w := window{along: 300 * float64(j)}
		for d := -reachIn * ppi; d < reachIn*ppi; d += zonePx(ppi) {
			square := d + tan*(w.along-150*float64(n-1))
			z := paint(j, square/ppi)
			z.depth = d
			w.zones = append(w.zones, z)
		}
		ws = append(ws, w)
	}
	return ws
}

func clearestOf(t *testing.T, ws []window, under bool, tan float64) float64 {
	t.Helper()
	m, ok := mapZones(ws, under, tan, 100)
	if !ok {
		t.Fatal("no bands were seen")
	}
	best := math.Inf(-1)
	for _, z := range m.holes() {
		best = math.Max(best, z.clearness())
	}
	return best
}

// Holes are told wherever they lie about the ruler, and not taken from marks, from
// light that changes along the wires, or from a step of the ruler's edge.
func TestHolesAreTold(t *testing.T) {
	const windows, slot, hole, contrast, level = 9, 0.22, 0.2, -60.0, 120.0
	phase := func(j int) float64 { return 1.7 * float64(j*j) }
	band := func(j int, hole float64) zone {
		one, two := combTones(slot, hole, contrast, phase(j))
		return zone{one: one, two: two, half: 1, mean: level + contrast*(slot+hole)}
	}
	part := func(d float64) bool { return d > -1.6 && d < 1.6 }
	blank := zone{mean: 220}
	cases := []struct {
		name  string
		tan   float64
		paint func(j int, d float64) zone
		holes bool
	}{
		{"before the marked edge", 0, func(j int, d float64) zone {
			switch {
			case !part(d) || d > 0 && d < 0.8:
				return blank
			case d > -0.7 && d < -0.4:
				return band(j, hole)
			}
			return band(j, 0)
		}, true},
		{"beside the edge of a ruler that covers all the rest", 0, func(j int, d float64) zone {
			switch {
			case !part(d) || d > 0:
				return blank
			case d > -0.45 && d < -0.15:
				return band(j, hole)
			}
			return band(j, 0)
		}, true},
		{"right behind the other edge", 0, func(j int, d float64) zone {
			switch {
			case !part(d-1) || d > 0 && d < 0.8:
				return blank
			case d > 0 && d < 1.05:
				return band(j, hole)
			}
			return band(j, 0)
		}, true},
		{"under a transparent ruler", 0, func(j int, d float64) zone {
			if !part(d) {
				return blank
			}
			z := band(j, 0)
			if d > 0.3 && d < 0.6 {
				z = band(j, hole)
			}
			if d > 0 && d < 0.9 {
				z.one, z.two, z.mean = 0.8*z.one, 0.8*z.two, 0.85*z.mean
			}
			return z
		}, true},
		{"under an opaque ruler", 0, func(j int, d float64) zone {
			if !part(d) || d > 0 && d < 0.8 {
				return blank
			}
			return band(j, 0)
		}, false},
		{"marks on the other edge", 0, func(j int, d float64) zone {
			switch {
			case !part(d):
				return blank
			case d > 0.7 && d < 0.9:
				_, two := combTones(0, 0.1, 150, 0.9*float64(j*j*j))
				return zone{two: two, mean: level}
			case d > 0 && d < 0.9:
				return blank
			}
			return band(j, 0)
		}, false},
		{"marks in step with the bands on a bright ruler", 0, func(j int, d float64) zone {
			switch {
			case !part(d):
				return blank
			case d > 0.7 && d < 0.9:
				_, two := combTones(0, 0.1, -150, phase(j))
				return zone{two: two, mean: 200}
			case d > 0 && d < 0.9:
				return blank
			}
			return band(j, 0)
		}, false},
		{"marks of two lengths in step with the bands on a bright ruler", 0, func(j int, d float64) zone {
			z := band(j, 0)
			z.mean = 200
			switch {
			case !part(d) || d > 0.6 && d < 0.8:
				return blank
			case d > 0 && d < 0.2:
				_, z.two = combTones(0, 0.2, contrast, phase(j))
				z.one = 0
				return z
			case d > 0 && d < 0.6:
				return z
			}
			return band(j, 0)
		}, false},
		{"side faces that grow along the wires", 0, func(j int, d float64) zone {
			if !part(d) {
				return blank
			}
			one, two := combTones(slot*(1+0.3*d), 0, contrast, phase(j))
			return zone{one: one, two: two, half: 1, mean: level}
		}, false},
		{"aslant to the ruler", 0.04, func(j int, d float64) zone {
			switch {
			case !part(d):
				return blank
			case d > -0.7 && d < -0.5:
				return band(j, hole)
			}
			return band(j, 0)
		}, true},
	}
	for _, c := range cases {
		got := clearestOf(t, laidOut(windows, c.tan, c.paint), true, c.tan)
		if (got > 1.8) != c.holes || !c.holes && got > 0.8 {
			t.Errorf("%s: clearness %.2f", c.name, got)
		}
	}
	// A part has its holes about its middle.
	if got := clearestOf(t, laidOut(windows, 0, func(j int, d float64) zone {
		switch {
		case !part(d):
			return blank
		case d > -1.5 && d < -1.2:
			return band(j, hole)
		}
		return band(j, 0)
	}), false, 0); got > 0.8 {
		t.Errorf("doubled near the part's end: clearness %.2f", got)
	}
	slanted := cases[len(cases)-1]
	if got := clearestOf(t, laidOut(windows, slanted.tan, slanted.paint), true, 0); got > 1.8 {
		t.Errorf("aslant and not told so: clearness %.2f", got)
	}
	// the marks' lean may be as much as that in error
	if got, _ := searchHoles(laidOut(windows, slanted.tan, slanted.paint), true, -0.02, 100); got < 1.8 {
		t.Errorf("aslant and told another way: clearness %.2f", got)
	}
}

// The middle of the part is seen plain where nothing lies on it, in part where a
// ruler does, and not at all where the part's ends are out of the picture. Holes find room only where it is
// not.
func TestPlainMiddle(t *testing.T) {
	seen := func(under bool, covered, end float64) middle {
		m, ok := mapZones(laidOut(5, 0, func(j int, d float64) zone {
			if math.Abs(d) > end || d > 0 && d < covered {
				return zone{mean: 200}
			}
			one, two := combTones(0.25, 0, 40, float64(j))
			return zone{one: one, two: two, mean: 120}
		}), under, 0, 100)
		if !ok {
			t.Fatal("no bands were seen")
		}
		return m.middle()
	}
	if got := seen(false, 0, 1.5); got.plain < 0.95 || got.roomIn > 0.05 {
		t.Errorf("nothing covered: %.2f", got)
	}
	// a ruler from the middle line covers half of the middle third
	if got := seen(true, 0.8, 1.5); math.Abs(got.plain-0.5) > 0.07 || math.Abs(got.roomIn-0.5) > 0.07 {
		t.Errorf("half covered: %.2f", got)
	}
	// a ruler whose marks look like the bands hides what it is wide at least
	if got := seen(true, 0, 1.5); math.Abs(got.plain-0.55) > 0.07 || math.Abs(got.roomIn-rulerNarrowIn) > 0.07 {
		t.Errorf("covered by marks like bands: %.2f", got)
	}
	// and where the ruler covers all that is behind its edge no end of the part is seen
	if got := seen(true, 9, 1.5); got != unseenMiddle {
		t.Errorf("one end under the ruler: %.2f", got)
	}
	if got := seen(false, 0, 9); got != unseenMiddle {
		t.Errorf("no end in view: %.2f", got)
	}
}

// The tone of a square wave, by Fourier's integral, and the phase of its double.
func TestWindowTone(t *testing.T) {
	const T, slot, contrast = 20.0, 0.3, 50.0
	for range 5 {
		x0 := 20 * rand.Float64()
		seg := make([]float64, 160)
		for i := range seg {
			const fine = 32
			for k := range fine {
				u := math.Mod((float64(i)+(float64(k)+0.5)/fine-x0)/T+10, 1)
				if u < slot/2 || u > 1-slot/2 {
					seg[i] += contrast / fine
				}
			}
		}
		z, ok := windowTone(seg, T)
		one, two := combTones(slot, 0, contrast, 0)
		if !ok || math.Abs(cmplx.Abs(z.one)/cmplx.Abs(one)-1) > 0.03 || math.Abs(cmplx.Abs(z.two)/cmplx.Abs(two)-1) > 0.05 {
			t.Errorf("tones %.1f and %.1f, not %.1f and %.1f", cmplx.Abs(z.one), cmplx.Abs(z.two), cmplx.Abs(one), cmplx.Abs(two))
		}
		if off := cmplx.Phase(z.two * cmplx.Conj(z.one*z.one)); math.Abs(off) > 0.1 {
			t.Errorf("the double tone is %.2f rad out of step", off)
		}
		if z.half > 1 {
			t.Errorf("half tone %.2f of equal openings", z.half)
		}
	}
	if _, ok := windowTone([]float64{1, math.NaN(), 2}, 2); ok {
		t.Error("a window outside the picture was measured")
	}
}

// A rigid heddle whose holes are in sight, on whichever side of the ruler, is
// told and told surely. The truth is the drawing's.
func TestHolesInSight(t *testing.T) {
	for i, c := range []struct {
		name string
		// mm from the marked edge to the middle of the holes, positive towards and
		// past the ruler, whose width is w
		at   func(w float64) float64
		look string
	}{
		{"beside the marked edge", func(float64) float64 { return -6 }, "white"},
		{"past the other edge", func(w float64) float64 { return w + 5 }, "yellow"},
		{"past the other edge", func(w float64) float64 { return w + 5 }, "transparent"},
	} {
		s := scene.Random(7300+uint64(i), scene.Ranges{
			AdverseShare: -1, HeddleShare: 1, OffShare: -1, YarnShare: -1, TurnedShare: -1, Labels: []string{"10", "12"},
			LongSidePx: scene.Range{1200, 1300}, PxPerDent: scene.Range{11, 14}, BlurPx: scene.Range{0.4, 0.8}, Noise: scene.Range{0.004, 0.01},
			RulerKinds: []string{"in16"}, RulerLooks: []string{c.look}, RulerThicknessMM: scene.Range{0.5, 1}, Wear: scene.Range{0.001, 0.002},
		})
		ruler := s.Rulers[0]
		s.Part.HoleLengthMM = 6
		s.Part.HoleYMM = c.at(ruler.WidthMM)
		if ruler.Scales[0].HighEdge != (math.Abs(math.Remainder(ruler.AngleDeg, 360)) > 90) {
			s.Part.HoleYMM = -s.Part.HoleYMM
		}
		jpeg, truth, err := scene.Photo(s)
		if err != nil {
			t.Fatal(err)
		}
		b, ok := bandsIn(t, jpeg, "")
		dents := b.PerInch * float64(b.DentsPerBand)
		if !ok || b.Kind != RigidHeddle || b.KindProbability < 0.949 || b.HolesHidden || math.Abs(dents / *truth.DentsPerInch - 1) > 0.03 {
			t.Errorf("%s, %s ruler: %s of %.2f dents with %.3f, drawn was %.2f; %v", c.name, c.look, b.Kind, dents, b.KindProbability, *truth.DentsPerInch, b.KindCues)
		}
	}
}

// Of windows along a ruler those are asked about turns that lie in the row of bands: past the
// part's end stand its bar and the table.
func TestWindowsOfTheRow(t *testing.T) {
	row := stretch{lo: 0, hi: 200}
	var all []window
	for along := -60.0; along <= 260; along += 40 {
		all = append(all, window{along: along, spacing: 10})
	}
	var got []float64
	for _, w := range row.windows(all) {
		got = append(got, w.along)
	}
	if want := []float64{60, 100, 140}; !slices.Equal(got, want) {
		t.Errorf("windows at %.0f, want %.0f", got, want)
	}
}
