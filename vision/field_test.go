package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/calib"
	"dentcount/photo"
)

// fieldPhoto is a drawing to scale, 100 px an inch, of bands from top to foot
// inches before and behind a ruler's marked edge, a ruler an inch wide on them.
type fieldPhoto struct {
	top, foot   float64
	barTop, bar float64 // how wide the bars at both ends are; 0: none
	// how far before the marked edge a second ruler an inch wide begins; 0: there is none
	second float64
}

const fieldPPI, fieldPerInch = 100.0, 10.0

func (f fieldPhoto) draw() (photo.Plane, calib.Scale) {
	const w, h, edge, ground, bar = 900, 1100, 500, 120.0, 60.0
	rng := rand.New(rand.NewPCG(8, 2))
	p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
	for y := range h {
		d := float64(y-edge) / fieldPPI // into the ruler
		for x := range w {
			v := ground
			switch {
			case d >= 0 && d < 1:
				v = 220
				// marks an eighth apart, in no step with the bands
				if d < 0.35 && math.Mod(float64(x), fieldPPI/8) < 2 {
					v = 40
				}
			case f.second > 0 && d < -f.second && d > -f.second-1:
				v = 200
			case d >= -f.top && d < f.foot:
				v = 110 + 60*math.Sin(2*math.Pi*float64(x)/fieldPPI*fieldPerInch)
			case d < -f.top && d >= -f.top-f.barTop, d >= f.foot && d < f.foot+f.bar:
				v = bar
			}
			p.Pix[y*w+x] = uint8(v + 2*rng.NormFloat64())
		}
	}
	frame := calib.Frame{X: w / 2, Y: edge, TX: 1, NY: 1, Half: w / 2}
	return p, calib.Scale{Frame: frame, Unit: calib.Inch, Half: w / 2, B: w / 2 / fieldPPI, Lo: -400, Hi: 400}
}

// Heights are those that were drawn; bars and free ends are told apart.
func TestFieldOfBands(t *testing.T) {
	for _, c := range []struct {
		name       string
		photo      fieldPhoto
		ends       int
		high       float64
		free       bool
		teeth, any bool // doubted as a comb; doubted at all
	}{
		{"a reed", fieldPhoto{1.5, 2.5, 0.5, 0.5, 0}, 2, 4, false, false, false},
		{"a comb", fieldPhoto{0.5, 1.3, 0, 0.5, 0}, 2, 1.8, true, true, true},
		{"a comb the other way round", fieldPhoto{0.4, 1.4, 0.5, 0, 0}, 2, 1.8, true, true, true},
		{"a reed read 2.54 times too small", fieldPhoto{0.5, 1.2, 0.25, 0.25, 0}, 2, 1.7, false, false, true},
		{"a reed with one bar out of the picture", fieldPhoto{1.5, 9, 0.5, 0.5, 0}, 1, 0, false, false, false},
		{"a reed under two rulers", fieldPhoto{3, 2.5, 0.5, 0.5, 0.6}, 1, 0, false, false, false},
		{"ribs from edge to edge", fieldPhoto{9, 9, 0, 0, 0}, 0, 0, false, false, true},
	} {
		p, s := c.photo.draw()
		row := []Band{{Along: -380}, {Along: 380}}
		f := fieldOf(p, s, lean{}, row, tone{PerInch: fieldPerInch}, fieldPPI)
		if f.Ends != c.ends || math.Abs(f.HighIn-c.high) > 0.1 {
			t.Errorf("%s: %d ends, %.2f in high, want %d, %.2f", c.name, f.Ends, f.HighIn, c.ends, c.high)
		}
		if f.Covered != (c.photo.second > 0) {
			t.Errorf("%s: covered %v", c.name, f.Covered)
		}
		if (f.Free >= 0.5) != c.free {
			t.Errorf("%s: free ends %.2f", c.name, f.Free)
		}
		if f.Teeth() != c.teeth || (f.Short() > 0 || f.Tall() > 0) != c.any {
			t.Errorf("%s: teeth %v, short %.2f, tall %.2f", c.name, f.Teeth(), f.Short(), f.Tall())
		}
		if f.Told = true; f.Teeth() || f.Short() > 0 || f.Tall() > 0 {
			t.Errorf("%s: doubted though a person says what it is", c.name)
		}
	}
}
