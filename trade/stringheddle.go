package trade

import (
	"fmt"
	"math"
	"sync"
)

// StringHeddleSize is a string heddle as commonly sold.
type StringHeddleSize struct {
	Label    string  // "10 1/2 in", "280 mm"
	LengthIn float64 // knot to knot, pinned out under tension
	EyeIn    float64 // its usual eye
	Weight   float64 // how common; all add up to 1; a stated prior
	Source   string
}

var stringTable = sync.OnceValue(func() []StringHeddleSize {
	t := mustTable("string_heddles.csv", "label", "length", "unit", "eye_in", "weight")
	var out []StringHeddleSize
	var sum float64
	for i := range t.rows {
		s := StringHeddleSize{
			Label: t.text(i, "label"), LengthIn: t.mustNumber(i, "length") * t.mustUnitIn(i, "unit"),
			EyeIn: t.mustNumber(i, "eye_in"), Weight: t.mustNumber(i, "weight"), Source: t.text(i, "source"),
		}
		sum += s.Weight
		out = append(out, s)
	}
	for i := range out {
		out[i].Weight /= sum
	}
	return out
})

// StringHeddleSizes lists the sizes commonly sold, the caller's own slice.
func StringHeddleSizes() []StringHeddleSize {
	return append([]StringHeddleSize(nil), stringTable()...)
}

// The eyes of string heddles, inches (common practice, no source).
const (
	UsualEyeIn    = 0.5
	DrawloomEyeIn = 2.5
)

// How far from those an eye may be and still be taken for one, inches: a
// usual eye is a quarter either way, a drawloom's five eighths (stated, no source).
const (
	usualEyeSlackIn    = 0.25
	drawloomEyeSlackIn = 0.625
)

// stringSpreadIn is how far heddles of one size lie from it, one standard
// deviation, inches: knots are tied by hand (a stated prior).
const stringSpreadIn = 0.06

// StringHeddle tells which string heddle to order from its length knot to
// knot, pinned out under tension, and its eye. Many are tied to order, so a
// length between the common sizes is answered with the length itself and a
// question. An eye near 2 1/2 in is for a drawloom: that is asked before
// anything is ordered. Sold in hundreds. Common practice, no source.
func StringHeddle(knots, eye Length) HeddleAnswer {
	if !knots.Known() {
		return HeddleAnswer{Question: "how long is it from knot to knot, pinned out under tension?"}
	}
	a := answerFrom(classify(knots, stringSpreadIn, stringCandidates()))
	a.Reason = fmt.Sprintf("%s knot to knot (%s)", knots, FormatMetric(knots.In))
	switch {
	case a.Label == "none":
		a.Reason += ": no common size; string heddles are tied to order too"
		a.Question = fmt.Sprintf("order by the length, %s, or is it worn or slack? pin it out under tension and measure again", FormatLength(knots.In))
	case a.Confidence < trusted:
		a.Reason += ": most likely " + a.Label
		a.Question = "pin it out under tension and measure again: it lies between common sizes"
	default:
		a.Reason += ": " + a.Label
	}
	reason, question := readEye(eye)
	a.Reason = joinWords(a.Reason+";", reason)
	a.Question = joinQuestions(question, a.Question)
	a.Cautions = []string{
		"string heddles are sold in hundreds: order up to the next hundred",
		"a slack heddle measures short: pin both knots, draw it tight, then measure",
	}
	return a
}

// readEye says what an eye is; the question is empty for the usual one.
func readEye(eye Length) (reason, question string) {
	if !eye.Known() {
		return "the eye is not measured", "how long is the eye? the usual one is 1/2 in"
	}
	off := func(at float64) float64 { return math.Abs(eye.In - at) }
	switch {
	case off(UsualEyeIn)+eye.u() <= usualEyeSlackIn:
		return fmt.Sprintf("eye %s, the usual 1/2 in", eye), ""
	case off(DrawloomEyeIn) <= drawloomEyeSlackIn:
		return fmt.Sprintf("eye %s, as long as a drawloom's", eye), "is it for a drawloom? ask before ordering: its eye is near 2 1/2 in, the usual one 1/2 in"
	}
	return fmt.Sprintf("eye %s, neither the usual 1/2 in nor a drawloom's 2 1/2 in", eye), "measure the eye again, drawn tight: what is the heddle for?"
}

func stringCandidates() []candidate {
	var out []candidate
	for _, s := range stringTable() {
		out = append(out, candidate{label: s.Label, sizeIn: s.LengthIn, atIn: s.LengthIn, weight: s.Weight})
	}
	return out
}
