package scene

import (
	"math"
	"testing"
)

// A pinhole straight above: similar triangles, nothing else.
func TestPinholeStraightAbove(t *testing.T) {
	s := plain(Reed)
	f := 36.0 / 36 * 1200
	for _, p := range [][3]float64{{0, 0, 0}, {10, -7, 0}, {-31, 22, 2}, {12, 9, -3}} {
		x, y, ahead := s.Project(p[0], p[1], p[2])
		wantX, wantY := 600+f*p[0]/(150-p[2]), 400-f*p[1]/(150-p[2])
		if !ahead || math.Abs(x-wantX) > 1e-9 || math.Abs(y-wantY) > 1e-9 {
			t.Errorf("%v appears at (%g, %g), want (%g, %g)", p, x, y, wantX, wantY)
		}
	}
}

// The two ways phones state a 35 mm-equivalent focal length: by the frame's
// width, 36 mm, or its diagonal, 43.27 mm (36 × 24 mm).
func TestFocalLengthConventions(t *testing.T) {
	if got := (Camera{F35: 27, Convention: "width"}).FocalPx(4000, 3000); math.Abs(got-3000) > 1e-9 {
		t.Errorf("by width: %g px, want 3000", got)
	}
	if got := (Camera{F35: 27, Convention: "width"}).FocalPx(3000, 4000); math.Abs(got-3000) > 1e-9 {
		t.Errorf("by width, upright: %g px, want 3000", got)
	}
	if got := (Camera{F35: 43.27, Convention: "diagonal"}).FocalPx(4000, 3000); math.Abs(got-5000) > 1e-9 {
		t.Errorf("by diagonal: %g px, want 5000", got)
	}
}

func TestRayIsTheInverseOfProject(t *testing.T) {
	s := plain(Reed)
	s.Camera.TiltDeg, s.Camera.RollDeg, s.Camera.K1 = [2]float64{9, -11}, 37, 0.005
	s.Camera.AimXMM, s.Camera.AimYMM = 12, -5
	v := newView(s.Camera, s.Width, s.Height)
	for _, z := range []float64{-3, 0, 2.5} {
		for x := -40.0; x <= 40; x += 16 {
			for y := -30.0; y <= 30; y += 12 {
				px, py, _ := v.project(x, y, z)
				gx, gy := v.at2(px, py, z)
				if math.Hypot(gx-x, gy-y) > 2e-7 {
					t.Fatalf("(%g, %g, %g) comes back as (%g, %g)", x, y, z, gx, gy)
				}
			}
		}
	}
}

// at2 is where the ray through a point of the photo meets height z.
func (v *view) at2(px, py, z float64) (x, y float64) {
	mx, my := v.ray(px, py)
	return v.at(mx, my, z)
}

// Distortion by its definition: at the corner, r' = r (1 + k1).
func TestDistortionAtTheCorner(t *testing.T) {
	s := plain(Reed)
	x, y, _ := s.Project(75, -50, 0) // seen at the corner (1200, 800) without distortion
	if math.Hypot(x-1200, y-800) > 1e-9 {
		t.Fatalf("the corner is at (%g, %g)", x, y)
	}
	s.Camera.K1 = -0.004
	x, y, _ = s.Project(75, -50, 0)
	r := math.Hypot(600, 400)
	if got := math.Hypot(x-600, y-400); math.Abs(got-r*(1-0.004)) > 1e-9 {
		t.Errorf("radius %g, want %g", got, r*(1-0.004))
	}
}

// The blocks' parabola against the exact ray.
func TestAimFollowsTheExactRay(t *testing.T) {
	s := plain(Reed)
	s.Camera.TiltDeg, s.Camera.RollDeg, s.Camera.K1 = [2]float64{14, -14}, 20, 0.005
	d, err := prepare(s)
	if err != nil {
		t.Fatal(err)
	}
	var b block
	b.n = blockPx
	for _, at := range [][2]int{{0, 0}, {1184, 0}, {592, 400}, {0, 799}, {1184, 799}} {
		b.ix, b.iy = at[0], at[1]
		d.aim(&b)
		for i := range b.n {
			px, py, _ := d.v.project(b.x[i], b.y[i], 0)
			if e := math.Hypot(px-float64(b.ix+i)-0.5, py-float64(b.iy)-0.5); e > 2e-5 {
				t.Fatalf("pixel %d of the block at %v aims %g px beside its centre", i, at, e)
			}
		}
	}
}

