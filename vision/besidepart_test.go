package vision

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/calib"
	"dentcount/photo"
)

// A ruler may reach out over the part to where far more stands out than wires do: those
// are counted along the half of it that lies on them.
func TestBandsAlongHalfTheRuler(t *testing.T) {
	const w, h, ppi, edge, perInch = 2400, 600, 200.0, 300, 8.0
	rng := rand.New(rand.NewPCG(7, 11))
	var lines []float64 // of what lies beyond the part, aslant
	for x := w / 2.0; x < 1.3*w; x += 20 + 130*rng.Float64() {
		lines = append(lines, x)
	}
	for _, onPart := range []bool{true, false} {
		p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
		for y := range h {
			for x := range w {
				v := 200.0 // the ruler
				switch {
				case y >= edge:
				case x < w/2 && onPart:
					v = 60 - 6*math.Exp(-math.Pow(math.Remainder(float64(x)/ppi*perInch, 1)/0.12, 2))
				case x < w/2:
					v = 60
				default:
					v = 40
					for _, l := range lines {
						if math.Abs(float64(x)+0.7*float64(y)-l) < 9 {
							v = 220
						}
					}
				}
				p.Pix[y*w+x] = uint8(math.Round(v + 1.5*rng.NormFloat64()))
			}
		}
		f := calib.Frame{X: 0, Y: edge, TX: 1, NY: 1, Lo: 40, Hi: w - 40, Half: w / 2}
		s := calib.Scale{Frame: f, Unit: calib.Inch, Divisions: 16, Lo: 40, Hi: w - 40, Half: w / 2, B: w / 2 / ppi}
		b, found, err := FindBands(context.Background(), p, s, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if right := found && math.Abs(b.PerInch/perInch-1) < 0.01; right != onPart {
			t.Errorf("wires on half of it %v: found %v, %.3f per inch, %d of them", onPart, found, b.PerInch, len(b.Row))
		}
	}
}
