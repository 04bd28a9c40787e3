package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"sync"

	"dentcount/fit"
	"dentcount/judge"
	"dentcount/measure"
	"dentcount/photo"
	"dentcount/scene"
)

// retakeTimes are how many times as far the further photos of a part are taken,
// the next where one cannot be.
var retakeTimes = []float64{1.9, 0.52, 1.45, 0.68, 2.6}

// takesOf is a scene and further photos of its part, n in all where as many can
// be answered.
func takesOf(s scene.Spec, opt scene.Ranges, n int) []scene.Spec {
	takes := []scene.Spec{s}
	for k, times := range retakeTimes {
		if len(takes) >= n {
			break
		}
		if again, ok := scene.Retake(s, s.Seed*31+uint64(k), times, opt); ok {
			takes = append(takes, again)
		}
	}
	return takes
}

// series is one part photographed several times.
type series struct {
	truth truth
	// By told or not: the first photo alone, and all together.
	alone, together map[bool]outcome
	chance          map[bool]float64
	ways            [ways]outcome
	seesSide        bool
	thicknessMM     float64 // as the photos tell it
	thicknessUMM    float64
	photos          int
}

// measureSeries draws each scene of a set that can be answered n times from
// other distances and tilts and measures them together.
func measureSeries(ctx context.Context, set sceneSet, n int, said func()) ([]series, error) {
	opt, err := rangesNamed(set.Ranges)
	if err != nil {
		return nil, err
	}
	var specs [][]scene.Spec
	for i := range set.Scenes {
		s, err := set.spec(i)
		if err != nil {
			return nil, err
		}
		if s.Expect != scene.ExpectAnswer {
			continue
		}
		if takes := takesOf(s, opt, n); len(takes) > 1 {
			specs = append(specs, takes)
		}
	}
	type shot struct{ series, take int }
	var shots []shot
	readings := make([][]measure.Reading, len(specs))
	truths := make([]truth, len(specs))
	for i, takes := range specs {
		readings[i] = make([]measure.Reading, len(takes))
		for k := range takes {
			shots = append(shots, shot{i, k})
		}
	}
	var mu sync.Mutex
	err = scene.Photos(ctx, len(shots), func(j int) scene.Spec { return specs[shots[j].series][shots[j].take] },
		func(j int, jpeg []byte, t scene.Truth) error {
			p, err := photo.Decode(fmt.Sprintf("photo %d", shots[j].take+1), jpeg)
			if err != nil {
				return err
			}
			defer p.Close()
			r, err := measure.Read(ctx, p, measure.Options{})
			if err != nil {
				return err
			}
			tr, err := truthOf(t)
			if err != nil {
				return err
			}
			mu.Lock()
			defer mu.Unlock()
			said()
			readings[shots[j].series][shots[j].take] = r
			if shots[j].take == 0 {
				truths[shots[j].series] = tr
			}
			return nil
		})
	if err != nil {
		return nil, err
	}
	var out []series
	for i, rs := range readings {
		s := series{truth: truths[i], photos: len(rs), alone: map[bool]outcome{}, together: map[bool]outcome{}, chance: map[bool]float64{}}
		for _, told := range []bool{true, false} {
			var o measure.Options
			if told {
				o.RulerThicknessMM = s.truth.ThicknessMM
			}
			s.alone[told] = outcomeOf(rs[0].Answer(o))
			all := measure.SamePart(rs, o)
			s.together[told] = outcomeOf(all)
			s.chance[told] = all.Combined.Chance
			if !told && len(all.Combined.Photos) > 1 {
				s.thicknessMM, s.thicknessUMM = all.Combined.RulerThicknessMM, all.Combined.RulerThicknessUMM
			}
		}
		s.ways, s.seesSide = waysOf(rs, s.truth), rs[0].SeesSideFace()
		out = append(out, s)
	}
	return out, nil
}

// reportSeries prints what several photos gained over the first alone.
func reportSeries(w io.Writer, all []series) {
	p := func(format string, args ...any) { fmt.Fprintf(w, format+"\n", args...) }
	for _, told := range []bool{true, false} {
		if told {
			p("== several photos of one part, ruler's thickness told")
		} else {
			p("== several photos of one part, ruler's thickness not told")
		}
		var alone, together []row
		var chances []float64
		for _, s := range all {
			alone = append(alone, row{truth: s.truth, got: s.alone[told]})
			together = append(together, row{truth: s.truth, got: s.together[told]})
			if !refused(together[len(together)-1]) {
				chances = append(chances, s.chance[told])
			}
		}
		ok := func(r row) bool { return answered(r) && r.right() }
		p("parts %d; answered and right: first photo %d, together %d; answered and wrong: %d, %d", len(all),
			count(alone, ok), count(together, ok),
			count(alone, func(r row) bool { return answered(r) && !r.right() }), count(together, func(r row) bool { return answered(r) && !r.right() }))
		var a, b []float64
		for i := range alone {
			x, y := math.Abs(alone[i].rel()), math.Abs(together[i].rel())
			if x < farOffRel && y < farOffRel {
				a, b = append(a, x), append(b, y)
			}
		}
		p("pitch error of the %d parts read right both ways:", len(a))
		p("  first photo: %s", percentiles(a))
		p("  together:    %s", percentiles(b))
		coverage(p, which(together, func(r row) bool { return math.Abs(r.rel()) < farOffRel }))
		low := 0
		for _, c := range chances {
			if c < fit.DisagreeAt {
				low++
			}
		}
		p("said to disagree: %s", of(low, len(chances)))
		if told {
			continue
		}
		var off, u []float64
		for i, s := range all {
			if s.thicknessUMM > 0 && math.Abs(together[i].rel()) < farOffRel {
				off, u = append(off, math.Abs(s.thicknessMM-s.truth.ThicknessMM)), append(u, s.thicknessUMM)
			}
		}
		if len(off) > 0 {
			q, v := judge.Quantiles(off, 0.5, 0.9), judge.Quantiles(u, 0.5)
			p("the ruler's thickness from the photos: off by %.2f mm in the median, %.2f mm at the 90th percentile; stated %.2f mm", q[0], q[1], v[0])
		}
	}
	reportWays(p, all)
}
