package calib

import (
	"math"
	"slices"
)

// taking takes wires off rows: what of it hangs on the wires alone is reckoned once.
type taking struct {
	parts int                     // that there are
	by    [][partsOfWires]float64 // of each place
	half  int                     // of the window along the row
	whole []wireSums              // up to each place, of what a row without gaps has
	roots []wireRoots             // of those about every weightsApart-th place
	seen  [][partsOfWires]float64 // room for the sums of a row times the wires' parts
}

// partsOfWires is of how many parts a row's wires are made up at most: the wires as they
// are beside the edge; their slope, for they may lie a little aside; how that turns, for
// they may be blurred or sharper; and their square, for a face lightens what is dark the
// most. Where they are known from farther inside, too, those as they are there and their
// slope: a wire that is rusty beside the edge or a hole that ends there is another one
// under it, and which of the two goes on under the marks the rows themselves tell.
const partsOfWires = 6

// besideParts is how many of them are known from beside the edge.
const besideParts = 4

// wireSums are sums of the products of parts, by pairs.
type wireSums [partsOfWires * (partsOfWires + 1) / 2]float64

// newTaking is for wires as they are beside an edge and as they are farther inside; nil
// where that is not known.
func newTaking(wires, within []float64, half int) *taking {
	n := len(wires)
	t := &taking{parts: besideParts, by: make([][partsOfWires]float64, n), half: half,
		whole: make([]wireSums, n+1), seen: make([][partsOfWires]float64, n+1)}
	square := make([]float64, n)
	for i, v := range wires {
		square[i] = v * v
	}
	square = highPass(square, half)
	for i, v := range wires {
		t.by[i][0], t.by[i][3] = v, square[i]
		if i > 0 && i+1 < n {
			t.by[i][1], t.by[i][2] = (wires[i+1]-wires[i-1])/2, wires[i+1]+wires[i-1]-2*v
		}
	}
	if within != nil {
		t.parts = partsOfWires
	}
	for i, v := range within {
		t.by[i][besideParts] = v
		if i > 0 && i+1 < n {
			t.by[i][besideParts+1] = (within[i+1] - within[i-1]) / 2
		}
	}
	for i := range wires {
		t.whole[i+1] = t.next(t.whole[i], i, 1)
	}
	for i := 0; i < n+weightsApart; i += weightsApart {
		t.roots = append(t.roots, t.rootsAt(min(i, n-1), wireSums{}))
	}
	return t
}

// next adds the wires at a place to sums so many times.
func (t *taking) next(q wireSums, i int, times float64) wireSums {
	k := 0
	for a, v := range t.by[i][:t.parts] {
		for _, w := range t.by[i][:a+1] {
			q[k] += times * v * w
			k++
		}
	}
	return q
}

// from is a row less the wires in it, of which parts are as strong as they are within
// half a window (least squares), a second time without what stands out of the rest, as
// marks and figures do: those would pass for wires where they lie on some, and a figure
// that fills a part of the window would change the wires beside it. Where the row has
// nothing (NaN) it is 0. off is what was taken off.
func (t *taking) from(row []float32) (left, off []float32) {
	off = t.fit(row)
	left = make([]float32, len(row))
	var size []float64
	for i, v := range row {
		if v == v {
			left[i] = v - off[i]
			size = append(size, math.Abs(float64(left[i])))
		}
	}
	if len(size) == 0 {
		return left, make([]float32, len(row))
	}
	const most = 4 // of the typical size
	limit := float32(most * quickSelect(size, len(size)/2))
	bare := slices.Clone(row)
	for i, v := range left {
		if v > limit || v < -limit {
			bare[i] = nan32
		}
	}
	off = t.fit(bare)
	for i, v := range row {
		if v == v {
			left[i] = v - off[i]
		} else {
			off[i] = 0
		}
	}
	return left, off
}

