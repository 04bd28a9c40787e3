package scene

import "math"

// lights is a Light made ready.
type lights struct {
	flat           float64    // brightness of a flat surface that faces the camera
	glossX, glossY float64    // where a flat mirror at z = 0 would show the main light, mm
	edge           [2]float64 // brightness added by a bevel that faces -x, and +x
	gx, gy         float64    // gradient per mm
	ax, ay         float64    // aim
	shade          float64
	sx, sy, sd     float64 // shade line: sx·x + sy·y > sd is in shade
	soft           float64
	slopeX, slopeY float64
}

func newLights(s Spec, v *view) *lights {
	l := s.Light
	n := 1 / math.Sqrt(1+l.SlopeX*l.SlopeX+l.SlopeY*l.SlopeY)
	lt := &lights{
		flat:   l.Ambient + (1-l.Ambient)*n,
		glossX: v.cx + v.cz*l.SlopeX, glossY: v.cy + v.cz*l.SlopeY,
		gx: l.GradX / 100, gy: l.GradY / 100, ax: s.Camera.AimXMM, ay: s.Camera.AimYMM,
		shade: l.Shade, soft: math.Max(1, l.SoftMM), slopeX: l.SlopeX, slopeY: l.SlopeY,
	}
	for i, nx := range [2]float64{-1, 1} {
		lit := math.Max(0, (nx*l.SlopeX+1)*n/math.Sqrt2)
		lt.edge[i] = l.Ambient*0.8 + (1-l.Ambient)*lit
	}
	lt.sy, lt.sx = math.Sincos(l.ShadeDeg * math.Pi / 180)
	lt.sd = l.ShadeAtMM + lt.sx*lt.ax + lt.sy*lt.ay
	return lt
}

// at is the brightness of the light at (x, y), 1 at the aim.
func (l *lights) at(x, y float64) float64 {
	b := 1 + (x-l.ax)*l.gx + (y-l.ay)*l.gy
	b = clamp(b, 0.3, 2)
	if l.shade > 0 {
		b *= 1 - l.shade*smooth(-l.soft/2, l.soft/2, l.sx*x+l.sy*y-l.sd)
	}
	return b
}

// box is how deep the point lies in the soft shadow of the rectangle: 1 in
// its middle, 0 outside.
func softBox(x, y, x0, x1, y0, y1, soft float64) float64 {
	if x < x0-soft || x > x1+soft || y < y0-soft || y > y1+soft {
		return 0
	}
	return smooth(x0-soft, x0+soft, x) * smooth(x1+soft, x1-soft, x) *
		smooth(y0-soft, y0+soft, y) * smooth(y1+soft, y1-soft, y)
}
