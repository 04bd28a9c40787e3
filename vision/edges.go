package vision

import (
	"math"
)

// Wires are deep. A wire beside the camera's foot point (the point of the plane
// straight below the camera) shows its side: of its two edges, the one that
// faces away from the foot lies at the front, in the plane the ruler lies on,
// and the other may lie at the back, a depth z further from the camera. Places
// read at the back are drawn towards the foot by z/D. So, with x the distance
// from the foot, an edge of one sort runs as
//
//	place(k) = place0 + T·k          on the side where it is a front edge
//	place(k) = place0 + T·(1-z/D)·k  on the side where it is a back edge
//
// and the two sorts change roles at the foot. The spacing at the front is the
// larger slope, and the difference between slopes measures z/D.

// edgeRow is one sort of edge (rising or falling grey level) followed from band
// to band; NaN where it was lost.
type edgeRow struct {
	in []float64 // inches on the ruler, by band index
}

// depthFit is what the two sorts of edges say together.
type depthFit struct {
	spacingIn float64 // at the front of the wires
	uRel      float64 // relative standard uncertainty
	depthRel  float64 // z/D
	footIn    float64
	ok        bool
}

// followEdges finds both sorts of edge for each band near a + slope·k.
func followEdges(g signal, a, slope, footIn float64, count int) (rise, fall edgeRow) {
	d := derivative(g, slope)
	k0 := int(math.Round((footIn - a) / slope))
	k0 = min(max(k0, 0), count-1)
	return followSort(d, 1, a, slope, k0, count), followSort(d, -1, a, slope, k0, count)
}

// derivative is the smoothed slope of the signal.
func derivative(g signal, T float64) signal {
	half := max(1, int(0.06*T/g.du))
	o := signal{u0: g.u0, du: g.du, v: make([]float64, len(g.v))}
	for i := range g.v {
		o.v[i] = math.NaN()
		if i-half < 0 || i+half >= len(g.v) {
			continue
		}
		var s float64
		for j := 1; j <= half; j++ {
			s += g.v[i+j] - g.v[i-j]
		}
		o.v[i] = s
	}
	return o
}

// followSort follows the strongest edge of one sign outward from band k0.
func followSort(d signal, sign, a, slope float64, k0, count int) edgeRow {
	row := edgeRow{in: make([]float64, count)}
	for i := range row.in {
		row.in[i] = math.NaN()
	}
	// Where in a spacing the edge stands, near the foot.
	const bins = 60
	var fold [bins]float64
	for k := max(0, k0-6); k <= min(count-1, k0+6); k++ {
		for j := 0; j < bins; j++ {
			u := a + slope*(float64(k)+(float64(j)+0.5)/bins-0.5)
			if v := d.at(u); v == v {
				fold[j] += sign * v
			}
		}
	}
	best := 0
	for j := range fold {
		if smoothAt(fold[:], j) > smoothAt(fold[:], best) {
			best = j
		}
	}
	off0 := (float64(best)+0.5)/bins - 0.5
	for _, dir := range [2]int{1, -1} {
		off := off0
		k := k0
		if dir < 0 {
			k--
		}
		level := 0.0
		for ; k >= 0 && k < count; k += dir {
			u, v := d.crest(a+slope*(float64(k)+off), 0.17*slope, sign)
			if v <= 0.3*level || v <= 0 {
				continue
			}
			if level == 0 {
				level = v
			}
			level += 0.1 * (v - level)
			row.in[k] = u
			off += 0.25 * ((u-a)/slope - float64(k) - off)
		}
	}
	return row
}

func (g signal) at(u float64) float64 {
	x := (u - g.u0) / g.du
	j := int(math.Floor(x))
	if j < 0 || j+1 >= len(g.v) {
		return math.NaN()
	}
	return g.v[j] + (g.v[j+1]-g.v[j])*(x-float64(j))
}

// crest is the highest point of sign·g within ±tol of u.
func (g signal) crest(u, tol, sign float64) (at, v float64) {
	i0, i1 := int((u-tol-g.u0)/g.du), int((u+tol-g.u0)/g.du)+1
	best, bi := 0.0, -1
	for i := max(1, i0); i <= i1 && i+1 < len(g.v); i++ {
		x, y, z := sign*g.v[i-1], sign*g.v[i], sign*g.v[i+1]
		if y > best && y >= x && y >= z {
			best, bi = y, i
		}
	}
	if bi < 0 {
		return u, 0
	}
	x, y, z := sign*g.v[bi-1], sign*g.v[bi], sign*g.v[bi+1]
	d := 0.0
	if q := x - 2*y + z; q < 0 {
		d = 0.5 * (x - z) / q
	}
	return g.u0 + (float64(bi)+d)*g.du, best
}

