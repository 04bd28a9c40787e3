package report

import (
	"image/color"

	"dentcount/measure"
)

// Colours of the overlay. Each meaning has a shape of its own as well; the
// colours differ in lightness too, and all stand against the dark rim.
var (
	rim       = color.NRGBA{12, 16, 24, 215}
	plate     = color.NRGBA{12, 16, 24, 200}
	white     = color.NRGBA{255, 255, 255, 255}
	soft      = color.NRGBA{205, 212, 222, 255}
	stripBack = color.NRGBA{18, 22, 31, 255}
	rulerInk  = color.NRGBA{255, 240, 170, 255}

	inkGood    = color.NRGBA{98, 226, 196, 255}
	inkBent    = color.NRGBA{255, 176, 32, 255}
	inkMissing = color.NRGBA{255, 120, 170, 255}
	inkHidden  = color.NRGBA{214, 214, 222, 255}
	inkByHand  = color.NRGBA{120, 186, 255, 255}

	inkAnswered = color.NRGBA{98, 226, 196, 255}
	inkUnsure   = color.NRGBA{255, 196, 64, 255}
	inkRefused  = color.NRGBA{255, 132, 120, 255}
)

// glyph is how one kind of place along the ruler is drawn and named.
type glyph struct {
	word string
	draw func(c *canvas, at, dir vec, size float64)
}

// glyphKey tells places apart that look different on the picture.
type glyphKey struct {
	state measure.BandState
	hole  bool
}

func keyOf(b measure.Band) glyphKey {
	switch b.State {
	case measure.BandBent, measure.BandMissing, measure.BandHidden, measure.BandByHand, measure.BandLeftOut:
		return glyphKey{state: b.State}
	}
	return glyphKey{state: measure.BandGood, hole: b.Kind == "hole"}
}

// glyphOrder is the order in the legend.
var glyphOrder = []glyphKey{
	{state: measure.BandGood}, {state: measure.BandGood, hole: true},
	{state: measure.BandBent}, {state: measure.BandMissing}, {state: measure.BandHidden}, {state: measure.BandByHand}, {state: measure.BandLeftOut},
}

// glyphOf draws about the point at, along the band's direction dir, within a
// square of the given size in canvas pixels.
func glyphOf(k glyphKey) glyph {
	switch k.state {
	case measure.BandBent:
		// A kink, like the wire's own.
		return glyph{"bent", func(c *canvas, at, dir vec, size float64) {
			n, h := dir.left().mul(size*0.3), dir.mul(size/2)
			c.line(inkBent, 1.5*c.u, at.sub(h), at.sub(h.mul(0.2)).add(n), at.add(h.mul(0.2)).sub(n), at.add(h))
		}}
	case measure.BandMissing:
		// An empty ring: a place with nothing in it.
		return glyph{"missing", func(c *canvas, at, dir vec, size float64) {
			ring := circle(at, size*0.42)
			c.line(inkMissing, 1.2*c.u, append(ring, ring[0], ring[1])...)
		}}
	case measure.BandHidden:
		// A covered place: a square barred across.
		return glyph{"hidden", func(c *canvas, at, dir vec, size float64) {
			n, h := dir.left().mul(size*0.42), dir.mul(size*0.42)
			p := []vec{at.add(n).add(h), at.sub(n).add(h), at.sub(n).sub(h), at.add(n).sub(h)}
			c.line(inkHidden, 1.1*c.u, p[0], p[1], p[2], p[3], p[0], p[2])
		}}
	case measure.BandByHand:
		// A full diamond.
		return glyph{"counted in by hand", func(c *canvas, at, dir vec, size float64) {
			n, h := dir.left().mul(size*0.5), dir.mul(size*0.5)
			c.polygon(inkByHand, at, at.add(h), at.add(n), at.sub(h), at.sub(n))
		}}
	}
	if k.state == measure.BandLeftOut {
		// A cross: struck out by a person.
		return glyph{"left out by hand", func(c *canvas, at, dir vec, size float64) {
			n, h := dir.left().mul(size*0.36), dir.mul(size*0.36)
			c.line(inkByHand, 1.4*c.u, at.sub(h).sub(n), at.add(h).add(n))
			c.line(inkByHand, 1.4*c.u, at.sub(h).add(n), at.add(h).sub(n))
		}}
	}
	if k.hole {
		// A short tick with a bead.
		return glyph{"hole", func(c *canvas, at, dir vec, size float64) {
			h := dir.mul(size / 2)
			c.line(inkGood, min(c.u, size*0.2), at.sub(h), at)
			bead := at.add(dir.mul(size * 0.2))
			c.polygon(inkGood, bead, circle(bead, size*0.24)...)
		}}
	}
	return glyph{"counted", func(c *canvas, at, dir vec, size float64) {
		h := dir.mul(size / 2)
		c.line(inkGood, min(c.u, size*0.2), at.sub(h), at.add(h))
	}}
}
