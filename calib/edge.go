package calib

import (
	"encoding/binary"
	"math"
	"sort"

	"dentcount/photo"

	"gonum.org/v1/gonum/mat"
)

// Frame is a curved coordinate frame along an edge in the photo.
//
//	point(along, depth) = (X, Y) + along·(TX, TY) + (bow(along) + depth)·(NX, NY)
//
// along and depth are pixels, (TX, TY) and (NX, NY) unit vectors at right
// angles, bow a cubic of along/Half. Depth > 0 is inside the ruler.
type Frame struct {
	X, Y, TX, TY, NX, NY float64
	Lo, Hi               float64    // the part of the edge that was seen
	Half                 float64    // scale of the bow's argument
	Bow                  [4]float64 // px
}

// Point is the pixel at (along, depth).
func (f Frame) Point(along, depth float64) (x, y float64) {
	d := depth + f.bow(along)
	return f.X + along*f.TX + d*f.NX, f.Y + along*f.TY + d*f.NY
}

// Locate is the inverse of Point.
func (f Frame) Locate(x, y float64) (along, depth float64) {
	dx, dy := x-f.X, y-f.Y
	along = dx*f.TX + dy*f.TY
	return along, dx*f.NX + dy*f.NY - f.bow(along)
}

func (f Frame) bow(along float64) float64 {
	u := along / f.Half
	return f.Bow[0] + u*(f.Bow[1]+u*(f.Bow[2]+u*f.Bow[3]))
}

// Flipped is the same edge seen from its other side.
func (f Frame) Flipped() Frame {
	g := f
	g.NX, g.NY = -f.NX, -f.NY
	for i := range g.Bow {
		g.Bow[i] = -f.Bow[i]
	}
	return g
}

// Halved is the same edge in the picture at half its size, in the pixels of the whole one:
// along and depth stay as they are.
func (f Frame) Halved() Frame {
	g := f
	g.X, g.Y = (f.X+0.5)/2-0.5, (f.Y+0.5)/2-0.5
	g.TX, g.TY, g.NX, g.NY = f.TX/2, f.TY/2, f.NX/2, f.NY/2
	return g
}

// Inside narrows [lo, hi] to the part of the frame whose depths d0…d1 lie in
// the picture.
func (f Frame) Inside(p photo.Plane, lo, hi, d0, d1 float64) (float64, float64) {
	in := func(a float64) bool {
		for _, d := range [2]float64{d0, d1} {
			x, y := f.Point(a, d)
			if x < 1 || y < 1 || x > float64(p.W-2) || y > float64(p.H-2) {
				return false
			}
		}
		return true
	}
	for lo < hi && !in(lo) {
		lo += 2
	}
	for hi > lo && !in(hi) {
		hi -= 2
	}
	return lo, hi
}

// newFrame lays a straight frame along a segment.
func newFrame(s segment) Frame {
	return Frame{X: s.X, Y: s.Y, TX: s.TX, TY: s.TY, NX: -s.TY, NY: s.TX, Lo: s.Lo, Hi: s.Hi,
		Half: math.Max((s.Hi-s.Lo)/2, 1)}
}

