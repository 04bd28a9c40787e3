package scene

import "math"

// blockPx is how many neighbouring pixels of a row are drawn together. What
// cannot reach into a block is left out of all its pixels at once.
const blockPx = 16

// block is up to blockPx pixels of one row on their way to being drawn.
type block struct {
	n      int
	ix, iy int // the first pixel
	mx, my [blockPx]float64
	x, y   [blockPx]float64 // where the rays meet z = 0
	j      jacobian
	wx, wy float64 // filter widths at z = 0

	left    [blockPx]float64 // share of the pixel not covered yet
	col     [blockPx]rgb
	light   [blockPx]float64 // brightness of the light at z = 0
	veil    [blockPx]float64 // reflections and stray light
	onRuler [blockPx]float64 // more of them, on rulers' faces
	under   [blockPx]hit     // strands that lie under the rulers
	keep    [blockPx]float64 // share of light that those leave to what is below
	refract [blockPx]float64 // thickness of clear ruler passed through, mm

	hasUnder, hasRefract, hasGlare bool
	xLo, xHi, yLo, yHi             float64 // extent at z = 0
}

// draw renders pixels ix, ix+1, … of row iy into out, before any blur.
func (d *drawing) draw(b *block, ix, iy int, out []uint64) {
	b.n, b.ix, b.iy = len(out), ix, iy
	d.aim(b)
	d.lightUp(b)
	d.drawStrands(b)
	d.drawGlare(b)
	d.drawRules(b, false)
	d.settle(b)
	d.drawReed(b)
	d.drawGround(b)
	vig := d.spec.Sensor.Vignette * d.v.invR2
	py := float64(iy) + 0.5 - d.v.v0
	for i := range out {
		px := float64(ix+i) + 0.5 - d.v.u0
		dim := 1 - vig*(px*px+py*py)
		c := &b.col[i]
		v := b.veil[i]
		out[i] = pack((c.r+v)*dim*d.gain.r, (c.g+v)*dim*d.gain.g, (c.b+v)*dim*d.gain.b)
	}
}

// aim casts the block's rays. They are exact at the block's ends and middle
// and follow a parabola between, which over 16 pixels is right to 1e-5 px.
func (d *drawing) aim(b *block) {
	v := &d.v
	px, py := float64(b.ix)+0.5, float64(b.iy)+0.5
	const h = blockPx / 2
	x0, y0 := v.ray(px, py)
	x1, y1 := v.ray(px+h, py)
	x2, y2 := v.ray(px+2*h, py)
	bx, cx := (4*x1-3*x0-x2)/(2*h), (x0-2*x1+x2)/(2*h*h)
	by, cy := (4*y1-3*y0-y2)/(2*h), (y0-2*y1+y2)/(2*h*h)
	for i := range blockPx {
		t := float64(i)
		mx, my := x0+t*(bx+t*cx), y0+t*(by+t*cy)
		b.mx[i], b.my[i] = mx, my
		b.x[i], b.y[i] = v.cx-v.cz*mx, v.cy-v.cz*my
		b.left[i] = 1
		b.col[i] = rgb{}
		b.veil[i] = d.veil
	}
	b.j = v.slopesPerPx(px+h, py)
	j := &b.j
	b.wx = v.cz * d.fill * math.Sqrt(j.mxu*j.mxu+j.mxv*j.mxv)
	b.wy = v.cz * d.fill * math.Sqrt(j.myu*j.myu+j.myv*j.myv)
	e := b.n - 1
	b.xLo, b.xHi = min(b.x[0], b.x[e])-b.wx, max(b.x[0], b.x[e])+b.wx
	b.yLo, b.yHi = min(b.y[0], b.y[e])-b.wy, max(b.y[0], b.y[e])+b.wy
}

// lightUp finds the light at z = 0, even enough to be straight over a block.
func (d *drawing) lightUp(b *block) {
	const e = blockPx - 1
	l0, l1 := d.lights.at(b.x[0], b.y[0]), d.lights.at(b.x[e], b.y[e])
	step := (l1 - l0) / e
	for i := range b.light {
		b.light[i] = l0 + float64(i)*step
	}
}

