package calib

import (
	"math"
	"sort"

	"dentcount/photo"
)

// segment is a straight edge: it starts at (X, Y), runs along the unit vector
// (TX, TY) from Lo to Hi px. Length and position in full-photo pixels.
type segment struct {
	X, Y, TX, TY float64
	Lo, Hi       float64
	support      float64 // edge pixels that lie on it, in pixels of the search image
}

// scaled is the segment in a picture k times as large.
func (g segment) scaled(k float64) segment {
	g.X, g.Y = (g.X+0.5)*k-0.5, (g.Y+0.5)*k-0.5
	g.Lo, g.Hi = g.Lo*k, g.Hi*k
	return g
}

// lineSearch are the settings of findLines.
type lineSearch struct {
	SidePx    int     // long side of the search image
	ThetaBins int     // directions over 180°
	MaxLines  int     // at most this many edges
	PerSector int     // at most this many in any sector of 15°, so that hundreds of parallel wires leave room for the ruler
	MinLength float64 // of an edge, as a fraction of the long side
	Blur      int     // times the search image is blurred by a 3×3 binomial
}

// coarseSearch is the scale at which edges are sought first: blurred, so that
// the wires run together into a tone and the edges of what lies across them
// stand out.
func coarseSearch() lineSearch {
	return lineSearch{SidePx: 360, ThetaBins: 240, MaxLines: 40, PerSector: 14, MinLength: 0.08, Blur: 3}
}

// fineSearch is the scale for thin rulers far away.
func fineSearch() lineSearch {
	return lineSearch{SidePx: 1000, ThetaBins: 360, MaxLines: 48, PerSector: 12, MinLength: 0.06, Blur: 1}
}

type edgePixel struct {
	x, y   float32
	theta  float32 // direction of the gradient, [0, π)
	active bool
}

// findLines returns the longest straight edges of the picture, the strongest
// first: a Hough transform in which each pixel votes only near its own gradient
// direction, and the pixels of a line found are taken out before the next is
// sought (Ballard 1981; Matas et al. 2000 for the taking out).
// Nothing found is an empty list.
func findLines(small photo.Plane, k float64, s lineSearch) []segment {
	px := edgePixels(small, s.Blur)
	if len(px) == 0 {
		return nil
	}
	diag := math.Hypot(float64(small.W), float64(small.H))
	nr := int(2*diag) + 3
	off := float64(nr) / 2
	acc := make([]int32, s.ThetaBins*nr)
	cos, sin := make([]float64, s.ThetaBins), make([]float64, s.ThetaBins)
	for i := range cos {
		th := math.Pi * float64(i) / float64(s.ThetaBins)
		cos[i], sin[i] = math.Cos(th), math.Sin(th)
	}
	const spread = 4 // bins either side: ±2°
	vote := func(p edgePixel, w int32) {
		c := int(math.Round(float64(p.theta) / math.Pi * float64(s.ThetaBins)))
		for j := c - spread; j <= c+spread; j++ {
			t := ((j % s.ThetaBins) + s.ThetaBins) % s.ThetaBins
			r := int(float64(p.x)*cos[t] + float64(p.y)*sin[t] + off + 0.5)
			acc[t*nr+r] += w
		}
	}
	for _, p := range px {
		vote(p, 1)
	}
	rowMax := make([]int32, s.ThetaBins)
	rowArg := make([]int, s.ThetaBins)
	scan := func(t int) {
		row := acc[t*nr : (t+1)*nr]
		var m int32 = -1
		a := 0
		for i, v := range row {
			if v > m {
				m, a = v, i
			}
		}
		rowMax[t], rowArg[t] = m, a
	}
	for t := 0; t < s.ThetaBins; t++ {
		scan(t)
	}
	minLen := s.MinLength * float64(max(small.W, small.H))
	perSector := map[int]int{}
	var out []segment
	for tries := 0; tries < 4*s.MaxLines && len(out) < s.MaxLines; tries++ {
		best, bt := int32(0), -1
		for t := range rowMax {
			if rowMax[t] > best && perSector[sectorOf(t, s.ThetaBins)] < s.PerSector {
				best, bt = rowMax[t], t
			}
		}
		if bt < 0 || float64(best) < 0.5*minLen {
			break
		}
		rho := float64(rowArg[bt]) - off
		var on []int
		for i := range px {
			p := &px[i]
			if !p.active {
				continue
			}
			if d := float64(p.x)*cos[bt] + float64(p.y)*sin[bt] - rho; math.Abs(d) > 1.6 {
				continue
			}
			if angleApart(float64(p.theta), math.Pi*float64(bt)/float64(s.ThetaBins)) > 0.1 {
				continue
			}
			on = append(on, i)
		}
		seg, ok := longestRun(px, on, cos[bt], sin[bt], rho, minLen)
		for _, i := range on {
			px[i].active = false
			vote(px[i], -1)
		}
		for t := bt - 24; t <= bt+24; t++ {
			scan(((t % s.ThetaBins) + s.ThetaBins) % s.ThetaBins)
		}
		if !ok {
			continue
		}
		perSector[sectorOf(bt, s.ThetaBins)]++
		out = append(out, seg.scaled(1/k))
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].support > out[j].support })
	return out
}

