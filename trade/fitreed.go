package trade

import (
	"fmt"
	"math"
)

// VerdictKind says how a part goes with a loom.
type VerdictKind string

// The verdicts.
const (
	Fits         VerdictKind = "fits"
	FitsAfterCut VerdictKind = "fits-after-cut"
	MeasureAgain VerdictKind = "measure-again"
	DoesNotFit   VerdictKind = "does-not-fit"
)

// Verdict is the answer to "will this reed go in that loom?".
type Verdict struct {
	Kind VerdictKind
	// Probability that the reed goes in as it is, given the uncertainties of
	// what was measured. What was not measured is in Unchecked instead.
	Probability float64
	// UsableIn is the width that can be woven with it, as far as known; 0: not known.
	UsableIn float64
	// Unchecked names what could not be checked: "length", "height", "loom".
	Unchecked []string
	Reason    string
	Question  string
	Cautions  []string
	Cut       *CutPlan // the cut that would make it fit, where it is too long and its measures allow a plan
}

// FitReed judges a reed for a loom with the uncertainty in view: under the
// clear span it goes in, over it it must be cut, and where the two lie closer
// than can be told ("29.4 ± 0.1 in against 29 1/2 clear") the answer is to
// measure again. The loom's own figures are taken as read by hand with a
// tape. A reed's height can't be mended, its length can.
func FitReed(loom Loom, reed ReedDims) Verdict {
	if err := loom.Validate(); err != nil {
		return Verdict{Kind: MeasureAgain, Unchecked: []string{"loom"}, Reason: "the loom's own figures don't agree", Question: err.Error()}
	}
	height := CheckReedHeight(loom, reed.Height)
	if height.Verdict == DoesNotFit {
		return Verdict{Kind: DoesNotFit, Reason: height.Reason + ": a reed's height can't be changed", Probability: height.Probability}
	}
	v := fitLength(loom, reed)
	if height.Reason == "" {
		v.Unchecked = append(v.Unchecked, "height")
		v.Reason = joinWords(v.Reason+";", "the height is not checked")
		v.Question = joinQuestions(v.Question, height.Question)
		return v
	}
	v.Probability *= height.Probability
	v.Reason += "; " + height.Reason
	if height.Verdict == MeasureAgain && v.Kind != DoesNotFit {
		v.Kind = MeasureAgain
	}
	return v
}

// fitLength judges the length alone.
func fitLength(loom Loom, reed ReedDims) Verdict {
	v := Verdict{Kind: MeasureAgain}
	switch {
	case !reed.Length.Known():
		v.Unchecked = []string{"length"}
		v.Reason = "the reed's length is not known"
		v.Question = "how long is the reed, from the outer face of one end cap to that of the other?"
		return v
	case loom.ClearSpanIn == 0:
		v.Unchecked = []string{"length"}
		v.Reason = fmt.Sprintf("%s long, but the clear span of %s is not known", reed.Length, loom.called())
		v.Question = "how much is clear between the uprights, where the reed goes in?"
		return v
	}
	if reed.Length.In < minSleyWidthIn+ReedExtraIn {
		v.Unchecked = []string{"length"}
		v.Reason = fmt.Sprintf("a reed %s long has next to nothing to weave with", reed.Length)
		v.Question = "is that its length? check the number and its unit"
		return v
	}
	clear := loom.ClearSpanIn
	v.Probability = normalCDF((clear - reed.Length.In) / math.Hypot(reed.Length.u(), HandReadingU(clear)))
	versus := fmt.Sprintf("%s against %s clear", reed.Length, fractionText(clear, 16))
	switch {
	case v.Probability >= sure:
		v.Kind = Fits
		v.Reason = versus + ": it goes in"
		v.usable(loom, reed)
	case v.Probability > unlikely:
		v.Reason = versus + ": measure again with a tape"
	default:
		v.tooLong(loom, reed, versus)
	}
	return v
}

// usable says how much of the loom a reed that goes in serves.
func (v *Verdict) usable(loom Loom, reed ReedDims) {
	width, from := reed.SleyWidth, "between its first and last wire"
	if !width.Known() {
		width, from = Length{In: reed.Length.In - ReedExtraIn, U: reed.Length.U}, "about, its ends taken off"
	}
	v.UsableIn = math.Max(0, width.In)
	if loom.WeavingWidthIn == 0 {
		return
	}
	if short := loom.WeavingWidthIn - width.In; short > 2*math.Hypot(width.u(), HandReadingU(loom.WeavingWidthIn)) {
		v.Cautions = append(v.Cautions, fmt.Sprintf("it weaves %s (%s), %s less than %s can",
			FormatIn(width.In, 16), from, FormatIn(short, 16), loom.called()))
		return
	}
	v.UsableIn = math.Min(v.UsableIn, loom.WeavingWidthIn)
}

// tooLong plans the cut of a reed that does not go in.
func (v *Verdict) tooLong(loom Loom, reed ReedDims, versus string) {
	want := loom.ClearSpanIn - ReedClearanceIn
	if aim := AdviseReedLength(loom).AimIn; aim > 0 {
		want = math.Min(want, aim)
	}
	plan, err := CutReed(reed, Cut{WantIn: want})
	if q, ok := AsQuestion(err); ok {
		// what lacks is a measure of the reed, not the reed: a cut is possible
		v.Kind = FitsAfterCut
		v.Reason = versus + ": too long, it would have to be cut"
		v.Question = q.Error()
		v.Cautions = cuttingCautions(reed.Binding)
		return
	}
	if err != nil {
		v.Kind = DoesNotFit
		v.Reason = versus + ": too long, and " + err.Error()
		return
	}
	v.Kind = FitsAfterCut
	v.Cut = &plan
	v.UsableIn = plan.SleyWidthIn
	if loom.WeavingWidthIn > 0 {
		v.UsableIn = math.Min(v.UsableIn, loom.WeavingWidthIn)
	}
	v.Reason = versus + ": too long; " + plan.Reason
	v.Question = plan.Question
	v.Cautions = append([]string{"a cut can't be undone: is there no loom it fits as it is?"}, plan.Cautions...)
}
