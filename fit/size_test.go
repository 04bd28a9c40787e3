package fit

import (
	"math"
	"testing"

	"dentcount/trade"

	"gonum.org/v1/gonum/stat/distuv"
)

// What readings miss by is Student's t, held against gonum's.
func TestMissesAreStudentsT(t *testing.T) {
	student := distuv.StudentsT{Sigma: 0.7, Nu: 4}
	var all float64
	for _, o := range misses() {
		all += o.share
	}
	if math.Abs(all-1) > 1e-9 {
		t.Errorf("the shares make %.4f", all)
	}
	for x := 0.0; x <= 7; x += 0.1 {
		var got float64
		for _, o := range misses() {
			got += o.share * normal(x, o.times)
		}
		if want := student.Prob(x); math.Abs(got/want-1) > 0.15 {
			t.Errorf("%.1f times what the budget says: %.5f, Student's t has %.5f", x, got, want)
		}
	}
}

// A pitch that is read 1.9 u off one size and 3.7 u off another is hardly nearly certain to be
// the nearer: one reading in 200 misses by as much as four u (judge, 4633-460, was read so).
func TestBetweenTwoSizesIsNotNearlyCertain(t *testing.T) {
	got := FindSize(measured(7.541, 0.0028), trade.Sizes(trade.PartRigidHeddle), 0.995)
	if got[0].Label != "7.5" || got[0].P > 0.96 || got[1].P < 0.02 {
		t.Errorf("%s with %.3f, then %s with %.3f", got[0].Label, got[0].P, got[1].Label, got[1].P)
	}
	if got := FindSize(measured(7.503, 0.0028), trade.Sizes(trade.PartRigidHeddle), 0.995); got[0].Label != "7.5" || got[0].P < 0.98 {
		t.Errorf("on the size itself: %s with %.3f", got[0].Label, got[0].P)
	}
}

// A size that another one lies near, by how well the photo was read, is told from one that
// none does; of itself it is not near.
func TestWithin(t *testing.T) {
	sizes := trade.Sizes(trade.PartReed)
	for _, c := range []struct {
		perInch, relU float64
		label         string
		want          bool
	}{{8.876, 0.0036, "35/10", true}, {8.876, 0.0020, "35/10", false}, {10.0, 0.0031, "10", false}, {10.0, 0.0033, "10", true}, {10.08, 0.001, None, false}} {
		if got := measured(c.perInch, c.relU).Within(5, sizes, Choice{Label: c.label}); got != c.want {
			t.Errorf("%.3f ± %.2f %% beside %s: %v", c.perInch, 100*c.relU, c.label, got)
		}
	}
}
