package calib

import "math"

// On a long ruler far away the marks are hardly resolved, but numbers and the marks
// of whole units are, and they are a comb themselves. Laid over one another at its
// teeth, units show into how many equal parts each is divided, though no single unit
// does: what comes again so many times a unit stands out of what the grain leaves
// over by the root of their number.

const (
	fewestUnits = 4    // laid over one another at least
	leastUnitPx = 16.0 // units shorter than this show their marks themselves
	unitsFilled = 0.75 // of a unit comb's teeth, at least so many must be seen,
	unitsUneven = 0.05 // and as evenly as this, in units
	unitsLooked = 4    // combs of units that are followed in a strip at most
	// leastUnitRho is the autocorrelation of a comb of units, all along the edge.
	leastUnitRho = 0.1
	// partsStand is how far a number of parts must stand out of what other numbers
	// of parts show, in amplitude.
	partsStand = 4.0
)

// numbersOfParts are the numbers of equal parts that a unit may have, or what else
// comes again on a ruler: half of one or two.
func numbersOfParts() [7]int { return [7]int{4, 5, 8, 10, 16, 20, 32} }

// unitCombs are the combs of marks that a comb of units in a strip is divided into.
func unitCombs(st strip, lo float64, units []comb) []comb {
	var out []comb
	looked := 0
	for _, u := range units {
		if u.periodPx < leastUnitPx || u.strength < leastUnitRho*float64(st.cols)/(combWindow/2) || looked == unitsLooked {
			continue
		}
		looked++
		at, ok := followUnits(st, lo, u)
		if !ok {
			continue
		}
		for _, d := range [3][2]float64{{1, 5}, {3, 10}, {6, 20}} {
			high := highPass(st.profile(d[0], d[1]), int(math.Max(2, u.periodPx/8)))
			k := partsOf(high, lo, at)
			if k == 0 || u.periodPx/float64(k) < finestPx {
				continue
			}
			teeth := teethOf(high, lo, at, k)
			if k%2 == 0 && everySecondBlank(high, lo, teeth) {
				k /= 2
				teeth = teethOf(high, lo, at, k)
			}
			out = append(out, comb{periodPx: u.periodPx / float64(k), center: u.center, lo: u.lo, hi: u.hi, strength: u.strength, depth: d, teeth: teeth})
		}
	}
	return out
}

// followUnits is where the teeth of a unit comb stand along the edge.
func followUnits(st strip, lo float64, u comb) (at []float64, ok bool) {
	prof := st.profile(u.depth[0], u.depth[1])
	for _, dark := range [2]bool{true, false} {
		l := ladder{}
		l.rungs, _ = track(markResponse(prof, u.periodPx, dark), lo, u.center, u.periodPx)
		if len(l.rungs) <= fewestUnits {
			continue
		}
		l.summarise()
		if l.filled >= unitsFilled && l.unevenness() < unitsUneven && len(l.rungs) > len(at) {
			at = l.smoothed()
		}
	}
	return at, len(at) > fewestUnits
}

// partsOf is the number of parts that what lies between the teeth is divided into;
// 0 where none stands out.
func partsOf(prof []float64, lo float64, at []float64) int {
	const most = 40
	var amp [most]float64
	for k := 1; k < most; k += severalParts {
		var x, y [severalParts]float64
		for i := range len(at) - 1 {
			dx, dy := partsWithin(prof, lo, at[i], at[i+1], k)
			for j := range x {
				x[j], y[j] = x[j]+dx[j], y[j]+dy[j]
			}
		}
		for j := range x {
			if k+j < most {
				amp[k+j] = math.Hypot(x[j], y[j])
			}
		}
	}
	parts, stands := 0, partsStand
	for _, k := range numbersOfParts() {
		var beside []float64
		for d := -3; d <= 3; d++ {
			if j := k + d; d != 0 && j > 0 && j < most {
				beside = append(beside, amp[j])
			}
		}
		if q := amp[k] / math.Max(median(beside), 1e-9); q > stands {
			parts, stands = k, q
		}
	}
	return parts
}

