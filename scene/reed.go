package scene

import "math"

// rust is the colour that wires take where they rust; patchy.
var rustColour = rgb{0.19, 0.065, 0.02}

// reed draws wires, teeth or a heddle's openings, with baulks and caps.
type reed struct {
	part   Part
	kind   PartKind
	v      *view
	wires  *wires
	noise  *tile
	skin   *surface // the panel's surface
	bar    *surface // the baulks'
	invRY  float64  // one over the highlight's extent along y, per mm
	low    bar
	high   bar
	caps   []bar // across x
	capCol rgb
	xLo    float64 // the part's extent
	xHi    float64
	yLo    float64
	yHi    float64
	light  *lights
	tint   rgb // of highlights: metals and lacquers colour them a little

	// A heddle's openings by index of pitch, and their walls.
	slots   []opening
	wallDim float64
}

// bar is a long box: a baulk along x, or a cap along y.
type bar struct {
	from, to float64 // its own place across, mm
	top      float64
	pr       profile
	on       bool
}

func newReed(s Spec, v *view, lt *lights, g *grains) *reed {
	p := s.Part
	r := &reed{part: p, kind: p.Kind, v: v, light: lt}
	r.noise = g.mid
	c := p.Finish.Colour
	r.tint = rgb{0.4 + 0.6*min(1, c[0]*1.5), 0.4 + 0.6*min(1, c[1]*1.5), 0.4 + 0.6*min(1, c[2]*1.5)}
	pitch := p.PitchMM()
	r.xLo = p.X0MM - pitch
	r.xHi = p.X0MM + float64(p.Bands)*pitch
	mmPerPx := v.cz / v.f
	if p.Kind == Board || p.Kind == RigidHeddle {
		if p.Kind == Board {
			r.xLo, r.xHi = p.X0MM, p.X0MM+float64(p.Bands)
		}
		r.skin = newSurface(Table{Pattern: p.Finish.Texture, A: p.Finish.Colour, B: dim(p.Finish.Colour, 0.55), ScaleMM: 6, AngleDeg: float64(s.Seed%2) * 90}, g, 731, mmPerPx)
	}
	if p.Kind == Reed || p.Kind == Comb {
		r.wires = newWires(s, v)
	}
	if p.Kind == RigidHeddle {
		r.slots = newOpenings(s)
		r.wallDim = 0.35 + 0.4*p.Finish.GapAO
	}
	r.invRY = 1 / math.Max(1, v.cz*math.Max(0.05, p.Finish.RoughY))
	if p.Baulk.WidthMM > 0 && p.Kind != Board {
		r.bar = newSurface(Table{Pattern: p.Baulk.Texture, A: p.Baulk.Colour, B: dim(p.Baulk.Colour, 0.5), ScaleMM: 5}, g, 1377, mmPerPx)
		below := math.Min(s.Table.BelowMM, p.DepthMM+p.Baulk.AboveMM)
		lay1 := func(from, to, cam, slope float64) bar {
			pr := lay(barSection(from, to, below, p.Baulk.AboveMM, p.Baulk.Round), 0, cam, v.cz,
				sheen{lightSlope: slope, ambient: s.Light.Ambient, rough: 0.35})
			return bar{from: from, to: to, top: p.Baulk.AboveMM, pr: pr, on: true}
		}
		r.low = lay1(p.YLowMM-p.Baulk.WidthMM, p.YLowMM, v.cy, s.Light.SlopeY)
		if !p.Baulk.LowOnly {
			r.high = lay1(p.YHighMM, p.YHighMM+p.Baulk.WidthMM, v.cy, s.Light.SlopeY)
		}
		if w := p.Caps.WidthMM; w > 0 {
			r.capCol = p.Caps.Colour.lin()
			if p.Caps.Low {
				r.caps = append(r.caps, lay1(r.xLo-w, r.xLo, v.cx, s.Light.SlopeX))
				r.xLo -= w
			}
			if p.Caps.High {
				r.caps = append(r.caps, lay1(r.xHi, r.xHi+w, v.cx, s.Light.SlopeX))
				r.xHi += w
			}
		}
	}
	r.yLo, r.yHi = p.YLowMM-p.Baulk.WidthMM, p.YHighMM+p.Baulk.WidthMM
	return r
}

// barsNear says whether a baulk or a cap may be seen in a stretch of z = 0.
func (r *reed) barsNear(x0, x1, y0, y1 float64) bool {
	for _, b := range [2]*bar{&r.low, &r.high} {
		if b.on && y1 >= b.pr.lo && y0 <= b.pr.hi {
			return true
		}
	}
	for i := range r.caps {
		if x1 >= r.caps[i].pr.lo && x0 <= r.caps[i].pr.hi {
			return true
		}
	}
	return false
}

// hit is what a layer gives to a pixel: its light, already multiplied by the
// share of the pixel it covers.
type hit struct {
	rgb
	cov float64
}

