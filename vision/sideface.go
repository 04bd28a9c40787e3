package vision

import (
	"math"
	"sort"

	"dentcount/calib"
	"dentcount/photo"
)

// SideFace is what the photo shows of the ruler's side face: the face square to
// its plane along the marked edge, whose height is the height of the marks above
// the wires. From a camera whose foot point lies beyond the marked edge it is a
// strip between the wires and the face, t mm · DownPxPerMM wide; from the ruler's
// other side the marked face hides it, and nothing is told.
//
// Two profiles across the edge, each a mean along hundreds of pixels of it, tell
// the strip's width. The contrast of the wires ends where the ruler's lower edge
// covers them; the tone between the marks steps where the marked face begins.
type SideFace struct {
	// LogLik is the logarithm of the likelihood of a strip i·SideFaceStep px wide.
	LogLik []float64
	// Down are the widths a mm of height would have, by the lens's focal length,
	// FocalPx that of the middle one.
	Down    []Down
	FocalPx float64
}

// Down is how many px outside the marked edge a point 1 mm below it is seen if
// the focal length were FocalPx·exp(LnFocal), and its standard uncertainty.
type Down struct {
	LnFocal, PxPerMM, U float64
}

// SideFaceStep is how finely widths of the strip are told, px.
const SideFaceStep = 0.2

// FindSideFace measures the side face along the marked edge; ok is false where
// the photo cannot show it or tells nothing of it.
func FindSideFace(p photo.Plane, s calib.Scale, b Bands) (side SideFace, ok bool) {
	if b.BendPerIn != 0 || b.FocalPx <= 0 || s.Shear == [2]float64{} || len(b.Row) < 5 || len(s.Marks) < 6 {
		return side, false
	}
	side.Down, side.FocalPx = downOf(p, s, b), b.FocalPx
	mid := side.down(0)
	const mostMM, leastPxPerMM = 5.0, 0.1
	if mid.PxPerMM < leastPxPerMM || mid.PxPerMM < 2*mid.U {
		return side, false
	}
	reach := math.Min(mostMM*mid.PxPerMM, 40) + 4
	a, ok := sideProfileOf(p, s, b, reach, mid.PxPerMM)
	if !ok {
		return side, false
	}
	side.LogLik = a.widths(reach)
	return side, side.LogLik != nil
}

// downOf reckons where points below the edge are seen from the wires' direction
// and from the marks', which tell the same plane by themselves.
func downOf(p photo.Plane, s calib.Scale, b Bands) []Down {
	// How well either tells the tilt across the edge where they agree, radians.
	const tiltU = 0.006
	var out []Down
	for x := -0.2; x < 0.85; x += 0.1 {
		x = math.Round(10*x) / 10
		wires := attitudeOf(p, s, lean{b.Lean[0], b.Lean[1]}, b.FocalPx*math.Exp(x)).downPxPerIn / 25.4
		marks := attitudeOf(p, s, lean{s.Shear[0], s.Shear[1]}, b.FocalPx*math.Exp(x)).downPxPerIn / 25.4
		out = append(out, Down{x, (wires + marks) / 2, math.Hypot(tiltU*math.Abs(s.PxPerIn())/25.4, (wires-marks)/2)})
	}
	return out
}

// Likelihood is how likely what was seen is under a ruler whose marked face lies
// thicknessMM above the wires, through a lens of focal length FocalPx·exp(lnFocal),
// over how likely it is if what looks like a strip is something else, as wide as
// any.
func (side SideFace) Likelihood(thicknessMM, lnFocal float64) float64 {
	// The strip's own width is told no better than this, px: the edges of real
	// things are neither straight nor sharp, and the lens bends them.
	const widthU = 0.2
	// Gauss and Hermite's points for a normal distribution.
	points := [...]struct{ z, w float64 }{{-1.7320508, 1. / 6}, {0, 2. / 3}, {1.7320508, 1. / 6}}
	d := side.down(lnFocal)
	var sum float64
	for _, a := range points {
		for _, b := range points {
			w := math.Max(0, (d.PxPerMM+a.z*d.U)*thicknessMM) + b.z*widthU
			sum += a.w * b.w * side.of(w)
		}
	}
	return sum / side.other()
}

// other is the mean likelihood of all widths.
func (side SideFace) other() float64 {
	var sum float64
	for _, l := range side.LogLik {
		sum += math.Exp(l)
	}
	return sum / float64(len(side.LogLik))
}

// of is the likelihood of a width.
func (side SideFace) of(px float64) float64 {
	x := math.Max(0, px) / SideFaceStep
	i := int(x)
	if i+1 >= len(side.LogLik) {
		return math.Exp(side.LogLik[len(side.LogLik)-1])
	}
	f := x - float64(i)
	return math.Exp(side.LogLik[i])*(1-f) + math.Exp(side.LogLik[i+1])*f
}

// down is what Down says of a focal length.
func (side SideFace) down(lnFocal float64) Down {
	i := sort.Search(len(side.Down), func(i int) bool { return side.Down[i].LnFocal >= lnFocal })
	i = min(max(i, 1), len(side.Down)-1)
	a, b := side.Down[i-1], side.Down[i]
	t := math.Min(math.Max((lnFocal-a.LnFocal)/(b.LnFocal-a.LnFocal), 0), 1)
	return Down{lnFocal, a.PxPerMM + t*(b.PxPerMM-a.PxPerMM), a.U + t*(b.U-a.U)}
}
