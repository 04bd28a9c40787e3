package vision

import (
	"math"
	"math/rand/v2"
	"testing"
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
