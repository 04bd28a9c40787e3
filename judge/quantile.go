package judge

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat"
)

// Quantiles are those of v at each of ps, the empirical ones; NaN where v is
// empty. v is not changed.
func Quantiles(v []float64, ps ...float64) []float64 {
	c := append([]float64(nil), v...)
	sort.Float64s(c)
	out := make([]float64, len(ps))
	for i, p := range ps {
		out[i] = math.NaN()
		if len(c) > 0 {
			out[i] = stat.Quantile(p, stat.Empirical, c, nil)
		}
	}
	return out
}