// bars draws baulks and caps for the ray meeting z = 0 at (x, y), with filter
// widths wx, wy.
func (r *reed) bars(x, y, wx, wy float64) hit {
	var h hit
	for _, b := range [2]*bar{&r.low, &r.high} {
		if !b.on || y+wy < b.pr.lo || y-wy > b.pr.hi {
			continue
		}
		cy := covered(y, wy, b.pr.lo, b.pr.hi)
		// The bar's ends: seen at the height of its top.
		k := (r.v.cz - b.top) / r.v.cz
		xt := r.v.cx + (x-r.v.cx)*k
		c := cy * covered(xt, wx, r.xLo, r.xHi)
		if c <= 0 {
			continue
		}
		lo, hi := max(y-wy/2, b.pr.lo), min(y+wy/2, b.pr.hi)
		d, m := b.pr.between(lo, hi)
		d, m = d/(hi-lo), m/(hi-lo)
		col := r.barColour(x, y, b)
		g := r.part.Baulk.Gloss * m * bump((x-r.light.glossX)*r.invRY*0.7)
		h.rgb = h.plus(col.times(d).plus(grey(g)).times(c))
		h.cov += c
	}
	for i := range r.caps {
		b := &r.caps[i]
		if x+wx < b.pr.lo || x-wx > b.pr.hi {
			continue
		}
		k := (r.v.cz - b.top) / r.v.cz
		yt := r.v.cy + (y-r.v.cy)*k
		c := covered(x, wx, b.pr.lo, b.pr.hi) * covered(yt, wy, r.low.from, max(r.high.to, r.low.to))
		c = min(c, 1-h.cov)
		if c <= 0 {
			continue
		}
		lo, hi := max(x-wx/2, b.pr.lo), min(x+wx/2, b.pr.hi)
		d, m := b.pr.between(lo, hi)
		d, m = d/(hi-lo), m/(hi-lo)
		g := r.part.Baulk.Gloss * m * 0.5
		n := 0.9 + 0.2*r.noise.at(x*3, y*3)
		h.rgb = h.plus(r.capCol.times(d * n).plus(grey(g)).times(c))
		h.cov += c
	}
	return h
}

func (r *reed) barColour(x, y float64, b *bar) rgb {
	if r.part.Baulk.Texture == "cord" {
		// Cord wound round the baulk, one turn a dent.
		t := x/r.part.PitchMM() + (y-b.from)*r.part.Baulk.CordTilt
		t -= math.Floor(t)
		k := 0.45 + 0.55*math.Sqrt(4*t*(1-t))
		return r.part.Baulk.Colour.lin().times(k * (0.85 + 0.3*r.noise.at(x*7, y*5)))
	}
	return r.bar.at(x, y, 0)
}

// body draws wires or a panel for the ray meeting z = 0 at (x, y); what it
// does not cover is open down to the table.
func (r *reed) body(x, y, wx, wy float64) hit {
	p := &r.part
	top := p.YHighMM
	if r.kind == Board {
		c := covered(y, wy, p.YLowMM, p.YHighMM) * covered(x, wx, r.xLo, r.xHi)
		return hit{r.skin.at(x, y, 0).times(c * r.light.flat), c}
	}
	cy := covered(y, wy, p.YLowMM, top)
	if cy <= 0 || x+wx < r.xLo || x-wx > r.xHi {
		return hit{}
	}
	var h hit
	if r.kind == RigidHeddle {
		h = r.panel(x, y, wx, wy)
	} else {
		h = r.row(x, y, wx)
	}
	h.cov *= cy
	h.rgb = h.times(cy)
	return h
}

// row draws the wires: the exact mean over the pixel's width.
func (r *reed) row(x, y, wx float64) hit {
	a, b := x-wx/2, x+wx/2
	lo, hi := r.wires.span(a, b)
	if lo > hi {
		return hit{}
	}
	var h hit
	inv := 1 / wx
	// A wire nearer the camera's foot hides what lies behind it, so go
	// outward from the foot and keep how far the view is already taken.
	outward := x >= r.wires.camX
	i, end, step := lo, hi+1, 1
	if !outward {
		i, end, step = hi, lo-1, -1
	}
	taken := math.Inf(-1)
	if !outward {
		taken = math.Inf(1)
	}
	tint := r.tint
	for ; i != end; i += step {
		w := &r.wires.list[i]
		s := 0.0
		if w.bend != nil {
			s = w.shift(y)
		}
		wl, wh := w.lo+s, w.hi+s
		from, to := max(a, wl), min(b, wh)
		if outward {
			from = max(from, taken)
			taken = max(taken, wh)
		} else {
			to = min(to, taken)
			taken = min(taken, wl)
		}
		if to <= from {
			continue
		}
		d, m := w.prof.between(from-w.at-s, to-w.at-s)
		n := r.noise.at(y*1.7, w.noiseRow)
		alb := w.albedo
		g := w.gloss * (0.25 + bump((y-w.glossY)*r.invRY)) * (0.5 + n)
		if w.rust > 0 {
			// Rust runs along a wire in patches, some of them shared by neighbours.
			patch := 0.65*r.noise.at(y*0.5, w.noiseRow*9) + 0.35*r.noise.at(x*0.8, y*0.8+40)
			t := smooth(1-w.rust-0.12, 1-w.rust+0.12, patch)
			alb = mix(alb, rustColour, t)
			g *= 1 - 0.9*t
		}
		d *= (0.86 + 0.28*n) * inv
		m *= g * inv
		h.r += alb.r*d + m*tint.r
		h.g += alb.g*d + m*tint.g
		h.b += alb.b*d + m*tint.b
		h.cov += (to - from) * inv
	}
	h.cov = min(1, h.cov)
	return h
}
