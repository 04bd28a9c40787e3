package calib

import (
	"math"
	"sort"
)

// markResponse is a matched filter for narrow marks of spacing T: the mean over
// the mark's width less the mean of its surroundings, positive on a mark.
func markResponse(prof []float64, T float64, dark bool) []float64 {
	return responseOf(prof, sigmaOf(T), dark)
}

// sigmaOf is how wide marks are looked at that stand T px apart.
func sigmaOf(T float64) float64 { return math.Min(math.Max(0.13*T, 0.7), 2.6) }

// responseOf is markResponse for marks of a width.
func responseOf(prof []float64, sigma float64, dark bool) []float64 {
	half := int(math.Ceil(3.2 * sigma))
	k := make([]float64, 2*half+1)
	var mean float64
	for i := range k {
		x := float64(i-half) / sigma
		k[i] = (1 - x*x) * math.Exp(-x*x/2)
		mean += k[i]
	}
	mean /= float64(len(k))
	var norm float64
	for i := range k {
		k[i] -= mean
		norm += math.Abs(k[i])
	}
	sign := 2.0
	if dark {
		sign = -2.0
	}
	out := make([]float64, len(prof))
	for i := range prof {
		if i < half || i+half >= len(prof) {
			out[i] = math.NaN()
			continue
		}
		var v float64
		for j := range k {
			v += k[j] * prof[i-half+j]
		}
		out[i] = sign * v / norm
	}
	return out
}

type peak struct{ x, v float64 }

func peaksOf(r []float64, lo float64) []peak {
	var out []peak
	for i := 1; i+1 < len(r); i++ {
		a, b, c := r[i-1], r[i], r[i+1]
		if !(b > 0 && b > a && b >= c) {
			continue
		}
		d := 0.0
		if q := a - 2*b + c; q < 0 {
			d = 0.5 * (a - c) / q
		}
		out = append(out, peak{lo + float64(i) + d, b - 0.25*(a-c)*d})
	}
	return out
}

// trackTeeth takes up the marks that stand at the teeth of a comb, or halfway between
// them where they are dark ones; quality as of track.
func trackTeeth(r []float64, lo float64, teeth []float64, dark bool) ([]rung, float64) {
	pk := peaksOf(r, lo)
	if len(pk) < 8 || len(teeth) < 8 {
		return nil, 0
	}
	all := make([]rung, 0, len(teeth))
	var resp []float64
	j := 0
	for i, x := range teeth {
		T := teeth[min(i+1, len(teeth)-1)] - teeth[max(i-1, 0)]
		if 0 < i && i+1 < len(teeth) {
			T /= 2
		}
		if dark {
			x += T / 2
		}
		g := rung{n: i, along: x}
		for ; j < len(pk) && pk[j].x < x-astray*T; j++ {
		}
		for k := j; k < len(pk) && pk[k].x <= x+astray*T; k++ {
			if pk[k].v > g.resp {
				g.along, g.resp, g.found = pk[k].x, pk[k].v, true
			}
		}
		if g.found {
			resp = append(resp, g.resp)
		}
		all = append(all, g)
	}
	if len(resp) < 8 {
		return nil, 0
	}
	level := median(resp)
	for i, x := range teeth {
		if g := &all[i]; g.found && g.resp < faintest*level {
			*g = rung{n: i, along: x}
		}
	}
	for len(all) > 0 && !all[0].found {
		all = all[1:]
	}
	for len(all) > 0 && !all[len(all)-1].found {
		all = all[:len(all)-1]
	}
	if len(all) < 8 {
		return nil, 0
	}
	n0 := all[0].n
	for i := range all {
		all[i].n -= n0
	}
	return all, qualityOf(all)
}

