package measure

import (
	"context"
	"math"
	"testing"

	"dentcount/photo"
	"dentcount/scene"
)

// besideTape is a table with a tape on it and the threads or wires given, laid
// along the tape 15 mm from its edge; all lengths are exact.
func besideTape(strands []scene.Strand) scene.Spec {
	s := longReed(true)
	s.Part = scene.Part{Kind: scene.NoPart}
	s.Table = scene.Table{BelowMM: 0.1, Pattern: "speckle", A: scene.RGB{0.1, 0.12, 0.15}, B: scene.RGB{0.12, 0.14, 0.17}, ScaleMM: 3, Shadow: 0.3}
	s.Strands = strands
	s.Camera.DistanceMM, s.Camera.AimYMM = 330, 5
	s.Width, s.Height = 2400, 1200
	return s
}

// wireHeddle is a wire heddle of two wires, end to end so many inches long: a
// loop at each end, an eye in the middle.
func wireHeddle(in float64) []scene.Strand {
	const r, y, z = 0.4, 15.0, 0.5
	l := in*scene.MMPerInch/2 - r
	var out []scene.Strand
	for _, side := range [2]float64{1, -1} {
		var pts [][3]float64
		for _, p := range [][2]float64{
			{-l, 0}, {-l + 2, 2.4}, {-l + 6, 3}, {-l + 11, 2.4}, {-l + 15, 0.3}, {-l + 40, 0.3}, {-40, 0.3}, {-8, 0.3}, {-4, 2}, {0, 2.4},
			{4, 2}, {8, 0.3}, {40, 0.3}, {l - 40, 0.3}, {l - 15, 0.3}, {l - 11, 2.4}, {l - 6, 3}, {l - 2, 2.4}, {l, 0},
		} {
			pts = append(pts, [3]float64{p[0], y + side*p[1], z})
		}
		out = append(out, scene.Strand{Kind: "lint", Points: pts, RadiusMM: r, Colour: scene.RGB{0.6, 0.6, 0.62}})
	}
	return out
}

// stringHeddle is a string heddle from knot to knot so many inches, its eye half
// an inch.
func stringHeddle(in float64) []scene.Strand {
	const y, z, eye = 15.0, 0.8, 0.5 * scene.MMPerInch / 2
	l := in * scene.MMPerInch / 2
	white := scene.RGB{0.8, 0.78, 0.7}
	line := func(r float64, ps ...[2]float64) scene.Strand {
		st := scene.Strand{Kind: "lint", RadiusMM: r, Colour: white}
		for _, p := range ps {
			st.Points = append(st.Points, [3]float64{p[0], y + p[1], z})
		}
		return st
	}
	out := []scene.Strand{
		line(0.7, [2]float64{-l, 0}, [2]float64{-l / 2, 0}, [2]float64{-eye - 1.5, 0}),
		line(0.7, [2]float64{eye + 1.5, 0}, [2]float64{l / 2, 0}, [2]float64{l, 0}),
		line(0.5, [2]float64{-eye - 1.5, 0.2}, [2]float64{-eye, 0.6}, [2]float64{0, 3}, [2]float64{eye, 0.6}, [2]float64{eye + 1.5, 0.2}),
		line(0.5, [2]float64{-eye - 1.5, -0.2}, [2]float64{-eye, -0.6}, [2]float64{0, -3}, [2]float64{eye, -0.6}, [2]float64{eye + 1.5, -0.2}),
	}
	for _, x := range []float64{-l, -eye - 1.5, eye + 1.5, l} {
		out = append(out, line(1.5, [2]float64{x - 0.8, 0}, [2]float64{x + 0.8, 0}))
	}
	return out
}

// heddleBars are two flat bars of 20 mm with heddles between, their outer edges
// so many inches apart, and a tape across both.
func heddleBars(spanIn float64) scene.Spec {
	const bar = 20.0
	s := longReed(true)
	p := &s.Part
	p.DentsPerInch, p.WireFraction, p.Bands, p.X0MM = 4, 0.15, 30, -15*scene.MMPerInch/4
	span := spanIn * scene.MMPerInch
	p.YLowMM, p.YHighMM = bar, span-bar
	p.Baulk = scene.Baulk{WidthMM: bar, AboveMM: 1, Colour: scene.RGB{0.5, 0.5, 0.52}, Texture: "plain"}
	p.Caps = scene.Caps{}
	s.Rulers[0].AngleDeg, s.Rulers[0].XMM, s.Rulers[0].YMM, s.Rulers[0].BaseMM = 90, 10, span/2, 1
	s.Camera.AimYMM = span / 2
	s.Width, s.Height = 1500, 2000
	s.Camera.DistanceMM = 330
	return s
}

