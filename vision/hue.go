package vision

import (
	"math"

	"dentcount/calib"
	"dentcount/photo"
)

// light is linear red, green and blue, 0…1.
type light [3]float64

// off is how far l is from the hue of what lies beneath: the share of its light that no
// shade of b explains, less where it is dark, and 0 where it is black.
func (l light) off(b light) float64 {
	const veil = 0.02 // of white: what is darker has no hue to speak of
	var lb, bb, ll float64
	for i := range l {
		lb, bb, ll = lb+l[i]*b[i], bb+b[i]*b[i], ll+l[i]*l[i]
	}
	if bb == 0 {
		return 0
	}
	return math.Sqrt(math.Max(0, ll-lb*lb/bb)) / (math.Sqrt(ll) + veil)
}

// offGroundsHue is how much farther from the ground's hue the wide arc is than the narrow
// one, where the camera looks through the part the most straight. In an opening the
// ground is seen, in whatever shade; wood, brass and coloured panels are of other hues.
// It is NaN where no ground is seen or the photo has no colours.
func (o besideRead) offGroundsHue(a arcs, colours photo.HalfColours, g []groundAt, row []Band, s calib.Scale, footIn float64) (float64, error) {
	foot, at, ok := a.straightDown(g, s, footIn)
	if !ok {
		return math.NaN(), nil
	}
	c, ok, err := colours.Planes()
	if !ok || err != nil {
		return math.NaN(), err
	}
	s.Frame = s.Frame.Halved()
	var wide, narrow, ground light
	for i, p := range [...]photo.Plane{c.R, c.G, c.B} {
		st := beside(p, s.Frame, o.st.lo, o.st.lo+float64(o.st.cols-1), o.st.d0, o.st.depth(o.st.rows-1), o.st.step)
		if st.cols == 0 {
			return math.NaN(), nil
		}
		sig := onRuler(st.sheared(o.ln, 0, st.rows, 1), st.lo, s, s.PxPerIn())
		f, places := fold(sig.goodOf(row, a.row.T), a.row)
		near := math.Inf(1)
		for j, x := range places {
			if d := math.Abs(x - foot.at); d < near {
				near = d
				wide[i], narrow[i] = linear(overBins(f[j], a.wideAt)), linear(overBins(f[j], a.narrowAt))
			}
		}
		if math.IsInf(near, 1) {
			return math.NaN(), nil
		}
		ground[i] = linear(at.seenIn(p, s))
	}
	return wide.off(ground) - narrow.off(ground), nil
}

// seenIn is the ground's level in a channel whose frame s is in.
func (g groundAt) seenIn(p photo.Plane, s calib.Scale) float64 {
	const along = 0.2 // inches to either side
	var v []float64
	for _, d := range g.depths {
		for i := -2.0; i <= 2; i++ {
			if x := p.At(s.Frame.Point(g.along+i/2*along*s.PxPerIn(), d)); x == x {
				v = append(v, x)
			}
		}
	}
	return medianOf(v)
}
