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
	// hasTableRules: some ruler lies on the table.
	hasTableRules bool
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
	d, err := outline(spec)
	if err != nil {
		return Truth{}, err
	}
	return d.truth(), nil
}

// outline checks a Spec and makes its geometry ready, enough for truth.
func outline(spec Spec) (*drawing, error) {
	if err := spec.Check(); err != nil {
		return nil, err
	}
	d := &drawing{spec: spec, v: newView(spec.Camera, spec.Width, spec.Height)}
	v := &d.v
	highest := spec.Part.Baulk.AboveMM
	for _, r := range spec.Rulers {
		highest = math.Max(highest, r.BaseMM+r.ThicknessMM)
		u := bareRule(r)
		d.rules = append(d.rules, &u)
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
	return d, nil
}

// prepare makes everything ready that a pixel needs.
func prepare(spec Spec) (*drawing, error) {
	d, err := outline(spec)
	if err != nil {
		return nil, err
	}
	v := &d.v
	d.fill = spec.Sensor.Fill
	if d.fill <= 0 {
		d.fill = 1
	}
	d.lights = newLights(spec, v)
	d.tableZ = -spec.Table.BelowMM
	gr := newGrains(spec.Seed)
	d.table = newSurface(spec.Table, gr, 0, (v.cz-d.tableZ)/v.f)
	for i, r := range spec.Rulers {
		u, err := newRule(r, spec.Seed+uint64(i)*104729, d.lights, gr)
		if err != nil {
			return nil, err
		}
		d.rules[i] = u
		d.hasTableRules = d.hasTableRules || u.onTable()
	}
	switch spec.Part.Kind {
	case Reed, RigidHeddle, Comb, Board:
		d.reed = newReed(spec, v, d.lights, gr)
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

// render draws all rows and takes them through lens, sensor and tone curve.
func (d *drawing) render() *image.YCbCr {
	w, h, pad := d.spec.Width, d.spec.Height, d.pad
	k := newKernel(d.spec.Sensor.BlurPx)
	p := newPlane(w, h, pad)
	inParallel(p.rows, func(lo, hi int) {
		line := make([]uint64, w+2*pad)
		var b block
		for r := lo; r < hi; r++ {
			for x := 0; x < len(line); x += blockPx {
				d.draw(&b, x-pad, r-pad, line[x:min(len(line), x+blockPx)])
			}
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
