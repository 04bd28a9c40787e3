package calib

import (
	"math"
	"slices"

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
	// wires are those beside the edge, along it.
	wires []float64
	half  int // of the window in which their strength is taken as one
}

// clearing are the settings of clearWires, all in px of the level they are
// taken off on.
type clearing struct {
	Beside int     // depth of the strip beside the edge from which the wires are taken
	Skip   int     // of it nearest to the edge left out: the edge's own blur and shadow
	Deep   int     // least depth of the strip inside that is cleared: the longest marks
	Lean   float64 // greatest lean of the wires sought
	Window int     // length along the edge over which the wires' strength is taken as one
}

func defaultClearing() clearing {
	return clearing{Beside: 28, Skip: 4, Deep: 180, Lean: 0.3, Window: 240}
}

// deepFor is how deep a strip is cleared of wires of spacing T. These stand no closer than
// 30 to the inch, which tells how large an inch is at most, and marks are up to 14 mm long
// (common practice, no source): those that run on past the strip are all of one length.
func (s clearing) deepFor(T float64) float64 {
	const finest, longestIn = 30, 14 / 25.4
	return max(float64(s.Deep), min(math.Ceil(finest*longestIn*T), deepestMarksPx))
}

// clearWires takes the wires of spacing about T off the strip inside an edge. left is
// what it leaves of all that is seen near the edge, in parts of its square; ok is
// false where too little of the edge is in the picture.
func clearWires(p sharpView, f Frame, T float64, s clearing) (c cleared, left float64, ok bool) {
	lo, hi := f.Inside(p.size(), f.Lo, f.Hi, -float64(s.Skip+4), 8)
	if !(T >= 3) || hi-lo < float64(s.Window)/2 {
		return c, 0, false
	}
	lo = math.Ceil(lo)
	st := p.sample(f, lo, hi, -float64(s.Beside), s.deepFor(T))
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
	c.wires = wires
	c.half = s.Window / 2
	take := newTaking(wires, nil, c.half)
	for r, row := range in {
		c.left[r], c.off[r] = take.from(row)
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

// leanSpacing is the widest spacing for which the lean of wires is sought, px: where
// they are not alike they seem to come again only after several.
const leanSpacing = 12

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
		off := sharpRowOf(c.off[r])
		for i, v := range row {
			at := (float64(i) - d*(c.lean[0]+turn*c.frame.Lo)) / (1 + d*turn)
			v -= float32(off.at(at))
			if v != v {
				v = 0
			}
			c.Pix[r*w+i] = uint8(min(max(math.Round(128+float64(v)), 0), 255))
		}
	}
}

// beyond is the strip with the wires taken off by what they are beside the edge and by
// what they are farther inside than marks reach, between two depths in px, together.
func (c cleared) beyond(depths [2]int) cleared {
	d0, d1 := depths[0]+edgeRow, min(depths[1]+edgeRow, len(c.left))
	if d0 >= d1 {
		return c
	}
	rest := make([]float64, c.W)
	col := make([]float64, d1-d0)
	for i := range rest {
		for r := range col {
			col[r] = float64(c.left[d0+r][i] + c.off[d0+r][i])
		}
		rest[i] = quickSelect(col, len(col)/2)
	}
	out := c
	out.left, out.off = make([][]float32, len(c.left)), make([][]float32, len(c.left))
	take := newTaking(c.wires, rest, c.half)
	row := make([]float32, c.W)
	for r := range c.left {
		for i := range row {
			row[i] = c.left[r][i] + c.off[r][i]
		}
		out.left[r], out.off[r] = take.from(row)
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
	reach := float64(picked[len(picked)-1]) + st.d0
	T = math.Min(T, leanSpacing)
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
		out, row := make([]float32, st.cols), sharpRowOf(rows[r])
		for i := range out {
			sh := lean[0] + lean[1]*(st.lo+float64(i))/1000
			out[i] = float32(row.at(float64(i) + sh*d))
		}
		rows[r] = out
	}
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
