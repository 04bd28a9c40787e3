package trade

import (
	"strings"
	"testing"
)

func reed(lengthIn, uIn float64) ReedDims {
	return ReedDims{Label: "10", Length: Length{In: lengthIn, U: uIn}, Height: Length{In: 5, U: 0.02}, SleyWidth: Length{In: lengthIn - 0.5, U: uIn}, PerInch: 10, Binding: ResinBound, StampAt: LeftEnd}
}

func TestFitReed(t *testing.T) {
	l := twentySix()
	for _, c := range []struct {
		name   string
		reed   ReedDims
		kind   VerdictKind
		reason string
	}{
		{"27 uses all of it", reed(27, 0.02), Fits, "27.00 ± 0.04 in against 29 1/2 clear: it goes in"},
		{"29 goes in", reed(29, 0.02), Fits, "it goes in"},
		{"29.4 ± 0.1 can't be told", reed(29.4, 0.05), MeasureAgain, "29.4 ± 0.1 in against 29 1/2 clear: measure again with a tape"},
		{"29.5 can't be told", reed(29.5, 0.02), MeasureAgain, "measure again with a tape"},
		{"29.4 measured closely", reed(29.4, 0.005), Fits, "it goes in"},
		{"30 is cut", reed(30, 0.02), FitsAfterCut, "too long"},
		{"36 is cut", reed(36, 0.02), FitsAfterCut, "too long"},
	} {
		v := FitReed(l, c.reed)
		if v.Kind != c.kind || !strings.Contains(v.Reason, c.reason) {
			t.Errorf("%s: %s, %q (p %.3f)", c.name, v.Kind, v.Reason, v.Probability)
		}
		if (v.Cut != nil) != (c.kind == FitsAfterCut) {
			t.Errorf("%s: cut %+v", c.name, v.Cut)
		}
		if v.Cut != nil && (v.Cut.NewLengthIn > 27 || v.Cut.NewLengthIn < 26.9) {
			t.Errorf("%s: cut to %v, want the length that uses all of the loom", c.name, v.Cut.NewLengthIn)
		}
		if len(v.Unchecked) != 0 {
			t.Errorf("%s: unchecked %q", c.name, v.Unchecked)
		}
	}
	// by hand: Φ((29.5 − 29.4)/√(0.05² + u²)), u = HandReadingU(29.5) = 0.02793: Φ(1.746) = 0.9596 (normal table)
	near(t, "probability", FitReed(l, reed(29.4, 0.05)).Probability, 0.9596, 0.0005)
}

func TestFitReedHeight(t *testing.T) {
	l := twentySix()
	high := reed(27, 0.02)
	high.Height = Length{In: 6.5, U: 0.02}
	if v := FitReed(l, high); v.Kind != DoesNotFit || !strings.Contains(v.Reason, "height can't be changed") {
		t.Errorf("too high: %+v", v)
	}
	high.Length = Length{In: 36, U: 0.02}
	if v := FitReed(l, high); v.Kind != DoesNotFit || v.Cut != nil {
		t.Errorf("too high and too long: a cut does not help: %+v", v)
	}
	unsure := reed(27, 0.02)
	unsure.Height = Length{In: 5.62, U: 0.05}
	if v := FitReed(l, unsure); v.Kind != MeasureAgain || !strings.Contains(v.Reason, "5.6") {
		t.Errorf("height can't be told: %+v", v)
	}
	// both must go in: the probability of the two together
	near(t, "both", FitReed(l, unsure).Probability, CheckReedHeight(l, unsure.Height).Probability, 1e-6)
	none := reed(27, 0.02)
	none.Height = Length{}
	v := FitReed(l, none)
	if v.Kind != Fits || len(v.Unchecked) != 1 || v.Unchecked[0] != "height" || !strings.Contains(v.Question, "how high") || !strings.Contains(v.Reason, "height is not checked") {
		t.Errorf("height not measured: %+v", v)
	}
}

func TestFitReedAsks(t *testing.T) {
	l := twentySix()
	if v := FitReed(l, ReedDims{Height: Length{In: 5}}); v.Kind != MeasureAgain || !strings.Contains(v.Question, "how long") || v.Unchecked[0] != "length" {
		t.Errorf("no length: %+v", v)
	}
	open := l
	open.ClearSpanIn = 0
	if v := FitReed(open, reed(27, 0.02)); v.Kind != MeasureAgain || !strings.Contains(v.Question, "between the uprights") {
		t.Errorf("no clear span: %+v", v)
	}
	wrong := l
	wrong.ClearSpanIn = 20
	if v := FitReed(wrong, reed(27, 0.02)); v.Kind != MeasureAgain || !strings.Contains(v.Question, "which of the two is wrong") {
		t.Errorf("a loom narrower than its reed: %+v", v)
	}
	uncounted := reed(36, 0.02)
	uncounted.PerInch = 0
	if v := FitReed(l, uncounted); v.Kind != FitsAfterCut || v.Cut != nil || !strings.Contains(v.Question, "dents per inch") || !has(v.Cautions, "clamp") {
		t.Errorf("too long and not counted: %+v", v)
	}
}

func TestFitReedUsableWidth(t *testing.T) {
	l := twentySix()
	short := FitReed(l, reed(20, 0.02)) // a spare pressed into service
	if short.Kind != Fits || !has(short.Cautions, "7 in less than") {
		t.Errorf("a short reed: %+v", short)
	}
	near(t, "usable of a short reed", short.UsableIn, 19.5, 1e-9)
	near(t, "usable of a long reed", FitReed(l, reed(28.5, 0.02)).UsableIn, 26.5, 1e-9)
	if v := FitReed(l, reed(27, 0.02)); len(v.Cautions) != 0 {
		t.Errorf("27 in uses all of the loom: %q", v.Cautions)
	}
	// a narrow loom, and a reed with hardly more than caps: nothing left after the cut
	tiny := Loom{ClearSpanIn: 1.3}
	if v := FitReed(tiny, reed(20, 0.02)); v.Kind != DoesNotFit || !strings.Contains(v.Reason, "leaves nothing") {
		t.Errorf("a cut that leaves nothing: %+v", v)
	}
}

// Half an inch of reed is a slip of the pen, not a reed that goes in.
func TestFitReedAsksForAnAbsurdLength(t *testing.T) {
	v := FitReed(Loom{Name: "big-blue", WeavingWidthIn: 26.5, ClearSpanIn: 29.5}, ReedDims{Length: Length{In: 0.5}})
	if v.Kind != MeasureAgain || v.Question == "" {
		t.Errorf("%+v", v)
	}
}
