package calib

import (
	"context"
	"math"
	"testing"

	"dentcount/scene"
)

// A scale of which a stretch at one end was read, and its edge seen no farther, is followed
// along the whole ruler: straight rules and tapes that bend.
func TestMarksAreFollowedPastTheEdge(t *testing.T) {
	r := scene.DefaultRanges()
	r.AdverseShare, r.TurnedShare = -1, -1
	r.LongSidePx = scene.Range{1500, 1700}
	r.RulerKinds, r.RulerLooks = []string{"mm", "in16"}, []string{"white", "soft-tape", "tape"}
	followed, tried := 0, 0
	for seed := uint64(700); seed < 705; seed++ {
		p, truth := drawn(t, scene.Random(seed, r))
		ruler, found, err := FindRuler(context.Background(), p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		s := ruler.Scale
		if !found || math.Abs(drawnRatio(s, truth)-1) > 0.01 {
			continue
		}
		tried++
		cut := s
		cut.Marks = s.Marks[:len(s.Marks)/3]
		cut.Lo, cut.Hi = math.Inf(1), math.Inf(-1)
		for _, m := range cut.Marks {
			cut.Lo, cut.Hi = math.Min(cut.Lo, m.Along), math.Max(cut.Hi, m.Along)
		}
		cut.Frame.Lo, cut.Frame.Hi = cut.Lo, cut.Hi
		got := cut.ExtendedPastEdge(p)
		ends := math.Abs(s.In(s.Hi)-s.In(s.Lo)) / math.Abs(got.In(s.Hi)-got.In(s.Lo))
		if 5*len(got.Marks) >= 4*len(s.Marks) && math.Abs(ends-1) < 0.002 {
			followed++
		} else {
			t.Logf("seed %d, %s %s: %d marks of %d, %d to begin with, length %.4f of the truth", seed, truth.RulerLook, truth.Ruler, len(got.Marks), len(s.Marks), len(cut.Marks), ends)
		}
	}
	if tried < 4 || followed < tried {
		t.Errorf("%d of %d scales were followed over four fifths", followed, tried)
	}
}
