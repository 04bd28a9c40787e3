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
//
// Rigid heddles are made up to 15 dents per inch (common practice, no source),
// so slots stand no closer than finestSlots.
func kindOf(p photo.Plane, s calib.Scale, l lean, t tone, ppi float64, told Kind) (k Kind, probability float64, dents int) {
	zones := clear(toneByDepth(p, s, l, t, ppi))
	switch {
	// The tone is that of slots alone; in one zone, and only there, it doubles.
	case t.PerInch <= finestSlots && holeZone(zones, ppi):
		k, probability, dents = RigidHeddle, 0.99, 2
	// The edge lies in the zone of holes: beyond it the tone halves.
	case t.PerInch <= 2*finestSlots && halves(zones, ppi):
		k, probability, dents = RigidHeddle, 0.98, 1
	default:
		k, probability, dents = Reed, 0.97, 1
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

const finestSlots = 8.0 // per inch

// clear keeps the zones in which the bands stand out: not the table, not the
// baulks, not the ruler's plain middle.
func clear(zones []zone) []zone {
	var top float64
	for _, z := range zones {
		if z.depth < 0 {
			top = math.Max(top, math.Max(z.f1, math.Max(z.f2, z.half)))
		}
	}
	var out []zone
	for _, z := range zones {
		if math.Max(z.f1, math.Max(z.f2, z.half)) >= 0.35*top {
			out = append(out, z)
		}
	}
	return out
}

// onRulerMarks says whether a depth may still be the ruler's own marks, whose
// tones mean nothing for the bands: a ruler is up to two inches wide.
func onRulerMarks(depth, ppi float64) bool { return depth > -0.05*ppi && depth < 2*ppi }

// holeZone finds a stretch of depths where openings stand half-way between the
// usual ones: the double frequency gains what the single one loses.
func holeZone(zones []zone, ppi float64) bool {
	run, sum, best, usual := 0, 0.0, 0.0, 0
	seenUsual, plain := false, 0 // plain: usual depths in a row
	for i, z := range zones {
		if z.depth > -0.05*ppi && z.depth < 0.1*ppi {
			seenUsual, plain = false, 0 // a ruler may hide what lies between
			continue
		}
		// what is usual hereabouts: light and highlights change along a wire
		var f1, f2 []float64
		for j := max(0, i-14); j <= min(len(zones)-1, i+14); j++ {
			f1 = append(f1, zones[j].f1)
			f2 = append(f2, zones[j].f2)
		}
		u1, u2 := medianOf(f1), medianOf(f2)
		gain := math.Log(z.f2/u2+1e-9) - math.Log(z.f1/u1+1e-9)
		switch {
		case z.f2 > 1.06*u2 && z.f1 < 0.95*u1 && gain > 0.12 && z.f2 > 0.3*u1:
			if !onRulerMarks(z.depth, ppi) || seenUsual {
				run++
				sum += math.Min(gain, 1.5)
				if run >= 2 {
					best = math.Max(best, sum)
				}
			}
		default:
			run, sum = 0, 0
			if z.f1 > 0.8*u1 && z.half < 0.3*z.f1 {
				usual++
				plain++
				seenUsual = seenUsual || plain >= 4
			} else {
				plain = 0
			}
		}
	}
	return best >= 0.7 && usual >= 4
}

// halves finds a stretch outside the ruler where the tone has half the
// frequency that it has at the edge.
func halves(zones []zone, ppi float64) bool {
	run, best := 0, 0
	for _, z := range zones {
		if z.half > 1.2*z.f1 && !onRulerMarks(z.depth, ppi) {
			run++
			best = max(best, run)
		} else {
			run = 0
		}
	}
	return best >= 4
}

// toneByDepth measures the tone in rows from far on one side of the ruler to far
// on the other, in windows short enough that a small error of lean is harmless.
func toneByDepth(p photo.Plane, s calib.Scale, l lean, t tone, ppi float64) []zone {
	var out []zone
	lo, hi := s.Lo, s.Hi
	T := ppi / t.PerInch
	step := math.Max(1, 0.012*ppi)
	const rowsPerZone = 2
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
