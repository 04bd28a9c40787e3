package vision

import (
	"maps"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// Wires are deep, and a picture shows their edges in more than one plane. With x
// the distance along the ruler from the camera's foot point (the point of the
// plane straight below the camera), D the camera's height and z a depth below
// the front of the wires, what lies at x in depth z is seen at x·(1 - z/D): a
// row of edges at the back has a spacing smaller by z/D than one at the front.
// The edges of the fronts run through the whole row, with the largest spacing
// of all; those of the backs are seen on one side of the foot only, since on the
// other a wire hides its own back.
//
// So every edge of the profile is a point (band, place), every row of edges a
// straight line through such points, and the front is the plane of the largest
// spacing that carries lines through the row: a Hough transform (Duda and Hart
// 1972) over spacing and place, then least squares on the lines it chose.

// edge is one crest of the profile's slope.
type edge struct {
	in     float64 // inches on the ruler
	depth  float64 // px from the ruler's edge, of the rows it was seen in; 0 for all rows together
	weight float64 // 0…1
	rising bool    // the grey level grows along the ruler
	// offIn is what was taken off in for its band's own place.
	offIn float64
}

// offPlaces are how far the bands of a lattice lie off a smooth row, inches, as far
// as they are believed to.
type offPlaces struct {
	l  lattice
	in map[int]float64
}

// offPlaces are those of the good bands: off the straight line through their
// neighbours, for what bends over many bands is the planes' and not the bands' own.
// Of rows that scatter no more than places are read to, none: there it would add
// noise.
func (b Bands) offPlaces(l lattice) offPlaces {
	const readTo, around = 0.01, 4 // of a spacing; bands on each side
	o := offPlaces{l: l, in: map[int]float64{}}
	var k, in []float64
	for _, x := range b.Row {
		if x.State == Good {
			k, in = append(k, float64(x.Index)), append(in, x.In)
		}
	}
	if len(k) <= 2*around {
		return o
	}
	var off []float64
	var sq float64
	for i := range k {
		lo := min(max(0, i-around), len(k)-2*around-1)
		hi := lo + 2*around + 1
		a, T := stat.LinearRegression(k[lo:hi], in[lo:hi], nil, false)
		off = append(off, in[i]-a-T*k[i])
		sq += off[i] * off[i]
	}
	rel := math.Sqrt(sq/float64(len(off))) / l.T
	if rel <= readTo {
		return o
	}
	// of what scatters so much, this share is the bands' own (Wiener)
	own := 1 - (readTo/rel)*(readTo/rel)
	for i := range k {
		o.in[int(k[i])] = own * off[i]
	}
	return o
}

// evened are the edges with their bands put into place: a wire off its place takes
// all its edges along, and where wires scatter by more than the planes stand apart,
// chance lines would be taken for a plane.
func (o offPlaces) evened(edges []edge) []edge {
	for i, e := range edges {
		off := o.in[int(math.Round((e.in-o.l.first)/o.l.T))]
		edges[i].in, edges[i].offIn = e.in-off, off
	}
	return edges
}

// front is the plane of the wires' fronts as their edges tell it.
type front struct {
	spacingIn, uRel float64
	// widthRel is the width of what lies between the two lines of edges, over
	// the spacing; 0 where there was one line.
	widthRel float64
	// support is the share of bands whose edge lies on the best line.
	support float64
}

// edgesOf finds the crests of the signal's slope, rising and falling. T is the
// spacing in inches.
func edgesOf(g signal, T, depth float64) []edge {
	d := slopeOf(g, T)
	const faint = 0.25
	var out []edge
	for i := 1; i+1 < len(d.v); i++ {
		x, y, z := math.Abs(d.v[i-1]), math.Abs(d.v[i]), math.Abs(d.v[i+1])
		if !(y > faint && y > x && y >= z) {
			continue
		}
		off := 0.0
		if q := x - 2*y + z; q < 0 {
			off = 0.5 * (x - z) / q
		}
		out = append(out, edge{in: d.u0 + (float64(i)+off)*d.du, depth: depth, weight: math.Min(y, 1), rising: d.v[i] > 0})
	}
	return out
}

// slopeOf is the slope of the signal over a tenth of a spacing, with its
// contrast evened over a few spacings.
func slopeOf(g signal, T float64) signal {
	half := max(1, int(0.5+0.05*T/g.du))
	o := signal{u0: g.u0, du: g.du, v: make([]float64, len(g.v))}
	sq := make([]float64, len(g.v))
	var all float64
	n := 0
	for i := range g.v {
		o.v[i], sq[i] = math.NaN(), math.NaN()
		if i-half < 0 || i+half >= len(g.v) {
			continue
		}
		var s float64
		for j := 1; j <= half; j++ {
			s += g.v[i+j] - g.v[i-j]
		}
		if s == s {
			o.v[i], sq[i] = s, s*s
			all += s * s
			n++
		}
	}
	all = math.Sqrt(all / math.Max(float64(n), 1))
	local := movingMean(sq, int(1.5*T/g.du))
	for i := range o.v {
		o.v[i] /= math.Sqrt(local[i]) + 0.2*all + 1e-9
	}
	return o
}

// lattice is where bands are expected: band k of count at first + k·T.
type lattice struct {
	first, T float64 // inches
	count    int
}

func (l lattice) middle() float64 { return l.first + l.T*float64(l.count-1)/2 }

// places is how finely a spacing is divided in the search for lines.
const places = 120

// stretches are the relative changes of spacing that are searched: backs lie at
// most some 3 % behind the fronts (4 mm from a camera at 130 mm).
func stretches(count int) []float64 {
	const lo, hi = -0.012, 0.04
	step := math.Min(0.0005, 0.03/float64(count))
	var out []float64
	for e := lo; e <= hi; e += step {
		out = append(out, e)
	}
	return out
}

// flipped is what an edge of the other sign counts on a line: what is dark
// beside a wire's front on one side of the foot may be bright on the other, but a
// line from one corner of the front to the other corner changes sign always.
const flipped = 0.5

// support is, for a stretch of the lattice, the share of bands with an edge on
// the line through each place.
func support(edges []edge, l lattice, stretch float64) [places]float64 {
	rise, fall := signSupport(edges, l, stretch, true), signSupport(edges, l, stretch, false)
	for j := range rise {
		rise[j] = math.Max(rise[j], fall[j]) + flipped*math.Min(rise[j], fall[j])
	}
	return rise
}

func signSupport(edges []edge, l lattice, stretch float64, rising bool) [places]float64 {
	const reach = 3 // places: an edge counts for its neighbours, too
	var sum, cur [places]float64
	var touched []int
	mid, half := l.middle(), float64(l.count-1)/2
	at := math.Inf(-1)
	flush := func() {
		for _, b := range touched {
			sum[b] += cur[b]
			cur[b] = 0
		}
		touched = touched[:0]
	}
	for _, e := range edges {
		if e.rising != rising {
			continue
		}
		y := (e.in - mid) / (l.T * (1 + stretch))
		k := math.Round(y)
		if math.Abs(k) > half+0.5 {
			continue
		}
		if k != at {
			flush()
			at = k
		}
		b := int((y - k + 0.5) * places)
		for o := -reach; o <= reach; o++ {
			j := (b + o + places) % places
			if w := e.weight * (1 - math.Abs(float64(o))/(reach+1)); w > cur[j] {
				if cur[j] == 0 {
					touched = append(touched, j)
				}
				cur[j] = w
			}
		}
	}
	flush()
	for j := range sum {
		sum[j] /= float64(l.count)
	}
	return sum
}

// wirePlane is a local maximum of the support over the stretch.
type wirePlane struct {
	stretch, support float64
}

// planesOf lists the planes that carry lines of edges, strongest first.
func planesOf(edges []edge, l lattice) []wirePlane {
	return peaks(l, func(stretch float64) float64 {
		top := 0.0
		for _, v := range support(edges, l, stretch) {
			top = math.Max(top, v)
		}
		return top
	})
}

// frontPlane chooses the front among the planes. perMM is 1 mm over the
// camera's height. depthRel is how far the backs lie behind over the camera's
// height, 0 where only one plane was seen; otherRel is the standard uncertainty
// of the stretch that planes too near to be told from the front leave. ok is
// false where no plane carries lines.
func frontPlane(planes []wirePlane, perMM float64) (f wirePlane, depthRel, otherRel float64, ok bool) {
	// The front of a wire lies 1.8 to 6 mm before its back; it may show less
	// contrast than the back does, but not much less.
	const shallowMM, deepMM, share, backShare = 1.8, 6.0, 0.65, 0.3
	if len(planes) == 0 {
		return f, 0, 0, false
	}
	apart := func(a, b wirePlane) bool {
		gap := (a.stretch - b.stretch) / perMM
		return gap > shallowMM && gap < deepMM
	}
	strongest := planes[0]
	f = strongest
	for _, p := range planes[1:] {
		if p.support >= share*strongest.support && apart(p, strongest) {
			f, depthRel = p, p.stretch-strongest.stretch
			break
		}
	}
	for _, p := range planes[1:] {
		if depthRel == 0 && p.support >= backShare*f.support && apart(f, p) {
			depthRel = f.stretch - p.stretch
		}
	}
	var sw, sq float64
	for _, p := range planes {
		gap := p.stretch - f.stretch
		if math.Abs(gap) <= shallowMM*perMM {
			// a high power: a plane a third weaker is hardly a rival
			w := math.Pow(p.support/f.support, 10)
			sw += w
			sq += w * gap * gap
		}
	}
	return f, depthRel, math.Sqrt(sq / sw), true
}

// line is one row of edges: its place at the lattice's middle, in spacings.
type line struct {
	at           float64
	of           family
	rising, fall bool // the signs of its own edges
	support      float64
}

// linesOf are the lines of a family in a plane, strongest first.
func linesOf(all []edge, l lattice, p wirePlane, of family) []line {
	own := of.of(all)
	sup := support(own, l, p.stretch)
	order := make([]int, places)
	for i := range order {
		order[i] = i
	}
	sort.Slice(order, func(i, j int) bool { return sup[order[i]] > sup[order[j]] })
	rise, fall := signSupport(own, l, p.stretch, true), signSupport(own, l, p.stretch, false)
	const weakest, apart = 0.5, 0.07 // of the best line's support; of a spacing
	// Where a line is of one sign, edges of the other are not its own.
	const tooFew = 0.25
	var out []line
	for _, i := range order {
		if sup[i] < weakest*sup[order[0]] {
			break
		}
		at := (float64(i)+0.5)/places - 0.5
		far := true
		for _, q := range out {
			far = far && math.Abs(math.Remainder(at-q.at, 1)) > apart
		}
		if far {
			out = append(out, line{at, of, rise[i] > tooFew*fall[i], fall[i] > tooFew*rise[i], sup[i]})
		}
	}
	return out
}

func (l line) owns(e edge) bool {
	if e.rising && !l.rising || !e.rising && !l.fall {
		return false
	}
	return l.of.has(e)
}

// fitFront fits the lines of edges of a plane, in all strips together:
//
//	in = place[j] + T·k + depth·(lean + turn·k)
//
// so that T is the spacing at the ruler's edge itself, whatever lean the strips
// were read along. The lines are those of the families. ok is false where too few
// edges lie on lines.
func fitFront(all, strips []edge, l lattice, p wirePlane, fams []family) (f front, ok bool) {
	var lines []line
	for _, of := range fams {
		for i, q := range linesOf(all, l, p, of) {
			if i == 0 && len(fams) == 1 {
				f.support = q.support
			}
			lines = append(lines, q)
		}
	}
	if len(lines) == 0 {
		return f, false
	}
	if len(fams) == 1 && len(lines) > 1 {
		f.widthRel = math.Abs(math.Remainder(lines[0].at-lines[1].at, 1))
	}
	n := len(lines) + 3
	c := make([]float64, n) // T, lean, turn, place of each line; in spacings
	c[0] = 1 + p.stretch
	for j, q := range lines {
		c[3+j] = q.at
	}
	half := float64(l.count-1) / 2
	// Depth in units that make its terms of the size of the others.
	var deepest float64
	for _, e := range strips {
		deepest = math.Max(deepest, math.Abs(e.depth))
	}
	row := func(k float64, line int, depth float64) []float64 {
		r := make([]float64, n)
		d := depth / math.Max(deepest, 1)
		r[0], r[1], r[2] = k, d, d*k/math.Max(half, 1)
		r[3+line] = 1
		return r
	}
	tol := 0.05
	type used struct {
		line     int
		k, depth float64
		x, r, w  float64 // place, off the line, weight
		off      float64 // what was taken off its band's place
	}
	var in []used
	var inv mat.Dense
	for it := 0; it < 8; it++ {
		var N mat.Dense
		N.ReuseAs(n, n)
		rhs := mat.NewVecDense(n, nil)
		in = in[:0]
		for j := range lines {
			for _, e := range strips {
				x := (e.in - l.middle()) / l.T
				d := e.depth / math.Max(deepest, 1)
				spacing := c[0] + d*c[2]/math.Max(half, 1)
				y := x - c[3+j] - d*c[1]
				k := math.Round(y / spacing)
				r := y - k*spacing
				if math.Abs(k) > half+1 || math.Abs(r) >= tol || !lines[j].owns(e) {
					continue
				}
				u := used{line: j, k: k, depth: e.depth, x: x, r: r, off: e.offIn / l.T, w: e.weight * (1 - r*r/tol/tol) * (1 - r*r/tol/tol)}
				// of two edges by the line of one band, the nearer
				if m := len(in) - 1; m >= 0 && in[m].line == j && in[m].k == k && in[m].depth == e.depth {
					if math.Abs(r) < math.Abs(in[m].r) {
						in[m] = u
					}
					continue
				}
				in = append(in, u)
			}
		}
		for _, u := range in {
			v := row(u.k, u.line, u.depth)
			for a := range v {
				if v[a] == 0 {
					continue
				}
				rhs.SetVec(a, rhs.AtVec(a)+u.w*v[a]*u.x)
				for b := range v {
					N.Set(a, b, N.At(a, b)+u.w*v[a]*v[b])
				}
			}
		}
		for a := 0; a < n; a++ {
			N.Set(a, a, N.At(a, a)+1e-6)
		}
		if len(in) < n+5 || inv.Inverse(&N) != nil {
			return f, false
		}
		var sol mat.VecDense
		sol.MulVec(&inv, rhs)
		copy(c, sol.RawVector().Data)
		var sw, sr float64
		for _, u := range in {
			sw += u.w
			sr += u.w * u.r * u.r
		}
		tol = math.Min(0.05, math.Max(3*math.Sqrt(sr/sw), 0.015))
	}
	// A wire off its place takes all its edges along: what scatters is the mean
	// of each band.
	sum, wt := map[float64]float64{}, map[float64]float64{}
	for _, u := range in {
		sum[u.k] += u.w * (u.r + u.off)
		wt[u.k] += u.w
	}
	var sq, kk, k1, m float64
	// in order: sums in a map's order would differ in their last digit by run
	for _, k := range slices.Sorted(maps.Keys(wt)) {
		if w := wt[k]; w > 0 {
			sq += (sum[k] / w) * (sum[k] / w)
			kk += k * k
			k1 += k
			m++
		}
	}
	if m < 5 {
		return f, false
	}
	scatter := math.Sqrt(sq / (m - 2))
	spread := kk - k1*k1/m
	// The strips' own noise, carried to the edge through lean and turn.
	var rr, rw float64
	for _, u := range in {
		d := u.r + u.off - sum[u.k]/wt[u.k]
		rr += u.w * d * d
		rw += u.w
	}
	noise := math.Sqrt(rr / rw * inv.At(0, 0))
	f.spacingIn = c[0] * l.T
	f.uRel = math.Hypot(scatter/math.Sqrt(spread), noise) / c[0]
	return f, true
}
