package measure

import (
	"math/rand/v2"
	"testing"

	"dentcount/calib"
	"dentcount/vision"
)

// A part's own slots, read as marks, are out of place where its bands are; a
// ruler's marks are not, though they stand as far apart.
func TestOwnMarks(t *testing.T) {
	const bands = 30
	for _, c := range []struct {
		name    string
		own     bool
		perInch float64
		shift   float64 // of the marks against the bands, inches
		want    bool
	}{
		{"slots read as marks", true, 8, 0, true},
		{"a ruler of the same spacing", false, 8, 0, false},
		{"another spacing", true, 8.1, 0, false},
		{"between the marks", true, 8, 0.03, false},
	} {
		rng := rand.New(rand.NewPCG(3, 9))
		s := calib.Scale{Unit: calib.Inch, Divisions: 16, Half: 1000, B: 10}
		b := vision.Bands{PerInch: c.perInch}
		for i := range bands {
			off := 0.002 * rng.NormFloat64()
			in := float64(i)/8 + off
			b.Row = append(b.Row, vision.Band{Index: i, In: in + 0.0005*rng.NormFloat64()})
			if !c.own {
				in += 0.002*rng.NormFloat64() - off
			}
			for j := range 2 {
				at := in + float64(j)/16 + c.shift
				s.Marks = append(s.Marks, calib.Mark{Along: at / s.B * s.Half, In: float64(2*i+j) / 16})
			}
		}
		for odds, want := range map[float64]bool{20: c.want, 60: false} {
			if got := ownMarks(calib.Ruler{Scale: s, Odds: odds}, b); got != want {
				t.Errorf("%s, odds %g: %v", c.name, odds, got)
			}
		}
	}
}
