package calib

import (
	"math/rand/v2"
	"testing"

	"dentcount/photo"
)

// Truth: rules of six inches and of fifteen centimetres are made, of six and of
// twelve centimetres hardly any (common practice, no source).
func TestWholeLengthTellsInches(t *testing.T) {
	for _, made := range []float64{152.4, 304.8, 150, 300, 600} {
		if v := wholeLikelihood(made, shortestMM); v < -0.1 {
			t.Errorf("%g mm: log likelihood %.2f, want about 0", made, v)
		}
	}
	for _, c := range []struct{ mm, most float64 }{{60, -3}, {120, -1.5}} {
		if v := wholeLikelihood(c.mm, shortestMM); v > c.most {
			t.Errorf("%g mm: log likelihood %.2f, want %.1f or less", c.mm, v, c.most)
		}
	}
}

// Truth: on a rule of 150 mm five inches are marked, and none of 50 mm is made.
func TestFiveInchesAreWhole(t *testing.T) {
	l := rulerLadder(tenths(CM, 10, 0), []float64{3, 4, 6}, 5, 152.4, 0.1, 0, 0, rand.New(rand.NewPCG(17, 2)))
	l.frame = Frame{X: 200, Y: 200, TX: 1, NY: 1, Half: 400, Lo: -20, Hi: 330}
	q := read{from: candidate{frame: l.frame}, ladder: l}
	around := surroundings{work: level{Plane: photo.Plane{Pix: make([]byte, 900*500), W: 900, H: 500}, k: 1}}
	in, cm := reading{unit: Inch, divisions: 10, hi: 50}, reading{unit: CM, divisions: 10, hi: 50}
	if v, w := around.whole(q, in), around.whole(q, cm); v < -0.2 || w > -3 {
		t.Errorf("fifty marks seen whole: %.2f as tenths, %.2f as millimetres", v, w)
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
