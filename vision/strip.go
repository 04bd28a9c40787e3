package vision

import (
	"math"
	"sort"

	"dentcount/calib"
	"dentcount/photo"
)

// strip is a grid of grey levels beside an edge. Row r lies at depth
// d0 + r·step, column c at along lo + c. NaN outside the picture.
type strip struct {
	lo, d0, step float64
	cols, rows   int
	v            []float32
}

func (s strip) row(r int) []float32 { return s.v[r*s.cols : (r+1)*s.cols] }

func (s strip) depth(r int) float64 { return s.d0 + float64(r)*s.step }

// beside samples the frame between two depths (d0 < d1) for along in [lo, hi].
func beside(p photo.Plane, f calib.Frame, lo, hi, d0, d1, step float64) strip {
	s := strip{lo: lo, d0: d0, step: step}
	s.cols, s.rows, s.v = f.Sample(p, lo, hi, d0, d1, step)
	if s.cols < 8 {
		return strip{}
	}
	return s
}

// highPass takes from each row its moving mean over ±half columns.
func (s strip) highPass(half int) strip {
	o := s
	o.v = make([]float32, len(s.v))
	sum := make([]float64, s.cols+1)
	cnt := make([]int, s.cols+1)
	for r := 0; r < s.rows; r++ {
		row, out := s.row(r), o.row(r)
		for i, x := range row {
			sum[i+1], cnt[i+1] = sum[i], cnt[i]
			if x == x {
				sum[i+1] += float64(x)
				cnt[i+1]++
			}
		}
		for i, x := range row {
			a, b := max(0, i-half), min(s.cols, i+half+1)
			if n := cnt[b] - cnt[a]; n > 0 {
				out[i] = x - float32((sum[b]-sum[a])/float64(n))
			} else {
				out[i] = float32(math.NaN())
			}
		}
	}
	return o
}

// clipped has no values but as far from nought as the bands' own. crossed says that some
// are much farther: yarn or a thread across the bands is a few times as bright as they
// are, and lies in another direction.
func (s strip) clipped() (o strip, crossed bool) {
	// Narrow slots and wires are an eighth of their spacing and more (common practice,
	// no source), yarn is a smaller share of a strip.
	return s.clippedAt(0.9)
}

// dimmed is a strip in which nothing stands off its surroundings by more than three in
// four places do: for bands that are lost beside yarn which is many times as bright, and
// with its shadow covers more of the strip than they do. half is as in highPass.
func (s strip) dimmed(half int) (o strip, crossed bool) {
	h := s.highPass(half)
	c, crossed := h.clippedAt(0.75)
	o = s
	o.v = make([]float32, len(s.v))
	for i, v := range s.v {
		o.v[i] = v - h.v[i] + c.v[i]
	}
	return o, crossed
}

// clippedAt is clipped, where so large a share of the places is no farther from nought
// than the bands' own.
func (s strip) clippedAt(bands float64) (o strip, crossed bool) {
	const far, some, every = 2.2, 0.003, 7 // samples do
	var seen []float64
	for i := 0; i < len(s.v); i += every {
		if v := s.v[i]; v == v {
			seen = append(seen, math.Abs(float64(v)))
		}
	}
	if len(seen) == 0 {
		return s, false
	}
	sort.Float64s(seen)
	at := func(share float64) float64 { return seen[int(share*float64(len(seen)-1))] }
	if at(1-some) < far*at(bands) {
		return s, false
	}
	most := float32(at(bands))
	o = s
	o.v = make([]float32, len(s.v))
	for i, v := range s.v {
		o.v[i] = min(max(v, -most), most)
	}
	return o, true
}

// smooth is each row under the kernel 1-2-1.
func (s strip) smooth() strip {
	o := s
	o.v = make([]float32, len(s.v))
	for r := 0; r < s.rows; r++ {
		row, out := s.row(r), o.row(r)
		copy(out, row)
		for i := 1; i+1 < len(row); i++ {
			out[i] = (row[i-1] + 2*row[i] + row[i+1]) / 4
		}
	}
	return o
}

