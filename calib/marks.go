package calib

import (
	"math"
	"sort"
)

// sides are the half width of a mark and the distance from its middle to where
// blank ruler is looked for, px.
func (l *ladder) sides() (w, gap float64) {
	w = math.Max(0.5, 0.06*l.periodPx)
	return w, math.Min(0.5*l.periodPx, math.Max(0.33*l.periodPx, 1.8+w))
}

// sideContrasts are how much a place differs from the blank ruler beside it,
// positive for a mark, at depth row r and column c: against the side it differs
// from less, and against the side it differs from more. NaN outside the picture.
func (l *ladder) sideContrasts(s strip, r int, c, w, gap float64) (less, more float64) {
	row := s.v[r*s.cols : (r+1)*s.cols]
	in := (between(row, c-w) + between(row, c) + between(row, c+w)) / 3
	x := in - (between(row, c-gap-w)+between(row, c-gap+w))/2
	y := in - (between(row, c+gap-w)+between(row, c+gap+w))/2
	if l.dark {
		x, y = -x, -y
	}
	if x > y {
		x, y = y, x
	}
	return x, y
}

// lesserContrasts are, by column, how much the places of row r differ from the
// blank ruler beside them, on the side they differ from less; NaN where either
// side is out of the picture.
func (l *ladder) lesserContrasts(s strip, r int) []float32 {
	w, gap := l.sides()
	row := s.v[r*s.cols : (r+1)*s.cols]
	out, mean := make([]float32, s.cols), make([]float32, s.cols)
	k := int(w)
	f := float32(w) - float32(k)
	for i := range mean {
		if i-k-1 < 0 || i+k+1 >= s.cols {
			mean[i] = nan32
			continue
		}
		mean[i] = (row[i] + (1-f)*(row[i-k]+row[i+k]) + f*(row[i-k-1]+row[i+k+1])) / 3
	}
	k = int(gap)
	f = float32(gap) - float32(k)
	for i := range out {
		if i-k-1 < 0 || i+k+1 >= s.cols {
			out[i] = nan32
			continue
		}
		x := mean[i] - (1-f)*mean[i-k] - f*mean[i-k-1]
		y := mean[i] - (1-f)*mean[i+k] - f*mean[i+k+1]
		if l.dark {
			x, y = -x, -y
		}
		out[i] = min(x, y)
	}
	return out
}

// between is the value at a fractional index, linear between neighbours; NaN
// outside.
func between(v []float32, x float64) float64 {
	i := int(x)
	if !(x >= 0) || i+1 >= len(v) {
		return math.NaN()
	}
	return float64(v[i]) + float64(v[i+1]-v[i])*(x-float64(i))
}

// findShear measures the lean of the marks: the lean at which they stay
// darkest (or lightest) below the base zone.
func (l *ladder) findShear(s strip) {
	d0, d1 := l.base[0], math.Min(l.maxDepth, l.base[1]*2.2+4)
	step := math.Max(1, (d1-d0)/16)
	var depths []float64
	var rows [][]float32
	for d := d0; d <= d1; d += step {
		if r := int((d-s.d0)/s.step + 0.5); r < s.rows {
			depths, rows = append(depths, d), append(rows, l.lesserContrasts(s, r))
		}
	}
	score := func(s0, s1 float64) float64 {
		var sum float64
		for _, g := range l.rungs {
			if !g.found {
				continue
			}
			sh := s0 + s1*g.along/1000
			var acc float64
			n := 0
			for i, d := range depths {
				v := between(rows[i], g.along-s.lo+sh*d)
				if v == v {
					acc += v
					n++
				}
			}
			if n > 0 && acc > 0 {
				sum += math.Min(acc/float64(n), 2*l.contrast)
			}
		}
		return sum
	}
	best := -1.0
	lim := math.Min(0.16, 0.35*l.periodPx/math.Max(1, (d0+d1)/2)+0.03)
	for s0 := -lim; s0 <= lim+1e-9; s0 += lim / 12 {
		if v := score(s0, 0); v > best {
			best = v
			l.shear = [2]float64{s0, 0}
		}
	}
	step0, step1 := lim/24, 0.03
	for it := 0; it < 5; it++ {
		improved := false
		for _, t := range [][2]float64{{step0, 0}, {-step0, 0}, {0, step1}, {0, -step1}} {
			c := [2]float64{l.shear[0] + t[0], l.shear[1] + t[1]}
			if math.Abs(c[1]) > 0.12 {
				continue
			}
			if v := score(c[0], c[1]); v > best {
				best, l.shear, improved = v, c, true
			}
		}
		if !improved {
			step0 /= 2
			step1 /= 2
		}
	}
	// Marks were read in the middle of the base zone: bring them to the edge.
	mid := (l.base[0] + l.base[1]) / 2
	for i := range l.rungs {
		l.rungs[i].along -= l.shearAt(l.rungs[i].along) * mid
	}
}

