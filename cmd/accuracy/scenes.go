package main

import (
	"context"
	"fmt"
	"slices"
	"sync"

	"dentcount/photo"
	"dentcount/scene"
)

// sceneSet is a set of drawn photos. The same set is drawn anew each time: only
// what was measured in it is kept.
type sceneSet struct {
	Scenes  int     `json:"scenes"`
	Seed    uint64  `json:"seed"`
	Adverse float64 `json:"adverse"`
	Ranges  string  `json:"ranges"` // a name of rangesNamed
}

// maxScenes bounds a set, so that the seeds of two sets never meet.
const maxScenes = 1_000_000

// rangesNamed are the two worlds that sets are drawn from. Models are fitted on
// "fit", which is what a phone in a weaver's hand gives, and judged on "judge",
// which is wider in all that the photo's reader cannot know.
func rangesNamed(name string) (scene.Ranges, error) {
	switch name {
	case "fit":
		return scene.DefaultRanges(), nil
	case "judge":
		return scene.Ranges{
			HeddleShare: 0.33, OffShare: 0.1, MetricShare: 0.5, SizeTolerance: 0.001,
			LongSidePx: scene.Range{1700, 2900}, PxPerDent: scene.Range{4.2, 40}, DistanceMM: scene.Range{120, 1000},
			F35: scene.Range{22, 62}, F35Error: scene.Range{-0.016, 0.016}, F35Share: 0.6, TurnedShare: 0.5, DiagonalPart: 0.4,
			TiltDeg: scene.Range{0, 15}, K1: scene.Range{-0.006, 0.006},
			BlurPx: scene.Range{0.35, 1.55}, Noise: scene.Range{0.003, 0.034}, Sharpen: scene.Range{0, 1},
			Exposure: scene.Range{0.6, 1.3}, JPEGQuality: scene.Range{66, 97},
			RulerThicknessMM: scene.Range{thinMM, thickMM}, SkewDeg: scene.Range{-3.9, 3.9},
			RulerScaleError: scene.Range{-0.00024, 0.00024},
			MarkScatterMM:   scene.Range{0, 0.03}, Wear: scene.Range{0, 0.4}, MinSpanIn: 1.6,
			DepthMM: scene.Range{2.3, 4.2}, WireFraction: scene.Range{0.19, 0.47}, Scatter: scene.Range{0.0018, 0.033}, TwistDeg: scene.Range{0, 1.8},
			MissingShare: 0.25, BentShare: 0.3, RustShare: 0.3, YarnShare: 0.25,
		}, nil
	}
	return scene.Ranges{}, fmt.Errorf("there are no ranges %q: give fit or judge", name)
}

// Loose rulers are this thick: the world of the judged set, and what the
// perfect reader knows of a ruler he is told nothing of.
const thinMM, thickMM = 0.2, 3.0

// spec describes scene i of the set.
func (s sceneSet) spec(i int) (scene.Spec, error) {
	r, err := rangesNamed(s.Ranges)
	if err != nil {
		return scene.Spec{}, err
	}
	if r.AdverseShare = s.Adverse; s.Adverse == 0 {
		r.AdverseShare = -1
	}
	return scene.Random(s.Seed*maxScenes+uint64(i), r), nil
}

func (s sceneSet) check() error {
	if s.Scenes < 1 || s.Scenes > maxScenes {
		return fmt.Errorf("-scenes %d: give 1 to %d", s.Scenes, maxScenes)
	}
	if !(s.Adverse >= 0 && s.Adverse <= 1) {
		return fmt.Errorf("-adverse %g: give a share from 0 to 1", s.Adverse)
	}
	_, err := rangesNamed(s.Ranges)
	return err
}

// measureScenes draws and measures the scenes of a set, or those at the given
// indices alone, that the record does not hold yet, as many at a time as there are cores, without a file in between,
// and gives all of them in order. said is told of every scene done.
func measureScenes(ctx context.Context, set sceneSet, at []int, rec *record, said func()) ([]sample, error) {
	var todo []int
	for i := range set.Scenes {
		if !rec.has(i) && (len(at) == 0 || slices.Contains(at, i)) {
			todo = append(todo, i)
		}
	}
	var mu sync.Mutex
	spec := func(k int) scene.Spec {
		s, err := set.spec(todo[k])
		if err != nil {
			panic("accuracy: " + err.Error()) // the set was checked
		}
		return s
	}
	err := scene.Photos(ctx, len(todo), spec, func(k int, jpeg []byte, t scene.Truth) error {
		tr, err := truthOf(t)
		if err != nil {
			return err
		}
		tr.File = fmt.Sprintf("%s-%d-%d", set.Ranges, set.Seed, todo[k])
		p, err := photo.Limits{GrayOnly: true}.Decode(tr.File, jpeg)
		if err != nil {
			return err
		}
		defer p.Close()
		s, err := measureBoth(ctx, p, tr)
		if err != nil {
			return fmt.Errorf("%s: %w", tr.File, err)
		}
		s.Index = todo[k]
		mu.Lock()
		defer mu.Unlock()
		said()
		return rec.add(s)
	})
	if err != nil {
		return nil, err
	}
	all := rec.all()
	return slices.DeleteFunc(all, func(s sample) bool { return s.Index >= set.Scenes }), nil
}
