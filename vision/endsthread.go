package vision

import (
	"math"
	"slices"
	"sort"

	"dentcount/calib"
)

// A thread or a wire lies along the ruler: a thin line, darker or lighter than
// what lies on both its sides. Sizes in inches (common practice, no source).
const (
	threadReachIn   = 4.0  // how far from the ruler's edge it may lie
	threadMinWideIn = 0.01 // thinnest thread or wire
	threadMaxWideIn = 0.16
	threadMaxTurn   = 0.1 // how far off the ruler's direction, tangent
)

// threadLine is a thin straight line nearly along the ruler.
type threadLine struct {
	depth, slope float64 // px: depth = depth0 + slope·(column - middle column)
	widePx       float64
	score        float64 // grey levels over both sides, typical along the line
}

func (t threadLine) at(c, mid float64) float64 { return t.depth + t.slope*(c-mid) }

// threadLines finds thin lines along the ruler, the clearest first.
func (q patch) threadLines(ppi float64, most int) []threadLine {
	const blockPx = 24
	nb := q.cols / blockPx
	if nb < 8 {
		return nil
	}
	// The picture in blocks of columns: thin lines run through them nearly level.
	blocks := make([][3][]float64, nb)
	for b := range blocks {
		for i := range q.ch {
			v := make([]float64, q.rows)
			for r := range v {
				var sum float64
				for c := b * blockPx; c < (b+1)*blockPx; c++ {
					sum += float64(q.ch[i][r*q.cols+c])
				}
				v[r] = sum / blockPx
			}
			blocks[b][i] = v
		}
	}
	mid := float64(q.cols-1) / 2
	reach := float64(nb) * blockPx / 2
	dS := 1.5 * q.step / reach
	// Every width on its own core: first the whole range on a picture of which
	// the best of three rows stands for all, then each find by itself.
	var widths []float64
	for w := math.Max(2, threadMinWideIn*ppi/q.step); w <= math.Max(3, threadMaxWideIn*ppi/q.step); w *= 1.6 {
		widths = append(widths, w)
	}
	found := make([][]threadLine, len(widths))
	calib.SideBySide(len(widths), func(i int) {
		w := widths[i]
		fine := ridges{step: q.step, d0: q.d0, rows: q.rows, mid: mid, blockPx: blockPx}
		for b := range blocks {
			fine.v = append(fine.v, ridgeOf(blocks[b], int(math.Round(w))))
		}
		const pool = 3
		coarse := fine.pooled(pool)
		n := int(threadMaxTurn / (pool * dS))
		lines := make([]threadLine, coarse.rows)
		for k := -n; k <= n; k++ {
			slope := float64(k) * pool * dS
			for r := range lines {
				if v := coarse.score(r, slope); v > lines[r].score {
					lines[r] = threadLine{depth: coarse.depth(r), slope: slope, widePx: w * q.step, score: v}
				}
			}
		}
		sort.SliceStable(lines, func(i, j int) bool { return lines[i].score > lines[j].score })
		for _, l := range lines[:min(len(lines), 3*most)] {
			if l.score == 0 {
				break
			}
			top := threadLine{widePx: l.widePx}
			r0 := int(math.Round((l.depth - q.d0) / q.step))
			for r := max(0, r0-pool); r <= min(q.rows-1, r0+pool); r++ {
				for k := -pool; k <= pool; k++ {
					slope := l.slope + float64(k)*dS
					if v := fine.score(r, slope); v > top.score {
						top.depth, top.slope, top.score = fine.depth(r), slope, v
					}
				}
			}
			found[i] = append(found[i], top)
		}
	})
	best := slices.Concat(found...)
	sort.SliceStable(best, func(i, j int) bool { return best[i].score > best[j].score })
	var out []threadLine
	for _, t := range best {
		if t.score == 0 {
			break
		}
		near := false
		for _, o := range out {
			near = near || math.Abs(t.depth-o.depth) < math.Max(0.08*ppi, 3*q.step)
		}
		if !near {
			if out = append(out, t); len(out) == most {
				break
			}
		}
	}
	return out
}

// ridges is how far thin lines stand out, by block of columns and row.
type ridges struct {
	v        [][]float64
	d0, step float64
	rows     int
	mid      float64 // the middle column
	blockPx  int
}

func (g ridges) depth(r int) float64 { return g.d0 + float64(r)*g.step }

