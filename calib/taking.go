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
	own   []wireSums              // room for those of a row with gaps
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
		whole: make([]wireSums, n+1), own: make([]wireSums, n+1), seen: make([][partsOfWires]float64, n+1)}
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
		t.whole[i+1] = t.next(t.whole[i], i)
	}
	return t
}

// next adds the wires at a place to the sums before it.
func (t *taking) next(q wireSums, i int) wireSums {
	k := 0
	for a, v := range t.by[i][:t.parts] {
		for _, w := range t.by[i][:a+1] {
			q[k] += v * w
			k++
		}
	}
	return q
}

// from is a row less the wires in it, of which parts are as strong as they are within
// half a window (least squares), a second time without what stands out of the rest, as
// marks do: those would pass for wires where they lie on some. Where the row has nothing
// (NaN) it is 0. off is what was taken off.
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
		return left, off
	}
	const most = 4 // of the typical size
	limit := float32(most * quickSelect(size, len(size)/2))
	even := make([]float32, len(row))
	for i, v := range row {
		even[i] = v
		if v == v {
			even[i] = off[i] + min(max(left[i], -limit), limit)
		}
	}
	off = t.fit(even)
	for i, v := range row {
		if v == v {
			left[i] = v - off[i]
		}
	}
	return left, off
}

// fit are the wires that fit a row best; 0 where it has nothing.
func (t *taking) fit(row []float32) (off []float32) {
	n := len(row)
	gaps := slices.ContainsFunc(row, func(v float32) bool { return v != v })
	sums := t.whole
	if gaps {
		sums = t.own
	}
	for i, v := range row {
		y, seen := float64(v), t.seen[i]
		switch {
		case y != y:
			t.own[i+1], t.seen[i+1] = t.own[i], seen
			continue
		case gaps:
			t.own[i+1] = t.next(t.own[i], i)
		}
		for a, v := range t.by[i][:t.parts] {
			seen[a] += y * v
		}
		t.seen[i+1] = seen
	}
	off = make([]float32, n)
	last := t.weightsAt(sums, 0)
	for from := 0; from < n; from += weightsApart {
		next := t.weightsAt(sums, min(from+weightsApart, n-1))
		for i := from; i < min(from+weightsApart, n); i++ {
			if row[i] != row[i] {
				continue
			}
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

// weightsAt are the weights of the wires' parts about a place of the row that was summed.
func (t *taking) weightsAt(sums []wireSums, i int) [partsOfWires]float64 {
	lo, hi := max(0, i-t.half), min(len(t.by), i+t.half+1)
	var m wireSums
	var y [partsOfWires]float64
	for k := range m {
		m[k] = sums[hi][k] - sums[lo][k]
	}
	for k := range y {
		y[k] = t.seen[hi][k] - t.seen[lo][k]
	}
	return m.solve(y)
}

// solve are the weights of parts whose sums with a row are y, by Cholesky's
// decomposition; of a part that the others nearly make up nothing is taken. Each is held
// to nothing a little (a ridge), for so many parts together make up marks, too.
func (m wireSums) solve(y [partsOfWires]float64) (w [partsOfWires]float64) {
	const ridge = 0.01 // of a part's square; of wires a hundredth is left by it
	const own = 1e-4   // of a part's square, what the others must leave of it
	var l [partsOfWires][partsOfWires]float64
	k := 0
	for a := range l {
		var whole float64
		for b := 0; b <= a; b++ {
			v := m[k]
			k++
			if a == b {
				whole = v
				v *= 1 + ridge
			}
			for j := range b {
				v -= l[a][j] * l[b][j]
			}
			switch {
			case a == b && v > own*whole:
				l[a][a] = math.Sqrt(v)
			case a != b && l[b][b] > 0:
				l[a][b] = v / l[b][b]
			}
		}
	}
	for a := range w {
		if l[a][a] == 0 {
			continue
		}
		v := y[a]
		for j := range a {
			v -= l[a][j] * w[j]
		}
		w[a] = v / l[a][a]
	}
	for a := partsOfWires - 1; a >= 0; a-- {
		if l[a][a] == 0 {
			continue
		}
		v := w[a]
		for j := a + 1; j < partsOfWires; j++ {
			v -= l[j][a] * w[j]
		}
		w[a] = v / l[a][a]
	}
	return w
}
