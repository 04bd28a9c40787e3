package vision

import (
	"math"
	"sort"

	"dentcount/calib"
	"dentcount/photo"
)

// Plane carries the points of a photo to the plane of a ruler's marked face:
//
//	t = along/Half, v = depth/Half
//	X = (A + B·t + E·v) / (1 + C·t + F·v) + K·t³     inches along the ruler
//	Y = G·v / (1 + C·t + F·v)                        inches across it, onto the ruler
//
// A, B, C, K and Half are those of the ruler's Scale and (along, depth) of its
// Frame, so that on the marked edge X is the Scale's reading and Y is 0. E and F
// follow from the direction in which the ruler's marks run: they are square to
// its edge, so that all of them meet in one vanishing point (Hartley & Zisserman
// 2004, §8.6). G follows from the focal length, as the two axes of the plane are
// square to each other and of one unit (ibid., §8.8).
type Plane struct {
	Scale   calib.Scale
	E, F, G float64
	// Cov is the covariance of (E, F).
	Cov [2][2]float64
	// FocalPx is the focal length that G was reckoned with.
	FocalPx float64
	// TiltDeg is the angle between the plane and the picture.
	TiltDeg float64
	// MarksFollowed is how many marks told their direction.
	MarksFollowed int
	// BackPx is the depth at which the ruler's other edge lies, where it bears a
	// scale, too; 0: not told.
	BackPx float64
}

// tiltPrior is the tangent of the tilt across the ruler that is thought usual
// before anything was seen: people hold a phone within some 6° of level (common
// practice, no source).
const tiltPrior = 0.105

// FindPlane follows the marks of a ruler away from its edge and finds its
// plane. second is the scale on the ruler's other edge, nil where there is
// none. focalPx is the focal length in pixels; the lens is taken to point at the
// picture's centre. Where the marks are too small to be followed the plane lies
// level, and Cov says how little that is worth.
func FindPlane(p photo.Plane, s calib.Scale, second *calib.Scale, focalPx float64) Plane {
	pl := Plane{Scale: s, FocalPx: focalPx}
	obs := markPoints(p, s)
	pl.MarksFollowed = len(obs)
	pl.solve(obs, second)
	if second != nil {
		_, back := s.Frame.Locate(second.Frame.Point(0, 0))
		pl.BackPx = math.Max(0, back)
	}
	pl.square(float64(p.W-1)/2, float64(p.H-1)/2)
	return pl
}

// In carries a photo point to inches along and across the ruler.
func (pl Plane) In(x, y float64) (alongIn, acrossIn float64) {
	a, d := pl.Scale.Frame.Locate(x, y)
	return pl.at(a, d)
}

func (pl Plane) at(along, depth float64) (alongIn, acrossIn float64) {
	s := pl.Scale
	t, v := along/s.Half, depth/s.Half
	w := 1 + s.C*t + pl.F*v
	return (s.A+s.B*t+pl.E*v)/w + s.K*t*t*t, pl.G * v / w
}

// PointAt is the photo point at inches along and across the ruler.
func (pl Plane) PointAt(alongIn, acrossIn float64) (x, y float64) {
	s := pl.Scale
	along := s.Along(alongIn)
	lean := pl.leanAt(along)
	t := along / s.Half
	// Y = G·v / (1 + C·t + F·v), v the depth over Half, t moved by the lean
	d := 0.0
	for it := 0; it < 6; it++ {
		w := 1 + s.C*(t+lean*d/s.Half) + pl.F*d/s.Half
		d = acrossIn * w / pl.G * s.Half
	}
	return s.Frame.Point(along+lean*d, d)
}

// gradEF is the change of X with E and F.
func (pl Plane) gradEF(x, y float64) (dE, dF float64) {
	s := pl.Scale
	a, d := s.Frame.Locate(x, y)
	t, v := a/s.Half, d/s.Half
	w := 1 + s.C*t + pl.F*v
	return v / w, -v * (s.A + s.B*t + pl.E*v) / (w * w)
}

// ULength is the standard uncertainty, in inches, that the plane's doubt puts
// on the distance along the ruler between two photo points.
func (pl Plane) ULength(x1, y1, x2, y2 float64) float64 {
	e1, f1 := pl.gradEF(x1, y1)
	e2, f2 := pl.gradEF(x2, y2)
	e, f := e2-e1, f2-f1
	return math.Sqrt(math.Max(0, e*e*pl.Cov[0][0]+2*e*f*pl.Cov[0][1]+f*f*pl.Cov[1][1]))
}

