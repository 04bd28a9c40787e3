package vision

import (
	"context"
	"math"
	"testing"

	"dentcount/calib"
	"dentcount/photo"
)

// Slots of the coarsest rigid heddle are counted; what stands farther apart than they,
// so that the search ends on it, is none.
func TestCoarserThanTheCoarsestIsNoPart(t *testing.T) {
	const w, h, ppi, edge = 1800, 600, 150.0, 300
	for _, c := range []struct {
		perInch float64
		want    bool
	}{{2.05, true}, {1.92, false}, {1.75, false}} {
		p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
		for y := range h {
			for x := range w {
				v := 200.0 // the ruler
				if y < edge {
					v = 140 - 90*math.Exp(-math.Pow(math.Remainder(float64(x)/ppi*c.perInch, 1)/0.12, 2))
				}
				p.Pix[y*w+x] = uint8(v)
			}
		}
		f := calib.Frame{X: 0, Y: edge, TX: 1, NY: 1, Lo: 100, Hi: 1700, Half: 800}
		s := calib.Scale{Frame: f, Unit: calib.Inch, Divisions: 16, Lo: 100, Hi: 1700, Half: 800, B: 800 / ppi}
		b, found, err := FindBands(context.Background(), p, s, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if found != c.want || found && math.Abs(b.PerInch/c.perInch-1) > 0.01 {
			t.Errorf("%.2f per inch: found %v, %.3f per inch", c.perInch, found, b.PerInch)
		}
	}
}
