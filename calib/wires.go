package calib

import (
	"errors"
	"math"
	"slices"
	"sort"

	"dentcount/photo"
)

// Through a transparent ruler the wires are seen as well as beside it, often
// stronger than its marks. They run on under its edge, the marks begin there:
// so what lies beside the edge, carried along the wires, foretells what the
// ruler would show without marks.

// cleared is the strip of a photo on the inner side of an edge with the wires
// taken off: mid grey where there is nothing but wires.
type cleared struct {
	photo.Plane
	frame Frame // the edge in the plane, with the same along as in the photo
	// lean of the wires that was taken out: along px per depth px, as
	// Scale.Shear has it
	lean [2]float64
}

// clearing are the settings of clearWires, all in px of the level they are
// taken off on.
type clearing struct {
	Beside int     // depth of the strip beside the edge from which the wires are taken
	Skip   int     // of it nearest to the edge left out: the edge's own blur and shadow
	Deep   int     // depth of the strip inside that is cleared: the longest marks
	Lean   float64 // greatest lean of the wires sought
	Window int     // length along the edge over which the wires' strength is taken as one
}

func defaultClearing() clearing {
	return clearing{Beside: 28, Skip: 4, Deep: 180, Lean: 0.3, Window: 240}
}

// clearWires takes the wires of spacing about T off the strip inside an edge.
// ok is false where none run on under it.
func clearWires(p photo.Plane, f Frame, T float64, s clearing) (c cleared, ok bool) {
	lo, hi := f.Inside(p, f.Lo, f.Hi, -float64(s.Skip+4), 8)
	if !(T >= 3) || hi-lo < float64(s.Window)/2 {
		return c, false
	}
	lo = math.Ceil(lo)
	st := sampleStrip(p, f, lo, hi, -float64(s.Beside), float64(s.Deep), 1)
	if st.cols == 0 {
		return c, false
	}
	// what is wider than wires and marks is shade
	half := int(math.Max(2*T, 24))
	rows := make([][]float32, st.rows)
	for r := range rows {
		rows[r] = highPass32(st.v[r*st.cols:(r+1)*st.cols], half)
	}
	st.straighten(rows, T, s, &c.lean)
	// The wires as they are beside the edge.
	wires := make([]float64, st.cols)
	n := make([]float64, st.cols)
	for r := 0; r < s.Beside-s.Skip; r++ {
		for i, v := range rows[r] {
			if v == v {
				wires[i] += float64(v)
				n[i]++
			}
		}
	}
	for i := range wires {
		wires[i] /= math.Max(n[i], 1)
	}
	in := rows[s.Beside-2:]
	c.Plane = photo.Plane{W: st.cols, H: len(in), Pix: make([]uint8, st.cols*len(in))}
	var before, after float64
	for r, row := range in {
		left := without(row, wires, s.Window/2)
		for i, v := range left {
			if r < 42 && row[i] == row[i] {
				before += float64(row[i]) * float64(row[i])
				after += v * v
			}
			c.Pix[r*st.cols+i] = uint8(min(max(math.Round(128+v), 0), 255))
		}
	}
	if after > 0.7*before {
		return c, false
	}
	c.frame = Frame{X: -lo, Y: 2, TX: 1, NY: 1, Lo: lo, Hi: hi, Half: f.Half}
	return c, true
}