// pooled has the best of each n rows in one.
func (g ridges) pooled(n int) ridges {
	o := g
	o.rows, o.step, o.d0 = g.rows/n, g.step*float64(n), g.d0+g.step*float64(n-1)/2
	o.v = make([][]float64, len(g.v))
	for b, v := range g.v {
		o.v[b] = make([]float64, o.rows)
		for r := range o.v[b] {
			top := math.NaN()
			for _, x := range v[r*n : r*n+n] {
				if !(x <= top) && x == x {
					top = x
				}
			}
			o.v[b][r] = top
		}
	}
	return o
}

// score is how far a line through row r of the middle column stands out, in
// grey levels, as a mean over its length; 0 where it shows in too little of it.
func (g ridges) score(r int, slope float64) float64 {
	var sum float64
	seen, strong := 0, 0
	perBlock := slope * float64(g.blockPx) / g.step
	at := float64(r) + 0.5 + slope*(float64(g.blockPx)/2-g.mid)/g.step
	for b := range g.v {
		x := int(at + perBlock*float64(b))
		if at+perBlock*float64(b) < 0 || x >= g.rows {
			continue
		}
		v := g.v[b][x]
		if v != v {
			continue
		}
		seen++
		// a clamp, so that a few knots or marks make no line
		sum += math.Min(v, 25)
		if v > 1.5 {
			strong++
		}
	}
	if seen < len(g.v)/3 || seen < 8 {
		return 0
	}
	share := float64(strong) / float64(seen)
	if share < 0.45 {
		return 0
	}
	return sum / float64(seen) * share
}

// ridgeOf is how far a line w rows wide stands out from what is on both its
// sides, at every row; a mere step stands out from one side only and gives
// nothing. Along the channels' common direction; NaN at the borders.
func ridgeOf(v [3][]float64, w int) []float64 {
	n := len(v[0])
	side := max(1, w/2)
	gap := max(1, w/2)
	// sums up to each row, and how many of the rows lie outside the picture: these
	// must not spoil the sums of all that follow
	var cum [3][]float64
	outside := make([]int, n+1)
	for i := range cum {
		cum[i] = make([]float64, n+1)
		for r, x := range v[i] {
			cum[i][r+1] = cum[i][r]
			if x == x {
				cum[i][r+1] += x
			}
			if i == 0 {
				outside[r+1] = outside[r]
				if x != x {
					outside[r+1]++
				}
			}
		}
	}
	mean := func(a, b int) colour {
		if outside[b] > outside[a] {
			return colour{math.NaN(), math.NaN(), math.NaN()}
		}
		var m colour
		for i := range m {
			m[i] = (cum[i][b] - cum[i][a]) / float64(b-a)
		}
		return m
	}
	out := make([]float64, n)
	for r := range out {
		a, b := r-w/2, r-w/2+w
		if a-gap-side < 0 || b+gap+side > n {
			out[r] = math.NaN()
			continue
		}
		c := mean(a, b)
		l, h := c.sub(mean(a-gap-side, a-gap)), c.sub(mean(b+gap, b+gap+side))
		nl, nh := l.len(), h.len()
		if dot := l.dot(h); dot > 0 && nl > 0 && nh > 0 {
			out[r] = dot / math.Max(nl, nh)
		} else if nl != nl || nh != nh {
			out[r] = math.NaN()
		}
	}
	return out
}

// ribbon is the picture straightened along a thread: for each column, which
// rows about the thread are not ground.
type ribbon struct {
	patch patch
	line  threadLine
	half  int      // rows on each side of the thread
	hi    int      // rows below hi are beside the ruler, not on it
	on    [][]bool // [column][row 0 … 2·half]: not ground
	sharp [][]bool // an edge too steep for a shadow's
}

