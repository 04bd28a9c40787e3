package vision

import (
	"math"
	"sort"

	"dentcount/photo"
)

// Two heddle bars cross the ruler: flat bars of one make, so of one width and
// one colour, some inches apart. What is known of them, in inches (common
// practice, no source).
const (
	barMinWidthIn, barMaxWidthIn = 0.15, 2.2
	barsMinApartIn               = 6.0
	barsMaxApartIn               = 24.0
	baulksMinApartIn             = 2.5
	baulksMaxApartIn             = 8.0
	barsReachIn                  = 3.0 // how far from the ruler the bars are followed
)

// leastPair is how much two stripes must look like two bars of one make, and
// surePair how much they do where nothing is in doubt (from the photos with truth).
const leastPair, surePair = 0.08, 0.15

// stripe is a bar's face between two edges: outer and inner as seen from the
// middle between the bars.
type stripe struct {
	outer, inner edgeLine
	widthIn      float64
	face         colour
}

// findBars finds the outer edges of two heddle bars that cross the ruler.
func findBars(img photo.Colour, pl Plane) (Ends, bool) {
	return findPair(img, pl, barsMinApartIn, barsMaxApartIn)
}

// findHeight finds the outer edges of a reed's two baulks, which cross a ruler
// that lies along the wires.
func findHeight(img photo.Colour, pl Plane) (Ends, bool) {
	return findPair(img, pl, baulksMinApartIn, baulksMaxApartIn)
}

// findPair finds two flat bars of one make that cross the ruler, their outer
// edges between least and most inches apart.
func findPair(img photo.Colour, pl Plane, least, most float64) (Ends, bool) {
	q, lines := pairLines(img, pl)
	if q.cols == 0 {
		return Ends{}, false
	}
	s := pl.Scale
	ppi := math.Abs(s.PxPerIn())
	faces := faceCache{patch: q, prof: map[int][3][]float64{}}
	left, right := faces.stripes(lines, 1), faces.stripes(lines, -1)
	var best [2]stripe
	bestScore, second := 0.0, 0.0
	for _, l := range left {
		for _, r := range right {
			gap := s.In(r.outer.along) - s.In(l.outer.along)
			if gap < 0 {
				gap = -gap
			}
			if gap < least || gap > most || r.inner.along <= l.inner.along {
				continue
			}
			score := likeBars(l, r, pl.fanU(l.outer.along, r.outer.along))
			if score > bestScore {
				if !sameOuter(best, l, r, ppi) {
					second = bestScore
				}
				bestScore, best = score, [2]stripe{l, r}
			} else if score > second && !sameOuter(best, l, r, ppi) {
				second = score
			}
		}
	}
	if bestScore < leastPair {
		return Ends{}, false
	}
	e := q.between(best[0].outer, best[1].outer)
	e.UnderRuler = true
	e.Probability = bestScore / (bestScore + 0.3*second) * math.Min(1, bestScore/surePair)
	return e, true
}

// pairLines are the edges that may bound bars which cross the ruler, in the
// order in which they meet it. The patch has no columns where the ruler lies too
// near the photo's edge.
func pairLines(img photo.Colour, pl Plane) (patch, []edgeLine) {
	s := pl.Scale
	ppi := math.Abs(s.PxPerIn())
	q := drawPatch(img, pl, s.Lo-0.3*ppi, s.Hi+0.3*ppi, -barsReachIn*ppi, (barsReachIn+1)*ppi, math.Max(1, ppi/60))
	if q.cols == 0 {
		return q, nil
	}
	lines := q.edgeLines(0, q.rows, lineSearch{SigmaPx: math.Max(1.2, ppi/90), ChunkPx: 0.15 * ppi, MaxExtra: 0.1, MostLines: 60})
	sort.Slice(lines, func(i, j int) bool { return lines[i].along < lines[j].along })
	return q, lines
}

// likeBars is how much two stripes look like two bars of one make, 0…1: four
// clear edges, one width, one hue (the light may fall off between them), and
// parallel as far as the plane is known: leanU is the standard uncertainty of how
// much one may seem to lean against the other.
func likeBars(l, r stripe, leanU float64) float64 {
	q := l.outer.clear() * l.inner.clear() * r.outer.clear() * r.inner.clear()
	dw := math.Log(l.widthIn/r.widthIn) / 0.12
	dl := math.Log((l.face.sum()+10)/(r.face.sum()+10)) / 0.7
	dh := l.face.hue().sub(r.face.hue()).len() / 0.1
	const parallel = 0.03 // short marks tell the plane worse than its doubt says
	dt := (l.outer.extra - r.outer.extra) / math.Hypot(parallel, leanU)
	return math.Sqrt(q) * math.Exp(-(dw*dw+dl*dl+dh*dh+dt*dt)/2)
}

