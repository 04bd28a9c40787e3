package measure

import (
	"context"
	"math"
	"testing"

	"dentcount/calib"
	"dentcount/scene"
	"dentcount/vision"
)

// A reed of 40/10 read in inches is one of no made size: in the other unit, which is as
// likely by the marks, it is made. Where both are made, or the one that was read is, the sizes
// tell nothing against it.
func TestUnitBySizes(t *testing.T) {
	told := Options{RulerThicknessMM: 1}
	for name, c := range map[string]struct {
		perInch, inOther float64
		want             float64
		least, most      float64 // of the unit's probability
	}{
		"made in the other unit only": {4.04, 10.16, 10.16, 0.9, 0.98},
		"made in both":                {10, 25.4, 10, 0.3, 0.6},
		"made as it was read":         {18, 45.72, 18, 0.6, 0.6},
	} {
		r, o := readingOf(name, c.perInch, 300, 1), readingOf(name, c.inOther, 300, 1)
		r.ruler.UnitProbability, o.ruler.UnitProbability = 0.6, 0.4
		r.inOther = &o
		got := r.inLikelierUnit(told)
		if math.Abs(got.bands.PerInch/c.want-1) > 0.01 || got.ruler.UnitProbability < c.least || got.ruler.UnitProbability > c.most {
			t.Errorf("%s: %.2f per inch, the unit is right with %.3f", name, got.bands.PerInch, got.ruler.UnitProbability)
		}
		if a := r.Answer(told); math.Abs(a.Pitch.DentsPerInch/c.want-1) > 0.01 {
			t.Errorf("%s: answered with %.2f per inch", name, a.Pitch.DentsPerInch)
		}
	}
}

// The other unit is looked at where nobody said which it is, the marks leave it open, and
// what crosses can be neither a comb's teeth nor the ribs of a cloth.
func TestInOtherUnit(t *testing.T) {
	ctx := context.Background()
	ranges := scene.DefaultRanges()
	ranges.AdverseShare, ranges.HeddleShare = -1, -1
	ranges.RulerKinds, ranges.RulerLooks = []string{"mm"}, []string{"white"}
	p := openScene(t, scene.Random(702, ranges))
	defer p.Close()
	k, err := Keep(p)
	if err != nil {
		t.Fatal(err)
	}
	r, err := k.Read(ctx, Options{Unit: "cm"})
	if err != nil || r.no {
		t.Fatalf("not read: %v, %s", err, r.base.Reason)
	}
	for name, c := range map[string]struct {
		opt   Options
		sure  float64
		field vision.Field
		want  bool
	}{
		"open":       {Options{}, 0.5, vision.Field{Ends: 2, HighIn: 4, LeastIn: 4}, true},
		"said":       {Options{Unit: "cm"}, 0.5, vision.Field{Ends: 2, HighIn: 4, LeastIn: 4}, false},
		"sure":       {Options{}, 0.99, vision.Field{Ends: 2, HighIn: 4, LeastIn: 4}, false},
		"teeth":      {Options{}, 0.5, vision.Field{Ends: 2, HighIn: 2, LeastIn: 2}, false},
		"free":       {Options{}, 0.5, vision.Field{Ends: 1, LeastIn: 4, Free: 0.8}, false},
		"not ending": {Options{}, 0.5, vision.Field{LeastIn: 4}, false},
	} {
		r.ruler.UnitProbability, r.bands.Field = c.sure, c.field
		o, err := k.inOtherUnit(ctx, r, c.opt)
		if err != nil || (o != nil) != c.want {
			t.Fatalf("%s: %v, %v", name, o != nil, err)
		}
		if o == nil {
			continue
		}
		ratio := o.bands.PerInch / r.bands.PerInch * calib.Inch.Inches() / calib.CM.Inches()
		if o.ruler.Scale.Unit != calib.Inch || math.Abs(ratio-1) > 0.01 || o.ruler.UnitProbability != 1-c.sure || o.base.Ruler.Unit != "in" {
			t.Errorf("%s: in %s %.3f of the bands, probability %.2f", name, o.ruler.Scale.Unit, ratio, o.ruler.UnitProbability)
		}
	}
}