const (
	// mostGone is how many marks in a row may be missing, longestGlare how many where
	// nothing at all is seen in their places; of the bridgeLooked places behind such a gap
	// bridgeFound must have a mark, for the ruler may have ended. Stated, no source.
	mostGone, longestGlare    = 7, 32
	bridgeLooked, bridgeFound = 12, 10

	astray   = 0.27 // how far from where it is foretold a mark is sought, in spacings
	faintest = 0.22 // how strong it must be, of what those before it are
)

// qualityOf grows with the number of marks found; bounded, so that a few glints do
// not outweigh a row of marks.
func qualityOf(all []rung) float64 {
	var resp []float64
	for _, g := range all {
		if g.found {
			resp = append(resp, g.resp)
		}
	}
	most := 1.5 * median(resp)
	var q float64
	for _, v := range resp {
		q += math.Min(v, most)
	}
	return q
}

// usualBend is how marks typically bend off a straight line along a plane that recedes, in
// spacings by the square of their number: 3 degrees of tilt at 150 mm with marks 2.5 mm apart
// (stated, no source).
const usualBend = 0.001

// bentLine is the parabola a + slope·k + bend·k² through marks, k counted from number n, by
// least squares in which few marks bend little (ridge). Those more than asFar off are left out:
// farther on a row that recedes bends otherwise.
func bentLine(marks []rung, n int) (slope, bend float64) {
	const asFar = 48 // stated, no source
	var k, kk, x []float64
	for _, g := range marks {
		if d := float64(g.n - n); g.found && math.Abs(d) <= asFar {
			k, kk, x = append(k, d), append(kk, d*d), append(x, g.along)
		}
	}
	a, b := straightLine(k, kk)
	c, d := straightLine(k, x)
	var sum, squares float64
	for i := range k {
		q := kk[i] - a - b*k[i]
		sum, squares = sum+q*(x[i]-c-d*k[i]), squares+q*q
	}
	const few = (usualUneven / usualBend) * (usualUneven / usualBend)
	bend = sum / (squares + few)
	return d - bend*b, bend
}