func measureScene(t *testing.T, s scene.Spec, name string, opt LengthOptions) LengthResult {
	t.Helper()
	p, _ := shotOf(t, s, name, s.Camera.AimXMM, 1, -1, 1)
	r, err := Length(context.Background(), p, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// A wire heddle is ordered by the span of its bars, a quarter of an inch less
// than the heddle (common practice, no source): 10 3/4 in is a 10 1/2 in heddle.
func TestWireHeddleInAScene(t *testing.T) {
	for _, want := range []float64{8.75, 10.75, 12.75} {
		r := measureScene(t, besideTape(wireHeddle(want)), "wire.jpg", LengthOptions{What: WireHeddle})
		if r.Status != Answered || r.Length == nil || math.Abs(r.Length.In-want) > goalOf(want) || math.Abs(r.Length.In-want) > 3*r.Length.U {
			t.Errorf("%s %s %+v, it is %.3f", r.Status, r.Reason, r.Length, want)
			continue
		}
		if r.Nominal == nil || r.Nominal.In != want-0.25 {
			t.Errorf("nominal %+v, it is %g", r.Nominal, want-0.25)
		}
	}
}

// A bare table beside a tape holds no wire heddle, and a wire that runs out of
// the picture has no end in it.
func TestNoWireHeddle(t *testing.T) {
	for name, strands := range map[string][]scene.Strand{
		"bare": nil,
		"long": {{Kind: "lint", Points: [][3]float64{{-400, 15, 0.5}, {0, 15, 0.5}, {400, 15, 0.5}}, RadiusMM: 0.4, Colour: scene.RGB{0.6, 0.6, 0.62}}},
	} {
		if r := measureScene(t, besideTape(strands), "none-"+name+".jpg", LengthOptions{What: WireHeddle}); r.Status == Answered {
			t.Errorf("%s: %s %+v", name, r.Status, r.Length)
		}
	}
}

// Every length that is found in one photo is found over two along one tape, too,
// in either order, and with the camera turned round between them.
func TestJoinedLengthsTruth(t *testing.T) {
	long := heddleBars(10.5)
	height := longReed(true)
	height.Rulers[0].AngleDeg, height.Rulers[0].XMM, height.Rulers[0].YMM, height.Rulers[0].BaseMM = 90, 10, 53, 1
	heddle := longReed(true)
	h := &heddle.Part
	h.Kind, h.X0MM, h.Bands = scene.RigidHeddle, -100*2.54, 201 // slots at both ends
	h.SlotFraction, h.HoleFraction, h.HoleLengthMM, h.HoleYMM = 0.4, 0.36, 9, 53
	h.Finish.Colour = scene.RGB{0.7, 0.6, 0.45}
	for _, c := range []struct {
		what   What
		spec   scene.Spec
		along  [2]float64 // where the two shots are aimed, along the tape
		dist   float64
		w, h   int
		want   float64
		across bool // the tape runs along y
	}{
		{HeddleBarSpan, long, [2]float64{45, 222}, 230, 1300, 1600, 10.5, true},
		{ReedHeight, height, [2]float64{15, 90}, 150, 1300, 1500, (83 + 2*12) / scene.MMPerInch, true},
		{StringHeddle, besideTape(stringHeddle(15)), [2]float64{-95, 95}, 250, 2400, 1200, 15, false},
		{WireHeddle, besideTape(wireHeddle(14.75)), [2]float64{-95, 95}, 250, 2400, 1200, 14.75, false},
		{HeddleWidth, heddle, [2]float64{-130, 125}, 270, 1800, 1000, 20 + 0.4*2.54/scene.MMPerInch, false},
	} {
		s := c.spec
		s.Camera.DistanceMM, s.Width, s.Height = c.dist, c.w, c.h
		shot := func(i int, roll float64) *photo.Photo {
			q := s
			x := c.along[i]
			if c.across {
				q.Camera.AimYMM, x = c.along[i], 0
			}
			p, _ := shotOf(t, q, string(c.what)+[2]string{"-a.jpg", "-b.jpg"}[i], x, 1.2, -1, roll)
			return p
		}
		a, b := shot(0, 1), shot(1, 182)
		above := s.Rulers[0].ThicknessMM
		opt := LengthOptions{What: c.what, MarksAboveMM: &above}
		if c.what == StringHeddle || c.what == WireHeddle {
			opt.MarksAboveMM = nil
		}
		for _, shots := range [][]*photo.Photo{{a, b}, {b, a}} {
			r, err := JoinedLength(context.Background(), shots, nil, opt)
			if err != nil {
				t.Fatal(err)
			}
			if r.Status != Answered || r.Length == nil {
				t.Errorf("%s: %s %s %+v %+v", c.what, r.Status, r.Reason, r.Length, r.Joined)
				continue
			}
			if e := r.Length.In - c.want; math.Abs(e) > goalOf(c.want) || math.Abs(e) > 3*r.Length.U {
				t.Errorf("%s: %.3f ± %.3f in, it is %.3f", c.what, r.Length.In, r.Length.U, c.want)
			}
			if c.what == StringHeddle && (r.Eye == nil || math.Abs(r.Eye.In-0.5) > 1.0/8) {
				t.Errorf("eye %+v", r.Eye)
			}
			t.Logf("%s: %.4f ± %.4f in, it is %.4f, confidence %.2f", c.what, r.Length.In, r.Length.U, c.want, r.Confidence)
		}
	}
}
