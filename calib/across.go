package calib

import (
	"math"
	"slices"
	"sort"

	"dentcount/photo"
)

// A ruler lies across the wires: its edges run within a few degrees of square
// to them, wherever the picture is turned. Among hundreds of wires their own
// edges drown those of a ruler, but not once the picture is averaged along the
// ruler's direction, where they melt into a tone and into a roughness; and on a
// ruler of the wires' own tone the roughness is another than beside it.

// acrossSearch are the settings of acrossEdges.
type acrossSearch struct {
	sweepSearch
	Grains     int     // how many directions of wires are thought of
	ApartDeg   float64 // between two of them at least
	LeastShare float64 // of the strongest grain that another must have
	PerTone    int     // edges taken of each tone and grain at most
	CellPx     int     // side of the squares in which wires run one way, px of the work level
}

func defaultAcross() acrossSearch {
	s := acrossSearch{sweepSearch: defaultSweep(), Grains: 2, ApartDeg: 20, LeastShare: 0.3, PerTone: 20, CellPx: 32}
	s.SpreadDeg, s.StepDeg = 8, 0.75
	return s
}

// acrossEdges are the straight edges that run about square to the picture's
// wires, in px of the photo, the strongest of each kind first.
func acrossEdges(py pyramid, s acrossSearch) ([]segment, error) {
	tone, err := py.reduced(s.SidePx)
	if err != nil {
		return nil, err
	}
	g := gradientsOf(py.work.Plane)
	var out []segment
	for _, th := range g.grains(s) {
		rough := g.roughness(th, tone)
		for _, p := range [2]photo.Plane{tone.Plane, rough} {
			out = append(out, apartOf(sweepTurned(p, th, s.sweepSearch), s.PerTone)...)
		}
	}
	for i := range out {
		out[i] = out[i].scaled(1 / tone.k)
	}
	return out, nil
}

// apartOf are the first n edges that run apart from those before them.
func apartOf(found []segment, n int) []segment {
	var out []segment
	for _, f := range found {
		if len(out) < n && !slices.ContainsFunc(out, func(o segment) bool { return nearTo(f, o, 3) >= 2 }) {
			out = append(out, f)
		}
	}
	return out
}

// sweepTurned are the edges within the spread of one direction, the strongest first.
func sweepTurned(p photo.Plane, th float64, s sweepSearch) []segment {
	n := int(2*s.SpreadDeg/s.StepDeg) + 1
	byDirection := make([][]segment, n)
	SideBySide(n, func(i int) {
		byDirection[i] = sweepAt(p, th+(float64(i)*s.StepDeg-s.SpreadDeg)*math.Pi/180, s)
	})
	found := slices.Concat(byDirection...)
	sort.SliceStable(found, func(i, j int) bool { return found[i].support > found[j].support })
	return found
}

// gradients are the slopes of a picture's brightness at every second pixel of
// every second row: wires are at least two pixels wide where they can be counted.
type gradients struct {
	w, h   int // of the grid of slopes
	gx, gy []int16
}

func gradientsOf(p photo.Plane) gradients {
	g := gradients{w: max(0, p.W/2-1), h: max(0, p.H/2-1)}
	g.gx, g.gy = make([]int16, g.w*g.h), make([]int16, g.w*g.h)
	for r := range g.h {
		up, mid, down := p.Pix[(2*r)*p.W:], p.Pix[(2*r+1)*p.W:], p.Pix[(2*r+2)*p.W:]
		for c := range g.w {
			x := 2*c + 1
			g.gx[r*g.w+c] = int16(mid[x+1]) - int16(mid[x-1])
			g.gy[r*g.w+c] = int16(down[x]) - int16(up[x])
		}
	}
	return g
}

// cellMoments are the second moments of the slopes in small squares, row by row: the
// double angle of the direction in which the brightness changes, and how much it does.
type cellMoments struct {
	w, h        int // squares
	c2, s2, all []float64
}

