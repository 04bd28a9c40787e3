package vision

import "math"

// view is where the camera stands over a row of bands: footIn is where along the
// ruler its foot lies, perMM is 1 mm over its height.
type view struct {
	footIn, perMM float64
}

// wiresOrBars is how much better a row is drawn by narrow solid strips, wires, with
// a wide opening between them than by wide ones, bars, with a narrow opening: ln of
// what the bars leave of it unexplained over what the wires leave, negative where
// bars draw it better. Near 0 where no side faces are seen, for then the two are the
// same picture.
//
// A strip looks the same in all stretches of the row, but for the light. Its side
// face lies beside it, towards the camera's foot, as wide as the strip's depth makes
// it there; it is of one tone in each stretch, as is what lies beneath. f is folded
// by l, at are the places of its stretches.
func (f folded) wiresOrBars(l lattice, at []float64, v view, pxPerBand float64) float64 {
	// Borders are blurred over so much and left out.
	const blurPx = 1.2
	border := max(1, int(math.Round(blurPx/pxPerBand*arcBins)))
	narrowest, widest := 2*border+2, arcBins/2-1 // of the narrow arc, bins
	// Noise, and bands unlike each other, are left by both.
	const floor = 0.005
	if len(f) < 3 || narrowest > widest {
		return 0
	}
	half := float64(l.count-1) / 2 * l.T
	// Wires and slots are 2 to 4 mm deep.
	wires, bars := math.Inf(1), math.Inf(1)
	for _, tilt := range [...]float64{-4, -2, 0, 2, 4} {
		s := make([]binSums, len(f)+1) // the last is that of the mean
		var mean [arcBins]float64
		var light, all float64
		for _, g := range f {
			light += medianOf(g[:]) / float64(len(f))
		}
		for i, g := range f {
			// what the fold shows is moved, for its spacing may be a little off
			move := int(math.Round(tilt * (at[i] - l.middle()) / half))
			const veil = 8 // grey levels: what is black has no light to go by
			gain := (light + veil) / (medianOf(g[:]) + veil)
			var h [arcBins]float64
			for j := range h {
				h[j] = (g[(j+move+arcBins)%arcBins] - light/gain) * gain
				mean[j] += h[j] / float64(len(f))
				all += h[j] * h[j] / float64(len(f)*arcBins)
			}
			s[i].add(h)
		}
		s[len(f)].add(mean)
		if all == 0 {
			return 0
		}
		for _, depthMM := range [...]float64{2.2, 3, 4} {
			sides := make([]int, len(f))
			for i := range f {
				sides[i] = int(math.Round(depthMM * v.perMM * (at[i] - v.footIn) / l.T * arcBins))
			}
			for start := range arcBins {
				for narrow := narrowest; narrow <= widest; narrow++ {
					wires = math.Min(wires, leaves(s, sides, start, narrow, border)/all+floor)
					bars = math.Min(bars, leaves(s, sides, start, arcBins-narrow, border)/all+floor)
				}
			}
		}
	}
	return math.Log(bars / wires)
}

// leaves is what strips from start on, wide bins wide, leave of the stretches, the
// mean of its squares; sides are how wide their side faces are, bins, positive where
// they lie before the strip.
func leaves(s []binSums, sides []int, start, wide, border int) float64 {
	n := len(s) - 1
	a, b := start+arcBins, start+wide+arcBins
	var left, bins float64
	one := func(i, a, b int) {
		if a, b = a+border, b-border; b > a {
			left += s[i].apart(a, b)
			bins += float64(b - a)
		}
	}
	// The strip, less what all stretches have in common; each has its own light.
	if lo, hi := a+border, b-border; hi > lo {
		for i := range n {
			left += s[i].apart(lo, hi)
		}
		left -= float64(n) * s[n].apart(lo, hi)
		bins += float64((hi - lo) * (n - 1))
	}
	for i := range n {
		side := max(min(sides[i], arcBins-wide), wide-arcBins)
		if side > 0 {
			one(i, b, a+arcBins-side)
			one(i, a+arcBins-side, a+arcBins)
		} else {
			one(i, b, b-side)
			one(i, b-side, a+arcBins)
		}
	}
	return left / math.Max(bins, 1)
}

// binSums are the sums of a stretch's bins, and of their squares, up to each.
type binSums struct {
	sum, squares [4*arcBins + 1]float64
}

func (s *binSums) add(g [arcBins]float64) {
	for j := range len(s.sum) - 1 {
		v := g[j%arcBins]
		s.sum[j+1], s.squares[j+1] = s.sum[j]+v, s.squares[j]+v*v
	}
}

// apart is what bins a to b are off their mean, squared.
func (s *binSums) apart(a, b int) float64 {
	d := s.sum[b] - s.sum[a]
	return math.Max(0, s.squares[b]-s.squares[a]-d*d/float64(b-a))
}