// severalParts is how many numbers of parts are looked at together, since each alone
// would wait for its own last sum.
const severalParts = 3

// partsWithin are the amplitudes, as vectors, of k waves between two places, of one
// more and so on.
func partsWithin(prof []float64, lo, from, to float64, k int) (x, y [severalParts]float64) {
	first := max(0, int(math.Ceil(from-lo)))
	var sn, cs, s, c [severalParts]float64
	for j := range s {
		turn := 2 * math.Pi * float64(k+j)
		sn[j], cs[j] = math.Sincos(turn / (to - from))
		s[j], c[j] = math.Sincos(turn * (float64(first) + lo - from) / (to - from))
	}
	x0, x1, x2, y0, y1, y2 := 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
	s0, s1, s2, c0, c1, c2 := s[0], s[1], s[2], c[0], c[1], c[2]
	for j := first; j < len(prof) && float64(j)+lo < to; j++ {
		if v := prof[j]; v == v {
			x0, y0 = x0+v*c0, y0+v*s0
			x1, y1 = x1+v*c1, y1+v*s1
			x2, y2 = x2+v*c2, y2+v*s2
		}
		s0, c0 = s0*cs[0]+c0*sn[0], c0*cs[0]-s0*sn[0]
		s1, c1 = s1*cs[1]+c1*sn[1], c1*cs[1]-s1*sn[1]
		s2, c2 = s2*cs[2]+c2*sn[2], c2*cs[2]-s2*sn[2]
	}
	return [severalParts]float64{x0, x1, x2}, [severalParts]float64{y0, y1, y2}
}

// teethOf are the places at which the k parts of units are lightest. The teeth of
// units are numbers mostly, which stand now a little before their mark and now
// behind it, so that the parts tell their own places, by a few units at a time.
func teethOf(prof []float64, lo float64, at []float64, k int) []float64 {
	const few = 3 // to either side
	n := len(at) - 1
	xs, ys := make([]float64, n), make([]float64, n)
	for i := range n {
		x, y := partsWithin(prof, lo, at[i], at[i+1], k)
		xs[i], ys[i] = x[0], y[0]
	}
	var teeth []float64
	last := math.NaN()
	for i := range n {
		var x, y float64
		for j := max(0, i-few); j <= min(n-1, i+few); j++ {
			w := 1 - math.Abs(float64(j-i))/(few+1)
			x, y = x+w*xs[j], y+w*ys[j]
		}
		first := math.Atan2(y, x) / (2 * math.Pi) // in parts
		if !math.IsNaN(last) {
			first += math.Round(last - first)
		}
		last = first
		for j := range k {
			teeth = append(teeth, at[i]+(at[i+1]-at[i])*(first+float64(j))/float64(k))
		}
	}
	return teeth
}

// everySecondBlank says whether marks stand only at every second tooth of a comb:
// narrow marks make waves of half their spacing, too.
func everySecondBlank(prof []float64, lo float64, teeth []float64) bool {
	var sum, n [2][2]float64 // light or dark, even or odd
	for i, x := range teeth[:len(teeth)-1] {
		for dark, at := range [2]float64{x - lo, (x+teeth[i+1])/2 - lo} {
			j := int(at)
			if !(at >= 0) || j+1 >= len(prof) {
				continue
			}
			if v := prof[j] + (prof[j+1]-prof[j])*(at-float64(j)); v == v {
				if dark == 1 {
					v = -v
				}
				sum[dark][i%2], n[dark][i%2] = sum[dark][i%2]+v, n[dark][i%2]+1
			}
		}
	}
	const blank = 0.3 // of the contrast of the others; marks are alike at a ruler's edge
	least, most := 0.0, 0.0
	for dark := range sum {
		a, b := sum[dark][0]/math.Max(n[dark][0], 1), sum[dark][1]/math.Max(n[dark][1], 1)
		if math.Max(a, b) > most {
			least, most = math.Min(a, b), math.Max(a, b)
		}
	}
	return least < blank*most
}