// A ruler of thickness t under a camera at height D over the wires shows t/(D-t)
// more dents per inch than there are: central projection from the camera onto
// the wires' plane enlarges its marks by D/(D-t), whatever the tilt. The marks
// are those Truth gives, so this holds Truth, its rounding included.
func TestParallaxOfTheRuler(t *testing.T) {
	for _, c := range []struct {
		thick, dist float64
		tilt        [2]float64
	}{{1, 300, [2]float64{0, 0}}, {3, 200, [2]float64{0, 0}}, {2, 150, [2]float64{11, -8}}, {0.4, 400, [2]float64{-14, 3}}} {
		s := plain(Reed)
		s.Rulers[0].ThicknessMM = c.thick
		s.Camera.DistanceMM, s.Camera.TiltDeg, s.Camera.RollDeg = c.dist, c.tilt, 33
		truth, err := TruthOf(s)
		if err != nil {
			t.Fatal(err)
		}
		v := newView(s.Camera, s.Width, s.Height)
		m := truth.Marks[0]
		ax, ay := v.at2(m.First.At[0], m.First.At[1], 0)
		bx, by := v.at2(m.Last.At[0], m.Last.At[1], 0)
		dents := math.Hypot(bx-ax, by-ay) / s.Part.PitchMM()
		perInch := dents / (m.Last.Value - m.First.Value)
		want := *truth.DentsPerInch * (1 + c.thick/(truth.CameraHeightMM-c.thick))
		// Marks are rounded to 0.01 px, of some hundreds.
		if math.Abs(perInch/want-1) > 5e-5 {
			t.Errorf("%+v: %.5f dents per inch of the ruler, want %.5f", c, perInch, want)
		}
		if c.tilt == [2]float64{} && math.Abs(truth.CameraHeightMM-c.dist) > 1e-9 {
			t.Errorf("height %g without tilt, want %g", truth.CameraHeightMM, c.dist)
		}
	}
}

// 25.4 mm = 1 in exactly (international yard and pound agreement, 1959), on
// the two scales of one ruler, as Truth gives them.
func TestInchAndMillimetreOnOneRuler(t *testing.T) {
	s := plain(Reed)
	s.Camera.TiltDeg, s.Camera.K1 = [2]float64{6, 7}, 0.004
	truth, err := TruthOf(s)
	if err != nil {
		t.Fatal(err)
	}
	v := newView(s.Camera, s.Width, s.Height)
	length := func(m ScaleMarks) float64 {
		z := s.Rulers[0].ThicknessMM
		ax, ay := v.at2(m.First.At[0], m.First.At[1], z)
		bx, by := v.at2(m.Last.At[0], m.Last.At[1], z)
		return math.Hypot(bx-ax, by-ay) / (m.Last.Value - m.First.Value)
	}
	if len(truth.Marks) != 2 {
		t.Fatalf("%d scales in view, want 2", len(truth.Marks))
	}
	in, cm := length(truth.Marks[0]), length(truth.Marks[1])
	if math.Abs(in/cm-2.54) > 5e-4 {
		t.Errorf("an inch is %.5f cm", in/cm)
	}
}

// A tape bent to a circle: the chord of an arc s of radius R is 2R sin(s/2R),
// and lengths at a distance from the middle line scale by 1 ± d/R.
func TestBentTape(t *testing.T) {
	r := plain(Reed).Rulers[0]
	r.CurvePerMM = 1 / 800.0
	u := bareRule(r)
	ax, ay := u.place(20, r.WidthMM/2)
	bx, by := u.place(140, r.WidthMM/2)
	if got, want := math.Hypot(bx-ax, by-ay), 2*800*math.Sin(120.0/1600); math.Abs(got-want) > 1e-9 {
		t.Errorf("chord %g, want %g", got, want)
	}
	ax, ay = u.place(20, 0)
	bx, by = u.place(140, 0)
	if got, want := math.Hypot(bx-ax, by-ay), 2*(800+r.WidthMM/2)*math.Sin(120.0/1600); math.Abs(got-want) > 1e-9 {
		t.Errorf("outer chord %g, want %g", got, want)
	}
	for _, p := range [][2]float64{{0, 0}, {33, 25}, {160, -4}} {
		x, y := u.place(p[0], p[1])
		if s, q := u.local(x, y); math.Hypot(s-p[0], q-p[1]) > 1e-9 {
			t.Errorf("%v comes back as (%g, %g)", p, s, q)
		}
	}
}

// The ladder's ranks: halves of an inch, and fives of a centimetre.
func TestRank(t *testing.T) {
	for j, want := range []int{0, 4, 3, 4, 2, 4, 3, 4, 1, 4, 3, 4, 2, 4, 3, 4, 0} {
		if got := rank(j, 16); got != want {
			t.Errorf("sixteenth %d has rank %d, want %d", j, got, want)
		}
	}
	for j, want := range []int{0, 2, 2, 2, 2, 1, 2, 2, 2, 2, 0} {
		if got := rank(j, 10); got != want {
			t.Errorf("tenth %d has rank %d, want %d", j, got, want)
		}
	}
}

// The least-squares pitch of evenly spaced wires is their pitch, and scatter
// moves it no further than the Cramér–Rao bound s·√(12/(M(M²-1))) lets expect.
func TestVisibleFit(t *testing.T) {
	s := plain(Reed)
	truth, err := TruthOf(s)
	if err != nil {
		t.Fatal(err)
	}
	if truth.VisibleFit == nil || math.Abs(*truth.VisibleFit-10) > 1e-9 {
		t.Fatalf("even wires fit to %v", truth.VisibleFit)
	}
	s.Part.Scatter = 0.02
	var sum float64
	const n = 200
	for i := range uint64(n) {
		s.Seed = 100 + i
		truth, err = TruthOf(s)
		if err != nil {
			t.Fatal(err)
		}
		e := *truth.VisibleFit/10 - 1
		sum += e * e
	}
	m := float64(truth.VisibleDents)
	bound := 0.02 * math.Sqrt(12/(m*(m*m-1)))
	if got := math.Sqrt(sum / n); got < 0.85*bound || got > 1.15*bound {
		t.Errorf("scatter of the fitted pitch is %.2e for %g wires, the bound is %.2e", got, m, bound)
	}
}
