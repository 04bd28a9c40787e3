package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/calib"
	"dentcount/photo"
)

// pinhole is a camera over the plane z = 0, in inches, its axis leaning by two
// angles; the picture's centre is (0, 0) of what it gives.
type pinhole struct {
	at      vec3
	x, y, z vec3 // the picture's axes and the optical one
	focalPx float64
}

func newPinhole(height, leanX, leanY, roll, focalPx float64) pinhole {
	c := pinhole{at: vec3{1.3, -0.7, height}, focalPx: focalPx}
	c.z = vec3{math.Tan(leanX), math.Tan(leanY), -1}
	c.z = c.z.times(1 / c.z.norm())
	c.x = vec3{math.Cos(roll), math.Sin(roll), 0}
	c.x = c.x.plus(c.z.times(-c.x.dot(c.z)))
	c.x = c.x.times(1 / c.x.norm())
	c.y = c.z.cross(c.x)
	return c
}

func (c pinhole) px(x, y float64) (u, v float64) {
	d := vec3{x, y, 0}.plus(c.at.times(-1))
	return c.focalPx * d.dot(c.x) / d.dot(c.z), c.focalPx * d.dot(c.y) / d.dot(c.z)
}

// A camera leaning both ways over a plane with an edge that runs askew to the
// wires: the picture of the edge's inches and of two wires gives back the angle,
// the camera's height square to the plane and the point under it, all exact.
func TestAttitudeIsExact(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 4))
	for n := range 60 {
		height := 6 + 20*rng.Float64()
		c := newPinhole(height, 0.5*rng.Float64()-0.25, 0.5*rng.Float64()-0.25, 7*rng.Float64(), 1500+1500*rng.Float64())
		skew := 0.16*rng.Float64() - 0.08
		sin, cos := math.Sincos(skew)
		// The edge runs through (1, 0.5) square to the wires but for skew; the wires
		// run along y. Every third ruler's inches run the other way.
		dir := 1.0
		if n%3 == 0 {
			dir = -1
		}
		edge := func(in float64) (u, v float64) { return c.px(1+dir*in*cos, 0.5+dir*in*sin) }
		p := photo.Plane{W: 2001, H: 1501} // centre at (1000, 750)
		x0, y0 := edge(0)
		x1, y1 := edge(1)
		f := calib.Frame{X: x0 + 1000, Y: y0 + 750, Half: 500}
		l := math.Hypot(x1-x0, y1-y0)
		f.TX, f.TY = dir*(x1-x0)/l, dir*(y1-y0)/l
		f.NX, f.NY = -f.TY, f.TX
		// In = B·t/(1 + C·t) through two points besides nought.
		a1, _ := f.Locate(x1+1000, y1+750)
		x2, y2 := edge(-3)
		a2, _ := f.Locate(x2+1000, y2+750)
		t1, t2 := a1/f.Half, a2/f.Half
		s := calib.Scale{Frame: f, Half: f.Half, Lo: math.Min(a2, a1), Hi: math.Max(a2, a1)}
		// 1·(1 + C·t1) = B·t1 and -3·(1 + C·t2) = B·t2
		s.C = (t2/t1 + 3) / (-3*t2 - t2)
		s.B = (1 + s.C*t1) / t1
		leanAt := func(in float64) (along, lean float64) {
			x, y := 1+dir*in*cos, 0.5+dir*in*sin
			u0, v0 := c.px(x, y-0.4)
			u1, v1 := c.px(x, y+0.4)
			a0, d0 := f.Locate(u0+1000, v0+750)
			a1, d1 := f.Locate(u1+1000, v1+750)
			along, _ = f.Locate(func() (float64, float64) { u, v := c.px(x, y); return u + 1000, v + 750 }())
			return along, (a1 - a0) / (d1 - d0)
		}
		// As A + B·along/1000 goes through two wires it is not the lean of a third
		// exactly; the attitude asks for those at the scale's ends alone.
		aLo, lLo := leanAt(1)
		aHi, lHi := leanAt(-3)
		var w lean
		w.B = (lHi - lLo) / (aHi - aLo) * 1000
		w.A = lLo - w.B*aLo/1000
		// a mark at the middle, square to the edge
		mid := s.In((s.Lo + s.Hi) / 2)
		mx, my := 1+dir*mid*cos, 0.5+dir*mid*sin
		u0, v0 := c.px(mx+0.1*sin, my-0.1*cos)
		u1, v1 := c.px(mx-0.1*sin, my+0.1*cos)
		m0, d0 := f.Locate(u0+1000, v0+750)
		m1, d1 := f.Locate(u1+1000, v1+750)
		s.Shear[0] = (m1 - m0) / (d1 - d0)
		got := attitudeOf(p, s, w, c.focalPx)
		if math.Abs(got.offSquare) > 1e-6 {
			t.Errorf("%d: marks that are square to the edge stand off by %.6f", n, got.offSquare)
		}
		// Through another lens they would not: by what both leans make together.
		along, across := c.z.dot(vec3{cos, sin, 0}), c.z.dot(vec3{-sin, cos, 0})
		if off := attitudeOf(p, s, w, 1.1*c.focalPx).offSquare; math.Abs(along*across) > 0.01 &&
			math.Abs(math.Abs(off)/math.Abs(0.21*along*across)-1) > 0.25 {
			t.Errorf("%d: through a lens of 1.1 times the focal length they stand off by %.5f, leans of %.3f and %.3f", n, off, along, across)
		}
		if math.Abs(math.Abs(got.skew)-math.Abs(skew)) > 1e-6 {
			t.Errorf("%d: skew %.6f, want ±%.6f", n, got.skew, skew)
		}
		if math.Abs(got.heightIn/height-1) > 1e-6 {
			t.Errorf("%d: height %.5f in, want %.5f", n, got.heightIn, height)
		}
		// a point just below the edge's middle
		above, below := vec3{mx, my, 0}.plus(c.at.times(-1)), vec3{mx, my, -1e-4}.plus(c.at.times(-1))
		du := c.focalPx * (below.dot(c.x)/below.dot(c.z) - above.dot(c.x)/above.dot(c.z))
		dv := c.focalPx * (below.dot(c.y)/below.dot(c.z) - above.dot(c.y)/above.dot(c.z))
		if want := -(du*f.NX + dv*f.NY) / 1e-4; math.Abs(got.downPxPerIn-want) > 0.02 {
			t.Errorf("%d: an inch below the edge is seen %.3f px outside, want %.3f", n, got.downPxPerIn, want)
		}
		// the point under the camera, along the edge
		if want := dir * ((1.3-1)*cos + (-0.7-0.5)*sin); math.Abs(got.footIn-want) > 1e-5 {
			t.Errorf("%d: foot at %.5f in, want %.5f", n, got.footIn, want)
		}
	}
}

