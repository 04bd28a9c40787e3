package vision

import (
	"math"

	"dentcount/calib"
	"dentcount/photo"
)

// patch is what lies beside a ruler, drawn upright: column c is the line that
// is square to the ruler in the ruler's own plane and meets its marked edge at
// along = lo + c pixels; row r lies at depth d0 + r·step pixels from the edge.
// Where slant is not 0 the columns lie off square, by slant/G in the plane, all
// parallel there. Values are grey levels of the three channels; NaN outside the
// picture.
type patch struct {
	plane      Plane
	slant      float64
	lo         float64
	d0, step   float64
	cols, rows int
	ch         [3][]float32
}

func (q patch) depth(r int) float64 { return q.d0 + float64(r)*q.step }

// leanAt is the direction in the photo of the lines square to the ruler: along
// px per depth px at a position on the edge.
func (pl Plane) leanAt(along float64) float64 {
	s := pl.Scale
	t := along / s.Half
	x := (s.A + s.B*t) / (1 + s.C*t)
	return (x*pl.F - pl.E) / (s.B - x*s.C)
}

// turn is how much one unit of lean is in radians of the plane: lines that lean
// by l more than those square to the ruler lie l·turn off them.
func (pl Plane) turn(along float64) float64 {
	s := pl.Scale
	t := along / s.Half
	q := 1 + s.C*t
	return (s.B - s.A*s.C) / (q * q) / (pl.G / q)
}

// leanAt is the direction in the photo of the patch's columns.
func (q patch) leanAt(along float64) float64 {
	s := q.plane.Scale
	t := along / s.Half
	x := (s.A + s.B*t) / (1 + s.C*t)
	return q.plane.leanAt(along) + q.slant/(s.B-x*s.C)
}

// skew is the angle between two edges' common direction and square, in the plane.
func (q patch) skew(extra, along float64) float64 {
	return math.Atan(q.slant/q.plane.G + extra*q.plane.turn(along))
}

// drawPatch samples the picture for along in [lo, hi] and depths [d0, d1].
func drawPatch(img photo.Colour, pl Plane, lo, hi, d0, d1, step float64) patch {
	return drawSlanted(img, pl, 0, lo, hi, d0, d1, step)
}

// drawSlanted draws a patch whose columns lie off square.
func drawSlanted(img photo.Colour, pl Plane, slant, lo, hi, d0, d1, step float64) patch {
	q := patch{plane: pl, slant: slant, lo: lo, d0: d0, step: step, cols: int(hi-lo) + 1, rows: int((d1-d0)/step) + 1}
	if q.cols < 16 || q.rows < 4 {
		return patch{}
	}
	for i := range q.ch {
		q.ch[i] = make([]float32, q.cols*q.rows)
	}
	f := pl.Scale.Frame
	leans := make([]float64, q.cols)
	for c := range leans {
		leans[c] = q.leanAt(lo + float64(c))
	}
	const rowsAtOnce = 16
	calib.SideBySide((q.rows+rowsAtOnce-1)/rowsAtOnce, func(n int) {
		for r := n * rowsAtOnce; r < min(q.rows, (n+1)*rowsAtOnce); r++ {
			d := q.depth(r)
			for c, lean := range leans {
				x, y := f.Point(lo+float64(c)+lean*d, d)
				q.set(r*q.cols+c, img, x, y)
			}
		}
	})
	return q
}

// set puts the picture's three values at (x, y) into cell i, bilinear; NaN
// outside the picture.
func (q patch) set(i int, img photo.Colour, x, y float64) {
	w := img.G.W
	x0, y0 := int(math.Floor(x)), int(math.Floor(y))
	if x0 < 0 || y0 < 0 || x0+1 >= w || y0+1 >= img.G.H {
		nan := float32(math.NaN())
		q.ch[0][i], q.ch[1][i], q.ch[2][i] = nan, nan, nan
		return
	}
	fx, fy := float32(x-float64(x0)), float32(y-float64(y0))
	k := y0*w + x0
	for j, pix := range [3][]uint8{img.B.Pix, img.G.Pix, img.R.Pix} {
		top := float32(pix[k])*(1-fx) + float32(pix[k+1])*fx
		low := float32(pix[k+w])*(1-fx) + float32(pix[k+w+1])*fx
		q.ch[j][i] = top*(1-fy) + low*fy
	}
}