// hinged fits in = p + s1·min(k-kf,0) + s2·max(k-kf,0) robustly: a slope on each
// side of the foot. It returns the slopes, their standard uncertainties and the
// mean squared residual. n is how many edges carried weight.
func hinged(row edgeRow, kf float64) (s1, s2, u1, u2, mse float64, n int) {
	w := make([]float64, len(row.in))
	for k, x := range row.in {
		if x == x {
			w[k] = 1
		}
	}
	var m [3][3]float64
	var c [3]float64
	for it := 0; it < 8; it++ {
		var A [3][3]float64
		var b [3]float64
		for k, x := range row.in {
			if w[k] == 0 {
				continue
			}
			f := float64(k) - kf
			j := [3]float64{1, math.Min(f, 0), math.Max(f, 0)}
			for r := range j {
				for q := range j {
					A[r][q] += w[k] * j[r] * j[q]
				}
				b[r] += w[k] * j[r] * x
			}
		}
		A[1][1] += 1e-9
		A[2][2] += 1e-9
		inv, ok := invert3(A)
		if !ok {
			return 0, 0, 0, 0, math.Inf(1), 0
		}
		m = inv
		for r := range c {
			c[r] = inv[r][0]*b[0] + inv[r][1]*b[1] + inv[r][2]*b[2]
		}
		var abs []float64
		for k, x := range row.in {
			if x == x {
				f := float64(k) - kf
				abs = append(abs, math.Abs(x-c[0]-c[1]*math.Min(f, 0)-c[2]*math.Max(f, 0)))
			}
		}
		sd := math.Max(1.4826*medianOf(abs), 1e-6)
		mse, n = 0, 0
		var sw float64
		for k, x := range row.in {
			w[k] = 0
			if x != x {
				continue
			}
			f := float64(k) - kf
			r := x - c[0] - c[1]*math.Min(f, 0) - c[2]*math.Max(f, 0)
			if u := r / (4.7 * sd); math.Abs(u) < 1 {
				w[k] = (1 - u*u) * (1 - u*u)
				mse += w[k] * r * r
				sw += w[k]
				n++
			}
		}
		mse /= math.Max(sw, 1)
	}
	return c[1], c[2], math.Sqrt(mse * m[1][1]), math.Sqrt(mse * m[2][2]), mse, n
}

func invert3(a [3][3]float64) (o [3][3]float64, ok bool) {
	det := a[0][0]*(a[1][1]*a[2][2]-a[1][2]*a[2][1]) - a[0][1]*(a[1][0]*a[2][2]-a[1][2]*a[2][0]) + a[0][2]*(a[1][0]*a[2][1]-a[1][1]*a[2][0])
	if math.Abs(det) < 1e-30 {
		return o, false
	}
	for i := 0; i < 3; i++ {
		for j := 0; j < 3; j++ {
			x, y := (i+1)%3, (i+2)%3
			p, q := (j+1)%3, (j+2)%3
			o[j][i] = (a[x][p]*a[y][q] - a[x][q]*a[y][p]) / det
		}
	}
	return o, true
}

// fitDepth weighs the two sorts of edges. footIn and footU are where the foot is
// thought to be, on the ruler, and how well that is known.
func fitDepth(rise, fall edgeRow, a, slope, footIn, footU float64) depthFit {
	var best depthFit
	bestScore := math.Inf(1)
	count := len(rise.in)
	for z := -2.0; z <= 2.0; z += 0.25 {
		foot := footIn + z*footU
		kf := (foot - a) / slope
		kf = math.Min(math.Max(kf, 0), float64(count-1))
		l1, r1, ul1, ur1, m1, n1 := hinged(rise, kf)
		l2, r2, ul2, ur2, m2, n2 := hinged(fall, kf)
		if 2*n1 < count || 2*n2 < count {
			continue
		}
		score := float64(n1)*math.Log(m1+1e-12) + float64(n2)*math.Log(m2+1e-12) + z*z
		if score >= bestScore {
			continue
		}
		bestScore = score
		// a side with few bands says little: inverse-variance mean of its slopes
		mean := func(l, ul, r, ur float64) (s, u float64) {
			wl, wr := 1/(ul*ul+1e-16), 1/(ur*ur+1e-16)
			return (l*wl + r*wr) / (wl + wr), 1 / math.Sqrt(wl+wr)
		}
		// The two halves of a pair are one plane: where they do not agree, the
		// edges were not what they are taken for.
		agree := func(l, ul, r, ur float64) bool {
			return math.Abs(l-r) < 4*math.Hypot(ul, ur)+0.003*slope || ul > 0.01*slope || ur > 0.01*slope
		}
		if !agree(l1, ul1, r2, ur2) || !agree(l2, ul2, r1, ur1) {
			best = depthFit{}
			continue
		}
		// front edges: either rising on the left and falling on the right, or
		// the other way about
		sA, uA := mean(l1, ul1, r2, ur2)
		sB, uB := mean(l2, ul2, r1, ur1)
		if sB > sA {
			sA, uA, sB, uB = sB, uB, sA, uA
		}
		gapU := math.Hypot(uA, uB)
		f := depthFit{footIn: foot, ok: true, depthRel: 1 - sB/sA}
		if sA-sB > 5*gapU {
			f.spacingIn, f.uRel = sA, uA/sA
		} else {
			f.spacingIn, f.uRel = mean(sA, uA, sB, uB)
			f.uRel = math.Hypot(f.uRel, gapU/2) / f.spacingIn
		}
		best = f
	}
	return best
}