// markLine is one mark followed away from the edge: its places row by row.
type markLine struct {
	in    float64
	along []float64
	depth []float64
}

// markPoints follows each mark of the scale from the edge to its end.
func markPoints(p photo.Plane, s calib.Scale) []markLine {
	if len(s.Marks) < 4 {
		return nil
	}
	perIn := math.Abs(s.PxPerIn())
	stepPx := s.Unit.Inches() / float64(s.Divisions) * perIn
	reach := 0.45 * perIn // the longest marks are about 1/2 in
	const step = 1.0
	st := beside(p, s.Frame, s.Lo-stepPx, s.Hi+stepPx, 0, reach, step)
	if st.cols == 0 {
		return nil
	}
	h := st.highPass(int(math.Max(3, math.Round(stepPx))))
	sign := markSign(h, s, perIn)
	half := math.Max(1.5, 0.42*stepPx)
	var out []markLine
	for _, m := range s.Marks {
		l := followMark(h, s, m, sign, half)
		if len(l.along) >= 6 && l.depth[len(l.depth)-1]-l.depth[0] >= 5 {
			out = append(out, l)
		}
	}
	return out
}

// markSign is +1 for marks lighter than the ruler, -1 for darker ones.
func markSign(h strip, s calib.Scale, perIn float64) float64 {
	var sum float64
	for r := 2; r < h.rows && h.depth(r) < 0.08*perIn+3; r++ {
		row := h.row(r)
		for _, m := range s.Marks {
			c := int(math.Round(m.Along + s.ShearAt(m.Along)*h.depth(r) - h.lo))
			if c > 0 && c < h.cols && row[c] == row[c] {
				sum += float64(row[c])
			}
		}
	}
	if sum > 0 {
		return 1
	}
	return -1
}

// followMark takes the middle of the mark in every row, as far as its contrast
// lasts. A run that breaks off ends the mark: digits stand beyond it.
func followMark(h strip, s calib.Scale, m calib.Mark, sign, half float64) markLine {
	l := markLine{in: m.In}
	lean := s.ShearAt(m.Along)
	var level float64
	lost := 0
	place := m.Along
	for r := 1; r < h.rows && lost < 3; r++ {
		d := h.depth(r)
		row := h.row(r)
		want := m.Along + lean*d
		c0, c1 := int(math.Floor(want-half-h.lo)), int(math.Ceil(want+half-h.lo))
		if c0 < 1 || c1+1 >= h.cols {
			return markLine{}
		}
		top, lowest := math.Inf(-1), math.Inf(1)
		for c := c0; c <= c1; c++ {
			v := sign * float64(row[c])
			if v != v {
				return l
			}
			top, lowest = math.Max(top, v), math.Min(lowest, v)
		}
		rise := top - lowest
		if r > 3 && rise < 0.45*level {
			lost++
			continue
		}
		level = math.Max(level, rise)
		if rise < 6 { // grey levels: noise, not a mark
			lost++
			continue
		}
		lost = 0
		// centre of what stands over half the rise
		var sw, sx float64
		floor := lowest + 0.5*rise
		for c := c0; c <= c1; c++ {
			if w := sign*float64(row[c]) - floor; w > 0 {
				sw += w
				sx += w * (h.lo + float64(c))
			}
		}
		x := sx / sw
		if len(l.along) > 0 && math.Abs(x-place) > 1.2 {
			lost++
			continue
		}
		place = x
		l.along = append(l.along, x)
		l.depth = append(l.depth, d)
	}
	// the last rows round off into the mark's end
	if n := len(l.along) - 2; n > 0 {
		l.along, l.depth = l.along[:n], l.depth[:n]
	}
	return l
}

