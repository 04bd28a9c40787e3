package calib

import (
	"math"
	"sort"
)

// sides are the half width of a mark and the distance from its middle to where
// blank ruler is looked for, px.
func (l *ladder) sides() (w, gap float64) { return sidesOf(l.periodPx) }

func sidesOf(periodPx float64) (w, gap float64) {
	w = math.Max(0.5, 0.06*periodPx)
	return w, math.Min(0.5*periodPx, math.Max(0.33*periodPx, 1.8+w))
}

// sideContrasts are how much a place differs from the blank ruler beside it,
// positive for a mark, at depth row r and column c: against the side it differs
// from less, and against the side it differs from more. NaN outside the picture.
func (l *ladder) sideContrasts(s strip, r int, c, w, gap float64) (less, more float64) {
	row := s.v[r*s.cols : (r+1)*s.cols]
	var x, y float64
	if c-gap-w >= 0 && c+gap+w < float64(s.cols-1) {
		in := (inside(row, c-w) + inside(row, c) + inside(row, c+w)) / 3
		x = in - (inside(row, c-gap-w)+inside(row, c-gap+w))/2
		y = in - (inside(row, c+gap-w)+inside(row, c+gap+w))/2
	} else {
		in := (between(row, c-w) + between(row, c) + between(row, c+w)) / 3
		x = in - (between(row, c-gap-w)+between(row, c-gap+w))/2
		y = in - (between(row, c+gap-w)+between(row, c+gap+w))/2
	}
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

// inside is between for an index that is known to lie inside.
func inside(v []float32, x float64) float64 {
	i := int(x)
	a, b := v[i], v[i+1]
	return float64(a) + float64(b-a)*(x-float64(i))
}

// findShear measures the lean of the marks: the lean at which they stay
// darkest (or lightest) in the base zone, where all of them are; below it there
// are digits, which lie as well along other leans.
func (l *ladder) findShear(s strip) {
	d0, d1 := l.base[0], math.Min(l.maxDepth, math.Max(l.base[1], l.base[0]+leastLever))
	step := math.Max(0.5, (d1-d0)/16)
	var depths []float64
	var rows [][]float32
	for d := d0; d <= d1; d += step {
		if r := int((d-s.d0)/s.step + 0.5); r < s.rows {
			depths, rows = append(depths, d), append(rows, l.lesserContrasts(s, r))
		}
	}
	mid := (l.base[0] + l.base[1]) / 2 // where the marks were read
	most := 1.2 * l.contrast
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
				v := between(rows[i], g.along-s.lo+sh*(d-mid))
				if v == v {
					acc += math.Min(v, most) // a digit is often the darker
					n++
				}
			}
			if n > 0 && acc > 0 {
				sum += acc / float64(n)
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
	for range 3 {
		l.refineShear(s, d0, d1, mid)
	}
	// Bring the marks to the edge.
	for i := range l.rungs {
		l.rungs[i].along -= l.shearAt(l.rungs[i].along) * mid
	}
}

// refineShear fits the lean to where the middle of each mark lies in the rows
// between d0 and d1: wide marks are as dark a little beside their middle, so that
// their tone alone does not tell it. Marks were read at the depth mid.
func (l *ladder) refineShear(s strip, d0, d1, mid float64) {
	_, gap := l.sides()
	var at, lean, weight []float64
	for _, g := range l.rungs {
		if !g.found {
			continue
		}
		sh := l.shearAt(g.along)
		var n, sd, sx, sdd, sdx float64
		for r := 0; r < s.rows; r++ {
			d := s.d0 + float64(r)*s.step
			if d < d0 || d > d1 {
				continue
			}
			if x, w := l.middleOf(s, r, g.along-s.lo+sh*(d-mid), gap); w > 0 {
				n, sd, sx, sdd, sdx = n+1, sd+d, sx+x, sdd+d*d, sdx+d*x
			}
		}
		if v := n*sdd - sd*sd; n >= 3 && v > 0 {
			at, lean, weight = append(at, g.along/1000), append(lean, (n*sdx-sd*sx)/v), append(weight, v)
		}
	}
	if len(at) < 8 {
		return
	}
	// least squares in which marks that stand out count little (Cauchy weights)
	var c [2]float64
	spread := math.Inf(1)
	for range 6 {
		var w, wa, wl, waa, wal float64
		for i := range at {
			q := weight[i]
			if z := (lean[i] - c[0] - c[1]*at[i]) / spread; !math.IsInf(spread, 1) {
				q /= 1 + z*z
			}
			w, wa, wl, waa, wal = w+q, wa+q*at[i], wl+q*lean[i], waa+q*at[i]*at[i], wal+q*at[i]*lean[i]
		}
		const steady = 0.02 // thousands of px: keeps the slope of a short row at nothing
		va := waa - wa*wa/w
		c[1] = (wal - wa*wl/w) / (va + steady*steady*w)
		c[0] = (wl - c[1]*wa) / w
		off := make([]float64, len(at))
		for i := range at {
			off[i] = math.Abs(lean[i] - c[0] - c[1]*at[i])
		}
		spread = math.Max(1.5*median(off), 1e-4)
	}
	// What scatters is the marks' own (White's estimate, Econometrica 48, 1980), at the
	// middle of the row, where the two terms are told apart.
	var w, qq float64
	for i := range at {
		r := lean[i] - c[0] - c[1]*at[i]
		q := weight[i] / (1 + r*r/spread/spread)
		w, qq = w+q, qq+q*q*r*r
	}
	l.shearU = math.Sqrt(qq) / w
	l.shear[0] += c[0]
	l.shear[1] = min(max(l.shear[1]+c[1], -mostTurn), mostTurn)
}

const (
	leastLever = 5    // px of depth that tell a lean at least
	mostTurn   = 0.25 // lean by a thousand px along the edge
)

// middleOf is how far the middle of a mark lies from column c of row r, and how
// dark (or light) it is in all; 0, 0 where there is none.
func (l *ladder) middleOf(s strip, r int, c, gap float64) (off, weight float64) {
	row := s.v[r*s.cols : (r+1)*s.cols]
	blank := (between(row, c-gap) + between(row, c+gap)) / 2
	var sum float64
	n := int(2*gap) + 1
	if blank != blank {
		return 0, 0
	}
	for i := range n { // all of it lies between the two blanks
		x := -gap + 2*gap*(float64(i)+0.5)/float64(n)
		v := inside(row, c+x) - blank
		if l.dark {
			v = -v
		}
		if v > 0 { // false for NaN
			sum, weight = sum+v*x, weight+v
		}
	}
	if weight < 0.3*l.contrast {
		return 0, 0
	}
	return sum / weight, weight
}

// measureLengths measures how deep each mark runs: the depth at which its
// contrast has fallen to less than half of what it is near the edge. Digits stand
// under short marks and beside long ones, so that there are four ways to see it:
// by both sides of every mark; by one side of those that are longer than the
// shortest for all that; by one side of every mark; by one side of those, too, that
// one side sees run on as whole units' marks do, for what stands right under a short
// mark is seen past it a little, and a number as wide as a few marks hides the end of
// its own on one side.
func (l *ladder) measureLengths(s strip) (ways [4][]float64) {
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
		known := 0
		look := func(rows int) {
			for ; known < rows; known++ {
				d := s.d0 + float64(known)*s.step
				less[known], more[known] = l.sideContrasts(s, known, g.along-s.lo+sh*d, w, gap)
			}
		}
		ways[0][i] = l.endOf(s, less, look)
		ways[2][i] = math.Max(ways[0][i], l.endOf(s, more, look))
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
		ways[3][i] = ways[1][i]
		if ways[2][i] > runsOn*minor {
			ways[3][i] = ways[2][i]
		}
	}
	return ways
}

