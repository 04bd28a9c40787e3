package measure

import (
	"testing"

	"dentcount/fit"
)

// A part that is of no made size by the told thickness alone is never nearly certain to be:
// a 24 under a tape of 0.4 mm looks like a 23.76 where 2.9 mm were told.
func TestNoneByTheToldThicknessAlone(t *testing.T) {
	for _, c := range []struct {
		perInch, thicknessMM, toldMM float64
		sure                         bool
	}{{24, 0.4, 2.9, false}, {9.69, 1.5, 1.5, true}} {
		got := readingOf("part", c.perInch, 250, c.thicknessMM).Answer(Options{RulerThicknessMM: c.toldMM})
		if got.Size.Label != fit.None || got.Size.Confidence > nearlySure != c.sure {
			t.Errorf("%g per inch under %g mm, told %g: %s with %.3f", c.perInch, c.thicknessMM, c.toldMM, got.Size.Label, got.Size.Confidence)
		}
	}
}

// Nor is one of which something speaks against the reading, though that much may for a
// made size: most misreadings fall between sizes.
func TestNoneWhereSomethingIsAmiss(t *testing.T) {
	for _, c := range []struct {
		perInch, contrast float64
		sure              bool
	}{{9.69, 100, true}, {9.69, 18, false}, {10, 18, true}} {
		r := readingOf("part", c.perInch, 250, 1.5)
		r.bands.Contrast = c.contrast
		got := r.Answer(Options{RulerThicknessMM: 1.5})
		if (got.Size.Label == fit.None) != (c.perInch != 10) || got.Size.Confidence > nearlySure != c.sure {
			t.Errorf("%g per inch of contrast %g: %s with %.3f", c.perInch, c.contrast, got.Size.Label, got.Size.Confidence)
		}
	}
}

// Nor is a size beside which another lies nearer than readings are known to miss by, now and
// then: 35/10 and 9 are 1.2 % apart.
func TestAnotherSizeWithinReach(t *testing.T) {
	for _, c := range []struct {
		relU float64
		sure bool
	}{{0.0005, true}, {0.0030, false}} {
		r := readingOf("part", 8.89, 250, 1.5)
		r.bands.U, r.bands.MiddleU = c.relU*r.bands.PerInch, c.relU*r.bands.PerInch
		got := r.Answer(Options{RulerThicknessMM: 1.5})
		if got.Size.Label != "35/10" || got.Size.Confidence > nearlySure != c.sure || got.Size.Confidence < 0.85 {
			t.Errorf("read to %.2f %%: %s with %.3f", 100*c.relU, got.Size.Label, got.Size.Confidence)
		}
	}
}
