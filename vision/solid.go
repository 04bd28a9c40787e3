package vision

import (
	"math"

	"dentcount/calib"
	"dentcount/photo"
)

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
// A strip looks the same in all stretches of the row, but for the light; a bar is
// flat. The side face lies beside it, towards the camera's foot, as wide as the
// strip's depth makes it there; it is of one tone in each stretch, as is what lies
// beneath. f is folded by l, at are the places of its stretches.
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
	// The spacing may have been read at another depth than the front's, and past the
	// ruler's ends that grows: so many bins at the row's ends.
	const most = 8.0
	even := f.evened()
	wires, bars := math.Inf(1), math.Inf(1)
	for tilt := -most; tilt <= most; tilt += 2 {
		s := make([]binSums, len(f)+1) // the last is that of the mean
		var mean [arcBins]float64
		var all float64
		for i, g := range even {
			// what the fold shows is moved, for its spacing may be a little off
			move := int(math.Round(tilt * (at[i] - l.middle()) / half))
			var h [arcBins]float64
			for j := range h {
				h[j] = g[(j+move+arcBins)%arcBins]
				mean[j] += h[j] / float64(len(f))
				all += h[j] * h[j] / float64(len(f)*arcBins)
			}
			s[i].add(h)
		}
		s[len(f)].add(mean)
		if all == 0 {
			return 0
		}
		// Wires and slots are 2 to 4 mm deep.
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

// pastEnds is the row of bands in the rows of pixels of a strip beside the edge, as
// far past both of the ruler's ends as the ruler is long, but no farther than
// farIn, and the lattice there. The farther from the camera's foot, the more of the
// side faces shows.
func (o besideRead) pastEnds(p photo.Plane, s calib.Scale, l lattice, ppi float64) (signal, lattice) {
	const farIn = 6
	more := math.Min(s.Hi-s.Lo, farIn*ppi)
	end := o.st.depth(o.st.rows - 1)
	lo, hi := s.Frame.Inside(p, s.Lo-more, s.Hi+more, o.st.d0, end)
	lo, hi = math.Min(lo, s.Lo), math.Max(hi, s.Hi)
	st := beside(p, s.Frame, math.Floor(lo), hi, o.st.d0, end, o.st.step)
	if st.cols == 0 {
		return o.sig, l
	}
	s.Lo, s.Hi = math.Floor(lo), hi
	g := onRuler(st.sheared(o.ln, 0, st.rows, 1), st.lo, s, ppi)
	before := math.Max(0, math.Floor((l.first-g.u0)/l.T-0.5))
	l.first -= before * l.T
	l.count = max(l.count+int(before), int((g.u0+float64(len(g.v))*g.du-l.first)/l.T+0.5))
	return g, l
}

// withBands leaves out the stretches past the row's ends, from which on there are
// hardly any bands: those whose contrast is less than a share of that of the row's.
func (f folded) withBands(at []float64, row lattice) (folded, []float64) {
	const share = 0.4
	contrast := make([]float64, len(f))
	var inside []float64
	in := func(i int) bool { return at[i] > row.first && at[i] < row.first+row.T*float64(row.count-1) }
	for i, g := range f {
		contrast[i] = spread(g[:])
		if in(i) {
			inside = append(inside, contrast[i])
		}
	}
	least := share * medianOf(inside)
	lo, hi := 0, len(f)
	for i := range f {
		if !in(i) && !(contrast[i] >= least) {
			if at[i] < row.middle() {
				lo = i + 1
			} else {
				hi = min(hi, i)
			}
		}
	}
	return f[lo:hi], at[lo:hi]
}

// leaves is what strips from start on, wide bins wide, leave of the stretches, the
// mean of its squares; sides are how wide their side faces are, bins, positive where
// they lie before the strip.
func leaves(s []binSums, sides []int, start, wide, border int) float64 {
	n := len(s) - 1
	a, b := start+arcBins, start+wide+arcBins
	var left, bins float64
	// What lies beneath, and the sides before the foot and past it, are about of one
	// tone each in all stretches: what their tones differ by counts by this much.
	const alike = 0.3
	var beneath, before, past tones
	one := func(t *tones, i, a, b int) {
		if a, b = a+border, b-border; b > a {
			left += s[i].apart(a, b)
			bins += float64(b - a)
			t.add(s[i].sum[b]-s[i].sum[a], float64(b-a))
		}
	}
	if lo, hi := a+border, b-border; hi > lo {
		for i := range n {
			left += s[i].apart(lo, hi)
		}
		bins += float64((hi - lo) * n)
		if wide < arcBins/2 {
			// A wire is round and has a light and a dark side, the same in all
			// stretches; a bar is flat.
			left -= float64(n) * s[n].apart(lo, hi)
			bins -= float64(hi - lo)
		}
	}
	for i := range n {
		side := max(min(sides[i], arcBins-wide), wide-arcBins)
		if side > 0 {
			one(&beneath, i, b, a+arcBins-side)
			one(&past, i, a+arcBins-side, a+arcBins)
		} else {
			one(&before, i, b, b-side)
			one(&beneath, i, b-side, a+arcBins)
		}
	}
	left += alike * (beneath.apart() + before.apart() + past.apart())
	return left / math.Max(bins, 1)
}

// tones are those of what should be of one tone: how many bins, their sum, and the
// squares of the stretches' means.
type tones struct{ n, sum, squares float64 }

func (t *tones) add(sum, n float64) {
	t.n, t.sum, t.squares = t.n+n, t.sum+sum, t.squares+sum*sum/n
}

// apart is what the stretches' means are off the mean of all, squared.
func (t tones) apart() float64 {
	if t.n == 0 {
		return 0
	}
	return math.Max(0, t.squares-t.sum*t.sum/t.n)
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
