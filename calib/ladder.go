package calib

import (
	"math"
	"sort"

	"dentcount/photo"
)

// rung is one place of the ladder's lattice: a mark, or a gap where one was
// expected.
type rung struct {
	n      int     // whole number of lattice steps from the first
	along  float64 // px, at the tick line
	resp   float64 // strength of the mark, grey levels
	found  bool
	length float64 // px, how far the mark runs into the ruler
}

// ladder is an equally spaced row of marks along an edge.
type ladder struct {
	frame    Frame
	rungs    []rung
	periodPx float64 // typical spacing
	dark     bool    // marks darker than the ruler
	shear    [2]float64
	base     [2]float64 // depths at which every mark is seen, px
	maxDepth float64
	stepPx   float64 // between the depths at which marks are looked at
	filled   float64 // share of lattice places with a mark
	contrast float64 // typical strength, grey levels
	outside  float64 // contrast just outside of the edge, in parts of that at the base
}

// shearAt is the marks' lean, along px per depth px, at a position.
func (l ladder) shearAt(along float64) float64 { return l.shear[0] + l.shear[1]*along/1000 }

// readLadder reads every mark along the frame, starting from a comb seen there.
// ok is false where no ladder stands.
func readLadder(p photo.Plane, f Frame, c comb) (l ladder, ok bool) {
	T := c.periodPx
	lo, hi := f.Inside(p, f.Lo-4*T, f.Hi+4*T, 0, 2)
	if hi-lo < 6*T {
		return l, false
	}
	near := math.Min(math.Max(3*T+8, 16), 160)
	s := sampleStrip(p, f, lo, hi, -2, near, math.Max(1, near/50))
	if s.cols == 0 {
		return l, false
	}
	l.frame = f
	l.base = combDepths(s, c)
	prof := s.profile(l.base[0], l.base[1])
	var tracks [2]tracked
	for i, dark := range [2]bool{true, false} {
		tracks[i].dark = dark
		tracks[i].rungs, tracks[i].quality = track(markResponse(prof, T, dark), lo, c.center, T)
	}
	if tracks[1].quality > tracks[0].quality {
		tracks[0], tracks[1] = tracks[1], tracks[0]
	}
	// Between fine marks the blank ruler looks like marks, too: which of the two
	// they are, their lengths tell.
	best := math.Inf(-1)
	for _, t := range tracks {
		if t.quality < leastRival*tracks[0].quality || ok && (best > clearScore || T > fineMarksPx) {
			break
		}
		q := ladder{frame: f, base: l.base, rungs: t.rungs, dark: t.dark}
		if !q.measure(p, lo, hi, T) {
			continue
		}
		score := math.Inf(-1)
		if T <= fineMarksPx {
			score = bestScore(q)
		}
		if !ok || score > best {
			l, ok, best = q, true, score
		}
	}
	return l, ok
}

// tracked is a lattice that was followed as dark or as light marks.
type tracked struct {
	rungs   []rung
	dark    bool
	quality float64
}

const (
	// fineMarksPx is the spacing under which marks and the blanks between them are
	// about equally wide in the picture.
	fineMarksPx = 8
	// leastRival is how much of the better one's quality the other must have to be
	// looked at, clearScore the score of a reading from which on it is not.
	leastRival = 0.6
	clearScore = 25
)

// measure measures the marks that were tracked between lo and hi, at about T
// apart; false where they are no ladder.
func (l *ladder) measure(p photo.Plane, lo, hi, T float64) bool {
	if len(l.rungs) < 10 {
		return false
	}
	l.summarise()
	if l.filled < 0.55 || l.contrast < leastContrast || l.unevenness() > mostUneven {
		return false
	}
	l.maxDepth = math.Max(math.Min(18*T, 330), 24)
	a0, a1 := l.rungs[0].along-T, l.rungs[len(l.rungs)-1].along+T
	l.stepPx = math.Max(1, math.Min(l.maxDepth/100, 0.1*T))
	step := l.stepPx
	out := 2 + step*math.Ceil(math.Max(2, 0.6*T-2)/step)
	s := sampleStrip(p, l.frame, math.Max(lo, math.Floor(a0)), math.Min(hi, a1), -out, l.maxDepth, step)
	l.findShear(s)
	l.chooseLengths(l.measureLengths(s))
	l.outside = l.seenOutside(s)
	return true
}

// What is no row of marks, told before its marks are measured. The faintest and
// most uneven ladders read on practice photos had a contrast of 5 grey levels
// and lay 0.08 spacings off; noise lies about a grey level and 0.1 to 0.2.
const (
	leastContrast = 1.5
	mostUneven    = 0.13
)

