package calib

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"dentcount/photo"
)

// tintedRuler are the channels of grey wires under a clear ruler, level, its edge at half
// the height, whose print is as bright as what lies beneath, and their brightness. ink is
// how many grey levels the print takes from green.
func tintedRuler(ink float64) (r, g, b, grey photo.Plane) {
	const w, h, pxPerIn = 1200, 600, 150.0
	rng := rand.New(rand.NewPCG(31, 32))
	under := wiresAcross(w, h, 15, 0.05, rng)
	sc, mm := tenths(Inch, 10, 0), []float64{4, 6, 9}
	planes := [4]photo.Plane{}
	for k := range planes {
		planes[k] = photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
	}
	step := pxPerIn / 10
	for i, v := range under.Pix {
		at, d := float64(i%w)-w/2, float64(i/w-h/2)
		s := float64(v)
		print := 0.0
		if d >= 0 && d < 1.2*pxPerIn {
			s = 0.75*s + 0.25*190
			n := int(math.Round(at / step))
			if d < mm[sc.class[mod(n, sc.divisions)]]/25.4*pxPerIn {
				print = ink * math.Max(0, math.Min(1, 1.4-math.Abs(at-float64(n)*step)))
			}
		}
		// by the weights of the brightness, so that it stays
		for k, v := range [4]float64{s + print*0.587/0.299, s - print, s, s} {
			planes[k].Pix[i] = uint8(min(max(math.Round(v+rng.NormFloat64()), 0), 255))
		}
	}
	return planes[0], planes[1], planes[2], planes[3]
}

// Print that is as bright as what is seen through the ruler is read by its hue, and only
// by that; where nothing is printed no sum of the channels is made.
func TestPrintIsReadByItsHue(t *testing.T) {
	odds := func(reads []*read, err error) float64 {
		if err != nil {
			t.Fatal(err)
		}
		best := math.Inf(-1)
		for _, r := range reads {
			if rd := r.readings[0]; rd.divisions == 10 && math.Abs(r.ladder.periodPx-15) < 0.1 {
				best = math.Max(best, r.odds(0))
			}
		}
		return best
	}
	// the wires and the marks stand as far apart: only the wires' lean tells them apart
	side := candidate{frame: Frame{X: 600, Y: 300, TX: 1, NY: 1, Lo: -580, Hi: 580, Half: 580}, held: 1}
	r, g, b, grey := tintedRuler(30)
	work := level{grey, 1}
	if v := odds(readSideThrough(work, sharpen(grey), side)); v >= leastOdds {
		t.Errorf("read in grey with odds %.1f", v)
	}
	tint := tinted{of: [3]sharpPlane{sharpen(r), sharpen(g), sharpen(b)}}
	if v := odds(tint.readSide(work, side)); v < leastOdds {
		t.Errorf("read in the channels' sum with odds %.1f", v)
	}
	// grey wires change all channels alike, print red and green as it was drawn
	tint.weigh(side.frame, 15)
	w := tint.weight
	if wires, print := math.Abs(float64(w[0]+w[1]+w[2])), math.Abs(float64(w[0]*0.587/0.299-w[1])); wires > 0.1*print {
		t.Errorf("channels weighed %.2f: wires show by %.2f, print by %.2f", w, wires, print)
	}
	r, g, b, grey = tintedRuler(0)
	tint = tinted{of: [3]sharpPlane{sharpen(r), sharpen(g), sharpen(b)}}
	if tint.weigh(side.frame, 15) {
		t.Errorf("channels weighed %.2f without print", tint.weight)
	}
}

// Where no ruler was found the photo's colours are asked, and sides whose edges are hardly
// seen.
func TestThroughAll(t *testing.T) {
	found := func(r, g, b, grey photo.Plane, held float64, colours bool) bool {
		img := image.NewRGBA(image.Rect(0, 0, r.W, r.H))
		for i := range r.Pix {
			img.SetRGBA(i%r.W, i/r.W, color.RGBA{r.Pix[i], g.Pix[i], b.Pix[i], 255})
		}
		var file bytes.Buffer
		if err := png.Encode(&file, img); err != nil {
			t.Fatal(err)
		}
		p, err := photo.Decode("drawn.png", file.Bytes())
		if err != nil {
			t.Fatal(err)
		}
		defer p.Close()
		var c photo.HalfColours
		if colours {
			if c, err = p.HalfColours(); err != nil {
				t.Fatal(err)
			}
		}
		py, err := newPyramid(grey)
		if err != nil {
			t.Fatal(err)
		}
		h := hunt{py: py}
		h.all = []candidate{{frame: Frame{X: 600, Y: 300, TX: 1, NY: 1, Lo: -580, Hi: 580, Half: 580}, held: held}}
		if _, _, err := h.throughAll(c); err != nil {
			t.Fatal(err)
		}
		return slices.ContainsFunc(h.reads, read.alone)
	}
	r, g, b, grey := tintedRuler(30)
	if found(r, g, b, grey, 1, false) || !found(r, g, b, grey, 1, true) {
		t.Error("the colours were not asked, or found nothing")
	}
	p := wiresAcross(1200, 600, 16, 0.05, rand.New(rand.NewPCG(33, 34)))
	laySeeThrough(p, tenths(Inch, 10, 0), []float64{4, 6, 9}, 150, 1.2, 0.75)
	if !found(p, p, p, p, 0.45, false) {
		t.Error("a side whose edge is hardly seen was not read")
	}
	if found(p, p, p, p, 0.2, false) {
		t.Error("a side with no edge was read")
	}
}
