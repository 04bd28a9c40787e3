package scene

import (
	"math"
	"math/rand/v2"
	"slices"
)

// maker draws the numbers of one scene.
type maker struct {
	*rand.Rand
	o Ranges
	s Spec
	// What a case may ask for before the scene is put together.
	perDent  Range // px per dent
	distance Range
	kind     PartKind
	shareGap float64 // least ratio of brightness between wires and gaps, as a logarithm
	noRuler  bool
	fineMark float64 // least px between marks
}

// Random describes one photo. The same seed and ranges give the same Spec.
// Where the ranges leave no photo that a person could read (say, a reed of 24
// at 3 px per inch), the Spec comes out with Expect "refuse-or-unsure".
func Random(seed uint64, opt Ranges) Spec {
	m := &maker{Rand: stream(seed, forRandom), o: opt.filled()}
	c := cases[0]
	if m.Float64() < m.o.AdverseShare {
		names := m.o.Cases
		if len(names) == 0 {
			for _, k := range cases[1:] {
				names = append(names, k.name)
			}
		}
		c = caseNamed(names[m.IntN(len(names))])
	}
	const tries = 1000
	var second Spec // can be drawn, but is not what was wanted
	for range tries {
		m.s = Spec{Seed: seed, Case: c.name, Expect: c.expect}
		m.perDent, m.distance, m.kind, m.shareGap, m.noRuler, m.fineMark = m.o.PxPerDent, m.o.DistanceMM, "", 0.35, false, 3.2
		if c.before != nil {
			c.before(m)
		}
		ok := m.scene() && (c.after == nil || c.after(m)) && m.s.Check() == nil
		if ok && (c.expect != ExpectAnswer || m.answerable()) {
			return m.s
		}
		if (ok || second.Width == 0) && m.s.Check() == nil {
			second = m.s
		}
	}
	if second.Width == 0 {
		second = m.s
	}
	if second.Expect == ExpectAnswer {
		second.Expect = ExpectRefuseOrUnsure
	}
	return second
}

// CaseNames lists the cases Random knows, "usual" first.
func CaseNames() []string {
	var out []string
	for _, c := range cases {
		out = append(out, c.name)
	}
	return out
}

func (m *maker) in(r Range) float64 { return r[0] + (r[1]-r[0])*m.Float64() }

func (m *maker) between(lo, hi float64) float64 { return lo + (hi-lo)*m.Float64() }

func (m *maker) logIn(r Range) float64 {
	lo, hi := math.Max(r[0], 1e-6), math.Max(r[1], 1e-6)
	return lo * math.Pow(hi/lo, m.Float64())
}

func (m *maker) chance(p float64) bool { return m.Float64() < p }

func pick[T any](m *maker, list ...T) T { return list[m.IntN(len(list))] }

// scene puts everything together; false where the numbers do not go together.
func (m *maker) scene() bool {
	s := &m.s
	m.frame()
	m.part()
	ppd := m.logIn(m.perDent)
	pitch := s.Part.PitchMM()
	if pitch == 0 {
		pitch = MMPerInch / m.between(5, 15) // something to set the distance by
	}
	f := s.Camera.FocalPx(s.Width, s.Height)
	s.Camera.DistanceMM = f * pitch / ppd
	if d := s.Camera.DistanceMM; d < m.distance[0] || d > m.distance[1] {
		return false
	}
	// The photo's extent at the plane of the wires, mm.
	view := math.Hypot(float64(s.Width), float64(s.Height)) * s.Camera.DistanceMM / f
	m.pose(view)
	m.light()
	m.ground()
	m.finishFor(pitch)
	if !m.noRuler {
		r, ok := m.ruler(view)
		if !ok {
			return false
		}
		s.Rulers = []Ruler{r}
	}
	m.layPart(view)
	m.sensor(ppd)
	m.file()
	if m.chance(m.o.YarnShare) {
		m.lint(view, 1+m.IntN(3), m.chance(0.4))
	}
	if !m.noRuler {
		r := s.Rulers[0]
		pxMM := f / s.Camera.DistanceMM
		for _, sc := range r.Scales {
			step := sc.unitMM() / float64(sc.Divisions)
			if step*pxMM < m.fineMark {
				return false
			}
			if sg := s.Sensor.BlurPx; sg > 0.27*step*pxMM {
				s.Sensor.BlurPx = math.Max(0.3, 0.27*step*pxMM)
			}
		}
	}
	return s.Check() == nil
}

