package scene

import (
	"math"
)

// rule is a Ruler made ready for drawing.
type rule struct {
	Ruler
	cos, sin float64
	radius   float64 // of the middle line's bend, signed; 0 straight
	top      float64 // z of the face
	face     rgb
	side     rgb
	ink      rgb
	glyphs   *glyphs
	noise    *tile
	scales   []ladder
	light    *lights
	grain    float64 // its own place on the noise
}

// ladder is a Scale's marks, laid out.
type ladder struct {
	Scale
	unit   float64 // mm, with the ruler's own error and the scale's sense
	step   float64 // between two places of the finest division, signed
	from   int     // index of the first place, counted from value 0
	at     []float64
	length []float32 // 0: no mark at this place
	half   []float32 // half widths
	reach  float64   // of the longest mark, from the edge
	words  []word    // by whole unit, from First
}

// unitMM is the length of the scale's unit.
func (s Scale) unitMM() float64 {
	if s.Unit == "in" {
		return MMPerInch
	}
	return 10
}

// rank is a mark's place in the hierarchy: 0 a whole unit, 1 its half, and so
// on by halving; or, on scales by ten, 1 the five, 2 the tenth, 3 what is finer.
func rank(j, divisions int) int {
	j %= divisions
	switch {
	case j == 0:
		return 0
	case divisions%10 == 0:
		switch {
		case 2*j == divisions:
			return 1
		case j%(divisions/10) == 0:
			return 2
		}
		return 3
	}
	for r, d := 1, divisions; d%2 == 0; r++ {
		d /= 2
		if j%d == 0 {
			return r
		}
	}
	return 8
}

func newLadder(r Ruler, s Scale, g *glyphs, seed uint64) ladder {
	l := ladder{Scale: s}
	l.unit = s.unitMM() * (1 + r.ScaleError)
	if s.Reverse {
		l.unit = -l.unit
	}
	fine := s.Divisions
	if s.FineUnits > 0 && s.FineDivisions > s.Divisions && s.FineDivisions%s.Divisions == 0 {
		fine = s.FineDivisions
	}
	every := fine / s.Divisions
	l.step = l.unit / float64(fine)
	l.from = s.First * fine
	n := (s.Last-s.First)*fine + 1
	l.at, l.length, l.half = make([]float64, n), make([]float32, n), make([]float32, n)
	rng := stream(seed, forMarks)
	for i := range n {
		k := l.from + i
		l.at[i] = s.ZeroMM + float64(k)*l.step + rng.NormFloat64()*r.MarkScatterMM
		if k%every != 0 && (k < 0 || k > s.FineUnits*fine) {
			continue
		}
		rk := rank(k, fine)
		l.length[i] = float32(s.LengthsMM[min(rk, len(s.LengthsMM)-1)])
		l.half[i] = float32(s.WidthMM / 2)
		if rk == 0 && s.UnitWidthMM > 0 {
			l.half[i] = float32(s.UnitWidthMM / 2)
		}
		l.reach = math.Max(l.reach, float64(l.length[i])+s.GapMM)
	}
	for v := s.First; v <= s.Last; v++ {
		w := word{}
		switch {
		case s.DigitMM <= 0 || g == nil || s.DigitEvery <= 0 || v%s.DigitEvery != 0:
		case v == 0:
			w = g.word(s.Unit)
		default:
			w = g.number(v)
		}
		l.words = append(l.words, w)
	}
	return l
}

func newRule(r Ruler, seed uint64, lt *lights, gr *grains) (*rule, error) {
	g, err := newGlyphs(r.Font)
	if err != nil {
		return nil, err
	}
	u := bareRule(r)
	u.face, u.side, u.ink = r.Face.lin(), r.Side.lin(), r.Ink.lin()
	u.glyphs, u.light, u.noise = g, lt, gr.mid
	// Where on the noise this ruler lies.
	u.grain = float64(stream(seed, forRuler).IntN(tileSize))
	for i, s := range r.Scales {
		u.scales = append(u.scales, newLadder(r, s, g, seed+uint64(i)*7919))
	}
	return &u, nil
}

// local turns a point of the ruler's plane into the ruler's own s and q.
func (u *rule) local(x, y float64) (s, q float64) {
	dx, dy := x-u.XMM, y-u.YMM
	s, q = dx*u.cos+dy*u.sin, -dx*u.sin+dy*u.cos
	if u.radius != 0 {
		d := u.radius - (q - u.WidthMM/2)
		q = u.WidthMM/2 + u.radius - math.Copysign(math.Sqrt(s*s+d*d), u.radius)
		s = u.radius * math.Atan(s/d)
	}
	return s + u.MidMM, q
}

// place is the inverse of local.
func (u *rule) place(s, q float64) (x, y float64) {
	s -= u.MidMM
	if u.radius != 0 {
		sin, cos := math.Sincos(s / u.radius)
		d := u.radius - (q - u.WidthMM/2)
		s, q = d*sin, u.WidthMM/2+u.radius-d*cos
	}
	return u.XMM + s*u.cos - q*u.sin, u.YMM + s*u.sin + q*u.cos
}

