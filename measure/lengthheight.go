package measure

import (
	"math"

	"dentcount/trade"
	"dentcount/vision"
)

// How far the faces of a reed's end caps lie above the fronts of its wires: caps
// are as thick as the baulks, 6 to 10 mm, or thinner, and wires 2.5 to 4 mm deep
// stand in the middle of them (common practice, no source).
const capAboveMM, capAboveUMM = 2.0, 1.5

// noMadeSize is how often a reed or heddle is taken to be of no made size, and
// sizeSpan the natural logarithm of the coarsest size over the finest: stated
// priors, as for the dent size.
const noMadeSize, sizeSpan = 0.05, 3.0

// scaleMisread is how often a ruler's scale is read at half its spacing, and how
// often at twice: a stated prior.
const scaleMisread = 0.03

// How far a reed's wires are seen between its baulks: reeds are made 4 to 6 in
// high, of which the baulks take a quarter of an inch to half an inch each (common
// practice, no source). So many of all are higher or lower than that.
const fieldHeightIn, fieldHeightSpread, oddHeight = 4.0, 0.2, 0.05

// fieldLikelihood is the likelihood of a height of the wires, in inches, by its
// natural logarithm.
func fieldLikelihood(in float64) float64 {
	z := math.Log(in/fieldHeightIn) / fieldHeightSpread
	const range_ = 2.3 // of the logarithm of odd heights: a factor of ten
	return (1-oddHeight)*math.Exp(-z*z/2)/(fieldHeightSpread*math.Sqrt(2*math.Pi)) + oddHeight/range_
}

// seenLikelihood is the likelihood of the wires being seen so high, in inches. A
// ruler that lies on the reed lies on a baulk and may hide some of them: stated
// shares of how much.
func seenLikelihood(in float64, underRuler bool) float64 {
	if !underRuler {
		return fieldLikelihood(in)
	}
	var sum float64
	for _, hidden := range [4]struct{ in, share float64 }{{0, 0.4}, {0.25, 0.25}, {0.5, 0.2}, {1, 0.15}} {
		sum += hidden.share * fieldLikelihood(in+hidden.in)
	}
	return sum
}

// peak is one way in which the height can be: the relative lift and its
// standard uncertainty.
type peak struct{ weight, mean, u float64 }

// peaksOf are the ways in which the wires' lift can be by their spacing, given
// what was thought of it before; the first is that they are of no made size.
func peaksOf(part string, e vision.Ends, mean, sd float64) []peak {
	ps := []peak{{noMadeSize / sizeSpan, mean, sd}}
	for _, s := range trade.Sizes(part) {
		x := math.Log(e.DentsPerSpacing / s.PerInch / e.SpacingIn)
		u := math.Hypot(s.TolRel, e.SpacingU/e.SpacingIn)
		all := math.Hypot(sd, u)
		z := (x - mean) / all
		k := sd * sd / (sd*sd + u*u)
		ps = append(ps, peak{
			(1 - noMadeSize) * s.Weight * math.Exp(-z*z/2) / (all * math.Sqrt(2*math.Pi)),
			mean + k*(x-mean), sd * math.Sqrt(1-k),
		})
	}
	return ps
}

// heightBySize betters a lift by the part's own dents. Wires that lie below the
// marks look finer than they are, and reeds are made in a few sizes only: what
// the apparent spacing lacks to a made size says how far the marks lie above the
// wires, whatever the camera's distance. Each made size is weighed by how common
// it is and by how well its height agrees with what was thought before.
func (l lift) heightBySize(w What, e vision.Ends) lift {
	part, above, aboveU := trade.PartReed, 0.0, 0.0
	switch w {
	case SleyWidth:
	case ReedLength:
		above, aboveU = capAboveMM, capAboveUMM
	case HeddleWidth:
		part = trade.PartRigidHeddle
	default:
		return l
	}
	field := func(float64) float64 { return 1 }
	if part == trade.PartReed && e.FieldIn > 0 {
		field = func(k float64) float64 {
			return seenLikelihood(k*e.FieldIn, e.UnderRuler) / seenLikelihood(e.FieldIn, e.UnderRuler)
		}
	}
	if !(e.SpacingIn > 0) || !(l.distanceMM > 0) {
		l.scaleRight = 1 / (1 + scaleMisread*math.Max(0, (field(2)+field(0.5))/2-1))
		return l
	}
	// the prior of the wires' own lift, relative
	D := l.distanceMM
	mean := (l.markMM + above) / D
	sd := math.Hypot(math.Hypot(l.u, aboveU)/D, mean*l.distanceU)
	ps := peaksOf(part, e, mean, sd)
	var sum, m, v float64
	for _, p := range ps {
		sum += p.weight
		m += p.weight * p.mean
	}
	m /= sum
	for _, p := range ps {
		v += p.weight * (p.u*p.u + (p.mean-m)*(p.mean-m)) / sum
	}
	// A scale read at twice or half its spacing shows another spacing of wires and
	// another height of the reed, and one read wrong otherwise most likely a spacing
	// that nobody makes.
	rival := 0.0
	for _, k := range [2]float64{2, 0.5} {
		o := e
		o.SpacingIn, o.SpacingU = k*e.SpacingIn, k*e.SpacingU
		for _, p := range peaksOf(part, o, mean, sd)[1:] {
			rival += scaleMisread * p.weight * field(k)
		}
	}
	l.scaleRight = sum / (sum + rival) * (1 - 0.5*ps[0].weight/sum)
	// Back to the ends, whose own height is known to l.u and goes with that of the
	// wires as far as that is not the caps' doubt.
	g := l.u * l.u / (l.u*l.u + aboveU*aboveU)
	l.bySize = g*math.Sqrt(v) < 0.5*sd
	moved := g * (m - mean) * D
	apart := g * aboveU * aboveU
	rel := (l.markMM + moved) / D
	l.u = math.Hypot(math.Sqrt(apart), g*math.Sqrt(v)*D)
	l.markMM = rel * D
	l.ln = -math.Log(1 - rel)
	if g > 0.5 {
		l.distanceU = 0 // most of the height came as a share of the distance
	}
	return l
}
