package scene

import (
	"math"
	"testing"
)

// The blur's variance is what was asked for, through both of its ways, measured
// on a single bright pixel along x.
func TestBlurHasItsVariance(t *testing.T) {
	for _, sigma := range []float64{0.3, 0.45, 0.7, 1, 1.4, 2, 2.6, 4, 7, 13} {
		k := newKernel(sigma)
		pad := padFor(sigma)
		p := newPlane(9, 9, pad)
		mid := p.stride / 2
		for r := range p.rows {
			line := make([]uint64, p.stride)
			line[mid] = pack(8000, 4000, 0)
			k.across(line, p.row(r))
		}
		p = k.spread(p)
		var sum, mean, sq float64
		for x, v := range p.row(p.rows / 2) {
			w := float64(v & packedMax)
			sum += w
			mean += w * float64(x-mid)
			sq += w * float64((x-mid)*(x-mid))
		}
		mean /= sum
		got := math.Sqrt(sq/sum - mean*mean)
		if math.Abs(mean) > 0.02 || math.Abs(got-sigma) > 0.02+0.02*sigma {
			t.Errorf("blur %g: mean %.3f, standard deviation %.3f", sigma, mean, got)
		}
		// Rounding to whole steps loses little light.
		if math.Abs(sum/8000-1) > 0.02 {
			t.Errorf("blur %g keeps %.3f of the light", sigma, sum/8000)
		}
	}
}

// Downwards too: a level picture stays level, a step moves its centroid nowhere.
func TestBlurKeepsEdgesInPlace(t *testing.T) {
	for _, sigma := range []float64{0.5, 1.3, 5} {
		k := newKernel(sigma)
		p := newPlane(8, 60, padFor(sigma))
		for r := range p.rows {
			v := pack(500, 500, 500)
			if r >= 30+p.pad {
				v = pack(4000, 4000, 4000)
			}
			for x := range p.row(r) {
				p.row(r)[x] = v
			}
		}
		p = k.spread(p)
		out := make([]uint64, 8)
		last, sum, moment := 0.0, 0.0, 0.0
		for y := range 60 {
			k.down(&p, y, out)
			v := float64(out[3] & packedMax)
			if y > 0 {
				sum += v - last
				moment += (v - last) * float64(y)
			}
			last = v
		}
		if at := moment / sum; math.Abs(at-30) > 0.02 {
			t.Errorf("blur %g: the edge is at %.3f, want 30", sigma, at)
		}
	}
}

// sRGB, IEC 61966-2-1: its two branches meet, and 18 % grey is 117.6 of 255
// (0.4613 from memory).
func TestSRGB(t *testing.T) {
	if a, b := 12.92*0.0031308, srgb(0.00313081); math.Abs(a-b) > 1e-5 {
		t.Errorf("the branches are %g and %g where they meet", a, b)
	}
	if got := srgb(0.18); math.Abs(got-0.4613) > 2e-4 {
		t.Errorf("18 %% grey is %g", got)
	}
	for v := 0.001; v < 1; v += 0.0437 {
		if back := inverseSRGB(srgb(v)); math.Abs(back-v) > 1e-9 {
			t.Errorf("%g comes back as %g", v, back)
		}
	}
}

// Shot noise grows with the root of the light, and is what was asked for:
// measured on even patches, dark and bright.
func TestNoiseIsAsStrongAsSaid(t *testing.T) {
	for _, level := range []float64{0.1, 0.5} {
		s := plain(NoPart)
		s.Part = Part{Kind: NoPart}
		s.Rulers = nil
		s.Width, s.Height = 400, 300
		s.Table = Table{BelowMM: 5, Pattern: "grid", ScaleMM: 1e6, A: RGB{level, level, level}}
		s.Sensor.ShotNoise = 0.02 * 0.02
		quiet := s
		quiet.Sensor.ShotNoise = 0
		img, _ := drawn(t, s)
		still, _ := drawn(t, quiet)
		var sum, sq float64
		n := 0
		for y := 20; y < 280; y++ {
			for x := 20; x < 380; x++ {
				base := float64(still.Y[y*still.YStride+x])
				d := float64(img.Y[y*img.YStride+x]) - base
				sum += d
				sq += d * d
				n++
			}
		}
		// In linear light the standard deviation is 0.02·√level; the tone
		// curve's slope takes it to 8-bit steps.
		slope := (srgb(level*1.02) - srgb(level*0.98)) / (0.04 * level)
		want := 0.02 * math.Sqrt(level) * slope * 255
		sd := math.Sqrt(sq/float64(n) - sum/float64(n)*sum/float64(n))
		if math.Abs(sd/want-1) > 0.12 || math.Abs(sum/float64(n)) > 0.2 {
			t.Errorf("at %g: noise %.2f steps about %.2f, want %.2f about 0", level, sd, sum/float64(n), want)
		}
	}
}

// Sharpening leaves even areas alone and overshoots at an edge.
func TestSharpeningHalo(t *testing.T) {
	s := edgesOnly(Reed)
	s.Part.DepthMM, s.Table.A, s.Part.Finish.Colour = 0, RGB{0.1, 0.1, 0.1}, RGB{0.4, 0.4, 0.4}
	soft, _ := drawn(t, s)
	s.Sensor.Sharpen, s.Sensor.SharpenRadius = 1, 2
	hard, _ := drawn(t, s)
	top := func(v []float64) (m float64) {
		for _, x := range v {
			m = max(m, x)
		}
		return m
	}
	a, b := top(line(soft, 590, 400.5, 640, 400.5, 200)), top(line(hard, 590, 400.5, 640, 400.5, 200))
	if b < 1.04*a {
		t.Errorf("brightest %.3f before, %.3f after sharpening", a, b)
	}
}

// A reflection over the whole scale leaves no mark to read.
func TestGlareHidesTheScale(t *testing.T) {
	s := plain(Reed)
	s.Camera.AimYMM = 10
	x, y, _ := s.Project(0, 17, 2)
	count := func() (dark int) {
		img, _ := drawn(t, s)
		for _, m := range s.RulerMarks(0, 0) {
			px, py, _ := s.Project(m.XMM, m.YMM+1.2, m.ZMM)
			if s.inFrame(px, py) && light(img, px, py) < 0.5 {
				dark++
			}
		}
		return dark
	}
	if n := count(); n < 80 {
		t.Fatalf("%d marks without glare", n)
	}
	s.Sensor.Glare = []Glare{{X: x, Y: y, RX: 900, RY: 300, Strength: 3, OnRuler: true}}
	if n := count(); n > 0 {
		t.Errorf("%d marks can still be read under the glare", n)
	}
}
