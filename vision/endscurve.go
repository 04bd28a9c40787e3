package vision

import "math"

// straight is the way from one place on the marked edge to another as the crow
// flies: dx along the frame's axis and dy across it, in inches. A soft tape that
// bends in its plane reads the way along itself, arc, which is longer.
func (pl Plane) straight(along1, along2 float64) (dx, dy, arc float64) {
	s := pl.Scale
	const steps = 64
	across := func(a, depth float64) float64 { // inches of the frame's depth, at an edge point
		return pl.G * depth / s.Half / (1 + s.C*a/s.Half)
	}
	bow := func(a float64) float64 {
		x, y := s.Frame.Point(a, 0)
		return (x-s.Frame.X)*s.Frame.NX + (y-s.Frame.Y)*s.Frame.NY
	}
	arc = s.In(along2) - s.In(along1)
	h := (along2 - along1) / steps
	for i := 0; i < steps; i++ {
		a := along1 + (float64(i)+0.5)*h
		ds := s.InPerPx(a) * h
		rise := across(a, bow(a+h/2)-bow(a-h/2))
		dx += math.Copysign(math.Sqrt(math.Max(0, ds*ds-rise*rise)), ds)
	}
	return dx, across(along2, bow(along2)) - across(along1, bow(along1)), arc
}

// Bend is how a soft tape bends in its plane between two places.
type Bend struct {
	// Shorter is how much shorter the straight way is than that along the
	// marked edge, relative; 0 for a straight ruler.
	Shorter float64
	// PerIn is the curvature of the marked edge, one over its radius in inches;
	// positive where the edge is the outer one, the tape's face inside of it.
	PerIn float64
}

// BendBetween is the bend between two photo points' places on the marked edge.
func (pl Plane) BendBetween(x1, y1, x2, y2 float64) (b Bend) {
	a1, _ := pl.Scale.Frame.Locate(x1, y1)
	a2, _ := pl.Scale.Frame.Locate(x2, y2)
	if a2 < a1 {
		a1, a2 = a2, a1
	}
	dx, dy, arc := pl.straight(a1, a2)
	if arc == 0 {
		return b
	}
	b.Shorter = 1 - math.Hypot(dx, dy)/math.Abs(arc)
	// depth grows into the face: where the edge rises towards it at both its
	// ends, the face lies on the side of the bend's centre
	mid := (a1 + a2) / 2
	lx, ly, larc := pl.straight(a1, mid)
	rx, ry, rarc := pl.straight(mid, a2)
	turn := math.Atan2(ry, math.Abs(rx)) - math.Atan2(ly, math.Abs(lx))
	b.PerIn = turn / ((math.Abs(larc) + math.Abs(rarc)) / 2)
	return b
}

// DistanceIn is the straight distance between two photo points in the plane of
// the ruler's face, however a soft tape bends in it: its marks stand square to
// it everywhere, so that a point's reading is that of the mark it lies beside.
func (pl Plane) DistanceIn(x1, y1, x2, y2 float64) float64 {
	const straightEnough = 1e-4
	u1, v1 := pl.In(x1, y1)
	u2, v2 := pl.In(x2, y2)
	if math.Abs(pl.BendBetween(x1, y1, x2, y2).Shorter) < straightEnough {
		return math.Hypot(u2-u1, v2-v1)
	}
	s := pl.Scale
	a1, a2 := s.Along(u1), s.Along(u2)
	dx, dy, _ := pl.straight(a1, a2)
	up := math.Copysign(1, s.InPerPx((a1+a2)/2)) // dx counts inches, the frame pixels
	angle := func(a float64) float64 {
		ex, ey, _ := pl.straight(a-1, a+1)
		return math.Atan2(ey, math.Abs(ex))
	}
	s1, c1 := math.Sincos(angle(a1))
	s2, c2 := math.Sincos(angle(a2))
	return math.Hypot(up*dx-v2*s2+v1*s1, dy+v2*c2-v1*c1)
}
