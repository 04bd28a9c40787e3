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
	// lean is that of the wires, along px per depth px, as Scale.Shear has it.
	lean [2]float64
	seen [][]float32 // by rows of the plane, as they are
	left [][]float32 // the same, shifted by the lean, without the wires; 0 where nothing is
	off  [][]float32 // what was taken off of those
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

// clearWires takes the wires of spacing about T off the strip inside an edge. left is
// what it leaves of all that is seen near the edge, in parts of its square; ok is
// false where too little of the edge is in the picture.
func clearWires(p photo.Plane, f Frame, T float64, s clearing) (c cleared, left float64, ok bool) {
	lo, hi := f.Inside(p, f.Lo, f.Hi, -float64(s.Skip+4), 8)
	if !(T >= 3) || hi-lo < float64(s.Window)/2 {
		return c, 0, false
	}
	lo = math.Ceil(lo)
	st := sampleStrip(p, f, lo, hi, -float64(s.Beside), float64(s.Deep), 1)
	if st.cols == 0 {
		return c, 0, false
	}
	// what is wider than wires and marks is shade
	half := int(math.Max(2*T, 24))
	rows := make([][]float32, st.rows)
	for r := range rows {
		rows[r] = highPass32(st.v[r*st.cols:(r+1)*st.cols], half)
	}
	seen := slices.Clone(rows)
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
	c.seen = seen[s.Beside-edgeRow:]
	in := rows[s.Beside-edgeRow:]
	c.left, c.off = make([][]float32, len(in)), make([][]float32, len(in))
	var before, after float64
	for r, row := range in {
		c.left[r], c.off[r] = without(row, wires, s.Window/2)
		for i, v := range c.left[r] {
			if r < 42 && row[i] == row[i] {
				before += float64(row[i]) * float64(row[i])
				after += float64(v) * float64(v)
			}
		}
	}
	c.frame = Frame{X: -lo, Y: edgeRow, TX: 1, NY: 1, Lo: lo, Hi: hi, Half: f.Half}
	c.draw()
	return c, after / math.Max(before, 1e-9), true
}

// edgeRow is the row of a cleared strip on which its edge runs.
const edgeRow = 2

// undone is the strip as it was before wires were taken off.
func (c cleared) undone() cleared {
	left, off := make([][]float32, len(c.left)), make([][]float32, len(c.left))
	for r := range left {
		left[r], off[r] = make([]float32, c.W), make([]float32, c.W)
		for i, v := range c.left[r] {
			left[r][i] = v + c.off[r][i]
		}
	}
	c.left, c.off = left, off
	return c
}

// draw makes the plane: what was seen less what was taken off, which is shifted back
// by the lean, so that marks stand upright and unblurred.
func (c *cleared) draw() {
	w := len(c.seen[0])
	c.Plane = photo.Plane{W: w, H: len(c.seen), Pix: make([]uint8, w*len(c.seen))}
	for r, row := range c.seen {
		d := float64(r - edgeRow)
		turn := c.lean[1] / 1000
		for i, v := range row {
			at := (float64(i) - d*(c.lean[0]+turn*c.frame.Lo)) / (1 + d*turn)
			v -= float32(between(c.off[r], at))
			if v != v {
				v = 0
			}
			c.Pix[r*w+i] = uint8(min(max(math.Round(128+float64(v)), 0), 255))
		}
	}
}

