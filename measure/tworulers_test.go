package measure

import (
	"context"
	"math"
	"testing"

	"dentcount/photo"
	"dentcount/scene"
)

// Of two rulers the one that lies beside the part is passed over, however well it
// is read, and said to be there.
func TestRulerBesideThePart(t *testing.T) {
	r := scene.DefaultRanges()
	r.AdverseShare, r.Cases = 1, []string{"two-rulers"}
	read := 0
	for _, seed := range []uint64{9, 25, 44} {
		spec := scene.Random(seed, r)
		if spec.Case != "two-rulers" || spec.Rulers[1].BaseMM >= 0 {
			t.Fatalf("seed %d shows %s", seed, spec.Case)
		}
		err := scene.Photos(context.Background(), 1, func(int) scene.Spec { return spec }, func(_ int, jpeg []byte, truth scene.Truth) error {
			p, err := photo.Limits{GrayOnly: true}.Decode("two.jpg", jpeg)
			if err != nil {
				return err
			}
			defer p.Close()
			got, err := Photo(context.Background(), p, Options{RulerThicknessMM: truth.RulerThicknessMM})
			if err != nil {
				return err
			}
			if got.Pitch == nil {
				t.Logf("seed %d: %s %s", seed, got.Status, got.Reason)
				return nil
			}
			if off := math.Abs(got.Pitch.DentsPerInch / *truth.DentsPerInch - 1); off < 0.01 {
				read++
			} else if got.Status == Answered {
				t.Errorf("seed %d: %.3f dents per inch, truth %.3f", seed, got.Pitch.DentsPerInch, *truth.DentsPerInch)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if read < 2 {
		t.Errorf("%d of 3 read beside the part's own ruler", read)
	}
}
