package vision

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"gocv.io/x/gocv"

	"dentcount/calib"
	"dentcount/photo"
)

// huePhoto draws, 100 px an inch, bands of which each is a narrow arc and a wide one, a
// ground beyond them, and a ruler's edge across them.
func huePhoto(t *testing.T, wide, narrow, ground [3]float64) (photo.Plane, photo.HalfColours, calib.Scale) {
	t.Helper()
	const w, h, edge, spacing, share = 900, 700, 400, 20, 0.3
	rng := rand.New(rand.NewPCG(3, 1))
	m := gocv.NewMatWithSize(h, w, gocv.MatTypeCV8UC3)
	pix, err := m.DataPtrUint8()
	if err != nil {
		t.Fatal(err)
	}
	for y := range h {
		for x := range w {
			c := ground
			switch {
			case y >= edge:
				c = [3]float64{220, 220, 220}
			case y > 150 && x%spacing < share*spacing:
				c = narrow
			case y > 150:
				c = wide
			}
			for i, v := range c {
				pix[3*(y*w+x)+2-i] = uint8(v + 2*rng.NormFloat64())
			}
		}
	}
	p := &photo.Photo{Pixels: m}
	defer p.Close()
	gray, err := p.Gray()
	if err != nil {
		t.Fatal(err)
	}
	half, err := p.HalfColours()
	if err != nil {
		t.Fatal(err)
	}
	frame := calib.Frame{X: w / 2, Y: edge, TX: 1, NY: 1, Half: w / 2}
	return gray, half, calib.Scale{Frame: frame, Unit: calib.Inch, Half: w / 2, B: w / 2 / 100.0, Lo: -400, Hi: 400}
}

// Between wires and in slots the ground's hue is seen, in whatever shade; a panel and
// brass have hues of their own, steel on a grey table and what is black tell nothing.
func TestOffGroundsHue(t *testing.T) {
	blue, grey := [3]float64{120, 140, 170}, [3]float64{140, 140, 140}
	shade := func(c [3]float64, k float64) [3]float64 { return [3]float64{k * c[0], k * c[1], k * c[2]} }
	wood, brass, steel, black := [3]float64{170, 130, 80}, [3]float64{190, 160, 90}, [3]float64{200, 200, 200}, [3]float64{9, 9, 9}
	for _, c := range []struct {
		name                 string
		wide, narrow, ground [3]float64
		sign                 float64
	}{
		{"a wooden panel over blue", wood, shade(blue, 0.5), blue, 1},
		{"a wooden panel over grey", wood, shade(grey, 0.4), grey, 1},
		{"brass over blue", shade(blue, 0.8), brass, blue, -1},
		{"steel over blue", shade(blue, 0.8), steel, blue, -1},
		{"steel over grey", shade(grey, 0.8), steel, grey, 0},
		{"a black panel over grey", black, shade(grey, 0.6), grey, 0},
	} {
		p, half, s := huePhoto(t, c.wide, c.narrow, c.ground)
		o, found, err := besideEdge(context.Background(), p, s, 3)
		if err != nil || !found {
			t.Fatalf("%s: %v, %v", c.name, found, err)
		}
		row := make([]Band, 40)
		l := lattice{first: s.In(-397), T: 0.2, count: len(row)}
		for k := range row {
			row[k] = Band{Index: k, In: l.first + l.T*float64(k), Along: s.Along(l.first + l.T*float64(k))}
		}
		a, ok := arcsOf(o.sig, l, 20)
		if !ok {
			t.Fatalf("%s: no arcs", c.name)
		}
		ground := []groundAt{{along: 0, depths: []float64{-300, -290}}}
		got, err := o.offGroundsHue(a, half, ground, row, s, s.In(50))
		if err != nil || c.sign == 0 && !(math.Abs(got) < 0.02) || c.sign != 0 && !(c.sign*got > 0.03) {
			t.Errorf("%s: %.3f, %v", c.name, got, err)
		}
		if got, err := o.offGroundsHue(a, photo.HalfColours{}, ground, row, s, s.In(50)); err != nil || !math.IsNaN(got) {
			t.Errorf("%s, no colours: %.3f, %v", c.name, got, err)
		}
		if got, err := o.offGroundsHue(a, half, nil, row, s, s.In(50)); err != nil || !math.IsNaN(got) {
			t.Errorf("%s, no ground: %.3f, %v", c.name, got, err)
		}
	}
}
