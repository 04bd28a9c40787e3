package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/calib"
)

// The lean is that of the bands, also where bright yarn lies across them: it covers little
// of them and is much brighter than they are.
func TestLeanUnderYarn(t *testing.T) {
	const cols, rows, T, leans = 900, 80, 50.0, -0.05
	rng := rand.New(rand.NewPCG(4, 9))
	s := strip{d0: -83, step: 1, cols: cols, rows: rows, v: make([]float32, cols*rows)}
	for r := range rows {
		d := s.depth(r)
		for c := range cols {
			v := 100 + 2*rng.NormFloat64()
			if math.Mod(float64(c)-leans*d+10*T, T) < 0.2*T {
				v -= 20
			}
			// 16 px wide and askew, near the one end
			if math.Abs(float64(c)-780-0.35*d) < 8 {
				v = 220
			}
			s.v[r*cols+c] = float32(v)
		}
	}
	l, _ := findLean(s, 40)
	for _, at := range []float64{100, 450, 800} {
		if math.Abs(l.at(at)-leans) > 0.03 {
			t.Errorf("leans by %.3f at %.0f, drawn with %.3f", l.at(at), at, leans)
		}
	}
}

// Faint slots are read, too, where two thick strands with their shadows lie across them,
// ten times as bright as they are and on more of the strip; beside the strip of the yarn
// as it is no slots are found.
func TestSlotsUnderThickYarn(t *testing.T) {
	const ppi, cols, rows, perInch, leans = 280.0, 1700, 84, 5.0, -0.05
	rng := rand.New(rand.NewPCG(3, 3))
	st := strip{d0: -90, step: 1, cols: cols, rows: rows, v: make([]float32, cols*rows)}
	for r := range rows {
		d := st.depth(r)
		for c := range cols {
			v := 40 + rng.NormFloat64()
			if math.Mod(float64(c)-leans*d+10*ppi, ppi/perInch) < 0.15*ppi/perInch {
				v -= 9
			}
			for _, yarn := range []struct{ at, lean float64 }{{300, 0.45}, {1350, 0.4}} {
				switch x := float64(c) - yarn.at - yarn.lean*d; {
				case math.Abs(x) < 20:
					v = 190 + 10*rng.NormFloat64()
				case x >= 20 && x < 45:
					v -= 18
				}
			}
			st.v[r*cols+c] = float32(v)
		}
	}
	s := calib.Scale{Unit: calib.Inch, Divisions: 10, B: 850 / ppi, Half: 850, Lo: 0, Hi: cols - 1}
	if _, ok := st.read(s, ppi); ok {
		t.Error("bands are found in the strip as it is: it shows nothing")
	}
	dim, crossed := st.dimmed(leanHalf(ppi))
	o, ok := dim.read(s, ppi)
	if !crossed || !ok || math.Abs(o.t.PerInch/perInch-1) > 0.01 || math.Abs(o.ln.at(850)-leans) > 0.03 {
		t.Errorf("crossed %v, found %v: %.3f per inch, leaning by %.3f; drawn %v and %v", crossed, ok, o.t.PerInch, o.ln.at(850), perInch, leans)
	}
}
