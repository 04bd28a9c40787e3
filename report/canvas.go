package report

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// phonePx is the width, in phone pixels, at which an overlay must be readable.
// The canvas measures its strokes and letters in units of 1/phonePx of its
// width, so a letter 12 units high is 12 px high on such a phone.
const phonePx = 360

// vec is a point or a direction on the canvas: pixels, x right, y down, (0,0)
// the corner of the first pixel.
type vec struct{ x, y float64 }

func (a vec) add(b vec) vec     { return vec{a.x + b.x, a.y + b.y} }
func (a vec) sub(b vec) vec     { return vec{a.x - b.x, a.y - b.y} }
func (a vec) mul(k float64) vec { return vec{a.x * k, a.y * k} }
func (a vec) dot(b vec) float64 { return a.x*b.x + a.y*b.y }
func (a vec) len() float64      { return math.Hypot(a.x, a.y) }
func (a vec) left() vec         { return vec{-a.y, a.x} } // turned by a quarter
func (a vec) finite() bool      { return !math.IsNaN(a.x-a.x) && !math.IsNaN(a.y-a.y) }
func (a vec) in(r image.Rectangle) bool {
	return a.finite() && a.x >= float64(r.Min.X) && a.x <= float64(r.Max.X) && a.y >= float64(r.Min.Y) && a.y <= float64(r.Max.Y)
}
func (a vec) unit() (v vec, ok bool) {
	if l := a.len(); a.finite() && l > 1e-9 {
		return a.mul(1 / l), true
	}
	return vec{}, false
}

// canvas is a picture being drawn on, with its letters.
type canvas struct {
	img           *image.RGBA
	u             float64 // one phone pixel, in canvas pixels
	regular, bold *opentype.Font
	faces         map[faceKey]font.Face
}

type faceKey struct {
	bold bool
	px   float64
}

func newCanvas(img *image.RGBA) (*canvas, error) {
	c := &canvas{img: img, u: float64(img.Bounds().Dx()) / phonePx, faces: map[faceKey]font.Face{}}
	var err error
	if c.regular, err = opentype.Parse(goregular.TTF); err != nil {
		return nil, fmt.Errorf("report: reading the letters: %w", err)
	}
	if c.bold, err = opentype.Parse(gobold.TTF); err != nil {
		return nil, fmt.Errorf("report: reading the bold letters: %w", err)
	}
	return c, nil
}

