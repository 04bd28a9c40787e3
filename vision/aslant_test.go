package vision

import (
	"context"
	"math"
	"testing"

	"dentcount/calib"
	"dentcount/photo"
)

// Wires too fine for the pixels, whose moiré leans otherwise than they do, since the ruler
// lies askew to the pixels' rows: they are found behind it. Bands as coarse as the moiré
// have none behind them. The scene is drawn here, each pixel over 0.55 of its width.
func TestMoireLeansOtherwise(t *testing.T) {
	const ppi, w, h, fill = 54.3, 640, 640, 0.55
	for _, c := range []struct {
		name          string
		perInch       float64
		angle         float64 // of the edge to the photo's rows
		lean          float64 // of the wires
		wantPxPerBand float64 // of what stands out or makes it
	}{
		{"fine wires", 22, 0.045, -0.05, ppi / 22},
		{"fine wires down the photo", 22, math.Pi/2 - 0.045, 0.06, ppi / 22},
		{"third harmonic", 21, math.Pi/2 + 0.05, 0.06, ppi / 21},
		{"fine wires, straight", 22, 0, 0, ppi / 22},
		{"coarse ones", 10.3, 0.045, -0.05, ppi / 10.3},
		{"coarse ones down the photo", 10.3, math.Pi/2 - 0.045, 0.06, ppi / 10.3},
		{"coarser ones", 8.7, math.Pi/2 + 0.05, 0.06, ppi / 8.7},
	} {
		sin, cos := math.Sincos(c.angle)
		f := calib.Frame{X: w / 2, Y: h / 2, TX: cos, TY: sin, NX: -sin, NY: cos, Half: 250}
		s := calib.Scale{Frame: f, Unit: calib.CM, Divisions: 10, Half: 250, B: 250 / ppi, Lo: -250, Hi: 250}
		p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
		for i := range p.Pix {
			const sub = 4
			wires := 0.0
			for j := range sub * sub {
				x := float64(i%w) + fill*((float64(j%sub)+0.5)/sub-0.5)
				y := float64(i/w) + fill*((float64(j/sub)+0.5)/sub-0.5)
				along, depth := f.Locate(x, y)
				if q := (along - c.lean*depth) / ppi * c.perInch; q-math.Floor(q) < 0.2 {
					wires++
				}
			}
			p.Pix[i] = uint8(60 + 120*wires/(sub*sub))
		}
		o, found, err := besideEdge(context.Background(), p, s, 3)
		if err != nil || !found {
			t.Fatalf("%s: no bands, %v", c.name, err)
		}
		if got := ppi / o.t.Strongest; math.Abs(got/c.wantPxPerBand-1) > 0.02 {
			t.Errorf("%s: %.2f px a band, counted %.2f per inch leaning by %.3f; drawn %.2f px", c.name, got, o.t.PerInch, o.ln.at(0), c.wantPxPerBand)
		}
	}
}
