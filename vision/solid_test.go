package vision

import (
	"math"
	"testing"
)

// Wires, whose sides show in the wide arc, are drawn by wires, and bars, whose sides
// show in the narrow one, by bars, whatever is bright and whatever dark; where no
// sides are seen, neither draws the row better.
func TestWiresOrBars(t *testing.T) {
	const rel, foot, narrow = 0.012, 3.2, 0.15 // 3.6 mm of 300
	read := func(lo, hi, T, rel, front, side, beneath float64, seed uint64) float64 {
		l := lattice{first: T * narrow / 2, T: T, count: int(5.8 / T)}
		f, at := fold(grille(T, lo, hi, foot, rel, front, side, beneath, seed), l)
		return f.wiresOrBars(l, at, view{foot, 0.012 / 3.6}, 300*T)
	}
	for _, c := range []struct{ front, side, beneath float64 }{
		{170, 60, 120}, {60, 110, 190}, {200, 150, 60}, {140, 60, 200}, {90, 150, 30}, {90, 95, 200},
	} {
		for i, T := range []float64{0.16, 0.22, 0.3} {
			wires := read(0, narrow, T, rel, c.front, c.side, c.beneath, uint64(i))
			bars := read(narrow, 1, T, rel, c.front, c.side, c.beneath, uint64(i))
			if wires < 0.5 || bars > -0.5 {
				t.Errorf("%v, spacing %v: wires %.2f, bars %.2f", c, T, wires, bars)
			}
			if flat := read(0, narrow, T, 0, c.front, c.side, c.beneath, uint64(i)); math.Abs(flat) > 0.5 {
				t.Errorf("%v, spacing %v: without depth %.2f", c, T, flat)
			}
		}
	}
	f := folded{{}, {}}
	if v := f.wiresOrBars(lattice{T: 0.2, count: 6}, []float64{0.3, 0.9}, view{1, 0.003}, 60); v != 0 {
		t.Errorf("two stretches without contrast tell %.2f", v)
	}
}

// A row that is the same in all stretches, or black, tells nothing and is no number
// out of bounds.
func TestWiresOrBarsOfNothing(t *testing.T) {
	f := make(folded, 4)
	for _, level := range []float64{0, 128} {
		for i := range f {
			for j := range f[i] {
				f[i][j] = level
			}
		}
		if v := f.wiresOrBars(lattice{T: 0.2, count: 30}, []float64{0.5, 2, 4, 5.5}, view{3, 0.003}, 60); v != 0 {
			t.Errorf("an even grey of %v tells %v", level, v)
		}
	}
}
