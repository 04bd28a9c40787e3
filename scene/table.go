package scene

import "math"

// surface is a flat pattern: a table, a panel, a ruler's face, a baulk.
type surface struct {
	pattern  string
	a, b     rgb
	cos, sin float64
	inv      float64 // patterns per mm
	line     float64 // half width of a grid's line, over the pattern
	fade     float64 // how much of a fine pattern the pixels can show, 0 to 1
	coarse   *tile
	fine     *tile
	off      float64
	fineInv  float64 // grain cells per mm
}

// newSurface prepares a flat pattern. mmPerPx is a pixel's size there, and off
// where on the grains it begins.
func newSurface(t Table, g *grains, off, mmPerPx float64) *surface {
	s := &surface{pattern: t.Pattern, a: t.A.lin(), b: t.B.lin(), coarse: g.coarse, fine: g.fine, off: off}
	s.sin, s.cos = math.Sincos(t.AngleDeg * math.Pi / 180)
	size := t.ScaleMM
	if size <= 0 {
		size = 1
	}
	s.inv = 1 / size
	s.line = math.Max(0.15, 0.4*mmPerPx) / size
	s.fineInv = 1 / math.Max(0.12, mmPerPx*0.8)
	// A pattern finer than about two pixels is shown flatter, as a lens would.
	s.fade = smooth(1.4, 4, size/mmPerPx)
	return s
}

// blotch is the slow change of brightness at (x, y), about -0.5 to 0.5; over
// a few millimetres it may be taken as straight.
func (s *surface) blotch(x, y float64) float64 {
	u, v := x*s.cos+y*s.sin+s.off, -x*s.sin+y*s.cos
	return s.coarse.at(u*0.16, v*0.16) - 0.5
}

// at is the surface's colour at (x, y), mm, before light and shadow. blotch is
// that of the place.
func (s *surface) at(x, y, blotch float64) rgb {
	u, v := x*s.cos+y*s.sin+s.off, -x*s.sin+y*s.cos
	switch s.pattern {
	case "wood":
		return s.wood(u, v)
	case "weave":
		p, q := u*s.inv, v*s.inv
		fp, fq := math.Floor(p), math.Floor(q)
		over := (int(fp)+int(fq))&1 == 0
		p, q = p-fp-0.5, q-fq-0.5
		// Threads are rounded: bright along the middle of the one on top.
		h := 1 - 2.6*q*q
		if over {
			h = 1 - 2.6*p*p
		}
		h = 0.62 + (h-0.62)*s.fade
		g := s.fine.rough(u*s.fineInv, v*s.fineInv) - 0.5
		c := s.a
		if over {
			c = mix(s.a, s.b, 0.35*s.fade)
		}
		return c.times(h*(1+0.3*blotch+0.3*g) + 0.1)
	case "corduroy":
		p := u * s.inv
		p += 0.25 * (s.coarse.at(v*0.1, u*0.02) - 0.5)
		p -= math.Floor(p)
		h := math.Sqrt(1 - (2*p-1)*(2*p-1)*0.97)
		h = 0.72 + (h-0.72)*s.fade
		g := s.fine.at(u*s.fineInv*0.5, v*s.fineInv*0.12) - 0.5
		return mix(s.b, s.a, h).times(1 + 0.5*g + 0.3*blotch)
	case "speckle":
		g := s.fine.at(u*s.inv*2, v*s.inv*2)
		t := smooth(0.35, 0.75, g)
		return mix(s.a, s.b, t).times(1 + 0.15*blotch)
	case "grid":
		p, q := u*s.inv, v*s.inv
		dp, dq := math.Abs(p-math.Floor(p+0.5)), math.Abs(q-math.Floor(q+0.5))
		line := max(smooth(s.line*1.4, s.line*0.7, dp), smooth(s.line*1.4, s.line*0.7, dq))
		return mix(s.a, s.b, line*0.8*s.fade).times(1 + 0.1*blotch)
	}
	g := s.fine.rough(u*s.fineInv, v*s.fineInv) - 0.5
	return s.a.times(1 + 0.22*blotch + 0.06*g)
}

// wood has its grain along u. Boards are 7 patterns wide, with a dark joint.
func (s *surface) wood(u, v float64) rgb {
	b := v * s.inv / 7
	board := math.Floor(b)
	u += board * 137.3
	edge := b - board
	joint := smooth(0.0, 0.006, edge) * smooth(1, 0.994, edge)
	p := v*s.inv + 2.2*s.coarse.at(u*0.045, v*0.35+board*31)
	ring := p - math.Floor(p)
	ring = ring * ring * (1.6 - 0.6*ring)
	grain := s.fine.at(u*0.35, v*5) - 0.5
	t := clamp(0.15+0.55*ring+0.8*grain, 0, 1)
	tone := 0.88 + 0.24*s.coarse.rough(board*17, 3)
	return mix(s.a, s.b, t).times(tone * (0.25 + 0.75*joint))
}