// frame chooses the photo's size and the lens.
func (m *maker) frame() {
	s := &m.s
	long := m.in(m.o.LongSidePx)
	aspect := 4.0 / 3
	if m.chance(0.25) {
		aspect = pick(m, 3.0/2, 16.0/9)
	}
	even := func(v float64) int { return max(16, 2*int(v/2+0.5)) }
	s.Width, s.Height = even(long), even(long/aspect)
	if m.chance(0.35) {
		s.Width, s.Height = s.Height, s.Width
	}
	// Most phones have their main lens near 26 mm; the rest is zoom.
	stated := 24 + 4*m.Float64()
	if m.chance(0.35) {
		stated = m.in(m.o.F35)
	}
	stated = math.Round(clamp(stated, m.o.F35[0], m.o.F35[1]))
	s.Camera.F35 = stated * (1 + m.in(m.o.F35Error))
	s.Camera.Convention = "width"
	if m.chance(m.o.DiagonalPart) {
		s.Camera.Convention = "diagonal"
	}
	if m.chance(m.o.F35Share) {
		s.File.F35 = int(stated)
	}
	s.Camera.K1 = m.in(m.o.K1)
}

// pose leans and turns the camera and points it near the origin.
func (m *maker) pose(view float64) {
	c := &m.s.Camera
	lean := m.o.TiltDeg[0] + (m.o.TiltDeg[1]-m.o.TiltDeg[0])*m.Float64()*math.Sqrt(m.Float64())
	sin, cos := math.Sincos(2 * math.Pi * m.Float64())
	c.TiltDeg = [2]float64{round(lean*sin, 3), round(lean*cos, 3)}
	c.RollDeg = round(90*float64(m.IntN(4))+5*m.NormFloat64(), 3)
	if m.chance(0.2) {
		c.RollDeg = round(360*m.Float64(), 3)
	}
	c.AimXMM, c.AimYMM = 0.06*view*m.NormFloat64(), 0.05*view*m.NormFloat64()
}

func (m *maker) light() {
	l := &m.s.Light
	reach := m.between(0.2, 1.3)
	if m.chance(0.5) {
		reach = m.between(0, 0.35) // shows its mirror image among the wires
	}
	sin, cos := math.Sincos(2 * math.Pi * m.Float64())
	l.SlopeX, l.SlopeY = reach*cos, reach*sin
	l.Ambient = m.between(0.35, 0.85)
	l.GradX, l.GradY = 0.12*m.NormFloat64(), 0.12*m.NormFloat64()
	if m.chance(0.3) {
		l.Shade, l.ShadeAtMM, l.ShadeDeg, l.SoftMM = m.between(0.1, 0.45), m.between(-60, 80), 360*m.Float64(), m.between(15, 120)
	}
}

// ground chooses the table.
func (m *maker) ground() {
	s := &m.s
	t := &s.Table
	t.AngleDeg = m.between(0, 180)
	t.Shadow = m.between(0.25, 0.75)
	t.BelowMM = s.Part.DepthMM + m.between(0.3, 4)
	name := pick(m, m.o.Tables...)
	if name == "grid" && m.chance(0.6) {
		name = pick(m, m.o.Tables...) // a cutting mat is the rarer table
	}
	t.Pattern = name
	tone := m.between(0.03, 0.75)
	t.A = m.tint(tone, 0.25)
	t.B = dim(t.A, m.between(0.35, 0.8))
	switch name {
	case "far":
		// Held up, or in the loom: the floor is far away and dim.
		t.Pattern = pick(m, "plain", "speckle", "wood")
		t.BelowMM = m.between(60, 400)
		t.ScaleMM = m.between(8, 40)
		t.Shadow = m.between(0, 0.3)
		t.A = dim(t.A, 0.5)
		t.B = dim(t.A, m.between(0.7, 0.92))
	case "wood":
		k := m.between(0.25, 1.2)
		t.A = RGB{0.55 * k, m.between(0.27, 0.38) * k, m.between(0.10, 0.22) * k}
		t.B = dim(t.A, m.between(0.35, 0.75))
		t.ScaleMM = m.between(4, 14)
	case "weave":
		t.ScaleMM = m.between(0.4, 1.6)
		t.B = m.tint(tone*m.between(0.6, 1.4), 0.3)
	case "speckle":
		t.ScaleMM = m.between(0.5, 3.5)
		t.B = dim(t.A, m.between(0.55, 0.9))
	case "grid":
		t.A = pick(m, RGB{0.03, 0.16, 0.09}, RGB{0.05, 0.09, 0.2}, RGB{0.09, 0.09, 0.1})
		t.B = RGB{0.5, 0.55, 0.45}
		t.ScaleMM = pick(m, 10.0, 12.7, 25.4, 5)
	default:
		t.ScaleMM = m.between(2, 10)
	}
}

// tint is a grey of the given brightness, coloured by up to `by`.
func (m *maker) tint(bright, by float64) RGB {
	warm := by * m.NormFloat64() * 0.6
	green := by * m.NormFloat64() * 0.3
	return RGB{bright * math.Exp(warm), bright * math.Exp(green), bright * math.Exp(-warm)}
}