// solve fits E and F to the marks' directions by weighted least squares, with
// the offset and scale of the marks' places free (they were read by others),
// robustly (Tukey's biweight by mark), and with the usual tilt as a prior.
func (pl *Plane) solve(obs []markLine, second *calib.Scale) {
	s := pl.Scale
	priorF := tiltPrior * s.Half / pl.FocalPx
	// Each mark is boiled down to its lean: E·v − X·F·v is linear in depth.
	type lean struct{ x, slope, w float64 }
	var ls []lean
	for _, o := range obs {
		// residual in inches per unit v, by a straight line through the mark's rows
		var n, sv, sr, svv, svr float64
		for i := range o.along {
			t, v := o.along[i]/s.Half, o.depth[i]/s.Half
			r := (o.in-s.K*t*t*t)*(1+s.C*t) - s.A - s.B*t
			n++
			sv += v
			sr += r
			svv += v * v
			svr += v * r
		}
		den := svv - sv*sv/n
		if den <= 0 {
			continue
		}
		ls = append(ls, lean{o.in, (svr - sv*sr/n) / den, den})
	}
	mid := (s.In(s.Lo) + s.In(s.Hi)) / 2
	w := make([]float64, len(ls))
	for i := range ls {
		w[i] = ls[i].w
	}
	var e, f float64 // about the middle: slope = e − (x−mid)·f, E = e + mid·f… see below
	var cov [2][2]float64
	sigma2 := 0.0
	for it := 0; it < 8 && len(ls) > 0; it++ {
		var a [2][2]float64
		var b [2]float64
		for i, l := range ls {
			j := [2]float64{1, -(l.x - mid)}
			for r := range j {
				for q := range j {
					a[r][q] += w[i] * j[r] * j[q]
				}
				b[r] += w[i] * j[r] * l.slope
			}
		}
		if sigma2 > 0 {
			a[1][1] += sigma2 / (priorF * priorF)
		}
		det := a[0][0]*a[1][1] - a[0][1]*a[1][0]
		if !(det > 0) {
			break
		}
		inv := [2][2]float64{{a[1][1] / det, -a[0][1] / det}, {-a[1][0] / det, a[0][0] / det}}
		e = inv[0][0]*b[0] + inv[0][1]*b[1]
		f = inv[1][0]*b[0] + inv[1][1]*b[1]
		var z []float64
		for _, l := range ls {
			z = append(z, math.Abs(l.slope-e+(l.x-mid)*f)*math.Sqrt(l.w))
		}
		c := append([]float64(nil), z...)
		sort.Float64s(c)
		sd := math.Max(1.4826*c[len(c)/2], 1e-9)
		sigma2 = sd * sd
		for i := range z {
			w[i] = 0
			if u := z[i] / (4.7 * sd); u < 1 {
				w[i] = ls[i].w * (1 - u*u) * (1 - u*u)
			}
		}
		for r := range inv {
			for q := range inv[r] {
				cov[r][q] = inv[r][q] * sigma2
			}
		}
	}
	if len(ls) < 6 || sigma2 == 0 {
		// marks too small to follow: the prior alone
		e, f = 0, 0
		cov = [2][2]float64{{math.Pow(0.03*s.B, 2), 0}, {0, priorF * priorF}}
	}
	// e is E − mid·F
	pl.F = f
	pl.E = e + mid*f
	pl.Cov[1][1] = cov[1][1]
	pl.Cov[0][1] = cov[0][1] + mid*cov[1][1]
	pl.Cov[1][0] = pl.Cov[0][1]
	pl.Cov[0][0] = cov[0][0] + 2*mid*cov[0][1] + mid*mid*cov[1][1]
	if second != nil {
		pl.heedSecond(*second)
	}
}

