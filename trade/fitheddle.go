package trade

import (
	"fmt"
	"math"
)

// HeddleDims is one heddle, or a set of them, as far as it is known.
type HeddleDims struct {
	Kind     string // PartWireHeddle, PartStringHeddle or PartRigidHeddle
	Length   Length // a wire heddle's by LengthIs, a string heddle knot to knot, a rigid heddle across its middle
	LengthIs Measured
}

// stringSlackIn is how far a string heddle may be longer or shorter, knot to knot,
// than the bars it hangs on are apart: they are tied, and give (common practice, no
// source).
const stringSlackIn = 0.25

// FitHeddle judges heddles for a loom. Wire heddles go by the bars: they fit where
// the loom's bars take their size. String heddles are tied to about the bars'
// distance. A rigid heddle goes where its frame goes, which no width can tell: what
// is wider than the loom does not fit, and the rest is to be tried. Common
// practice, no source.
func FitHeddle(loom Loom, h HeddleDims) Verdict {
	if err := loom.Validate(); err != nil {
		return Verdict{Kind: MeasureAgain, Unchecked: []string{"loom"}, Reason: "the loom's own figures don't agree", Question: err.Error()}
	}
	if h.Kind == PartRigidHeddle {
		return fitRigid(loom, h.Length)
	}
	v := Verdict{Kind: MeasureAgain}
	switch {
	case loom.HeddleBarSpanIn == 0:
		v.Unchecked = []string{"loom"}
		v.Reason = "the heddle bars of " + loom.called() + " are not measured"
		v.Question = "how far is it from the bottom edge of the bottom bar to the top edge of the top bar?"
		return v
	case !h.Length.Known():
		v.Unchecked = []string{"length"}
		v.Reason = "the heddle's length is not known"
		v.Question = "how long is it, end to end, or from knot to knot drawn tight?"
		return v
	}
	if h.Kind == PartStringHeddle {
		return fitString(loom, h.Length)
	}
	bars := WireHeddle(Length{In: loom.HeddleBarSpanIn}, BarSpan)
	mine := WireHeddle(h.Length, h.LengthIs)
	v.Reason = fmt.Sprintf("%s, and the bars of %s are %s apart", mine.Reason, loom.called(), FormatIn(loom.HeddleBarSpanIn, 16))
	switch {
	case bars.Question != "":
		v.Unchecked = []string{"loom"}
		v.Question = bars.Question
	case mine.Question != "":
		v.Question = mine.Question
		v.Probability = mine.Confidence
		if mine.Label != bars.Label {
			v.Probability = 1 - mine.Confidence
		}
	case mine.Label == bars.Label:
		v.Kind, v.Probability = Fits, mine.Confidence*bars.Confidence
		v.Reason += ": they take " + bars.Label + " heddles"
	default:
		v.Kind, v.Probability = DoesNotFit, 1-mine.Confidence*bars.Confidence
		v.Reason += ": they take " + bars.Label + " heddles"
	}
	return v
}

func fitString(loom Loom, knots Length) Verdict {
	bars := loom.HeddleBarSpanIn
	u := math.Hypot(knots.u(), HandReadingU(bars))
	v := Verdict{Probability: normalCDF((bars+stringSlackIn-knots.In)/u) - normalCDF((bars-stringSlackIn-knots.In)/u)}
	v.Reason = fmt.Sprintf("%s knot to knot against bars %s apart", knots, FormatIn(bars, 16))
	switch {
	case v.Probability >= sure:
		v.Kind = Fits
	case v.Probability > unlikely:
		v.Kind = MeasureAgain
		v.Question = "does one hang straight on the bars, drawn tight and not stretched? try it, or measure both again with a tape"
	default:
		v.Kind = DoesNotFit
		if knots.In > bars {
			v.Reason += ": they hang slack"
		} else {
			v.Reason += ": they don't reach"
		}
	}
	return v
}

func fitRigid(loom Loom, across Length) Verdict {
	v := Verdict{Kind: MeasureAgain}
	room, what := loom.ClearSpanIn, "clear"
	if room == 0 {
		room, what = loom.WeavingWidthIn, "woven"
	}
	switch {
	case !across.Known():
		v.Unchecked = []string{"length"}
		v.Reason = "the heddle's width is not known"
		v.Question = "how wide is it across its middle, from the first slot to the last?"
		return v
	case room == 0:
		v.Unchecked = []string{"loom"}
		v.Reason = "the width of " + loom.called() + " is not measured"
		v.Question = "how much is clear where the heddle goes?"
		return v
	}
	v.Probability = normalCDF((room + ReedClearanceIn - across.In) / math.Hypot(across.u(), HandReadingU(room)))
	v.Reason = fmt.Sprintf("%s across the middle against %s %s", across, fractionText(room, 16), what)
	if v.Probability <= unlikely {
		v.Kind = DoesNotFit
		v.Reason += ": too wide"
		return v
	}
	v.Unchecked = []string{"frame"}
	v.Question = "does its frame go in? rigid heddles of different makes don't fit each other's looms: compare outer length, height and thickness"
	v.UsableIn = across.In
	if loom.WeavingWidthIn > 0 {
		v.UsableIn = math.Min(v.UsableIn, loom.WeavingWidthIn)
	}
	return v
}
