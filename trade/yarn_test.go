package trade

import (
	"math"
	"testing"
)

func TestParseYarn(t *testing.T) {
	// ASTM D2260-03 (2013), Table 1 and the examples below it: tex is 590.541
	// over the cotton count, 885.812 over the worsted count, 310.034 over the
	// woollen run, 1653.52 over the linen lea, 1000 over the metric count; 30
	// tex is a cotton count of 19.7; a cotton count of 10 is a worsted one of 15.
	for text, tex := range map[string]float64{
		"1 cotton": 590.541, "ne 1": 590.541, "8/2 cotton": 590.541 / 4, "Cotton 8/2": 590.541 / 4,
		"1 worsted": 885.812, "2/15 worsted": 2 * 590.541 / 10, "20/2 worsted": 88.5812,
		"1 woollen run": 310.034, "1 lea": 1653.52, "16/2 linen": 1653.52 / 8,
		"Nm 1": 1000, "nm 28/2": 1000.0 / 14, "2/28 Nm": 1000.0 / 14,
		"19.7 cotton": 30, "60 tex": 60, "tex 60": 60, "R 60 tex": 60, "30 tex x 2": 60, "600 dtex": 60, "540 den": 60,
		"1000 m/kg": 1000, "100 m/100 g": 1000, "200m/50g": 250, "50 m per 50 g": 1000,
		"3360 yd/lb": 590.541 / 4, "3,360 yds/lb": 590.541 / 4, "3360 ypp": 590.541 / 4, "210 yards/oz": 590.541 / 4,
	} {
		y, err := ParseYarn(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
			continue
		}
		if got := y.Tex(); math.Abs(got/tex-1) > 2e-3 && text == "19.7 cotton" || math.Abs(got/tex-1) > 1e-5 && text != "19.7 cotton" {
			t.Errorf("%q: %.4f tex, want %.4f", text, got, tex)
		}
		if want := text == "1 woollen run"; y.Soft != want || y.Words != text {
			t.Errorf("%q: soft %v, words %q", text, y.Soft, y.Words)
		}
	}
	for _, text := range []string{"8/2", "16", "wool", "2/8 wool"} {
		if _, err := ParseYarn(text); err == nil {
			t.Errorf("%q was taken", text)
		} else if q, ok := AsQuestion(err); !ok || q.Ask == "" {
			t.Errorf("%q: %v, want a question", text, err)
		}
	}
	for _, text := range []string{"", " ", "x", "-8/2 cotton", "0 cotton", "8/0 cotton", "8/2.5 cotton", "8/2/2 cotton", "yd/lb", "0 yd/lb", "100 m/0 g", "1 yd/lb", "9e99 yd/lb",
		"cotton", "NaN tex", "Inf tex", "60 tex x 0", "100 yd/in", "8/2 cotton; drop", string(make([]byte, 200))} {
		if y, err := ParseYarn(text); err == nil {
			t.Errorf("%q was taken for %+v", text, y)
		}
	}
}

func FuzzParseYarn(f *testing.F) {
	for _, s := range []string{"8/2 cotton", "3360 yd/lb", "30 tex x 2", "Nm 28/2", "½", "1,5 m/kg"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		y, err := ParseYarn(s)
		if err == nil && !(y.YardsPerPound >= minYardsPerPound && y.YardsPerPound <= maxYardsPerPound) {
			t.Errorf("%q: %v yards in a pound", s, y.YardsPerPound)
		}
	})
}