// columns is the part of a patch with along in [lo, hi].
func (q patch) columns(lo, hi float64) patch {
	c0, c1 := max(0, int(lo-q.lo)), min(q.cols, int(hi-q.lo)+1)
	if c1-c0 < 16 {
		return patch{}
	}
	o := q
	o.lo, o.cols = q.lo+float64(c0), c1-c0
	for i := range o.ch {
		o.ch[i] = make([]float32, o.cols*o.rows)
		for r := 0; r < q.rows; r++ {
			copy(o.ch[i][r*o.cols:(r+1)*o.cols], q.ch[i][r*q.cols+c0:r*q.cols+c1])
		}
	}
	return o
}

// alongOf is the part of the ruler's line, lengthened, that lies beside the picture.
func alongOf(img photo.Colour, pl Plane) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, x := range [2]float64{0, float64(img.G.W - 1)} {
		for _, y := range [2]float64{0, float64(img.G.H - 1)} {
			a, _ := pl.Scale.Frame.Locate(x, y)
			lo, hi = math.Min(lo, a), math.Max(hi, a)
		}
	}
	return lo, hi
}

// colour is a value of the three channels.
type colour [3]float64

func (a colour) sub(b colour) colour { return colour{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a colour) len() float64        { return math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2]) }
func (a colour) dot(b colour) float64 {
	return a[0]*b[0] + a[1]*b[1] + a[2]*b[2]
}

func (a colour) sum() float64 { return a[0] + a[1] + a[2] }

// hue is a colour without its brightness: the channels' shares.
func (a colour) hue() colour {
	n := math.Max(a.sum(), 1)
	return colour{a[0] / n, a[1] / n, a[2] / n}
}

// profile is the mean of rows r0 ≤ r < r1 along lines that lean by extra beyond
// the patch's own columns; a column of which fewer than half the rows are seen
// is NaN.
func (q patch) profile(r0, r1 int, extra float64) [3][]float64 {
	var out [3][]float64
	for i := range out {
		sum := make([]float64, q.cols)
		n := make([]int, q.cols)
		for r := r0; r < r1; r++ {
			shift := extra * q.depth(r)
			k := int(math.Floor(shift))
			f := shift - float64(k)
			row := q.ch[i][r*q.cols : (r+1)*q.cols]
			for c := max(0, -k); c < q.cols && c+k+1 < q.cols; c++ {
				v := float64(row[c+k])*(1-f) + float64(row[c+k+1])*f
				if v == v {
					sum[c] += v
					n[c]++
				}
			}
		}
		for c := range sum {
			if 2*n[c] < r1-r0 || n[c] == 0 {
				sum[c] = math.NaN()
			} else {
				sum[c] /= float64(n[c])
			}
		}
		out[i] = sum
	}
	return out
}

// step is the smoothed first derivative (a Gaussian's, sigma px) of a profile,
// scaled so that a clean step of height h gives a crest of height h.
func stepsOf(v []float64, sigma float64) []float64 {
	half := int(math.Ceil(3 * sigma))
	ker := make([]float64, half)
	var sum float64
	for j := range ker {
		x := (float64(j) + 0.5) / sigma
		ker[j] = x * math.Exp(-x*x/2)
		sum += ker[j]
	}
	out := make([]float64, len(v))
	for c := range v {
		// the value lies between columns c-1 and c
		if c-half < 0 || c+half > len(v) {
			out[c] = math.NaN()
			continue
		}
		var d float64
		for j, k := range ker {
			d += k * (v[c+j] - v[c-1-j])
		}
		out[c] = d / sum
	}
	return out
}