// face is the letters of a height given in phone pixels.
func (c *canvas) face(bold bool, phone float64) (font.Face, error) {
	key := faceKey{bold, phone * c.u}
	if f, ok := c.faces[key]; ok {
		return f, nil
	}
	src := c.regular
	if bold {
		src = c.bold
	}
	f, err := opentype.NewFace(src, &opentype.FaceOptions{Size: key.px, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		return nil, fmt.Errorf("report: letters of %.0f px: %w", key.px, err)
	}
	c.faces[key] = f
	return f, nil
}

// fill paints a closed polygon. Points that are not finite, and polygons that
// miss the canvas, paint nothing.
func (c *canvas) fill(col color.Color, pts ...vec) {
	lo, hi := vec{math.Inf(1), math.Inf(1)}, vec{math.Inf(-1), math.Inf(-1)}
	for _, p := range pts {
		if !p.finite() || math.Abs(p.x) > 1e6 || math.Abs(p.y) > 1e6 {
			return
		}
		lo = vec{math.Min(lo.x, p.x), math.Min(lo.y, p.y)}
		hi = vec{math.Max(hi.x, p.x), math.Max(hi.y, p.y)}
	}
	if len(pts) < 3 {
		return
	}
	box := image.Rect(int(math.Floor(lo.x)), int(math.Floor(lo.y)), int(math.Ceil(hi.x)), int(math.Ceil(hi.y))).Intersect(c.img.Bounds())
	if box.Empty() {
		return
	}
	z := vector.NewRasterizer(box.Dx(), box.Dy())
	ox, oy := float64(box.Min.X), float64(box.Min.Y)
	z.MoveTo(float32(pts[0].x-ox), float32(pts[0].y-oy))
	for _, p := range pts[1:] {
		z.LineTo(float32(p.x-ox), float32(p.y-oy))
	}
	z.ClosePath()
	z.Draw(c.img, box, image.NewUniform(col), image.Point{})
}

// stroke paints a line of the given width in canvas pixels, with square ends.
func (c *canvas) stroke(col color.Color, width float64, a, b vec) {
	d, ok := b.sub(a).unit()
	if !ok {
		return
	}
	n := d.left().mul(width / 2)
	a, b = a.sub(d.mul(width/4)), b.add(d.mul(width/4))
	c.fill(col, a.add(n), b.add(n), b.sub(n), a.sub(n))
}

// line is a stroke with a dark rim, to be seen on light and dark ground.
func (c *canvas) line(col color.Color, width float64, pts ...vec) {
	for i := 1; i < len(pts); i++ {
		c.stroke(rim, width+1.4*c.u, pts[i-1], pts[i])
	}
	for i := 1; i < len(pts); i++ {
		c.stroke(col, width, pts[i-1], pts[i])
	}
}

// polygon is a filled shape with a dark rim.
func (c *canvas) polygon(col color.Color, centre vec, pts ...vec) {
	grown := make([]vec, len(pts))
	for i, p := range pts {
		d := p.sub(centre)
		l := d.len()
		if l > 0 {
			d = d.mul((l + c.u) / l)
		}
		grown[i] = centre.add(d)
	}
	c.fill(rim, grown...)
	c.fill(col, pts...)
}

// circle is the corners of a circle drawn as a polygon of many sides.
func circle(centre vec, radius float64) []vec {
	const sides = 28
	pts := make([]vec, sides)
	for i := range pts {
		s, co := math.Sincos(2 * math.Pi * float64(i) / sides)
		pts[i] = centre.add(vec{co * radius, s * radius})
	}
	return pts
}

// textSize is the width and the height (ascent and descent) of s in canvas pixels.
func (c *canvas) textSize(s string, bold bool, phone float64) (w, h float64, err error) {
	f, err := c.face(bold, phone)
	if err != nil {
		return 0, 0, err
	}
	m := f.Metrics()
	return float64(font.MeasureString(f, s)) / 64, float64(m.Ascent+m.Descent) / 64, nil
}

// text writes s with its top left corner at p.
func (c *canvas) text(s string, col color.Color, bold bool, phone float64, p vec) error {
	f, err := c.face(bold, phone)
	if err != nil {
		return err
	}
	d := font.Drawer{Dst: c.img, Src: image.NewUniform(col), Face: f,
		Dot: fixed.Point26_6{X: fixed.Int26_6(p.x * 64), Y: fixed.Int26_6(p.y*64) + f.Metrics().Ascent}}
	d.DrawString(s)
	return nil
}

// tag writes s on a dark plate whose near side lies gap phone pixels from p in
// direction dir, moved to stay inside within.
func (c *canvas) tag(s string, col color.Color, phone float64, p, dir vec, gap float64, within image.Rectangle) error {
	if !p.finite() || !dir.finite() {
		return nil
	}
	w, h, err := c.textSize(s, true, phone)
	if err != nil {
		return err
	}
	pad := 2 * c.u
	w, h = w+2*pad, h+pad
	reach := gap*c.u + math.Abs(dir.x)*w/2 + math.Abs(dir.y)*h/2
	at := p.add(dir.mul(reach)).sub(vec{w / 2, h / 2})
	at.x = math.Max(float64(within.Min.X), math.Min(at.x, float64(within.Max.X)-w))
	at.y = math.Max(float64(within.Min.Y), math.Min(at.y, float64(within.Max.Y)-h))
	c.fill(plate, at, at.add(vec{w, 0}), at.add(vec{w, h}), at.add(vec{0, h}))
	return c.text(s, col, true, phone, at.add(vec{pad, pad / 2}))
}

// box paints an upright rectangle.
func (c *canvas) box(col color.Color, r image.Rectangle) {
	draw.Draw(c.img, r.Intersect(c.img.Bounds()), image.NewUniform(col), image.Point{}, draw.Src)
}

// wrap cuts s into lines no wider than width canvas pixels, at spaces where
// there are any.
func (c *canvas) wrap(s string, bold bool, phone, width float64) ([]string, error) {
	f, err := c.face(bold, phone)
	if err != nil {
		return nil, err
	}
	fits := func(t string) bool { return float64(font.MeasureString(f, t))/64 <= width }
	var lines []string
	line := ""
	for _, word := range splitWords(s) {
		if try := joinNotEmpty(" ", line, word); fits(try) {
			line = try
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		// A word wider than a whole line is cut between letters.
		line = ""
		for _, r := range word {
			if line != "" && !fits(line+string(r)) {
				lines = append(lines, line)
				line = ""
			}
			line += string(r)
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines, nil
}