// unevenness is how far a mark typically lies from the middle between its
// neighbours, in spacings; 0 where no three marks stand in a row.
func (l *ladder) unevenness() float64 {
	var off []float64
	for i := 1; i+1 < len(l.rungs); i++ {
		a, b, c := l.rungs[i-1], l.rungs[i], l.rungs[i+1]
		if a.found && b.found && c.found {
			off = append(off, math.Abs(b.along-(a.along+c.along)/2)/l.periodPx)
		}
	}
	if len(off) == 0 {
		return 0
	}
	return median(off)
}

// scaled is the ladder in px k times as fine.
func (l ladder) scaled(k float64) ladder {
	if k == 1 {
		return l
	}
	l.frame = scaleFrame(l.frame, k)
	l.rungs = append([]rung(nil), l.rungs...)
	for i := range l.rungs {
		l.rungs[i].along *= k
		l.rungs[i].length *= k
	}
	l.periodPx *= k
	l.shear[1] /= k
	l.base[0] *= k
	l.base[1] *= k
	l.maxDepth *= k
	l.stepPx *= k
	return l
}

// shiftTo is what has to be added to a rung's number in l to get its number in
// m, another reading of the same marks; same is false where they are not.
func (l ladder) shiftTo(m ladder) (shift int, same bool) {
	if math.Abs(m.periodPx/l.periodPx-1) > 0.02 {
		return 0, false
	}
	votes := map[int]int{}
	found, j := 0, 0
	for _, r := range l.rungs {
		if !r.found {
			continue
		}
		found++
		for j+1 < len(m.rungs) && math.Abs(m.rungs[j+1].along-r.along) < math.Abs(m.rungs[j].along-r.along) {
			j++
		}
		if q := m.rungs[j]; q.found && math.Abs(q.along-r.along) < 0.25*l.periodPx {
			votes[q.n-r.n]++
		}
	}
	for d, n := range votes {
		if 4*n > 3*found {
			return d, true
		}
	}
	return 0, false
}

// combDepths finds the depths at which the comb of period c.periodPx is
// strongest: from just inside the edge to about the length of the shortest marks.
func combDepths(s strip, c comb) [2]float64 {
	T := c.periodPx
	// Local demodulation at the comb's frequency in a window around its centre;
	// the period there is known to a few percent only, so a few are tried.
	half := math.Max(6*T, 60)
	a0 := max(0, int(c.center-half-s.lo))
	a1 := min(s.cols-1, int(c.center+half-s.lo))
	amp := make([]float64, s.rows)
	for _, k := range [5]float64{0.97, 0.985, 1, 1.015, 1.03} {
		s.addAmplitude(amp, a0, a1, T*k)
	}
	sm := boxSmooth(amp, 1)
	// Near where the comb was seen: at other depths what has about its period may
	// be wires that bleed over the edge, or what lies past the ruler's other edge.
	lo, hi := 0.6*c.depth[0], 1.4*c.depth[1]+1
	top, ti := 0.0, 0
	for r := 0; r < s.rows; r++ {
		if d := s.d0 + float64(r)*s.step; d < 0 || c.depth[1] > 0 && (d < lo || d > hi) {
			continue
		}
		if sm[r] > top {
			top, ti = sm[r], r
		}
	}
	r0, r1 := ti, ti
	for r0 > 0 && sm[r0-1] > 0.7*top && s.d0+float64(r0-1)*s.step >= 0.5 {
		r0--
	}
	for r1+1 < s.rows && sm[r1+1] > 0.7*top {
		r1++
	}
	d0, d1 := s.d0+float64(r0)*s.step, s.d0+float64(r1)*s.step
	if d1 < d0+1 {
		d1 = d0 + 1
	}
	return [2]float64{d0, d1}
}

// addAmplitude raises each row's amp to the amplitude of period T in it, between
// columns a0 and a1 under a Hann window (local demodulation).
func (s strip) addAmplitude(amp []float64, a0, a1 int, T float64) {
	n := a1 - a0 + 1
	if n < 3 {
		return
	}
	re, im := make([]float32, n), make([]float32, n)
	var sg float64
	// sine and cosine by turning a vector on; a few hundred turns lose nothing
	sn, cs := math.Sincos(2 * math.Pi / T)
	hs, hc := math.Sincos(2 * math.Pi / float64(n-1))
	x, y, u, v := 1.0, 0.0, 1.0, 0.0
	for i := range re {
		g := (1 - u) / 2
		re[i], im[i] = float32(g*x), float32(g*y)
		sg += g
		x, y = x*cs-y*sn, x*sn+y*cs
		u, v = u*hc-v*hs, u*hs+v*hc
	}
	for r := range amp {
		row := s.v[r*s.cols+a0 : r*s.cols+a1+1]
		var x, y float32
		for i, v := range row {
			if v == v {
				x += re[i] * v
				y += im[i] * v
			}
		}
		amp[r] = math.Max(amp[r], math.Hypot(float64(x), float64(y))/sg)
	}
}