// heedSecond weighs in the scale on the ruler's other edge: its marks are known
// in inches but for where they start.
func (pl *Plane) heedSecond(o calib.Scale) {
	s := pl.Scale
	type pt struct{ x, t, v float64 }
	var ps []pt
	sign := 1.0
	if s.Frame.TX*o.Frame.TX+s.Frame.TY*o.Frame.TY < 0 {
		sign = -1
	}
	for _, m := range o.Marks {
		x, y := o.Frame.Point(m.Along, 0)
		a, d := s.Frame.Locate(x, y)
		if a < s.Lo || a > s.Hi {
			continue
		}
		ps = append(ps, pt{sign * m.In, a / s.Half, d / s.Half})
	}
	if len(ps) < 8 {
		return
	}
	// Unknown (E, F, X0); Gauss-Newton from what the marks' directions say.
	prior, ok := invert2(pl.Cov)
	if !ok {
		return
	}
	c := [3]float64{pl.E, pl.F, 0}
	for _, q := range ps {
		w := 1 + s.C*q.t + c[1]*q.v
		c[2] += ((s.A+s.B*q.t+c[0]*q.v)/w + s.K*q.t*q.t*q.t - q.x) / float64(len(ps))
	}
	sigma2 := math.Max(math.Pow(math.Max(o.ResidualIn, s.ResidualIn), 2), 1e-8)
	var inv [3][3]float64
	for it := 0; it < 6; it++ {
		var a [3][3]float64
		var b [3]float64
		var ss float64
		for _, q := range ps {
			w := 1 + s.C*q.t + c[1]*q.v
			x := (s.A + s.B*q.t + c[0]*q.v) / w
			r := q.x + c[2] - x - s.K*q.t*q.t*q.t
			ss += r * r
			j := [3]float64{q.v / w, -q.v * x / w, -1}
			for i := range j {
				for k := range j {
					a[i][k] += j[i] * j[k] / sigma2
				}
				b[i] += j[i] * r / sigma2
			}
		}
		d := [2]float64{pl.E - c[0], pl.F - c[1]}
		for i := range d {
			for k := range d {
				a[i][k] += prior[i][k]
				b[i] += prior[i][k] * d[k]
			}
		}
		m, ok := invert3(a)
		if !ok {
			return
		}
		inv = m
		for i := range c {
			for k := range b {
				c[i] += m[i][k] * b[k]
			}
		}
		sigma2 = math.Max(ss/float64(len(ps)-3), 1e-8)
	}
	// A second scale that contradicts the marks' directions is none.
	if z := math.Abs(c[1]-pl.F) / math.Sqrt(pl.Cov[1][1]+inv[1][1]); z > 4 {
		return
	}
	pl.E, pl.F = c[0], c[1]
	for i := range pl.Cov {
		for k := range pl.Cov[i] {
			pl.Cov[i][k] = inv[i][k]
		}
	}
}

func invert2(a [2][2]float64) (o [2][2]float64, ok bool) {
	det := a[0][0]*a[1][1] - a[0][1]*a[1][0]
	if !(math.Abs(det) > 0) {
		return o, false
	}
	return [2][2]float64{{a[1][1] / det, -a[0][1] / det}, {-a[1][0] / det, a[0][0] / det}}, true
}

// axes are the images of the plane's two axes as rays from the camera, the
// second for G = 1.
func (pl Plane) axes(cx, cy float64) (h1, h2 [3]float64) {
	s := pl.Scale
	f := s.Frame
	ray := func(t, v, w float64) [3]float64 {
		return [3]float64{
			(t*s.Half*f.TX + v*s.Half*f.NX + w*(f.X-cx)) / pl.FocalPx,
			(t*s.Half*f.TY + v*s.Half*f.NY + w*(f.Y-cy)) / pl.FocalPx,
			w,
		}
	}
	det := s.B - s.A*s.C
	t2 := (s.A*pl.F - pl.E) / det
	return ray(1/det, 0, -s.C/det), ray(t2, 1, -s.C*t2-pl.F)
}

func crossProduct(a, b [3]float64) [3]float64 {
	return [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// square finds G and the tilt from the focal length: the images of the plane's
// axes are h1 and h2, and seen through the lens both are as long.
func (pl *Plane) square(cx, cy float64) {
	h1, h2 := pl.axes(cx, cy)
	norm := func(a [3]float64) float64 { return math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2]) }
	pl.G = norm(h2) / norm(h1)
	n := crossProduct(h1, h2)
	pl.TiltDeg = math.Acos(math.Min(1, math.Abs(n[2])/norm(n))) * 180 / math.Pi
}

// FootIn is where the camera's foot point, straight below it, lies along the
// ruler, in inches. (cx, cy) is the picture's centre.
func (pl Plane) FootIn(cx, cy float64) float64 {
	n := crossProduct(pl.axes(cx, cy))
	along, _ := pl.In(cx+pl.FocalPx*n[0]/n[2], cy+pl.FocalPx*n[1]/n[2])
	return along
}

func invert3(a [3][3]float64) (o [3][3]float64, ok bool) {
	det := a[0][0]*(a[1][1]*a[2][2]-a[1][2]*a[2][1]) - a[0][1]*(a[1][0]*a[2][2]-a[1][2]*a[2][0]) + a[0][2]*(a[1][0]*a[2][1]-a[1][1]*a[2][0])
	if math.Abs(det) < 1e-30 {
		return o, false
	}
	for i := 0; i < 3; i++ {
		for j := 0; j < 3; j++ {
			x, y := (i+1)%3, (i+2)%3
			p, q := (j+1)%3, (j+2)%3
			o[j][i] = (a[x][p]*a[y][q] - a[x][q]*a[y][p]) / det
		}
	}
	return o, true
}
