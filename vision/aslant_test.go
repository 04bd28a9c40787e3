package vision

import (
	"context"
	"math"
	"testing"

	"dentcount/calib"
	"dentcount/photo"
)

const askewPPI = 54.3 // pixels an inch of wiresAskew

// wiresAskew is a photo of wires, and the scale of a ruler's edge across its middle: angle
// is the edge's to the photo's rows, lean the wires', and width a wire's over the spacing.
// Each pixel sees 0.55 of its width.
func wiresAskew(perInch, width, angle, lean float64) (photo.Plane, calib.Scale) {
	const w, h, fill, sub = 640, 640, 0.55, 4
	sin, cos := math.Sincos(angle)
	f := calib.Frame{X: w / 2, Y: h / 2, TX: cos, TY: sin, NX: -sin, NY: cos, Half: 250}
	p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
	for i := range p.Pix {
		wires := 0.0
		for j := range sub * sub {
			x := float64(i%w) + fill*((float64(j%sub)+0.5)/sub-0.5)
			y := float64(i/w) + fill*((float64(j/sub)+0.5)/sub-0.5)
			along, depth := f.Locate(x, y)
			if q := (along - lean*depth) / askewPPI * perInch; q-math.Floor(q) < width {
				wires++
			}
		}
		p.Pix[i] = uint8(60 + 120*wires/(sub*sub))
	}
	return p, calib.Scale{Frame: f, Unit: calib.CM, Divisions: 10, Half: 250, B: 250 / askewPPI, Lo: -250, Hi: 250}
}

// Wires too fine for the pixels, whose moiré leans otherwise than they do, since the ruler
// lies askew to the pixels' rows: they are found behind it. Bands as coarse as the moiré
// have none behind them.
func TestMoireLeansOtherwise(t *testing.T) {
	for _, c := range []struct {
		name                 string
		perInch, angle, lean float64
	}{
		{"fine wires", 22, 0.045, -0.05},
		{"fine wires down the photo", 22, math.Pi/2 - 0.045, 0.06},
		{"fine wires, the edge turned about", 21, math.Pi/2 + 0.05, 0.06},
		{"fine wires, straight", 22, 0, 0},
		{"coarse ones", 10.3, 0.045, -0.05},
		{"coarse ones down the photo", 10.3, math.Pi/2 - 0.045, 0.06},
		{"coarser ones", 8.7, math.Pi/2 + 0.05, 0.06},
	} {
		p, s := wiresAskew(c.perInch, 0.2, c.angle, c.lean)
		o, found, err := besideEdge(context.Background(), p, s, 3)
		if err != nil || !found {
			t.Fatalf("%s: no bands, %v", c.name, err)
		}
		if math.Abs(o.t.Strongest/c.perInch-1) > 0.02 {
			t.Errorf("%s: %.2f per inch, counted %.2f leaning by %.3f; drawn %.2f", c.name, o.t.Strongest, o.t.PerInch, o.ln.at(0), c.perInch)
		}
	}
}

// The moiré's frequency and lean tell the wires' own, whichever harmonic of theirs it is of:
// its wave is that harmonic's less a whole cycle a pixel, as vectors.
func TestWiresBehindTheMoire(t *testing.T) {
	const perInch, leans = 21.0, -0.05
	for _, angle := range []float64{0.03, math.Pi/2 - 0.04, math.Pi + 0.03} {
		p, s := wiresAskew(perInch, 0.4, angle, leans)
		st := beside(p, s.Frame, s.Lo, s.Hi, -27, -3, 1)
		// the wires' wave, and the pixels' cycle along the axis nearer to the edge
		k := [2]float64{perInch / askewPPI * (s.Frame.TX - leans*s.Frame.NX), perInch / askewPPI * (s.Frame.TY - leans*s.Frame.NY)}
		cycle := [2]float64{math.Round(s.Frame.TX), math.Round(s.Frame.TY)}
		for _, harmonic := range []float64{2, 3} {
			mx, my := harmonic*k[0]-cycle[0], harmonic*k[1]-cycle[1]
			f, n := mx*s.Frame.TX+my*s.Frame.TY, mx*s.Frame.NX+my*s.Frame.NY
			ln := lean{A: -n / f}
			m := math.Abs(f) * askewPPI
			sig := onRuler(st.sheared(ln, 0, st.rows, 1), st.lo, s, askewPPI)
			if got := st.finerAslant(tone{PerInch: m, Strongest: m}, ln, sig, s, askewPPI); math.Abs(got-perInch) > 0.3 {
				t.Errorf("edge at %.2f, harmonic %v, moiré of %.2f per inch leaning by %.3f: %.2f per inch behind it, drawn %v", angle, harmonic, m, ln.A, got, perInch)
			}
		}
	}
}
