package scene

import "math"

// opening is a slot or a hole through a panel.
type opening struct {
	x0, x1, y0, y1 float64
	radius         float64 // of its ends
}

func newOpenings(s Spec) []opening {
	bands := s.Bands()
	out := make([]opening, len(bands))
	for i, b := range bands {
		o := opening{x0: b.XMM - b.WidthMM/2, x1: b.XMM + b.WidthMM/2, y0: b.YLowMM, y1: b.YHighMM}
		if b.Kind == "slot" {
			// Slots end under the frame's bars.
			o.y0, o.y1 = o.y0-1, o.y1+1
		} else if s.Part.RoundHoles {
			o.radius = math.Min(b.WidthMM, b.YHighMM-b.YLowMM) / 2
		}
		out[i] = o
	}
	return out
}

// halfWidth is the opening's half width at y: less near rounded ends.
func (o *opening) halfWidth(y float64) float64 {
	h := (o.x1 - o.x0) / 2
	if o.radius <= 0 {
		return h
	}
	d := o.y0 + o.radius - y
	if e := y - (o.y1 - o.radius); e > d {
		d = e
	}
	if d <= 0 {
		return h
	}
	if d >= o.radius {
		return 0
	}
	return h - o.radius + math.Sqrt(o.radius*o.radius-d*d)
}

// panel draws a rigid heddle's panel: its front, and in the openings the
// walls that face the camera's foot. What is not covered is seen through.
func (r *reed) panel(x, y, wx, wy float64) hit {
	p := &r.part
	pitch := p.PitchMM()
	reach := 0.3 * pitch // half an opening, its scatter and its bevel
	k0 := int(math.Ceil((x - wx/2 - reach - p.X0MM) / pitch))
	k1 := int(math.Floor((x + wx/2 + reach - p.X0MM) / pitch))
	var open, through, wall, edge float64 // shares of the pixel; wall and edge times their brightness
	deep := p.DepthMM / (r.v.cz + p.DepthMM)
	for k := max(0, k0); k <= min(len(r.slots)-1, k1); k++ {
		o := &r.slots[k]
		cy := covered(y, wy, o.y0, o.y1)
		if cy <= 0 {
			continue
		}
		h := o.halfWidth(y)
		mid := (o.x0 + o.x1) / 2
		x0, x1 := mid-h, mid+h
		if p.BevelMM > 0 && h > 0 {
			edge += cy * (covered(x, wx, x0-p.BevelMM, x0)*r.light.edge[0] + covered(x, wx, x1, x1+p.BevelMM)*r.light.edge[1])
		}
		c := covered(x, wx, x0, x1) * cy
		if c <= 0 {
			continue
		}
		// The back rim of an opening, as seen at z = 0, is drawn towards the
		// camera's foot; the front rim hides what then lies outside it.
		bx0, bx1 := x0+(r.v.cx-x0)*deep, x1+(r.v.cx-x1)*deep
		by0, by1 := o.y0+(r.v.cy-o.y0)*deep, o.y1+(r.v.cy-o.y1)*deep
		see := covered(x, wx, max(x0, bx0), min(x1, bx1)) * covered(y, wy, max(o.y0, by0), min(o.y1, by1))
		open += c
		through += see
		if w := c - see; w > 0 {
			t := 0.5 // how near the front: walls darken towards the back
			if bx1 < x1 {
				t = clamp((x-bx1)/(x1-bx1), 0, 1)
			} else if bx0 > x0 {
				t = clamp((bx0-x)/(bx0-x0), 0, 1)
			}
			wall += w * (0.4 + 0.6*t)
		}
	}
	front := max(0, 1-open)
	skin := r.skin.at(x, y, 0)
	n := 0.93 + 0.14*r.noise.at(x*0.4, y*0.4)
	k := n * (r.light.flat*front + edge + r.wallDim*wall)
	g := 0.35 * p.Finish.Gloss * front * bump((x-r.light.glossX)*r.invRY) * bump((y-r.light.glossY)*r.invRY)
	return hit{skin.times(k).plus(grey(g)), 1 - through}
}
