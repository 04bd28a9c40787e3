package scene

import (
	"image"
	"math"
	"runtime"
	"sync"
)

// drawing is a Spec made ready: everything a pixel needs, nothing that changes.
type drawing struct {
	spec    Spec
	v       view
	fill    float64
	lights  *lights
	rules   []*rule
	reed    *reed
	table   *surface
	tableZ  float64
	shadow  partShadow
	strands []*overlay
	glare   []glare
	gain    rgb // exposure and balance, and the step of the packed pixels
	veil    float64
	pad     int
}

type glare struct {
	x, y, irx, iry, cos, sin, strength float64
	onRuler                            bool
}

// Draw renders a scene: the upright photo, as 8-bit YCbCr with the colour
// halved both ways, as a JPEG stores it, and its truth. It is deterministic
// and does nothing but return its picture; it uses all cores.
func Draw(spec Spec) (*image.YCbCr, Truth, error) {
	d, err := prepare(spec)
	if err != nil {
		return nil, Truth{}, err
	}
	img := d.render()
	return img, d.truth(), nil
}

// TruthOf is the truth of a scene without drawing it.
func TruthOf(spec Spec) (Truth, error) {
	d, err := prepare(spec)
	if err != nil {
		return Truth{}, err
	}
	return d.truth(), nil
}

func prepare(spec Spec) (*drawing, error) {
	if err := spec.Check(); err != nil {
		return nil, err
	}
	d := &drawing{spec: spec, v: newView(spec.Camera, spec.Width, spec.Height)}
	v := &d.v
	highest := spec.Part.Baulk.AboveMM
	for _, r := range spec.Rulers {
		highest = math.Max(highest, r.BaseMM+r.ThicknessMM)
	}
	if v.cz < highest+10 {
		return nil, bad("the camera is %.0f mm over the wires, among what lies on them; move it up", v.cz)
	}
	for _, px := range [2]float64{0, float64(spec.Width)} {
		for _, py := range [2]float64{0, float64(spec.Height)} {
			a, b := v.undistort(px-v.u0, py-v.v0)
			if a*v.ex[2]+b*v.ey[2]+v.f*v.ef[2] > -0.1*v.f {
				return nil, bad("the camera is tilted so far that its corner sees the horizon; tilt it less or use a longer focal length")
			}
		}
	}
	d.fill = spec.Sensor.Fill
	if d.fill <= 0 {
		d.fill = 1
	}
	d.lights = newLights(spec, v)
	d.tableZ = -spec.Table.BelowMM
	d.table = newTable(spec.Table, spec.Seed, (v.cz-d.tableZ)/v.f)
	for i, r := range spec.Rulers {
		u, err := newRule(r, spec.Seed+uint64(i)*104729, d.lights)
		if err != nil {
			return nil, err
		}
		d.rules = append(d.rules, u)
	}
	switch spec.Part.Kind {
	case Reed, RigidHeddle, Comb, Board:
		d.reed = newReed(spec, v, d.lights)
	}
	d.shadow = newPartShadow(spec, d.reed)
	d.pad = padFor(spec.Sensor.BlurPx)
	for i, st := range spec.Strands {
		if o := newOverlay(st, v, d.lights, spec.Width, spec.Height, d.pad, spec.Seed+uint64(i)); o != nil {
			d.strands = append(d.strands, o)
		}
	}
	for _, g := range spec.Sensor.Glare {
		s, c := math.Sincos(g.AngleDeg * math.Pi / 180)
		d.glare = append(d.glare, glare{g.X, g.Y, 1 / math.Max(1, g.RX), 1 / math.Max(1, g.RY), c, s, g.Strength, g.OnRuler})
	}
	e := spec.Sensor.Exposure * packedWhite
	b := spec.Sensor.Balance
	for i := range b {
		if b[i] <= 0 {
			b[i] = 1
		}
	}
	d.gain = rgb{e * b[0], e * b[1], e * b[2]}
	d.veil = spec.Sensor.Veil
	return d, nil
}

// row renders the pixels [x0, x1) of row y into out, packed and before blur.
func (d *drawing) row(y, x0, x1 int, out []uint64) {
	v := &d.v
	py := float64(y) + 0.5
	b := py - v.v0
	var j jacobian
	vig := d.spec.Sensor.Vignette * v.invR2
	for x := x0; x < x1; x++ {
		px := float64(x) + 0.5
		if (x-x0)&15 == 0 {
			j = v.slopesPerPx(px+8, py)
		}
		a := px - v.u0
		r2 := a*a + b*b
		k := v.k1 * r2 * v.invR2
		s := 1 + k*(-1+k*(3+k*(-12+k*55)))
		ua, ub := a*s, b*s
		iz := 1 / (ua*v.ex[2] + ub*v.ey[2] + v.f*v.ef[2])
		mx := (ua*v.ex[0] + ub*v.ey[0] + v.f*v.ef[0]) * iz
		my := (ua*v.ex[1] + ub*v.ey[1] + v.f*v.ef[1]) * iz
		c := d.pixel(mx, my, &j, x, y)
		dim := 1 - vig*r2
		out[x-x0] = pack(c.r*dim*d.gain.r, c.g*dim*d.gain.g, c.b*dim*d.gain.b)
	}
}