// runsOn is how many times as long as the shortest a mark is that runs on beside a
// number. Whole units' marks are 1.9 times as long as the shortest or longer (see
// tenthsMinor), the feet of numbers under short marks made them 1.2 to 1.3 times as
// long on two drawn rulers.
const runsOn = 1.5

// chooseLengths takes the lengths of which the hierarchy tells most, and says the
// score of their best reading; -Inf where none has one.
func (l *ladder) chooseLengths(s strip, ways [4][]float64) float64 {
	best := math.Inf(-1)
	var lengths []float64
	alike := 1
	hierarchy := newDecoder(*l)
	try := func(own []float64, of int) {
		l.alike = of
		for i, n := range own {
			l.rungs[i].length = n
		}
		if v := bestScore(hierarchy.read(*l)); v > best {
			lengths, alike, best = own, of, v
		}
	}
	last := len(ways) - 1
	for _, own := range ways[:last] {
		try(own, 1)
	}
	if best < clearScore { // numbers stand in the way of the others
		try(ways[last], 1)
	}
	if best < clearScore && len(l.rungs) >= fewestToFold && l.runOn(ways[0]) < mostRunOn {
		if c := l.contrasts(s); !l.everySecondEmpty(s, c) {
			for _, by := range folds() {
				if own, of := l.measureFolded(s, c, by); of > 0 {
					try(own, of)
				}
			}
		}
	}
	if lengths == nil {
		lengths = ways[0]
	}
	l.alike = alike
	for i, n := range lengths {
		l.rungs[i].length = n
	}
	return best
}

