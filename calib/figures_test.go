package calib

import (
	"math"
	"testing"
)

// printedTens is a row of dark marks that go by tens, T px apart on a light face, with
// figures tall px high over every tenth, as a lens blurs them.
func printedTens(T, tall float64) (ladder, strip, reading) {
	const units, face, ink, dark, sigma = 8, 190, 30, 0.8, 0.8
	n := 10*units + 1
	rd := reading{unit: CM, divisions: 10, lo: 0, hi: n - 1}
	short, long := 2*T, 4*T
	cols, rows := int(T*float64(n))+20, int(12*T)
	l := ladder{periodPx: T, dark: true, base: [2]float64{1, 1.5 * T}, maxDepth: float64(rows)}
	s := strip{cols: cols, rows: rows, step: 1, v: make([]float32, cols*rows)}
	sees := func(x, lo, hi float64) float64 {
		return (math.Erf((hi-x)/sigma/math.Sqrt2) - math.Erf((lo-x)/sigma/math.Sqrt2)) / 2
	}
	for i := range s.v {
		s.v[i] = face
	}
	print := func(x0, x1, y0, y1 float64) {
		for r := range rows {
			for c := max(0, int(x0)-4); c < min(cols, int(x1)+5); c++ {
				s.v[r*cols+c] -= float32(dark * (face - ink) * sees(float64(c), x0, x1) * sees(float64(r), y0, y1))
			}
		}
	}
	for i := range n {
		at, length := 10+T*float64(i), short
		if i%10 == 0 {
			length = long
			for _, dx := range []float64{-0.3, 0.3} { // two strokes of a figure
				print(at+dx*tall-0.6, at+dx*tall+0.6, long+T, long+T+tall)
			}
		}
		print(at-0.4, at+0.4, 0, length)
		l.rungs = append(l.rungs, rung{n: i, along: at, found: true, length: length})
	}
	return l, s, rd
}

// Truth: figures are as tall as they were drawn, and none where there are none.
func TestMeasureFigures(t *testing.T) {
	for _, c := range []struct{ T, tall float64 }{{5, 9}, {5, 20}, {9, 18}} {
		l, s, rd := printedTens(c.T, c.tall)
		if got, want := l.measureFigures(s, rd), c.tall/c.T; !(math.Abs(got/want-1) < 0.15) {
			t.Errorf("figures %g px tall, marks %g px apart: %.2f spacings, want %.2f", c.tall, c.T, got, want)
		}
	}
	l, s, rd := printedTens(6, 0)
	if got := l.measureFigures(s, rd); !math.IsNaN(got) {
		t.Errorf("no figures: %.2f spacings", got)
	}
}

// Truth: figures are 2 to 6 mm tall (common practice).
func TestFiguresTellTenthsFromMillimetres(t *testing.T) {
	for tall, want := range map[float64]float64{4: 1, 1.4: -1} {
		r := read{ladder: ladder{figure: tall}}
		if got := forMillimetres(r.figureLikelihood); got*want < 1.5 {
			t.Errorf("figures %g spacings tall: %.2f for millimetres", tall, got)
		}
	}
	if got := (read{ladder: ladder{figure: math.NaN()}}).figureLikelihood(reading{unit: CM, divisions: 10}); got != 0 {
		t.Errorf("of figures that were not seen %g is said", got)
	}
}