func sectorOf(t, bins int) int { return t * 12 / bins }

func angleApart(a, b float64) float64 {
	d := math.Abs(a - b)
	return math.Min(d, math.Pi-d)
}

// edgePixels are the local gradient maxima above the picture's own noise.
func edgePixels(p photo.Plane, blur int) []edgePixel {
	w, h := p.W, p.H
	sm := make([]float32, w*h)
	for i, v := range p.Pix {
		sm[i] = float32(v)
	}
	for ; blur > 0; blur-- {
		sm = smooth3(sm, w, h)
	}
	gx, gy := make([]float32, w*h), make([]float32, w*h)
	mag := make([]float32, w*h)
	hist := make([]int, 1024)
	for y := 1; y < h-1; y++ {
		for x := 1; x < w-1; x++ {
			i := y*w + x
			a, b, c := sm[i-w-1], sm[i-w], sm[i-w+1]
			d, f := sm[i-1], sm[i+1]
			g, hh, e := sm[i+w-1], sm[i+w], sm[i+w+1]
			gx[i] = (c + 2*f + e - a - 2*d - g) / 8
			gy[i] = (g + 2*hh + e - a - 2*b - c) / 8
			m := float32(math.Sqrt(float64(gx[i]*gx[i] + gy[i]*gy[i])))
			mag[i] = m
			hist[min(int(m*16), 1023)]++
		}
	}
	// The strongest sixth of the pixels, but never what is plain noise.
	want, seen, cut := w*h/6, 0, 0
	for cut = 1023; cut > 0 && seen < want; cut-- {
		seen += hist[cut]
	}
	thr := float32(math.Max(float64(cut)/16, 0.6))
	var out []edgePixel
	for y := 2; y < h-2; y++ {
		for x := 2; x < w-2; x++ {
			i := y*w + x
			m := mag[i]
			if m < thr {
				continue
			}
			// thin: keep the crest along the gradient's main axis
			if abs32(gx[i]) > abs32(gy[i]) {
				if m < mag[i-1] || m < mag[i+1] {
					continue
				}
			} else if m < mag[i-w] || m < mag[i+w] {
				continue
			}
			th := math.Atan2(float64(gy[i]), float64(gx[i]))
			if th < 0 {
				th += math.Pi
			}
			if th >= math.Pi {
				th -= math.Pi
			}
			out = append(out, edgePixel{x: float32(x), y: float32(y), theta: float32(th), active: true})
		}
	}
	return out
}

func abs32(x float32) float32 {
	if x < 0 {
		return -x
	}
	return x
}

// smooth3 is a 3×3 binomial blur.
func smooth3(v []float32, w, h int) []float32 {
	row := make([]float32, w*h)
	for y := 0; y < h; y++ {
		r := v[y*w : (y+1)*w]
		o := row[y*w : (y+1)*w]
		for x := 1; x < w-1; x++ {
			o[x] = (r[x-1] + 2*r[x] + r[x+1]) / 4
		}
		if w > 1 {
			o[0], o[w-1] = r[0], r[w-1]
		}
	}
	out := make([]float32, w*h)
	copy(out, row)
	for y := 1; y < h-1; y++ {
		a, b, c, o := row[(y-1)*w:y*w], row[y*w:(y+1)*w], row[(y+1)*w:(y+2)*w], out[y*w:(y+1)*w]
		for x := range o {
			o[x] = (a[x] + 2*b[x] + c[x]) / 4
		}
	}
	return out
}

// longestRun keeps the part of a line that is really an edge: the run of edge
// pixels with the most support, gaps of up to 3 % of the line bridged.
func longestRun(px []edgePixel, on []int, cos, sin, rho, minLen float64) (segment, bool) {
	if len(on) < 8 {
		return segment{}, false
	}
	tx, ty := -sin, cos
	x0, y0 := rho*cos, rho*sin
	pos := make([]float64, len(on))
	for i, j := range on {
		pos[i] = (float64(px[j].x)-x0)*tx + (float64(px[j].y)-y0)*ty
	}
	sort.Float64s(pos)
	gap := math.Max(12, 0.6*minLen)
	bestN, bestLo, bestHi := 0, 0, -1
	start := 0
	for i := 1; i <= len(pos); i++ {
		if i == len(pos) || pos[i]-pos[i-1] > gap {
			if i-start > bestN {
				bestN, bestLo, bestHi = i-start, start, i-1
			}
			start = i
		}
	}
	lo, hi := pos[bestLo], pos[bestHi]
	if hi-lo < minLen || float64(bestN) < 0.25*(hi-lo) {
		return segment{}, false
	}
	mid := (lo + hi) / 2
	return segment{X: x0 + mid*tx, Y: y0 + mid*ty, TX: tx, TY: ty, Lo: lo - mid, Hi: hi - mid, support: float64(bestN)}, true
}
