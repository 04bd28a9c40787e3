package vision

import (
	"math"
	"slices"
	"sort"

	"dentcount/calib"
	"dentcount/photo"
)

// sideProfile are two profiles across the marked edge, each row a mean along
// hundreds of px of it: row i lies at depth d0 + i·profileStep. contrast is what
// is left of the wires' pattern, 1 far outside; tone is the light between the
// marks' places.
type sideProfile struct {
	d0             float64
	contrast, tone []float64
	// from is the first row that is heeded, onset about where the wires end.
	from  int
	onset float64
}

const profileStep = 0.5

func (a sideProfile) depth(i int) float64 { return a.d0 + float64(i)*profileStep }

// linear undoes the tone curve that photos are encoded with (sRGB, IEC 61966-2-1):
// a blurred edge is a mean of lights, not of grey levels.
func linear(v float64) float64 {
	v /= 255
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// sideProfileOf takes the profiles from reach px and two bands outside the edge
// to some inside, for the edge may have been traced along either side of the
// strip, which is pxPerMM wide for each mm of height; ok is false where the wires do not end there.
func sideProfileOf(p photo.Plane, s calib.Scale, b Bands, reach, pxPerMM float64) (a sideProfile, ok bool) {
	// The less of the face is looked at, the better: it has marks and figures. All
	// but a few rulers are no thicker than usualMM.
	const leastOutside, leastInside, usualMM = 10.0, 7.0, 3.2
	inside := math.Max(leastInside, usualMM*pxPerMM+4)
	beyond := math.Max(2*b.PxPerBand, 12)
	a.d0 = -math.Min(reach+beyond, b.ReachPx)
	rows := int((inside - a.d0) / profileStep)
	far := min(max(4, int(beyond/profileStep/2)), rows/3)
	if -a.d0 < leastOutside {
		return a, false
	}
	if a.contrast = contrastRows(p, s, b, a, rows, far); a.contrast == nil {
		return a, false
	}
	if a.tone = toneRows(p, s, a, rows); a.tone == nil {
		return a, false
	}
	// From inside outward: no pattern on the face, then the wires.
	const none, some, window = 0.12, 0.15, 6.0
	for i := rows - 1; i >= 0; i-- {
		v := a.contrast[i]
		if i > rows-8 && math.Abs(v) > none {
			return a, false
		}
		if v > some {
			a.onset = a.depth(i)
			break
		}
	}
	a.from = sort.Search(rows, func(i int) bool { return a.depth(i) >= a.onset-window })
	return a, a.onset > a.d0+8
}

// contrastRows is how much of the typical band is left in each row: the typical
// one is taken from the far rows. Only bands whose neighbour stands on its place,
// too, are heeded. nil where there are too few, or they show nothing.
func contrastRows(p photo.Plane, s calib.Scale, b Bands, a sideProfile, rows, far int) []float64 {
	const phases = 12
	ln := lean{b.Lean[0], b.Lean[1]}
	var cols []float64
	for k := 1; k < len(b.Row); k++ {
		l, r := b.Row[k-1], b.Row[k]
		if l.State != Good || r.State != Good || r.Index != l.Index+1 {
			continue
		}
		for q := range phases {
			cols = append(cols, s.Along(l.In+(r.In-l.In)*float64(q)/phases))
		}
	}
	if len(cols) < 5*phases {
		return nil
	}
	grid := make([]float64, rows*len(cols))
	for r := range rows {
		d := a.depth(r)
		for c, x := range cols {
			px, py := s.Frame.Point(x+ln.at(x)*d, d)
			grid[r*len(cols)+c] = linear(p.At(px, py))
		}
	}
	var typical, n [phases]float64
	for i, v := range grid[:far*len(cols)] {
		if v == v {
			typical[i%phases] += v
			n[i%phases]++
		}
	}
	var mean, power float64
	for q := range typical {
		typical[q] /= n[q]
		mean += typical[q] / phases
	}
	for q := range typical {
		typical[q] -= mean
		power += typical[q] * typical[q] / phases
	}
	if !(power > 0) {
		return nil
	}
	out := make([]float64, rows)
	for r := range out {
		var sum float64
		n := 0
		for c, v := range grid[r*len(cols) : (r+1)*len(cols)] {
			if v == v {
				sum += v * typical[c%phases]
				n++
			}
		}
		if 2*n < len(cols) {
			return nil
		}
		out[r] = sum / float64(n) / power
		// They must be there, each row like the others.
		if r < far && math.Abs(out[r]-1) > 0.4 {
			return nil
		}
	}
	return out
}

// toneRows is the mean light half-way between neighbouring marks, by row; nil
// where there are too few.
func toneRows(p photo.Plane, s calib.Scale, a sideProfile, rows int) []float64 {
	stepIn := s.Unit.Inches() / float64(max(s.Divisions, 1))
	var between []float64
	for i := 1; i < len(s.Marks); i++ {
		l, r := s.Marks[i-1], s.Marks[i]
		if math.Abs(math.Abs(r.In-l.In)-stepIn) > 0.1*stepIn {
			continue
		}
		for _, f := range [...]float64{0.4, 0.5, 0.6} {
			between = append(between, l.Along+f*(r.Along-l.Along))
		}
	}
	if len(between) < 12 {
		return nil
	}
	out := make([]float64, rows)
	for r := range out {
		d := a.depth(r)
		var sum float64
		n := 0
		for _, x := range between {
			px, py := s.Frame.Point(x+s.ShearAt(x)*d, d)
			if v := linear(p.At(px, py)); v == v {
				sum += v
				n++
			}
		}
		if 2*n < len(between) {
			return nil
		}
		out[r] = sum / float64(n)
	}
	return out
}

// edgeShape is how a straight edge looks, blurred, and sharpened by the camera:
// 0 far outside it and 1 far inside, by depth, in steps of edgeShapeStep.
type edgeShape [2*edgeShapeHalf + 1]float64

const edgeShapeStep, edgeShapeHalf = 0.05, 160

func newEdgeShape(blurPx, sharpen float64) *edgeShape {
	const sharpenPx = 1.3 // common practice, no source
	var e edgeShape
	for i := range e {
		d := float64(i-edgeShapeHalf) * edgeShapeStep
		v := 0.5 * math.Erfc(-d/(blurPx*math.Sqrt2))
		e[i] = v + sharpen*(v-0.5*math.Erfc(-d/(math.Hypot(blurPx, sharpenPx)*math.Sqrt2)))
	}
	return &e
}

func (e *edgeShape) above(d float64) float64 {
	i := int(math.Round(d/edgeShapeStep)) + edgeShapeHalf
	return e[min(max(i, 0), len(e)-1)]
}

// widths is the logarithm of the likelihood of each width of the strip, 0 at the
// likeliest: over where the lower edge lies, the blur, the sharpening and how far
// the ruler's shadow falls.
func (a sideProfile) widths(reach float64) []float64 {
	const lowerStep, outerPx, innerPx = 0.2, 3.2, 0.3
	out := make([]float64, int(reach/SideFaceStep)+1)
	for i := range out {
		out[i] = math.Inf(-1)
	}
	end := a.depth(len(a.tone)-1) - 3
	for _, blur := range [...]float64{0.45, 0.6, 0.8, 1.05, 1.35, 1.7} {
		for _, sharpen := range [...]float64{0, 0.7} {
			e := newEdgeShape(blur, sharpen)
			for lower := a.onset - outerPx; lower <= a.onset+innerPx; lower += lowerStep {
				for _, shadow := range [...]float64{1.5, 4} {
					l := a.lowerEdgeAt(lower, e, shadow)
					for i := range out {
						w := float64(i) * SideFaceStep
						if lower+w > end {
							break
						}
						out[i] = logSum(out[i], l.evidence(w))
					}
				}
			}
		}
	}
	out = slices.DeleteFunc(out, func(l float64) bool { return math.IsInf(l, 0) || math.IsNaN(l) })
	if len(out) < 3 {
		return nil
	}
	top := slices.Max(out)
	for i := range out {
		out[i] -= top
	}
	return out
}

func logSum(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	if math.IsInf(b, -1) {
		return a
	}
	return a + math.Log1p(math.Exp(b-a))
}

// levels are what a pair of profiles is made of, given where the two edges lie:
// of the contrast its level at the lower edge, its slope and what the shadow
// beside the ruler takes; of the tone the same, then the tones of the side face
// and of the marked one.
const (
	contrastLevel = iota
	contrastSlope
	contrastShadow
	toneLevel
	toneSlope
	toneShadow
	toneSide
	toneFace
	levels
)

// normalEquations are those of a linear model with normal errors and priors.
type normalEquations struct {
	a   [levels][levels]float64 // the lower triangle
	rhs [levels]float64
	yy  float64
}

// add is one observation, or a prior: Σ x[i]·level[i] = y, give or take sd.
func (q *normalEquations) add(y, sd float64, x ...term) {
	w := 1 / (sd * sd)
	for _, u := range x {
		for _, v := range x {
			if v.at <= u.at {
				q.a[u.at][v.at] += w * u.k * v.k
			}
		}
		q.rhs[u.at] += w * u.k * y
	}
	q.yy += w * y * y
}

type term struct {
	at int
	k  float64
}

// evidence is the logarithm of the likelihood with the levels integrated out.
func (q normalEquations) evidence() float64 {
	var logDet float64
	var z [levels]float64
	for u := range levels {
		for v := 0; v <= u; v++ {
			t := q.a[u][v]
			for m := range v {
				t -= q.a[u][m] * q.a[v][m]
			}
			if u > v {
				q.a[u][v] = t / q.a[v][v]
				continue
			}
			if t <= 0 {
				return math.Inf(-1)
			}
			q.a[u][u] = math.Sqrt(t)
			logDet += math.Log(t)
		}
		t := q.rhs[u]
		for m := range u {
			t -= q.a[u][m] * z[m]
		}
		z[u] = t / q.a[u][u]
		q.yy -= z[u] * z[u]
	}
	return -q.yy/2 - logDet/2
}

// lowerEdge is the model of the profiles with the lower edge in its place: all
// but the marked face, whose terms are added for each width.
type lowerEdge struct {
	eq                        normalEquations
	shape                     *edgeShape
	w                         float64 // weight of a row of the tone
	d                         []float64
	out, slope, shadow, in, y []float64
}

// lowerEdgeAt puts the lower edge at a depth. Besides the profiles it heeds what
// is stated of them: a shadow takes a part of the light near the edge, from the
// tone about as much as from the contrast; a side face is darker than the marked
// one, nobody knows how much (0.3 to 0.9 of it for two in three).
func (a sideProfile) lowerEdgeAt(at float64, e *edgeShape, shadowPx float64) lowerEdge {
	// What the model leaves of real profiles, shares of their height (of the drawn
	// set fit; noise is less after averaging along the edge).
	const contrastNoise, toneNoise = 0.035, 0.02
	const shadowMean, shadowSD, alikeSD, sideOfFace, sideSD = -0.15, 0.15, 0.15, 0.6, 0.3
	n := len(a.tone) - a.from
	buf := make([]float64, 6*n)
	l := lowerEdge{shape: e, d: buf[:n], out: buf[n : 2*n], slope: buf[2*n : 3*n], shadow: buf[3*n : 4*n], in: buf[4*n : 5*n], y: a.tone[a.from:]}
	face, top := a.tone[len(a.tone)-1], slices.Max(a.tone)
	toneSD := toneNoise * top / math.Sqrt(profileStep)
	l.w = 1 / (toneSD * toneSD)
	q := &l.eq
	for i := range l.d {
		d := a.depth(a.from+i) - at
		in := e.above(d)
		l.d[i], l.in[i] = d, in
		l.out[i] = 1 - in
		l.slope[i] = (1 - in) * d / 5
		l.shadow[i] = (1 - in) * math.Exp(math.Min(d, 0)/shadowPx)
		q.add(a.contrast[a.from+i], contrastNoise/math.Sqrt(profileStep),
			term{contrastLevel, l.out[i]}, term{contrastSlope, l.slope[i]}, term{contrastShadow, l.shadow[i]})
		q.add(l.y[i], toneSD,
			term{toneLevel, l.out[i]}, term{toneSlope, l.slope[i]}, term{toneShadow, l.shadow[i]}, term{toneSide, in})
	}
	ratio := l.y[0] / math.Max(a.contrast[a.from], 0.1) // of tone over contrast, outside
	q.add(a.contrast[a.from], 0.4, term{contrastLevel, 1})
	q.add(0, 0.3, term{contrastSlope, 1})
	q.add(shadowMean, shadowSD, term{contrastShadow, 1})
	q.add(0, 0.5*ratio, term{contrastLevel, -ratio}, term{toneLevel, 1})
	q.add(0, alikeSD*ratio, term{contrastSlope, -ratio}, term{toneSlope, 1})
	q.add(0, alikeSD*ratio, term{contrastShadow, -ratio}, term{toneShadow, 1})
	q.add(0, sideSD*face, term{toneSide, 1}, term{toneFace, -sideOfFace})
	q.add(face, 0.2*face, term{toneFace, 1})
	return l
}

// evidence is for a marked face that begins w px inside the lower edge.
func (l lowerEdge) evidence(w float64) float64 {
	// What the face covers, is not the side: its terms turn from the side's to the
	// face's.
	var fo, fs, fh, fi, ff, fy float64
	for i, d := range l.d {
		f := l.shape.above(d - w)
		fo += f * l.out[i]
		fs += f * l.slope[i]
		fh += f * l.shadow[i]
		fi += f * l.in[i]
		ff += f * f
		fy += f * l.y[i]
	}
	q := l.eq
	k := l.w
	q.a[toneSide][toneLevel] -= k * fo
	q.a[toneSide][toneSlope] -= k * fs
	q.a[toneSide][toneShadow] -= k * fh
	q.a[toneSide][toneSide] += k * (ff - 2*fi)
	q.rhs[toneSide] -= k * fy
	q.a[toneFace][toneLevel] += k * fo
	q.a[toneFace][toneSlope] += k * fs
	q.a[toneFace][toneShadow] += k * fh
	q.a[toneFace][toneSide] += k * (fi - ff)
	q.a[toneFace][toneFace] += k * ff
	q.rhs[toneFace] += k * fy
	return q.evidence()
}
