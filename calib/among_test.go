package calib

import (
	"math"
	"math/rand/v2"
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

// The grain of a heddle's wooden bars runs across its slots: each is a field of its own, and
// the ruler's edge is found among the slots.
func TestEdgesBetweenGrainedBars(t *testing.T) {
	p := linedTable(true, 0)
	for y := range p.H {
		if y >= 100 && y < 300 || y > 640 && y < 840 {
			for x := range p.W {
				p.Pix[y*p.W+x] = uint8(110 + 40*(y/6%2))
			}
		}
	}
	py, err := newPyramid(p)
	if err != nil {
		t.Fatal(err)
	}
	s := defaultAmong()
	s.Most = 1
	segs, err := amongEdges(py, s)
	if err != nil {
		t.Fatal(err)
	}
	seen := false
	for _, g := range segs {
		seen = seen || (math.Abs(g.Y-420) < 4 || math.Abs(g.Y-480) < 4) && math.Abs(g.TY) < 0.02
	}
	if !seen {
		t.Errorf("the ruler's edge is not among %d", len(segs))
	}
}

// The edge of a ruler of which less than an inch is in the picture, a thirtieth of its side, is too
// short to be seen from afar.
func TestShortEdges(t *testing.T) {
	const pxIn, top, left = 100.0, 850, 1400
	p := drawing(2800, 2000, 14, rand.New(rand.NewPCG(21, 22)))
	ruler := drawing(100, 120, 14, rand.New(rand.NewPCG(25, 26)))
	drawRuler(ruler, halving(Inch, 16, 0), []float64{3.2, 4.4, 5.6, 7.5, 10}, pxIn, 0, 0.6)
	for i, v := range ruler.Pix { // about as light as the wires
		if v > 200 {
			ruler.Pix[i] = 140
		}
	}
	for y := range ruler.H {
		copy(p.Pix[(top+y)*p.W+left:], ruler.Pix[y*ruler.W:(y+1)*ruler.W])
	}
	py, err := newPyramid(p)
	if err != nil {
		t.Fatal(err)
	}
	seen := func(s amongSearch) bool {
		segs, err := amongEdges(py, s)
		if err != nil {
			t.Fatal(err)
		}
		for _, g := range segs {
			if y := top + float64(ruler.H)/2; math.Abs(g.Y-y) < 6 && math.Abs(g.X-left-float64(ruler.W)/2) < 80 {
				return true
			}
		}
		return false
	}
	afar := defaultAmong()
	afar.Most = 1
	if seen(afar) || !seen(defaultShort()) {
		t.Errorf("from afar %v, from near %v", seen(afar), seen(defaultShort()))
	}
}
