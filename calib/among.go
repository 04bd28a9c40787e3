package calib

import (
	"math"

	"dentcount/photo"
)

// A table with lines all over it, as cutting mats have, shows more and longer edges than a
// ruler, in two directions square to each other, and what is sought across the wires may be
// sought across its lines. Wires fill a field: wherever there are some there are more
// beside them.

// amongSearch are the settings of amongEdges, beside those of acrossEdges.
type amongSearch struct {
	acrossSearch
	OneWay   float64 // share of the changes in a square that run one way at least, where wires are
	AlikeDeg float64 // by which the directions in neighbouring squares differ at most
	Beside   int     // of the nine squares about one that are alike at least, itself among them
	Fewest   int     // squares of wires at least
	Reach    int     // squares about those of wires in which edges are sought
}

func defaultAmong() amongSearch {
	return amongSearch{acrossSearch: defaultAcross(), OneWay: 0.5, AlikeDeg: 12, Beside: 7, Fewest: 12, Reach: 3}
}

// amongEdges are the straight edges that run about square to the wires of the picture's
// largest field of them, sought there alone, in px of the photo; none where the field is
// most of the picture, for there acrossEdges sees them.
func amongEdges(py pyramid, s amongSearch) ([]segment, error) {
	const most = 0.6 // of the picture
	tone, err := py.reduced(s.SidePx)
	if err != nil {
		return nil, err
	}
	g := gradientsOf(py.work.Plane)
	field, th, ok := g.field(s)
	if !ok {
		return nil, nil
	}
	s.Within = field.at(tone.Plane, s.CellPx/2, g)
	in := 0
	for _, v := range s.Within.Pix {
		in += int(v)
	}
	if float64(in) > most*float64(len(s.Within.Pix)) {
		return nil, nil
	}
	var out []segment
	for _, p := range [2]photo.Plane{tone.Plane, g.roughness(th, tone)} {
		out = append(out, apartOf(sweepTurned(p, th, s.sweepSearch), s.PerTone)...)
	}
	for i := range out {
		out[i] = out[i].scaled(1 / tone.k)
	}
	return out, nil
}

// cells are squares of a picture that were picked.
type cells struct {
	w, h int
	in   []bool
}

// field are the squares in and about the picture's field of wires, and the direction across
// these; ok is false where there is none.
func (g gradients) field(s amongSearch) (c cells, th float64, ok bool) {
	m := g.clipped(s.CellPx / 2)
	alike := func(i, j int) bool {
		if m.all[j] == 0 || math.Hypot(m.c2[j], m.s2[j]) < s.OneWay*m.all[j] {
			return false
		}
		return math.Abs(math.Remainder(math.Atan2(m.s2[i], m.c2[i])-math.Atan2(m.s2[j], m.c2[j]), 2*math.Pi)) < 2*s.AlikeDeg*math.Pi/180
	}
	var c2, s2 float64
	wires := cells{m.w, m.h, make([]bool, m.w*m.h)}
	n := 0
	for y := range m.h {
		for x := range m.w {
			i, like := y*m.w+x, 0
			if !alike(i, i) {
				continue
			}
			for v := max(y-1, 0); v <= min(y+1, m.h-1); v++ {
				for u := max(x-1, 0); u <= min(x+1, m.w-1); u++ {
					if alike(i, v*m.w+u) {
						like++
					}
				}
			}
			if like >= s.Beside {
				wires.in[i] = true
				one := math.Hypot(m.c2[i], m.s2[i])
				c2, s2, n = c2+m.c2[i]/one, s2+m.s2[i]/one, n+1
			}
		}
	}
	// Fields that run every which way are no one part's.
	if n < s.Fewest || math.Hypot(c2, s2) < s.OneWay*float64(n) {
		return c, 0, false
	}
	c = cells{m.w, m.h, make([]bool, m.w*m.h)}
	for y := range m.h {
		for x := range m.w {
			if !wires.in[y*m.w+x] {
				continue
			}
			for v := max(y-s.Reach, 0); v <= min(y+s.Reach, m.h-1); v++ {
				for u := max(x-s.Reach, 0); u <= min(x+s.Reach, m.w-1); u++ {
					c.in[v*m.w+u] = true
				}
			}
		}
	}
	return c, math.Mod(math.Atan2(s2, c2)/2+math.Pi, math.Pi), true
}

// at are the cells, each so many slopes of g wide, as pixels of a smaller picture like
// another: 1 where they are picked.
func (c cells) at(like photo.Plane, wide int, g gradients) photo.Plane {
	out := photo.Plane{W: like.W, H: like.H, Pix: make([]uint8, like.W*like.H)}
	for y := range out.H {
		row := min(y*g.h/out.H/wide, c.h-1) * c.w
		for x := range out.W {
			if c.in[row+min(x*g.w/out.W/wide, c.w-1)] {
				out.Pix[y*out.W+x] = 1
			}
		}
	}
	return out
}
