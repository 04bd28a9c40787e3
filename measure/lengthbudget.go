package measure

import (
	"fmt"
	"math"

	"dentcount/fit"
	"dentcount/trade"
	"dentcount/vision"
)

// lift is the correction for the ruler's marks lying nearer to the camera than
// the ends, or further: by m at camera distance D the marks show large by
// D/(D-m), and the length read on them is short by (D-m)/D.
type lift struct {
	markMM     float64 // marks above the ends
	u          float64 // its standard uncertainty, mm
	distanceMM float64
	distanceU  float64 // relative
	ln         float64 // to add to the logarithm of the length
	told       bool
	bySize     bool    // the part's dents told it
	scaleRight float64 // probability that the scale was read right, by the dents
}

// Stated priors of heights, in millimetres (common practice, no source).
const (
	// loose rules and tapes, their marked face above what they lie on: a tape 0.2
	// to 0.4, a steel rule 0.5 to 1.2, one of wood or plastic 2 to 3
	usualThicknessMM, usualThicknessUMM = 1.0, 1.1
	// how well a person tells a height
	toldUMM = 0.1
)

// partHeight is how far the ends lie above what the ruler lies on, and how well
// that is known. A ruler on the bars lies on what it measures. A reed beside
// its ruler is 6 to 10 mm thick, its wires half-way up; worn tables, feet and
// folded tapes make up for much of it. A ruler on a reed lies on its baulks, and
// its end caps are as high as those or up to 3 mm lower. Thread lies near the
// table, on its pins.
func partHeight(w What, underRuler bool) (mm, u float64) {
	switch {
	case w == StringHeddle:
		return 1, 0.8
	case w == WireHeddle:
		return 0.5, 0.5
	case w == HeddleBarSpan && underRuler:
		return 0, 0.3
	case w == SleyWidth && underRuler:
		return -1, 1.2 // on the wires or, nearer to the camera, on the baulks
	case w == ReedLength && underRuler:
		return -1, 1.3
	case underRuler:
		return 0, 1
	case w == SleyWidth || w == HeddleWidth:
		return 2, 2.5
	}
	return 3, 2.5
}

func liftOf(s sight, e vision.Ends, opt LengthOptions) lift {
	ppi := math.Abs(s.ruler.Scale.PxPerIn())
	mm, relU := fit.Distance(s.view, ppi)
	return liftFrom(opt, e.UnderRuler, mm, relU)
}

// liftFrom is the lift with the camera at a distance, and its relative
// standard uncertainty.
func liftFrom(opt LengthOptions, underRuler bool, distanceMM, distanceU float64) lift {
	l := lift{distanceMM: distanceMM, distanceU: distanceU, scaleRight: 1}
	if opt.MarksAboveMM != nil {
		l.markMM, l.u, l.told = *opt.MarksAboveMM, toldUMM, true
	} else {
		h, u := partHeight(opt.What, underRuler)
		t, ut := usualThicknessMM, usualThicknessUMM
		if opt.RulerThicknessMM > 0 {
			t, ut = opt.RulerThicknessMM, toldUMM
			l.told = u <= 1
		}
		l.markMM, l.u = t-h, math.Hypot(u, ut)
	}
	l.ln = -math.Log(math.Max(l.distanceMM-l.markMM, 0.5*l.distanceMM) / l.distanceMM)
	return l
}

// lensShift is how far a phone's lens is taken to move a point at the corner,
// relative to its distance from the middle, one standard deviation, after the
// phone's own correction (common practice, no source).
const lensShift = 0.003

// note says where the heights come from, if not from a person.
func (l lift) note() string {
	switch {
	case l.bySize:
		return "heights told by the dents, which are of a made size"
	case !l.told:
		return "heights not told"
	}
	return ""
}

func lengthBudget(s sight, e vision.Ends, l lift) []BudgetLine {
	L := e.LengthIn
	x1, _ := s.plane.In(e.At[0][0], e.At[0][1])
	x2, _ := s.plane.In(e.At[1][0], e.At[1][1])
	line := func(source string, rel float64, note string) BudgetLine {
		return BudgetLine{Source: source, RelativeU: rel, Note: note}
	}
	lines := []BudgetLine{
		line("ruler marks", s.ruler.Scale.UBetween(s.plane.Scale.Along(x1), s.plane.Scale.Along(x2))/L, ""),
		line("places of the ends", e.UIn/L, ""),
		line("plane of the ruler", s.plane.ULength(e.At[0][0], e.At[0][1], e.At[1][0], e.At[1][1])/L, "how the scale changes between the ruler and the ends"),
		line("marks above the ends", math.Hypot(l.u, l.markMM*l.distanceU)/l.distanceMM, l.note()),
		line("lens", lensRel(s, e), ""),
		line("ruler's own tolerance", trade.RulerUMM(L*trade.MMPerInch)/(L*trade.MMPerInch)/3,
			"a third of the class II tolerance, which is for the whole length of a rule"),
	}
	if b := bendOf(s, e); b.ln != 0 {
		lines = append(lines, line("bend of the tape", b.u, b.note))
	}
	return lines
}

// Half the width of a soft tape, and its standard uncertainty, in inches: most
// are 15 to 20 mm wide (common practice, no source).
const tapeHalfIn, tapeHalfUIn = 0.34, 0.1

// bend is what the bend of a soft tape in its plane does to a length.
type bend struct {
	ln, u float64 // to add to the logarithm of the length, and its standard uncertainty
	note  string
}

// bendOf finds it. A tape that is bent keeps the length of its middle: its
// marked edge is stretched on the outside of the bend and shortened on the
// inside. Straight rulers, and what a lens bows, have none to speak of.
func bendOf(s sight, e vision.Ends) bend {
	const least = 0.0005
	v := s.plane.BendBetween(e.At[0][0], e.At[0][1], e.At[1][0], e.At[1][1])
	b := bend{ln: v.PerIn * tapeHalfIn, u: math.Hypot(v.PerIn*tapeHalfUIn, v.Shorter/4)}
	if math.Abs(b.ln) < least {
		return bend{}
	}
	b.note = fmt.Sprintf("its marked edge is the inner one, shortened by some %.2g %%: lay it straight", -100*b.ln)
	if b.ln > 0 {
		b.note = fmt.Sprintf("its marked edge is the outer one, stretched by some %.2g %%: lay it straight", 100*b.ln)
	}
	return b
}

// lensRel is what the lens may do to the length against the ruler: its shift
// grows with the square of the distance from the middle of the picture, and
// what the ruler shares of it cancels.
func lensRel(s sight, e vision.Ends) float64 {
	cx, cy := float64(s.gray.W-1)/2, float64(s.gray.H-1)/2
	corner := cx*cx + cy*cy
	f := s.ruler.Scale.Frame
	var sum float64
	for _, q := range e.At {
		a, _ := f.Locate(q[0], q[1])
		x, y := f.Point(a, 0)
		sum += (math.Pow(q[0]-cx, 2) + math.Pow(q[1]-cy, 2) - math.Pow(x-cx, 2) - math.Pow(y-cy, 2)) / corner / 2
	}
	return lensShift * math.Abs(sum)
}