// fanU is the standard uncertainty, that of the plane, of how much the lines square
// to the ruler at one place of its edge lean against those at another.
func (pl Plane) fanU(along1, along2 float64) float64 {
	s := pl.Scale
	return math.Abs(along2-along1) / s.Half * math.Sqrt(math.Max(0, pl.Cov[1][1]))
}

func sameOuter(b [2]stripe, l, r stripe, ppi float64) bool {
	return math.Abs(b[0].outer.along-l.outer.along) < 0.03*ppi && math.Abs(b[1].outer.along-r.outer.along) < 0.03*ppi
}

// stripes are the pairs of edges that may bound a bar: outer first, dir +1
// where the inner edge lies at larger along.
func (f faceCache) stripes(lines []edgeLine, dir float64) []stripe {
	s := f.patch.plane.Scale
	var out []stripe
	for _, o := range lines {
		for _, i := range lines {
			w := dir * (i.along - o.along)
			if w <= 0 {
				continue
			}
			in := math.Abs(s.In(i.along) - s.In(o.along))
			if in < barMinWidthIn || in > barMaxWidthIn || math.Abs(i.extra-o.extra) > 0.02 {
				continue
			}
			face, even := f.between(o, i)
			// a bar's face is even; a stretch with an edge in it is not one face
			if even > 0.5*math.Min(o.step.len(), i.step.len())+6 {
				continue
			}
			out = append(out, stripe{o, i, in, face})
		}
	}
	return out
}

// faceCache keeps the patch's profiles by lean, as many pairs of edges share one.
type faceCache struct {
	patch patch
	prof  map[int][3][]float64
}

// between is the mean colour between two edges and its scatter along the ruler.
func (f faceCache) between(a, b edgeLine) (mean colour, sd float64) {
	const leanStep = 0.004
	q := f.patch
	lo, hi := math.Min(a.along, b.along), math.Max(a.along, b.along)
	pad := 0.15 * (hi - lo)
	key := int(math.Round((a.extra + b.extra) / 2 / leanStep))
	prof, ok := f.prof[key]
	if !ok {
		prof = q.profile(0, q.rows, float64(key)*leanStep)
		f.prof[key] = prof
	}
	c0, c1 := max(0, int(lo+pad-q.lo)), min(q.cols-1, int(hi-pad-q.lo))
	n := 0.0
	var sq float64
	for c := c0; c <= c1; c++ {
		if v := (colour{prof[0][c], prof[1][c], prof[2][c]}); v[0] == v[0] {
			for i := range mean {
				mean[i] += v[i]
			}
			sq += v.dot(v)
			n++
		}
	}
	if n == 0 {
		return mean, math.Inf(1)
	}
	for i := range mean {
		mean[i] /= n
	}
	return mean, math.Sqrt(math.Max(0, sq/n-mean.dot(mean)))
}

// between are the ends that two edges make: their distance square to them, read
// where they meet the marked edge, shown at the middle of the patch.
func (q patch) between(a, b edgeLine) Ends {
	pl := q.plane
	s := pl.Scale
	var e Ends
	var in [2]float64
	mid := (q.d0 + q.depth(q.rows-1)) / 2
	for i, l := range [2]edgeLine{a, b} {
		in[i] = s.In(l.along)
		x, y := s.Frame.Point(l.along+(q.leanAt(l.along)+l.extra)*mid, mid)
		e.At[i] = [2]float64{x, y}
	}
	m := (a.along + b.along) / 2
	// a straight part beside a tape that may bend: between parallel lines through
	// two places of its edge
	skew := q.skew((a.extra+b.extra)/2, m)
	dx, dy, _ := pl.straight(a.along, b.along)
	e.LengthIn = math.Abs(dx-dy*math.Tan(skew)) * math.Cos(skew)
	e.UIn = math.Hypot(a.u, b.u) * math.Abs(s.InPerPx(m))
	// edges that are not parallel in the plane are not known better than that
	e.UIn = math.Hypot(e.UIn, 0.3*math.Abs(a.extra-b.extra)*math.Abs(mid)*math.Abs(s.InPerPx(m)))
	return e
}
