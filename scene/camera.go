package scene

import "math"

// view is a Camera made ready: axes, place and focal length.
//
// A ray is carried as its slopes mx = dx/dz, my = dy/dz, so that what it meets
// at any height z is (cx + (z-cz)·mx, cy + (z-cz)·my).
type view struct {
	cx, cy, cz float64    // pinhole, mm
	ex, ey, ef [3]float64 // the photo's x and y and the optical axis, in the world
	f          float64    // focal length, px
	u0, v0     float64    // principal point, px from the corner: the photo's middle
	k1         float64
	invR2      float64 // one over the square of half the diagonal
}

func newView(c Camera, width, height int) view {
	v := view{
		f: c.FocalPx(width, height), u0: float64(width) / 2, v0: float64(height) / 2,
		k1: c.K1,
	}
	v.invR2 = 1 / (v.u0*v.u0 + v.v0*v.v0)
	rad := math.Pi / 180
	f := unit([3]float64{math.Tan(c.TiltDeg[1] * rad), math.Tan(c.TiltDeg[0] * rad), -1})
	x0 := unit([3]float64{1 - f[0]*f[0], -f[0] * f[1], -f[0] * f[2]})
	y0 := cross(f, x0)
	sin, cos := math.Sincos(c.RollDeg * rad)
	for i := range 3 {
		v.ex[i] = cos*x0[i] + sin*y0[i]
		v.ey[i] = -sin*x0[i] + cos*y0[i]
	}
	v.ef = f
	v.cx = c.AimXMM - f[0]*c.DistanceMM
	v.cy = c.AimYMM - f[1]*c.DistanceMM
	v.cz = -f[2] * c.DistanceMM
	return v
}

func unit(a [3]float64) [3]float64 {
	n := math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2])
	return [3]float64{a[0] / n, a[1] / n, a[2] / n}
}

func cross(a, b [3]float64) [3]float64 {
	return [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

func dot(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// project is where the point (x, y, z) appears, and its depth along the axis.
// Nothing with a depth of zero or less is in the photo.
func (v *view) project(x, y, z float64) (px, py, depth float64) {
	d := [3]float64{x - v.cx, y - v.cy, z - v.cz}
	depth = dot(d, v.ef)
	a := v.f * dot(d, v.ex) / depth
	b := v.f * dot(d, v.ey) / depth
	s := 1 + v.k1*(a*a+b*b)*v.invR2
	return v.u0 + a*s, v.v0 + b*s, depth
}

// undistort takes a point as seen, relative to the principal point, to where
// it would be seen without distortion. It sums the series that inverts
// r' = r(1 + k r²), whose next term, -273 (k r²)⁵, is under 1e-9 of r for the
// distortions of phones and under 1e-6 for the largest a Spec may have.
func (v *view) undistort(a, b float64) (float64, float64) {
	k := v.k1 * (a*a + b*b) * v.invR2
	s := 1 + k*(-1+k*(3+k*(-12+k*55)))
	return a * s, b * s
}

// ray returns the slopes of the ray through the photo's point (px, py).
func (v *view) ray(px, py float64) (mx, my float64) {
	a, b := v.undistort(px-v.u0, py-v.v0)
	dz := a*v.ex[2] + b*v.ey[2] + v.f*v.ef[2]
	return (a*v.ex[0] + b*v.ey[0] + v.f*v.ef[0]) / dz, (a*v.ex[1] + b*v.ey[1] + v.f*v.ef[1]) / dz
}

// at is where the ray with slopes mx, my meets height z.
func (v *view) at(mx, my, z float64) (x, y float64) {
	return v.cx + (z-v.cz)*mx, v.cy + (z-v.cz)*my
}

// jacobian holds how a ray's slopes change from pixel to pixel.
type jacobian struct {
	mxu, mxv, myu, myv float64
}

// slopesPerPx is the jacobian at the photo's point (px, py). The few tenths
// of a per cent by which distortion stretches a pixel are left out: it only
// sets the width of the pixel's filter.
func (v *view) slopesPerPx(px, py float64) jacobian {
	a, b := v.undistort(px-v.u0, py-v.v0)
	dz := a*v.ex[2] + b*v.ey[2] + v.f*v.ef[2]
	mx := (a*v.ex[0] + b*v.ey[0] + v.f*v.ef[0]) / dz
	my := (a*v.ex[1] + b*v.ey[1] + v.f*v.ef[1]) / dz
	return jacobian{
		mxu: (v.ex[0] - mx*v.ex[2]) / dz, mxv: (v.ey[0] - mx*v.ey[2]) / dz,
		myu: (v.ex[1] - my*v.ex[2]) / dz, myv: (v.ey[1] - my*v.ey[2]) / dz,
	}
}

// Project is where the world point (x, y, z), in mm, appears in the upright
// photo, in pixels from the corner of the top-left pixel, and whether that is
// in front of the camera. The point may lie outside the frame or be hidden.
func (s Spec) Project(x, y, z float64) (px, py float64, ahead bool) {
	v := newView(s.Camera, s.Width, s.Height)
	px, py, depth := v.project(x, y, z)
	return px, py, depth > 0
}
