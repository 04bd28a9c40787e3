package vision

import (
	"math"
	"sort"

	"dentcount/calib"
	"dentcount/photo"
)

// SideFace is what the photo shows of the ruler's side face: the face square to
// its plane along the marked edge, whose height is the height of the marks above
// the wires. From a camera whose foot point lies beyond the marked edge it is a
// strip between the wires and the face, t mm · DownPxPerMM wide; from the ruler's
// other side the marked face hides it, and nothing is told.
//
// Two profiles across the edge, each a mean along hundreds of pixels of it, tell
// the strip's width. The contrast of the wires ends where the ruler's lower edge
// covers them; the tone between the marks steps where the marked face begins.
type SideFace struct {
	// LogLik is the logarithm of the likelihood of a strip i·SideFaceStep px wide.
	LogLik []float64
	// Down are the widths a mm of height would have, by the lens's focal length,
	// FocalPx that of the middle one.
	Down    []Down
	FocalPx float64
}

// Down is how many px outside the marked edge a point 1 mm below it is seen if
// the focal length were FocalPx·exp(LnFocal), and its standard uncertainty.
type Down struct {
	LnFocal, PxPerMM, U float64
}

// SideFaceStep is how finely widths of the strip are told, px.
const SideFaceStep = 0.2

// across is a pair of profiles across the marked edge: row i at depth d0 + i·step.
type across struct {
	d0, step       float64
	contrast, tone []float64
	scale          float64 // of the tones
	from           int     // the first row that is heeded
}

func (a across) depth(i int) float64 { return a.d0 + float64(i)*a.step }

// FindSideFace measures the side face; ok is false where the photo cannot show
// it or tells nothing of it.
func FindSideFace(p photo.Plane, s calib.Scale, b Bands) (side SideFace, ok bool) {
	if b.BendPerIn != 0 || b.FocalPx <= 0 || s.Shear == [2]float64{} || len(b.Row) < 5 || len(s.Marks) < 6 {
		return side, false
	}
	side.Down, side.FocalPx = downOf(p, s, b), b.FocalPx
	mid := side.Down[len(side.Down)/2]
	for _, d := range side.Down {
		if d.LnFocal == 0 {
			mid = d
		}
	}
	const mostMM, leastPxPerMM = 5.0, 0.1
	if mid.PxPerMM < leastPxPerMM || mid.PxPerMM < 2*mid.U {
		return side, false
	}
	reach := math.Min(mostMM*mid.PxPerMM, 40) + 4
	a, ok := acrossOf(p, s, b, reach)
	if !ok {
		return side, false
	}
	side.LogLik = a.widths(reach)
	top := math.Inf(-1)
	for _, l := range side.LogLik {
		top = math.Max(top, l)
	}
	for i := range side.LogLik {
		side.LogLik[i] -= top
	}
	return side, side.LogLik != nil
}

// downOf reckons where points below the edge are seen from the wires' direction
// and from the marks', which tell the same plane by themselves.
func downOf(p photo.Plane, s calib.Scale, b Bands) []Down {
	// How well either tells the tilt across the edge where they agree, radians.
	const tiltU = 0.006
	var out []Down
	for x := -0.2; x < 0.85; x += 0.1 {
		x = math.Round(10*x) / 10
		wires := attitudeOf(p, s, lean{b.Lean[0], b.Lean[1]}, b.FocalPx*math.Exp(x)).downPxPerIn / 25.4
		marks := attitudeOf(p, s, lean{s.Shear[0], s.Shear[1]}, b.FocalPx*math.Exp(x)).downPxPerIn / 25.4
		out = append(out, Down{x, (wires + marks) / 2, math.Hypot(tiltU*math.Abs(s.PxPerIn())/25.4, (wires-marks)/2)})
	}
	return out
}

