package vision

import (
	"math"
	"testing"

	"dentcount/calib"
	"dentcount/photo"
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

// Bands are read on past the ruler's ends as far as the picture shows them, and
// stretches beyond the part's end are left out; one without contrast among the
// ruler's own stays.
func TestPastTheRulersEnds(t *testing.T) {
	const w, h, ppi, T = 2000, 300, 100, 0.2
	p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
	for i := range p.Pix {
		x := i % w
		p.Pix[i] = 150
		if x < 1400 && x%(T*ppi) < 4 {
			p.Pix[i] = 40
		}
	}
	// a ruler of 4 in over 600 to 1000 px, its foot at the middle
	s := calib.Scale{Frame: calib.Frame{X: 800, Y: 250, TX: 1, NY: 1, Half: 200}, Half: 200, B: 2, Lo: -200, Hi: 200}
	o := besideRead{st: beside(p, s.Frame, s.Lo, s.Hi, -60, -10, 1)}
	row := lattice{first: -1.98, T: T, count: 20}
	g, all := o.pastEnds(p, s, row, ppi)
	if start := g.u0; math.Abs(start+6) > 0.05 || math.Abs(g.u0+float64(len(g.v))*g.du-6) > 0.05 {
		t.Fatalf("read from %.2f to %.2f in, want a ruler's length past its ends, -6 to 6", start, g.u0+float64(len(g.v))*g.du)
	}
	if off := math.Remainder(all.first-row.first, T); math.Abs(off) > 1e-9 || all.first < g.u0-T || all.first > g.u0+2*T || all.count < 55 {
		t.Errorf("the lattice begins at %.3f and has %d bands", all.first, all.count)
	}
	f, at := fold(g, all)
	if seen := f[0]; medianOf(seen[:])-seen[arcBins/2] < 60 {
		t.Errorf("six inches off the middle the wire is not where the lattice has it: %v", seen)
	}
	for i := range f {
		if at[i] > -0.5 && at[i] < 0.5 {
			f[i] = [arcBins]float64{}
		}
	}
	f, at = f.withBands(at, row)
	// The wires end at 1400 px, 6 in; the picture's bands past that are the table.
	if len(f) != len(at) || at[len(at)-1] > 6 || at[0] > -5 {
		t.Errorf("stretches at %.1f are kept", at)
	}
	for i := range p.Pix {
		if x := i % w; x >= 1100 {
			p.Pix[i] = 150
		}
	}
	g, all = o.pastEnds(p, s, row, ppi)
	f, at = fold(g, all)
	if f, at = f.withBands(at, row); len(f) == 0 || at[len(at)-1] > 3.5 || at[0] > -5 {
		t.Errorf("of a part that ends at 3 in stretches at %.1f are kept", at)
	}
}
