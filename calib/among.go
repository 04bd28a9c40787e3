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
	Most     float64 // of the picture that a field may be
}

func defaultAmong() amongSearch {
	return amongSearch{acrossSearch: defaultAcross(), OneWay: 0.5, AlikeDeg: 12, Beside: 7, Fewest: 12, Reach: 3, Most: 0.6}
}

// defaultShort are the settings for edges too short to be seen from afar, such as those of a
// ruler of which an inch or two are in the picture.
func defaultShort() amongSearch {
	s := defaultAmong()
	s.SidePx, s.PerTone, s.Most = 2*s.SidePx, 2*s.PerTone, 1
	return s
}

// amongEdges are the straight edges that run about square to the wires of the picture's
// fields of them, sought there alone, in px of the photo; none of a field that is so much of
// the picture that acrossEdges sees them.
func amongEdges(py pyramid, s amongSearch) ([]segment, error) {
	tone, err := py.reduced(s.SidePx)
	if err != nil {
		return nil, err
	}
	g := gradientsOf(py.work.Plane)
	var out []segment
	for _, f := range g.fields(s) {
		s.Within = f.at(tone.Plane, s.CellPx/2, g)
		in := 0
		for _, v := range s.Within.Pix {
			in += int(v)
		}
		if float64(in) > s.Most*float64(len(s.Within.Pix)) {
			continue
		}
		for _, p := range [2]photo.Plane{tone.Plane, g.roughness(f.th, tone)} {
			out = append(out, apartOf(sweepTurned(p, f.th, s.sweepSearch), s.PerTone)...)
		}
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

// field are the squares in and about a field of wires.
type field struct {
	cells
	th float64 // the direction across its wires, radians [0, π)
}

// fields are the picture's fields of wires, that of the most squares first: the grain of
// wooden bars is one as well, across that of the wires between them.
func (g gradients) fields(s amongSearch) []field {
	m := g.clipped(s.CellPx / 2)
	wires := m.alikeBeside(s)
	const bins = 180
	bin := func(i int) int {
		return min(int(math.Mod(math.Atan2(m.s2[i], m.c2[i])/2+math.Pi, math.Pi)/math.Pi*bins), bins-1)
	}
	var hist [bins]int
	for i, in := range wires.in {
		if in {
			hist[bin(i)]++
		}
	}
	var out []field
	for first := 0; len(out) < s.Grains; {
		at, n := fullest(hist[:], int(s.ApartDeg))
		first = max(first, n)
		if n < s.Fewest || float64(n) < s.LeastShare*float64(first) {
			break
		}
		var c2, s2 float64
		own := cells{m.w, m.h, make([]bool, m.w*m.h)}
		for i, in := range wires.in {
			if d := mod(bin(i)-at+bins/2, bins) - bins/2; in && d >= -int(s.ApartDeg) && d <= int(s.ApartDeg) {
				own.in[i] = true
				wires.in[i] = false
				one := math.Hypot(m.c2[i], m.s2[i])
				c2, s2 = c2+m.c2[i]/one, s2+m.s2[i]/one
				hist[bin(i)]--
			}
		}
		out = append(out, field{own.about(s.Reach), math.Mod(math.Atan2(s2, c2)/2+math.Pi, math.Pi)})
	}
	return out
}

// fullest is the place of a circle of counts about which, so far to either side, the most
// are, and how many.
func fullest(counts []int, reach int) (at, most int) {
	for i := range counts {
		n := 0
		for d := -reach; d <= reach; d++ {
			n += counts[mod(i+d, len(counts))]
		}
		if n > most {
			at, most = i, n
		}
	}
	return at, most
}

// alikeBeside are the squares in which the brightness changes one way, and most of those
// beside which are alike.
func (m cellMoments) alikeBeside(s amongSearch) cells {
	alike := func(i, j int) bool {
		if m.all[j] == 0 || math.Hypot(m.c2[j], m.s2[j]) < s.OneWay*m.all[j] {
			return false
		}
		return math.Abs(math.Remainder(math.Atan2(m.s2[i], m.c2[i])-math.Atan2(m.s2[j], m.c2[j]), 2*math.Pi)) < 2*s.AlikeDeg*math.Pi/180
	}
	out := cells{m.w, m.h, make([]bool, m.w*m.h)}
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
			out.in[i] = like >= s.Beside
		}
	}
	return out
}

// about are the cells and those so many away at most.
func (c cells) about(reach int) cells {
	out := cells{c.w, c.h, make([]bool, c.w*c.h)}
	for y := range c.h {
		for x := range c.w {
			if !c.in[y*c.w+x] {
				continue
			}
			for v := max(y-reach, 0); v <= min(y+reach, c.h-1); v++ {
				for u := max(x-reach, 0); u <= min(x+reach, c.w-1); u++ {
					out.in[v*c.w+u] = true
				}
			}
		}
	}
	return out
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
