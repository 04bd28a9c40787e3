package measure

import (
	"strings"
	"testing"

	"dentcount/fit"
	"dentcount/vision"
)

// 14 dents per inch and 55 in 10 cm, 13.97 per inch by 25.4 mm to the inch, are
// 0.2 % apart: nobody is sent to take a better photo for that. 10 and 40/10 are
// 1.6 % apart, and a better photo tells.
func TestSizesThatNoPhotoTellsApart(t *testing.T) {
	for _, c := range []struct {
		a, b      fit.Choice
		hopeless  bool
		mustSayIn string
	}{
		{fit.Choice{Label: "14", PerInch: 14, P: 0.5}, fit.Choice{Label: "55/10", PerInch: 55 * 0.254, P: 0.4}, true, "weave alike"},
		{fit.Choice{Label: "10", PerInch: 10, P: 0.5}, fit.Choice{Label: "40/10", PerInch: 10.16, P: 0.4}, false, "take a photo"},
		{fit.Choice{Label: fit.None, PerInch: 14, P: 0.5}, fit.Choice{Label: "14", PerInch: 14, P: 0.4}, false, "take a photo"},
	} {
		reason, advice := doubt(vision.Reed, []fit.Choice{c.a, c.b}, fit.Pitch{PerInch: 14, ReadRelU: 0.001}, Options{RulerThicknessMM: 1})
		if strings.Contains(reason, "closer together") != c.hopeless || !strings.Contains(advice, c.mustSayIn) {
			t.Errorf("%s or %s: %q, %q", c.a.Label, c.b.Label, reason, advice)
		}
	}
}
