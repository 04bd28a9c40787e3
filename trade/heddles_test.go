package trade

import (
	"math"
	"strings"
	"testing"
)

// Wire heddles, common practice, no source: made in 8 1/2, 9 1/2, 10 1/2,
// 12 1/2 by the span over the bars; the heddle is about 1/4 in longer, so
// 10 3/4 means 10 1/2.
func TestWireHeddle(t *testing.T) {
	for _, c := range []struct {
		name     string
		l        Length
		what     Measured
		label    string
		sure     bool
		reason   string
		question string
	}{
		{"bars 8 1/2", Length{8.48, 0.02}, BarSpan, "8 1/2 in", true, "over the heddle bars: order 8 1/2 in", ""},
		{"bars 9 1/2", Length{9.53, 0.03}, BarSpan, "9 1/2 in", true, "order 9 1/2 in", ""},
		{"bars 10 1/2", Length{10.52, 0.02}, BarSpan, "10 1/2 in", true, "order 10 1/2 in", ""},
		{"bars 12 1/2", Length{12.5, 0}, BarSpan, "12 1/2 in", true, "order 12 1/2 in", ""},
		{"heddle 10 3/4", Length{10.75, 0}, HeddleLength, "10 1/2 in", true, "go by the bars they hang on, about 1/4 in less: order 10 1/2 in", ""},
		{"heddle 8 3/4", Length{8.77, 0.02}, HeddleLength, "8 1/2 in", true, "order 8 1/2 in", ""},
		{"not said, 10 3/4", Length{10.75, 0}, NotSaid, "10 1/2 in", true, "heddle's own length", ""},
		{"not said, 10 1/2", Length{10.5, 0}, NotSaid, "10 1/2 in", true, "span over the heddle bars", ""},
		{"10 3/4 said to be the bars", Length{10.75, 0.02}, BarSpan, "none", true, "no made size agrees", "one 10 3/4 in long itself is a 10 1/2 in: was the heddle measured"},
		{"10 1/2 said to be the heddle", Length{10.5, 0.02}, HeddleLength, "none", false, "no made size agrees", "bars that far apart take a 10 1/2 in"},
		{"between sizes", Length{11.5, 0.02}, BarSpan, "none", true, "no made size agrees", "measure again"},
		{"hardly measured", Length{10, 0.4}, BarSpan, "10 1/2 in", false, "most likely", "is it 10 1/2 in or 9 1/2 in?"},
	} {
		a := WireHeddle(c.l, c.what)
		if a.Label != c.label || (a.Confidence >= 0.9) != c.sure || !strings.Contains(a.Reason, c.reason) {
			t.Errorf("%s: %s %.3f, %q", c.name, a.Label, a.Confidence, a.Reason)
		}
		if (c.question == "") != (a.Question == "") || !strings.Contains(a.Question, c.question) {
			t.Errorf("%s asks %q", c.name, a.Question)
		}
		sum := a.Confidence
		for _, o := range a.Others {
			sum += o.Confidence
		}
		if sum > 1+1e-9 || sum < 0.95 {
			t.Errorf("%s: confidences add up to %v", c.name, sum)
		}
	}
	if a := WireHeddle(Length{}, BarSpan); a.Label != "" || a.Question == "" {
		t.Errorf("nothing measured: %+v", a)
	}
	for _, w := range WireHeddleSizes() {
		near(t, w.Label+" is 1/4 in longer than its bars", w.HeddleIn-w.BarSpanIn, 0.25, 1e-12)
		if want := FormatIn(w.BarSpanIn, 2); want != w.Label+" in" {
			t.Errorf("label %q of %s", w.Label, want)
		}
	}
}

// A narrower measure makes the answer surer, never less sure.
func TestHeddleConfidenceGrowsWithTheMeasure(t *testing.T) {
	last := 1.1
	for _, u := range []float64{0.01, 0.1, 0.3, 0.6} {
		c := WireHeddle(Length{10.5, u}, BarSpan).Confidence
		if c > last+1e-9 {
			t.Errorf("u = %v: %.3f, more than %.3f", u, c, last)
		}
		last = c
	}
	if last > 0.9 {
		t.Errorf("a measure good to half an inch is trusted: %.3f", last)
	}
}