// pixel is the light that comes along one ray.
func (d *drawing) pixel(mx, my float64, j *jacobian, ix, iy int) rgb {
	v := &d.v
	x, y := v.cx-v.cz*mx, v.cy-v.cz*my
	var col rgb
	left := 1.0 // share of the pixel that nothing has covered yet
	dark, under := 1.0, rgb{}
	underCov := 0.0
	for _, o := range d.strands {
		i := (iy-o.y0)*o.w + ix - o.x0
		if ix < o.x0 || iy < o.y0 || ix >= o.x0+o.w || iy >= o.y0+o.h || (o.cover[i] == 0 && o.dark[i] == 0) {
			continue
		}
		c := float64(o.cover[i]) / 255
		lit := o.colour.times(float64(o.bright[i]) / 200)
		if o.over {
			col = col.plus(lit.times(left * c))
			left *= 1 - c
		} else {
			under = mix(under, lit, c)
			underCov = 1 - (1-underCov)*(1-c)
		}
		dark *= 1 - float64(o.dark[i])/255*(1-c)
	}
	glareAll, glareRuler := d.glareAt(ix, iy)
	refract := 0.0
	for _, u := range d.rules {
		if u.BaseMM < -0.5 {
			continue
		}
		h := u.hit(v, mx, my, j, d.fill)
		if h.cov <= 0 && h.r == 0 {
			continue
		}
		l := d.lights.at(x, y) * dark
		col = col.plus(h.times(left * l)).plus(grey(left * glareRuler * min(1, h.cov*2)))
		left *= 1 - h.cov
		if u.See > 0 && h.cov < 0.97 && h.cov > 0.04 {
			refract = u.ThicknessMM
		}
	}
	if underCov > 0 && left > 0 {
		col = col.plus(under.times(left))
		left *= 1 - underCov
	}
	if left < 0.003 {
		return col.plus(grey(d.veil + glareAll))
	}
	if refract > 0 {
		// Inside a clear ruler (n = 1.49) the ray runs steeper, so it leaves
		// nearer to where it came in.
		t2 := mx*mx + my*my
		k := refract * (1 - math.Sqrt(1/(1.49*1.49*(1+t2)-t2)))
		x, y = x+k*mx, y+k*my
		mx, my = (v.cx-x)/v.cz, (v.cy-y)/v.cz
	}
	wx := v.cz * d.fill * math.Sqrt(j.mxu*j.mxu+j.mxv*j.mxv)
	wy := v.cz * d.fill * math.Sqrt(j.myu*j.myu+j.myv*j.myv)
	behind := false
	if r := d.reed; r != nil && x > r.xLo-12 && x < r.xHi+12 {
		l := d.lights.at(x, y) * dark
		for _, u := range d.rules {
			l *= u.shadow(x, y, 0)
		}
		h := r.bars(x, y, wx, wy)
		if h.cov > 0 {
			col = col.plus(h.times(left * l))
			left *= 1 - h.cov
		}
		if left > 0.003 {
			h = r.body(x, y, wx, wy)
			if h.cov > 0 {
				behind = true
				col = col.plus(h.times(left * l))
				left *= 1 - h.cov
			}
			behind = behind || y > r.part.YLowMM && y < r.part.YHighMM
		}
	}
	if left > 0.003 {
		col = col.plus(d.ground(mx, my, j, behind, dark).times(left))
	}
	return col.plus(grey(d.veil + glareAll))
}

// ground is the table's light, or a ruler's that lies on it.
func (d *drawing) ground(mx, my float64, j *jacobian, behind bool, dark float64) rgb {
	v := &d.v
	x, y := v.at(mx, my, d.tableZ)
	var col rgb
	left := 1.0
	l := d.lights.at(x, y) * dark
	for _, u := range d.rules {
		if u.BaseMM >= -0.5 {
			l *= u.shadow(x, y, d.tableZ)
			continue
		}
		if h := u.hit(v, mx, my, j, d.fill); h.cov > 0 {
			col = col.plus(h.times(left * l))
			left *= 1 - h.cov
		}
		l *= u.shadow(x, y, d.tableZ)
	}
	if left > 0.003 {
		l *= d.lights.flat * d.shadow.at(x, y, behind)
		col = col.plus(d.table.at(x, y).times(left * l))
	}
	return col
}

// glareAt is the reflected light added everywhere, and that on rulers alone.
func (d *drawing) glareAt(ix, iy int) (everywhere, onRuler float64) {
	for i := range d.glare {
		g := &d.glare[i]
		dx, dy := float64(ix)+0.5-g.x, float64(iy)+0.5-g.y
		u, v := (dx*g.cos+dy*g.sin)*g.irx, (-dx*g.sin+dy*g.cos)*g.iry
		r2 := u*u + v*v
		if r2 > 9 {
			continue
		}
		// Flat in the middle, soft at the rim.
		e := g.strength / (1 + r2*r2*r2)
		if g.onRuler {
			onRuler += e
			everywhere += 0.04 * g.strength * math.Exp(-r2/2)
		} else {
			everywhere += e
		}
	}
	return everywhere, onRuler
}

// render draws all rows and takes them through lens, sensor and tone curve.
func (d *drawing) render() *image.YCbCr {
	w, h, pad := d.spec.Width, d.spec.Height, d.pad
	k := newKernel(d.spec.Sensor.BlurPx)
	p := newPlane(w, h, pad)
	inParallel(p.rows, func(lo, hi int) {
		line := make([]uint64, w+2*pad)
		for r := lo; r < hi; r++ {
			d.row(r-pad, -pad, w+pad, line)
			k.across(line, p.row(r))
		}
	})
	p = k.spread(p)
	return develop(d.spec, p, k)
}

// inParallel calls do for pieces that together cover [0, n), on all cores.
func inParallel(n int, do func(lo, hi int)) {
	workers := runtime.GOMAXPROCS(0)
	if workers <= 1 || n < 64 {
		do(0, n)
		return
	}
	const piece = 32
	var next, wg = make(chan int), sync.WaitGroup{}
	for range workers {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for lo := range next {
				do(lo, min(n, lo+piece))
			}
		}()
	}
	for lo := 0; lo < n; lo += piece {
		next <- lo
	}
	close(next)
	wg.Wait()
}