// bestScore is that of the first of some readings, which is the best; -∞ where there is
// none.
func bestScore(rds []reading) float64 {
	if len(rds) == 0 {
		return math.Inf(-1)
	}
	return rds[0].score
}

// mostRunOn is the share of marks that run on past where any would end, from which on
// they are wires or lines of a grain and not laid over one another.
const mostRunOn = 0.75

// runOn is that share among the rungs that were found.
func (l *ladder) runOn(lengths []float64) float64 {
	on, found := 0.0, 0.0
	for i, g := range l.rungs {
		if g.found {
			found++
			if lengths[i] > deepest*l.maxDepth {
				on++
			}
		}
	}
	return on / math.Max(found, 1)
}

// deepest is the part of the depth that is looked at to which a mark may run.
const deepest = 0.96

// seenOutside is how much of the marks lo…hi is seen just outside of the edge, in parts
// of their contrast at the base. Past a ruler's ends a ladder may run on among wires, which
// are seen on both sides of the edge, and ten times as clearly as marks.
func (l *ladder) seenOutside(s strip, lo, hi int) float64 {
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
				if !g.found || g.n < lo || g.n > hi {
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
// look fills in the first so many rows of c, where that was not done.
func (l *ladder) endOf(s strip, c []float64, look func(rows int)) float64 {
	var ref float64
	n := 0
	for r := range c {
		d := s.d0 + float64(r)*s.step
		if d > l.base[1] {
			break
		}
		look(r + 1)
		if v := c[r]; d >= l.base[0] && !math.IsNaN(v) {
			ref += v
			n++
		}
	}
	if n == 0 || ref <= 0 {
		return 0
	}
	ref /= float64(n)
	// running mean over a few rows, so that grain does not end a mark; from within
	// the base zone on, for what lies beside the ruler blurs over its edge
	k := min(max(1, int(0.12*l.periodPx/s.step)), 3)
	const blank = 0.15 // what is left of a mark's contrast where there is none
	low, last, end := 0, 0.0, 0.0
	first := max(0, int((l.base[0]+0.25*(l.base[1]-l.base[0])-s.d0)/s.step))
	for r := first; r < s.rows; r++ {
		look(min(s.rows, r+k+1))
		var m float64
		nn := 0
		for j := max(first, r-k); j <= min(s.rows-1, r+k); j++ {
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
			d := s.d0 + float64(r)*s.step
			if end == 0 && d < l.base[1] {
				continue // worn off at the edge
			}
			if low == 0 && last > gone { // it went between two rows
				end += s.step * (last - gone) / (last - m)
			}
			low++
			if low > k+1 || m < blank*ref && d > l.base[1] {
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

// clearOfEdge is the depth in px from which on an edge's own blur does not show.
const clearOfEdge = 1.5

// seenBetween is how much of marks is seen halfway between the marks lo…hi of the
// ladder, in parts of their own contrast: near 1 where only every second mark of a finer
// row was read. It is looked for row by row from the edge on, since the finest marks
// are the shortest; and not past the ruler's ends, where wires stand at any places.
func (l *ladder) seenBetween(s strip, lo, hi int) float64 {
	w, gap := sidesOf(l.periodPx / 2)
	var on, mid []float64
	for r := 0; r < s.rows; r++ {
		d := s.d0 + float64(r)*s.step
		if d < clearOfEdge || d > l.base[1] {
			continue
		}
		var sums [2]float64
		var n [2]float64
		add := func(i int, along float64) {
			if v, _ := l.sideContrasts(s, r, along-s.lo+l.shearAt(along)*d, w, gap); v == v {
				sums[i] += v
				n[i]++
			}
		}
		for i := 1; i < len(l.rungs); i++ {
			a, b := l.rungs[i-1], l.rungs[i]
			if a.found && b.found && a.n >= lo && b.n <= hi {
				add(0, a.along)
				add(1, (a.along+b.along)/2)
			}
		}
		if n[0] > 0 && n[1] > 0 {
			on, mid = append(on, sums[0]/n[0]), append(mid, sums[1]/n[1])
		}
	}
	// over a stretch as deep as marks are at least, or all there is
	most := 0.0
	run := min(len(on), max(1, int(math.Max(2, 0.3*l.periodPx)/s.step)))
	for i := 0; i+run <= len(on); i++ {
		var a, b float64
		for j := i; j < i+run; j++ {
			a, b = a+on[j], b+mid[j]
		}
		if a > 0 {
			most = math.Max(most, b/a)
		}
	}
	return most
}
