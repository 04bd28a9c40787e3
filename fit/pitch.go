package fit

import (
	"errors"
	"math"

	"dentcount/calib"
	"dentcount/trade"
	"dentcount/vision"
)

// Source names one line of the uncertainty budget.
type Source string

// The sources of the pitch's uncertainty.
const (
	RulerMarks  Source = "ruler marks"
	BandPlaces  Source = "places of the bands"
	RulerAbove  Source = "ruler above the wires"
	RulerItself Source = "ruler's own tolerance"
	RulerAngle  Source = "angle between ruler and wires"
	WireDepth   Source = "depth of the wires"
	PhotosApart Source = "photos that stand apart"
)

// Line is one line of the budget.
type Line struct {
	Source    Source
	RelativeU float64 // standard uncertainty relative to the pitch
	DoF       float64 // its degrees of freedom; Known where it is not in doubt itself
	Note      string
}

// View is what is known of how the photo was taken.
type View struct {
	Focal35           float64 // mm, 35 mm equivalent; 0 unknown
	WidthPx, HeightPx int
	ThicknessMM       float64 // ruler's marked face above the wires; 0 unknown
	DistanceMM        float64 // camera above the wires; 0 unknown
}

// Pitch is dents per inch at the plane of the wires.
type Pitch struct {
	PerInch float64
	U       float64 // standard uncertainty of PerInch (k = 1)
	Budget  []Line
	// DoF is the effective degrees of freedom of U, K95 the factor to go with it
	// for an interval of 95 %. Lo95 and Hi95 are that interval with the priors'
	// own shapes: thickness that is not told leans one way.
	DoF, K95   float64
	Lo95, Hi95 float64
	// Read is the count per inch on the ruler's scale, angle corrected, before
	// parallax; ReadRelU its relative uncertainty, everything but parallax.
	Read, ReadRelU float64
	// Lift is the distribution of ln((D-t)/D), the correction for parallax:
	// equally likely values.
	Lift []float64
	// DistanceMM is the camera's height used, and DistanceRelU how well it is known.
	DistanceMM, DistanceRelU float64
	// Agree is how far the regression and the spectral estimate lie apart, in
	// their joint standard uncertainties.
	Agree float64
}

// Stated priors. Common practice, no source: loose rules are 0.2 mm (tapes,
// spring steel) to 3 mm (wood, plastic) thick; phones' main lenses are near
// 27 mm equivalent, their second ones near 50 mm.
const (
	thicknessMedianMM, thicknessSpread = 0.7, 0.85
	focalMedian, focalSpread           = 28.5, 0.22
	// EXIF's 35 mm equivalent is reckoned by the frame's diagonal by some makers
	// and by its width by others, which differ by 4 %.
	focalKnownSpread = 0.02
	// Tilts to some 14° change the height against the distance by 2 %.
	tiltSpread = 0.02
	// The front of a reed wire is round: what is seen of it as its edge lies
	// between its crest and half its width below. A wire is a third of the spacing
	// wide; evenly anywhere in between is a mean and a standard deviation of these
	// shares of the spacing. A heddle's corners are a little rounded.
	roundDepthRel, roundDepthURel = 0.083, 0.05
	cornerDepthMM, cornerDepthUMM = 0.1, 0.15
	// A mark's place keeps half a pixel that no averaging takes away: blur,
	// sharpening, and the ink's own edges.
	markPx = 0.5
	// Between the front (0) and the middle of a wire (1.6 mm); a heddle's slot
	// may show its far edges only (up to 5 mm).
	reedDepthMM, reedDepthUMM     = 0.5, 0.6
	heddleDepthMM, heddleDepthUMM = 0.3, 1.0
)

// ErrPitch is returned where the bands carry no pitch.
var ErrPitch = errors.New("the bands are too few or too uneven to carry a pitch")