func (m *maker) sensor(ppd float64) {
	sn := &m.s.Sensor
	sn.BlurPx = math.Min(m.logIn(m.o.BlurPx), math.Max(m.o.BlurPx[0], 0.22*ppd))
	sn.Exposure = m.in(m.o.Exposure)
	sn.Balance = m.tint(1, 0.12)
	sn.Contrast = m.between(0, 0.35)
	sn.Shoulder = m.between(0.7, 0.95)
	sn.Vignette = m.between(0, 0.3)
	sn.Veil = m.between(0, 0.012)
	noise := m.logIn(m.o.Noise)
	sn.ShotNoise = noise * noise
	sn.ReadNoise = 0.15 * noise
	sn.ChromaNoise = 60 * noise * m.between(0.3, 1)
	sn.Sharpen = m.in(m.o.Sharpen)
	sn.SharpenRadius = 1 + m.IntN(2)
}

func (m *maker) file() {
	f := &m.s.File
	f.Orientation = 1
	if m.chance(m.o.TurnedShare) {
		f.Orientation = pick(m, 3, 6, 8)
	}
	f.JPEGQuality = int(math.Round(m.in(m.o.JPEGQuality)))
	f.NoEXIF = f.Orientation == 1 && f.F35 == 0 && m.chance(0.5)
}

// lint lays threads across the part, thick ones where yarn is set.
func (m *maker) lint(view float64, n int, yarn bool) {
	for range n {
		st := Strand{Kind: "lint", RadiusMM: m.between(0.06, 0.2), Colour: m.tint(m.between(0.1, 0.8), 0.5), Over: m.chance(0.4)}
		reach := m.between(5, 30)
		if yarn {
			st.Kind, st.RadiusMM = "yarn", m.between(0.35, 1.4)
			reach = m.between(40, 0.6*view+40)
		}
		x, y := 0.25*view*m.NormFloat64(), 0.12*view*m.NormFloat64()
		sin, cos := math.Sincos(2 * math.Pi * m.Float64())
		z := st.RadiusMM
		if st.Over && len(m.s.Rulers) > 0 {
			z += m.s.Rulers[0].ThicknessMM
		}
		k := 4 + m.IntN(3)
		for i := range k {
			t := (float64(i)/float64(k-1) - 0.5) * 2 * reach
			w := 0.18 * reach * m.NormFloat64()
			st.Points = append(st.Points, [3]float64{x + t*cos - w*sin, y + t*sin + w*cos, z})
		}
		m.s.Strands = append(m.s.Strands, st)
	}
}

// answerable says whether a person could count this photo.
func (m *maker) answerable() bool {
	s := m.s
	if len(s.Rulers) == 0 || !s.Part.hasBands() {
		return false
	}
	d := drawing{spec: s, v: newView(s.Camera, s.Width, s.Height)}
	u := bareRule(s.Rulers[0])
	q := u.edgeQ(u.Scales[0])
	beside := -6.0 // a strip of wires beside the marked edge must be in view
	if q > 0 {
		beside = q + 6
	}
	const n = 200
	seen := 0
	for i := range n {
		at := u.LengthMM * (float64(i) + 0.5) / n
		ok := true
		for _, qq := range [2]float64{q, beside} {
			x, y := u.place(at, qq)
			px, py, depth := d.v.project(x, y, u.top)
			ok = ok && depth > 0 && s.inFrame(px, py) && d.onPart(x, y)
		}
		if ok {
			seen++
		}
	}
	span := u.LengthMM * float64(seen) / n
	need := math.Max(m.o.MinSpanIn*MMPerInch, 12*s.Part.PitchMM())
	if span < need {
		return false
	}
	x, y := u.place(u.LengthMM/2, q)
	if d.pxPerMM(x, y)*s.Part.PitchMM() < 0.8*m.perDent[0] {
		return false
	}
	return m.contrast() >= m.shareGap
}

// tooFine says that the wires stand under 3 px apart in the middle of the ruler: a
// leaning camera may bring them nearer than was set, and from there on they can be
// counted.
func (m *maker) tooFine() bool {
	t, err := TruthOf(m.s)
	return err == nil && t.PxPerDent != nil && *t.PxPerDent < 3
}

// contrast is the logarithm of the ratio of brightness between a wire, or a
// panel, and what is seen beside it.
func (m *maker) contrast() float64 {
	s := m.s
	grey := func(c RGB) float64 { return 0.3*c[0] + 0.6*c[1] + 0.1*c[2] }
	shade := newPartShadow(s, &reed{part: s.Part, xLo: s.Part.X0MM, xHi: s.Part.X0MM + 100})
	gap := grey(s.Table.A) * shade.gap * (1 - s.Table.Shadow*shade.between)
	if s.Table.Pattern != "plain" {
		gap *= 0.85
	}
	body := grey(s.Part.Finish.Colour) * (0.8 + 0.1*s.Part.Finish.Gloss)
	veil := 0.01 + s.Sensor.Veil
	return math.Abs(math.Log((body + veil) / (gap + veil)))
}

// caseNamed is the case of that name, or the usual one.
func caseNamed(name string) sceneCase {
	if i := slices.IndexFunc(cases, func(c sceneCase) bool { return c.name == name }); i >= 0 {
		return cases[i]
	}
	return cases[0]
}