// linear undoes the tone curve that photos are encoded with (sRGB, IEC 61966-2-1):
// a blurred edge is a mean of lights, not of grey levels.
func linear(v float64) float64 {
	v /= 255
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// acrossOf takes the profiles, outside to reach px from the edge.
func acrossOf(p photo.Plane, s calib.Scale, b Bands, reach float64) (a across, ok bool) {
	const phases, step, inside = 12, 0.5, 7.0
	beyond := math.Max(2*b.PxPerBand, 12)
	outer := -reach - beyond
	if -outer > b.ReachPx {
		outer = -b.ReachPx
	}
	if outer > -10 {
		return a, false
	}
	a = across{d0: outer, step: step}
	rows := int((inside - outer) / step)
	n := len(b.Row)
	// columns by phase of the bands
	alongOf := func(k float64) float64 {
		j := min(max(int(k), 0), n-2)
		i := b.Row[j].In
		span := float64(b.Row[j+1].Index - b.Row[j].Index)
		return s.Along(i + (k-float64(j))*(b.Row[j+1].In-i)/math.Max(span, 1))
	}
	ln := lean{b.Lean[0], b.Lean[1]}
	cols := make([]float64, 0, n*phases)
	for k := 0; k+1 < n; k++ {
		if b.Row[k].State != Good || b.Row[k+1].State != Good || b.Row[k+1].Index != b.Row[k].Index+1 {
			continue
		}
		for q := range phases {
			cols = append(cols, alongOf(float64(k)+float64(q)/phases))
		}
	}
	if len(cols) < 5*phases {
		return a, false
	}
	grid := make([][]float64, rows)
	for r := range grid {
		d := a.depth(r)
		grid[r] = make([]float64, len(cols))
		for c, x := range cols {
			px, py := s.Frame.Point(x+ln.at(x)*d, d)
			grid[r][c] = linear(p.At(px, py))
		}
	}
	// The typical band, from the rows farthest out.
	var tpl [phases]float64
	far := min(max(4, int(beyond/step/2)), rows/3)
	mean := 0.0
	for q := range phases {
		var sum float64
		cnt := 0
		for r := 0; r < far; r++ {
			for c := q; c < len(cols); c += phases {
				if v := grid[r][c]; v == v {
					sum += v
					cnt++
				}
			}
		}
		if cnt == 0 {
			return a, false
		}
		tpl[q] = sum / float64(cnt)
		mean += tpl[q] / phases
	}
	var power float64
	for q := range tpl {
		tpl[q] -= mean
		power += tpl[q] * tpl[q] / phases
	}
	if power <= 0 {
		return a, false
	}
	for r := range grid {
		var sum float64
		cnt := 0
		for c, v := range grid[r] {
			if v == v {
				sum += v * tpl[c%phases]
				cnt++
			}
		}
		if 2*cnt < len(cols) {
			return a, false
		}
		a.contrast = append(a.contrast, sum/float64(cnt)/power)
	}
	// The tone between neighbouring marks.
	var between []float64
	stepIn := s.Unit.Inches() / float64(max(s.Divisions, 1))
	for i := 1; i < len(s.Marks); i++ {
		x0, x1 := s.Marks[i-1].Along, s.Marks[i].Along
		if math.Abs(math.Abs(s.Marks[i].In-s.Marks[i-1].In)-stepIn) > 0.1*stepIn {
			continue
		}
		for _, f := range [...]float64{0.4, 0.5, 0.6} {
			between = append(between, x0+f*(x1-x0))
		}
	}
	if len(between) < 12 {
		return a, false
	}
	for r := range rows {
		d := a.depth(r)
		var sum float64
		cnt := 0
		for _, x := range between {
			px, py := s.Frame.Point(x+s.ShearAt(x)*d, d)
			if v := linear(p.At(px, py)); v == v {
				sum += v
				cnt++
			}
		}
		if 2*cnt < len(between) {
			return a, false
		}
		a.tone = append(a.tone, sum/float64(cnt))
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range a.tone {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	a.scale = hi
	return a, true
}

// profileUnknowns are the levels that a pair of profiles is made of, given where
// the two edges lie: of the contrast its level, its slope and what the shadow
// beside the ruler takes; of the tone the same, and the tones of the side face
// and of the marked one.
const profileUnknowns = 8

// edgeShape is how a straight edge looks, blurred, and sharpened by the camera:
// 0 far outside it and 1 far inside, by depth, in steps of edgeShapeStep.
type edgeShape [2*edgeShapeHalf + 1]float64

const edgeShapeStep, edgeShapeHalf = 0.05, 160

func newEdgeShape(blur, sharpen float64) *edgeShape {
	const sharpenPx = 1.3
	var e edgeShape
	for i := range e {
		d := float64(i-edgeShapeHalf) * edgeShapeStep
		v := 0.5 * math.Erfc(-d/(blur*math.Sqrt2))
		e[i] = v + sharpen*(v-0.5*math.Erfc(-d/(math.Hypot(blur, sharpenPx)*math.Sqrt2)))
	}
	return &e
}

func (e *edgeShape) above(d float64) float64 {
	i := int(math.Round(d/edgeShapeStep)) + edgeShapeHalf
	return e[min(max(i, 0), len(e)-1)]
}

// widths is the logarithm of the likelihood of each width of the strip.
func (a across) widths(reach float64) []float64 {
	onset, ok := a.contrastEnd()
	if !ok {
		return nil
	}
	n := int(reach/SideFaceStep) + 1
	out := make([]float64, n)
	for i := range out {
		out[i] = math.Inf(-1)
	}
	const lowerStep, outerPx, window = 0.15, 3.2, 6.0
	a.from = sort.Search(len(a.tone), func(i int) bool { return a.depth(i) >= onset-window })
	end := a.depth(len(a.tone)-1) - 3
	for _, blur := range [...]float64{0.45, 0.6, 0.8, 1.05, 1.35, 1.7} {
		for _, sharpen := range [...]float64{0, 0.7} {
			e := newEdgeShape(blur, sharpen)
			for b := onset - outerPx; b <= onset+0.3; b += lowerStep {
				for _, shadow := range [...]float64{1.5, 4} {
					for i := range out {
						w := float64(i) * SideFaceStep
						if b+w > end {
							break
						}
						out[i] = logSum(out[i], a.evidence(b, w, e, shadow))
					}
				}
			}
		}
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

// contrastEnd is about where the wires' contrast ends: ok is false where it does
// not go out.
func (a across) contrastEnd() (at float64, ok bool) {
	n := len(a.contrast)
	for i := n - 1; i >= 0; i-- {
		v := a.contrast[i]
		if i > n-8 && math.Abs(v) > 0.12 {
			return 0, false
		}
		if v > 0.15 {
			return a.depth(i), a.depth(i) > a.d0+8
		}
	}
	return 0, false
}

// evidence is the logarithm of how likely the profiles are where the wires' end
// lies at b and the marked face begins w px farther in.
func (a across) evidence(b, w float64, sh *edgeShape, shadowPx float64) float64 {
	const k = profileUnknowns
	const contrastNoise, toneNoise = 0.035, 0.02
	var jt [k][k]float64
	var rhs [k]float64
	var yy float64
	add := func(x *[k]float64, y, sd float64) {
		q := 1 / (sd * sd)
		for u := range k {
			if x[u] == 0 {
				continue
			}
			for v := 0; v <= u; v++ {
				jt[u][v] += q * x[u] * x[v]
			}
			rhs[u] += q * x[u] * y
		}
		yy += q * y * y
	}
	face := a.tone[len(a.tone)-1]
	far := a.tone[a.from] / math.Max(a.contrast[a.from], 0.1)
	for i := a.from; i < len(a.contrast); i++ {
		y, d := a.contrast[i], a.depth(i)-b
		inL, inF := sh.above(d), sh.above(d-w)
		g := 0.0
		if d < 0 {
			g = math.Exp(d / shadowPx)
		} else {
			g = 1
		}
		out := 1 - inL
		add(&[k]float64{out, out * d / 5, out * g}, y, contrastNoise/math.Sqrt(a.step))
		add(&[k]float64{3: out, 4: out * d / 5, 5: out * g, 6: inL - inF, 7: inF}, a.tone[i], toneNoise*a.scale/math.Sqrt(a.step))
	}
	// What is stated: a shadow takes a fifth or so of the light at the edge, of the
	// tone about as much as of the contrast; a side face is darker than the marked
	// one, by how much nobody knows.
	const shadowMean, shadowSD, alikeSD, sideOfFace, sideSD = -0.15, 0.15, 0.15, 0.6, 0.3
	add(&[k]float64{2: 1}, shadowMean, shadowSD)
	add(&[k]float64{2: -far, 5: 1}, 0, alikeSD*far)
	add(&[k]float64{6: 1, 7: -sideOfFace}, 0, sideSD*face)
	add(&[k]float64{1: 1}, 0, 0.3)
	add(&[k]float64{1: -far, 4: 1}, 0, alikeSD*far)
	add(&[k]float64{0: 1}, a.contrast[a.from], 0.4)
	add(&[k]float64{0: -far, 3: 1}, 0, 0.5*far)
	add(&[k]float64{7: 1}, face, 0.2*face)
	// Cholesky in place.
	var logDet float64
	var z [k]float64
	for u := range k {
		for v := 0; v <= u; v++ {
			t := jt[u][v]
			for m := range v {
				t -= jt[u][m] * jt[v][m]
			}
			if u == v {
				if t <= 0 {
					return math.Inf(-1)
				}
				jt[u][u] = math.Sqrt(t)
				logDet += math.Log(t)
			} else {
				jt[u][v] = t / jt[v][v]
			}
		}
		t := rhs[u]
		for m := range u {
			t -= jt[u][m] * z[m]
		}
		z[u] = t / jt[u][u]
		yy -= z[u] * z[u]
	}
	return -yy/2 - logDet/2
}

// Likelihood is how likely what was seen is under a ruler whose marked face lies
// thicknessMM above the wires, through a lens of focal length FocalPx·exp(lnFocal):
// up to a factor that does not depend on them.
func (side SideFace) Likelihood(thicknessMM, lnFocal float64) float64 {
	// The strip's own width is told no better than this, px: the edges of real
	// things are neither straight nor sharp, and the lens bends them.
	const widthU = 0.2
	// Gauss and Hermite's points for a normal distribution.
	points := [...]struct{ z, w float64 }{{-1.7320508, 1. / 6}, {0, 2. / 3}, {1.7320508, 1. / 6}}
	d := side.down(lnFocal)
	var sum float64
	for _, a := range points {
		for _, b := range points {
			w := math.Max(0, (d.PxPerMM+a.z*d.U)*thicknessMM) + b.z*widthU
			sum += a.w * b.w * side.of(w)
		}
	}
	return sum
}

// of is the likelihood of a width.
func (side SideFace) of(px float64) float64 {
	x := math.Max(0, px) / SideFaceStep
	i := int(x)
	if i+1 >= len(side.LogLik) {
		return math.Exp(side.LogLik[len(side.LogLik)-1])
	}
	f := x - float64(i)
	return math.Exp(side.LogLik[i])*(1-f) + math.Exp(side.LogLik[i+1])*f
}

// down is what Down says of a focal length.
func (side SideFace) down(lnFocal float64) Down {
	i := sort.Search(len(side.Down), func(i int) bool { return side.Down[i].LnFocal >= lnFocal })
	i = min(max(i, 1), len(side.Down)-1)
	a, b := side.Down[i-1], side.Down[i]
	t := math.Min(math.Max((lnFocal-a.LnFocal)/(b.LnFocal-a.LnFocal), 0), 1)
	return Down{lnFocal, a.PxPerMM + t*(b.PxPerMM-a.PxPerMM), a.U + t*(b.U-a.U)}
}
