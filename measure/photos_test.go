package measure

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"dentcount/photo"
)

// known is one photo of testdata/images; its geometry is exact by construction
// (this project's own ray-traced renders).
type known struct {
	File         string   `json:"file"`
	Expect       string   `json:"expect"`
	Part         string   `json:"part"`
	Label        string   `json:"label"`
	DentsPerInch float64  `json:"dents_per_inch"`
	Units        []string `json:"units"`
	ThicknessMM  float64  `json:"ruler_thickness_mm"`
}

func knownPhotos(t *testing.T) []known {
	t.Helper()
	b, err := os.ReadFile("../testdata/images/truth.json")
	if err != nil {
		t.Fatal(err)
	}
	var ks []known
	if err := json.Unmarshal(b, &ks); err != nil {
		t.Fatal(err)
	}
	if len(ks) < 9 {
		t.Fatalf("testdata/images/truth.json knows %d photos, want at least 9", len(ks))
	}
	return ks
}

// The ratchet: how many of the photos must be answered. None may be answered
// wrong.
const mustAnswer = 12

// TestPhotosTruth measures the photos of testdata/images against their truth.
func TestPhotosTruth(t *testing.T) {
	answered := 0
	for _, k := range knownPhotos(t) {
		p, err := photo.Open(filepath.Join("../testdata/images", k.File))
		if err != nil {
			t.Fatal(err)
		}
		r, err := Photo(context.Background(), p, Options{RulerThicknessMM: k.ThicknessMM})
		p.Close()
		if err != nil {
			t.Fatalf("%s: %v", k.File, err)
		}
		if k.Expect == "refuse" {
			if r.Status != Refused || r.Reason == "" || r.Advice == "" {
				t.Errorf("%s: %s (%q, %q), want refused with a reason and an advice", k.File, r.Status, r.Reason, r.Advice)
			}
			continue
		}
		if r.Status == Refused {
			t.Errorf("%s: refused: %s", k.File, r.Reason)
			continue
		}
		if !slices.Contains(k.Units, r.Ruler.Unit) {
			t.Errorf("%s: ruler read as %q, has %q", k.File, r.Ruler.Unit, k.Units)
		}
		if e := math.Abs(r.Pitch.DentsPerInch - k.DentsPerInch); e > 4*r.Pitch.U {
			t.Errorf("%s: %.4f ± %.4f dents per inch, truth %.4f", k.File, r.Pitch.DentsPerInch, r.Pitch.U, k.DentsPerInch)
		}
		if r.Status == Answered {
			answered++
			if r.Size.Label != k.Label || r.Part != k.Part {
				t.Errorf("%s: answered %s %s, truth %s %s", k.File, r.Part, r.Size.Label, k.Part, k.Label)
			}
			if r.Order == "" {
				t.Errorf("%s: answered without an order line", k.File)
			}
		} else if r.Advice == "" || r.Order != "" {
			t.Errorf("%s: unsure with advice %q and order line %q", k.File, r.Advice, r.Order)
		}
	}
	if answered < mustAnswer {
		t.Errorf("%d photos answered, want at least %d", answered, mustAnswer)
	}
}
