package vision

import (
	"math"

	"dentcount/calib"
	"dentcount/photo"
)

// kindOf tells a reed from a rigid heddle. Across a reed the bands are the same
// from baulk to baulk. In a rigid heddle the slots run the whole height, and in
// the zone in its middle holes stand half-way between them: there, and only
// there, the pattern's frequency doubles. dents is how many dents one spacing
// of the tone t stands for.
func kindOf(p photo.Plane, s calib.Scale, l lean, t tone, ppi float64, told Kind) (k Kind, probability float64, dents int) {
	zones := toneByDepth(p, s, l, t, ppi)
	double, single, holes := 0, 0, 0
	for _, z := range zones {
		switch {
		case z.f2 > 1.5*z.f1:
			double++
		case z.f1 > 1.5*z.f2:
			single++
		}
		if z.half > 0.5*z.f1 && z.half > 0 {
			holes++
		}
	}
	n := double + single
	switch {
	// The tone is that of slots alone; elsewhere it doubles.
	case n >= 4 && double >= 2 && single >= 2 && double < single*2:
		k, probability, dents = RigidHeddle, 0.97, 2
	// The edge lies in the zone of holes: elsewhere the tone halves.
	case holes >= 3 && holes > len(zones)/3:
		k, probability, dents = RigidHeddle, 0.9, 1
	default:
		k, probability, dents = Reed, 0.95, 1
	}
	if told != "" && told != k {
		if told == Reed {
			return Reed, 0.9, 1
		}
		return RigidHeddle, 0.6, 2
	}
	return k, probability, dents
}

// zone is the strength of the bands' tone at one distance from the edge: at its
// frequency, at twice it, and at half of it.
type zone struct{ depth, f1, f2, half float64 }

// toneByDepth measures the tone in rows from far on one side of the ruler to far
// on the other, in windows short enough that a small error of lean is harmless.
func toneByDepth(p photo.Plane, s calib.Scale, l lean, t tone, ppi float64) []zone {
	var out []zone
	lo, hi := s.Lo, s.Hi
	T := ppi / t.PerInch
	step := math.Max(1, 0.012*ppi)
	const rowsPerZone = 4
	for d := -3 * ppi; d < 3*ppi; d += step * rowsPerZone {
		st := beside(p, s.Frame, lo, hi, d, d+step*(rowsPerZone-1), step)
		if st.cols == 0 {
			continue
		}
		prof := st.sheared(l, 0, st.rows, 1)
		if z, ok := windowTones(prof, T, lo, s); ok {
			z.depth = d
			out = append(out, z)
		}
	}
	return out
}

// windowTones averages the tone's strength over windows of eight spacings.
func windowTones(prof []float64, T, lo float64, s calib.Scale) (zone, bool) {
	w := int(8 * T)
	var z zone
	n := 0
	for a := 0; a+w < len(prof); a += w / 2 {
		mid := lo + float64(a+w/2)
		// the local spacing: perspective stretches it along the edge
		local := T * s.InPerPx((s.Lo+s.Hi)/2) / s.InPerPx(mid)
		seg := prof[a : a+w]
		var mean, sq float64
		ok := true
		for _, v := range seg {
			if v != v {
				ok = false
				break
			}
			mean += v
		}
		if !ok {
			continue
		}
		mean /= float64(w)
		amp := func(period float64) float64 {
			best := 0.0
			for _, k := range [3]float64{0.97, 1, 1.03} {
				var re, im float64
				for i, v := range seg {
					g := math.Sin(math.Pi * (float64(i) + 0.5) / float64(w))
					sn, cs := math.Sincos(2 * math.Pi * float64(i) / (period * k))
					re += (v - mean) * g * g * cs
					im += (v - mean) * g * g * sn
				}
				best = math.Max(best, math.Hypot(re, im)*4/float64(w))
			}
			return best
		}
		for _, v := range seg {
			sq += (v - mean) * (v - mean)
		}
		sd := math.Sqrt(sq / float64(w))
		a1, a2, ah := amp(local), amp(local/2), amp(local*2)
		// a window in which no tone carries the contrast says nothing
		if math.Max(a1, math.Max(a2, ah)) < 0.5*sd || sd < 1.2 {
			continue
		}
		z.f1 += a1
		z.f2 += a2
		z.half += ah
		n++
	}
	if n < 2 {
		return z, false
	}
	z.f1 /= float64(n)
	z.f2 /= float64(n)
	z.half /= float64(n)
	return z, true
}
