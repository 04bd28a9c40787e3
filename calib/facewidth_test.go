package calib

import (
	"math"
	"testing"
)

// drawnFace is a strip as sampleStrip makes it: a face of one tone, faceDeep px
// deep, marks 10 px apart and 8 to 20 px long on it, a row of figures behind them,
// and wires on a dark ground beyond it.
func drawnFace(faceDeep, rows int) strip {
	const cols, face, ink, ground, wire = 900, 200, 40, 60, 140
	s := strip{cols: cols, rows: rows, step: 1, v: make([]float32, cols*rows)}
	for d := range rows {
		for x := range cols {
			v := float32(face)
			long := 8
			switch {
			case x%100 < 2:
				long = 20
			case x%50 < 2:
				long = 14
			}
			switch {
			case d >= faceDeep && x%12 < 5:
				v = wire
			case d >= faceDeep:
				v = ground
			case x%10 < 2 && d < long, d >= 24 && d < 38 && x%100 < 30 && (x/4+d/5)%2 == 0:
				v = ink
			}
			s.v[d*cols+x] = v
		}
	}
	return s
}

// A face ends where its tone does, whatever is printed on it.
func TestFaceEnd(t *testing.T) {
	for _, deep := range []int{55, 90} {
		got, seen := drawnFace(deep, 130).faceEnd(0, 300, 20, 10)
		if !seen || math.Abs(got-float64(deep)) > 2 {
			t.Errorf("a face %d px deep: %.1f px, seen %v", deep, got, seen)
		}
	}
	if got, seen := drawnFace(200, 130).faceEnd(0, 300, 20, 10); seen {
		t.Errorf("the face goes on past the picture, and ends at %.1f px", got)
	}
}

// Of widths that rulers have none is likelier than another; half or twice as wide
// is hardly met.
func TestApartLikelihood(t *testing.T) {
	usual := apartLikelihood(20 / 25.4)
	for mm, least := range map[float64]float64{13: 0, 34: 0, 8: 5, 70: 5} {
		if less := usual - apartLikelihood(mm/25.4); less < least-1e-9 || least == 0 && less > 1e-9 {
			t.Errorf("%g mm: %.1f less likely than 20 mm", mm, less)
		}
	}
}