// lean is how far bands lean: along px per px of depth, A + B·along/1000.
type lean struct{ A, B float64 }

func (l lean) at(along float64) float64 { return l.A + l.B*along/1000 }

// sheared is the mean over rows r0 ≤ r < r1 of the strip along the lean, by
// position at the edge. Columns seen by fewer than half the rows are NaN.
func (s strip) sheared(l lean, r0, r1, every int) []float64 {
	sum := make([]float32, s.cols)
	n := make([]int32, s.cols)
	rows := 0
	// Columns are walked in fixed point: a third of the time of floats.
	const bits = 32
	fixed := func(x float64) int64 { return int64(x * (1 << bits)) }
	for r := r0; r < r1; r += every {
		rows++
		d := s.depth(r)
		row := s.row(r)
		x, step := fixed(l.at(s.lo)*d), fixed(1+l.B*d/1000)
		end := int64(s.cols-1) << bits
		c := 0
		for ; c < s.cols && x < 0; c++ {
			x += step
		}
		for ; c < s.cols && x < end; c++ {
			i := x >> bits
			a, b := row[i], row[i+1]
			if v := a + (b-a)*(float32(uint32(x))*(1.0/(1<<bits))); v == v {
				sum[c] += v
				n[c]++
			}
			x += step
		}
	}
	out := make([]float64, s.cols)
	for c := range out {
		if 2*int(n[c]) < rows || n[c] == 0 {
			out[c] = math.NaN()
		} else {
			out[c] = float64(sum[c]) / float64(n[c])
		}
	}
	return out
}

// cubicSteps is how finely a place between two columns is told in contrastAlong.
const cubicBits, cubicSteps = 6, 1 << cubicBits

// cubic are the weights of four neighbouring columns at a place between the
// middle two, by Catmull and Rom's spline (1974).
var cubic = func() (w [cubicSteps][4]float32) {
	for i := range w {
		t := (float64(i) + 0.5) / cubicSteps
		w[i] = [4]float32{
			float32(t * (-0.5 + t*(1-0.5*t))), float32(1 + t*t*(-2.5+1.5*t)),
			float32(t * (0.5 + t*(2-1.5*t))), float32(t * t * (-0.5 + 0.5*t)),
		}
	}
	return w
}()

// doubled has a column between each two, by the polynomial through eight.
func (s strip) doubled() strip {
	o := s
	o.cols = 2*s.cols - 1
	o.v = make([]float32, o.cols*s.rows)
	at := func(row []float32, c int) float32 { return row[min(max(c, 0), len(row)-1)] }
	for r := 0; r < s.rows; r++ {
		row, out := s.row(r), o.row(r)
		for c := range row {
			out[2*c] = row[c]
			if c+1 == len(row) {
				break
			}
			if c < 3 || c+4 >= len(row) {
				out[2*c+1] = (-5*(at(row, c-3)+at(row, c+4)) + 49*(at(row, c-2)+at(row, c+3)) - 245*(at(row, c-1)+at(row, c+2)) + 1225*(row[c]+row[c+1])) / 2048
				continue
			}
			out[2*c+1] = (-5*(row[c-3]+row[c+4]) + 49*(row[c-2]+row[c+3]) - 245*(row[c-1]+row[c+2]) + 1225*(row[c]+row[c+1])) / 2048
		}
	}
	return o
}

