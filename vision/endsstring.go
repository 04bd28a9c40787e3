package vision

import (
	"math"

	"dentcount/photo"
)

// A string heddle pinned out along the ruler: thread, end knot, thread, eye
// knot, the eye's two strands, eye knot, thread, end knot. Sizes in inches
// (common practice, no source).
const (
	stringMinIn, stringMaxIn = 4.0, 24.0
	eyeMinIn, eyeMaxIn       = 0.2, 4.0
	knotMinIn, knotMaxIn     = 0.03, 0.35
	knotChinkIn              = 0.02 // a shadow across it
)

// threadPatch is the stretch of the photo along the ruler in which a thread or a
// wire laid beside it is looked for, and its scale in px per inch. It has no
// columns where the ruler lies too near the photo's edge.
func threadPatch(img photo.Colour, pl Plane) (q patch, ppi float64) {
	s := pl.Scale
	ppi = math.Abs(s.PxPerIn())
	lo, hi := alongOf(img, pl)
	return drawPatch(img, pl, lo, hi, -threadReachIn*ppi, threadReachIn*ppi, math.Max(1, ppi/110)), ppi
}

// findString finds the two end knots of a string heddle, and its eye.
func findString(img photo.Colour, pl Plane) (Ends, bool) {
	q, ppi := threadPatch(img, pl)
	if q.cols == 0 {
		return Ends{}, false
	}
	var best Ends
	bestScore := 0.0
	for _, t := range q.threadLines(ppi, 8) {
		rb := q.straighten(t, ppi)
		e, score := rb.stringHeddle(ppi)
		if score > bestScore {
			best, bestScore = e, score
		}
		if bestScore > 0.8 {
			break // the lines come clearest first
		}
	}
	if bestScore < 0.25 {
		return Ends{}, false
	}
	best.Probability = math.Min(0.99, 0.5+0.55*bestScore)
	return best, true
}

// cross is what one column of a ribbon shows near the thread.
type cross struct {
	on     bool    // something on the axis
	center float64 // its middle, rows from the axis
	wide   float64 // and its width, in rows
	split  bool    // nothing on the axis, but a strand on each side
	apart  float64 // distance of the strands' middles
	strand float64 // their mean width
}

// crosses follows the thread through the ribbon, column by column.
func (rb ribbon) crosses(ppi float64) []cross {
	st := rb.patch.step
	bridge := max(1, int(0.02*ppi/st)) // a doubled thread leaves a chink
	out := make([]cross, len(rb.on))
	mid := len(rb.on) / 2
	// outward from the middle, so that what lies beyond the thread's ends does
	// not lead the axis astray before it is reached
	rb.follow(out, mid, len(rb.on), 1, bridge, ppi)
	rb.follow(out, mid-1, -1, -1, bridge, ppi)
	return out
}

// follow fills in the columns from c0 up to c1, not included, by steps of dir.
func (rb ribbon) follow(out []cross, c0, c1, dir, bridge int, ppi float64) {
	st := rb.patch.step
	axis := float64(rb.half)
	drift := make([]float64, 0, 64)
	for c := c0; c != c1; c += dir {
		runs := runsOf(rb.on[c], bridge)
		for i, r := range runs {
			runs[i] = rb.trim(c, r)
		}
		var x cross
		best := -1
		for i, r := range runs {
			if float64(r[0])-2.5 <= axis && axis <= float64(r[1])+1.5 {
				best = i
			}
		}
		if best >= 0 {
			r := runs[best]
			x.on = true
			x.wide = float64(r[1] - r[0])
			x.center = (float64(r[0]+r[1])-1)/2 - axis
			if x.wide*st < threadMaxWideIn*ppi {
				drift = append(drift, (float64(r[0]+r[1])-1)/2)
				if len(drift) > 48 {
					drift = drift[1:]
				}
				axis += 0.1 * math.Max(-1, math.Min(1, medianOf(drift)-axis))
			}
		} else {
			up, down := [2]int{-1, -1}, [2]int{-1, -1}
			for _, r := range runs {
				if float64(r[1]) <= axis {
					up = r
				} else if down[0] < 0 && float64(r[0]) >= axis {
					down = r
				}
			}
			if up[0] >= 0 && down[0] >= 0 {
				x.split = true
				x.apart = float64(down[0]+down[1]-up[0]-up[1]) / 2
				x.strand = float64(down[1]-down[0]+up[1]-up[0]) / 2
			}
		}
		out[c] = x
	}
}

