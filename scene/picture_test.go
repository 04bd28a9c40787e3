package scene

import (
	"fmt"
	"math"
	"testing"
)

// edgesOnly is a plain reed for finding edges: no ruler in the way.
func edgesOnly(kind PartKind) Spec {
	s := plain(kind)
	s.Rulers = nil
	s.Part.DentsPerInch, s.Part.X0MM, s.Part.Bands = 5, -30*5.08, 61
	return s
}

// Each wire is a flat strip 3 mm deep with sharp corners. To the camera it
// shows three edges: where the side towards the foot ends at the back, where
// that side meets the front, and the front's other corner. All three lie where
// the pinhole projects those corners.
func TestDrawnWiresLieWhereTheyShould(t *testing.T) {
	for _, c := range []struct {
		name string
		edit func(*Spec)
	}{
		{"straight", func(s *Spec) {}},
		{"leaning", func(s *Spec) { s.Camera.TiltDeg, s.Camera.RollDeg, s.Camera.K1 = [2]float64{7, -9}, 8, 0.005 }},
		{"turned", func(s *Spec) { s.Camera.RollDeg, s.Part.Scatter = 94, 0.03 }},
	} {
		s := edgesOnly(Reed)
		s.Part.DepthMM = 4
		s.Sensor.BlurPx = 0.5
		c.edit(&s)
		img, _ := drawn(t, s)
		v := newView(s.Camera, s.Width, s.Height)
		var back, corner, front worst
		for _, b := range s.Bands() {
			out := 1.0 // away from the foot
			if b.XMM < v.cx {
				out = -1
			}
			h := b.WidthMM / 2
			for _, y := range []float64{-14, 3, 11} {
				spots := [3][2]float64{{b.XMM - out*h, -s.Part.DepthMM}, {b.XMM - out*h, 0}, {b.XMM + out*h, 0}}
				w := [3]*worst{&back, &corner, &front}
				var at [3][2]float64
				for i, p := range spots {
					x, yy, _ := s.Project(p[0], y, p[1])
					at[i] = [2]float64{x, yy}
				}
				// The neighbour's far corner must not hide the back edge.
				nx, ny, _ := s.Project(b.XMM-out*(s.Part.PitchMM()-h), y, 0)
				ux, uy := at[2][0]-at[1][0], at[2][1]-at[1][1]
				side := ((at[1][0]-at[0][0])*ux + (at[1][1]-at[0][1])*uy) / math.Hypot(ux, uy)
				if clear := ((at[0][0]-nx)*ux + (at[0][1]-ny)*uy) / math.Hypot(ux, uy); clear < 9 {
					continue
				}
				if side < 5 || !within9(s, at[0]) || !within9(s, at[2]) {
					continue // too near the foot to tell back from front, or out of frame
				}
				for i := range at {
					// Across the wire, as far as the next edge leaves room.
					reach := math.Min(side/2, 6)
					k := reach / math.Hypot(ux, uy)
					dev := edgeAt(img, at[i][0]-ux*k, at[i][1]-uy*k, at[i][0]+ux*k, at[i][1]+uy*k)
					w[i].note(dev, fmt.Sprintf("wire %d, y %g", b.Index, y))
				}
			}
		}
		t.Run(c.name, func(t *testing.T) {
			back.check(t, "back edge", 24, 0.1)
			corner.check(t, "front corner", 24, 0.1)
			front.check(t, "far corner", 24, 0.1)
		})
	}
}

// within9 says whether a point is in the frame with 9 pixels to spare.
func within9(s Spec, p [2]float64) bool {
	return s.inFrame(p[0]-9, p[1]-9) && s.inFrame(p[0]+9, p[1]+9)
}

func TestDrawnMarksLieWhereTruthSays(t *testing.T) {
	for _, c := range []struct {
		name string
		edit func(*Spec)
	}{
		{"straight", func(s *Spec) {}},
		{"leaning", func(s *Spec) {
			s.Camera.TiltDeg, s.Camera.RollDeg, s.Camera.K1 = [2]float64{-12, 6}, -21, -0.005
			s.Rulers[0].AngleDeg = 3
			s.Rulers[0].ThicknessMM = 3.2
		}},
		{"bent tape", func(s *Spec) {
			s.Rulers[0].CurvePerMM = -1 / 900.0
			s.Rulers[0].AngleDeg = 178
			s.Rulers[0].MarkScatterMM = 0.03
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := plain(Reed)
			s.Camera.AimYMM = 15
			c.edit(&s)
			img, _ := drawn(t, s)
			u := bareRule(s.Rulers[0])
			for i, sc := range s.Rulers[0].Scales {
				var w worst
				for _, m := range s.RulerMarks(0, i) {
					// Across the mark, 1.5 mm in from the edge.
					at, q := u.local(m.XMM, m.YMM)
					q += 1.5
					if sc.HighEdge {
						q -= 3
					}
					point := func(s0 float64) (float64, float64) {
						x, y := u.place(s0, q)
						px, py, _ := s.Project(x, y, m.ZMM)
						return px, py
					}
					ax, ay := point(at - 0.45)
					bx, by := point(at + 0.45)
					if !s.inFrame(ax, ay) || !s.inFrame(bx, by) {
						continue
					}
					w.note(darkAt(img, ax, ay, bx, by), fmt.Sprintf("%s %g", sc.Unit, m.Value))
				}
				w.check(t, sc.Unit+" marks", 60, 0.1)
			}
		})
	}
}