// String heddles, common practice, no source: knot to knot, the usual eye
// 1/2 in, an eye near 2 1/2 in is a drawloom's and is asked about.
func TestStringHeddle(t *testing.T) {
	for _, c := range []struct {
		name       string
		knots, eye Length
		label      string
		question   string
	}{
		{"usual", Length{10.6, 0.02}, Length{0.5, 0.01}, "10 1/2 in", ""},
		{"280 mm", Length{280 / 25.4, 0.02}, Length{0.52, 0.01}, "280 mm", ""},
		{"drawloom", Length{12.5, 0.02}, Length{2.5, 0.02}, "12 1/2 in", "is it for a drawloom? ask before ordering"},
		{"near a drawloom", Length{12.5, 0.02}, Length{2.2, 0.02}, "12 1/2 in", "drawloom"},
		{"odd eye", Length{9.5, 0.02}, Length{1.2, 0.02}, "9 1/2 in", "measure the eye again"},
		{"eye hardly seen", Length{9.5, 0.02}, Length{0.5, 0.3}, "9 1/2 in", "measure the eye again"},
		{"no eye", Length{9.5, 0.02}, Length{}, "9 1/2 in", "how long is the eye?"},
		{"tied to order", Length{11.65, 0.02}, Length{0.5, 0.01}, "none", "order by the length, 11 5/8 in (29.6 cm)"},
		{"between two sizes", Length{10.37, 0.06}, Length{0.5, 0.01}, "10 1/2 in", "between common sizes"},
	} {
		a := StringHeddle(c.knots, c.eye)
		if a.Label != c.label {
			t.Errorf("%s: %s %.3f, others %v", c.name, a.Label, a.Confidence, a.Others)
		}
		if (c.question == "") != (a.Question == "") || !strings.Contains(a.Question, c.question) {
			t.Errorf("%s asks %q", c.name, a.Question)
		}
		if !has(a.Cautions, "hundreds") || !has(a.Cautions, "draw it tight") {
			t.Errorf("%s cautions %q", c.name, a.Cautions)
		}
	}
	if a := StringHeddle(Length{}, Length{In: 0.5}); !strings.Contains(a.Question, "knot to knot, pinned out under tension") {
		t.Errorf("nothing measured: %+v", a)
	}
	for _, s := range StringHeddleSizes() {
		l, err := ParseLengthIn(s.Label)
		if err != nil {
			t.Fatal(err)
		}
		near(t, s.Label, s.LengthIn, l, 1e-9)
		near(t, s.Label+" eye", s.EyeIn, UsualEyeIn, 0)
	}
}

// Common practice, no source: a "24 in" metric loom measures about 23 1/2.
func TestRigidHeddleWidth(t *testing.T) {
	for _, c := range []struct {
		l        Length
		label    string
		question bool
	}{
		{Length{23.5, 0.03}, "24 in (60 cm make)", false},
		{Length{24.5, 0.03}, "none", true}, // measured outside the frame, perhaps
		{Length{15.75, 0.03}, "16 in (40 cm make)", false},
		{Length{25, 0.03}, "25 in", false},
		{Length{19.85, 0.1}, "20 in", true}, // a 20 or a 50 cm
	} {
		a := RigidHeddleWidth(c.l)
		if a.Label != c.label || (a.Question != "") != c.question || !has(a.Cautions, "different makes") {
			t.Errorf("%s: %s %.3f, asks %q, others %v", c.l, a.Label, a.Confidence, a.Question, a.Others)
		}
	}
	if a := RigidHeddleWidth(Length{23.5, 0.03}); !strings.Contains(a.Reason, "a little less than its name") {
		t.Errorf("metric make: %q", a.Reason)
	}
	if a := RigidHeddleWidth(Length{}); !strings.Contains(a.Question, "not outside the frame") {
		t.Errorf("nothing measured: %q", a.Question)
	}
	for _, w := range RigidWidths() {
		if w.Metric {
			near(t, w.Label(), w.WidthIn*2.54, math.Round(w.WidthIn*2.54), 1e-9)
		}
	}
}

