package scene

import "math"

// overlay is a strand laid out in the photo: for the pixels of a box around
// it, how much it covers, how bright it is and how much shadow it throws.
type overlay struct {
	x0, y0, w, h int
	cover        []uint8
	bright       []uint8
	dark         []uint8
	colour       rgb
	over         bool
}

// newOverlay draws a strand into an overlay. pad is how far pixels beyond the
// photo's frame are needed. It is nil where nothing of it is near the frame.
func newOverlay(st Strand, v *view, lt *lights, width, height, pad int, seed uint64) *overlay {
	pts := splinePoints(st.Points)
	if len(pts) < 2 || st.RadiusMM <= 0 {
		return nil
	}
	type node struct{ x, y, r, sx, sy, along float64 }
	nodes := make([]node, 0, len(pts))
	along := 0.0
	for i, p := range pts {
		x, y, depth := v.project(p[0], p[1], p[2])
		if depth <= 1 {
			return nil
		}
		if i > 0 {
			q := pts[i-1]
			along += math.Sqrt((p[0]-q[0])*(p[0]-q[0]) + (p[1]-q[1])*(p[1]-q[1]) + (p[2]-q[2])*(p[2]-q[2]))
		}
		// Its shadow falls on z = 0, thrown by the height of its middle.
		sx, sy, _ := v.project(p[0]-p[2]*lt.slopeX, p[1]-p[2]*lt.slopeY, 0)
		nodes = append(nodes, node{x, y, v.f * st.RadiusMM / depth, sx, sy, along})
	}
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, n := range nodes {
		m := 2.2*n.r + 2
		x0, x1 = math.Min(x0, math.Min(n.x, n.sx)-m), math.Max(x1, math.Max(n.x, n.sx)+m)
		y0, y1 = math.Min(y0, math.Min(n.y, n.sy)-m), math.Max(y1, math.Max(n.y, n.sy)+m)
	}
	x0, y0 = math.Max(x0, float64(-pad)), math.Max(y0, float64(-pad))
	x1, y1 = math.Min(x1, float64(width+pad)), math.Min(y1, float64(height+pad))
	if x1 <= x0+1 || y1 <= y0+1 {
		return nil
	}
	o := &overlay{x0: int(math.Floor(x0)), y0: int(math.Floor(y0)), colour: st.Colour.lin(), over: st.Over}
	o.w, o.h = int(math.Ceil(x1))-o.x0, int(math.Ceil(y1))-o.y0
	n := o.w * o.h
	o.cover, o.bright, o.dark = make([]uint8, n), make([]uint8, n), make([]uint8, n)
	// Each pixel belongs to the piece of the line it is nearest to.
	nearest := make([]float32, n)
	for i := range nearest {
		nearest[i] = math.MaxFloat32
	}
	rng := stream(seed, forStrands)
	fuzz := newTile(rng, 64, 2, 0.8)
	// each visits the pixels near the line a-b, with their distance from it,
	// signed across it, over the radius there, and how far along they are.
	each := func(ax, ay, bx, by, ra, rb float64, do func(i int, d, t, r float64)) {
		dx, dy := bx-ax, by-ay
		l2 := dx*dx + dy*dy
		m := math.Max(ra, rb) + 1.5
		ix0, ix1 := int(math.Min(ax, bx)-m)-o.x0, int(math.Max(ax, bx)+m)-o.x0
		iy0, iy1 := int(math.Min(ay, by)-m)-o.y0, int(math.Max(ay, by)+m)-o.y0
		for iy := max(0, iy0); iy <= min(o.h-1, iy1); iy++ {
			py := float64(iy+o.y0) + 0.5
			for ix := max(0, ix0); ix <= min(o.w-1, ix1); ix++ {
				px := float64(ix+o.x0) + 0.5
				t := 0.0
				if l2 > 0 {
					t = clamp(((px-ax)*dx+(py-ay)*dy)/l2, 0, 1)
				}
				ex, ey := px-ax-t*dx, py-ay-t*dy
				d := math.Sqrt(ex*ex + ey*ey)
				if dx*ey-dy*ex < 0 {
					d = -d
				}
				do(iy*o.w+ix, d, t, ra+t*(rb-ra))
			}
		}
	}
	tip := nodes[len(nodes)-1].along
	for k := 1; k < len(nodes); k++ {
		a, b := nodes[k-1], nodes[k]
		spread := 1.6
		if st.Kind == "finger" {
			spread = 1.25
		}
		each(a.sx, a.sy, b.sx, b.sy, spread*a.r, spread*b.r, func(i int, d, _, r float64) {
			c := smooth(1, 0.2, math.Abs(d)/r)
			o.dark[i] = max(o.dark[i], uint8(150*c))
		})
		each(a.x, a.y, b.x, b.y, a.r, b.r, func(i int, d, t, r float64) {
			if near := float32(math.Abs(d) / r); near < nearest[i] {
				nearest[i] = near
			} else {
				return
			}
			c := 1 - clamp(math.Abs(d)-r+0.5, 0, 1)
			if r < 0.5 {
				c *= 2 * r // thinner than a pixel
			}
			s := a.along + t*(b.along-a.along)
			u := clamp(d/math.Max(r, 0.5), -1, 1)
			br := 0.45 + 0.55*math.Sqrt(1-0.9*u*u)
			switch st.Kind {
			case "yarn":
				// Two plies wound round each other, a little hairy.
				ply := math.Abs(math.Sin(math.Pi * (s/(6*st.RadiusMM) + 0.35*u)))
				br *= 0.65 + 0.45*ply
				c *= 0.55 + 0.45*smooth(1.05, 0.75, math.Abs(u)+0.35*(fuzz.at(s*9, u*5)-0.5))
			case "finger":
				// A nail, and creases over the joints.
				e := (tip - s) / st.RadiusMM
				nail := smooth(1, 0.85, math.Hypot((e-0.55)/0.8, u/0.6))
				br *= 1 + 0.13*nail
				br *= 0.93 + 0.14*fuzz.at(s*1.5, u*8)
				br *= 1 - 0.1*bump((e-3.2)*8) - 0.08*bump((e-6.4)*7)
			}
			o.cover[i] = uint8(255 * clamp(c, 0, 1))
			o.bright[i] = uint8(clamp(br*200, 0, 255))
		})
	}
	return o
}

// splinePoints refines a line through points by Catmull-Rom, in steps short
// enough to look smooth.
func splinePoints(p [][3]float64) [][3]float64 {
	if len(p) < 2 {
		return nil
	}
	get := func(i int) [3]float64 { return p[max(0, min(len(p)-1, i))] }
	var out [][3]float64
	for i := 0; i+1 < len(p); i++ {
		a, b, c, d := get(i-1), get(i), get(i+1), get(i+2)
		n := int(clamp(math.Hypot(c[0]-b[0], c[1]-b[1])/1.5, 2, 60))
		for k := range n {
			t := float64(k) / float64(n)
			var q [3]float64
			for j := range 3 {
				q[j] = 0.5 * (2*b[j] + t*(c[j]-a[j]+t*(2*a[j]-5*b[j]+4*c[j]-d[j]+t*(3*(b[j]-c[j])+d[j]-a[j]))))
			}
			out = append(out, q)
		}
	}
	return append(out, p[len(p)-1])
}
