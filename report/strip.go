package report

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"strings"

	"dentcount/measure"
)

// Letter heights of the strip in phone pixels.
const (
	headPx   = 22
	headLow  = 17 // for a headline that would take more than two lines
	detailPx = 14
	legendPx = 12.5
	stripPad = 9
	signPx   = 22 // the sign of the status, left of the headline
)

// stripLine is one line of letters in the strip.
type stripLine struct {
	text  string
	col   color.Color
	bold  bool
	phone float64
	in    float64 // indent in phone pixels
	gap   float64 // extra space above, in phone pixels
}

// legendItem is one entry of the legend.
type legendItem struct {
	key  glyphKey
	word string
}

// strip is the answer under the photo, laid out for a width.
type strip struct {
	lines  []stripLine
	legend [][]legendItem // rows
	status measure.Status
	height float64 // canvas pixels
}

// layStrip lays the strip of r with its words out for the width of c, without
// drawing it.
func layStrip(c *canvas, r measure.Result, words InWords) (strip, error) {
	s := strip{status: r.Status}
	width := float64(c.img.Bounds().Dx()) - 2*stripPad*c.u
	indent := float64(signPx + 7)

	head := upperFirst(Printable(words.Head))
	size := float64(headPx)
	lines, err := c.wrap(head, true, size, width-indent*c.u)
	if err != nil {
		return s, err
	}
	if len(lines) > 2 {
		size = headLow
		if lines, err = c.wrap(head, true, size, width-indent*c.u); err != nil {
			return s, err
		}
	}
	for _, l := range lines {
		s.lines = append(s.lines, stripLine{text: l, col: white, bold: true, phone: size, in: indent})
	}
	add := func(text string, col color.Color, bold bool) error {
		if text == "" {
			return nil
		}
		lines, err := c.wrap(upperFirst(Printable(text)), bold, detailPx, width)
		for i, l := range lines {
			line := stripLine{text: l, col: col, bold: bold, phone: detailPx}
			if i == 0 {
				line.gap = 4
			}
			s.lines = append(s.lines, line)
		}
		return err
	}
	for _, part := range []struct {
		text string
		col  color.Color
		bold bool
	}{{words.Do, white, true}, {words.Sure, white, false}, {words.Detail, white, false}, {words.Why, soft, false}} {
		if err := add(part.text, part.col, part.bold); err != nil {
			return s, err
		}
	}
	if err := s.layLegend(c, r, width); err != nil {
		return s, err
	}

	h := 2 * stripPad * c.u
	for _, l := range s.lines {
		_, lh, err := c.textSize(l.text, l.bold, l.phone)
		if err != nil {
			return s, err
		}
		h += lh + l.gap*c.u
	}
	if len(s.legend) > 0 {
		h += (6 + float64(len(s.legend))*legendPx*1.45) * c.u
	}
	s.height = math.Ceil(h)
	return s, nil
}

// layLegend fills the legend with the kinds of places that occur, and how many.
func (s *strip) layLegend(c *canvas, r measure.Result, width float64) error {
	if r.Evidence == nil {
		return nil
	}
	n := map[glyphKey]int{}
	hasHole := false
	for _, b := range r.Evidence.Bands {
		k := keyOf(b)
		n[k]++
		hasHole = hasHole || k.hole
	}
	x := 0.0
	for _, k := range glyphOrder {
		if n[k] == 0 {
			continue
		}
		word := glyphOf(k).word
		if k.state == measure.BandGood && !k.hole && hasHole {
			word = "slot"
		}
		item := legendItem{key: k, word: fmt.Sprintf("%s %d", word, n[k])}
		w, err := c.legendWidth(item)
		if err != nil {
			return err
		}
		if len(s.legend) == 0 || x+w > width {
			s.legend = append(s.legend, nil)
			x = 0
		}
		last := len(s.legend) - 1
		s.legend[last] = append(s.legend[last], item)
		x += w
	}
	return nil
}

func (c *canvas) legendWidth(item legendItem) (float64, error) {
	w, _, err := c.textSize(item.word, false, legendPx)
	return w + (legendPx+4+14)*c.u, err
}

// draw paints the strip with its top at canvas row top.
func (s strip) draw(c *canvas, top int) error {
	b := c.img.Bounds()
	c.box(stripBack, image.Rect(b.Min.X, top, b.Max.X, b.Max.Y))
	x0 := stripPad * c.u
	y := float64(top) + stripPad*c.u
	s.drawSign(c, vec{x0 + signPx*c.u/2, y + headPx*c.u*0.6})
	for _, l := range s.lines {
		_, h, err := c.textSize(l.text, l.bold, l.phone)
		if err != nil {
			return err
		}
		y += l.gap * c.u
		if err := c.text(l.text, l.col, l.bold, l.phone, vec{x0 + l.in*c.u, y}); err != nil {
			return err
		}
		y += h
	}
	y += 6 * c.u
	for _, row := range s.legend {
		x := x0
		for _, item := range row {
			size := legendPx * c.u
			glyphOf(item.key).draw(c, vec{x + size/2, y + size*0.6}, vec{0, -1}, size)
			if err := c.text(item.word, soft, false, legendPx, vec{x + size + 4*c.u, y}); err != nil {
				return err
			}
			w, err := c.legendWidth(item)
			if err != nil {
				return err
			}
			x += w
		}
		y += legendPx * 1.45 * c.u
	}
	return nil
}

// drawSign paints the status as a sign that is told by its shape: a check, a
// question in a ring, a bar in a triangle.
func (s strip) drawSign(c *canvas, at vec) {
	r := signPx * c.u / 2
	w := 2.6 * c.u
	switch s.status {
	case measure.Answered:
		c.line(inkAnswered, w*1.3, at.add(vec{-0.8 * r, 0}), at.add(vec{-0.2 * r, 0.6 * r}), at.add(vec{0.9 * r, -0.7 * r}))
	case measure.Unsure:
		ring := circle(at, r*0.9)
		c.fill(inkUnsure, ring...)
		// The question mark is a letter; a failure to set it leaves the disc.
		if tw, th, err := c.textSize("?", true, signPx*0.8); err == nil {
			_ = c.text("?", stripBack, true, signPx*0.8, at.sub(vec{tw / 2, th / 2}))
		}
	default:
		c.fill(inkRefused, at.add(vec{0, -r}), at.add(vec{r, 0.8 * r}), at.add(vec{-r, 0.8 * r}))
		c.stroke(stripBack, w, at.add(vec{0, -0.35 * r}), at.add(vec{0, 0.25 * r}))
		c.stroke(stripBack, w, at.add(vec{0, 0.42 * r}), at.add(vec{0, 0.58 * r}))
	}
}

func splitWords(s string) []string { return strings.Fields(s) }
