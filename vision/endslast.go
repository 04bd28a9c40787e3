package vision

import (
	"math"
	"slices"
)

// The last wire of a reed stands in its cap's shadow, half a dent from a face
// of another colour. There the row of likenesses breaks off a wire early or, at
// the cap's own edge, a wire late. So the end is looked at by itself: does what
// the typical wire shows on its inner side, up to its outer edge, show here as
// well, and does it end there, as a wire does and a cap does not?

// hues are a profile's logarithm of brightness and its two ratios of channels:
// a shadow takes light off and leaves the ratios nearly as they are.
type hues struct {
	f *wireField
	v [3][]float64 // by column of the patch
}

func (f *wireField) hues() hues {
	h := hues{f: f}
	prof := f.q.profile(0, f.q.rows, 0)
	for i := range h.v {
		h.v[i] = make([]float64, f.q.cols)
	}
	const dark = 6 // grey levels, below which ratios are noise
	for c := range h.v[0] {
		b, g, r := prof[0][c]+dark, prof[1][c]+dark, prof[2][c]+dark
		h.v[0][c] = math.Log((b + 2*g + r) / 4)
		h.v[1][c] = math.Log(r / g)
		h.v[2][c] = math.Log(b / g)
	}
	return h
}

// at is the value at a place in inches.
func (h hues) at(in float64) (o colour) {
	x := h.f.column(in)
	c := int(math.Floor(x))
	if c < 0 || c+1 >= h.f.q.cols {
		return colour{math.NaN(), math.NaN(), math.NaN()}
	}
	for i := range o {
		o[i] = h.v[i][c] + (h.v[i][c+1]-h.v[i][c])*(x-float64(c))
	}
	return o
}

// endBins is how many places of a spacing are compared at an end.
const endBins = 40

// course is one spacing about a place, outward (dir +1: to more inches).
func (h hues) course(u, dir, T float64) (c [endBins]colour) {
	for i := range c {
		c[i] = h.at(u + dir*T*((float64(i)+0.5)/endBins-0.5))
	}
	return c
}

// wireLook is what a typical wire near an end shows.
type wireLook struct {
	mean    [endBins]colour
	edge    int        // the bin at which the wire's lobe ends outward
	range_  [3]float64 // standard deviation of the mean course, by channel
	scatter [3]float64 // of single wires about it
}

// lookOf is the mean of the wires at the given places.
func (h hues) lookOf(places []float64, dir, T float64) (l wireLook, ok bool) {
	if len(places) < 4 {
		return l, false
	}
	var all [][endBins]colour
	for _, u := range places {
		all = append(all, h.course(u, dir, T))
	}
	for i := range l.mean {
		for k := range l.mean[i] {
			var v []float64
			for _, c := range all {
				v = append(v, c[i][k])
			}
			l.mean[i][k] = medianOf(v)
			if l.mean[i][k] != l.mean[i][k] {
				return l, false
			}
		}
	}
	for k := range l.range_ {
		var m, sq, sc, n float64
		for i := range l.mean {
			m += l.mean[i][k] / endBins
		}
		for i := range l.mean {
			sq += (l.mean[i][k] - m) * (l.mean[i][k] - m) / endBins
		}
		for _, c := range all {
			var cm float64
			for i := range c {
				cm += (c[i][k] - l.mean[i][k]) / endBins
			}
			for i := range c {
				if d := c[i][k] - l.mean[i][k] - cm; d == d {
					sc += d * d
					n++
				}
			}
		}
		l.range_[k], l.scatter[k] = math.Sqrt(sq), math.Sqrt(sc/math.Max(n, 1))
	}
	// The lobe: outward from the middle to where the course has gone half-way to
	// its other extreme, in the channel that tells most.
	k := l.channel()
	top := l.mean[endBins/2][k]
	far := top
	for i := range l.mean {
		if math.Abs(l.mean[i][k]-top) > math.Abs(far-top) {
			far = l.mean[i][k]
		}
	}
	l.edge = endBins/2 + 1
	for l.edge < endBins-2 && math.Abs(l.mean[l.edge][k]-top) < 0.5*math.Abs(far-top) {
		l.edge++
	}
	return l, true
}

// channel is the one in which the wires stand out most from their scatter.
func (l wireLook) channel() int {
	best := 0
	for k := 1; k < 3; k++ {
		if l.range_[k]/(l.scatter[k]+0.01) > l.range_[best]/(l.scatter[best]+0.01) {
			best = k
		}
	}
	return best
}

