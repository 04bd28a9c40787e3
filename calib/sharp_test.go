package calib

import (
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/photo"
)

// A sine of four and a half pixels is as strong sampled along any frame, whatever
// fractions of a pixel its samples lie at.
func TestSharpSamplingKeepsFineWires(t *testing.T) {
	const size, spacing, deg = 400, 4.5, 7.0
	p := photo.Plane{W: size, H: size, Pix: make([]uint8, size*size)}
	sn, cs := math.Sincos(deg * math.Pi / 180)
	for y := range size {
		for x := range size {
			along := float64(x-size/2)*cs + float64(y-size/2)*sn
			p.Pix[y*size+x] = uint8(math.Round(128 + 100*math.Cos(2*math.Pi*along/spacing)))
		}
	}
	f := Frame{X: size / 2, Y: size / 2, TX: cs, TY: sn, NX: -sn, NY: cs, Lo: -150, Hi: 150, Half: 150}
	worst := func(st strip) (off float64) {
		for r := range st.rows {
			for i, v := range st.v[r*st.cols : (r+1)*st.cols] {
				along := st.lo + float64(i)
				off = math.Max(off, math.Abs(float64(v)-128-100*math.Cos(2*math.Pi*along/spacing)))
			}
		}
		return off
	}
	const most = 4 // of 100 grey levels
	if off := worst(sharpen(p).sample(f, -150, 150, 0, 20)); !(off < most) {
		t.Errorf("%.1f grey levels off", off)
	}
	if off := worst(sampleStrip(p, f, -150, 150, 0, 20, 1)); off < most {
		t.Errorf("linear interpolation is only %.1f grey levels off: this tells nothing", off)
	}
}

// A row shifted by a fraction of a pixel is as strong as it was, and what was not seen
// stays so.
func TestSharpRow(t *testing.T) {
	const spacing = 4.5
	wave := func(x float64) float64 { return 50 * math.Cos(2*math.Pi*x/spacing) }
	v := make([]float32, 200)
	for i := range v {
		v[i] = float32(wave(float64(i)))
	}
	v[100] = nan32
	row := sharpRowOf(v)
	for x := 10.0; x < 90; x += 0.3 {
		if off := math.Abs(row.at(x) - wave(x)); off > 2 {
			t.Errorf("at %.1f %.1f off", x, off)
		}
	}
	for _, x := range []float64{99.5, 100, 100.5, -0.5, 199.5} {
		if got := row.at(x); got == got {
			t.Errorf("at %.1f there is nothing, but %.1f was read", x, got)
		}
	}
}

// Wires of which few are bright and the others rusty are known to stand there.
func TestRustyWiresBeside(t *testing.T) {
	const w, h, spacing = 1200, 300, 12
	rng := rand.New(rand.NewPCG(31, 32))
	bright := 0.0
	p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
	for x := range w {
		v := 60.0
		if x%spacing == 0 {
			bright = 40
			if rng.Float64() < 0.12 {
				bright = 190
			}
		}
		if x%spacing < 5 {
			v += bright
		}
		for y := range h {
			p.Pix[y*w+x] = uint8(v + 3*rng.NormFloat64())
		}
	}
	f := Frame{X: w / 2, Y: h / 2, TX: 1, NY: 1, Lo: -w/2 + 20, Hi: w/2 - 20, Half: w / 2}
	wires, ok, err := wiresBeside(p, f)
	if err != nil || !ok || math.Abs(wires.periodPx-spacing) > 0.5 {
		t.Errorf("wires %v of %.1f px, strength %.1f, err %v; drawn %d px", ok, wires.periodPx, wires.strength, err, spacing)
	}
}