// beyond takes off, too, what is left of wires farther inside than marks reach,
// between two depths in px: a wire that is rusty or bent beside the edge is another
// one there.
func (c cleared) beyond(depths [2]int, window int) cleared {
	d0, d1 := depths[0]+edgeRow, min(depths[1]+edgeRow, len(c.left))
	if d0 >= d1 {
		return c
	}
	rest := make([]float64, c.W)
	col := make([]float64, d1-d0)
	for i := range rest {
		for r := range col {
			col[r] = float64(c.left[d0+r][i])
		}
		rest[i] = quickSelect(col, len(col)/2)
	}
	out := c
	out.left, out.off = make([][]float32, len(c.left)), make([][]float32, len(c.left))
	// The wires near the edge are those farther inside: they are taken off as they are
	// there, and of what fits them stronger or weaker but half, for marks may fit, too.
	const again = 0.5
	for r, row := range c.left {
		left := make([]float32, len(row))
		for i, v := range row {
			left[i] = v - float32(rest[i])
		}
		_, off := without(left, rest, window/2)
		for i, v := range off {
			left[i] -= again * v
			off[i] = c.off[r][i] + float32(rest[i]) + again*v
		}
		out.left[r], out.off[r] = left, off
	}
	out.draw()
	return out
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
// Where the row has nothing (NaN) it is 0. off is what was taken off.
func without(row []float32, wires []float64, half int) (left, off []float32) {
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
	left, off = make([]float32, n), make([]float32, n)
	for i := range left {
		if row[i] != row[i] {
			continue
		}
		u, v := acc[max(0, i-half)], acc[min(n, i+half+1)]
		aa, ab, bb, ya, yb := v.aa-u.aa, v.ab-u.ab, v.bb-u.bb, v.ya-u.ya, v.yb-u.yb
		if det := aa*bb - ab*ab; det > 1e-9*aa*bb && det > 0 {
			off[i] = float32((ya*bb-yb*ab)/det*wires[i] + (yb*aa-ya*ab)/det*slope(i))
		}
		left[i] = row[i] - off[i]
	}
	return left, off
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

// mostCombs is how many combs of such a side are read at most: what is left of
// wires is often stronger than fine marks.
const mostCombs = 6

// readThrough reads the ladders of transparent rulers on sides of edges, with the
// wires taken off.
func readThrough(py pyramid, sides []candidate) ([]*read, error) {
	slots := make([][]*read, len(sides))
	errs := make([]error, len(sides))
	SideBySide(len(sides), func(i int) { slots[i], errs[i] = readSideThrough(py.work, sides[i]) })
	return slices.Concat(slots...), errors.Join(errs...)
}

// What is looked at of a side: the wires beside it, as autocorrelation all along the
// edge, how strongly they show on its inner side, of what they are beside it, and the
// comb of marks there. Of the transparent rulers of drawn scenes these lay from 0.18 to
// 0.97, 0.36 to 0.79 and 0.2 to 0.8; four of five other sides fail by the first two.
const (
	leastWiresBeside      = 0.12
	leastUnder, mostUnder = 0.2, 0.95
	leastCombThrough      = 0.14
)

// The depths in px on both sides of an edge between which wires are looked at.
const besideFar, besideNear, underFar = 28, 6, 40

// wiresBeside is the strongest comb of wires beside an edge; ok is false where none
// stand there.
func wiresBeside(p photo.Plane, f Frame) (wires comb, ok bool, err error) {
	lo, hi := f.Inside(p, f.Lo, f.Hi, -besideFar, underFar)
	if hi-lo < 96 {
		return wires, false, nil
	}
	st := sampleStrip(p, f, lo, hi, -besideFar, -besideNear, 1)
	const middle = (besideFar + besideNear) / 2
	combs, err := findCombs([][]float64{st.profile(-besideFar, -middle), st.profile(-middle, -besideNear)}, lo, combSearch{window: 256, minPeriodPx: 3})
	for _, c := range slices.Concat(combs...) {
		if c.strength > wires.strength {
			wires = c
		}
	}
	return wires, wires.strength >= leastWiresBeside*math.Max(1, (hi-lo)/128), err
}

// wiresUnder says whether the wires beside an edge show weaker on its inner side, too.
func wiresUnder(p photo.Plane, f Frame) (bool, error) {
	wires, ok, err := wiresBeside(p, f)
	if err != nil || !ok {
		return false, err
	}
	T := wires.periodPx
	half := math.Max(6*T, 40)
	lo, hi := math.Max(wires.center-half, f.Lo), math.Min(wires.center+half, f.Hi)
	ratio := rowsContrast(p, f, lo, hi, besideNear, underFar, T) / rowsContrast(p, f, lo, hi, -besideFar, -besideNear, T)
	return ratio > leastUnder && ratio < mostUnder, nil
}

// readSideThrough reads the ladders on one side of an edge, with the wires beside it
// taken off, and what is left of them farther inside.
func readSideThrough(work level, c candidate) ([]*read, error) {
	f := scaleFrame(c.frame, work.k)
	wires, ok, err := wiresBeside(work.Plane, f)
	if err != nil || !ok {
		return nil, err
	}
	T := wires.periodPx
	cl, left, ok := clearWires(work.Plane, f, T, defaultClearing())
	if !ok {
		return nil, nil
	}
	ways := []cleared{cl}
	if left > mostLeft {
		cl = cl.undone()
		ways = nil
	}
	for _, d := range beyondMarks() {
		ways = append(ways, cl.beyond(d, defaultClearing().Window))
	}
	var out []*read
	for _, way := range ways {
		reads, err := readCleared(work, c, way, T)
		if err != nil {
			return nil, err
		}
		out = append(out, reads...)
	}
	return out, nil
}

// mostLeft is how much of what is seen near an edge may be left without the wires, in
// parts of its square, if those run on under it.
const mostLeft = 0.7

// mostFar is how strong a comb of marks is farther inside, in parts of what it is
// near the edge.
const mostFar = 0.8

// beyondMarks are depths in px of the work level between which there may be nothing
// but wires: marks are 3 to 14 mm long and rulers 15 to 40 mm wide (common practice,
// no source), in pictures of 40 to 100 px to the inch and of 100 to 250.
func beyondMarks() [2][2]int { return [2][2]int{{45, 160}, {20, 70}} }

// readCleared reads the ladders in a strip with wires of spacing T taken off.
func readCleared(work level, c candidate, cl cleared, T float64) ([]*read, error) {
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
		if !endsInside(cl, cb) {
			continue
		}
		l, ok := readLadder(cl.Plane, cl.frame, cb)
		if !ok {
			continue
		}
		l.frame = scaleFrame(c.frame, work.k)
		from := candidate{frame: c.frame, held: c.held, comb: scaleComb(cb, 1/work.k), weight: c.weight}
		if q := understand(from, l.scaled(1/work.k)); q != nil {
			q.through = true
			out = append(out, q)
		}
	}
	return out, nil
}

// endsInside says whether a comb is weaker farther inside, as marks are and what is
// left of wires is not.
func endsInside(cl cleared, c comb) bool {
	T := c.periodPx
	half := math.Max(6*T, 40)
	lo, hi := math.Max(c.center-half, cl.frame.Lo), math.Min(c.center+half, cl.frame.Hi)
	const nearest, farthest = 5, 7 // spacings; the shortest marks are 1 to 4 long
	far := rowsContrast(cl.Plane, cl.frame, lo, hi, nearest*T, farthest*T, T)
	return far < mostFar*rowsContrast(cl.Plane, cl.frame, lo, hi, c.depth[0], c.depth[1], T)
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
