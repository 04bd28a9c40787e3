package calib

import (
	"math"
	"slices"
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
	Ridge      bool // edges are lines in the picture, not steps
	// Within, as large as the picture that is swept, is nought where no edges are sought;
	// the zero value: everywhere.
	Within photo.Plane
}

func defaultSweep() sweepSearch {
	return sweepSearch{SidePx: 500, ChunkPx: 20, MinChunks: 4, Directions: 4, SpreadDeg: 3, StepDeg: 0.5, MaxLines: 36}
}

// sweepEdges finds edges nearly parallel to known ones by averaging the picture
// along them: wires across an edge melt into a tone, so that the edge of a ruler
// on a reed stands out though the wires' own edges are far stronger. small is
// the photo reduced by k; known and the result are in full-photo pixels.
func sweepEdges(small photo.Plane, k float64, known []segment, s sweepSearch) []segment {
	directions := sweepDirections(known, s)
	byDirection := make([][]segment, len(directions))
	SideBySide(len(directions), func(i int) { byDirection[i] = sweepAt(small, directions[i], s) })
	found := slices.Concat(byDirection...)
	sort.SliceStable(found, func(i, j int) bool { return found[i].support > found[j].support })
	var out, have []segment
	for _, g := range known { // what is known already need not be found again
		have = append(have, g.scaled(k))
	}
	for _, f := range found {
		if len(out) >= s.MaxLines {
			break
		}
		dup := false
		for _, g := range have {
			if alongside(f, g, 2) {
				dup = true
				break
			}
		}
		if !dup {
			out, have = append(out, f), append(have, f)
		}
	}
	for i := range out {
		out[i] = out[i].scaled(1 / k)
	}
	return out
}

// alongside says whether most of f runs within tol of g.
func alongside(f, g segment, tol float64) bool { return nearTo(f, g, tol) >= 3 }

// nearTo is at how many of five places of f it runs within tol of g.
func nearTo(f, g segment, tol float64) int {
	near := 0
	for _, u := range [5]float64{-0.9, -0.5, 0, 0.5, 0.9} {
		a := u * f.Hi // Lo = -Hi
		dx, dy := f.X+a*f.TX-g.X, f.Y+a*f.TY-g.Y
		if t := dx*g.TX + dy*g.TY; math.Abs(dy*g.TX-dx*g.TY) < tol && t > g.Lo-2*tol && t < g.Hi+2*tol {
			near++
		}
	}
	return near
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

// meltAlong takes each chunk's mean with half of those before and behind it: a
// chunk holds no whole number of wires, and what is left of them in its mean
// would look like edges across them. NaN stays NaN.
func meltAlong(m []float64, chunks int) {
	row := make([]float64, chunks)
	for ; len(m) > 0; m = m[chunks:] {
		copy(row, m)
		for c, v := range row {
			sum, w := 2*v, 2.0
			for _, d := range [2]int{-1, 1} {
				if c+d >= 0 && c+d < chunks && !math.IsNaN(row[c+d]) {
					sum, w = sum+row[c+d], w+1
				}
			}
			m[c] = sum / w
		}
	}
}

// seeks says whether edges are sought at a pixel, in fixed point.
func (s sweepSearch) seeks(x, y int32) bool {
	return s.Within.Pix == nil || s.Within.Pix[int(y>>fixedBits)*s.Within.W+int(x>>fixedBits)] > 0
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
	// every second pixel along the direction, through the picture's middle
	n := chunks * s.ChunkPx / 2
	xs, ys, v := make([]int32, n), make([]int32, n), make([]float32, n)
	for i := range xs {
		a := float64(2*i) - half
		xs[i], ys[i] = toFixed(cx+a*tx), toFixed(cy+a*ty)
	}
	for r := 0; r < rows; r++ {
		d := float64(r) - half
		dx, dy := toFixed(d*nx), toFixed(d*ny)
		in := func(i int) bool {
			x, y := xs[i]+dx, ys[i]+dy
			return x >= 1<<fixedBits && y >= 1<<fixedBits && x < int32(p.W-2)<<fixedBits && y < int32(p.H-2)<<fixedBits
		}
		i0, i1 := 0, n
		for i0 < i1 && !in(i0) {
			i0++
		}
		for i1 > i0 && !in(i1-1) {
			i1--
		}
		sampleRow(p, v[i0:i1], xs[i0:i1], ys[i0:i1], dx, dy)
		per := s.ChunkPx / 2
		for c := 0; c < chunks; c++ {
			m[r*chunks+c] = math.NaN()
			lo, hi := max(c*per, i0), min((c+1)*per, i1)
			if 2*(hi-lo) > per && s.seeks(xs[(lo+hi)/2]+dx, ys[(lo+hi)/2]+dy) {
				var sum float32
				for _, x := range v[lo:hi] {
					sum += x
				}
				m[r*chunks+c] = float64(sum) / float64(hi-lo)
			}
		}
	}
	meltAlong(m, chunks)
	// step across: the mean of two rows below less that of two above
	der := make([]float64, rows*chunks)
	var mags []float64
	for r := 2; r+2 < rows; r++ {
		for c := 0; c < chunks; c++ {
			v := (m[(r+1)*chunks+c] + m[(r+2)*chunks+c] - m[(r-1)*chunks+c] - m[(r-2)*chunks+c]) / 2
			if s.Ridge {
				v = m[r*chunks+c] - (m[(r-2)*chunks+c]+m[(r+2)*chunks+c])/2
			}
			if math.IsNaN(v) {
				continue
			}
			der[r*chunks+c] = v
			mags = append(mags, math.Abs(v))
		}
	}
	if len(mags) == 0 {
		return nil
	}
	thr := math.Max(2.5*median(mags), 1.5)
	var out []segment
	gain := make([]float64, chunks)
	signs := []float64{1, -1}
	if s.Ridge {
		signs = signs[:1]
	}
	for r := 3; r+3 < rows; r++ {
		// An edge is brighter on one side all along.
		for _, sign := range signs {
			for c := range gain {
				v := sign * der[r*chunks+c]
				// a strong edge counts more than a long one among what wires leave over
				gain[c] = -1
				if v > thr/math.E {
					gain[c] = math.Min(math.Log(v/thr), 3)
				}
				// only the crest counts, or a soft edge is found many times over
				if v < sign*der[(r-1)*chunks+c] && v < sign*der[(r+1)*chunks+c] {
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
	}
	return out
}
