package calib

import (
	"math"
	"testing"

	"dentcount/photo"
)

// Cloth is rougher than wires and there is more of it, but it changes in two
// directions at every place and is no grain.
func TestGrainsAreOfWiresNotOfCloth(t *testing.T) {
	const w, h, turn = 900, 600, 0.6
	p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
	sn, cs := math.Sincos(turn)
	for y := range h {
		for x := range w {
			a, b := cs*float64(x)+sn*float64(y), -sn*float64(x)+cs*float64(y)
			v := 128 + 60*math.Sin(2*math.Pi*a/6)
			if (int(a/9+1000)+int(b/9+1000))%2 == 0 { // threads over and under
				v = 128 + 60*math.Sin(2*math.Pi*b/6)
			}
			if y > h/3 && y < 2*h/3 { // wires upright
				v = 128 + 40*math.Sin(2*math.Pi*float64(x)/12)
			}
			p.Pix[y*w+x] = uint8(v)
		}
	}
	s := defaultAcross()
	got := gradientsOf(p).grains(s)
	if len(got) == 0 || angleApart(got[0], 0) > 3*math.Pi/180 {
		t.Errorf("grains %.2f, want 0 first", got)
	}
	for _, th := range got {
		if angleApart(th, turn) < s.ApartDeg*math.Pi/360 {
			t.Errorf("cloth at %.2f is taken for wires: %.2f", turn, got)
		}
	}
}
