package calib

import "testing"

// Truth: rules of six inches and of fifteen centimetres are made, of six and of
// twelve centimetres hardly any (common practice, no source).
func TestWholeLengthTellsInches(t *testing.T) {
	for _, made := range []float64{152.4, 304.8, 150, 300, 600} {
		if v := wholeLikelihood(made); v < -0.1 {
			t.Errorf("%g mm: log likelihood %.2f, want about 0", made, v)
		}
	}
	for _, c := range []struct{ mm, most float64 }{{60, -3}, {120, -1.5}} {
		if v := wholeLikelihood(c.mm); v > c.most {
			t.Errorf("%g mm: log likelihood %.2f, want %.1f or less", c.mm, v, c.most)
		}
	}
}
