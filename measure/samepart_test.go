package measure

import (
	"math"
	"slices"
	"strings"
	"testing"

	"dentcount/calib"
	"dentcount/fit"
	"dentcount/vision"
)

// readingOf is a photo read by hand: a reed of perInch at the wires, seen from
// heightMM above the face of a ruler of thicknessMM, 26 mm equivalent in 4000 × 3000.
func readingOf(name string, perInch, heightMM, thicknessMM float64) Reading {
	view := fit.View{Focal35: 26, WidthPx: 4000, HeightPx: 3000}
	ppi := fit.FocalPx(view.Focal35, view.WidthPx, view.HeightPx) / heightMM * 25.4
	read := perInch * (heightMM + thicknessMM) / heightMM
	s := calib.Scale{Unit: "in", Divisions: 16, Half: 1, B: 1 / ppi, ResidualIn: 2e-4, Hi: 6 * ppi}
	s.Marks = make([]calib.Mark, 97)
	b := vision.Bands{
		Kind: vision.Reed, KindProbability: 0.999, DentsPerBand: 1, DentsIfHeddle: 1, PerInch: read, MiddlePerInch: read, SpectralPerInch: read,
		U: 1e-4 * read, SpectralU: 1e-4 * read, ScatterIn: 0.001, PxPerBand: ppi / read, Contrast: 60, DepthTold: true, Coherence: 0.97, ReachPx: 0.4 * ppi,
		Field: vision.Field{Ends: 2, HighIn: 4, LeastIn: 4},
	}
	if read < 8 {
		b.DentsIfHeddle = 2 // as coarse as slots
	}
	for i := range 55 {
		b.Row = append(b.Row, vision.Band{Index: i, In: float64(i) / read, State: vision.Good})
	}
	return Reading{name: name, ruler: calib.Ruler{Scale: s, UnitProbability: 0.999, Odds: 60}, bands: b, view: view, dbg: newDebug(""),
		base: Result{Ruler: &Ruler{}, Evidence: &Evidence{}}}
}

func noRuler(name string) Reading {
	r := Reading{name: name, dbg: newDebug("")}
	r.refuse("no ruler marks found", "lay the ruler flat")
	return r
}

// One photo from near by leaves 10 under a thick ruler and 40/10 under a tape
// open; a second one from farther away tells.
func TestSamePartSettlesThickness(t *testing.T) {
	near, far := readingOf("near", 10, 130, 2.4), readingOf("far", 10, 480, 2.4)
	alone := near.Answer(Options{})
	if alone.Status == Answered {
		t.Fatalf("the near photo alone is sure (%.3f): this tests nothing", alone.Size.Confidence)
	}
	r := SamePart([]Reading{near, far}, Options{})
	if r.Status != Answered || r.Size.Label != "10" || r.Order == "" || r.Part != "reed" {
		t.Errorf("together: %s, %+v, %s", r.Status, r.Size, r.Reason)
	}
	if math.Abs(r.Pitch.DentsPerInch/10-1) > 0.002 || r.Pitch.U > alone.Pitch.U/2 {
		t.Errorf("together %.4f ± %.4f, alone ± %.4f", r.Pitch.DentsPerInch, r.Pitch.U, alone.Pitch.U)
	}
	c := r.Combined
	if c == nil || !c.Agree || !slices.Equal(c.Photos, []string{"near", "far"}) && !slices.Equal(c.Photos, []string{"far", "near"}) {
		t.Fatalf("combined: %+v", c)
	}
	if math.Abs(c.RulerThicknessMM-2.4) > 3*c.RulerThicknessUMM || c.RulerThicknessUMM > 0.6 {
		t.Errorf("the ruler's face lies %.2f ± %.2f mm above the wires, drawn 2.4", c.RulerThicknessMM, c.RulerThicknessUMM)
	}
	if r.Photo != "near + far" || r.Schema != 1 || r.Count != nil {
		t.Errorf("%+v", r)
	}
}

// Photos of two parts are noticed, whichever comes first.
func TestSamePartOfTwoParts(t *testing.T) {
	a, b, other := readingOf("a", 10, 300, 1), readingOf("b", 10, 350, 1), readingOf("other", 12.5, 320, 1)
	for _, rs := range [][]Reading{{a, b, other}, {other, a, b}} {
		r := SamePart(rs, Options{RulerThicknessMM: 1})
		if r.Status != Unsure || r.Order != "" || !strings.Contains(r.Reason, "do not agree") || r.Advice == "" {
			t.Errorf("%s: %s, %q", r.Photo, r.Status, r.Reason)
		}
		if !slices.Equal(r.Combined.Odd, []string{"other"}) || r.Combined.Agree || r.Size.Confidence > 0.5 {
			t.Errorf("combined: %+v, size %+v", r.Combined, r.Size)
		}
		if math.Abs(r.Pitch.DentsPerInch-10) > 0.02 {
			t.Errorf("the two that go together show %.3f", r.Pitch.DentsPerInch)
		}
	}
	// One that could hardly be read casts no doubt, and is named.
	other.bands.KindProbability, other.ruler.UnitProbability = 0.5, 0.1
	other.bands.Contrast, other.bands.PxPerBand = 3, 3
	r := SamePart([]Reading{a, other, b}, Options{RulerThicknessMM: 1})
	if r.Status != Answered || r.Size.Label != "10" || len(r.Warnings) != 1 || !strings.Contains(r.Warnings[0], "other shows 12.") {
		t.Errorf("%s: %s, %v", r.Photo, r.Status, r.Warnings)
	}
}

func TestSamePartLeavesOut(t *testing.T) {
	a := readingOf("a", 12, 400, 1)
	r := SamePart([]Reading{noRuler("dark"), a}, Options{RulerThicknessMM: 1})
	one := a.Answer(Options{RulerThicknessMM: 1})
	if r.Status != one.Status || *r.Pitch.Interval95 != *one.Pitch.Interval95 || r.Size.Confidence != one.Size.Confidence {
		t.Errorf("one photo is left: %+v %+v, alone %+v %+v", r.Pitch, r.Size, one.Pitch, one.Size)
	}
	if !slices.Equal(r.Combined.LeftOut, []string{"dark"}) || len(r.Warnings) != 1 {
		t.Errorf("combined: %+v, warnings %v", r.Combined, r.Warnings)
	}
	for _, rs := range [][]Reading{{noRuler("x"), noRuler("y")}, nil} {
		r := SamePart(rs, Options{})
		if r.Status != Refused || r.Reason == "" || r.Advice == "" || r.Size != nil {
			t.Errorf("nothing to combine: %+v", r)
		}
	}
}
