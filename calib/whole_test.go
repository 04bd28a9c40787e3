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

// Of a width as rulers have, with marks a quarter as long, the width tells; of one that
// no ruler has, the marks' lengths do, and sooner through a transparent ruler.
func TestWrongWidthLeavesTheLengths(t *testing.T) {
	const inWide, inOdd, lengthsBad = 1.0, 2.8, -8.0
	if a, b := widthLikelihood(inWide, longPart, lengthsBad, false), widthLikelihood(inWide, longPart, 0, false); b-a > 0.1 {
		t.Errorf("a usual width: %.2f with odd lengths, %.2f with usual ones", a, b)
	}
	if a, b := widthLikelihood(inOdd, longPart, lengthsBad, false), widthLikelihood(inOdd, longPart, 0, false); b-a < 2 {
		t.Errorf("an odd width: %.2f with odd lengths, %.2f with usual ones", a, b)
	}
	if a, b := widthLikelihood(inOdd, longPart, 0, false), widthLikelihood(inOdd, longPart, 0, true); b <= a {
		t.Errorf("an odd width: %.2f, read through %.2f", a, b)
	}
}
