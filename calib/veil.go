package calib

import (
	"math"

	"dentcount/photo"
)

// The edge of a transparent ruler is hardly an edge: wires run on beneath it and
// the ground between them is a little lighter or darker from there on. But along a
// wire nothing changes from end to end, nor along the ground beside it, except where
// something ends that lies across: so the slope along the wires, wherever they run,
// leaves the wires out and such edges in.

// defaultVeil are the settings of veilEdges. Of the 46 marked edges of 32 transparent rulers
// that were not read, or wrongly, in drawn scenes (seeds 4501 and 4502), 43 were among the
// first ten found so.
func defaultVeil() acrossSearch {
	s := defaultAcross()
	s.Ridge, s.StepDeg, s.PerTone = true, 0.5, 12
	return s
}

// veilEdges are the straight edges at which something changes along the picture's
// wires, in px of the photo, the strongest first.
func veilEdges(py pyramid, s acrossSearch) ([]segment, error) {
	tone, err := py.reduced(s.SidePx)
	if err != nil {
		return nil, err
	}
	g := gradientsOf(py.work.Plane)
	var out []segment
	for _, th := range g.grains(s) {
		out = append(out, apartOf(sweepTurned(g.alongWires(th, tone, s), th, s.sweepSearch), s.PerTone)...)
	}
	for i := range out {
		out[i] = out[i].scaled(1 / tone.k)
	}
	return out, nil
}

// alongWires is how much the brightness changes along wires that stand about square
// to th, averaged over the pixels of a smaller picture of like's size.
func (g gradients) alongWires(th float64, like level, s acrossSearch) photo.Plane {
	cell := s.CellPx / 2 // of the grid of slopes
	m := g.moments(cell, func(x, y int16) float64 { return 1 })
	cw, ch := m.w, m.h
	type turn struct{ cs, sn int32 }
	own := make([]turn, cw*ch)
	for r := range ch {
		for c := range cw {
			var x, y float64
			for j := max(0, r-1); j <= min(ch-1, r+1); j++ {
				for i := max(0, c-1); i <= min(cw-1, c+1); i++ {
					x, y = x+m.c2[j*cw+i], y+m.s2[j*cw+i]
				}
			}
			const reach = 20 * math.Pi / 180
			if at := math.Atan2(y, x) / 2; angleApart(at, th) < reach {
				own[r*cw+c] = turn{int32(math.Round(256 * math.Cos(at))), int32(math.Round(256 * math.Sin(at)))}
			}
		}
	}
	sum, n := make([]int32, like.W*like.H), make([]int32, like.W*like.H)
	for r := range g.h {
		row := min(r*like.H/g.h, like.H-1) * like.W
		for c := range g.w {
			t := own[r/cell*cw+c/cell]
			v := int32(g.gy[r*g.w+c])*t.cs - int32(g.gx[r*g.w+c])*t.sn
			if v < 0 {
				v = -v
			}
			i := row + min(c*like.W/g.w, like.W-1)
			sum[i] += min(v, mostVeil<<8)
			n[i]++
		}
	}
	out := photo.Plane{W: like.W, H: like.H, Pix: make([]uint8, len(sum))}
	for i, v := range sum {
		out.Pix[i] = uint8(v / max(n[i], 1) * (255 / mostVeil) >> 8)
	}
	return out
}

// mostVeil is the greatest change along wires that counts, grey levels over two pixels:
// a veil changes them by a few, a baulk ends them.
const mostVeil = 40