func (d *drawing) drawStrands(b *block) {
	b.hasUnder = false
	for _, o := range d.strands {
		if b.iy < o.y0 || b.iy >= o.y0+o.h || b.ix+b.n <= o.x0 || b.ix >= o.x0+o.w {
			continue
		}
		row := (b.iy-o.y0)*o.w - o.x0
		for i := max(0, o.x0-b.ix); i < min(b.n, o.x0+o.w-b.ix); i++ {
			k := row + b.ix + i
			if o.cover[k] == 0 && o.dark[k] == 0 {
				continue
			}
			c := float64(o.cover[k]) / 255
			keep := 1 - float64(o.dark[k])/255*(1-c)
			if o.over {
				b.light[i] *= keep
			}
			lit := o.colour.times(float64(o.bright[k]) / 200)
			if o.over {
				b.col[i] = b.col[i].plus(lit.times(b.left[i] * c))
				b.left[i] *= 1 - c
				continue
			}
			if !b.hasUnder {
				b.hasUnder = true
				b.under = [blockPx]hit{}
				for k := range b.keep {
					b.keep[k] = 1
				}
			}
			b.keep[i] *= keep
			u := &b.under[i]
			u.rgb = mix(u.rgb, lit, c)
			u.cov += (1 - u.cov) * c
		}
	}
}

// drawGlare finds the reflected light added everywhere, and on rulers alone.
func (d *drawing) drawGlare(b *block) {
	b.hasGlare = false
	for i := range d.glare {
		g := &d.glare[i]
		// The block is in reach where its middle is, or nearly.
		reach := 3*math.Max(1/g.irx, 1/g.iry) + blockPx
		dx, dy := float64(b.ix+b.n/2)-g.x, float64(b.iy)-g.y
		if dx*dx+dy*dy > reach*reach {
			continue
		}
		if !b.hasGlare {
			b.hasGlare = true
			b.onRuler = [blockPx]float64{}
		}
		for k := range b.n {
			dx, dy := float64(b.ix+k)+0.5-g.x, float64(b.iy)+0.5-g.y
			u, v := (dx*g.cos+dy*g.sin)*g.irx, (-dx*g.sin+dy*g.cos)*g.iry
			r2 := u*u + v*v
			// Flat in the middle, soft at the rim, and nothing at three radii.
			e := g.strength * (1/(1+r2*r2*r2) - 1/730.0)
			if e <= 0 {
				continue
			}
			if g.onRuler {
				b.onRuler[k] += e
				b.veil[k] += 0.1 * e
			} else {
				b.veil[k] += e
			}
		}
	}
}

// drawRules draws the rulers that lie on the wires, or those on the table.
func (d *drawing) drawRules(b *block, onTable bool) {
	b.hasRefract = false
	for _, u := range d.rules {
		if u.onTable() != onTable || !u.near(&d.v, b) {
			continue
		}
		for i := range b.n {
			if b.left[i] < 0.003 {
				continue
			}
			h := u.hit(&d.v, b.mx[i], b.my[i], &b.j, d.fill)
			if h.cov <= 0 && h.r <= 0 {
				continue
			}
			l := b.left[i]
			b.col[i] = b.col[i].plus(h.times(l * b.light[i]))
			if b.hasGlare {
				b.col[i] = b.col[i].plus(grey(l * b.onRuler[i] * min(1, 2*h.cov)))
			}
			b.left[i] = l * (1 - h.cov)
			if u.See > 0 && h.cov < 0.97 && h.cov > 0.04 {
				if !b.hasRefract {
					b.hasRefract = true
					b.refract = [blockPx]float64{}
				}
				b.refract[i] = u.ThicknessMM
			}
		}
	}
}

