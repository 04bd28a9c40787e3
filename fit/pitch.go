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
	TapeBend    Source = "bend of the tape"
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
	DistanceMM        float64 // camera above the ruler's marked face; 0 unknown
	// TwoRulers: a second one is seen, so that what was told may be its thickness.
	TwoRulers bool
	// Transparent: the wires are seen through the ruler; so is it in every photo of it.
	Transparent bool
	// FaceWidthIn is the ruler's width, 0 unknown; it matters to a tape that bends.
	FaceWidthIn float64
	// Side is what the photo shows of the ruler's side face; nil where nothing.
	Side *vision.SideFace
	// softTape: it surely is one that bends, see tapeChance.
	softTape bool
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
	// FrontRelU is by how much Read is off where not the wires' front but another
	// plane of theirs was followed: rare, and not in ReadRelU.
	FrontRelU float64
	// Lift is the distribution of ln(h/(h+t)), the correction for parallax:
	// equally likely values.
	Lift []float64
	// DistanceMM is the camera's height above the ruler's face, and DistanceRelU
	// how well it is known.
	DistanceMM, DistanceRelU float64
	// AttitudeRelU is the part of DistanceRelU that another photo through the same
	// lens does not share.
	AttitudeRelU float64
	// softTape: the ruler surely is a thin tape that bends, see tapeChance.
	softTape bool
	// Agree is how far the regression and the spectral estimate lie apart, in
	// their joint standard uncertainties.
	Agree float64
}

// Stated priors. Common practice, no source: phones' main lenses are near 27 mm
// equivalent, their second ones near 50 mm.
const (
	focalMedian, focalSpread = 28.5, 0.22
	// Where EXIF does not tell: a phone's main lens is 24 to 28 mm, and one photo
	// in three is zoomed, as far as 2.5 times (common practice, no source).
	mainLens, mainLensSpread    = 26.0, 0.06
	zoomShare, zoomFrom, zoomTo = 0.33, 23.0, 65.0
	// Two of three photos are taken from 19 to 64 cm (common practice, no source).
	usualDistanceMM, usualDistanceSpread = 350.0, 0.6
	// EXIF's 35 mm equivalent is reckoned by the frame's diagonal by some makers
	// and by its width by others, which differ by 4 %.
	focalKnownSpread = 0.02
	// Tilts to some 14° change the height against the distance by 2 %; where the
	// way the plane lies was seen, next to nothing of that is left.
	tiltSpread, attitudeSpread = 0.02, 0.005
	// How well the angle between ruler and wires is told, radians.
	angleU = 0.003
	// How well the plane tells whether the marks stand square, radians, and what the
	// scatter of their lean stands for, as much of it is the same from mark to mark. Of
	// 380 drawn photos (fit, seeds 5403 to 5405).
	squareU, squareScatter = 0.0007, 2.0
	// Wires are 2.5 to 4 mm deep (common practice, no source); of 320 drawn reeds (fit,
	// seeds 5401 and 5403) a tenth of that was not seen, as their edges are round, and
	// what was seen scattered by 0.13 and 0.16.
	seenDeepMM, seenDeepSpread = 2.9, 0.2
	// Half the width of a soft tape, and its standard uncertainty, in inches:
	// they are 12 to 25 mm wide (common practice, no source).
	tapeHalfIn, tapeHalfUIn = 0.36, 0.08
	// The front of a reed wire is round: what is seen of it as its edge lies
	// between its crest and, where it hides the rest, half its width below. A wire
	// is a third of the spacing wide. A heddle's corners are a little rounded.
	// Shares of the spacing and mm, of 330 drawn photos: where both kinds of edges
	// told the same, and where only those of the faces that look away from the
	// camera were heeded.
	roundDepthRel, roundDepthURel   = 0.065, 0.03
	hiddenDepthRel, hiddenDepthURel = 0.1, 0.12
	cornerDepthMM, cornerDepthUMM   = 0.08, 0.12
	beyondDepthMM, beyondDepthUMM   = 0.25, 0.45
	// A mark's place keeps a quarter of a pixel that no averaging takes away: blur,
	// sharpening, and the ink's own edges.
	markPx = 0.25
	// Marks nearer together run into each other, and one of them may be miscounted.
	fineMarkPx = 2.5
	// A rule is out of true evenly all along, as far as its tolerance over a whole
	// metre allows, which is a limit that next to all keep (JCGM 100:2008, 4.3.6);
	// marks that are out of place by themselves show among the marks.
	ruleMM = 1000.0
	// Between the front (0) and the middle of a wire (1.6 mm); a heddle's slot
	// may show its far edges only (up to 5 mm).
	reedDepthMM, reedDepthUMM     = 0.5, 0.6
	heddleDepthMM, heddleDepthUMM = 0.3, 1.0
	// What is followed in place of the front lies anywhere down to the back (as above).
	wrongFrontMM = 1.5
)

// ErrPitch is returned where the bands carry no pitch.
var ErrPitch = errors.New("the bands are too few or too uneven to carry a pitch")

