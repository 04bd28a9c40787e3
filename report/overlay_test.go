package report

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gocv.io/x/gocv"

	"dentcount/measure"
	"dentcount/photo"
)

// overlayOf draws the sketch and its overlay after change has had its way.
// With DENTCOUNT_LOOK=DIR in the environment the picture is written there, and
// as a phone shows it, to be looked at.
func overlayOf(t *testing.T, s sketch, change func(*measure.Result)) image.Image {
	t.Helper()
	r := s.result()
	p := s.photo(t, r)
	defer p.Close()
	if change != nil {
		change(&r)
	}
	before := p.Pixels.ToBytes()
	img, err := Overlay(p, r)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(p.Pixels.ToBytes(), before) {
		t.Error("Overlay drew into the photo itself")
	}
	if dir := os.Getenv("DENTCOUNT_LOOK"); dir != "" {
		name := strings.NewReplacer("/", "-", " ", "-").Replace(t.Name())
		phone := Thumbnail(img, phonePx*max(img.Bounds().Dx(), img.Bounds().Dy())/img.Bounds().Dx())
		for suffix, im := range map[string]image.Image{"": img, "-phone": phone} {
			f, err := os.Create(filepath.Join(dir, name+suffix+".png"))
			if err != nil {
				t.Fatal(err)
			}
			if err := png.Encode(f, im); err != nil {
				t.Fatal(err)
			}
			f.Close()
		}
	}
	return img
}

// stripTop is the first row of the strip, from the photo's share of the height.
func stripTop(img image.Image, s sketch) int {
	k := overlayMaxPx / float64(max(s.w, s.h))
	if k > 1 {
		k = 1
		if long := max(s.w, s.h); long < overlayMinPx {
			k = math.Min(overlayMinPx/float64(long), overlayMaxGrow)
		}
	}
	width := math.Max(overlayMinWidth, math.Round(float64(s.w)*k))
	return max(int(math.Round(float64(s.h)*k)), int(overlayMinShare*width))
}

func TestOverlayKinds(t *testing.T) {
	for _, c := range []struct {
		name   string
		s      sketch
		change func(*measure.Result)
	}{
		{"twelve megapixels", sketch{w: 4000, h: 3000, pxPerInch: 560, perInch: 10.16, turnDeg: 3, inches: 6}, nil},
		{"upright phone, unsure", sketch{w: 1500, h: 2000, pxPerInch: 260, perInch: 15, turnDeg: 80, inches: 6, cm: true}, func(r *measure.Result) {
			r.Status, r.Reason, r.Advice = measure.Unsure, "two sizes are this close", "Tell how thick the ruler is."
			r.Size.Label, r.Size.System, r.Size.Confidence = "15", "inch", 0.64
			r.Size.Others = []measure.SizeChoice{{Label: "60/10", System: "metric", Confidence: 0.35}}
		}},
		{"refused without evidence", sketch{w: 900, h: 600, pxPerInch: 100, perInch: 8, inches: 6}, func(r *measure.Result) {
			*r = measure.Result{Status: measure.Refused, Reason: "no ruler was found, and without one there is no scale",
				Advice: "Lay a ruler flat across the wires and take the photo again from straight above."}
		}},
		{"refused with marks only", sketch{w: 900, h: 600, pxPerInch: 100, perInch: 8, inches: 6}, func(r *measure.Result) {
			r.Status, r.Reason = measure.Refused, "no wires were found at the ruler"
			r.Evidence.Bands, r.Count, r.Pitch, r.Size = nil, nil, nil, nil
		}},
		{"small rigid heddle", sketch{w: 300, h: 200, pxPerInch: 40, perInch: 5, turnDeg: -20, inches: 6}, func(r *measure.Result) {
			r.Part, r.Size.Label, r.Size.System, r.Size.DentsPerInch = "rigid-heddle", "5", "inch", 5
			for i := range r.Evidence.Bands {
				r.Evidence.Bands[i].Kind = []string{"slot", "hole"}[i%2]
			}
		}},
		{"narrow", sketch{w: 200, h: 2000, pxPerInch: 300, perInch: 12, turnDeg: 90, inches: 6}, nil},
		{"wide", sketch{w: 3000, h: 120, pxPerInch: 400, perInch: 12, inches: 6}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			img := overlayOf(t, c.s, c.change)
			b := img.Bounds()
			top := stripTop(img, c.s)
			if max(b.Dx(), top) > overlayMaxPx || b.Dx() < overlayMinWidth {
				t.Errorf("size %v with the photo %d high", b, top)
			}
			// The strip holds light letters, and none runs over its edge.
			letters := 0
			pad := (stripPad - 2) * b.Dx() / phonePx
			for y := top; y < b.Dy(); y++ {
				for x := b.Min.X; x < b.Max.X; x++ {
					if lightness(img.At(x, y)) < 0.5 {
						continue
					}
					letters++
					if x < pad || x >= b.Dx()-pad || y >= b.Dy()-pad {
						t.Fatalf("something light in the margin at %d, %d of %v", x, y, b)
					}
				}
			}
			if share := float64(letters) / float64(b.Dx()*(b.Dy()-top)); share < 0.01 {
				t.Errorf("only %.2f %% of the strip is letters", 100*share)
			}
		})
	}
}