// trim takes the soft rims of shadows off a stretch of a column: it begins and
// ends at a sharp edge. A stretch without one, or with one on one side only, as of
// a knot that is round and lit from one side, stays as it is.
func (rb ribbon) trim(c int, r [2]int) [2]int {
	from, to := -1, -1
	for k := max(0, r[0]-1); k < min(len(rb.sharp[c]), r[1]+1); k++ {
		if rb.sharp[c][k] {
			if from < 0 {
				from = k
			}
			to = k + 1
		}
	}
	const oneEdge = 3 // rows in which a single edge is steep
	if from < 0 || to-from <= oneEdge {
		return r
	}
	return [2]int{max(from, r[0]), min(to, r[1])}
}

// runsOf are the stretches [from, to) of a column that are on, chinks up to
// bridge closed.
func runsOf(on []bool, bridge int) [][2]int {
	var out [][2]int
	for k := 0; k < len(on); k++ {
		if !on[k] {
			continue
		}
		e := k
		for e < len(on) && on[e] {
			e++
		}
		if n := len(out); n > 0 && k-out[n-1][1] <= bridge {
			out[n-1][1] = e
		} else {
			out = append(out, [2]int{k, e})
		}
		k = e
	}
	return out
}

// knot is a thick place on a thread.
type knot struct {
	at    float64 // column of its middle
	thick float64 // its width over the thread's
}

// knots are the thick places. A knot ends where the thread goes on, or where
// its strands part.
func knots(xs []cross, wide, ppi float64) []knot {
	thick := math.Max(1.3*wide, wide+1.5)
	most := max(2, int(knotChinkIn*ppi))
	var out []knot
	for c := 0; c < len(xs); c++ {
		if !xs[c].on || xs[c].wide < thick {
			continue
		}
		e, top := c, 0.0
		for miss := 0; e < len(xs) && miss <= most; e++ {
			if xs[e].on && xs[e].wide >= thick {
				top = math.Max(top, xs[e].wide)
				miss = 0
			} else {
				miss++
			}
		}
		for e > c && !(xs[e-1].on && xs[e-1].wide >= thick) {
			e--
		}
		if n := float64(e - c); n >= knotMinIn*ppi && n <= knotMaxIn*ppi {
			out = append(out, knot{at: (float64(c+e) - 1) / 2, thick: top / wide})
		}
		c = e
	}
	return out
}