func boxSmooth(v []float64, half int) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		n := 0
		for j := max(0, i-half); j <= min(len(v)-1, i+half); j++ {
			out[i] += v[j]
			n++
		}
		out[i] /= float64(n)
	}
	return out
}

// markResponse is a matched filter for narrow marks of spacing T: the mean over
// the mark's width less the mean of its surroundings, positive on a mark.
func markResponse(prof []float64, T float64, dark bool) []float64 {
	sigma := math.Min(math.Max(0.13*T, 0.7), 2.6)
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

// track walks a lattice of spacing near T both ways from the place nearest to
// `from` where it is clearest. The local spacing may drift slowly. Quality
// grows with the number of marks found and their evenness.
func track(r []float64, lo, from, T float64) ([]rung, float64) {
	pk := peaksOf(r, lo)
	if len(pk) < 8 {
		return nil, 0
	}
	nearest := func(x, tol, floor float64) (peak, bool) {
		i := sort.Search(len(pk), func(i int) bool { return pk[i].x >= x-tol })
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
	// Seed: the peak near `from` whose neighbours at ±1…±4 spacings are strongest.
	var seed peak
	seedT, seedScore := T, -1.0
	for _, q := range pk {
		if math.Abs(q.x-from) > 10*T {
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
	walk := func(dir float64) []rung {
		type nx struct {
			n    int
			x, v float64
		}
		hist := []nx{{0, seed.x, seed.v}}
		local := seedT * dir
		level := seed.v
		var out []rung
		gone, n := 0, 0
		for {
			n++
			// predict from a line through the last marks
			last := hist[len(hist)-1]
			x := last.x + float64(n-last.n)*local
			if x < lo || x > lo+float64(len(r)-1) {
				break
			}
			m, ok := nearest(x, 0.27*math.Abs(local), 0.22*level)
			if !ok {
				gone++
				out = append(out, rung{n: n * int(dir), along: x})
				if gone > 7 {
					break
				}
				continue
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
		for len(out) > 0 && !out[len(out)-1].found {
			out = out[:len(out)-1]
		}
		return out
	}
	up, down := walk(1), walk(-1)
	all := make([]rung, 0, len(up)+len(down)+1)
	for i := len(down) - 1; i >= 0; i-- {
		all = append(all, down[i])
	}
	all = append(all, rung{n: 0, along: seed.x, resp: seed.v, found: true})
	all = append(all, up...)
	n0 := all[0].n
	var resp []float64
	for i := range all {
		all[i].n -= n0
		if all[i].found {
			resp = append(resp, all[i].resp)
		}
	}
	// bounded, so that a few glints do not outweigh a row of marks
	most := 1.5 * median(resp)
	var q float64
	for _, v := range resp {
		q += math.Min(v, most)
	}
	return all, q
}

// summarise fills the figures that tell whether this is a ladder at all.
func (l *ladder) summarise() {
	var resp []float64
	found := 0
	for _, r := range l.rungs {
		if r.found {
			found++
			resp = append(resp, r.resp)
		}
	}
	l.filled = float64(found) / float64(len(l.rungs))
	sort.Float64s(resp)
	l.contrast = resp[len(resp)/2]
	first, last := l.rungs[0], l.rungs[len(l.rungs)-1]
	l.periodPx = (last.along - first.along) / float64(last.n-first.n)
}

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

// chooseLengths takes the lengths of which the hierarchy tells most.
func (l *ladder) chooseLengths(ways [3][]float64) {
	best, bestScored := 0, math.Inf(-1)
	set := func(way int) {
		for i, n := range ways[way] {
			l.rungs[i].length = n
		}
	}
	for way := range ways {
		set(way)
		if v := bestScore(*l); v > bestScored {
			best, bestScored = way, v
		}
	}
	set(best)
}

// bestScore is the score of a ladder's best reading; -Inf where it has none.
func bestScore(l ladder) float64 {
	if rds := decode(l); len(rds) > 0 {
		return rds[0].score
	}
	return math.Inf(-1)
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
