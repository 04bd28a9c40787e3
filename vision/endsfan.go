package vision

import (
	"math"
	"math/cmplx"

	"dentcount/calib"
	"dentcount/photo"
)

// grid is an even row of places along a ruler's edge, in inches, with the
// pixel each stands at and the direction of the lines square to the ruler there.
type grid struct {
	u0, du float64
	along  []float64
	lean   []float64
}

// gridOf lays places over the stretch lo … hi of the edge, perPx of them a pixel.
func gridOf(pl Plane, lo, hi, perPx float64) grid {
	s := pl.Scale
	ppi := math.Abs(s.PxPerIn())
	a, b := s.In(lo), s.In(hi)
	u0, u1 := math.Min(a, b), math.Max(a, b)
	g := grid{u0: u0, du: 1 / (perPx * ppi)}
	n := int((u1-u0)/g.du) + 1
	if !(n > 16) {
		return grid{}
	}
	g.along, g.lean = make([]float64, n), make([]float64, n)
	for i := range g.along {
		g.along[i] = s.Along(u0 + float64(i)*g.du)
		g.lean[i] = pl.leanAt(g.along[i])
	}
	return g
}

// row is the picture over the grid at the given depths, averaged.
func (g grid) row(p photo.Plane, f calib.Frame, depths ...float64) signal {
	out := signal{u0: g.u0, du: g.du, v: make([]float64, len(g.along))}
	for i, a := range g.along {
		for _, d := range depths {
			x, y := f.Point(a+g.lean[i]*d, d)
			out.v[i] += p.At(x, y)
		}
		out.v[i] /= float64(len(depths))
	}
	return out
}

// fan is how the lines of a field of wires run across the ruler's plane.
type fan struct {
	plane Plane
	// slant is their common lean off square: inches along per unit of depth.
	slant float64
}

// The wires of a reed, like the slots of a heddle, are parallel by make.
const (
	fanRows      = 48
	fanWindowT   = 10.0   // wires in a window
	fanMostLean  = 0.06   // tangent, off square
	fanMostFan   = 0.08   // further, towards the ends: a bent tape's marks fan out
	fanOutOfTrue = 0.0015 // the first wire against the last, tangent, one standard deviation (common practice, no source)
)

// findFan finds the direction of the wires all along the field, between two
// depths, and betters the plane by it: parallel lines that lie in the plane, as
// a reed on the ruler's table does, meet where its marks' lines do, and they
// are far longer than any mark.
func findFan(p photo.Plane, pl Plane, lo, hi, d0, d1, T float64) (fan, bool) {
	s := pl.Scale
	g := gridOf(pl, lo, hi, 1)
	if g.along == nil {
		return fan{}, false
	}
	step := (d1 - d0) / fanRows
	rows := make([]signal, fanRows)
	depths := make([]float64, fanRows)
	calib.SideBySide(fanRows, func(r int) {
		d := d0 + (float64(r)+0.5)*step
		depths[r] = d
		rows[r] = g.row(p, s.Frame, d-step/4, d+step/4).highPassPlain(0.75 * T)
	})
	mid := (d0 + d1) / 2
	// the tone's amplitude and phase, window by window and row by row
	type window struct {
		x, inPerPx float64
		z          []complex128
	}
	var ws []window
	half := fanWindowT / 2 * T
	for u := g.u0 + half; u < g.u0+float64(len(g.along))*g.du-half; u += half / 2 {
		along := s.Along(u)
		t := along / s.Half
		w := window{x: (s.A + s.B*t) / (1 + s.C*t), inPerPx: s.InPerPx(along), z: make([]complex128, fanRows)}
		seen := 0
		for r, sig := range rows {
			if z, ok := toneAt(sig.cut(u-half, u+half), T); ok {
				w.z[r] = z
				seen++
			}
		}
		if 2*seen > fanRows {
			ws = append(ws, w)
		}
	}
	if len(ws) < 5 {
		return fan{}, false
	}
	sum := func(w window, e float64) float64 {
		var t complex128
		for r, z := range w.z {
			t += z * cmplx.Rect(1, 2*math.Pi*e*(depths[r]-mid)*w.inPerPx/T)
		}
		return cmplx.Abs(t)
	}
	grain := 0.2 * T / math.Abs(ws[len(ws)/2].inPerPx) / (d1 - d0)
	best, top := 0.0, 0.0
	for e := -fanMostLean; e <= fanMostLean; e += grain {
		v := 0.0
		for _, w := range ws {
			v += sum(w, e)
		}
		if v > top {
			best, top = e, v
		}
	}
	var xs, ys, amps []float64
	for _, w := range ws {
		e, a := best, sum(w, best)
		for x := best - fanMostFan; x <= best+fanMostFan; x += grain / 2 {
			if v := sum(w, x); v > a {
				e, a = x, v
			}
		}
		for h := grain / 4; h > 1e-6; h /= 2 {
			for _, x := range [2]float64{e - h, e + h} {
				if v := sum(w, x); v > a {
					e, a = x, v
				}
			}
		}
		var all float64
		for _, z := range w.z {
			all += cmplx.Abs(z)
		}
		if a > 0.6*all { // one straight course over the whole height
			xs, ys, amps = append(xs, w.x), append(ys, e*(s.B-w.x*s.C)), append(amps, a)
		}
	}
	limit := 0.3 * medianOf(amps)
	n := 0
	for i := range xs {
		if amps[i] >= limit {
			xs[n], ys[n] = xs[i], ys[i]
			n++
		}
	}
	xs, ys = xs[:n], ys[:n]
	if n < 5 {
		return fan{plane: pl, slant: best * s.B}, true
	}
	slant, dF, sd, used := lineThrough(xs, ys)
	if used < 5 {
		return fan{plane: pl, slant: best * s.B}, true
	}
	var mx, sxx float64
	for _, x := range xs {
		mx += x / float64(n)
	}
	for _, x := range xs {
		sxx += (x - mx) * (x - mx)
	}
	// windows overlap by three quarters
	uF := math.Hypot(sd*math.Sqrt(4/sxx), fanOutOfTrue*math.Abs(s.B)/math.Max(xs[n-1]-xs[0], 1e-6))
	better := pl.heedParallels(dF, uF, float64(p.W-1)/2, float64(p.H-1)/2)
	return fan{plane: better, slant: slant + better.E - pl.E}, true
}

// heedParallels takes over what lines that are parallel in the plane tell: that
// F is larger by dF, known to uF. What the marks told of E changes with it.
func (pl Plane) heedParallels(dF, uF, cx, cy float64) Plane {
	c := pl.Cov
	k := 0.0
	if c[1][1] > 0 {
		k = c[0][1] / c[1][1]
	}
	pl.E += k * dF
	pl.F += dF
	pl.Cov[0][0] = math.Max(0, c[0][0]-k*c[0][1]) + k*k*uF*uF
	pl.Cov[0][1] = k * uF * uF
	pl.Cov[1][0] = pl.Cov[0][1]
	pl.Cov[1][1] = uF * uF
	pl.square(cx, cy)
	return pl
}

// toneAt is the amplitude and phase of the tone of spacing T in a signal, its
// ends faded out; ok is false where too little was seen.
func toneAt(g signal, T float64) (complex128, bool) {
	var z complex128
	seen := 0
	for i, v := range g.v {
		if v != v {
			continue
		}
		seen++
		w := math.Sin(math.Pi * (float64(i) + 0.5) / float64(len(g.v)))
		z += complex(v*w*w, 0) * cmplx.Rect(1, -2*math.Pi*(g.u0+float64(i)*g.du)/T)
	}
	return z, 10*seen > 9*len(g.v)
}