// A tape bent to a circle, seen from straight above: the edge turns by its length
// over the radius, and a row crosses it at angles of which the mean of one over
// the cosine is worked out by hand.
func TestBendAndSlant(t *testing.T) {
	const ppi, radiusIn = 200.0, 80.0
	p := photo.Plane{W: 3001, H: 2001}
	for _, sign := range []float64{1, -1} {
		// A parabola of the circle's curvature, 10 inches long.
		f := calib.Frame{X: 1500, Y: 1000, TX: 1, NY: 1, Half: 1000}
		f.Bow[2] = sign * f.Half * f.Half / (2 * radiusIn * ppi)
		s := calib.Scale{Frame: f, Half: 1000, B: 1000 / ppi, Lo: -1000, Hi: 1000}
		skew := 0.03
		a := attitudeOf(p, s, lean{A: math.Tan(skew)}, 2500)
		if math.Abs(a.skew-skew) > 1e-6 {
			t.Fatalf("skew %.6f, want %.6f", a.skew, skew)
		}
		if got, plain := a.bend(s, -1000, 1000); math.Abs(got*radiusIn*sign-1) > 0.01 || !plain {
			t.Errorf("bend %.4f of the true one, plain: %v", got*radiusIn*sign, plain)
		}
		// E[1 + φ²/2] with φ = skew ± turn: under the weights 1 - x² of a straight
		// line x² is a fifth on average, and the ends turn by 5 in over 80 in.
		end := 5 / radiusIn
		want := 1 + (skew*skew+end*end/5)/2
		if got := a.slant(s, -1000, 1000); math.Abs(got-want) > 2e-5 {
			t.Errorf("slant %.6f, want %.6f", got, want)
		}
	}
	straight := calib.Scale{Frame: calib.Frame{X: 1500, Y: 1000, TX: 1, NY: 1, Half: 1000}, Half: 1000, B: 5, Lo: -1000, Hi: 1000}
	straight.Frame.Bow[2] = 0.4 // px: traced no better
	if got, _ := attitudeOf(p, straight, lean{}, 2500).bend(straight, -1000, 1000); got != 0 {
		t.Errorf("a straight edge bends by %.5f per inch", got)
	}
	// Four inches of a ruler whose side face is 3 px wide may be traced from the one of its
	// lines to the other, and are bent no more than that.
	side := calib.Scale{Frame: straight.Frame, Half: 400, B: 2, Lo: -400, Hi: 400}
	side.Frame.Half = 400
	side.Frame.Bow[2] = 3
	if got, plain := attitudeOf(p, side, lean{}, 2500).bend(side, -400, 400); got == 0 || plain {
		t.Errorf("an edge that sags by 3 px bends by %.5f per inch, plain: %v", got, plain)
	}
	// No tape bends as tightly as 24 inches, but over 2 inches an edge beside glare was
	// traced so.
	askew := calib.Scale{Frame: straight.Frame, Half: 200, B: 1, Lo: -200, Hi: 200}
	askew.Frame.Half = 200
	askew.Frame.Bow[2] = 200 * 200 / (2 * 24 * ppi)
	if got, _ := attitudeOf(p, askew, lean{}, 2500).bend(askew, -200, 200); got != 0 {
		t.Errorf("an edge traced askew bends by %.5f per inch", got)
	}
}

// Bands of any lean are found at their lean, and none is drawn to nought, where
// every row is met on its own columns.
func TestLeanBetweenColumns(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, want := range []float64{-0.05, -0.031, -0.012, 0.018, 0.027, 0.043} {
		s := strip{lo: 0, d0: -31, step: 1, cols: 900, rows: 28}
		s.v = make([]float32, s.cols*s.rows)
		for r := range s.rows {
			for c := range s.cols {
				// thin dark lines 9 px apart, each with two sharp edges
				x := math.Mod(float64(c)-want*s.depth(r)+900, 9) - 4.5
				v := 120 - 60/(1+math.Exp(3*(math.Abs(x)-1.2)))
				s.v[r*s.cols+c] = float32(v + 6*rng.NormFloat64())
			}
		}
		if l, _ := findLean(s, 40); math.Abs(l.at(450)-want) > 0.002 {
			t.Errorf("lean %.4f, want %.4f", l.at(450), want)
		}
	}
}