// Worked by hand: 26 1/2 in at 20 ends per inch is 530 ends; on four shafts
// 132.5, so 133 each; a tenth more is 146.3, so 147; four times is 588; in
// hundreds 600.
func TestCountHeddles(t *testing.T) {
	c, err := CountHeddles(HeddleNeed{WarpWidthIn: 26.5, Sett: 20, Shafts: 4})
	if err != nil {
		t.Fatal(err)
	}
	if c.Ends != 530 || c.PerShaft != 133 || c.WithMargin != 147 || c.Total != 588 || c.Bundles != 6 || c.Order != 600 {
		t.Errorf("%+v", c)
	}
	if !strings.Contains(c.Reason, "530 ends, 133 on each of 4 shafts") || !has(c.Cautions, "pattern threading") {
		t.Errorf("words: %+v", c)
	}
	for _, x := range []struct {
		need HeddleNeed
		want [4]int // ends, per shaft, total, order
	}{
		{HeddleNeed{WarpWidthIn: 20, Sett: 10, Shafts: 2, Margin: -1, Bundle: 100}, [4]int{200, 100, 200, 200}}, // whole hundreds stay
		{HeddleNeed{WarpWidthIn: 20, Sett: 10.05, Shafts: 2, Margin: -1}, [4]int{201, 101, 202, 300}},           // one over takes the next
		{HeddleNeed{WarpWidthIn: 0.1 * 3, Sett: 10, Shafts: 3, Margin: -1, Bundle: 1}, [4]int{3, 1, 3, 3}},      // 0.1×3×10 is 3 and a bit in binary
		{HeddleNeed{WarpWidthIn: 1, Sett: 5, Shafts: 8, Margin: -1, Bundle: 25}, [4]int{5, 1, 8, 25}},           // fewer ends than shafts
		{HeddleNeed{WarpWidthIn: 30, Sett: 24, Shafts: 8, Margin: 0.25, Bundle: 50}, [4]int{720, 90, 904, 950}}, // 90 × 1.25 = 112.5, 113 × 8
	} {
		c, err := CountHeddles(x.need)
		if err != nil {
			t.Errorf("%+v: %v", x.need, err)
			continue
		}
		if got := [4]int{c.Ends, c.PerShaft, c.Total, c.Order}; got != x.want {
			t.Errorf("%+v: %v, want %v", x.need, got, x.want)
		}
	}
	for name, n := range map[string]HeddleNeed{
		"no width": {Sett: 20, Shafts: 4}, "no sett": {WarpWidthIn: 20, Shafts: 4}, "no shafts": {WarpWidthIn: 20, Sett: 20},
	} {
		if _, err := CountHeddles(n); err == nil {
			t.Errorf("%s: no error", name)
		} else if _, q := AsQuestion(err); !q {
			t.Errorf("%s is not asked: %v", name, err)
		}
	}
	for name, n := range map[string]HeddleNeed{
		"negative width": {-1, 20, 4, 0, 0}, "NaN": {math.NaN(), 20, 4, 0, 0}, "wide": {500, 20, 4, 0, 0}, "negative sett": {20, -1, 4, 0, 0},
		"no such sett": {20, 1e9, 4, 0, 0}, "shafts": {20, 20, 1 << 30, 0, 0}, "bundle": {20, 20, 4, 0, -1}, "margin": {20, 20, 4, 1e9, 0}, "endless": {math.Inf(1), 20, 4, 0, 0},
	} {
		if c, err := CountHeddles(n); err == nil {
			t.Errorf("%s: %+v", name, c)
		} else if _, q := AsQuestion(err); q {
			t.Errorf("%s is asked, should be refused: %v", name, err)
		}
	}
}