// traceEdge bends a frame onto the edge it runs along and lengthens it as far
// as the edge goes on. reach is how far the edge may lie from the frame, in px.
// held is the share of the frame's length at which an edge lies on it: all of it
// where the frame follows a real edge, about half where it cuts across things.
func traceEdge(p photo.Plane, f Frame, reach float64) (_ Frame, held float64) {
	span := f.Hi - f.Lo
	chunk := math.Max(span/48, 10)
	type point struct{ a, d, w float64 }
	measure := func(f Frame, a0, a1, reach float64) (point, bool) {
		n := int(2*reach) + 3
		g := make([]float64, n)
		steps := 0
		for a := a0; a < a1; a += math.Max(1.5, chunk/14) {
			last := math.NaN()
			x0, y0, bow := f.X+a*f.TX, f.Y+a*f.TY, f.bow(a)
			for i := 0; i < n; i++ {
				d := -reach - 1 + float64(i) + bow
				v := p.At(x0+d*f.NX, y0+d*f.NY)
				if i > 0 && !math.IsNaN(v) && !math.IsNaN(last) {
					g[i] += math.Abs(v - last)
				}
				last = v
			}
			steps++
		}
		if steps == 0 {
			return point{}, false
		}
		med := append([]float64(nil), g[1:]...)
		sort.Float64s(med)
		floor := med[len(med)/2]
		best, bi := -1.0, 0
		for i := 1; i < n; i++ {
			// nearer is likelier: a gentle slope towards the frame
			v := (g[i] - floor) * (1 - 0.3*math.Abs(float64(i)-float64(n)/2)/float64(n))
			if v > best {
				best, bi = v, i
			}
		}
		if best <= 0 {
			return point{}, false
		}
		// centroid of the crest
		var sw, sd float64
		for i := max(1, bi-2); i <= min(n-1, bi+2); i++ {
			w := math.Max(0, g[i]-floor)
			sw += w
			sd += w * float64(i)
		}
		return point{a: (a0 + a1) / 2, d: -reach - 1.5 + sd/sw, w: best / float64(steps)}, true
	}
	var pts []point
	for a := f.Lo; a+chunk <= f.Hi; a += chunk {
		if q, ok := measure(f, a, a+chunk, reach); ok {
			pts = append(pts, q)
		}
	}
	if len(pts) < 5 {
		return f, 0
	}
	fit := func() bool {
		w := make([]float64, len(pts))
		for i := range w {
			w[i] = 1
		}
		var c [4]float64
		for it := 0; it < 8; it++ {
			deg := 3
			if len(pts) < 10 {
				deg = 1
			}
			a := mat.NewDense(len(pts)+4, 4, nil)
			b := mat.NewVecDense(len(pts)+4, nil)
			for i, q := range pts {
				u := q.a / f.Half
				s := math.Sqrt(w[i])
				v := 1.0
				for j := 0; j <= deg; j++ {
					a.Set(i, j, s*v)
					v *= u
				}
				b.SetVec(i, s*(q.d+f.bow(q.a)))
			}
			for j := 0; j < 4; j++ { // a faint pull to straight keeps the fit solvable
				a.Set(len(pts)+j, j, 1e-3)
			}
			var x mat.VecDense
			if err := x.SolveVec(a, b); err != nil {
				return false
			}
			for j := range c {
				c[j] = x.AtVec(j)
			}
			for i, q := range pts {
				u := q.a / f.Half
				r := q.d + f.bow(q.a) - (c[0] + u*(c[1]+u*(c[2]+u*c[3])))
				w[i] = 1 / (1 + r*r/1.5)
			}
		}
		f.Bow = c
		return true
	}
	if !fit() {
		return f, 0
	}
	ws := make([]float64, len(pts))
	for i, q := range pts {
		ws[i] = q.w
	}
	sort.Float64s(ws)
	typical := ws[len(ws)/2]
	grow := func(dir float64) {
		for i, misses := 0, 0; i < 200 && misses < 3; i++ {
			a0 := f.Hi
			if dir < 0 {
				a0 = f.Lo - chunk
			}
			x, y := f.Point(a0+chunk/2, 0)
			if x < 2 || y < 2 || x > float64(p.W-3) || y > float64(p.H-3) {
				return
			}
			q, ok := measure(f, a0, a0+chunk, 3)
			if !ok || q.w < 0.35*typical || math.Abs(q.d) > 2.5 {
				misses++
			} else {
				misses = 0
			}
			if dir > 0 {
				f.Hi += chunk
			} else {
				f.Lo -= chunk
			}
			if misses == 3 {
				if dir > 0 {
					f.Hi -= 3 * chunk
				} else {
					f.Lo += 3 * chunk
				}
			}
		}
	}
	grow(1)
	grow(-1)
	pts = pts[:0]
	first := f.Lo
	chunks := int((f.Hi - f.Lo) / chunk)
	for i := range chunks {
		a := first + float64(i)*chunk
		if q, ok := measure(f, a, a+chunk, 3); ok {
			pts = append(pts, q)
		}
	}
	before := f
	if len(pts) >= 5 {
		fit()
	}
	const near = 0.7 // px
	on := make([]float64, max(1, chunks))
	for i := range on {
		on[i] = -1
	}
	for _, q := range pts {
		if math.Abs(q.d+before.bow(q.a)-f.bow(q.a)) < near {
			on[min(int((q.a-first)/chunk), len(on)-1)] = 1
		}
	}
	for _, v := range on {
		held += (v + 1) / 2
	}
	held /= float64(len(on))
	// A line that runs on over a ruler's ends is an edge between them only, and
	// there without a gap; one that cuts across things has gaps wherever it runs.
	lo, hi, sum := bestStretch(on)
	if n := hi - lo + 1; held < mostlyHeld && n >= fewestHeld && sum >= gapless*float64(n) {
		f.Lo, f.Hi = first+float64(lo)*chunk, first+float64(hi+1)*chunk
		held = (sum/float64(n) + 1) / 2
	}
	return f, held
}

const (
	mostlyHeld = 0.7 // the share up to which a line may run on over a ruler's ends
	// fewestHeld is how many pieces in a row such an edge is made of at least, of
	// some 48 that it was sought in; gapless how many more hold than not.
	fewestHeld, gapless = 6, 0.9
)