// FindPitch corrects and budgets the count. Lengths inside are inches.
func FindPitch(s calib.Scale, b vision.Bands, v View) (Pitch, error) {
	var p Pitch
	if !(b.PerInch > 0) || len(b.Row) < 5 {
		return p, ErrPitch
	}
	good := 0
	for _, r := range b.Row {
		if r.State == vision.Good {
			good++
		}
	}
	if good < 5 {
		return p, ErrPitch
	}
	dents := float64(b.DentsPerBand)
	p.Read = b.PerInch * dents / math.Cos(b.Skew)
	dof := freedom(len(s.Marks), good)
	add := func(src Source, u float64, note string) {
		p.Budget = append(p.Budget, Line{src, u, dof(src), note})
	}
	spanIn := s.In(s.Hi) - s.In(s.Lo)
	marks := math.Hypot(s.ResidualIn*math.Sqrt(12/math.Max(float64(len(s.Marks)), 6))/spanIn, markPx/(s.Hi-s.Lo))
	add(RulerMarks, marks, "")
	add(BandPlaces, b.U/b.PerInch, "")
	own := trade.RulerUMM(spanIn*trade.MMPerInch) / (spanIn * trade.MMPerInch) / 3
	add(RulerItself, own, "a third of the class II tolerance, which is for the whole length of a rule")
	const angleU = 0.006 // radians, how well the lean of marks and bands is told
	add(RulerAngle, math.Abs(math.Tan(b.Skew))*angleU+angleU*angleU/2, "")

	ppi := s.PxPerIn()
	p.DistanceMM, p.DistanceRelU = distance(v, ppi)
	z, u, note := wireDepth(b)
	p.Read *= 1 - z/p.DistanceMM
	add(WireDepth, u/p.DistanceMM, note)
	read := p.combined()
	p.ReadRelU = read.U

	p.Lift = lifts(v, p.DistanceMM, p.DistanceRelU)
	mean, sd := meanSD(p.Lift)
	note = "thickness not told"
	if v.ThicknessMM > 0 {
		note = ""
	}
	add(RulerAbove, sd, note)
	p.PerInch = p.Read * math.Exp(mean)
	p.expand(read)
	// Where front and back edges take turns along the row, the tone's phase wanders
	// between them, and neither estimate is wrong for lying apart by a part of it.
	wander := (b.MiddlePerInch - b.PerInch) / 4
	du := math.Sqrt(b.MiddleU*b.MiddleU+b.SpectralU*b.SpectralU+wander*wander) + 2e-4*b.PerInch
	p.Agree = math.Abs(b.MiddlePerInch-b.SpectralPerInch) / du
	return p, nil
}

// wireDepth is how far below the plane the ruler lies on the edges were seen
// that gave the spacing, and its standard uncertainty.
func wireDepth(b vision.Bands) (mm, u float64, note string) {
	spacingMM := trade.MMPerInch / b.PerInch
	switch heddle := b.Kind == vision.RigidHeddle; {
	case b.DepthTold && heddle:
		return cornerDepthMM, cornerDepthUMM, "the front edges of the slots were followed"
	case b.DepthTold:
		return roundDepthRel * spacingMM, roundDepthURel * spacingMM, "the front edges of the wires were followed"
	case heddle:
		return heddleDepthMM, heddleDepthUMM, "the slots' front edges could not be told from the back ones"
	}
	return reedDepthMM, reedDepthUMM, "the wires' front edges could not be told from the back ones"
}

// distance is the camera's height above the wires in mm and its relative
// standard uncertainty.
func distance(v View, pxPerInch float64) (mm, relU float64) {
	if v.DistanceMM > 0 {
		return v.DistanceMM, tiltSpread
	}
	f, spread := v.Focal35, focalKnownSpread
	if f <= 0 {
		f, spread = focalMedian, focalSpread
	}
	return FocalPx(f, v.WidthPx, v.HeightPx) / pxPerInch * 25.4, math.Hypot(spread, tiltSpread)
}

// FocalPx is the focal length in pixels of a photo with this 35 mm equivalent:
// between the two ways of reckoning it (see focalKnownSpread). 0 for 0.
func FocalPx(focal35 float64, widthPx, heightPx int) float64 {
	w, h := float64(widthPx), float64(heightPx)
	byWidth := focal35 / 36 * math.Max(w, h)
	byDiagonal := focal35 / 43.2666 * math.Hypot(w, h)
	return math.Sqrt(byWidth * byDiagonal)
}

// lifts are equally likely values of ln((D-t)/D): the quantiles of thickness
// crossed with those of distance.
func lifts(v View, dMM, dRelU float64) []float64 {
	var out []float64
	for _, t := range thicknesses(v, 25) {
		for _, z := range normalQuantiles(9) {
			d := dMM * math.Exp(dRelU*z)
			out = append(out, math.Log(Undo(t, d)))
		}
	}
	return out
}

// Undo is the factor (D-t)/D that takes a count on a ruler t mm above the wires
// to the count at the wires, seen from D mm above them; at least a half.
func Undo(thicknessMM, heightMM float64) float64 {
	return math.Max(heightMM-thicknessMM, 0.5*heightMM) / heightMM
}

// thicknesses are n equally likely heights of the marked face above the wires,
// in mm, from thin to thick; the told one alone where it is told.
func thicknesses(v View, n int) []float64 {
	if v.ThicknessMM > 0 {
		return []float64{v.ThicknessMM}
	}
	ts := make([]float64, n)
	for i, z := range normalQuantiles(n) {
		ts[i] = math.Min(thicknessMedianMM*math.Exp(thicknessSpread*z), 4)
	}
	return ts
}

// normalQuantiles are the mid quantiles of the standard normal in n equal parts.
func normalQuantiles(n int) []float64 {
	q := make([]float64, n)
	for i := range q {
		q[i] = math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/float64(n)-1)
	}
	return q
}

func meanSD(v []float64) (mean, sd float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sd += (x - mean) * (x - mean) / float64(len(v))
	}
	return mean, math.Sqrt(sd)
}
