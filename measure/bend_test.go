package measure

import (
	"context"
	"math"
	"strings"
	"testing"
)

// TestSoftTapeThatBends lays a tape that bends in its plane beside a reed of 8
// inches, its marked edge once inside and once outside of the bend. A bent strip
// keeps the length of its middle line, so that at half its width, 10 mm, from
// there its marks stand closer or wider by 10 mm over the radius: 0.33 and 0.4 %.
func TestSoftTapeThatBends(t *testing.T) {
	for _, perMM := range []float64{1 / 3000.0, -1 / 2500.0} {
		s := longReed(true)
		s.Part.X0MM, s.Part.Bands = -40*2.54, 81
		s.Rulers[0].CurvePerMM = perMM
		s.Rulers[0].YMM = -32
		s.Camera.DistanceMM = 230
		p, s := shotOf(t, s, "bend.jpg", 0, 1, -0.5, 1)
		above := 0.3
		opt := LengthOptions{What: SleyWidth, MarksAboveMM: &above}
		r, err := Length(context.Background(), p, opt)
		if err != nil {
			t.Fatal(err)
		}
		if r.Length == nil || math.Abs(r.Length.In-8) > 0.02 {
			t.Errorf("%g per mm, found: %s %s %+v", perMM, r.Status, r.Reason, r.Length)
		}
		// two wires' middles at half their height, set by hand
		x1, y1, _ := s.Project(-40*2.54, 50, 0)
		x2, y2, _ := s.Project(40*2.54, 50, 0)
		opt.Ends = &[2]Point{{x1, y1}, {x2, y2}}
		r, err = Length(context.Background(), p, opt)
		if err != nil {
			t.Fatal(err)
		}
		if r.Length == nil || math.Abs(r.Length.In-8) > math.Max(0.03, 2.5*r.Length.U) {
			t.Errorf("%g per mm, by hand: %s %s %+v", perMM, r.Status, r.Reason, r.Length)
		}
		noted := false
		for _, b := range r.Budget {
			noted = noted || strings.Contains(b.Source, "bend of the tape")
		}
		if !noted {
			t.Errorf("%g per mm: nothing of the bend in the budget: %+v", perMM, r.Budget)
		}
		t.Logf("%g: %+v", perMM, r.Length)
	}
}