func lightness(c color.Color) float64 {
	g := color.GrayModel.Convert(c).(color.Gray)
	return float64(g.Y) / 255
}

// The contract counts from the corner of the first pixel. In a photo that is
// black left of its middle and white from there on, a tick at the middle stands
// astride the edge, in a photo that is reduced by two as in one that is
// enlarged by four, where counting from pixel centres would be two pixels off.
func TestOverlayCountsPixelsFromTheCorner(t *testing.T) {
	for _, c := range []struct{ w, h, edge int }{{4000, 3000, 1000}, {250, 188, 500}} {
		m := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(0, 0, 0, 0), c.h, c.w, gocv.MatTypeCV8UC3)
		half := m.Region(image.Rect(c.w/2, 0, c.w, c.h))
		half.SetTo(gocv.NewScalar(255, 255, 255, 0))
		half.Close()
		p := &photo.Photo{Name: "edge", Pixels: m}
		w, mid := float64(c.w), float64(c.h)/2
		img, err := Overlay(p, measure.Result{Status: measure.Refused, Evidence: &measure.Evidence{
			TickLine: []measure.Point{{w / 4, mid}, {w * 3 / 4, mid}},
			Bands:    []measure.Band{{At: measure.Point{w / 2, mid}, Toward: measure.Point{w / 2, 0}, State: measure.BandGood}},
		}})
		p.Close()
		if err != nil {
			t.Fatal(err)
		}
		if l, r := lightness(img.At(c.edge-1, 10)), lightness(img.At(c.edge, 10)); l > 0.5 || r < 0.5 {
			t.Fatalf("%d px wide: the photo's edge is not at %d: %.2f beside %.2f", c.w, c.edge, l, r)
		}
		k := float64(c.edge) / (w / 2)
		u := w * k / phonePx
		y := int(mid*k - (tickGapPx+tickPx/2)*u)
		first, last := -1, -1
		for x := c.edge - 50; x < c.edge+50; x++ {
			r16, g16, b16, _ := img.At(x, y).RGBA()
			if g16 > r16+0x2000 && g16 > b16 { // the green of a counted place
				if first < 0 {
					first = x
				}
				last = x
			}
		}
		if first < 0 {
			t.Fatalf("%d px wide: no tick where the band is", c.w)
		}
		if middle := float64(first+last+1) / 2; math.Abs(middle-float64(c.edge)) > 0.75 {
			t.Errorf("%d px wide: the tick covers %d to %d, its middle is %.1f and not %d", c.w, first, last, middle, c.edge)
		}
	}
}

// Without colours, every sign still differs from every other.
func TestSignsDifferInShape(t *testing.T) {
	const size = 60
	masks := map[glyphKey][]bool{}
	for _, k := range glyphOrder {
		img := image.NewRGBA(image.Rect(0, 0, 360, 360)) // one pixel a phone pixel, as on the phone
		c, err := newCanvas(img)
		if err != nil {
			t.Fatal(err)
		}
		glyphOf(k).draw(c, vec{size / 2, size / 2}, vec{0, -1}, oddPx)
		mask := make([]bool, size*size)
		n := 0
		for i := range mask {
			mask[i] = img.RGBAAt(i%size, i/size).A > 128
			if mask[i] {
				n++
			}
		}
		if n == 0 {
			t.Fatalf("%v draws nothing", k)
		}
		masks[k] = mask
	}
	for i, a := range glyphOrder {
		for _, b := range glyphOrder[:i] {
			both, either := 0, 0
			for p := range masks[a] {
				if masks[a][p] && masks[b][p] {
					both++
				}
				if masks[a][p] || masks[b][p] {
					either++
				}
			}
			if overlap := float64(both) / float64(either); overlap > 0.75 {
				t.Errorf("%v and %v cover the same %.0f %% at phone size", a, b, 100*overlap)
			}
			if glyphOf(a).word == glyphOf(b).word {
				t.Errorf("%v and %v have the same word", a, b)
			}
		}
	}
}

