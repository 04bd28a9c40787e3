package calib

import (
	"math"
	"sort"

	"dentcount/photo"
)

// sweepSearch are the settings of sweepEdges.
type sweepSearch struct {
	SidePx     int     // long side of the search image
	ChunkPx    int     // length over which the picture is averaged along an edge
	MinChunks  int     // an edge is at least this long
	Directions int     // how many of the directions of known edges are swept
	SpreadDeg  float64 // either side of each, for a ruler laid askew
	StepDeg    float64
	MaxLines   int
}

func defaultSweep() sweepSearch {
	return sweepSearch{SidePx: 500, ChunkPx: 20, MinChunks: 4, Directions: 4, SpreadDeg: 3, StepDeg: 0.5, MaxLines: 24}
}

// sweepEdges finds edges nearly parallel to known ones by averaging the picture
// along them: wires across an edge melt into a tone, so that the edge of a ruler
// on a reed stands out though the wires' own edges are far stronger. small is
// the photo reduced by k; known and the result are in full-photo pixels.
func sweepEdges(small photo.Plane, k float64, known []segment, s sweepSearch) []segment {
	var found []segment
	for _, th := range sweepDirections(known, s) {
		found = append(found, sweepAt(small, th, s)...)
	}
	sort.SliceStable(found, func(i, j int) bool { return found[i].support > found[j].support })
	var out, have []segment
	for i := range known { // what is known already need not be found again
		g := known[i]
		g.X, g.Y = (g.X+0.5)*k-0.5, (g.Y+0.5)*k-0.5
		g.Lo, g.Hi = g.Lo*k, g.Hi*k
		have = append(have, g)
	}
	for _, f := range found {
		if len(out) >= s.MaxLines {
			break
		}
		dup := false
		for _, g := range have {
			if alongside(f, g, 4) {
				dup = true
				break
			}
		}
		if !dup {
			out, have = append(out, f), append(have, f)
		}
	}
	for i := range out {
		out[i].X = (out[i].X+0.5)/k - 0.5
		out[i].Y = (out[i].Y+0.5)/k - 0.5
		out[i].Lo /= k
		out[i].Hi /= k
	}
	return out
}

// alongside says whether most of f runs within tol of g.
func alongside(f, g segment, tol float64) bool {
	near := 0
	for _, u := range [5]float64{-0.9, -0.5, 0, 0.5, 0.9} {
		a := u * f.Hi // Lo = -Hi
		dx, dy := f.X+a*f.TX-g.X, f.Y+a*f.TY-g.Y
		if t := dx*g.TX + dy*g.TY; math.Abs(dy*g.TX-dx*g.TY) < tol && t > g.Lo-2*tol && t < g.Hi+2*tol {
			near++
		}
	}
	return near >= 3
}

// sweepDirections are the angles to sweep: those of the longest known edges of
// differing direction, and around them.
func sweepDirections(known []segment, s sweepSearch) []float64 {
	byLength := append([]segment(nil), known...)
	sort.SliceStable(byLength, func(i, j int) bool { return byLength[i].Hi-byLength[i].Lo > byLength[j].Hi-byLength[j].Lo })
	var centres []float64
	for _, g := range byLength {
		th := math.Mod(math.Atan2(g.TY, g.TX)+math.Pi, math.Pi)
		fresh := true
		for _, c := range centres {
			fresh = fresh && angleApart(th, c) > 2*s.SpreadDeg*math.Pi/180
		}
		if fresh {
			centres = append(centres, th)
		}
		if len(centres) == s.Directions {
			break
		}
	}
	var out []float64
	for _, c := range centres {
		for d := -s.SpreadDeg; d <= s.SpreadDeg+1e-9; d += s.StepDeg {
			out = append(out, c+d*math.Pi/180)
		}
	}
	return out
}

// sweepAt finds the edges of one direction, in pixels of p.
func sweepAt(p photo.Plane, th float64, s sweepSearch) []segment {
	tx, ty := math.Cos(th), math.Sin(th)
	nx, ny := -ty, tx
	cx, cy := float64(p.W-1)/2, float64(p.H-1)/2
	half := math.Hypot(cx, cy)
	rows := 2*int(half) + 1
	chunks := 2*int(half)/s.ChunkPx + 1
	m := make([]float64, rows*chunks)
	for r := 0; r < rows; r++ {
		d := float64(r) - half
		for c := 0; c < chunks; c++ {
			var sum float64
			n := 0
			for i := 0; i < s.ChunkPx; i += 2 {
				a := float64(c*s.ChunkPx+i) - half
				x, y := cx+a*tx+d*nx, cy+a*ty+d*ny
				xi, yi := int(x), int(y)
				if x < 1 || y < 1 || xi+2 >= p.W || yi+2 >= p.H {
					continue
				}
				fx := x - float64(xi)
				fy := y - float64(yi)
				q := yi*p.W + xi
				t := float64(p.Pix[q]) + fx*(float64(p.Pix[q+1])-float64(p.Pix[q]))
				u := float64(p.Pix[q+p.W]) + fx*(float64(p.Pix[q+p.W+1])-float64(p.Pix[q+p.W]))
				sum += t + fy*(u-t)
				n++
			}
			m[r*chunks+c] = math.NaN()
			if 2*n > s.ChunkPx/2 {
				m[r*chunks+c] = sum / float64(n)
			}
		}
	}
	// step across: the mean of two rows below less that of two above
	der := make([]float64, rows*chunks)
	var mags []float64
	for r := 2; r+2 < rows; r++ {
		for c := 0; c < chunks; c++ {
			v := (m[(r+1)*chunks+c] + m[(r+2)*chunks+c] - m[(r-1)*chunks+c] - m[(r-2)*chunks+c]) / 2
			if math.IsNaN(v) {
				continue
			}
			der[r*chunks+c] = math.Abs(v)
			mags = append(mags, math.Abs(v))
		}
	}
	if len(mags) == 0 {
		return nil
	}
	thr := math.Max(2.5*median(mags), 1.5)
	var out []segment
	gain := make([]float64, chunks)
	for r := 3; r+3 < rows; r++ {
		for c := range gain {
			v := der[r*chunks+c]
			gain[c] = math.Min(v/thr, 3) - 1
			// only the crest counts, or a soft edge is found many times over
			if v < der[(r-1)*chunks+c] && v < der[(r+1)*chunks+c] {
				gain[c] = math.Min(gain[c], 0)
			}
		}
		lo, hi, total := bestStretch(gain)
		if hi-lo+1 < s.MinChunks || total < float64(s.MinChunks)/2 {
			continue
		}
		a0 := float64(lo*s.ChunkPx) - half
		a1 := float64((hi+1)*s.ChunkPx) - half
		mid, d := (a0+a1)/2, float64(r)-half
		out = append(out, segment{X: cx + mid*tx + d*nx, Y: cy + mid*ty + d*ny, TX: tx, TY: ty,
			Lo: a0 - mid, Hi: a1 - mid, support: total})
	}
	return out
}
