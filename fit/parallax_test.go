package fit_test

import (
	"math"
	"testing"

	"dentcount/fit"
	"dentcount/scene"
)

// onRuler is where each good band stands on the printed scale, in inches, by the
// renderer's own geometry: the picture of the band's line is cut with the
// picture of the ruler's edge, and read between the marks' pictures there.
func onRuler(t *testing.T, s scene.Spec) (index, inch []float64) {
	t.Helper()
	marks := s.RulerMarks(0, 0)
	sc := s.Rulers[0].Scales[0]
	unit := 1.0
	if sc.Unit == "cm" {
		unit = 1 / 2.54
	}
	type at struct{ x, y, in float64 }
	var edge []at
	for _, m := range marks {
		x, y, ok := s.Project(m.XMM, m.YMM, m.ZMM)
		if ok && x > 0 && y > 0 && x < float64(s.Width) && y < float64(s.Height) {
			edge = append(edge, at{x, y, m.Value * unit})
		}
	}
	if len(edge) < 10 {
		t.Fatalf("%d marks in view", len(edge))
	}
	for _, b := range s.Bands() {
		if b.Missing || b.Bent {
			continue
		}
		// Two points of the band, at its front, z = 0.
		x0, y0, ok0 := s.Project(b.XMM, marks[0].YMM-40, 0)
		x1, y1, ok1 := s.Project(b.XMM, marks[0].YMM+40, 0)
		if !ok0 || !ok1 {
			continue
		}
		side := func(p at) float64 { return (x1-x0)*(p.y-y0) - (y1-y0)*(p.x-x0) }
		for i := 1; i < len(edge); i++ {
			a, c := side(edge[i-1]), side(edge[i])
			if a == 0 || a*c < 0 {
				f := a / (a - c)
				index, inch = append(index, float64(b.Index)), append(inch, edge[i-1].in+f*(edge[i].in-edge[i-1].in))
				break
			}
		}
	}
	return index, inch
}

func slope(x, y []float64) float64 {
	n := float64(len(x))
	var sx, sy, sxx, sxy float64
	for i := range x {
		sx, sy, sxx, sxy = sx+x[i], sy+y[i], sxx+x[i]*x[i], sxy+x[i]*y[i]
	}
	return (n*sxy - sx*sy) / (n*sxx - sx*sx)
}

// The renderer knows nothing of the formula: it casts rays through a pinhole. A
// count on its ruler is high by t/(D-t), D being the camera's height square to
// the wires however it leans, and the correction that is told t and D takes
// just that off.
func TestParallaxAgainstRenderer(t *testing.T) {
	tiny := scene.Range{1e-9, 1e-9}
	n := 0
	for seed := uint64(1); seed <= 40 && n < 12; seed++ {
		s := scene.Random(seed, scene.Ranges{
			AdverseShare: -1, HeddleShare: -1, K1: tiny, SkewDeg: tiny, RulerScaleError: tiny, MarkScatterMM: tiny,
			Scatter: scene.Range{1e-7, 1e-7}, MissingShare: -1, BentShare: -1, RulerLooks: []string{"white", "wood", "steel"}, DistanceMM: scene.Range{130, 400},
		})
		truth, err := scene.TruthOf(s)
		if err != nil || s.Expect != scene.ExpectAnswer {
			continue
		}
		n++
		index, inch := onRuler(t, s)
		if len(index) < 8 {
			t.Fatalf("seed %d: %d bands cross the ruler", seed, len(index))
		}
		read := math.Abs(1 / slope(index, inch))
		thick, height := truth.RulerThicknessMM, truth.CameraHeightMM
		want := 1 + thick/(height-thick)
		// Between two marks the picture is not quite even where the camera leans.
		if got := read / *truth.DentsPerInch; math.Abs(got-want) > 3e-5 {
			t.Errorf("seed %d: a count on the ruler is %.6f of the true one, t/(D-t) says %.6f (t %.2f, D %.0f, tilt %v)", seed, got, want, thick, height, s.Camera.TiltDeg)
		}
		if got := read * fit.Undo(thick, height-thick) / *truth.DentsPerInch; math.Abs(got-1) > 3e-5 {
			t.Errorf("seed %d: corrected to %.6f of the true count", seed, got)
		}
	}
	if n < 12 {
		t.Fatalf("only %d scenes could be looked at", n)
	}
}
