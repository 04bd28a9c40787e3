package trade

import (
	"strings"
	"testing"
)

// Common practice, no source: 10 3/4 in long means a 10 1/2 in heddle, which hangs
// on bars 10 1/2 in apart.
func TestFitHeddle(t *testing.T) {
	loom := Loom{Name: "big-blue", WeavingWidthIn: 23.5, ClearSpanIn: 26, HeddleBarSpanIn: 10.5}
	noBars := Loom{Name: "bare"}
	oddBars := Loom{Name: "odd", HeddleBarSpanIn: 10.75}
	for _, c := range []struct {
		name string
		loom Loom
		h    HeddleDims
		want VerdictKind
		says string
	}{
		{"10 3/4 in end to end", loom, HeddleDims{PartWireHeddle, Length{In: 10.75}, HeddleLength}, Fits, "10 1/2 in heddles"},
		{"bars 10 1/2 in", loom, HeddleDims{PartWireHeddle, Length{In: 10.5, U: 0.01}, BarSpan}, Fits, ""},
		{"which was measured is not said", loom, HeddleDims{PartWireHeddle, Length{In: 10.75, U: 0.01}, NotSaid}, Fits, "heddle's own length"},
		{"another size", loom, HeddleDims{PartWireHeddle, Length{In: 9.75}, HeddleLength}, DoesNotFit, "take 10 1/2 in heddles"},
		{"between two sizes", loom, HeddleDims{PartWireHeddle, Length{In: 10.1}, HeddleLength}, MeasureAgain, ""},
		{"the loom's bars are of no size", oddBars, HeddleDims{PartWireHeddle, Length{In: 10.75}, HeddleLength}, MeasureAgain, "was the heddle measured rather than the bars"},
		{"no bars measured", noBars, HeddleDims{PartWireHeddle, Length{In: 10.75}, HeddleLength}, MeasureAgain, "bottom edge of the bottom bar"},
		{"length not known", loom, HeddleDims{Kind: PartStringHeddle}, MeasureAgain, "knot to knot"},
		{"string 10 1/2", loom, HeddleDims{Kind: PartStringHeddle, Length: Length{In: 10.5, U: 0.05}}, Fits, ""},
		{"string 10 3/4", loom, HeddleDims{Kind: PartStringHeddle, Length: Length{In: 10.75, U: 0.05}}, MeasureAgain, "try it"},
		{"string 12 1/2", loom, HeddleDims{Kind: PartStringHeddle, Length: Length{In: 12.5, U: 0.05}}, DoesNotFit, "slack"},
		{"string 9 1/2", loom, HeddleDims{Kind: PartStringHeddle, Length: Length{In: 9.5, U: 0.05}}, DoesNotFit, "don't reach"},
		{"rigid of 60 cm", loom, HeddleDims{Kind: PartRigidHeddle, Length: Length{In: 23.62, U: 0.03}}, MeasureAgain, "different makes"},
		{"rigid too wide", loom, HeddleDims{Kind: PartRigidHeddle, Length: Length{In: 31.5, U: 0.03}}, DoesNotFit, "too wide"},
		{"rigid, nothing known", noBars, HeddleDims{Kind: PartRigidHeddle, Length: Length{In: 23.62}}, MeasureAgain, "how much is clear"},
		{"a loom that cannot be", Loom{Name: "x", WeavingWidthIn: 30, ClearSpanIn: 20}, HeddleDims{Kind: PartWireHeddle}, MeasureAgain, "which of the two is wrong"},
	} {
		v := FitHeddle(c.loom, c.h)
		if v.Kind != c.want || !strings.Contains(v.Reason+" "+v.Question, c.says) {
			t.Errorf("%s: %+v, want %s and %q", c.name, v, c.want, c.says)
		}
		if v.Kind == MeasureAgain && v.Question == "" {
			t.Errorf("%s: nothing is asked: %+v", c.name, v)
		}
	}
}