// Contrast ratio by WCAG 2.2 (W3C Recommendation, definitions "contrast ratio"
// and "relative luminance"): at least 4.5 for text, 3 for signs.
func TestContrast(t *testing.T) {
	lum := func(c color.NRGBA) float64 {
		f := func(v uint8) float64 {
			s := float64(v) / 255
			if s <= 0.04045 {
				return s / 12.92
			}
			return math.Pow((s+0.055)/1.055, 2.4)
		}
		return 0.2126*f(c.R) + 0.7152*f(c.G) + 0.0722*f(c.B)
	}
	ratio := func(a, b color.NRGBA) float64 {
		la, lb := lum(a), lum(b)
		return (math.Max(la, lb) + 0.05) / (math.Min(la, lb) + 0.05)
	}
	if got := ratio(color.NRGBA{255, 255, 255, 255}, color.NRGBA{0, 0, 0, 255}); math.Abs(got-21) > 1e-9 {
		t.Fatalf("white on black is 21 by the standard, here %v", got)
	}
	for name, ink := range map[string]color.NRGBA{"white": white, "soft": soft} {
		if got := ratio(ink, stripBack); got < 4.5 {
			t.Errorf("%s letters on the strip: %.1f", name, got)
		}
	}
	// The plate and the rim are not quite opaque: on white ground they are lightest.
	over := func(c color.NRGBA) color.NRGBA {
		mix := func(v uint8) uint8 { return uint8((int(v)*int(c.A) + 255*(255-int(c.A))) / 255) }
		return color.NRGBA{mix(c.R), mix(c.G), mix(c.B), 255}
	}
	for name, ink := range map[string]color.NRGBA{"values": rulerInk, "white": white, "numbers": inkGood} {
		if got := ratio(ink, over(plate)); got < 4.5 {
			t.Errorf("%s on their plate over white: %.1f", name, got)
		}
	}
	for name, ink := range map[string]color.NRGBA{"good": inkGood, "bent": inkBent, "missing": inkMissing, "hidden": inkHidden, "by hand": inkByHand,
		"answered": inkAnswered, "unsure": inkUnsure, "refused": inkRefused} {
		if got := ratio(ink, over(rim)); got < 3 {
			t.Errorf("sign %s on its rim over white: %.1f", name, got)
		}
	}
}

// Evidence that makes no sense is left out; it never panics or hangs.
func TestOverlayWithBadEvidence(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for i, pts := range [][]measure.Point{
		nil, {}, {{1, 1}}, {{1, 1}, {1, 1}}, {{nan, 1}, {2, nan}}, {{inf, -inf}, {1, 1}}, {{1e300, 1}, {-1e300, 1}}, {{-5e5, 3}, {5e5, 3}}, {{-50, -50}, {900, 900}},
	} {
		s := plainSketch()
		r := s.result()
		p := s.photo(t, r)
		r.Evidence.TickLine, r.Evidence.OneInch = pts, pts
		for j := range r.Evidence.Bands {
			if len(pts) > 0 {
				r.Evidence.Bands[j].At = pts[j%len(pts)]
				r.Evidence.Bands[j].Toward = pts[(j+1)%len(pts)]
			}
		}
		for j := range r.Evidence.Marks {
			if len(pts) > 0 {
				r.Evidence.Marks[j].At = pts[j%len(pts)]
			}
		}
		r.Ruler.Marks = r.Evidence.Marks
		r.Ruler.Marks[0].Value = nan
		if _, err := Overlay(p, r); err != nil {
			t.Errorf("case %d: %v", i, err)
		}
		p.Close()
	}
}

func TestOverlayRefusesWhatDoesNotBelong(t *testing.T) {
	if _, err := Overlay(nil, measure.Result{}); err == nil {
		t.Error("no photo: no error")
	}
	s := plainSketch()
	r := s.result()
	p := s.photo(t, r)
	r.Evidence.SizePx = [2]int{s.h, s.w}
	if _, err := Overlay(p, r); err == nil || !strings.Contains(err.Error(), fmt.Sprintf("%d×%d", s.h, s.w)) {
		t.Errorf("a result of a photo of another size: %v", err)
	}
	p.Close()
	if _, err := Overlay(p, s.result()); err == nil {
		t.Error("a closed photo: no error")
	}
}

func TestThumbnail(t *testing.T) {
	img := image.NewRGBA(image.Rect(0, 0, 2000, 1000))
	for _, c := range []struct{ px, w, h int }{{200, 200, 100}, {5000, 2000, 1000}, {1, 1, 1}, {0, 1, 1}, {-3, 1, 1}} {
		if b := Thumbnail(img, c.px).Bounds(); b.Dx() != c.w || b.Dy() != c.h {
			t.Errorf("%d px: %v", c.px, b)
		}
	}
}

func BenchmarkOverlay12MP(b *testing.B) {
	s := sketch{w: 4000, h: 3000, pxPerInch: 560, perInch: 10.16, turnDeg: 3, inches: 6}
	r := s.result()
	m := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(128, 140, 150, 0), s.h, s.w, gocv.MatTypeCV8UC3)
	defer m.Close()
	p := &photo.Photo{Pixels: m}
	for b.Loop() {
		img, err := Overlay(p, r)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := jpegWithComment(img, "x"); err != nil {
			b.Fatal(err)
		}
	}
}
