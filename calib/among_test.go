package calib

import (
	"math"
	"testing"

	"dentcount/photo"
)

// linedTable is a table with a line every 90 px both ways; between two rows wires run down
// it, turned by a tangent, with a ruler of their mean tone across them.
func linedTable(wires bool, tan float64) photo.Plane {
	const w, h, lines = 1300, 1000, 90
	p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
	for y := range h {
		for x := range w {
			v := 80.0
			if x%lines < 3 || y%lines < 3 {
				v = 190
			}
			// across and along the part
			a, d := float64(x)+tan*float64(y), float64(y)-tan*float64(x)
			switch {
			case !wires || d < 300 || d > 640:
			case d > 420 && d < 480:
				v = 120
			case math.Mod(a+1e4, 12) < 6:
				v = 90
			default:
				v = 150
			}
			p.Pix[y*w+x] = uint8(v)
		}
	}
	return p
}

// A ruler's edge is found among the wires it lies across, and nothing beside their field; a
// table's lines are no field.
func TestEdgesAmongWires(t *testing.T) {
	for _, tan := range []float64{-0.1, 0.03} {
		py, err := newPyramid(linedTable(true, tan))
		if err != nil {
			t.Fatal(err)
		}
		segs, err := amongEdges(py, defaultAmong())
		if err != nil {
			t.Fatal(err)
		}
		seen := false
		for _, g := range segs {
			d := g.Y - tan*g.X
			seen = seen || (math.Abs(d-420) < 4 || math.Abs(d-480) < 4) && math.Abs(g.TY-tan*g.TX) < 0.02
			if d < 150 || d > 790 {
				t.Errorf("an edge %.0f px along the part, far from its wires", d)
			}
		}
		if !seen {
			t.Errorf("turned by %.2f: the ruler's edge is not among %d", tan, len(segs))
		}
	}
	py, err := newPyramid(linedTable(false, 0))
	if err != nil {
		t.Fatal(err)
	}
	if segs, err := amongEdges(py, defaultAmong()); err != nil || len(segs) > 0 {
		t.Errorf("%d edges among the lines of a table (%v)", len(segs), err)
	}
}
