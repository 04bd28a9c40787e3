package judge

import (
	"fmt"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a closed interval.
type Interval struct{ Lo, Hi float64 }

// ClopperPearson is the exact two-sided interval for a probability of which k
// of n trials came true (Clopper & Pearson 1934): each tail holds
// (1-confidence)/2. Nothing tried gives [0, 1]. It panics unless
// 0 <= k <= n and 0 < confidence < 1.
func ClopperPearson(k, n int, confidence float64) Interval {
	check(k, n, confidence)
	tail := (1 - confidence) / 2
	return Interval{lower(k, n, tail), upper(k, n, tail)}
}

// UpperBound is the one-sided upper bound for a probability of which k of n
// trials came true. With k = 0 it is 1 - (1-confidence)^(1/n). Panics as
// ClopperPearson does.
func UpperBound(k, n int, confidence float64) float64 {
	check(k, n, confidence)
	return upper(k, n, 1-confidence)
}

func check(k, n int, confidence float64) {
	if k < 0 || n < k || !(confidence > 0 && confidence < 1) {
		panic(fmt.Sprintf("judge: %d of %d trials at confidence %g", k, n, confidence))
	}
}

func lower(k, n int, tail float64) float64 {
	if k == 0 {
		return 0
	}
	return distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(tail)
}

func upper(k, n int, tail float64) float64 {
	if k == n {
		return 1
	}
	return distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(1 - tail)
}
