package measure

import (
	"math"
	"strings"
	"testing"

	"dentcount/calib"
	"dentcount/fit"
	"dentcount/vision"
)

// The table and the code speak of the same features.
func TestConfidenceTableKnowsTheFeatures(t *testing.T) {
	w, err := parseWeights(confidenceCSV)
	if err != nil {
		t.Fatal(err)
	}
	fs := featuresOf(calib.Ruler{}, vision.Bands{}, fit.Pitch{})
	if len(fs) < 5 || len(w.by) != len(fs) {
		t.Errorf("%d features, %d weights", len(fs), len(w.by))
	}
	for _, f := range fs {
		if _, ok := w.by[f.Name]; !ok {
			t.Errorf("feature %q has no weight", f.Name)
		}
		if math.IsNaN(f.Value) || math.IsInf(f.Value, 0) {
			t.Errorf("feature %q of nothing is %g", f.Name, f.Value)
		}
	}
}

// A clear reading is believed, a poor one is not, and nothing is certain.
func TestReadRightOrders(t *testing.T) {
	good := readingOf("good", 10, 300, 1)
	p, err := fit.FindPitch(good.ruler.Scale, good.bands, good.view)
	if err != nil {
		t.Fatal(err)
	}
	clear := readRight(good.ruler, good.bands, p)
	poor := good
	poor.ruler.UnitProbability, poor.bands.KindProbability = 0.4, 0.3
	poor.bands.Contrast, poor.bands.ScatterIn, poor.bands.PxPerBand = 6, 0.02, 3.2
	bad := p
	bad.Agree = 9
	if got := readRight(poor.ruler, poor.bands, bad); got > 0.5 || clear < 0.8 || clear >= 1 {
		t.Errorf("a clear reading: %.3f, a poor one: %.3f", clear, got)
	}
}

func TestParseWeightsRefuses(t *testing.T) {
	for _, bad := range []string{"feature,mean,weight\nbias,0,1\n", "feature,mean,weight\nceiling,0,1.2\n", "feature,mean,weight\nceiling,0,0.9\nunit,x,1\n", "a,b\n"} {
		if _, err := parseWeights(bad); err == nil {
			t.Errorf("taken: %q", strings.ReplaceAll(bad, "\n", "|"))
		}
	}
}

// Bands as far apart as the ruler's own fine marks are doubted; those that lie
// under the ruler and look closer, and coarser ones, are not.
func TestLikeItsMarks(t *testing.T) {
	in16 := calib.Scale{Unit: calib.Inch, Divisions: 16}
	mm := calib.Scale{Unit: calib.CM, Divisions: 10}
	for _, c := range []struct {
		ruler   calib.Ruler
		perInch float64
		want    bool
	}{
		{calib.Ruler{Scale: in16}, 32.002, true},
		{calib.Ruler{Scale: in16}, 32.15, false},
		{calib.Ruler{Scale: in16}, 16, false},
		{calib.Ruler{Scale: in16}, 25.4, false},
		{calib.Ruler{Scale: mm}, 25.401, true},
		{calib.Ruler{Scale: in16, Second: &mm}, 25.401, true},
	} {
		if got := likeItsMarks(c.ruler, vision.Bands{PerInch: c.perInch, U: 0.002}); got != c.want {
			t.Errorf("%.3f per inch beside %d divisions: %v", c.perInch, c.ruler.Scale.Divisions, got)
		}
	}
}
