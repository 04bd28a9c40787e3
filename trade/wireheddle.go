package trade

import (
	"fmt"
	"math"
	"sync"
)

// WireHeddleSize is a wire heddle as made.
type WireHeddleSize struct {
	Label     string
	BarSpanIn float64 // bottom edge of the bottom bar to top edge of the top bar
	HeddleIn  float64 // the heddle itself, end to end
	Weight    float64 // how common; all add up to 1; a stated prior
	Source    string
}

var wireTable = sync.OnceValue(func() []WireHeddleSize {
	t := mustTable("wire_heddles.csv", "label", "bar_span_in", "heddle_in", "weight")
	var out []WireHeddleSize
	var sum float64
	for i := range t.rows {
		w := WireHeddleSize{
			Label: t.text(i, "label"), BarSpanIn: t.mustNumber(i, "bar_span_in"),
			HeddleIn: t.mustNumber(i, "heddle_in"), Weight: t.mustNumber(i, "weight"), Source: t.text(i, "source"),
		}
		sum += w.Weight
		out = append(out, w)
	}
	for i := range out {
		out[i].Weight /= sum
	}
	return out
})

// WireHeddleSizes lists the sizes made, the caller's own slice.
func WireHeddleSizes() []WireHeddleSize { return append([]WireHeddleSize(nil), wireTable()...) }

// Measured says what a heddle figure is a measure of.
type Measured string

// What can have been measured.
const (
	NotSaid      Measured = ""
	BarSpan      Measured = "heddle-bar-span" // where it goes: over both bars
	HeddleLength Measured = "wire-heddle"     // the heddle itself, end to end
)

// How far the real things lie from the nominal ones, one standard deviation,
// inches: bars are a little apart from loom to loom, heddles exceed their size
// by "about" a quarter inch. Stated priors.
const (
	barSpreadIn    = 0.05
	heddleSpreadIn = 0.06
)

// WireHeddle tells which wire heddle to order. Not the heddle but where it
// goes is measured: bottom edge of the bottom bar to top edge of the top bar.
// A heddle's own length is about 1/4 in more than its size, so 10 3/4 means
// 10 1/2; the answer says so (common practice, no source). Where it was not
// said which of the two was measured, both are tried.
func WireHeddle(l Length, what Measured) HeddleAnswer {
	if !l.Known() {
		return HeddleAnswer{Question: "how far is it from the bottom edge of the bottom heddle bar to the top edge of the top one?"}
	}
	bars, ends := wireCandidates(BarSpan), wireCandidates(HeddleLength)
	var a HeddleAnswer
	switch what {
	case BarSpan:
		a = answerFrom(classify(l, barSpreadIn, bars))
		a.Reason = fmt.Sprintf("%s over the heddle bars", l)
		if other := classify(l, heddleSpreadIn, ends)[0]; a.Label == "none" && other.Label != "none" {
			a.Question = fmt.Sprintf("no heddle is made for bars %s apart, but one %s long itself is a %s: was the heddle measured rather than the bars?",
				l, FormatIn(wireLengthIn(other.In), 16), other.Label)
		}
	case HeddleLength:
		a = answerFrom(classify(l, heddleSpreadIn, ends))
		a.Reason = fmt.Sprintf("the heddle itself is %s long; wire heddles go by the bars they hang on, about 1/4 in less", l)
		if other := classify(l, barSpreadIn, bars)[0]; a.Label == "none" && other.Label != "none" {
			a.Question = fmt.Sprintf("no heddle is made %s long, but bars that far apart take a %s: were the bars measured?", l, other.Label)
		}
	default:
		a = answerFrom(classify(l, math.Max(barSpreadIn, heddleSpreadIn), append(append([]candidate(nil), bars...), ends...)))
		a.Reason = fmt.Sprintf("%s, whether over the bars or the heddle itself", l)
		if a.Label != "none" {
			if math.Abs(l.In-a.In) < 0.125 {
				a.Reason = fmt.Sprintf("%s reads as the span over the heddle bars", l)
			} else {
				a.Reason = fmt.Sprintf("%s reads as the heddle's own length, which is about 1/4 in more than its size", l)
			}
		}
	}
	return a.settle(l)
}

// settle adds the words that depend on the answer alone.
func (a HeddleAnswer) settle(l Length) HeddleAnswer {
	switch {
	case a.Label == "none":
		a.Reason += ": no made size agrees"
		if a.Question == "" {
			a.Question = "measure again with a tape, bottom edge of the bottom bar to top edge of the top bar; is it still no made size?"
		}
	case a.Confidence < trusted:
		a.Reason += fmt.Sprintf(": most likely %s", a.Label)
		a.Question = fmt.Sprintf("is it %s or %s? measure again with a tape", a.Label, a.Others[0].Label)
		if a.Others[0].Label == "none" {
			a.Question = fmt.Sprintf("%s is a little off for %s: measure again with a tape", l, a.Label)
		}
	default:
		a.Reason += fmt.Sprintf(": order %s", a.Label)
	}
	a.Cautions = []string{"count before you order: see how many the warp needs on each shaft"}
	return a
}

// wireLengthIn is the heddle's own length of a size.
func wireLengthIn(barSpanIn float64) float64 {
	for _, w := range wireTable() {
		if w.BarSpanIn == barSpanIn {
			return w.HeddleIn
		}
	}
	return 0
}

func wireCandidates(what Measured) []candidate {
	var out []candidate
	for _, w := range wireTable() {
		c := candidate{label: w.Label + " in", sizeIn: w.BarSpanIn, atIn: w.BarSpanIn, weight: w.Weight}
		if what == HeddleLength {
			c.atIn = w.HeddleIn
		}
		out = append(out, c)
	}
	return out
}