// measureLengths measures how deep each mark runs: the depth at which its
// contrast has fallen to less than half of what it is near the edge. Digits stand
// under short marks and beside long ones, so that there are three ways to see it:
// by both sides of every mark; by one side of those that are longer than the
// shortest for all that; by one side of every mark.
func (l *ladder) measureLengths(s strip) (ways [3][]float64) {
	w, gap := l.sides()
	less, more := make([]float64, s.rows), make([]float64, s.rows)
	for i := range ways {
		ways[i] = make([]float64, len(l.rungs))
	}
	var short []float64
	for i, g := range l.rungs {
		if !g.found {
			continue
		}
		sh := l.shearAt(g.along)
		for r := range less {
			d := s.d0 + float64(r)*s.step
			less[r], more[r] = l.sideContrasts(s, r, g.along-s.lo+sh*d, w, gap)
		}
		ways[0][i] = l.endOf(s, less)
		ways[2][i] = math.Max(ways[0][i], l.endOf(s, more))
		if ways[0][i] > 0 {
			short = append(short, ways[0][i])
		}
	}
	if len(short) == 0 {
		return ways
	}
	sort.Float64s(short)
	minor := short[len(short)/4]
	for i, n := range ways[0] {
		ways[1][i] = n
		if n > 1.25*minor+1 {
			ways[1][i] = ways[2][i]
		}
	}
	return ways
}

// chooseLengths takes the lengths of which the hierarchy tells most, and says the
// score of their best reading; -Inf where none has one.
func (l *ladder) chooseLengths(ways [3][]float64) float64 {
	way, best := 0, math.Inf(-1)
	set := func(way int) {
		for i, n := range ways[way] {
			l.rungs[i].length = n
		}
	}
	for i := range ways {
		set(i)
		if rds := decode(*l); len(rds) > 0 && rds[0].score > best {
			way, best = i, rds[0].score
		}
	}
	set(way)
	return best
}

// seenOutside is how much of the marks is seen just outside of the edge, in parts
// of their contrast at the base.
func (l *ladder) seenOutside(s strip) float64 {
	w, gap := l.sides()
	mean := func(d0, d1 float64) float64 {
		var sum float64
		n := 0
		for r := 0; r < s.rows; r++ {
			d := s.d0 + float64(r)*s.step
			if d < d0 || d > d1 {
				continue
			}
			for _, g := range l.rungs {
				if !g.found {
					continue
				}
				if v, _ := l.sideContrasts(s, r, g.along-s.lo+l.shearAt(g.along)*d, w, gap); v == v {
					sum += v
					n++
				}
			}
		}
		return sum / math.Max(1, float64(n))
	}
	base := mean(l.base[0], l.base[1])
	if base <= 0 {
		return 0
	}
	return math.Max(0, mean(s.d0, -math.Max(2, 0.25*l.periodPx))/base)
}

// endOf is the depth at which a mark's contrast c by row ends; 0 where it has none.
func (l *ladder) endOf(s strip, c []float64) float64 {
	var ref float64
	n := 0
	for r, v := range c {
		if d := s.d0 + float64(r)*s.step; d >= l.base[0] && d <= l.base[1] && !math.IsNaN(v) {
			ref += v
			n++
		}
	}
	if n == 0 || ref <= 0 {
		return 0
	}
	ref /= float64(n)
	// running mean over a few rows, so that grain does not end a mark
	k := min(max(1, int(0.12*l.periodPx/s.step)), 3)
	const blank = 0.15 // what is left of a mark's contrast where there is none
	low, last := 0, 0.0
	end := l.base[1]
	for r := max(0, int((l.base[0]-s.d0)/s.step)); r < s.rows; r++ {
		var m float64
		nn := 0
		for j := max(0, r-k); j <= min(s.rows-1, r+k); j++ {
			if !math.IsNaN(c[j]) {
				m += c[j]
				nn++
			}
		}
		if nn == 0 {
			break
		}
		m /= float64(nn)
		if gone := 0.45 * ref; m < gone {
			if low == 0 && last > gone { // it went between two rows
				end += s.step * (last - gone) / (last - m)
			}
			low++
			if low > k+1 || m < blank*ref {
				break
			}
		} else {
			low = 0
			end = s.d0 + float64(r)*s.step
		}
		last = m
	}
	return end
}