// The ruler's edges: its face at z = thickness, and below it the side that
// faces the foot.
func TestDrawnRulerEdges(t *testing.T) {
	s := plain(NoPart)
	s.Part = Part{Kind: NoPart}
	s.Table = Table{BelowMM: 0.01, Pattern: "plain", A: RGB{0.45, 0.45, 0.45}, ScaleMM: 5}
	s.Rulers[0].Scales = s.Rulers[0].Scales[:1]
	s.Rulers[0].Scales[0].GapMM = 2
	s.Rulers[0].Side = RGB{0.05, 0.05, 0.05}
	s.Rulers[0].YMM = 18
	s.Rulers[0].ThicknessMM = 3
	s.Camera.DistanceMM = 130
	img, _ := drawn(t, s)
	var top, bottom worst
	for x := -40.0; x <= 40; x += 3.1 {
		for _, p := range []struct {
			z float64
			w *worst
		}{{3, &top}, {0, &bottom}} {
			px, py, _ := s.Project(x, 18, p.z)
			p.w.note(edgeAt(img, px, py+1.9, px, py-1.9), fmt.Sprintf("x %g", x))
		}
	}
	top.check(t, "face's edge", 20, 0.1)
	bottom.check(t, "underside's edge", 20, 0.1)
}

// Slots and holes of a black panel on a bright table: what shines through ends
// at the front rim next to the foot, and at the back rim away from it.
func TestDrawnOpeningsLieWhereTheyShould(t *testing.T) {
	s := edgesOnly(RigidHeddle)
	s.Part.Finish.Colour = RGB{}
	s.Table.A = RGB{0.6, 0.6, 0.6}
	img, _ := drawn(t, s)
	v := newView(s.Camera, s.Width, s.Height)
	var slots, holes, walls worst
	for _, b := range s.Bands() {
		y, w := 9.0, &slots
		if b.Kind == "hole" {
			y, w = s.Part.HoleYMM+3, &holes
		}
		out := 1.0
		if b.XMM < v.cx {
			out = -1
		}
		h := b.WidthMM / 2
		nx, ny, _ := s.Project(b.XMM-out*h, y, 0)               // front rim next to the foot
		fx, fy, _ := s.Project(b.XMM+out*h, y, -s.Part.DepthMM) // back rim away from it
		if math.Abs(b.XMM) < b.WidthMM || !within9(s, [2]float64{nx, ny}) || !within9(s, [2]float64{fx, fy}) || math.Abs(fx-nx) < 6 {
			continue
		}
		reach := math.Min(2.9, math.Abs(fx-nx)/2)
		w.note(edgeAt(img, nx-out*reach, ny, nx+out*reach, ny), fmt.Sprintf("%s %d", b.Kind, b.Index))
		walls.note(edgeAt(img, fx-out*reach, fy, fx+out*reach, fy), fmt.Sprintf("%s %d", b.Kind, b.Index))
	}
	slots.check(t, "slots' rims", 6, 0.1)
	holes.check(t, "holes' rims", 6, 0.1)
	walls.check(t, "back rims", 12, 0.1)
}

