package report

import (
	"bytes"
	"math"
	"regexp"
	"strings"
	"testing"
	"unicode"

	"dentcount/measure"
)

func text(t *testing.T, r measure.Result, style Style) []string {
	t.Helper()
	var buf bytes.Buffer
	if err := Text(&buf, r, style); err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSuffix(buf.String(), "\n"), "\n")
}

func plainSketch() sketch {
	return sketch{w: 1200, h: 900, pxPerInch: 170, perInch: 10.16, turnDeg: 3, inches: 6}
}

func TestTextAnswered(t *testing.T) {
	r := plainSketch().result()
	r.Warnings = []string{"1 bent wire near 3 1/4 in", "glare at the left"}
	want := []string{
		"sketch.jpg: a 40/10 reed (40 dents in 10 cm, 10.16 per inch). Sure: 98 in 100.",
		"  Order: reed, 40/10 (10.16 per inch)",
		"  Counted: 60 dents over 6 in of the ruler; one inch holds 10 to 10 1/2; 1 bent; 2 missing",
		"  Measured: 40.00 ± 0.09 dents in 10 cm (10.16 per inch); next likeliest 10 (1 in 100)",
		"  Note: 1 bent wire near 3 1/4 in; glare at the left",
	}
	if got := text(t, r, Style{}); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestTextOtherSystems(t *testing.T) {
	for _, c := range []struct {
		size measure.SizeChoice
		part string
		want string
	}{
		{measure.SizeChoice{Label: "8", System: "inch", DentsPerInch: 8, Confidence: 0.9999}, "rigid-heddle",
			"an 8-dent rigid heddle (8 dents per inch). Sure: more than 99 in 100."},
		{measure.SizeChoice{Label: "12.5", System: "inch", DentsPerInch: 12.5, Confidence: 0.96}, "reed",
			"a 12.5-dent reed (12.5 dents per inch). Sure: 96 in 100."},
		{measure.SizeChoice{Label: "none", System: "none", Confidence: 0.97}, "reed",
			"a reed of 10.16 dents per inch; no size made has that. Sure: 97 in 100."},
	} {
		r := plainSketch().result()
		r.Part = c.part
		r.Size.SizeChoice = c.size
		if got := text(t, r, Style{})[0]; got != "sketch.jpg: "+c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}

// A centimetre ruler is read in centimetres.
func TestTextOnAMetricRuler(t *testing.T) {
	s := plainSketch()
	s.cm = true
	if got := strings.Join(text(t, s.result(), Style{}), "\n"); !strings.Contains(got, "60 dents over 15.2 cm of the ruler") {
		t.Error(got)
	}
}

// Who is told "not sure" or "can't tell" reads in the same line what to do.
func TestTextSaysWhatToDoFirst(t *testing.T) {
	r := plainSketch().result()
	r.Status, r.Reason, r.Advice = measure.Unsure, "two sizes are this close", "Tell how thick the ruler is."
	r.Size.Confidence, r.Size.Others[0].Confidence = 0.641, 0.352
	got := text(t, r, Style{})
	if want := "sketch.jpg: not sure: 40/10 (64 in 100) or 10 (35 in 100). Tell how thick the ruler is."; got[0] != want {
		t.Errorf("got  %s\nwant %s", got[0], want)
	}
	if strings.Contains(strings.Join(got, "\n"), "Order:") {
		t.Error("an order line for a size that is not sure")
	}

	r = measure.Result{Photo: "dark.jpg", Status: measure.Refused, Reason: "the photo is black.", Advice: "take it again by a window"}
	got = text(t, r, Style{})
	if want := "dark.jpg: can't tell: the photo is black. take it again by a window."; len(got) != 1 || !strings.EqualFold(got[0], want) {
		t.Errorf("got %q", got)
	}

	r.Reason, r.Advice = "", ""
	if got = text(t, r, Style{}); len(got) != 1 || !strings.Contains(got[0], retakeAdvice) {
		t.Errorf("no remedy in %q", got)
	}
}

// Whatever a result holds: no more than five lines, none of them forged, no
// escape sequence unless colour was asked for, and the same words with it.
func TestTextIsShortAndSafe(t *testing.T) {
	sgr := regexp.MustCompile("\x1b\\[[0-9;]*m")
	for _, status := range []measure.Status{measure.Answered, measure.Unsure, measure.Refused, ""} {
		for _, full := range []bool{true, false} {
			r := measure.Result{Status: status}
			if full {
				r = plainSketch().result()
				r.Status = status
			}
			evil := "x\n\x1b[31my\u202e"
			r.Photo, r.Reason, r.Advice, r.Order, r.Part = evil, evil, evil, evil, evil
			r.Warnings = []string{evil, evil, evil, evil, evil, evil}
			if r.Size != nil {
				r.Size.Label = evil
			}
			plain := text(t, r, Style{})
			if len(plain) > 5 {
				t.Errorf("%q: %d lines", status, len(plain))
			}
			for _, l := range plain {
				if strings.ContainsFunc(l, func(r rune) bool { return !unicode.IsPrint(r) }) {
					t.Errorf("%q: %q", status, l)
				}
			}
			coloured := strings.Join(text(t, r, Style{Colour: true}), "\n")
			if !sgr.MatchString(coloured) {
				t.Errorf("%q: no colour where it was asked for", status)
			}
			if sgr.ReplaceAllString(coloured, "") != strings.Join(plain, "\n") {
				t.Errorf("%q: the words change with the colour", status)
			}
		}
	}
}

func TestExplain(t *testing.T) {
	r := plainSketch().result()
	r.Budget = []measure.BudgetLine{
		{Source: "ruler marks", RelativeU: 0.0003},
		{Source: "ruler above the wires", RelativeU: 0.0004, Note: "thickness not told."},
	}
	r.Pitch.DentsPerInch, r.Pitch.U = 10, 0.005 // 3, 4, 5: root of the sum of squares
	var buf bytes.Buffer
	if err := Explain(&buf, r); err != nil {
		t.Fatal(err)
	}
	want := `  How sure the 10 dents per inch are, source by source (one standard uncertainty each):
    ruler above the wires: 0.04 %, 0.004 dents per inch, 64 % of the whole (thickness not told)
    ruler marks: 0.03 %, 0.003 dents per inch, 36 % of the whole
    All together: 0.05 %, 0.005 dents per inch. In 95 of 100 cases the true pitch lies within 10.000 ± 0.010.
`
	if buf.String() != want {
		t.Errorf("got\n%s\nwant\n%s", buf.String(), want)
	}
	// Lines that do not add up to the whole are not passed over in silence.
	r.Pitch.U = 0.007
	buf.Reset()
	if err := Explain(&buf, r); err != nil || !strings.Contains(buf.String(), "root of their squares, to 0.05 %") {
		t.Errorf("%v\n%s", err, buf.String())
	}
	buf.Reset()
	if err := Explain(&buf, measure.Result{Status: measure.Refused}); err != nil || buf.Len() > 0 {
		t.Errorf("a refusal has nothing to explain: %q", buf.String())
	}
}

func TestInches(t *testing.T) {
	// Sixteenths worked by hand.
	for _, c := range []struct {
		in   float64
		want string
	}{
		{0, "0"}, {6.003, "6"}, {3.26, "3 1/4"}, {0.9375, "15/16"}, {10.6875, "10 11/16"}, {0.5, "1/2"},
		{5.97, "6"}, {5.96, "5 15/16"}, {-0.25, "-1/4"}, {-0.01, "0"}, {math.NaN(), "?"}, {math.Inf(1), "?"},
	} {
		if got := Inches(c.in); got != c.want {
			t.Errorf("%v in: %q, want %q", c.in, got, c.want)
		}
	}
}

func TestOddsNeverClaimMore(t *testing.T) {
	for _, c := range []struct {
		p    float64
		want string
	}{
		{0.989, "98 in 100"}, {0.95, "95 in 100"}, {0.29, "29 in 100"}, {0.9949, "99 in 100"}, {0.9951, "more than 99 in 100"},
		{1, "more than 99 in 100"}, {0.004, "less than 1 in 100"}, {math.NaN(), "not known"},
	} {
		if got := Odds(c.p); got != c.want {
			t.Errorf("%v: %q, want %q", c.p, got, c.want)
		}
	}
}

func TestPlusMinusIsNeverNarrower(t *testing.T) {
	for _, c := range []struct {
		v, half float64
		want    string
	}{
		{10.15812, 0.0221, "10.158 ± 0.023"}, {10.15812, 0.087, "10.16 ± 0.09"}, {39.99, 0.3, "40.0 ± 0.3"},
		{10.15812, 0.00001, "10.1581 ± 0.0001"}, {10.15812, 4, "10 ± 4"}, {10.15812, 0, "10.158"}, {10.15812, math.NaN(), "10.158"},
	} {
		if got := pm(c.v, c.half); got != c.want {
			t.Errorf("%v ± %v: %q, want %q", c.v, c.half, got, c.want)
		}
	}
}

func TestPrintable(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"plain ä 織.jpg", "plain ä 織.jpg"}, {"a\nb", `a\nb`}, {"\x1b[2J", `\x1b[2J`}, {"\xff", `\xff`}, {"a\u202eb", `a\u202eb`}, {"", ""},
	} {
		if got := Printable(c.in); got != c.want {
			t.Errorf("%q: %q, want %q", c.in, got, c.want)
		}
	}
}