// contrastAlong is the mean square of a doubled strip's mean along a lean, of
// every so many rows; 0 where less than half of the columns are seen. How places
// between columns are filled in matters: a straight line takes a tenth of fine
// bands' contrast half-way between two columns and nothing on one, so that a lean
// of nought, where every row is met on its columns, would seem the best.
func (s strip) contrastAlong(l lean, every int) float64 {
	cols := (s.cols + 1) / 2
	sum := make([]float32, cols)
	n := make([]int32, cols)
	rows := 0
	const bits = 32
	fixed := func(x float64) int64 { return int64(2 * x * (1 << bits)) }
	end := int64(s.cols-2) << bits
	for r := 0; r < s.rows; r += every {
		rows++
		d := s.depth(r)
		row := s.row(r)
		x, step := fixed(l.at(s.lo)*d), fixed(1+l.B*d/1000)
		c := 0
		for ; c < cols && x < 1<<bits; c++ {
			x += step
		}
		for ; c < cols && x < end; c++ {
			i := x >> bits
			w := &cubic[uint32(x)>>(bits-cubicBits)]
			if v := w[0]*row[i-1] + w[1]*row[i] + w[2]*row[i+1] + w[3]*row[i+2]; v == v {
				sum[c] += v
				n[c]++
			}
			x += step
		}
	}
	var q float64
	seen := 0
	for c, v := range sum {
		if n[c] > 0 && 2*int(n[c]) >= rows {
			m := float64(v) / float64(n[c])
			q += m * m
			seen++
		}
	}
	if 2*seen < cols {
		return 0
	}
	return q / float64(seen)
}

// findLean finds the direction in which the strip's bands run: the lean at
// which their mean keeps most contrast. gain is the contrast kept, 0…1.
func findLean(s strip, halfPx int) (l lean, gain float64) {
	// Smoothed: of the finest grain less is kept between two columns, however it
	// is filled in.
	h := s.highPass(halfPx).smooth()
	l, gain = h.leanOfMost()
	// Where something brighter than bands crosses them, it may be its lean that was found.
	if c, crossed := h.clipped(); crossed {
		const better = 1.01
		fine, every := c.doubled(), max(1, s.rows/20)
		if m, _ := c.leanOfMost(); fine.contrastAlong(m, every) > better*fine.contrastAlong(l, every) {
			return m, h.doubled().contrastAlong(m, every) / h.power(every)
		}
	}
	return l, gain
}

// power is the mean square of every so many rows.
func (s strip) power(every int) float64 {
	var sum float64
	n := 0
	for r := 0; r < s.rows; r += every {
		for _, v := range s.row(r) {
			if v == v {
				sum += float64(v) * float64(v)
				n++
			}
		}
	}
	return sum / float64(max(n, 1))
}

// leanOfMost is findLean for a strip that is free of its slow changes.
func (h strip) leanOfMost() (l lean, gain float64) {
	fine := h.doubled()
	every := max(1, h.rows/20)
	total := h.power(every)
	if total == 0 {
		return l, 0
	}
	score := func(l lean) float64 { return fine.contrastAlong(l, every) }
	best := -1.0
	span := math.Abs(h.depth(h.rows-1)-h.depth(0)) + 1
	stepA := math.Min(0.02, 1.2/span)
	var tries []lean
	for a := -0.24; a <= 0.24; a += stepA {
		tries = append(tries, lean{A: a})
	}
	scores := make([]float64, len(tries))
	calib.SideBySide(len(tries), func(i int) { scores[i] = score(tries[i]) })
	for i, v := range scores {
		if v > best {
			best, l = v, tries[i]
		}
	}
	// From there by what a band shifts over the strip's depth at the strip's two
	// ends: these two hardly depend on each other, and both are felt alike.
	lo, hi := h.lo, h.lo+float64(h.cols-1)
	ends := func(atLo, atHi float64) lean {
		b := (atHi - atLo) / span / (hi - lo) * 1000
		return lean{A: atLo/span - b*lo/1000, B: b}
	}
	atLo, atHi := l.at(lo)*span, l.at(hi)*span
	const finestPx = 0.02
	for step := 1.0; step > finestPx; {
		moved := false
		moves := [8][2]float64{{1, -1}, {-1, 1}, {1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {-1, -1}}
		var tried [8]lean
		var scores [8]float64
		calib.SideBySide(len(moves), func(i int) {
			tried[i] = ends(atLo+step*moves[i][0], atHi+step*moves[i][1])
			if math.Abs(tried[i].B) <= 0.3 {
				scores[i] = score(tried[i])
			}
		})
		for i, v := range scores {
			if v > best {
				best, l, moved = v, tried[i], true
			}
		}
		if moved {
			atLo, atHi = l.at(lo)*span, l.at(hi)*span
		}
		if !moved {
			step /= 2
		}
	}
	return l, best / total
}