// edgeQ is the q of the edge a scale's marks stand on.
func (u *rule) edgeQ(s Scale) float64 {
	if s.HighEdge {
		return u.WidthMM
	}
	return 0
}

// hit is what the ray meets of the ruler: its face with marks and digits, or
// the side that faces the camera's foot.
func (u *rule) hit(v *view, mx, my float64, j *jacobian, fill float64) hit {
	x, y := v.at(mx, my, u.top)
	s, q := u.local(x, y)
	h := (v.cz - u.top) * fill
	su, sv := j.mxu*u.cos+j.myu*u.sin, j.mxv*u.cos+j.myv*u.sin
	qu, qv := -j.mxu*u.sin+j.myu*u.cos, -j.mxv*u.sin+j.myv*u.cos
	ws, wq := h*math.Sqrt(su*su+sv*sv), h*math.Sqrt(qu*qu+qv*qv)
	// On its way down to the ruler's underside the ray moves by ds, dq: so the
	// lower edges appear that much the other way.
	ds, dq := -u.ThicknessMM*(mx*u.cos+my*u.sin), -u.ThicknessMM*(-mx*u.sin+my*u.cos)
	all := covered(s, ws, min(0, -ds), max(u.LengthMM, u.LengthMM-ds)) * covered(q, wq, min(0, -dq), max(u.WidthMM, u.WidthMM-dq))
	if all <= 0 {
		return hit{}
	}
	if u.missesCorner(s, q, ds, dq) {
		return hit{}
	}
	face := covered(s, ws, 0, u.LengthMM) * covered(q, wq, 0, u.WidthMM)
	var out hit
	if face > 0 {
		c, cov := u.print(s, q, ws, wq, x, y)
		out.rgb = c.times(face)
		out.cov = cov * face
	}
	if side := all - face; side > 1e-6 {
		k := 0.75
		if (q < 0) == (u.light.slopeY*u.cos-u.light.slopeX*u.sin < 0) {
			k = 1
		}
		cov := side * (1 - 0.55*u.See)
		out.rgb = out.plus(u.side.times(k * cov))
		out.cov += cov
	}
	return out
}

// onTable says that the ruler lies on the table, not on the wires.
func (u *rule) onTable() bool { return u.BaseMM < -0.5 }

// near says whether any of a block's rays may meet the ruler.
func (u *rule) near(v *view, b *block) bool {
	e := b.n - 1
	x0, y0 := v.at(b.mx[0], b.my[0], u.top)
	x1, y1 := v.at(b.mx[e], b.my[e], u.top)
	lean := math.Max(math.Abs(b.mx[0])+math.Abs(b.my[0]), math.Abs(b.mx[e])+math.Abs(b.my[e]))
	return u.reaches(x0, y0, x1, y1, u.ThicknessMM*lean+2*(b.wx+b.wy))
}

// shades says whether the ruler may keep light from the line between two
// points at height z.
func (u *rule) shades(x0, y0, x1, y1, z float64) bool {
	h := u.BaseMM + 0.6*u.ThicknessMM - z
	if h < 0 || u.Shadow <= 0 {
		return false
	}
	return u.reaches(x0, y0, x1, y1, 0.3+h*(0.9+math.Abs(u.light.slopeX)+math.Abs(u.light.slopeY)))
}

// reaches says whether the line between two points may come within reach of
// the ruler's outline, seen from above.
func (u *rule) reaches(x0, y0, x1, y1, reach float64) bool {
	dx0, dy0, dx1, dy1 := x0-u.XMM, y0-u.YMM, x1-u.XMM, y1-u.YMM
	s0, q0 := dx0*u.cos+dy0*u.sin, -dx0*u.sin+dy0*u.cos
	s1, q1 := dx1*u.cos+dy1*u.sin, -dx1*u.sin+dy1*u.cos
	if u.radius != 0 {
		far := math.Max(math.Abs(s0), math.Abs(s1))
		reach += far * far * math.Abs(u.CurvePerMM)
	}
	return math.Max(s0, s1)+u.MidMM >= -reach && math.Min(s0, s1)+u.MidMM <= u.LengthMM+reach &&
		math.Max(q0, q1) >= -reach && math.Min(q0, q1) <= u.WidthMM+reach
}

// missesCorner says that a ray which passes two edges at a corner goes down
// beside the ruler: it is over the length only before or after it is over the
// width.
func (u *rule) missesCorner(s, q, ds, dq float64) bool {
	outS, outQ := s < 0 || s > u.LengthMM, q < 0 || q > u.WidthMM
	if !outS && !outQ {
		return false
	}
	s0, s1 := within(s, ds, u.LengthMM)
	q0, q1 := within(q, dq, u.WidthMM)
	const slack = 0.02 // keeps the filtered edges of the sides
	return max(s0, q0) > min(s1, q1)+slack
}

// within is for which part of the way down, 0 to 1, a + t·d lies in [0, n].
// Half a pixel's slack is the caller's.
func within(a, d, n float64) (t0, t1 float64) {
	if d == 0 {
		d = 1e-12
	}
	t0, t1 = -a/d, (n-a)/d
	if t0 > t1 {
		t0, t1 = t1, t0
	}
	if a >= 0 && a <= n {
		t0 = 0
	}
	return max(t0, 0), max(min(t1, 1), 0)
}

