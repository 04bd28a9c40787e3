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

// parts are the numbers of equal parts that a unit, or what else comes again on a
// ruler, may have: two inches to a half, in eighths to thirty-seconds, and two
// centimetres to a half.
func parts() [7]int { return [7]int{4, 5, 8, 10, 16, 20, 32} }

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
			out = append(out, comb{periodPx: u.periodPx / float64(k), center: u.center, lo: u.lo, hi: u.hi, strength: u.strength, depth: d})
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
	const bins = 96
	var fold, n [bins]float64
	for i := 0; i+1 < len(at); i++ {
		for b := range bins {
			x := at[i] + (at[i+1]-at[i])*(float64(b)+0.5)/bins - lo
			j := int(x)
			if x < 0 || j+1 >= len(prof) {
				continue
			}
			if v := prof[j] + (prof[j+1]-prof[j])*(x-float64(j)); v == v {
				fold[b] += v
				n[b]++
			}
		}
	}
	for b := range fold {
		if n[b] == 0 {
			return 0
		}
		fold[b] /= n[b]
	}
	var amp [bins/2 + 1]float64
	for k := 1; k < len(amp); k++ {
		var x, y float64
		for b, v := range fold {
			s, c := math.Sincos(2 * math.Pi * float64(k*b) / bins)
			x, y = x+v*c, y+v*s
		}
		amp[k] = math.Hypot(x, y)
	}
	best, stands := 0, partsStand
	for _, k := range parts() {
		// beside it, not at the parts' own parts
		var beside []float64
		for d := -3; d <= 3; d++ {
			if j := k + d; d != 0 && j > 0 && j < len(amp) {
				beside = append(beside, amp[j])
			}
		}
		if q := amp[k] / math.Max(median(beside), 1e-9); q > stands {
			best, stands = k, q
		}
	}
	return best
}
