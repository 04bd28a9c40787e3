package scene

import "math"

// profileBins is how finely a prism's outline is shaded across.
const profileBins = 24

// profile is what a prism, long in one direction, shows to the camera: an
// interval of the coordinate across it at z = 0, and the integrals over it of
// the diffuse and of the mirrored light, from lo to each bin's end. Because
// they are integrals, a pixel of any width is exact.
type profile struct {
	lo, hi  float64
	inv     float64 // bins per mm
	diffuse [profileBins + 1]float64
	mirror  [profileBins + 1]float64
}

// section is a convex cross-section as a polygon: first coordinate across the
// prism, second z, listed so that the side towards the camera runs from the
// low end to the high one (clockwise seen with z up).
type section [][2]float64

// sheen is how a prism's surface answers to light.
type sheen struct {
	lightSlope float64 // of the main light, in the plane of the section
	ambient    float64
	rough      float64 // radians; 0 or less: no highlight
	gap        float64 // width of the openings beside the prism, mm; dims the sides with depth. 0: open
}

// lay finds what sec, put at `at` across, shows to a camera at (camAt, camZ).
// The table's coordinates are relative to `at`.
func lay(sec section, at, camAt, camZ float64, sh sheen) profile {
	type piece struct{ a, b, diffuse, mirror float64 }
	pieces := make([]piece, 0, len(sec))
	lo, hi := math.Inf(1), math.Inf(-1)
	lightAngle := math.Atan(sh.lightSlope)
	lx, lz := math.Sin(lightAngle), math.Cos(lightAngle)
	for i := range sec {
		p, q := sec[i], sec[(i+1)%len(sec)]
		dx, dz := q[0]-p[0], q[1]-p[1]
		n := math.Hypot(dx, dz)
		if n == 0 {
			continue
		}
		nx, nz := -dz/n, dx/n // outward for a clockwise section
		mx, mz := (p[0]+q[0])/2, (p[1]+q[1])/2
		vx, vz := camAt-(at+mx), camZ-mz
		if nx*vx+nz*vz <= 0 {
			continue
		}
		a := camAt + (at+p[0]-camAt)*camZ/(camZ-p[1]) - at
		b := camAt + (at+q[0]-camAt)*camZ/(camZ-q[1]) - at
		if b <= a {
			continue
		}
		open := 1.0
		if sh.gap > 0 && mz < 0 {
			open = sh.gap / (sh.gap - 0.9*mz)
		}
		pc := piece{a: a, b: b}
		pc.diffuse = open * (sh.ambient*(0.55+0.45*nz) + (1-sh.ambient)*math.Max(0, nx*lx+nz*lz))
		if sh.rough > 0 {
			want := (math.Atan2(vx, vz) + lightAngle) / 2
			d := (math.Atan2(nx, nz) - want) / sh.rough
			pc.mirror = open * math.Exp(-d*d)
		}
		pieces = append(pieces, pc)
		lo, hi = math.Min(lo, a), math.Max(hi, b)
	}
	if len(pieces) == 0 {
		return profile{}
	}
	pr := profile{lo: lo, hi: hi, inv: profileBins / (hi - lo)}
	w := (hi - lo) / profileBins
	for _, pc := range pieces {
		first := max(0, int((pc.a-lo)/w))
		for i := first; i < profileBins; i++ {
			a, b := lo+float64(i)*w, lo+float64(i+1)*w
			if a >= pc.b {
				break
			}
			over := math.Min(b, pc.b) - math.Max(a, pc.a)
			if over > 0 {
				pr.diffuse[i+1] += over * pc.diffuse
				pr.mirror[i+1] += over * pc.mirror
			}
		}
	}
	for i := range profileBins {
		pr.diffuse[i+1] += pr.diffuse[i]
		pr.mirror[i+1] += pr.mirror[i]
	}
	return pr
}

// between integrates the shading from a to b, both relative to the prism's
// place and clipped to its outline by the caller.
func (p *profile) between(a, b float64) (diffuse, mirror float64) {
	ta, tb := (a-p.lo)*p.inv, (b-p.lo)*p.inv
	ia, ib := min(int(ta), profileBins-1), min(int(tb), profileBins-1)
	fa, fb := ta-float64(ia), tb-float64(ib)
	diffuse = p.diffuse[ib] + fb*(p.diffuse[ib+1]-p.diffuse[ib]) - p.diffuse[ia] - fa*(p.diffuse[ia+1]-p.diffuse[ia])
	mirror = p.mirror[ib] + fb*(p.mirror[ib+1]-p.mirror[ib]) - p.mirror[ia] - fa*(p.mirror[ia+1]-p.mirror[ia])
	return diffuse, mirror
}

// stripSection is a flat strip seen end on: width across, depth deep from
// z = 0, with front corners of radius round·width/2, turned by twist radians
// about the middle of its front.
func stripSection(width, depth, round, twist float64) section {
	r := math.Min(round*width/2, depth)
	h := width / 2
	sec := section{{-h, -depth}}
	const steps = 8
	if r <= 1e-9 {
		sec = append(sec, [2]float64{-h, 0}, [2]float64{h, 0})
	} else {
		for i := 0; i <= steps; i++ {
			s, c := math.Sincos(float64(i) / steps * math.Pi / 2)
			sec = append(sec, [2]float64{-h + r - r*c, -r + r*s})
		}
		for i := 0; i <= steps; i++ {
			s, c := math.Sincos(float64(i) / steps * math.Pi / 2)
			sec = append(sec, [2]float64{h - r + r*s, -r + r*c})
		}
	}
	sec = append(sec, [2]float64{h, -depth})
	if twist != 0 {
		s, c := math.Sincos(twist)
		for i, p := range sec {
			sec[i] = [2]float64{p[0]*c + p[1]*s, -p[0]*s + p[1]*c}
		}
	}
	return sec
}

// barSection is a bar from `from` to `to` across and from z = -below to
// z = above, with rounding of its front edges from 0 (a box) to 1 (half-round).
func barSection(from, to, below, above, round float64) section {
	h := (to - from) / 2
	mid := (from + to) / 2
	rx := math.Max(0.02, round) * h
	rz := math.Min(above+below, math.Max(0.02, round)*math.Max(above, math.Min(h, above+below)))
	sec := section{{from, -below}}
	const steps = 10
	for i := 0; i <= steps; i++ {
		s, c := math.Sincos(float64(i) / steps * math.Pi / 2)
		sec = append(sec, [2]float64{mid - (h - rx) - rx*c, above - rz + rz*s})
	}
	for i := 0; i <= steps; i++ {
		s, c := math.Sincos(float64(i) / steps * math.Pi / 2)
		sec = append(sec, [2]float64{mid + (h - rx) + rx*s, above - rz + rz*c})
	}
	return append(sec, [2]float64{to, -below})
}