// print is the face's light and how much it hides, at (s, q).
func (u *rule) print(s, q, ws, wq, x, y float64) (rgb, float64) {
	c := u.face
	g0 := u.grain
	n := u.noise.at(s*0.5+g0, q*0.8) - 0.5
	switch u.Texture {
	case "wood":
		g := u.noise.at(s*0.35+g0, q*9+2*n) - 0.5
		c = c.times(1 + u.Contrast*(0.9*g+0.4*n))
	case "brushed":
		g := u.noise.at(s*0.8+g0, q*23) - 0.5
		c = c.times(1 + u.Contrast*(0.8*g+0.3*n))
	case "speckle":
		g := u.noise.at(s*7+g0, q*7) - 0.5
		c = c.times(1 + u.Contrast*(0.7*g+0.3*n))
	default:
		c = c.times(1 + u.Contrast*0.4*n)
	}
	ink := 0.0
	for i := range u.scales {
		ink = max(ink, u.inkOf(&u.scales[i], s, q, ws, wq))
	}
	if u.Wear > 0 && ink > 0 {
		ink *= 1 - 0.95*smooth(0.93-u.Wear, 1.07-u.Wear, u.noise.at(s*2.3+40+g0, q*3.1))
	}
	body := 1 - u.See
	cov := body + (1-body)*ink
	c = mix(c.times(body), u.ink, ink).times(u.light.flat)
	if u.Gloss > 0 {
		// A flat glossy face mirrors the light about one place, wide along
		// the ruler where the metal is brushed that way.
		g := u.Gloss * (0.10 + bump((x-u.light.glossX)/90)*bump((y-u.light.glossY)/60)) * (0.8 + 0.4*n)
		c = c.plus(grey(g * (1 - 0.6*ink)))
	}
	return c, cov
}

// inkOf is the share of the pixel that one scale's print covers.
func (u *rule) inkOf(l *ladder, s, q, ws, wq float64) float64 {
	e := q // distance from the scale's edge
	if l.HighEdge {
		e = u.WidthMM - q
	}
	if e < 0 {
		return 0
	}
	ink := 0.0
	if e < l.reach+wq {
		t := (s - l.ZeroMM) / l.step
		r := ws/2/math.Abs(l.step) + 0.5
		i0, i1 := int(math.Ceil(t-r))-l.from, int(math.Floor(t+r))-l.from
		for i := max(0, i0); i <= min(len(l.at)-1, i1); i++ {
			if l.length[i] == 0 {
				continue
			}
			h := float64(l.half[i])
			c := covered(s, ws, l.at[i]-h, l.at[i]+h)
			if c > 0 {
				ink += c * covered(e, wq, l.GapMM, l.GapMM+float64(l.length[i]))
			}
		}
		ink = min(ink, 1)
	}
	if d := l.DigitMM; d > 0 && e > l.DigitAtMM-d && e < l.DigitAtMM+3*d {
		ink = max(ink, u.digitInk(l, s, q, e, max(ws, wq)))
	}
	return ink
}

func (u *rule) digitInk(l *ladder, s, q, e, w float64) float64 {
	d := l.DigitMM
	sense := 1.0
	if l.unit < 0 {
		sense = -1
	}
	v := int(math.Floor((s-l.ZeroMM-l.DigitShift*sense)/l.unit + 0.5))
	if v < l.First || v > l.Last {
		return 0
	}
	wd := &l.words[v-l.First]
	if len(wd.chars) == 0 {
		return 0
	}
	du := s - (l.ZeroMM + float64(v)*l.unit + l.DigitShift*sense)
	high := d / 2 // from the digits' near side to their middle
	if l.DigitTurn%2 != 0 {
		high = wd.width * d / 2
	}
	dv := e - l.DigitAtMM - high
	if l.HighEdge {
		dv = -dv
	}
	// du runs along +s, dv along +q; turn them into the word's own axes.
	a, b := du, dv
	switch l.DigitTurn & 3 {
	case 1:
		a, b = dv, -du
	case 2:
		a, b = -du, -dv
	case 3:
		a, b = -dv, du
	}
	return u.glyphs.at(*wd, a/d, b/d, w/d)
}

// shadow is the share of light that the ruler leaves at (x, y, z) below it.
func (u *rule) shadow(x, y, z float64) float64 {
	h := u.BaseMM + 0.6*u.ThicknessMM - z
	if h < 0 || u.Shadow <= 0 {
		return 1
	}
	s, q := u.local(x, y)
	dark := 0.4 * softBox(s, q, 0, u.LengthMM, 0, u.WidthMM, 0.3+0.9*h)
	s, q = u.local(x+h*u.light.slopeX, y+h*u.light.slopeY)
	dark = max(dark, softBox(s, q, 0, u.LengthMM, 0, u.WidthMM, 0.2+0.4*h))
	return 1 - u.Shadow*dark*(1-0.8*u.See)
}
