package vision

import (
	"math"
	"sort"

	"dentcount/calib"
)

// edgeLine is a long straight edge that runs nearly square to the ruler.
type edgeLine struct {
	along    float64 // px, where it meets the marked edge's line (depth 0)
	extra    float64 // its lean beyond that of the lines square to the ruler
	step     colour  // the picture's change across it, in the direction of along
	strength float64 // grey levels
	support  float64 // share of its length at which it was seen
	sd       float64 // px, scatter of its pieces about the line
	u        float64 // px, standard uncertainty of along
}

// clear is how much an edge looks like that of a made thing, 0…1: straight to a
// fraction of a pixel and seen along all of its length.
func (l edgeLine) clear() float64 {
	const sdPx = 0.6
	return l.support * l.support / (1 + l.sd*l.sd/(sdPx*sdPx)) * l.strength / (l.strength + 6)
}

// lineSearch are the settings of edgeLines.
type lineSearch struct {
	SigmaPx   float64 // smoothing across the edge
	ChunkPx   float64 // the edge is looked for in pieces of this length
	MaxExtra  float64 // most lean beyond square
	MostLines int
}

// edgeLines finds long straight edges in the rows r0 ≤ r < r1 of a patch, the
// strongest first. A line's strength is the length of its mean step, reduced
// where its pieces do not agree.
func (q patch) edgeLines(r0, r1 int, opt lineSearch) []edgeLine {
	per := max(1, int(math.Round(opt.ChunkPx/q.step)))
	type chunk struct {
		d    float64
		step [3][]float64
	}
	var chunks []chunk
	for r := r0; r+per <= r1; r += per {
		ck := chunk{d: (q.depth(r) + q.depth(r+per-1)) / 2}
		prof := q.profile(r, r+per, 0)
		for i := range prof {
			ck.step[i] = stepsOf(prof[i], opt.SigmaPx)
		}
		chunks = append(chunks, ck)
	}
	if len(chunks) < 3 {
		return nil
	}
	reach := math.Max(math.Abs(chunks[0].d), math.Abs(chunks[len(chunks)-1].d))
	dTheta := math.Min(0.01, 1.5/reach)
	nTheta := int(opt.MaxExtra / dTheta)
	var found []edgeLine
	// The lines are looked for about the middle of the rows, where their place
	// and their lean are independent.
	mid := (chunks[0].d + chunks[len(chunks)-1].d) / 2
	score := make([]float64, q.cols)
	best := make([]edgeLine, q.cols)
	const colsAtOnce = 64
	calib.SideBySide((q.cols+colsAtOnce-1)/colsAtOnce, func(i int) {
		for n := -nTheta; n <= nTheta; n++ {
			th := float64(n) * dTheta
			for c := i * colsAtOnce; c < min(q.cols, (i+1)*colsAtOnce); c++ {
				var sum colour
				var sq float64
				seen := 0
				for _, ck := range chunks {
					x := c + int(math.Round(th*(ck.d-mid)))
					if x < 0 || x >= q.cols {
						continue
					}
					v := colour{ck.step[0][x], ck.step[1][x], ck.step[2][x]}
					if v[0] != v[0] {
						continue
					}
					for i := range sum {
						sum[i] += v[i]
					}
					sq += v.dot(v)
					seen++
				}
				if 2*seen < len(chunks) || seen < 3 {
					continue
				}
				m := float64(seen)
				agree := sum.dot(sum) / (m*sq + 1e-9)
				s := sum.len() / m * agree
				if s > score[c] {
					score[c] = s
					best[c] = edgeLine{along: q.lo + float64(c) - 0.5, extra: th, step: colour{sum[0] / m, sum[1] / m, sum[2] / m}, strength: s}
				}
			}
		}
	})
	apart := int(math.Ceil(2 * opt.SigmaPx))
	for c := range score {
		if score[c] < 1 {
			continue
		}
		top := true
		for k := max(0, c-apart); k <= min(q.cols-1, c+apart); k++ {
			if score[k] > score[c] || (score[k] == score[c] && k < c) {
				top = false
				break
			}
		}
		if top {
			found = append(found, best[c])
		}
	}
	sort.SliceStable(found, func(i, j int) bool { return found[i].strength > found[j].strength })
	if len(found) > opt.MostLines {
		found = found[:opt.MostLines]
	}
	var out []edgeLine
	for _, l := range found {
		// refine: the crest in each piece, and a robust straight line through them
		var ds, xs []float64
		unit := l.step
		if n := unit.len(); n > 0 {
			for i := range unit {
				unit[i] /= n
			}
		}
		for _, ck := range chunks {
			want := l.along + 0.5 - q.lo + l.extra*(ck.d-mid)
			x, v := crestAlong(ck.step, unit, want, 2.5*opt.SigmaPx+1)
			if v > 0.4*l.step.len() {
				ds = append(ds, ck.d)
				xs = append(xs, q.lo+x-0.5)
			}
		}
		if len(ds) < 3 {
			continue
		}
		a, b, sd, n := lineThrough(ds, xs)
		if n < 3 || math.Abs(b) > 1.2*opt.MaxExtra {
			continue
		}
		var md, sdd float64
		for _, d := range ds {
			md += d / float64(len(ds))
		}
		for _, d := range ds {
			sdd += (d - md) * (d - md)
		}
		l.along, l.extra = a, b
		l.sd = sd
		l.support = float64(len(ds)) / float64(len(chunks))
		l.u = math.Max(sd, 0.05) * math.Sqrt(1/float64(n)+md*md/sdd)
		out = append(out, l)
	}
	return out
}