// Through a clear plate of index n a ray that comes in at angle θ leaves
// t·(tan θ - tan θ'), sin θ' = sin θ / n, nearer to where it came in (Snell).
func TestClearRulerShiftsWhatIsBelow(t *testing.T) {
	s := plain(Reed)
	s.Camera.DistanceMM = 130
	s.Part.DepthMM = 0
	s.Part.WireFraction = 0.3
	r := &s.Rulers[0]
	r.See, r.ThicknessMM, r.YMM, r.XMM, r.MidMM = 0.9, 3.2, -12, -4, 80
	r.Scales = r.Scales[:1]
	r.Scales[0].LengthsMM = []float64{0.2}
	img, _ := drawn(t, s)
	v := newView(s.Camera, s.Width, s.Height)
	var w worst
	shiftSeen := 0.0
	for _, b := range s.Bands() {
		// Find by search the ray which, bent, meets the wire's middle.
		lo, hi := 0.0, 1200.0
		for range 60 {
			px := (lo + hi) / 2
			mx, my := v.ray(px, 400)
			tan := math.Hypot(mx, my)
			theta := math.Atan(tan)
			inside := math.Tan(math.Asin(math.Sin(theta) / 1.49))
			x := v.cx - v.cz*mx
			if tan > 0 {
				x += mx / tan * r.ThicknessMM * (tan - inside)
			}
			if x < b.XMM {
				lo = px
			} else {
				hi = px
			}
		}
		px := (lo + hi) / 2
		if px < 20 || px > 1180 {
			continue
		}
		straight, _, _ := s.Project(b.XMM, 0, 0)
		shiftSeen = math.Max(shiftSeen, math.Abs(px-straight))
		w.note(darkAt(img, px-9, 400.5, px+9, 400.5), fmt.Sprintf("wire %d", b.Index))
	}
	w.check(t, "wires through the ruler", 30, 0.1)
	if shiftSeen < 2 {
		t.Errorf("refraction moves wires by %.2f px at most; the test shows nothing", shiftSeen)
	}
}

// Inch and millimetre again, this time read off the picture: the mean spacing
// of the marks found on each edge.
func TestInchAndMillimetreInThePicture(t *testing.T) {
	s := plain(Reed)
	s.Camera.AimYMM = 15
	img, _ := drawn(t, s)
	spacing := func(scale int, dy float64) float64 {
		var n, sk, sx, skk, skx float64
		for _, m := range s.RulerMarks(0, scale) {
			if m.Rank != 0 {
				continue
			}
			px, py, _ := s.Project(m.XMM, m.YMM+dy, m.ZMM)
			if px < 10 || px > float64(s.Width)-10 {
				continue
			}
			px += darkAt(img, px-4, py, px+4, py)
			n++
			sk += m.Value
			sx += px
			skk += m.Value * m.Value
			skx += m.Value * px
		}
		return (n*skx - sk*sx) / (n*skk - sk*sk)
	}
	if got := spacing(0, 5) / spacing(1, -5); math.Abs(got/2.54-1) > 2e-4 {
		t.Errorf("an inch is drawn %.5f cm long", got)
	}
}

// A missing wire leaves a gap, a bent one stands aside.
func TestMissingAndBentWires(t *testing.T) {
	s := edgesOnly(Reed)
	s.Part.DepthMM = 0
	s.Part.Missing = []int{27}
	s.Part.Bends = []Bend{{Index: 35, ByMM: 0.6, AtYMM: 0, LengthMM: 12}}
	img, truth := drawn(t, s)
	bands := s.Bands()
	at := func(x, y float64) float64 {
		px, py, _ := s.Project(x, y, 0)
		return light(img, px, py)
	}
	if w, g := at(bands[26].XMM, 0), at(bands[27].XMM, 0); w < 0.5 || g > 0.05 {
		t.Errorf("a wire is %.3f bright, the missing one's place %.3f", w, g)
	}
	px, py, _ := s.Project(bands[35].XMM+0.6, 0, 0)
	if dev := darkAt(img, px-12, py, px+12, py); math.Abs(dev) > 0.1 {
		t.Errorf("the bent wire is %.2f px from its place", dev)
	}
	if truth.Missing != 1 || truth.Bent != 1 || !bands[27].Missing || !bands[35].Bent {
		t.Errorf("truth has %d missing and %d bent", truth.Missing, truth.Bent)
	}
}

// A highlight runs along the middle of a dark round wire: dark, bright, dark.
func TestHighlightSplitsAWire(t *testing.T) {
	s := edgesOnly(Reed)
	s.Part.FrontRound = 1
	s.Part.Finish = Finish{Colour: RGB{0.05, 0.05, 0.05}, Gloss: 1.5, RoughX: 0.25, RoughY: 0.5, GapAO: 1, Texture: "plain"}
	s.Table.A = RGB{0.6, 0.6, 0.6}
	img, _ := drawn(t, s)
	b := s.Bands()[30]
	at := func(x float64) float64 {
		px, py, _ := s.Project(x, 0, 0)
		return light(img, px, py)
	}
	mid, l, r := at(b.XMM), at(b.XMM-0.37*b.WidthMM), at(b.XMM+0.37*b.WidthMM)
	if mid < 3*l || mid < 3*r {
		t.Errorf("across a wire: %.3f, %.3f, %.3f; want a bright middle", l, mid, r)
	}
}
