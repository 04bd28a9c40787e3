package vision

import (
	"math"
	"math/cmplx"
	"testing"
)

// The tones of a period, its half, its double and four thirds of it; truth: the sums by
// which they are defined, phases counted from the last place.
func TestFourTones(t *testing.T) {
	const period = 9.7
	v := make([]float64, 78)
	for i := range v {
		v[i] = 3*math.Sin(0.7*float64(i)) + math.Cos(0.31*float64(i)*float64(i))
	}
	want := func(p float64) (sum complex128) {
		for i, x := range v {
			sum += complex(x*4/float64(len(v)), 0) * cmplx.Rect(1, 2*math.Pi/p*float64(len(v)-1-i))
		}
		return sum
	}
	one, two, half, beside := fourTones(v, period)
	for name, d := range map[string]complex128{"own": one - want(period), "half": two - want(period/2), "double": half - want(2*period), "four thirds": beside - want(period*4/3)} {
		if cmplx.Abs(d) > 1e-9 {
			t.Errorf("the tone of the %s period is off by %.3g", name, cmplx.Abs(d))
		}
	}
}
