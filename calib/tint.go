package calib

import (
	"errors"
	"math"
	"slices"

	"dentcount/photo"

	"gonum.org/v1/gonum/mat"
)

// Print on a transparent ruler may be as bright as what is seen through it, in parts
// brighter and in parts darker: then it hardly shows in grey, however plain its hue is.
// Wires and the ground between them have few hues, and which these are is seen beside
// the edge: of all sums of the channels one shows them the least of what is seen inside.

// tinted is a picture as a weighted sum of its channels.
type tinted struct {
	of     [3]sharpPlane
	weight [3]float32
}

func (t tinted) size() photo.Plane { return t.of[0].size() }

func (t tinted) sample(f Frame, lo, hi, d0, d1 float64) strip {
	out := t.of[0].sample(f, lo, hi, d0, d1)
	for i := range out.v {
		out.v[i] *= t.weight[0]
	}
	for k := 1; k < len(t.of); k++ {
		for i, v := range t.of[k].sample(f, lo, hi, d0, d1).v {
			out.v[i] += v * t.weight[k]
		}
	}
	return out
}

// readTinted reads the ladders of transparent rulers on sides of edges, in the channels'
// sum that shows the wires the least.
func (h *hunt) readTinted(sides []candidate, colours photo.HalfColours) ([]*read, error) {
	work := h.py.work
	if len(sides) == 0 {
		return nil, nil
	}
	t, ok, err := tintedOf(work, colours)
	if err != nil || !ok {
		return nil, err
	}
	slots, errs := make([][]*read, len(sides)), make([]error, len(sides))
	SideBySide(len(sides), func(i int) { slots[i], errs[i] = t.readSide(work, sides[i]) })
	return slices.Concat(slots...), errors.Join(errs...)
}

// tintedOf is the work level in its colours, yet without weights; ok is false where there
// are none.
func tintedOf(work level, colours photo.HalfColours) (t tinted, ok bool, err error) {
	c, ok, err := colours.Sized(work.W, work.H)
	if err != nil || !ok {
		return t, false, err
	}
	return tinted{of: [3]sharpPlane{sharpen(c.R), sharpen(c.G), sharpen(c.B)}}, true, nil
}

// readSide reads the ladders on one side of an edge in the sum of the channels that shows
// the wires beside it the least of what is seen inside.
func (t tinted) readSide(work level, c candidate) ([]*read, error) {
	f := scaleFrame(c.frame, work.k)
	wires, ok, err := wiresGoingOn(work.Plane, f)
	if !ok || !t.weigh(f, wires.periodPx) {
		return nil, err
	}
	return readAllWays(work, t, c, wires.periodPx)
}

// leastTint is how many times as much what is seen inside an edge varies as what is beside
// it where print is taken for seen, in its square: wires go on fainter under a ruler, so
// that without print every sum varies less there.
const leastTint = 2

// weigh sets the weights of the channels by which what is seen inside an edge varies the
// most, of what wires of spacing T beside it do; ok is false where nothing varies more than
// they, in any sum.
func (t *tinted) weigh(f Frame, T float64) (ok bool) {
	s := defaultClearing()
	lo, hi := f.Inside(t.size(), f.Lo, f.Hi, -float64(s.Skip+4), 8)
	const deep = 40 // px inside, where marks and figures are
	half := int(math.Max(2*T, 24))
	beside := t.varies(f, math.Ceil(lo), hi, -float64(s.Beside), -float64(s.Skip), half)
	inside := t.varies(f, math.Ceil(lo), hi, 2, deep, half)
	if beside == nil || inside == nil {
		return false
	}
	// What rounding and noise leave of any sum; without it nothing would be left of one
	// that has neither wires nor print.
	const noise = 1.0
	for k := range 3 {
		beside.SetSym(k, k, beside.At(k, k)+noise)
		inside.SetSym(k, k, inside.At(k, k)+noise)
	}
	// The weights are the greatest of the eigenvectors of inside in terms of beside.
	var ch mat.Cholesky
	if !ch.Factorize(beside) {
		return false
	}
	var l, inv mat.TriDense
	ch.LTo(&l)
	if err := inv.InverseTri(&l); err != nil {
		return false
	}
	var q, r mat.Dense
	q.Mul(&inv, inside)
	r.Mul(&q, inv.T())
	sym := mat.NewSymDense(3, nil)
	for i := range 3 {
		for j := i; j < 3; j++ {
			sym.SetSym(i, j, (r.At(i, j)+r.At(j, i))/2)
		}
	}
	var e mat.EigenSym
	if !e.Factorize(sym, true) {
		return false
	}
	if e.Values(nil)[2] < leastTint {
		return false
	}
	var v mat.Dense
	e.VectorsTo(&v)
	var w mat.VecDense
	w.MulVec(inv.T(), v.ColView(2))
	// as strong as print in grey
	const strong = 16
	size := math.Sqrt(mat.Inner(&w, inside, &w))
	for k := range t.weight {
		t.weight[k] = float32(w.AtVec(k) * strong / size)
	}
	return true
}

// varies is the mean product, by pairs of channels, of what stands out of a strip's rows,
// whose shade is taken off over ±half px; nil where too little of it is in the picture.
func (t tinted) varies(f Frame, lo, hi, d0, d1 float64, half int) *mat.SymDense {
	var rows [3][]float32
	for k, p := range t.of {
		st := p.sample(f, lo, hi, d0, d1)
		for r := range st.rows {
			rows[k] = append(rows[k], highPass32(st.v[r*st.cols:(r+1)*st.cols], half)...)
		}
	}
	var sum [3][3]float64
	n := 0.0
	for i := range rows[0] {
		x := [3]float64{float64(rows[0][i]), float64(rows[1][i]), float64(rows[2][i])}
		if v := x[0] + x[1] + x[2]; v != v {
			continue
		}
		n++
		for a := range x {
			for b := range a + 1 {
				sum[a][b] += x[a] * x[b]
			}
		}
	}
	if n == 0 {
		return nil
	}
	out := mat.NewSymDense(3, nil)
	for a := range sum {
		for b := range a + 1 {
			out.SetSym(a, b, sum[a][b]/n)
		}
	}
	return out
}
