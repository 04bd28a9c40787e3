package report

import (
	"image"
	"image/color"
	"math"
	"testing"

	"gocv.io/x/gocv"

	"dentcount/measure"
	"dentcount/photo"
)

// sketch is a picture of a ruler lying on wires, drawn for these tests alone,
// and the result that a perfect reading of it would give. Its geometry is that
// of a flat drawing: no perspective.
type sketch struct {
	w, h      int
	pxPerInch float64
	perInch   float64 // wires per inch
	turnDeg   float64 // the ruler's direction against the horizontal
	inches    int
	cm        bool
}

// place is a point given along and across the ruler (inches, toward the wires)
// as the contract counts it.
func (s sketch) place(along, across float64) measure.Point {
	sin, cos := math.Sincos(s.turnDeg * math.Pi / 180)
	x := (along - float64(s.inches)/2) * s.pxPerInch
	y := -across * s.pxPerInch
	return measure.Point{float64(s.w)/2 + cos*x - sin*y, float64(s.h)*0.55 + sin*x + cos*y}
}

func (s sketch) result() measure.Result {
	r := measure.Result{
		Schema: 1, Photo: "sketch.jpg", Status: measure.Answered, Part: "reed",
		Ruler: &measure.Ruler{Unit: "in", Divisions: 8, PxPerInch: s.pxPerInch, SpanIn: float64(s.inches), TiltDeg: s.turnDeg},
		Count: &measure.Count{OverIn: float64(s.inches), InOneInch: measure.Range{Min: math.Floor(s.perInch*2) / 2, Max: math.Ceil(s.perInch*2) / 2}},
		Pitch: &measure.Pitch{DentsPerInch: s.perInch, U: 0.011, DentsPer10CM: s.perInch * 100 / 25.4},
		Size: &measure.Size{
			SizeChoice: measure.SizeChoice{Label: "40/10", System: "metric", DentsPerInch: 10.16, Confidence: 0.987},
			Others:     []measure.SizeChoice{{Label: "10", System: "inch", DentsPerInch: 10, Confidence: 0.012}},
		},
		Budget: []measure.BudgetLine{{Source: "ruler marks", RelativeU: 0.0004}, {Source: "ruler above the wires", RelativeU: 0.0009, Note: "thickness not told"}},
		Order:  "reed, 40/10 (10.16 per inch)",
		Evidence: &measure.Evidence{
			TickLine: []measure.Point{s.place(0, 0), s.place(float64(s.inches), 0)},
			OneInch:  []measure.Point{s.place(2, 0), s.place(3, 0)},
			SizePx:   [2]int{s.w, s.h},
		},
	}
	unit := 1.0
	if s.cm {
		r.Ruler.Unit, r.Ruler.Divisions, unit = "cm", 10, 1/2.54
	}
	for i := 0; float64(i)*unit <= float64(s.inches); i++ {
		r.Ruler.Marks = append(r.Ruler.Marks, measure.Mark{Value: float64(i), At: s.place(float64(i)*unit, 0)})
	}
	step := unit / float64(r.Ruler.Divisions)
	for i := 0; float64(i)*step <= float64(s.inches); i++ {
		r.Evidence.Marks = append(r.Evidence.Marks, measure.Mark{Value: float64(i) / float64(r.Ruler.Divisions), At: s.place(float64(i)*step, 0)})
	}
	n := int(float64(s.inches) * s.perInch)
	for i := 0; i <= n; i++ {
		along := float64(i) / s.perInch
		b := measure.Band{Index: i, At: s.place(along, 0), Toward: s.place(along, 1), AlongIn: along, Kind: "wire", State: measure.BandGood}
		switch i {
		case 7:
			b.State = measure.BandBent
			r.Count.Bent++
		case 20, 21:
			b.State = measure.BandMissing
			r.Count.Missing++
		case 33, 34, 35:
			b.State = measure.BandHidden
		case 44:
			b.State = measure.BandByHand
		}
		r.Evidence.Bands = append(r.Evidence.Bands, b)
	}
	r.Count.Dents = n
	return r
}

// photo draws the sketch. The test closes it.
func (s sketch) photo(t *testing.T, r measure.Result) *photo.Photo {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, s.w, s.h))
	c, err := newCanvas(img)
	if err != nil {
		t.Fatal(err)
	}
	c.box(color.NRGBA{150, 140, 128, 255}, img.Bounds())
	at := func(along, across float64) vec {
		p := s.place(along, across)
		return vec{p[0], p[1]}
	}
	far := 3.0
	for _, b := range r.Evidence.Bands {
		if b.State == measure.BandMissing {
			continue
		}
		lean := 0.0
		if b.State == measure.BandBent {
			lean = 0.3 / s.perInch
		}
		c.stroke(color.NRGBA{70, 72, 78, 255}, 0.35*s.pxPerInch/s.perInch, at(b.AlongIn+lean, -far), at(b.AlongIn+lean, far))
	}
	long := float64(s.inches) + 0.3
	c.fill(color.NRGBA{228, 226, 214, 255}, at(-0.3, 0), at(long, 0), at(long, -1.1), at(-0.3, -1.1))
	for _, m := range r.Evidence.Marks {
		p := vec{m.At[0], m.At[1]}
		sin, cos := math.Sincos(s.turnDeg * math.Pi / 180)
		l := 0.12
		if m.Value == math.Trunc(m.Value) {
			l = 0.3
		}
		c.stroke(color.NRGBA{20, 20, 20, 255}, math.Max(1, 0.012*s.pxPerInch), p, p.add(vec{-sin, cos}.mul(l*s.pxPerInch)))
	}
	mat, err := gocv.ImageToMatRGB(img)
	if err != nil {
		t.Fatal(err)
	}
	return &photo.Photo{Name: r.Photo, Pixels: mat, Format: "jpeg", SHA256: "0123"}
}
