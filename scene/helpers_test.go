package scene

import (
	"image"
	"math"
	"testing"
)

// plain is a small scene with nothing to disturb a reading: even light, a
// black table, matte white wires with sharp corners, a linear sensor.
func plain(kind PartKind) Spec {
	p := Part{
		Kind: kind, Label: "10", System: "inch", DentsPerInch: 10,
		X0MM: -60 * 2.54, Bands: 121, YLowMM: -40, YHighMM: 40, DepthMM: 3, WireFraction: 0.4,
		SlotFraction: 0.4, HoleFraction: 0.36, HoleLengthMM: 10, HoleYMM: -12,
		Finish: Finish{Colour: RGB{0.7, 0.7, 0.7}, GapAO: 1, Texture: "plain"},
	}
	r := Ruler{
		Kind: "in16+mm", Look: "white", XMM: 0, YMM: 5, MidMM: 80, LengthMM: 160, WidthMM: 25, ThicknessMM: 2,
		Face: RGB{0.7, 0.7, 0.7}, Side: RGB{0.2, 0.2, 0.2}, Texture: "plain",
		Scales: []Scale{
			{Unit: "in", Divisions: 16, ZeroMM: 3, Last: 6, LengthsMM: []float64{8, 6, 4.5, 3.5, 2.8}, WidthMM: 0.3, UnitWidthMM: 0.3},
			{Unit: "cm", Divisions: 10, HighEdge: true, ZeroMM: 3, Last: 15, LengthsMM: []float64{8, 6, 4}, WidthMM: 0.3, UnitWidthMM: 0.3},
		},
	}
	return Spec{
		Seed: 3, Case: "usual", Expect: ExpectAnswer, Width: 1200, Height: 800, Part: p,
		Table:  Table{BelowMM: 8, Pattern: "plain", ScaleMM: 5},
		Rulers: []Ruler{r},
		Light:  Light{Ambient: 1},
		Camera: Camera{F35: 36, Convention: "width", DistanceMM: 150},
		Sensor: Sensor{BlurPx: 0.7, Exposure: 1},
		File:   File{Orientation: 1, JPEGQuality: 90},
	}
}

func drawn(t *testing.T, s Spec) (*image.YCbCr, Truth) {
	t.Helper()
	img, truth, err := Draw(s)
	if err != nil {
		t.Fatal(err)
	}
	return img, truth
}

// light is the picture's linear brightness at the point (x, y), pixels from
// the corner, straight between pixel centres.
func light(img *image.YCbCr, x, y float64) float64 {
	x, y = x-0.5, y-0.5
	ix, iy := int(math.Floor(x)), int(math.Floor(y))
	at := func(dx, dy int) float64 {
		px, py := max(0, min(img.Rect.Dx()-1, ix+dx)), max(0, min(img.Rect.Dy()-1, iy+dy))
		return inverseSRGB(float64(img.Y[py*img.YStride+px]) / 255)
	}
	u, v := x-float64(ix), y-float64(iy)
	return (at(0, 0)*(1-u)+at(1, 0)*u)*(1-v) + (at(0, 1)*(1-u)+at(1, 1)*u)*v
}

// line samples n+1 values from a to b.
func line(img *image.YCbCr, ax, ay, bx, by float64, n int) []float64 {
	out := make([]float64, n+1)
	for i := range out {
		t := float64(i) / float64(n)
		out[i] = light(img, ax+t*(bx-ax), ay+t*(by-ay))
	}
	return out
}

// edgeAt finds the one edge near the middle of the line from a to b: the
// centroid of the brightness's change, as an offset from the middle in pixels.
func edgeAt(img *image.YCbCr, ax, ay, bx, by float64) float64 {
	const n = 200
	v := line(img, ax, ay, bx, by, n)
	var sum, moment float64
	for i := 1; i <= n; i++ {
		g := v[i] - v[i-1]
		sum += g
		moment += g * (float64(i) - 0.5)
	}
	return (moment/sum/n - 0.5) * math.Hypot(bx-ax, by-ay)
}

// darkAt finds the one dark (or bright) band near the middle of the line from
// a to b, against the brightness at its ends, as edgeAt does.
func darkAt(img *image.YCbCr, ax, ay, bx, by float64) float64 {
	const n = 200
	v := line(img, ax, ay, bx, by, n)
	var sum, moment float64
	for i := range v {
		base := v[0] + (v[n]-v[0])*float64(i)/n
		sum += base - v[i]
		moment += (base - v[i]) * float64(i)
	}
	return (moment/sum/n - 0.5) * math.Hypot(bx-ax, by-ay)
}

// worst keeps the largest deviation of a series and how many there were.
type worst struct {
	n   int
	max float64
	at  string
}

func (w *worst) note(dev float64, at string) {
	w.n++
	if math.Abs(dev) > math.Abs(w.max) {
		w.max, w.at = dev, at
	}
}

func (w *worst) check(t *testing.T, what string, least int, limit float64) {
	t.Helper()
	if w.n < least {
		t.Errorf("%s: only %d found, want at least %d", what, w.n, least)
	}
	if !(math.Abs(w.max) <= limit) {
		t.Errorf("%s: off by %.3f px (limit %.3f) at %s", what, w.max, limit, w.at)
	}
	t.Logf("%s: %d looked at, worst %.4f px at %s", what, w.n, w.max, w.at)
}
