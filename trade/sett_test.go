package trade

import (
	"math"
	"testing"
)

func mustWeave(t *testing.T, s string) Weave {
	t.Helper()
	w, err := ParseWeave(s)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func mustYarn(t *testing.T, s string) Yarn {
	t.Helper()
	y, err := ParseYarn(s)
	if err != nil {
		t.Fatal(err)
	}
	return y
}

// The worked example of Ashenhurst's rule at faena.medievaltextiles.org/ash.html:
// 8/2 cotton, 3360 yards in a pound, has 52 diameters in an inch, and at the
// closest 26 ends in plain weave, 34 (their 52 × 4/6 is 34.7) in a 2/2 twill.
func TestAshenhurstsWorkedExample(t *testing.T) {
	y := mustYarn(t, "8/2 cotton")
	plain, err := SettOfYarn(y, mustWeave(t, "plain"))
	if err != nil || math.Abs(plain.Diameters-52) > 0.5 || math.Abs(plain.Sett/usualShare-26) > 0.5 {
		t.Errorf("%+v, %v", plain, err)
	}
	twill, err := SettOfYarn(y, mustWeave(t, "2/2"))
	if err != nil || math.Abs(twill.Sett/usualShare-34.7) > 0.2 {
		t.Errorf("%+v, %v", twill, err)
	}
	if !(plain.Loose < plain.Sett && plain.Sett < plain.Firm && plain.Firm < 26.5) {
		t.Errorf("out of order: %+v", plain)
	}
	y.Soft = true
	if soft, _ := SettOfYarn(y, mustWeave(t, "plain")); math.Abs(soft.Sett/plain.Sett-0.84/0.9) > 1e-9 {
		t.Errorf("soft %.3f", soft.Sett)
	}
}

// Setts that hand weavers use for a balanced plain weave lie between the loose
// and the firm estimate (common practice, no source).
func TestEstimatesAgainstPractice(t *testing.T) {
	for _, x := range []struct {
		yarn     string
		lo, high float64
	}{{"3/2 cotton", 12, 15}, {"5/2 cotton", 15, 18}, {"8/2 cotton", 18, 22}, {"10/2 cotton", 22, 26}, {"20/2 cotton", 30, 36}, {"16/2 linen", 16, 20}, {"20/2 worsted", 24, 30}} {
		e, err := SettOfYarn(mustYarn(t, x.yarn), mustWeave(t, "plain"))
		if err != nil || e.Sett < x.lo*0.97 || e.Sett > x.high*1.03 || e.Firm < x.lo || e.Loose > x.high {
			t.Errorf("%s: %.1f (%.1f to %.1f), practice %g to %g", x.yarn, e.Sett, e.Loose, e.Firm, x.lo, x.high)
		}
	}
}

func TestSettOfWraps(t *testing.T) {
	// Half the wraps for plain weave, two thirds for twill (common practice, no source).
	for weave, want := range map[string]float64{"plain": 12, "tabby": 12, "twill": 16, "2/2": 16, "3/1": 16, "2/1": 14.4, "twill 2/1": 14.4} {
		e, err := SettOfWraps(24, mustWeave(t, weave))
		if err != nil || math.Abs(e.Sett-want) > 1e-9 {
			t.Errorf("%s: %.2f, want %.2f (%v)", weave, e.Sett, want, err)
		}
	}
	for _, bad := range []float64{0, -3, 1, 300, math.NaN(), math.Inf(1)} {
		if _, err := SettOfWraps(bad, mustWeave(t, "plain")); err == nil {
			t.Errorf("%v wraps were taken", bad)
		}
	}
	if _, err := SettOfYarn(Yarn{}, mustWeave(t, "plain")); err == nil {
		t.Error("a yarn of no length was taken")
	}
	for _, bad := range []string{"", "satin", "0/2", "2/0", "100/1", "2/2/2", "-1/2"} {
		if w, err := ParseWeave(bad); err == nil {
			t.Errorf("%q was taken for %+v", bad, w)
		}
	}
}

func TestReedsNear(t *testing.T) {
	reeds := ReedsNear(21, 10, Sizes(PartReed))
	at := map[string]Sleying{}
	for i, r := range reeds {
		at[r.Size.Label] = r.Sleying
		if math.Abs(r.Sleying.ErrPercent) > 10 || len(r.Sleying.Pattern) > nearRepeat {
			t.Errorf("%s sleyed %s is %.1f %% off", r.Size.Label, r.Sleying, r.Sleying.ErrPercent)
		}
		if i > 0 && sleyRank(reeds[i-1].Sleying) > sleyRank(r.Sleying) {
			t.Errorf("%s before %s", reeds[i-1].Sleying, r.Sleying)
		}
	}
	// Two in each of ten dents is what a weaver takes for 21, not 2-2-2-2-2-2-2-3.
	for label, want := range map[string]string{"10": "2", "20": "1", "15": "1-2", "12": "1-2-2"} {
		if at[label].String() != want {
			t.Errorf("%s sleyed %q, want %q", label, at[label], want)
		}
	}
	if len(ReedsNear(21, 10, nil)) != 0 || len(ReedsNear(0, 10, Sizes(PartReed))) != 0 || len(ReedsNear(math.NaN(), 10, Sizes(PartReed))) != 0 {
		t.Error("reeds out of nothing")
	}
	if EndsFor(26, 21) != 546 || EndsFor(0.5, 21) != 11 || EndsFor(10.0/3, 12) != 40 {
		t.Error("ends of a warp")
	}
}