// like is how much the place u looks like the inner side of a wire, -1…1, and
// whether what is there ends where a wire does.
func (h hues) like(l wireLook, u, dir, T float64) (best float64, at float64, ends bool) {
	best = -1
	at = u
	for s := -4; s <= 4; s++ {
		c := h.course(u+dir*T*float64(s)/endBins, dir, T)
		r := -1.0
		for k := 0; k < 3; k++ {
			if l.range_[k] < 1.5*l.scatter[k] || l.range_[k] < 0.02 {
				continue
			}
			r = math.Max(r, corrUpTo(c, l.mean, k, l.edge))
		}
		if r > best {
			best, at = r, u+dir*T*float64(s)/endBins
		}
	}
	c := h.course(at, dir, T)
	var d, amp colour
	for k := range d {
		hi, lo := math.Inf(-1), math.Inf(1)
		for i := range l.mean {
			hi, lo = math.Max(hi, l.mean[i][k]), math.Min(lo, l.mean[i][k])
		}
		amp[k] = hi - lo
		for i := l.edge; i < min(endBins, l.edge+endBins/4); i++ {
			d[k] = math.Max(d[k], math.Abs(c[i][k]-c[endBins/2][k]))
		}
	}
	for k := range d {
		ends = ends || (d[k] > 0.35*amp[k] && amp[k] > 0.05)
	}
	return best, at, ends
}

func corrUpTo(a, b [endBins]colour, k, to int) float64 {
	var ma, mb float64
	for i := 0; i < to; i++ {
		ma += a[i][k] / float64(to)
		mb += b[i][k] / float64(to)
	}
	var aa, bb, ab float64
	for i := 0; i < to; i++ {
		x, y := a[i][k]-ma, b[i][k]-mb
		aa += x * x
		bb += y * y
		ab += x * y
	}
	if !(aa*bb > 0) {
		return -1
	}
	return ab / math.Sqrt(aa*bb)
}

// What passes for a wire at an end, and for half of one.
const (
	endLike     = 0.68
	endHalfLike = 0.55
	endLook     = 8 // wires whose mean is the typical one
)

// settleEnds looks at the two ends by themselves: a wire or two more or less.
// The places change by it, and doubtful is set where that stays open.
func (f *wireField) settleEnds() {
	h := f.hues()
	f.doubtful = false
	for _, dir := range [2]float64{-1, 1} {
		at := f.outward(dir)
		n := len(at)
		if n < endLook+2 {
			return
		}
		look, ok := h.lookOf(at[n-1-endLook:n-1], dir, f.T)
		if !ok {
			f.doubtful = true
			continue
		}
		// the last two may be the cap's, up to two more may stand in its shadow
		keep := n - 2
		var fresh []float64
		last := at[n-3]
		for k := n - 2; k <= n+1; k++ {
			want := last + dir*f.T
			if k < n {
				want = at[k]
			}
			like, place, ends := h.like(look, want, dir, f.T)
			if like < endLike || !ends {
				f.doubtful = f.doubtful || (like > endHalfLike && ends)
				break
			}
			last = place
			if k < n {
				keep = k + 1
			} else {
				fresh = append(fresh, place)
			}
		}
		f.setEnd(dir, keep, fresh)
	}
}

// outward are the places in the order of dir.
func (f *wireField) outward(dir float64) []float64 {
	at := append([]float64(nil), f.places...)
	if dir < 0 {
		slices.Reverse(at)
	}
	return at
}

// setEnd keeps the first places outward and adds fresh ones.
func (f *wireField) setEnd(dir float64, keep int, fresh []float64) {
	at, match := f.places, f.match
	if dir < 0 {
		slices.Reverse(at)
		slices.Reverse(match)
	}
	at, match = at[:keep], match[:keep]
	for _, u := range fresh {
		at, match = append(at, u), append(match, math.NaN()) // told from one side only
	}
	if dir < 0 {
		slices.Reverse(at)
		slices.Reverse(match)
	}
	f.places, f.match = at, match
}

// cutLobes counts the ends at which, past the last wire and the dent beside it,
// a lobe as light as the wires is cut off by the cap. A cap stands beside the
// wires and hides none of them, but a dent may be of any width there: where ends
// are cut so, what was taken for wires may be the dents.
func (f *wireField) cutLobes() (n int) {
	for _, dir := range [2]float64{-1, 1} {
		if f.goesOnTo(dir) {
			continue
		}
		at := f.outward(dir)
		last := at[len(at)-1]
		var hi, lo []float64
		for _, u := range at[max(0, len(at)-1-endLook) : len(at)-1] {
			a, b := math.Inf(-1), math.Inf(1)
			for _, v := range f.sig.cut(u-f.T/2, u+f.T/2).v {
				a, b = math.Max(a, v), math.Min(b, v)
			}
			hi, lo = append(hi, a), append(lo, b)
		}
		// a lobe that is cut shows less than its whole contrast
		const over = 0.35
		level := over*medianOf(hi) + (1-over)*medianOf(lo)
		if !f.bright {
			level = over*medianOf(lo) + (1-over)*medianOf(hi)
		}
		in := func(phase float64) bool { return (f.sig.at(last+dir*phase*f.T) > level) == f.bright }
		const step = 0.02 // of a spacing
		x := 0.0
		run := func(lobe bool, most float64) float64 {
			from := x
			for in(x) == lobe && x-from < most {
				x += step
			}
			return x - from
		}
		out := run(true, 0.8)
		dent := run(false, 1)
		cut := run(true, 1)
		// the whole lobe, from its inner edge
		x = 0
		for in(x) && x > -0.8 {
			x -= step
		}
		lobe := out - x
		if dent > 0.08 && dent < 0.9 && cut > 0.06 && cut < 0.75*lobe {
			n++
		}
	}
	return n
}