// moments are those of squares so many slopes wide; weigh is how much a slope counts.
func (g gradients) moments(cell int, weigh func(x, y int16) float64) cellMoments {
	m := cellMoments{w: g.w/cell + 1, h: g.h/cell + 1}
	n := m.w * m.h
	m.c2, m.s2, m.all = make([]float64, n), make([]float64, n), make([]float64, n)
	for r := range g.h {
		for c := range g.w {
			x, y := g.gx[r*g.w+c], g.gy[r*g.w+c]
			k := weigh(x, y)
			if k == 0 {
				continue
			}
			fx, fy := float64(x), float64(y)
			i := r/cell*m.w + c/cell
			m.c2[i] += k * (fx*fx - fy*fy)
			m.s2[i] += k * 2 * fx * fy
			m.all[i] += k * (fx*fx + fy*fy)
		}
	}
	return m
}

// clipped are the moments of what is more than noise, glints counted as no more than wires.
func (g gradients) clipped(cell int) cellMoments {
	const most, least = 40, 6 // grey levels over two pixels
	return g.moments(cell, func(x, y int16) float64 {
		if x > -least && x < least && y > -least && y < least {
			return 0
		}
		return math.Min(1, most*most/(float64(x)*float64(x)+float64(y)*float64(y)))
	})
}

// grains are the directions across the picture's wires, in radians [0, π): those
// in which the brightness changes most, the strongest first. It is asked of small
// squares, and each counts by how much it changes in one direction alone: cloth
// changes in two everywhere, and though there is more of it than of wires in many a
// photo, it is none. Of 37 drawn photos whose ruler was not found (seeds 4801 to
// 4803) the ruler's direction came first in 35 so, by the pixels alone in 27.
func (g gradients) grains(s acrossSearch) []float64 {
	const bins = 180
	by := g.clipped(s.CellPx / 2)
	var hist [bins]float64
	for i, m := range by.all {
		if m == 0 {
			continue
		}
		th := math.Atan2(by.s2[i], by.c2[i]) / 2
		if th < 0 {
			th += math.Pi
		}
		one := math.Hypot(by.c2[i], by.s2[i])
		hist[int(th/math.Pi*bins)%bins] += math.Sqrt(one) * one / m
	}
	const reach = 3
	var soft [bins]float64
	for i := range soft {
		for d := -reach; d <= reach; d++ {
			soft[i] += hist[mod(i+d, bins)]
		}
	}
	var out []float64
	first := 0.0
	for len(out) < s.Grains {
		best, at := 0.0, -1
		for i, v := range soft {
			th := (float64(i) + 0.5) / bins * math.Pi
			near := slices.ContainsFunc(out, func(o float64) bool { return angleApart(o, th) < s.ApartDeg*math.Pi/180 })
			if v > best && !near {
				best, at = v, i
			}
		}
		if at < 0 || best < s.LeastShare*first {
			break
		}
		first = math.Max(first, best)
		out = append(out, (float64(at)+0.5)/bins*math.Pi)
	}
	return out
}

// roughness is how much the brightness changes along direction th, averaged over
// the pixels of a smaller picture of like's size; brightest where it is roughest.
func (g gradients) roughness(th float64, like level) photo.Plane {
	sum, n := make([]float64, like.W*like.H), make([]float64, like.W*like.H)
	cs, sn := int32(math.Round(256*math.Cos(th))), int32(math.Round(256*math.Sin(th)))
	cell := make([]int, g.w)
	for c := range cell {
		cell[c] = min(c*like.W/g.w, like.W-1)
	}
	for r := range g.h {
		row := min(r*like.H/g.h, like.H-1) * like.W
		for c := range g.w {
			v := int32(g.gx[r*g.w+c])*cs + int32(g.gy[r*g.w+c])*sn
			if v < 0 {
				v = -v
			}
			// glints on wires are no rougher than wires
			sum[row+cell[c]] += float64(min(v, 80<<8))
			n[row+cell[c]]++
		}
	}
	top := 0.0
	for i, v := range sum {
		sum[i] = v / math.Max(n[i], 1)
		top = math.Max(top, sum[i])
	}
	out := photo.Plane{W: like.W, H: like.H, Pix: make([]uint8, len(sum))}
	for i, v := range sum {
		out.Pix[i] = uint8(255 * v / math.Max(top, 1))
	}
	return out
}