// straighten finds the lean of the wires, at which they stay strongest from row
// to row, and shifts the rows by it.
func (st strip) straighten(rows [][]float32, T float64, s clearing, lean *[2]float64) {
	// a few rows on both sides of the edge say it
	var picked []int
	for d := -float64(s.Beside) + 2; d < 3*T+24 && int(d-st.d0) < st.rows; d += 5 {
		picked = append(picked, int(d-st.d0))
	}
	step := max(1, int(T/5))
	score := func(l [2]float64) float64 {
		var sum float64
		for i := 0; i < st.cols; i += step {
			var v, n float64
			sh := l[0] + l[1]*(st.lo+float64(i))/1000
			for _, r := range picked {
				x := between(rows[r], float64(i)+sh*(st.d0+float64(r)*st.step))
				if x == x {
					v += x
					n++
				}
			}
			if n > 0 {
				sum += v * v / n
			}
		}
		return sum
	}
	reach := float64(picked[len(picked)-1]) + st.d0
	fine := 0.3 * T / math.Max(reach, 20)
	best := -1.0
	for x := -s.Lean; x <= s.Lean; x += fine {
		if v := score([2]float64{x, 0}); v > best {
			best, *lean = v, [2]float64{x, 0}
		}
	}
	step0, step1 := fine/2, 0.03
	for it := 0; it < 8; it++ {
		improved := false
		for _, t := range [4][2]float64{{step0, 0}, {-step0, 0}, {0, step1}, {0, -step1}} {
			l := [2]float64{lean[0] + t[0], lean[1] + t[1]}
			if v := score(l); v > best {
				best, *lean, improved = v, l, true
			}
		}
		if !improved {
			step0 /= 2
			step1 /= 2
		}
	}
	for r := range rows {
		d := st.d0 + float64(r)*st.step
		out := make([]float32, st.cols)
		for i := range out {
			sh := lean[0] + lean[1]*(st.lo+float64(i))/1000
			out[i] = float32(between(rows[r], float64(i)+sh*d))
		}
		rows[r] = out
	}
}

// without is a row less the wires in it, as strong and as far aside as they
// are within half a window: least squares on the wires and their slope.
// Where the row has nothing (NaN) it is 0.
func without(row []float32, wires []float64, half int) []float64 {
	n := len(row)
	type sums struct{ aa, ab, bb, ya, yb float64 }
	acc := make([]sums, n+1)
	slope := func(i int) float64 {
		if i == 0 || i+1 == n {
			return 0
		}
		return (wires[i+1] - wires[i-1]) / 2
	}
	for i := range row {
		q := acc[i]
		if y := float64(row[i]); y == y {
			a, b := wires[i], slope(i)
			q.aa += a * a
			q.ab += a * b
			q.bb += b * b
			q.ya += y * a
			q.yb += y * b
		}
		acc[i+1] = q
	}
	out := make([]float64, n)
	for i := range out {
		y := float64(row[i])
		if y != y {
			continue
		}
		u, v := acc[max(0, i-half)], acc[min(n, i+half+1)]
		aa, ab, bb, ya, yb := v.aa-u.aa, v.ab-u.ab, v.bb-u.bb, v.ya-u.ya, v.yb-u.yb
		out[i] = y
		if det := aa*bb - ab*ab; det > 1e-9*aa*bb && det > 0 {
			out[i] -= (ya*bb-yb*ab)/det*wires[i] + (yb*aa-ya*ab)/det*slope(i)
		}
	}
	return out
}

// highPass32 is a row less its moving mean over ±half; NaN stays NaN.
func highPass32(v []float32, half int) []float32 {
	row := make([]float64, len(v))
	for i, x := range v {
		row[i] = float64(x)
	}
	out := make([]float32, len(v))
	for i, x := range highPass(row, half) {
		out[i] = float32(x)
	}
	return out
}

// mostSides is how many sides of edges are cleared of wires at most.
const mostSides = 120

// mostCombs is how many combs of such a side are read at most: what is left of
// wires is often stronger than fine marks.
const mostCombs = 6

// readThrough reads the ladders of transparent rulers on the edges of the first
// candidates, with the wires taken off.
func readThrough(py pyramid, cands []candidate) ([]*read, error) {
	var sides []candidate
	for _, c := range cands {
		known := false
		for _, s := range sides {
			known = known || s.frame == c.frame
		}
		if !known {
			sides = append(sides, c)
		}
		if len(sides) == mostSides {
			break
		}
	}
	slots := make([][]*read, len(sides))
	errs := make([]error, len(sides))
	SideBySide(len(sides), func(i int) { slots[i], errs[i] = readSideThrough(py.work, sides[i]) })
	return slices.Concat(slots...), errors.Join(errs...)
}

// What is looked at of a side: the wires beside it, as autocorrelation all along
// the edge, how strongly they show on its inner side, of what they are beside
// it, and the comb of marks there. Of the transparent rulers of drawn scenes
// these lay from 0.18 to 0.97, 0.36 to 0.79 and 0.2 to 0.8; four of five other
// sides fail by the first two.
const (
	leastWiresBeside      = 0.12
	leastUnder, mostUnder = 0.2, 0.95
	leastCombThrough      = 0.14
)

