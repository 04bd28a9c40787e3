package trade

import (
	"fmt"
	"math"
)

// The figures of the reed rules: common practice, no source, but for the
// clearance, which is our own choice.
const (
	// ReedExtraIn is how much longer than the weaving width a reed is, so
	// that its end caps stand outside the cloth.
	ReedExtraIn = 0.5
	// ReedClearanceIn is the play kept between a reed that is ordered or cut
	// and the uprights.
	ReedClearanceIn = 1.0 / 8
)

// ReedLengthAdvice says how long a reed to look for or to order for a loom.
type ReedLengthAdvice struct {
	AimIn    float64 // the length that uses all of the loom; 0 where the question comes first
	OrderIn  float64 // the same as reeds are sold, by the inch where a whole inch serves
	MaxIn    float64 // nothing longer goes in
	Reason   string
	Question string
	Cautions []string
}

// AdviseReedLength aims at the weaving width plus about half an inch, never
// over the clear span between the uprights. Reeds are sold by the inch, so
// nothing is gained by a longer one; a spare of any length under the clear
// span can be pressed into service. Common practice, no source.
func AdviseReedLength(loom Loom) ReedLengthAdvice {
	if err := loom.Validate(); err != nil {
		return ReedLengthAdvice{Question: err.Error()}
	}
	if loom.WeavingWidthIn == 0 {
		return ReedLengthAdvice{
			MaxIn:    loom.ClearSpanIn,
			Question: "how wide does " + loom.called() + " really weave? measure it: a loom called 26 weaves 26 1/2",
		}
	}
	aim := loom.WeavingWidthIn + ReedExtraIn
	a := ReedLengthAdvice{AimIn: aim, MaxIn: loom.ClearSpanIn}
	a.Reason = fmt.Sprintf("%s weaves %s; a reed about %s long uses all of it", loom.called(),
		FormatIn(loom.WeavingWidthIn, 16), FormatIn(aim, 16))
	if loom.ClearSpanIn == 0 {
		a.OrderIn = math.Ceil(aim - 1e-9)
		a.Question = "how much is clear between the uprights of " + loom.called() + ", where the reed goes in? a longer reed does not go in"
		return a
	}
	if most := loom.ClearSpanIn - ReedClearanceIn; aim > most {
		a.AimIn = most
		a.Reason = fmt.Sprintf("%s weaves %s but only %s is clear between the uprights, so the reed is %s at most",
			loom.called(), FormatIn(loom.WeavingWidthIn, 16), FormatIn(loom.ClearSpanIn, 16), FormatIn(most, 16))
		a.Cautions = append(a.Cautions, "the end caps take some of that: ask the maker for the width between the first and the last wire")
	} else {
		a.Reason += fmt.Sprintf("; %s is clear between the uprights, so nothing longer goes in", FormatIn(loom.ClearSpanIn, 16))
	}
	a.OrderIn = orderLength(a.AimIn, loom)
	a.Cautions = append(a.Cautions,
		"reeds are sold by the inch: a longer one costs more and weaves no more",
		"a spare reed of any length under the clear span can be pressed into service, for cloth as wide as it is")
	return a
}

// orderLength is the whole inch to order: the next one up where it still goes
// in, else the next one down where it still covers the weaving width, else
// the length itself.
func orderLength(aim float64, loom Loom) float64 {
	if up := math.Ceil(aim - 1e-9); up <= loom.ClearSpanIn-ReedClearanceIn {
		return up
	}
	if down := math.Floor(aim); down >= loom.WeavingWidthIn {
		return down
	}
	return aim
}

// Fit says how one measure of a part goes with a loom.
type Fit struct {
	Verdict     VerdictKind
	Probability float64 // that it goes, given the uncertainties
	Reason      string
	Question    string
}

// reedHeightStepIn is the step in which reed heights are made: 4 1/2, 4 3/4,
// 5 … (common practice, no source). A beater's range is stated in the same
// steps, so a measured height stands for the nearest one: half a step beyond
// the range still is the range's last height.
const reedHeightStepIn = 0.25

// CheckReedHeight compares a reed's height, over both baulks, with the
// heights a loom's beater takes. Most beaters adjust; 4 1/2, 4 3/4, 5, up to
// 5 1/2 in is a common range (common practice, no source). The loom's own
// figures are taken as read by hand.
func CheckReedHeight(loom Loom, height Length) Fit {
	lo, hi := loom.BeaterMinIn, loom.BeaterMaxIn
	switch {
	case !height.Known():
		return Fit{Verdict: MeasureAgain, Question: "how high is the reed, from the outer edge of one baulk to that of the other?"}
	case lo <= 0 || hi <= 0:
		return Fit{Verdict: MeasureAgain, Question: "which reed heights does the beater of " + loom.called() + " take, lowest and highest?"}
	}
	above := normalCDF((height.In - (lo - reedHeightStepIn/2)) / math.Hypot(height.u(), HandReadingU(lo)))
	over := normalCDF((height.In - (hi + reedHeightStepIn/2)) / math.Hypot(height.u(), HandReadingU(hi)))
	f := Fit{Probability: math.Max(0, above-over)}
	span := fmt.Sprintf("%s to %s", fractionText(lo, 16), FormatIn(hi, 16))
	if lo == hi {
		span = FormatIn(lo, 16)
	}
	switch {
	case f.Probability >= sure:
		f.Verdict = Fits
		f.Reason = fmt.Sprintf("%s high, the beater takes %s", height, span)
	case f.Probability <= unlikely:
		f.Verdict = DoesNotFit
		f.Reason = fmt.Sprintf("%s high, the beater takes only %s", height, span)
	default:
		f.Verdict = MeasureAgain
		f.Reason = fmt.Sprintf("%s high against a beater for %s: measure again with a tape", height, span)
	}
	return f
}

// CapAdvice says what a reed's end caps mean.
type CapAdvice struct {
	Reason   string
	Question string
	Cautions []string
}

// AdviseCaps reads the number of end caps on a reed. Old reeds have two,
// modern ones often one, and the stamp sits on one of them (common practice,
// no source).
func AdviseCaps(caps int) CapAdvice {
	stamp := "look for the stamped size on the cap, under rust and paint too; a stamp is a hint, not a proof"
	switch caps {
	case 2:
		return CapAdvice{Reason: "both ends are capped, as on most old reeds; the stamp is on one of the two", Cautions: []string{stamp}}
	case 1:
		return CapAdvice{
			Reason:   "one end is capped, as on many modern reeds; the stamp is on that cap, and the other end may have been cut",
			Cautions: []string{stamp, "feel the bare end for loose wires and sharp edges before it goes near a warp"},
		}
	case 0:
		return CapAdvice{
			Reason:   "no end is capped: the reed was cut at both ends, or has lost its caps, and with them the stamp",
			Question: "are the last wires at both ends firm?",
			Cautions: []string{"bare ends are sharp and their wires work loose: bind or cap them before the reed is used"},
		}
	}
	return CapAdvice{Question: fmt.Sprintf("%d end caps? a reed has none, one or two", caps)}
}