// stringHeddle looks for the four knots of a heddle in a ribbon. score is how
// much it looks like one, 0…1.
func (rb ribbon) stringHeddle(ppi float64) (e Ends, score float64) {
	q := rb.patch
	s := q.plane.Scale
	xs := rb.crosses(ppi)
	var wides []float64
	for _, x := range xs {
		if x.on {
			wides = append(wides, x.wide)
		}
	}
	wide := medianOf(wides)
	if len(wides) < 40 || wide*q.step > threadMaxWideIn*ppi {
		return e, 0
	}
	// how many of the first c columns show the thread, and how many are split
	n := len(xs)
	on, split := make([]float64, n+1), make([]float64, n+1)
	for c, x := range xs {
		on[c+1], split[c+1] = on[c], split[c]
		if x.on {
			on[c+1]++
		}
		if x.split {
			split[c+1]++
		}
	}
	share := func(sum []float64, a, b float64) float64 {
		i, j := max(0, int(a)), min(n, int(b))
		if j <= i {
			return 0
		}
		return (sum[j] - sum[i]) / float64(j-i)
	}
	ks := knots(xs, wide, ppi)
	dist := func(a, b float64) float64 { return math.Abs(s.In(q.lo+b) - s.In(q.lo+a)) }
	var at [4]float64
	for b := 0; b < len(ks); b++ {
		for c := b + 1; c < len(ks); c++ {
			eye := dist(ks[b].at, ks[c].at)
			if eye < eyeMinIn || eye > eyeMaxIn {
				continue
			}
			open := share(split, ks[b].at, ks[c].at)
			if open < 0.3 {
				continue
			}
			for a := 0; a < b; a++ {
				left := share(on, ks[a].at, ks[b].at)
				if left < 0.65 {
					continue
				}
				for d := c + 1; d < len(ks); d++ {
					right := share(on, ks[c].at, ks[d].at)
					whole := dist(ks[a].at, ks[d].at)
					if right < 0.65 || whole < stringMinIn || whole > stringMaxIn || eye > 0.4*whole {
						continue
					}
					lop := (dist(ks[a].at, ks[b].at) - dist(ks[c].at, ks[d].at)) / whole / 0.06
					thin := math.Min(math.Min(ks[a].thick, ks[b].thick), math.Min(ks[c].thick, ks[d].thick))
					v := math.Pow(left*right, 1.5) * math.Min(1, open/0.6) * math.Exp(-lop*lop/2) * math.Min(1, (thin-1)/0.5)
					if v > score {
						score = v
						at = [4]float64{ks[a].at, ks[b].at, ks[c].at, ks[d].at}
					}
				}
			}
		}
	}
	if score == 0 {
		return e, 0
	}
	e = rb.endsAt(at[0], at[3])
	e.UIn = math.Hypot(e.UIn, 0.025) // a knot is no point: its middle is told to a fortieth of an inch
	a, b := eyeOf(xs, int(at[1]), int(at[2]), wide)
	eye := rb.endsAt(a, b)
	// an eye ends somewhere in its knots
	e.Eye, e.EyeIn, e.EyeU = eye.At, eye.LengthIn, 0.06
	return e, score
}

// eyeOf finds where the two strands of an eye come together between the knots
// at columns a and b: as near as they run beyond it, which is one on the other
// for a single thread. The fifth of them that is nearest to each knot is followed
// on in a straight line, single columns that are seen wrong left out.
func eyeOf(xs []cross, a, b int, wide float64) (from, to float64) {
	var at, apart, strands []float64
	for c := a; c <= b && c < len(xs); c++ {
		if xs[c].split {
			at, apart, strands = append(at, float64(c)), append(apart, xs[c].apart), append(strands, xs[c].strand)
		}
	}
	seen := len(at)
	if seen < 8 || 5*(at[seen-1]-at[0]) < 3*float64(b-a) {
		// the strands are hardly seen: from knot to knot
		return float64(a), float64(b)
	}
	together := math.Max(0, wide-medianOf(strands))
	n := max(8, seen/5)
	meet := func(i int, out, knot, last float64) float64 {
		p, m, _, k := lineThrough(at[i:i+n], apart[i:i+n])
		if k < n/2 || m*out >= 0 {
			return knot // they do not come nearer toward it
		}
		return math.Max(math.Min(knot, last), math.Min(math.Max(knot, last), (together-p)/m))
	}
	return meet(0, -1, float64(a), at[0]), meet(seen-n, 1, float64(b), at[seen-1])
}

// endsAt are the ends at two columns of the ribbon, on its thread.
func (rb ribbon) endsAt(a, b float64) Ends {
	q := rb.patch
	f := q.plane.Scale.Frame
	mid := float64(q.cols-1) / 2
	var e Ends
	for i, c := range [2]float64{a, b} {
		d := rb.line.at(c, mid)
		along := q.lo + c
		x, y := f.Point(along+q.plane.leanAt(along)*d, d)
		e.At[i] = [2]float64{x, y}
	}
	e.LengthIn = q.plane.DistanceIn(e.At[0][0], e.At[0][1], e.At[1][0], e.At[1][1])
	e.UIn = 0.5 * e.LengthIn / math.Max(1, math.Abs(b-a))
	return e
}
