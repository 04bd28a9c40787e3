package report

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"dentcount/measure"
)

// together is an answer for three photos of one part.
func together() measure.Result {
	r := plainSketch().result()
	r.Photo, r.Ruler, r.Count = "a.jpg + b.jpg + c.jpg", nil, nil
	r.Combined = &measure.Combined{
		Photos: []string{"a.jpg", "b.jpg", "c.jpg"}, LeftOut: []string{}, Agree: true, ChiSquare: 1.23456, DegreesOfFreedom: 2, Chance: 0.53942,
		Widened: 1, RulerThicknessMM: 2.2, RulerThicknessUMM: 0.13,
	}
	return r
}

func TestTextTogether(t *testing.T) {
	r := together()
	got := text(t, r, Style{})
	if !strings.HasPrefix(got[0], "all together: a 40/10 reed") || len(got) > 5 {
		t.Errorf("got %q", got)
	}
	want := "  Photos: 3 photos that agree; by their distances the ruler's face lies 2.20 ± 0.26 mm above the wires"
	if got[2] != want {
		t.Errorf("got  %s\nwant %s", got[2], want)
	}
	// A thickness that is told, or that the photos do not tell, is not spoken of.
	r.Combined.RulerThicknessUMM = 0
	if got := text(t, r, Style{})[2]; got != "  Photos: 3 photos that agree" {
		t.Errorf("told: %s", got)
	}
	r.Combined.Odd, r.Combined.Photos, r.Combined.Agree = []string{"c.jpg"}, []string{"a.jpg", "b.jpg"}, false
	if got := text(t, r, Style{})[2]; got != "  Photos: 2 photos used; 1 of another size" {
		t.Errorf("one is odd: %s", got)
	}
}

func TestJSONTogether(t *testing.T) {
	r := together()
	r.Combined.Photos = nil
	var b bytes.Buffer
	if err := JSON(&b, r); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Photo    string         `json:"photo"`
		Combined map[string]any `json:"combined"`
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	c := got.Combined
	if got.Photo != "a.jpg + b.jpg + c.jpg" || c["chi_square"] != 1.235 || c["chance"] != 0.539 || c["dof"] != 2.0 || c["agree"] != true {
		t.Errorf("%s", &b)
	}
	if list, ok := c["photos"].([]any); !ok || len(list) != 0 {
		t.Errorf("photos: %v, want an empty list", c["photos"])
	}
	// A photo alone has none of it.
	b.Reset()
	if err := JSON(&b, plainSketch().result()); err != nil || strings.Contains(b.String(), "combined") {
		t.Errorf("%s, %v", &b, err)
	}
}

// The factor behind the ± is said, and an interval that leans.
func TestExplainFactor(t *testing.T) {
	r := plainSketch().result()
	r.Pitch.K95, r.Pitch.DoF = 2.131, 15.7
	r.Pitch.Interval95 = &measure.Range{Min: r.Pitch.DentsPerInch - 3*r.Pitch.U, Max: r.Pitch.DentsPerInch + 1.5*r.Pitch.U}
	var b bytes.Buffer
	if err := Explain(&b, r); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"(2.13 times that: Student's t with 15 degrees of freedom)", "It does not lie evenly: 95 of 100 fall between"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("lacks %q:\n%s", want, &b)
		}
	}
	r.Pitch.Interval95 = &measure.Range{Min: r.Pitch.DentsPerInch - 2*r.Pitch.U, Max: r.Pitch.DentsPerInch + 2*r.Pitch.U}
	b.Reset()
	if err := Explain(&b, r); err != nil || strings.Contains(b.String(), "evenly") {
		t.Errorf("an even interval: %v\n%s", err, &b)
	}
}