// wiresUnder is the spacing, in px of the picture, of the wires beside an edge.
// ok is false where none stand there or they do not show weaker on the inner
// side, too.
func wiresUnder(p photo.Plane, f Frame) (T float64, ok bool, err error) {
	const beside, blur, inside = 28, 6, 40
	lo, hi := f.Inside(p, f.Lo, f.Hi, -beside, inside)
	if hi-lo < 96 {
		return 0, false, nil
	}
	st := sampleStrip(p, f, lo, hi, -beside, -blur, 1)
	const middle = (beside + blur) / 2
	combs, err := findCombs([][]float64{st.profile(-beside, -middle), st.profile(-middle, -blur)}, lo, combSearch{window: 256, minPeriodPx: 3})
	if err != nil {
		return 0, false, err
	}
	var wires comb
	for _, c := range slices.Concat(combs...) {
		if c.strength > wires.strength {
			wires = c
		}
	}
	if wires.strength < leastWiresBeside*math.Max(1, (hi-lo)/128) {
		return 0, false, nil
	}
	T = wires.periodPx
	half := math.Max(6*T, 40)
	lo, hi = math.Max(wires.center-half, lo), math.Min(wires.center+half, hi)
	ratio := rowsContrast(p, f, lo, hi, blur, inside, T) / rowsContrast(p, f, lo, hi, -beside, -blur, T)
	return T, ratio > leastUnder && ratio < mostUnder, nil
}

// readSideThrough reads the ladders on one side of an edge, with the wires
// beside it taken off.
func readSideThrough(work level, c candidate) ([]*read, error) {
	f := scaleFrame(c.frame, work.k)
	T, ok, err := wiresUnder(work.Plane, f)
	if !ok || err != nil {
		return nil, err
	}
	cl, ok := clearWires(work.Plane, f, T, defaultClearing())
	if !ok {
		return nil, nil
	}
	lo, hi := cl.frame.Lo, cl.frame.Hi
	st := sampleStrip(cl.Plane, cl.frame, lo, hi, 0, combsDeep, 1)
	combs, err := combsLeft(st, lo, T)
	if err != nil {
		return nil, err
	}
	combs = append(unitCombs(st, lo, combs), combs...)
	var out []*read
	for _, cb := range differing(combs, mostCombs) {
		if cb.strength < leastCombThrough*math.Max(1, (hi-lo)/512) {
			continue
		}
		l, ok := readLadder(cl.Plane, cl.frame, cb)
		if !ok {
			continue
		}
		l.frame = f
		l.shear[0] += cl.lean[0]
		l.shear[1] += cl.lean[1]
		from := candidate{frame: c.frame, held: c.held, comb: scaleComb(cb, 1/work.k), weight: c.weight}
		if q := understand(from, l.scaled(1/work.k)); q != nil {
			q.through = true
			out = append(out, q)
		}
	}
	return out, nil
}

// combsLeft are the combs in a strip from which wires of spacing T were taken, the
// strongest first; those of finer marks are looked for a second time with all that
// is as wide as the wires taken off, for what is left of them may drown marks.
func combsLeft(st strip, lo, T float64) ([]comb, error) {
	all, err := combsIn(st, lo)
	if err != nil {
		return nil, err
	}
	fine := st
	fine.v = make([]float32, 0, len(st.v))
	for r := range st.rows {
		fine.v = append(fine.v, highPass32(st.v[r*st.cols:(r+1)*st.cols], int(math.Max(2, T/4)))...)
	}
	more, err := combsIn(fine, lo)
	if err != nil {
		return nil, err
	}
	for _, c := range more {
		if c.periodPx < 0.6*T {
			all = append(all, c)
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].strength > all[j].strength })
	return all, nil
}

// differing are the first n combs of differing spacing.
func differing(combs []comb, n int) []comb {
	var out []comb
	for _, c := range combs {
		fresh := true
		for _, o := range out {
			fresh = fresh && math.Abs(c.periodPx/o.periodPx-1) > 0.1
		}
		if fresh && len(out) < n {
			out = append(out, c)
		}
	}
	return out
}