// track walks a lattice of spacing near T both ways from the place nearest to
// `from` where it is clearest. The local spacing may drift slowly. Quality
// grows with the number of marks found and their evenness.
func track(r []float64, lo, from, T float64) ([]rung, float64) {
	pk := peaksOf(r, lo)
	if len(pk) < 8 {
		return nil, 0
	}
	nearest := func(x, tol, floor float64) (peak, bool) {
		i, after := 0, len(pk)
		for from := x - tol; i < after; {
			if m := (i + after) / 2; pk[m].x >= from {
				after = m
			} else {
				i = m + 1
			}
		}
		var b peak
		ok := false
		bestScore := 0.0
		for ; i < len(pk) && pk[i].x <= x+tol; i++ {
			if pk[i].v < floor {
				continue
			}
			u := (pk[i].x - x) / tol
			if sc := pk[i].v * (1 - 0.5*u*u); sc > bestScore {
				b, ok, bestScore = pk[i], true, sc
			}
		}
		return b, ok
	}
	// Seed: the peak whose neighbours at ±1…±4 spacings are strongest, near `from` and where
	// the comb was seen: farther off may be wires, far stronger than marks, some four or five
	// of which stand as far apart as some of these.
	reach := math.Min(10*T, math.Max(combWindow/2, 4*T))
	var seed peak
	seedT, seedScore := T, -1.0
	for _, q := range pk {
		if math.Abs(q.x-from) > reach {
			continue
		}
		for _, k := range [5]float64{0.96, 0.98, 1, 1.02, 1.04} {
			sc := q.v
			for j := 1; j <= 4; j++ {
				for _, sgn := range [2]float64{-1, 1} {
					if m, ok := nearest(q.x+sgn*float64(j)*T*k, 0.22*T, 0); ok {
						sc += math.Min(m.v, 1.5*q.v)
					}
				}
			}
			if sc > seedScore {
				seed, seedT, seedScore = q, T*k, sc
			}
		}
	}
	if seedScore <= 0 {
		return nil, 0
	}
	// Whether no peak worth the name stands between two places: glare blots out a stretch
	// of marks, and leaves nothing in their place.
	blank := func(a, b, floor float64) bool {
		a, b = math.Min(a, b), math.Max(a, b)
		for i := sort.Search(len(pk), func(i int) bool { return pk[i].x > a }); i < len(pk) && pk[i].x < b; i++ {
			if pk[i].v >= floor {
				return false
			}
		}
		return true
	}
	// walk goes one way; lost says that it ends before a long gap. Over such a gap it goes
	// straight on, or, with the marks found on the other way, as the spacing of all drifts.
	walk := func(dir float64, other []rung) (out []rung, lost bool) {
		type nx struct {
			n    int
			x, v float64
		}
		hist := []nx{{0, seed.x, seed.v}}
		local := seedT * dir
		level, slope, bend := seed.v, 0.0, 0.0
		gone, n := 0, 0
		before, resumed, again := 0, 0, 0 // a long gap: places before it, the first one behind it, marks found there
		for {
			n++
			// predict from a line through the last marks
			last := hist[len(hist)-1]
			x := last.x + float64(n-last.n)*local
			if gone > mostGone && other != nil {
				if gone == mostGone+1 {
					slope, bend = bentLine(append(append([]rung{{along: seed.x, found: true}}, other...), out...), last.n*int(dir))
				}
				k := float64(n-last.n) * dir
				x = last.x + slope*k + bend*k*k
			}
			if x < lo || x > lo+float64(len(r)-1) {
				break
			}
			m, ok := nearest(x, astray*math.Abs(local), faintest*level)
			if !ok {
				gone++
				out = append(out, rung{n: n * int(dir), along: x})
				lost = lost || gone > mostGone
				if gone > mostGone && (before > 0 || gone > longestGlare || !blank(last.x+0.5*local, x+0.5*local, faintest*level)) {
					break
				}
				continue
			}
			if gone > mostGone {
				before, resumed = len(out)-gone+1, n // 0 is no gap
			}
			if before > 0 && n-resumed < bridgeLooked {
				again++
			}
			gone = 0
			out = append(out, rung{n: n * int(dir), along: m.x, resp: m.v, found: true})
			hist = append(hist, nx{n, m.x, m.v})
			if len(hist) > 14 {
				hist = hist[1:]
			}
			level += 0.15 * (math.Min(m.v, 2*level) - level)
			if len(hist) >= 4 {
				var sn, sx, snn, snx float64
				k := float64(len(hist))
				for _, h := range hist {
					sn += float64(h.n)
					sx += h.x
					snn += float64(h.n) * float64(h.n)
					snx += float64(h.n) * h.x
				}
				b := (k*snx - sn*sx) / (k*snn - sn*sn)
				if w := math.Min(1, k/12); b/local > 0.8 && b/local < 1.25 {
					local += w * (b - local)
				}
			}
		}
		if before > 0 && again < bridgeFound {
			out = out[:before]
		} else if before > 0 {
			lost = false
		}
		for len(out) > 0 && !out[len(out)-1].found {
			out = out[:len(out)-1]
		}
		return out, lost
	}
	up, upLost := walk(1, nil)
	down, downLost := walk(-1, nil)
	if upLost {
		if q, _ := walk(1, down); len(q) > len(up) {
			up = q
		}
	} else if downLost {
		if q, _ := walk(-1, up); len(q) > len(down) {
			down = q
		}
	}
	all := make([]rung, 0, len(up)+len(down)+1)
	for i := len(down) - 1; i >= 0; i-- {
		all = append(all, down[i])
	}
	all = append(all, rung{n: 0, along: seed.x, resp: seed.v, found: true})
	all = append(all, up...)
	n0 := all[0].n
	for i := range all {
		all[i].n -= n0
	}
	return all, qualityOf(all)
}
