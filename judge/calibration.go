package judge

import (
	"math"
	"sort"
)

// Claim is one stated probability and what became of it.
type Claim struct {
	P    float64 // stated, 0…1
	True bool
}

// Bin is one row of a reliability table: the claims with Lo < P <= Hi (the
// first bin holds P = 0, too).
type Bin struct {
	Lo, Hi float64
	N      int
	True   int
	MeanP  float64 // of the claims; NaN where there are none
}

// Share is the part of the bin's claims that came true; NaN where there are none.
func (b Bin) Share() float64 { return float64(b.True) / float64(b.N) }

// Reliability sorts claims into n bins of equal width.
func Reliability(claims []Claim, n int) []Bin {
	bins := make([]Bin, n)
	sums := make([]float64, n)
	for i := range bins {
		bins[i].Lo, bins[i].Hi = float64(i)/float64(n), float64(i+1)/float64(n)
	}
	for _, c := range claims {
		i := min(max(int(math.Ceil(c.P*float64(n)))-1, 0), n-1)
		bins[i].N++
		sums[i] += c.P
		if c.True {
			bins[i].True++
		}
	}
	for i := range bins {
		bins[i].MeanP = sums[i] / float64(bins[i].N)
	}
	return bins
}

// ExpectedCalibrationError is the mean distance between what the bins claimed
// and what came true, weighed by their claims; NaN without claims.
func ExpectedCalibrationError(bins []Bin) float64 {
	var sum float64
	n := 0
	for _, b := range bins {
		if b.N > 0 {
			sum += float64(b.N) * math.Abs(b.Share()-b.MeanP)
			n += b.N
		}
	}
	return sum / float64(n)
}

// Brier is the mean squared distance between the probabilities and what came
// true (Brier 1950, for one outcome); NaN without claims.
func Brier(claims []Claim) float64 {
	var sum float64
	for _, c := range claims {
		y := 0.0
		if c.True {
			y = 1
		}
		sum += (c.P - y) * (c.P - y)
	}
	return sum / float64(len(claims))
}

// Risk is one point of a risk-coverage curve: of the claims, the Coverage most
// confident ones (P >= Least) hold the share Risk of false ones.
type Risk struct{ Coverage, Least, Risk float64 }

// RiskCoverage takes the claims from the most confident down and gives one
// point at each distinct probability.
func RiskCoverage(claims []Claim) []Risk {
	c := append([]Claim(nil), claims...)
	sort.SliceStable(c, func(i, j int) bool { return c[i].P > c[j].P })
	var out []Risk
	wrong := 0
	for i, x := range c {
		if !x.True {
			wrong++
		}
		if i+1 == len(c) || c[i+1].P != x.P {
			out = append(out, Risk{float64(i+1) / float64(len(c)), x.P, float64(wrong) / float64(i+1)})
		}
	}
	return out
}

// AreaUnderRisk is the mean risk over all coverages, by claims taken one by
// one; claims of equal probability share theirs. NaN without claims.
func AreaUnderRisk(claims []Claim) float64 {
	var sum, last float64
	for _, r := range RiskCoverage(claims) {
		sum += r.Risk * (r.Coverage - last)
		last = r.Coverage
	}
	if len(claims) == 0 {
		return math.NaN()
	}
	return sum
}