// settle lays the strands under the rulers, bends the rays that went through
// a clear ruler, and dims the light at z = 0 by the rulers' shadows.
func (d *drawing) settle(b *block) {
	if b.hasUnder {
		for i := range b.n {
			if h := &b.under[i]; h.cov > 0 && b.left[i] > 0 {
				b.col[i] = b.col[i].plus(h.times(b.left[i]))
				b.left[i] *= 1 - h.cov
			}
			b.light[i] *= b.keep[i]
		}
	}
	if b.hasRefract {
		v := &d.v
		for i := range b.n {
			if b.refract[i] <= 0 {
				continue
			}
			// Inside a clear ruler (n = 1.49) the ray runs steeper, so it
			// leaves nearer to where it came in.
			mx, my := b.mx[i], b.my[i]
			t2 := mx*mx + my*my
			k := b.refract[i] * (1 - math.Sqrt(1/(1.49*1.49*(1+t2)-t2)))
			b.x[i], b.y[i] = b.x[i]+k*mx, b.y[i]+k*my
			b.mx[i], b.my[i] = (v.cx-b.x[i])/v.cz, (v.cy-b.y[i])/v.cz
		}
	}
}

// reedNear is how far beyond the part its baulks' and caps' sides may show, mm.
const reedNear = 15

func (d *drawing) drawReed(b *block) {
	r := d.reed
	if r == nil || b.xHi < r.xLo-reedNear || b.xLo > r.xHi+reedNear ||
		b.yHi < r.yLo-reedNear || b.yLo > r.yHi+reedNear {
		return
	}
	// A clear ruler moves rays by less than a millimetre.
	bars := r.barsNear(b.xLo-1, b.xHi+1, b.yLo-1, b.yHi+1)
	var shaded [4]*rule
	ns := 0
	for _, u := range d.rules {
		if ns < len(shaded) && !u.onTable() && u.shades(b.x[0], b.y[0], b.x[b.n-1], b.y[b.n-1], 0) {
			shaded[ns] = u
			ns++
		}
	}
	for i := range b.n {
		left := b.left[i]
		if left < 0.003 {
			continue
		}
		x, y := b.x[i], b.y[i]
		l := b.light[i]
		for _, u := range shaded[:ns] {
			l *= u.shadow(x, y, 0)
		}
		if bars {
			if h := r.bars(x, y, b.wx, b.wy); h.cov > 0 {
				b.col[i] = b.col[i].plus(h.times(left * l))
				left *= 1 - h.cov
			}
		}
		if left > 0.003 {
			if h := r.body(x, y, b.wx, b.wy); h.cov > 0 {
				b.col[i] = b.col[i].plus(h.times(left * l))
				left *= 1 - h.cov
			}
		}
		b.left[i] = left
	}
}

// drawGround draws what lies on the table, and the table.
func (d *drawing) drawGround(b *block) {
	open := false
	for i := range b.n {
		open = open || b.left[i] > 0.003
	}
	if !open {
		return
	}
	if d.hasTableRules {
		d.drawRules(b, true)
	}
	v := &d.v
	k := d.tableZ - v.cz
	e := b.n - 1
	x0, y0, x1, y1 := v.cx+k*b.mx[0], v.cy+k*b.my[0], v.cx+k*b.mx[e], v.cy+k*b.my[e]
	var shaded [4]*rule
	ns := 0
	for _, u := range d.rules {
		if ns < len(shaded) && u.shades(x0, y0, x1, y1, d.tableZ) {
			shaded[ns] = u
			ns++
		}
	}
	partShade := d.shadow.near(min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1))
	blotch := d.table.blotch(x0, y0)
	step := (d.table.blotch(x1, y1) - blotch) / float64(max(1, e))
	for i := range b.n {
		left := b.left[i]
		if left < 0.003 {
			continue
		}
		x, y := v.cx+k*b.mx[i], v.cy+k*b.my[i]
		l := b.light[i] * d.lights.flat
		for _, u := range shaded[:ns] {
			l *= u.shadow(x, y, d.tableZ)
		}
		if partShade {
			r := d.reed
			l *= d.shadow.at(x, y, b.y[i] > r.part.YLowMM && b.y[i] < r.part.YHighMM && b.x[i] > r.xLo && b.x[i] < r.xHi)
		}
		b.col[i] = b.col[i].plus(d.table.at(x, y, blotch+float64(i)*step).times(left * l))
		b.left[i] = 0
	}
}