// strip samples the frame on a grid: rows are depths d0, d0+step …, columns
// along positions lo, lo+1 …; NaN outside the picture. Row-major.
type strip struct {
	lo, d0, step float64
	cols, rows   int
	v            []float32
}

func sampleStrip(p photo.Plane, f Frame, lo, hi, d0, d1, step float64) strip {
	s := strip{lo: lo, d0: d0, step: step}
	s.cols, s.rows, s.v = f.Sample(p, lo, hi, d0, d1, step)
	return s
}

// Sample takes the picture's grey levels on a grid: rows are depths d0, d0+step …
// d1, columns positions lo, lo+1 … hi along the edge; NaN outside the picture.
// v is row after row; all is zero where the grid is empty.
func (f Frame) Sample(p photo.Plane, lo, hi, d0, d1, step float64) (cols, rows int, v []float32) {
	cols, rows = int(hi-lo)+1, int((d1-d0)/step)+1
	if cols < 1 || rows < 1 {
		return 0, 0, nil
	}
	v = make([]float32, cols*rows)
	// In blocks of columns, row after row, so that what is read and written
	// next lies near in memory whichever way the frame runs.
	const block = 256
	var xs, ys [block]int32
	for c0 := 0; c0 < cols; c0 += block {
		n := min(block, cols-c0)
		var box [4]int32 // the least and greatest of xs and ys
		for i := 0; i < n; i++ {
			x, y := f.Point(lo+float64(c0+i), d0)
			xs[i], ys[i] = toFixed(x), toFixed(y)
			if i == 0 {
				box = [4]int32{xs[0], xs[0], ys[0], ys[0]}
			}
			box = [4]int32{min(box[0], xs[i]), max(box[1], xs[i]), min(box[2], ys[i]), max(box[3], ys[i])}
		}
		for r := 0; r < rows; r++ {
			d := step * float64(r)
			dx, dy := toFixed(d*f.NX), toFixed(d*f.NY)
			out := v[r*cols+c0 : r*cols+c0+n]
			if box[0]+dx >= 0 && box[2]+dy >= 0 && box[1]+dx < int32(p.W-1)<<fixedBits && box[3]+dy < int32(p.H-1)<<fixedBits {
				sampleRow(p, out, xs[:n], ys[:n], dx, dy)
				continue
			}
			for i := range out {
				out[i] = nan32
				if x, y := xs[i]+dx, ys[i]+dy; x >= 0 && y >= 0 && x < int32(p.W-1)<<fixedBits && y < int32(p.H-1)<<fixedBits {
					sampleRow(p, out[i:i+1], xs[i:i+1], ys[i:i+1], dx, dy)
				}
			}
		}
	}
	return cols, rows, v
}

// Positions are sampled in fixed point, to 1/2048 px: pictures of up to a
// million pixels a side.
const fixedBits = 11

func toFixed(x float64) int32 {
	return int32(min(max(x, -1e6), 1e6) * (1 << fixedBits))
}

// sampleRow writes the bilinear values at (xs+dx, ys+dy) to out. All of them
// lie in the picture.
func sampleRow(p photo.Plane, out []float32, xs, ys []int32, dx, dy int32) {
	w, pix := p.W, p.Pix
	ys = ys[:len(xs)]
	out = out[:len(xs)]
	const part = 1<<fixedBits - 1
	for i, x := range xs {
		x += dx
		y := ys[i] + dy
		fx, fy := x&part, y&part
		q := int(y>>fixedBits)*w + int(x>>fixedBits)
		// two neighbours at a time
		up, down := int32(binary.LittleEndian.Uint16(pix[q:])), int32(binary.LittleEndian.Uint16(pix[q+w:]))
		a, c := up&0xff, down&0xff
		a = a<<fixedBits + (up>>8-a)*fx
		c = c<<fixedBits + (down>>8-c)*fx
		out[i] = float32(a<<fixedBits+(c-a)*fy) * (1.0 / (1 << (2 * fixedBits)))
	}
}

var nan32 = float32(math.NaN())

// profile is the mean over the depths [d0, d1]; columns with nothing are NaN.
func (s strip) profile(d0, d1 float64) []float64 {
	r0 := max(0, int(math.Ceil((d0-s.d0)/s.step-1e-9)))
	r1 := min(s.rows-1, int(math.Floor((d1-s.d0)/s.step+1e-9)))
	out := make([]float64, s.cols)
	n := make([]int, s.cols)
	for r := r0; r <= r1; r++ {
		row := s.v[r*s.cols : (r+1)*s.cols]
		for c, v := range row {
			if v == v {
				out[c] += float64(v)
				n[c]++
			}
		}
	}
	for c := range out {
		if n[c] == 0 {
			out[c] = math.NaN()
		} else {
			out[c] /= float64(n[c])
		}
	}
	return out
}
