package calib

import (
	"fmt"
	"math"
	"sort"

	"dentcount/photo"

	"gocv.io/x/gocv"
)

// comb says that equally spaced lines cross a profile.
type comb struct {
	periodPx float64
	center   float64 // along, where it is strongest
	lo, hi   float64 // along, where it was seen
	strength float64 // mean autocorrelation at the period, 0…1
	depth    [2]float64
	// teeth are where the light ones stand, if that is known better than by the
	// period; dark ones stand halfway between. See unitCombs.
	teeth []float64
}

// combSearch are the settings of findCombs.
type combSearch struct {
	window      int // px, even
	minPeriodPx float64
	// clip is how many times as far from the mean as what is typical a sample counts at
	// most; 0 as it is.
	clip float64
}

// stretch is a window of a profile: its first sample and how many it has.
type stretch struct{ start, n int }

// findCombs looks for an equally spaced comb in each profile by the
// autocorrelation of windows, so that a period which drifts along the edge
// (perspective) is still one comb. For each profile its combs, the best first;
// nothing found is an empty list.
func findCombs(profs [][]float64, lo float64, s combSearch) ([][]comb, error) {
	maxLag := int(float64(s.window) / 2.5)
	// Zeros after the window, so that no lag looked at wraps around.
	size := gocv.GetOptimalDFTSize(s.window + maxLag + 2)
	var rows []float32
	at := make([][]stretch, len(profs))
	for i, prof := range profs {
		high := highPass(prof, s.window/6)
		for start := 0; start+s.window/2 <= len(high); start += s.window / 2 {
			w := stretch{start, min(s.window, len(high)-start)}
			if row, ok := centred(high[w.start:w.start+w.n], size, s.clip); ok {
				rows, at[i] = append(rows, row...), append(at[i], w)
			}
		}
	}
	ac, err := autocorrelate(rows, size)
	if err != nil {
		return nil, err
	}
	out := make([][]comb, len(profs))
	for i, ws := range at {
		var hits []hit
		for _, w := range ws {
			if h, ok := firstPeriod(ac[:size], w.n, s.minPeriodPx); ok {
				h.at = lo + float64(w.start) + float64(w.n)/2
				hits = append(hits, h)
			}
			ac = ac[size:]
		}
		out[i] = joinHits(hits, s.window)
	}
	return out, nil
}

// centred is a window less its mean, clipped, NaN as zero, in a row of the given size;
// ok is false where it holds next to nothing.
func centred(v []float64, size int, clip float64) (row []float32, ok bool) {
	var sum, sq float64
	seen := 0
	for _, x := range v {
		if !math.IsNaN(x) {
			sum += x
			sq += x * x
			seen++
		}
	}
	if 4*seen < 3*len(v) || sq/float64(len(v)) < 0.02 {
		return nil, false
	}
	mean := sum / float64(seen)
	limit := math.Inf(1)
	if clip > 0 {
		off := make([]float64, 0, seen)
		for _, x := range v {
			if !math.IsNaN(x) {
				off = append(off, math.Abs(x-mean))
			}
		}
		limit = clip * quickSelect(off, len(off)/2)
	}
	row = make([]float32, size)
	for i, x := range v {
		if !math.IsNaN(x) {
			row[i] = float32(min(max(x-mean, -limit), limit))
		}
	}
	return row, true
}

// autocorrelate returns the cyclic autocorrelation of each row (Wiener and
// Khinchin), up to a factor.
func autocorrelate(rows []float32, size int) ([]float32, error) {
	if len(rows) == 0 {
		return nil, nil
	}
	m := gocv.NewMatWithSize(len(rows)/size, size, gocv.MatTypeCV32F)
	defer m.Close()
	v, err := m.DataPtrFloat32()
	if err != nil {
		return nil, fmt.Errorf("calib: %w", err)
	}
	copy(v, rows)
	f := gocv.NewMat()
	defer f.Close()
	gocv.DFT(m, &f, gocv.DftRows)
	if v, err = f.DataPtrFloat32(); err != nil {
		return nil, fmt.Errorf("calib: %w", err)
	}
	// OpenCV packs a real row's spectrum as re0, re1, im1, re2, im2 …, and the
	// last real part alone where the size is even.
	for ; len(v) > 0; v = v[size:] {
		v[0] *= v[0]
		for i := 1; i+1 < size; i += 2 {
			v[i], v[i+1] = v[i]*v[i]+v[i+1]*v[i+1], 0
		}
		if size%2 == 0 {
			v[size-1] *= v[size-1]
		}
	}
	gocv.DFT(f, &m, gocv.DftRows|gocv.DftInverse)
	if v, err = m.DataPtrFloat32(); err != nil {
		return nil, fmt.Errorf("calib: %w", err)
	}
	return append(rows[:0], v...), nil
}

// hit is a period seen in one window.
type hit struct {
	at     float64 // the window's middle
	period float64
	rho    float64 // autocorrelation there, 0…1
}

// firstPeriod is the shortest period at which a window of n samples is nearly
// as like itself as at any; ok is false where it is like itself at none.
func firstPeriod(ac []float32, n int, minPeriod float64) (h hit, ok bool) {
	if ac[0] <= 0 {
		return h, false
	}
	lagMax := int(float64(n) / 2.5)
	rho := make([]float64, lagMax+2)
	for t := range rho {
		rho[t] = float64(ac[t]/ac[0]) * float64(n) / float64(n-t)
	}
	best := 0.0
	var peaks []int
	for t := max(1, int(minPeriod)); t <= lagMax; t++ {
		if rho[t] > rho[t-1] && rho[t] >= rho[t+1] && rho[t] > 0.15 {
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
		return hit{period: float64(t) + d, rho: rho[t]}, true
	}
	return h, false
}

// joinHits gathers neighbouring windows of like period to combs, the best first.
func joinHits(hits []hit, window int) []comb {
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
		c.lo, c.hi = hits[first].at-float64(window)/2, hits[last].at+float64(window)/2
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
func likeMarks(py pyramid, c candidate) float64 {
	lv := py.forSpacing(c.comb.periodPx)
	f, cb := scaleFrame(c.frame, lv.k), scaleComb(c.comb, lv.k)
	T := cb.periodPx
	half := math.Max(6*T, 40)
	lo, hi := math.Max(cb.center-half, f.Lo), math.Min(cb.center+half, f.Hi)
	near := rowsContrast(lv.Plane, f, lo, hi, cb.depth[0], cb.depth[1], T)
	far := rowsContrast(lv.Plane, f, lo, hi, 7*T, 10*T, T)
	out := rowsContrast(lv.Plane, f, lo, hi, -4*T, -1.5*T, T)
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