// straighten cuts a ribbon out of the patch, and tells thread from ground by
// how far the colour lies from that of the ground on both sides, hereabouts.
func (q patch) straighten(t threadLine, ppi float64) ribbon {
	half := int(0.32 * ppi / q.step)
	mid := float64(q.cols-1) / 2
	width := 2*half + 1
	rb := ribbon{patch: q, line: t, half: half, hi: width, on: make([][]bool, q.cols), sharp: make([][]bool, q.cols)}
	// the ruler's edge at depth 0 must stay out of the ground
	if near := math.Max(t.at(0, mid), t.at(2*mid, mid)); near < 0 {
		rb.hi = min(width, half+int((-near-0.04*ppi)/q.step))
	}
	at := func(c, k int) colour {
		x := (t.at(float64(c), mid)-q.d0)/q.step + float64(k-half)
		r := int(math.Floor(x))
		if r < 0 || r+1 >= q.rows {
			return colour{math.NaN()}
		}
		f := x - float64(r)
		var v colour
		for i := range v {
			v[i] = float64(q.ch[i][r*q.cols+c])*(1-f) + float64(q.ch[i][(r+1)*q.cols+c])*f
		}
		return v
	}
	pix := make([][]colour, q.cols)
	for c := range pix {
		rb.on[c], rb.sharp[c] = make([]bool, width), make([]bool, width)
		pix[c] = make([]colour, width)
		for k := range pix[c] {
			pix[c][k] = at(c, k)
		}
	}
	if rb.hi-half < 4 {
		return rb // no room beside the ruler
	}
	pix = softened(pix, max(1, int(math.Round(0.01*ppi))))
	// ground: the median over a stretch of the ribbon's two borders, and how
	// much single pixels scatter about it
	border := max(2, min(half, rb.hi-half)/3)
	win := max(8, int(0.25*ppi))
	ground := make([][2]colour, q.cols) // of either side
	noise := make([]float64, q.cols)
	for c0 := 0; c0 < q.cols; c0 += win {
		c1 := min(q.cols, c0+win)
		var g [2]colour
		var dev []float64
		for s := range g {
			var vals [3][]float64
			for c := c0; c < c1; c++ {
				for k := 0; k < border; k++ {
					v := pix[c][k]
					if s == 1 {
						v = pix[c][rb.hi-1-k]
					}
					for i := range vals {
						vals[i] = append(vals[i], v[i])
					}
				}
			}
			for i := range vals {
				g[s][i] = medianOf(vals[i])
			}
			for c := c0; c < c1; c++ {
				for k := 0; k < border; k++ {
					v := pix[c][k]
					if s == 1 {
						v = pix[c][rb.hi-1-k]
					}
					dev = append(dev, v.sub(g[s]).len())
				}
			}
		}
		for c := c0; c < c1; c++ {
			ground[c], noise[c] = g, medianOf(dev)
		}
	}
	// between the two sides' ground any mixture may be ground (a shadow's edge)
	off := make([][]float64, q.cols)
	var peaks []float64
	for c := range pix {
		off[c] = make([]float64, rb.hi)
		top := 0.0
		for k := range off[c] {
			off[c][k] = offSegment(pix[c][k], ground[c][0], ground[c][1])
			if d := k - half; d >= -4 && d <= 4 {
				top = math.Max(top, off[c][k])
			}
		}
		peaks = append(peaks, top)
	}
	// half-way up the thread's own contrast, so that blur does not widen it
	typical := medianOf(peaks)
	for c := range off {
		for k, v := range off[c] {
			rb.on[c][k] = v > math.Max(3.2*noise[c]+4, 0.45*typical)
		}
	}
	// Steep is half of what the thread's own edges are, typically.
	rise := func(c, k int) float64 { return pix[c][k+1].sub(pix[c][k-1]).len() }
	var steep []float64
	for c := range pix {
		top := 0.0
		for k := max(1, half-6); k < min(rb.hi-1, half+7); k++ {
			top = math.Max(top, rise(c, k))
		}
		steep = append(steep, top)
	}
	limit := 0.5 * medianOf(steep)
	for c := range pix {
		for k := 1; k < rb.hi-1; k++ {
			rb.sharp[c][k] = rise(c, k) > limit
		}
	}
	return rb
}

// softened is the ribbon averaged over ±r columns and ±1 row: less noise, and a
// thread still as thin.
func softened(pix [][]colour, r int) [][]colour {
	out := make([][]colour, len(pix))
	for c := range pix {
		out[c] = make([]colour, len(pix[c]))
		for k := range pix[c] {
			var sum colour
			n := 0.0
			for i := max(0, c-r); i <= min(len(pix)-1, c+r); i++ {
				for j := max(0, k-1); j <= min(len(pix[c])-1, k+1); j++ {
					v := pix[i][j]
					sum = colour{sum[0] + v[0], sum[1] + v[1], sum[2] + v[2]}
					n++
				}
			}
			out[c][k] = colour{sum[0] / n, sum[1] / n, sum[2] / n}
		}
	}
	return out
}

// offSegment is the distance of a colour from the segment between two others.
func offSegment(v, a, b colour) float64 {
	ab, av := b.sub(a), v.sub(a)
	n := ab.dot(ab)
	if n == 0 {
		return av.len()
	}
	t := math.Max(0, math.Min(1, av.dot(ab)/n))
	return av.sub(colour{ab[0] * t, ab[1] * t, ab[2] * t}).len()
}