// fit are the wires that fit a row best, also where it has nothing.
func (t *taking) fit(row []float32) (off []float32) {
	for i, v := range row {
		y, seen := float64(v), t.seen[i]
		if y == y {
			for a, v := range t.by[i][:t.parts] {
				seen[a] += y * v
			}
		}
		t.seen[i+1] = seen
	}
	// what the row lacks of the window, which goes on with it
	var lacks wireSums
	n, lo, hi, gaps := len(row), 0, 0, 0
	weights := func(i int) [partsOfWires]float64 {
		at := min(i, n-1)
		from, to := t.around(at)
		for ; hi < to; hi++ {
			if row[hi] != row[hi] {
				lacks, gaps = t.next(lacks, hi, 1), gaps+1
			}
		}
		for ; lo < from; lo++ {
			if row[lo] != row[lo] {
				lacks, gaps = t.next(lacks, lo, -1), gaps-1
			}
		}
		if gaps > 0 {
			l := t.rootsAt(at, lacks)
			return t.weightsAt(&l, at)
		}
		lacks = wireSums{}
		return t.weightsAt(&t.roots[i/weightsApart], at)
	}
	off = make([]float32, n)
	last := weights(0)
	for from := 0; from < n; from += weightsApart {
		next := weights(from + weightsApart)
		for i := from; i < min(from+weightsApart, n); i++ {
			at, v := float64(i-from)/weightsApart, 0.0
			for k, w := range t.by[i][:t.parts] {
				v += w * (last[k] + at*(next[k]-last[k]))
			}
			off[i] = float32(v)
		}
		last = next
	}
	return off
}

// weightsApart is how many px apart weights are reckoned, which differ little over a
// window; between them they are interpolated.
const weightsApart = 6

// around are the places of which a row is summed about one.
func (t *taking) around(i int) (lo, hi int) {
	return max(0, i-t.half), min(len(t.by), i+t.half+1)
}

// rootsAt are the roots of the sums about a place, without what is lacking there.
func (t *taking) rootsAt(i int, lacks wireSums) wireRoots {
	lo, hi := t.around(i)
	var m wireSums
	for k := range m {
		m[k] = t.whole[hi][k] - t.whole[lo][k] - lacks[k]
	}
	return m.roots()
}

// weightsAt are the weights of the wires' parts about a place of the row that was summed.
func (t *taking) weightsAt(l *wireRoots, i int) [partsOfWires]float64 {
	lo, hi := t.around(i)
	var y [partsOfWires]float64
	for k := range y {
		y[k] = t.seen[hi][k] - t.seen[lo][k]
	}
	return l.solve(y, t.parts)
}

// wireRoots are Cholesky's decomposition of sums, row by row; 0 on the diagonal where the
// other parts nearly make up one.
type wireRoots wireSums

// roots decomposes sums. Each part is held to nothing a little (a ridge), for so many
// together make up marks, too.
func (m wireSums) roots() (l wireRoots) {
	const ridge = 0.01 // of a part's square; of wires a hundredth is left by it
	const own = 1e-4   // of a part's square, what the others must leave of it
	for a, ra := 0, 0; a < partsOfWires; a++ {
		for b, rb := 0, 0; b <= a; b++ {
			v := m[ra+b]
			if a == b {
				v *= 1 + ridge
			}
			for j := range b {
				v -= l[ra+j] * l[rb+j]
			}
			switch {
			case a == b && v > own*m[ra+a]:
				l[ra+a] = math.Sqrt(v)
			case a != b && l[rb+b] > 0:
				l[ra+b] = v / l[rb+b]
			}
			rb += b + 1
		}
		ra += a + 1
	}
	return l
}

// solve are the weights of the first parts, whose sums with a row are y; of one that the
// others nearly make up nothing is taken.
func (l *wireRoots) solve(y [partsOfWires]float64, parts int) (w [partsOfWires]float64) {
	for a, ra := 0, 0; a < parts; a++ {
		if l[ra+a] != 0 {
			v := y[a]
			for j := range a {
				v -= l[ra+j] * w[j]
			}
			w[a] = v / l[ra+a]
		}
		ra += a + 1
	}
	for a := parts - 1; a >= 0; a-- {
		ra := a * (a + 1) / 2
		if l[ra+a] == 0 {
			continue
		}
		v := w[a]
		for j, rj := a+1, ra+a+1; j < parts; j++ {
			v -= l[rj+a] * w[j]
			rj += j + 1
		}
		w[a] = v / l[ra+a]
	}
	return w
}
