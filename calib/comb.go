package calib

import (
	"math"
	"math/cmplx"
	"sort"

	"dentcount/photo"

	"gonum.org/v1/gonum/dsp/fourier"
)

// comb says that equally spaced lines cross a profile.
type comb struct {
	periodPx float64
	center   float64 // along, where it is strongest
	lo, hi   float64 // along, where it was seen
	strength float64 // mean autocorrelation at the period, 0…1
	depth    [2]float64
}

// combSearch are the settings of findComb.
type combSearch struct {
	window      int // px, even
	minPeriodPx float64
}

// findCombs looks for an equally spaced comb in a profile by the
// autocorrelation of windows, so that a period which drifts along the edge
// (perspective) is still one comb. Best first; nothing found is an empty list.
func findCombs(prof []float64, lo float64, s combSearch) []comb {
	n := s.window
	hop := n / 2
	fft := fourier.NewFFT(2 * n)
	buf := make([]float64, 2*n)
	var coef []complex128
	type hit struct{ at, period, rho float64 }
	var hits []hit
	high := highPass(prof, n/6)
	for start := 0; start+n/2 <= len(high); start += hop {
		end := min(start+n, len(high))
		m := end - start
		var sum, sq float64
		bad := 0
		for i := 0; i < 2*n; i++ {
			buf[i] = 0
		}
		for i := 0; i < m; i++ {
			v := high[start+i]
			if math.IsNaN(v) {
				bad++
				continue
			}
			buf[i] = v
			sum += v
			sq += v * v
		}
		if bad > m/4 || m < n/2 || sq/float64(m) < 0.02 {
			continue
		}
		mean := sum / float64(m-bad)
		for i := 0; i < m; i++ {
			if !math.IsNaN(high[start+i]) {
				buf[i] -= mean
			}
		}
		coef = fft.Coefficients(coef, buf)
		for i, c := range coef {
			a := cmplx.Abs(c)
			coef[i] = complex(a*a, 0)
		}
		ac := fft.Sequence(nil, coef)
		if ac[0] <= 0 {
			continue
		}
		lagMax := int(float64(m) / 2.5)
		rho := make([]float64, lagMax+2)
		for t := range rho {
			rho[t] = ac[t] / ac[0] * float64(m) / float64(m-t)
		}
		best := 0.0
		var peaks []int
		for t := int(s.minPeriodPx); t <= lagMax; t++ {
			if t >= 1 && rho[t] > rho[t-1] && rho[t] >= rho[t+1] && rho[t] > 0.15 {
				peaks = append(peaks, t)
				best = math.Max(best, rho[t])
			}
		}
		for _, t := range peaks {
			if rho[t] < 0.8*best {
				continue
			}
			a, b, c := rho[t-1], rho[t], rho[t+1]
			d := 0.0
			if q := a - 2*b + c; q < 0 {
				d = 0.5 * (a - c) / q
			}
			hits = append(hits, hit{at: lo + float64(start) + float64(m)/2, period: float64(t) + d, rho: rho[t]})
			break
		}
	}
	var out []comb
	used := make([]bool, len(hits))
	order := make([]int, len(hits))
	for i := range order {
		order[i] = i
	}
	sort.Slice(order, func(a, b int) bool { return hits[order[a]].rho > hits[order[b]].rho })
	for _, seed := range order {
		if used[seed] || len(out) >= 3 {
			continue
		}
		c := comb{periodPx: hits[seed].period, center: hits[seed].at}
		first, last := seed, seed
		walk := func(step int) {
			period, misses := hits[seed].period, 0
			for i := seed + step; i >= 0 && i < len(hits) && misses < 3; i += step {
				if used[i] || math.Abs(hits[i].period/period-1) > 0.08 {
					misses++
					continue
				}
				misses = 0
				period = hits[i].period
				used[i] = true
				c.strength += hits[i].rho
				if i < first {
					first = i
				}
				if i > last {
					last = i
				}
			}
		}
		used[seed] = true
		c.strength += hits[seed].rho
		walk(1)
		walk(-1)
		c.lo, c.hi = hits[first].at-float64(n)/2, hits[last].at+float64(n)/2
		out = append(out, c)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].strength > out[j].strength })
	return out
}

// highPass takes the moving mean over ±half off; NaN stays NaN.
func highPass(v []float64, half int) []float64 {
	n := len(v)
	sum := make([]float64, n+1)
	cnt := make([]int, n+1)
	for i, x := range v {
		sum[i+1], cnt[i+1] = sum[i], cnt[i]
		if !math.IsNaN(x) {
			sum[i+1] += x
			cnt[i+1]++
		}
	}
	out := make([]float64, n)
	for i, x := range v {
		a, b := max(0, i-half), min(n, i+half+1)
		if c := cnt[b] - cnt[a]; c > 0 {
			out[i] = x - (sum[b]-sum[a])/float64(c)
		} else {
			out[i] = math.NaN()
		}
	}
	return out
}

// likeMarks says how much a comb is like a ruler's marks rather than wires, for
// the order in which combs are read: marks end within a few spacings of the
// edge and none stand outside it, wires run on. 1 where both hold, down to 0.2.
func likeMarks(p photo.Plane, f Frame, c comb) float64 {
	T := c.periodPx
	half := math.Max(6*T, 40)
	lo, hi := math.Max(c.center-half, f.Lo), math.Min(c.center+half, f.Hi)
	near := rowsContrast(p, f, lo, hi, c.depth[0], c.depth[1], T)
	far := rowsContrast(p, f, lo, hi, 7*T, 10*T, T)
	out := rowsContrast(p, f, lo, hi, -4*T, -1.5*T, T)
	if near <= 0 {
		return 0.2
	}
	return math.Max(0.2, 1-math.Max(far, out)/near)
}

// rowsContrast is the mean amplitude of a comb of spacing T in rows between two
// depths; rows are taken apart, since marks and wires lean.
func rowsContrast(p photo.Plane, f Frame, lo, hi, d0, d1, T float64) float64 {
	const rows = 4
	s := sampleStrip(p, f, lo, hi, d0, d1, math.Max((d1-d0)/(rows-1), 0.5))
	if s.cols < 3 {
		return 0
	}
	var sum float64
	amp := make([]float64, s.rows)
	for _, k := range [3]float64{0.97, 1, 1.03} {
		s.addAmplitude(amp, 0, s.cols-1, T*k)
	}
	for _, a := range amp {
		sum += a / float64(len(amp))
	}
	return sum
}
