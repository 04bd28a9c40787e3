package measure

import (
	"context"
	"math"
	"testing"

	"dentcount/scene"
)

// leaning is a reed of 10 under a ruler so thick, its edge along the middle of the
// wires; the camera leans so that it stands beyond the marked edge (negative) or
// behind the ruler.
func leaning(thicknessMM, tiltDeg float64) scene.Spec {
	s := longReed(true)
	s.Part.YLowMM, s.Part.YHighMM = -45, 45
	r := &s.Rulers[0]
	r.ThicknessMM, r.Look, r.Shadow = thicknessMM, "white", 0.5
	s.Camera.AimYMM, s.Camera.TiltDeg = 0, [2]float64{tiltDeg, 1}
	return s
}

func readLeaning(t *testing.T, thicknessMM, tiltDeg float64) (r Reading, heightMM float64) {
	t.Helper()
	s := leaning(thicknessMM, tiltDeg)
	p, s := shotOf(t, s, "side.jpg", 0, tiltDeg, 1, 1)
	r, err := Read(context.Background(), p, Options{})
	if err != nil || r.no {
		t.Fatal(err, r.base.Reason)
	}
	return r, s.Camera.DistanceMM * math.Cos(tiltDeg*math.Pi/180)
}

// A thick ruler and a thin one: seen from beyond the marked edge the side face
// tells which, and with it the pitch. Truth: the renderer's geometry.
func TestSideFaceTellsThickness(t *testing.T) {
	for _, thick := range []float64{0.3, 1.2, 2.6} {
		r, h := readLeaning(t, thick, -10)
		if !r.SeesSideFace() {
			t.Errorf("%.1f mm: the side face is not seen", thick)
			continue
		}
		with, without := r.Answer(Options{}).Pitch, r.Answer(Options{WithoutSideFace: true}).Pitch
		off := (with.DentsPerInch/10 - 1) * h // mm of thickness
		t.Logf("%.1f mm: off by %.2f mm, stated %.2f mm, without the side face by %.2f mm", thick, off, with.U/10*h, (without.DentsPerInch/10-1)*h)
		if math.Abs(off) > 0.6 || math.Abs(off) > 2.5*with.U/10*h || with.U > 0.7*without.U {
			t.Errorf("%.1f mm: off by %.2f mm, stated %.2f mm and without the side face %.2f mm", thick, off, with.U/10*h, without.U/10*h)
		}
		// What was told stands where it looks like it; what is left to the side face is the
		// camera's height, unless that was told, too.
		told := Options{RulerThicknessMM: thick}
		blind := told
		blind.WithoutSideFace = true
		if a, b := r.Answer(told).Pitch, r.Answer(blind).Pitch; math.Abs(a.DentsPerInch-b.DentsPerInch) > 0.1*b.U || math.Abs(a.U/b.U-1) > 0.01 {
			t.Errorf("%.1f mm were told, and the side face still changes the pitch: %v, %v", thick, a, b)
		}
		told.CameraDistanceMM, blind.CameraDistanceMM = h, h
		if a, b := r.Answer(told).Pitch, r.Answer(blind).Pitch; a.DentsPerInch != b.DentsPerInch || a.U != b.U {
			t.Errorf("%.1f mm: all was told, and the side face still changes the pitch: %v, %v", thick, a, b)
		}
		// One that looks otherwise by far may be another ruler's.
		told, blind = Options{RulerThicknessMM: 2.8 - thick}, Options{RulerThicknessMM: 2.8 - thick, WithoutSideFace: true}
		a, b := r.Answer(told).Pitch, r.Answer(blind).Pitch
		if far := math.Abs(2.8-2*thick) > 1.5; far != (a.U > 2*b.U) || far && (a.Interval95.Min > 10*(1+0.6/h) || a.Interval95.Max < 10*(1-0.6/h)) {
			t.Errorf("%.1f mm, %.1f told: %v, without the side face %v", thick, 2.8-thick, a, b)
		}
	}
}

// From behind the ruler its face hides the side: nothing is told, and the answer
// is that of the prior.
func TestSideFaceHidden(t *testing.T) {
	r, _ := readLeaning(t, 2.6, 10)
	if r.SeesSideFace() {
		t.Error("a side face is seen through the ruler")
	}
	a, b := r.Answer(Options{}).Pitch, r.Answer(Options{WithoutSideFace: true}).Pitch
	if a.DentsPerInch != b.DentsPerInch || a.U != b.U {
		t.Errorf("hidden it changes the pitch: %v, %v", a, b)
	}
}
