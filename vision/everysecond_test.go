package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/calib"
	"dentcount/photo"
)

// Wires and the shadows between them, taken for bands twice as fine, are told from as many
// wires, though some of either are rusty.
func TestWiresAndTheirShadowsAreEverySecond(t *testing.T) {
	const w, h, ppi, edge, perInch = 1200, 600, 200.0, 300, 10.0
	for _, fine := range []bool{false, true} {
		rng := rand.New(rand.NewPCG(12, 3))
		light := make([]float64, 200) // of the bands, twice perInch
		for i := range light {
			switch light[i] = 90; {
			case i%2 == 1 && !fine:
				light[i] = -45 // shadow
			case rng.Float64() < 0.4:
				light[i] = 40 // rust
			}
		}
		p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
		for y := range h {
			for x := range w {
				v := 200.0 // the ruler
				if y < edge {
					at := float64(x) / ppi * 2 * perInch
					i := math.Round(at)
					v = 90 + light[int(i)]*math.Exp(-math.Pow((at-i)/0.22, 2)) + 4*rng.NormFloat64()
				}
				p.Pix[y*w+x] = uint8(v)
			}
		}
		f := calib.Frame{X: 0, Y: edge, TX: 1, NY: 1, Lo: 20, Hi: w - 20, Half: w}
		s := calib.Scale{Frame: f, Unit: calib.Inch, Divisions: 16, Lo: 20, Hi: w - 20, Half: w, B: w / ppi}
		turn := inTurn(tonesOf(p, s, stretch{f, s.Lo, s.Hi}, 0, lean{}, tone{PerInch: 2 * perInch}, ppi), ppi)
		if got := everySecond(turn); got == fine {
			t.Errorf("as many wires as bands %v: every second %v (alone %.2f, in step %.2f)", fine, got, turn.alone, turn.steady)
		}
	}
}