// crestAlong is the highest point of the step in direction unit within ±tol of
// column x, to a fraction of a column.
func crestAlong(step [3][]float64, unit colour, x, tol float64) (at, v float64) {
	val := func(c int) float64 {
		if c < 0 || c >= len(step[0]) {
			return math.NaN()
		}
		return colour{step[0][c], step[1][c], step[2][c]}.dot(unit)
	}
	best, bi := math.Inf(-1), -1
	for c := int(math.Ceil(x - tol)); c <= int(math.Floor(x+tol)); c++ {
		if v := val(c); v > best {
			best, bi = v, c
		}
	}
	if bi < 0 {
		return x, 0
	}
	l, r := val(bi-1), val(bi+1)
	d := 0.0
	if den := l - 2*best + r; den < 0 {
		d = math.Max(-0.5, math.Min(0.5, 0.5*(l-r)/den))
	}
	return float64(bi) + d, best
}

// lineThrough fits x = a + b·d by Tukey's biweight. n is how many points
// carried weight.
func lineThrough(ds, xs []float64) (a, b, sd float64, n int) {
	w := make([]float64, len(ds))
	for i := range w {
		w[i] = 1
	}
	for it := 0; it < 10; it++ {
		var sw, sd1, sdd, sx, sdx float64
		for i := range ds {
			sw += w[i]
			sd1 += w[i] * ds[i]
			sdd += w[i] * ds[i] * ds[i]
			sx += w[i] * xs[i]
			sdx += w[i] * ds[i] * xs[i]
		}
		den := sw*sdd - sd1*sd1
		if den <= 0 {
			return xs[0], 0, math.Inf(1), 0
		}
		b = (sw*sdx - sd1*sx) / den
		a = (sx - b*sd1) / sw
		res := make([]float64, len(ds))
		for i := range ds {
			res[i] = math.Abs(xs[i] - a - b*ds[i])
		}
		sd = math.Max(1.4826*medianOf(res), 0.02)
		n = 0
		for i := range ds {
			w[i] = 0
			if u := res[i] / (4.7 * sd); u < 1 {
				w[i] = (1 - u*u) * (1 - u*u)
				n++
			}
		}
	}
	return a, b, sd, n
}
