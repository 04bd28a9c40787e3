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

// A scale is seen to end where it ends with whole units and what was followed past them has
// the lengths of wires, though the lattice and the edge run on; not where its marks go on.
func TestScaleEndsAmongWires(t *testing.T) {
	row := func(from, marks int, beyond func(i int) (length float64, found bool)) ladder {
		l := ladder{periodPx: 10}
		for n := range 110 {
			g := rung{n: n, along: 10 * float64(n), found: true, length: 28}
			if n < from || n > from+marks {
				g.length, g.found = beyond(n)
			} else if mod(n-30, 10) == 0 {
				g.length = 45
			} else if mod(n-30, 10) == 5 {
				g.length = 35
			}
			l.rungs = append(l.rungs, g)
		}
		return l
	}
	wires := func(i int) (float64, bool) { return 188, i%4 == 0 }
	marks := func(int) (float64, bool) { return 28, true }
	fives := reading{unit: Inch, divisions: 10, phase: 0, lo: 30, hi: 80}
	cut := reading{unit: Inch, divisions: 10, phase: 0, lo: 30, hi: 77}
	for _, c := range []struct {
		name string
		l    ladder
		rd   reading
		want bool
	}{
		{"among wires", row(30, 50, wires), fives, true},
		{"marks go on", row(30, 50, marks), fives, false},
		{"cut within a unit", row(30, 47, wires), cut, false},
	} {
		if got := c.l.stops(c.rd); got != c.want {
			t.Errorf("%s: stops %v, want %v", c.name, got, c.want)
		}
	}
}

// Where blur joins whole units' marks to their figures, fives tell how long those are.
func TestLongestMarkJoinedToItsFigure(t *testing.T) {
	l := ladder{periodPx: 10, maxDepth: 180}
	for n := range 51 {
		g := rung{n: n, found: true, length: 12}
		if n%10 == 0 {
			g.length = 37
		} else if n%10 == 5 {
			g.length = 15
		}
		l.rungs = append(l.rungs, g)
	}
	q := read{ladder: l, readings: []reading{{unit: Inch, divisions: 10, hi: 50}}}
	if v := longest(q); v > 26 {
		t.Errorf("longest %.1f beside fives of 15", v)
	}
	for i, g := range l.rungs {
		if g.n%10 == 0 {
			l.rungs[i].length = 20
		}
	}
	if v := longest(q); v != 20 {
		t.Errorf("longest %.1f, want that of the wholes, 20", v)
	}
}