// tapeChance is the probability that the ruler is a tape that bends. A transparent one is
// none: its edge is seen badly, and may be traced along what lies under it. Where it bends no
// farther than the edge of a straight one may be traced askew, it is one as likely as not (a
// stated prior), unless the thickness that was told says which.
func tapeChance(b vision.Bands, v View) float64 {
	switch {
	case b.BendPerIn == 0 || v.Transparent:
		return 0
	case b.BendPlain || v.ThicknessMM > 0 && v.ThicknessMM < notATape:
		return 1
	case v.ThicknessMM >= notATape:
		return 0
	}
	return 0.5
}

// FindPitch corrects and budgets the count. Lengths inside are inches.
func FindPitch(s calib.Scale, b vision.Bands, v View) (Pitch, error) {
	var p Pitch
	if !(b.PerInch > 0) || len(b.Row) < 5 {
		return p, ErrPitch
	}
	good := b.Of(vision.Good)
	if good < 5 {
		return p, ErrPitch
	}
	dents := float64(b.DentsPerBand)
	p.Read = b.PerInch * dents * slant(b)
	dof := freedom(len(s.Marks), good)
	add := func(src Source, u float64, note string) {
		p.Budget = append(p.Budget, Line{src, u, dof(src), note})
	}
	spanIn := s.In(s.Hi) - s.In(s.Lo)
	markStep := s.Unit.Inches() / float64(max(s.Divisions, 1))
	marks := math.Hypot(s.ResidualIn*math.Sqrt(12/math.Max(float64(len(s.Marks)), 6))/spanIn, markPx/(s.Hi-s.Lo))
	if markStep*s.PxPerIn() < fineMarkPx {
		marks = math.Hypot(marks, markStep/spanIn)
	}
	add(RulerMarks, marks, "")
	add(BandPlaces, b.U/b.PerInch, "")
	add(RulerItself, trade.RulerToleranceMM(ruleMM)/ruleMM/3, "a third of the class II tolerance over a metre, which next to all rules keep")
	add(RulerAngle, math.Abs(math.Tan(b.Skew))*angleU+angleU*angleU/2, "")
	tape := tapeChance(b, v)
	p.softTape = tape == 1
	if tape > 0 {
		half, u := tapeHalfIn, tapeHalfUIn
		// A face as wide as no tape is took what lies beside the tape along.
		if seen := v.FaceWidthIn / 2; math.Abs(seen-tapeHalfIn) < 2*tapeHalfUIn {
			half, u = seen, 0.1*seen
		}
		p.Read /= 1 + tape*b.BendPerIn*half
		u = math.Sqrt(tape * (u*u + (1-tape)*half*half))
		add(TapeBend, math.Abs(b.BendPerIn)*u, "a tape that bends keeps the length of its middle: its marked edge is stretched or shortened")
	}

	heights := cameraHeights(s, b, v)
	p.DistanceMM, p.DistanceRelU, p.AttitudeRelU = heights.mm, heights.relU, heights.own
	z, u, note := wireDepth(b)
	p.Read *= 1 - z/p.DistanceMM
	add(WireDepth, u/p.DistanceMM, note)
	read := p.combined()
	p.ReadRelU = read.U
	p.FrontRelU = wrongFrontMM / p.DistanceMM

	v.softTape = p.softTape
	p.Lift = lifts(v, heights)
	mean, sd := meanSD(p.Lift)
	note = "thickness not told"
	switch {
	case v.ThicknessMM <= 0 && v.Side != nil:
		note = "thickness not told, the ruler's side face heeded"
	case v.sideSpeaksAgainst(heights):
		note = "the ruler's side face looks otherwise: the thickness that was told may be another one's"
	case v.ThicknessMM > 0:
		note = v.toldOfAnother()
	}
	add(RulerAbove, sd, note)
	p.PerInch = p.Read * math.Exp(mean)
	if bad := p.PerInch * (1 + p.ReadRelU + sd); math.IsNaN(bad) || math.IsInf(bad, 0) {
		return p, ErrPitch
	}
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
	case b.DepthBySides && heddle:
		return beyondDepthMM, beyondDepthUMM, "the slots' edges that look away from the camera were followed"
	case b.DepthBySides:
		return hiddenDepthRel * spacingMM, hiddenDepthURel * spacingMM, "the wires' edges that look away from the camera were followed"
	case b.DepthTold && heddle:
		return cornerDepthMM, cornerDepthUMM, "the front edges of the slots were followed"
	case b.DepthTold:
		return roundDepthRel * spacingMM, roundDepthURel * spacingMM, "the front edges of the wires were followed"
	case heddle:
		return heddleDepthMM, heddleDepthUMM, "the slots' front edges could not be told from the back ones"
	}
	return reedDepthMM, reedDepthUMM, "the wires' front edges could not be told from the back ones"
}

// slant is the spacing along the ruler's edge over that square to the wires.
func slant(b vision.Bands) float64 {
	if b.Slant > 0 {
		return b.Slant
	}
	return 1 / math.Cos(b.Skew)
}

// Undo is the factor h/(h+t) that takes a count on a ruler t mm above the wires
// to the count at the wires, seen from h mm above the ruler's face: with D = h+t
// the camera's height above the wires it is (D-t)/D.
func Undo(thicknessMM, heightMM float64) float64 {
	return heightMM / (heightMM + thicknessMM)
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
