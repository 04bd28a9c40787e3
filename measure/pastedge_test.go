package measure

import (
	"context"
	"math"
	"testing"

	"dentcount/photo"
	"dentcount/scene"
	"dentcount/vision"
)

// Of a ruler that is read at one end only, past which its edge was not seen, the bands beside
// the rest of it are counted.
func TestBandsBesideTheRestOfARuler(t *testing.T) {
	r := scene.DefaultRanges()
	r.AdverseShare, r.HeddleShare = -1, -1
	r.RulerKinds, r.RulerLooks = []string{"mm"}, []string{"white"}
	draw := func(int) scene.Spec { return scene.Random(702, r) }
	err := scene.Photos(context.Background(), 1, draw, func(_ int, jpeg []byte, _ scene.Truth) error {
		ctx := context.Background()
		p, err := photo.Limits{GrayOnly: true}.Decode("rest.jpg", jpeg)
		if err != nil {
			return err
		}
		defer p.Close()
		k, err := Keep(p)
		if err != nil {
			return err
		}
		ruler, found, err := k.ruler(ctx, "")
		if err != nil || !found {
			t.Fatalf("ruler found: %v, %v", found, err)
		}
		whole, found, err := vision.FindBands(ctx, k.gray, ruler.Scale, k.bandOptions(Options{}))
		if err != nil || !found {
			t.Fatalf("bands found: %v, %v", found, err)
		}
		s := &ruler.Scale
		s.Marks = s.Marks[:len(s.Marks)/4]
		s.Lo, s.Hi = math.Inf(1), math.Inf(-1)
		for _, m := range s.Marks {
			s.Lo, s.Hi = math.Min(s.Lo, m.Along), math.Max(s.Hi, m.Along)
		}
		s.Frame.Lo, s.Frame.Hi = s.Lo, s.Hi
		longer, b, ok, err := k.besideRest(ctx, ruler, vision.Bands{}, false, Options{})
		if err != nil || !ok || askew(b) || !longer.PastEdge {
			t.Fatalf("bands beside the rest: %v, askew %v, past the edge %v, %v", ok, askew(b), longer.PastEdge, err)
		}
		if n := len(longer.Scale.Marks); n < 2*len(s.Marks) {
			t.Errorf("%d marks of %d at first", n, len(s.Marks))
		}
		if off := math.Abs(b.PerInch/whole.PerInch - 1); off > 0.002 {
			t.Errorf("%.3f bands per inch, %.3f along the whole ruler", b.PerInch, whole.PerInch)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// Of a ruler that was followed past its edge no size is nearly certain, and what is of no
// made size is no answer.
func TestPastTheEdgeNothingIsNearlyCertain(t *testing.T) {
	for _, c := range []struct {
		perInch       float64
		seen, pastTop float64 // the confidence at least where the edge was seen, and at most past it
	}{{10, 0.97, nearlySure}, {10.6, 0.75, mayBeNoPart}} {
		r := readingOf("rest", c.perInch, 400, 1)
		seen := r.Answer(Options{RulerThicknessMM: 1})
		r.ruler.PastEdge = true
		past := r.Answer(Options{RulerThicknessMM: 1})
		if seen.Size.Confidence < c.seen || past.Size.Confidence > c.pastTop || past.Size.Label != seen.Size.Label {
			t.Errorf("%g per inch: %+v, past the edge %+v", c.perInch, seen.Size.SizeChoice, past.Size.SizeChoice)
		}
	}
}
