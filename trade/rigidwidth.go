package trade

import (
	"fmt"
	"sync"
)

// RigidWidth is a width of rigid heddle looms: what the loom is called and
// what the heddle really measures across its middle.
type RigidWidth struct {
	Called  string  // "24": in inches, as the loom is sold
	WidthIn float64 // across the middle, first to last slot
	Metric  bool    // made to whole centimetres
	Weight  float64 // how common; all add up to 1; a stated prior
	Source  string
}

// Label names the width with its make: "24 in (60 cm make)".
func (w RigidWidth) Label() string {
	if w.Metric {
		return fmt.Sprintf("%s in (%.0f cm make)", w.Called, w.WidthIn*MMPerInch/10)
	}
	return w.Called + " in"
}

var rigidWidthTable = sync.OnceValue(func() []RigidWidth {
	t := mustTable("rigid_heddle_widths.csv", "called", "width", "unit", "weight")
	var out []RigidWidth
	var sum float64
	for i := range t.rows {
		w := RigidWidth{
			Called: t.text(i, "called"), WidthIn: t.mustNumber(i, "width") * t.mustUnitIn(i, "unit"),
			Metric: t.text(i, "unit") == "cm", Weight: t.mustNumber(i, "weight"), Source: t.text(i, "source"),
		}
		sum += w.Weight
		out = append(out, w)
	}
	for i := range out {
		out[i].Weight /= sum
	}
	return out
})

// RigidWidths lists the widths of the table, the caller's own slice.
func RigidWidths() []RigidWidth { return append([]RigidWidth(nil), rigidWidthTable()...) }

// rigidSpreadIn is how far heddles lie from the width their loom is made to,
// one standard deviation, inches: the last slot ends before the full width (a
// stated prior).
const rigidSpreadIn = 0.1

// RigidHeddleWidth tells what loom a rigid heddle's width is of. It is
// measured across the middle of the heddle, first slot to last, not outside
// the frame: a metric loom sold as 24 in measures about 23 1/2 (common
// practice, no source).
func RigidHeddleWidth(across Length) HeddleAnswer {
	if !across.Known() {
		return HeddleAnswer{Question: "how wide is the heddle across its middle, from the first slot to the last, not outside the frame?"}
	}
	var cands []candidate
	metric := map[string]bool{}
	for _, w := range rigidWidthTable() {
		cands = append(cands, candidate{label: w.Label(), sizeIn: w.WidthIn, atIn: w.WidthIn, weight: w.Weight})
		metric[w.Label()] = w.Metric
	}
	a := answerFrom(classify(across, rigidSpreadIn, cands))
	a.Reason = fmt.Sprintf("%s across the middle (%s)", across, FormatMetric(across.In))
	switch {
	case a.Label == "none":
		a.Reason += ": no common width"
		a.Question = "was it measured across the middle, first slot to last, and not outside the frame? what is the loom called?"
	case a.Confidence < trusted:
		a.Reason += ": most likely for a loom called " + a.Label
		a.Question = fmt.Sprintf("what is the loom called: %s or %s?", a.Label, a.Others[0].Label)
	default:
		a.Reason += ": for a loom called " + a.Label
		if metric[a.Label] {
			a.Reason += "; made to whole centimetres, it weaves a little less than its name in inches"
		}
	}
	a.Cautions = []string{"rigid heddles of different makes don't fit each other's looms: before ordering compare the frame's outer length, height and thickness too"}
	return a
}
