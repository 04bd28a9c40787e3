package calib

import (
	"math"
	"testing"
)

// drawnMarks is a ladder of dark marks T px apart and wide px wide on a light face,
// a figure at every tenth, all blurred by a Gaussian of sigma px along the edge.
func drawnMarks(T, wide, sigma float64) (ladder, strip, []float64) {
	const marks, rows, face, ink, short = 60, 60, 190, 30, 20
	l := ladder{periodPx: T, dark: true, base: [2]float64{1, 14}, maxDepth: rows}
	cols := int(T*marks) + 20
	s := strip{cols: cols, rows: rows, step: 1, v: make([]float32, cols*rows)}
	// how much of a stretch of ink about c a place x sees
	seen := func(x, c, half float64) float64 {
		return (math.Erf((x-c+half)/sigma/math.Sqrt2) - math.Erf((x-c-half)/sigma/math.Sqrt2)) / 2
	}
	lengths := make([]float64, marks)
	for i := range marks {
		c := 10 + T*float64(i)
		l.rungs = append(l.rungs, rung{n: i, along: c, found: true})
		lengths[i] = short
		for r := range rows {
			half := wide / 2
			if r >= short {
				if half = 0; i%10 == 0 && r > 24 && r < 40 {
					half = 0.5 * T // a stroke of a figure
				}
			}
			for x := max(0, int(c-T)); half > 0 && x < min(cols, int(c+T)); x++ {
				s.v[r*cols+x] += float32((ink - face) * seen(float64(x), c, half))
			}
		}
	}
	for i := range s.v { // light, as a camera writes it
		s.v[i] = float32(255 * math.Pow(float64(s.v[i]+face)/255, 1/2.2))
	}
	return l, s, lengths
}

// Marks are as wide as they were drawn, however blurred.
func TestMeasureInkWidth(t *testing.T) {
	for _, c := range []struct{ T, wide, sigma float64 }{{10, 2, 0.6}, {10, 2, 1.4}, {10, 0.9, 1}, {24, 2, 1}} {
		l, s, lengths := drawnMarks(c.T, c.wide, c.sigma)
		if got, want := l.measureInkWidth(s, lengths), c.wide/c.T; math.Abs(got/want-1) > 0.15 {
			t.Errorf("marks %g px wide and %g px apart, blur %g px: %.3f of the spacing, want %.3f", c.wide, c.T, c.sigma, got, want)
		}
	}
	l, s, lengths := drawnMarks(4, 1, 0.8)
	if got := l.measureInkWidth(s, lengths); !math.IsNaN(got) {
		t.Errorf("marks 4 px apart: %.3f", got)
	}
}

// forMillimetres is how much likelier marks by tens are those of a centimetre than of an inch.
func forMillimetres(like func(reading) float64) float64 {
	return like(reading{unit: CM, divisions: 10}) - like(reading{unit: Inch, divisions: 10})
}

// Lines a fifth of their spacing wide are millimetres, a tenth tenths of an inch.
func TestInkTellsTenthsFromMillimetres(t *testing.T) {
	for w, want := range map[float64]float64{0.22: 1, 0.09: -1} {
		r := read{ladder: ladder{inkWidth: w}}
		if got := forMillimetres(r.inkLikelihood); got*want < 1.5 {
			t.Errorf("lines %g spacings wide: %.2f for millimetres", w, got)
		}
	}
	if got := (read{ladder: ladder{inkWidth: math.NaN()}}).inkLikelihood(reading{unit: CM, divisions: 10}); got != 0 {
		t.Errorf("of lines that were not seen %g is said", got)
	}
}

// Truth: black marks cover as much of the face as they were drawn wide, however near each
// other and blurred they are.
func TestMeasureInkShare(t *testing.T) {
	for _, c := range []struct{ T, wide, sigma float64 }{{5, 1, 0.6}, {5, 1, 1.4}, {4, 0.4, 1}} {
		l, s, lengths := drawnMarks(c.T, c.wide, c.sigma)
		for i, v := range lengths {
			l.rungs[i].length = v
		}
		rd := reading{unit: CM, divisions: 10, hi: len(l.rungs) - 1}
		const black = 160.0 / 190 // of the face's light, is missing where there is ink
		if got, want := l.measureInkShare(s, rd)/black, c.wide/c.T; !(math.Abs(got/want-1) < 0.1) {
			t.Errorf("marks %g px wide and %g px apart, blur %g px: %.3f of the spacing, want %.3f", c.wide, c.T, c.sigma, got, want)
		}
	}
}

// From afar lines seem wide beside figures that are grey for blur; how much they cover if
// they are black tells more.
func TestInkFromAfar(t *testing.T) {
	for share, want := range map[float64]float64{0.2: 1, 0.06: -1} {
		r := read{ladder: ladder{inkWidth: 0.22, inkShare: share, thin: true}}
		if got := forMillimetres(r.inkLikelihood); got*want < 1 {
			t.Errorf("black lines %g spacings wide: %.2f for millimetres", share, got)
		}
	}
}
