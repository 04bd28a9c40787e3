package scene

import "math"

// sceneCase is one kind of photo: what to ask for before the scene is put
// together, and what to change after.
type sceneCase struct {
	name   string
	expect Expect
	about  string
	before func(*maker)
	after  func(*maker) bool
}

// cases lists the kinds of photo, the usual one first.
var cases = []sceneCase{
	{"usual", ExpectAnswer, "a good photo", nil, nil},
	{"yarn", ExpectAnswer, "yarn and lint across the wires", nil, func(m *maker) bool {
		v := m.viewMM()
		m.lint(v, 2+m.IntN(3), true)
		m.lint(v, 3+m.IntN(5), false)
		return true
	}},
	{"hands", ExpectAnswer, "fingers hold the ruler", nil, (*maker).hands},
	{"two-rulers", ExpectAnswer, "a second ruler beside the first, or on the table", nil, (*maker).secondRuler},
	{"glare", ExpectAnswer, "a reflection hides part of the scale", nil, func(m *maker) bool {
		return m.glareOnRuler(m.between(0.06, 0.16), m.between(1.2, 3))
	}},
	{"ruler-cut", ExpectAnswer, "the frame cuts the ruler along its length", nil, (*maker).cutRuler},
	{"moire", ExpectRefuseOrUnsure, "wires and pixels beat against each other", func(m *maker) {
		m.kind, m.perDent, m.distance, m.fineMark = Reed, Range{2, 2.9}, Range{m.o.DistanceMM[0], 1500}, 2
	}, func(m *maker) bool {
		sn := &m.s.Sensor
		sn.Fill, sn.BlurPx, sn.Sharpen = 0.55, m.between(0.25, 0.4), m.between(0.5, 1.2)
		return m.tooFine()
	}},
	{"few-px", ExpectRefuse, "taken from too far away", func(m *maker) {
		m.kind, m.perDent, m.distance, m.fineMark = Reed, Range{1.1, 2}, Range{m.o.DistanceMM[0], 2500}, 0
	}, (*maker).tooFine},
	{"hard-blur", ExpectRefuseOrUnsure, "out of focus or shaken", nil, func(m *maker) bool {
		p := m.s.Part
		ppd := m.s.Camera.FocalPx(m.s.Width, m.s.Height) / m.s.Camera.DistanceMM * p.PitchMM()
		k := m.between(0.65, 1.1)
		if p.Kind == RigidHeddle {
			k *= 2 // slots alone come every second dent
		}
		m.s.Sensor.BlurPx = math.Max(4, k*ppd)
		m.s.Sensor.Sharpen = m.between(0, 0.5)
		return m.s.Sensor.BlurPx < 40
	}},
	{"comb", ExpectRefuseOrUnsure, "a comb instead of a reed", func(m *maker) { m.kind = Comb }, nil},
	{"ruler-sliver", ExpectRefuseOrUnsure, "less than an inch of the ruler in view", nil, (*maker).sliver},
	{"glare-all", ExpectRefuseOrUnsure, "a reflection hides the whole scale", nil, func(m *maker) bool {
		return m.glareOnRuler(0.9, m.between(3, 6))
	}},
	{"no-ruler", ExpectRefuse, "a reed or heddle without a ruler", func(m *maker) { m.noRuler = true }, nil},
	{"ruler-only", ExpectRefuse, "a ruler on the table", func(m *maker) { m.kind = NoPart }, (*maker).flatOnTable},
	{"board", ExpectRefuse, "a ruler on a plain board", func(m *maker) { m.kind = Board }, nil},
	{"corduroy", ExpectRefuse, "a ruler on ribbed cloth", func(m *maker) { m.kind = Corduroy }, func(m *maker) bool {
		t := &m.s.Table
		t.Pattern, t.ScaleMM, t.AngleDeg = "corduroy", m.between(1.3, 5), m.between(-8, 8)
		t.A = m.tint(m.between(0.05, 0.5), 0.8)
		t.B = dim(t.A, m.between(0.2, 0.6))
		return m.flatOnTable()
	}},
	{"nothing", ExpectRefuse, "neither ruler nor reed", func(m *maker) { m.kind, m.noRuler = NoPart, true }, func(m *maker) bool {
		m.lint(m.viewMM(), m.IntN(4), true)
		return m.flatOnTable()
	}},
}

// CaseAbout says in a few words what a case shows; empty for an unknown one.
func CaseAbout(name string) string {
	c := caseNamed(name)
	if c.name != name {
		return ""
	}
	return c.about
}

// CaseExpect is what a good reader does with photos of a case.
func CaseExpect(name string) Expect { return caseNamed(name).expect }

// viewMM is the photo's diagonal at the plane of the wires.
func (m *maker) viewMM() float64 {
	s := m.s
	return math.Hypot(float64(s.Width), float64(s.Height)) * s.Camera.DistanceMM / s.Camera.FocalPx(s.Width, s.Height)
}

// flatOnTable lays the ruler right on the table, with nothing between.
func (m *maker) flatOnTable() bool {
	m.s.Table.BelowMM = 0.05
	m.s.Table.Shadow = 0
	return true
}

// hands lays fingers across the ruler's ends.
func (m *maker) hands() bool {
	if len(m.s.Rulers) == 0 {
		return false
	}
	v := m.viewMM()
	r := m.s.Rulers[0]
	u := bareRule(r)
	skin := dim(pick(m, RGB{0.62, 0.38, 0.28}, RGB{0.5, 0.28, 0.18}, RGB{0.3, 0.15, 0.09}, RGB{0.12, 0.06, 0.035}), m.between(0.85, 1.15))
	side := pick(m, -1.0, 1)
	half := math.Min(r.LengthMM/2, 0.3*v)
	// From the far side of the marked edge, so that fingers leave marks to read.
	away := r.WidthMM
	if r.Scales[0].HighEdge {
		away = 0
	}
	n := 1 + m.IntN(3)
	for i := range n {
		along := u.MidMM + side*(half*m.between(0.45, 0.9)) - side*19*float64(i)
		x, y := u.place(along, away+(r.WidthMM/2-away)*m.between(0.2, 0.7))
		from := m.between(-0.3, 0.3)
		reach := v
		dx, dy := u.place(along, away+math.Copysign(1, away-r.WidthMM/2))
		ox, oy := u.place(along, away)
		dx, dy = dx-ox, dy-oy
		dx, dy = dx+from*dy, dy-from*dx
		rad := m.between(6.5, 8.5)
		z := r.ThicknessMM + 0.8*rad
		st := Strand{Kind: "finger", RadiusMM: rad, Colour: skin, Over: true}
		for k := 6; k >= 0; k-- {
			t := reach * float64(k) / 6
			st.Points = append(st.Points, [3]float64{x + t*dx + 2*m.NormFloat64(), y + t*dy, z + math.Min(12, t*0.12)})
		}
		m.s.Strands = append(m.s.Strands, st)
	}
	return true
}

// secondRuler lays another ruler parallel on the wires, or beside on the table.
func (m *maker) secondRuler() bool {
	r, ok := m.ruler(m.viewMM())
	if !ok || len(m.s.Rulers) == 0 {
		return false
	}
	p := m.s.Part
	second := bareRule(r)
	x, y := second.place(r.MidMM, r.WidthMM/2)
	first := bareRule(m.s.Rulers[0])
	_, y0 := first.place(first.MidMM, 0)
	_, y1 := first.place(first.MidMM, first.WidthMM)
	lo, hi := math.Min(y0, y1), math.Max(y0, y1)
	half := r.WidthMM/2 + 3
	slope := m.viewMM() / 2 * (math.Abs(math.Sin(r.AngleDeg*math.Pi/180)) + math.Abs(math.Sin(first.AngleDeg*math.Pi/180)))
	var want float64
	switch {
	case m.chance(0.3):
		// On the table, clear of the part: a scale that is a little too far away.
		r.BaseMM = -m.s.Table.BelowMM
		if m.s.Table.BelowMM > 50 {
			return false
		}
		want = p.YHighMM + p.Baulk.WidthMM + half + 6 + slope
		if m.chance(0.5) {
			want = p.YLowMM - p.Baulk.WidthMM - half - 6 - slope
		}
	case p.YHighMM-hi > 2*half+slope:
		want = m.between(hi+half+slope/2, p.YHighMM-half)
	case lo-p.YLowMM > 2*half+slope:
		want = m.between(p.YLowMM+half, lo-half-slope/2)
	default:
		return false
	}
	r.XMM += -x
	r.YMM += want - y
	m.s.Rulers = append(m.s.Rulers, r)
	return true
}

// glareOnRuler puts a reflection on the ruler, over `share` of its length in view.
func (m *maker) glareOnRuler(share, strength float64) bool {
	d := drawing{spec: m.s, v: newView(m.s.Camera, m.s.Width, m.s.Height)}
	if len(m.s.Rulers) == 0 {
		return false
	}
	u := bareRule(m.s.Rulers[0])
	d.rules = []*rule{&u}
	s0, s1, ok := d.edgeInView()
	if !ok {
		return false
	}
	at := (s0 + s1) / 2
	if share < 0.5 {
		at = m.between(s0+0.15*(s1-s0), s1-0.15*(s1-s0))
	}
	x, y := u.place(at, u.WidthMM/2)
	px, py, _ := d.v.project(x, y, u.top)
	x, y = u.place(at+share*(s1-s0), u.WidthMM/2)
	qx, qy, _ := d.v.project(x, y, u.top)
	x, y = u.place(at, u.WidthMM)
	wx, wy, _ := d.v.project(x, y, u.top)
	// A soft tape bends away from the line through its middle.
	along, bend := math.Hypot(qx-px, qy-py), 0.0
	for _, s := range [2]float64{at - share*(s1-s0), at + share*(s1-s0)} {
		x, y = u.place(math.Min(math.Max(s, s0), s1), u.WidthMM/2)
		ex, ey, _ := d.v.project(x, y, u.top)
		bend = math.Max(bend, math.Abs((qx-px)*(ey-py)-(qy-py)*(ex-px))/along)
	}
	m.s.Sensor.Glare = append(m.s.Sensor.Glare, Glare{
		X: px, Y: py, RX: along, RY: 2.2*math.Hypot(wx-px, wy-py) + bend,
		AngleDeg: math.Atan2(qy-py, qx-px) * 180 / math.Pi, Strength: strength / m.s.Sensor.Exposure, OnRuler: true,
	})
	return true
}

// cutRuler aims so that the frame runs along the ruler and cuts its far side.
func (m *maker) cutRuler() bool {
	s := &m.s
	if len(s.Rulers) == 0 {
		return false
	}
	u := bareRule(s.Rulers[0])
	near, far := 0.0, u.WidthMM
	if u.Scales[0].HighEdge {
		near, far = far, near
	}
	x0, y0 := u.place(u.MidMM, near)
	x1, y1 := u.place(u.MidMM, far)
	ux, uy := (x1-x0)/u.WidthMM, (y1-y0)/u.WidthMM
	// Step the aim away from the ruler until its far edge leaves the frame.
	for step := 0.0; step < m.viewMM(); step += 2 {
		s.Camera.AimXMM, s.Camera.AimYMM = -ux*step, -uy*step
		v := newView(s.Camera, s.Width, s.Height)
		px, py, _ := v.project(x1, y1, u.top)
		if !s.inFrame(px, py) {
			return true
		}
	}
	return false
}

// sliver slides the ruler along itself until little of it is in the frame.
func (m *maker) sliver() bool {
	s := &m.s
	if len(s.Rulers) == 0 {
		return false
	}
	want := m.between(0.2, 0.8) * MMPerInch
	end := m.chance(0.5)
	for range 2000 {
		d := drawing{spec: *s, v: newView(s.Camera, s.Width, s.Height)}
		u := bareRule(s.Rulers[0])
		d.rules = []*rule{&u}
		s0, s1, ok := d.edgeInView()
		if !ok {
			return false
		}
		over := s1 - s0 - want
		if over <= 0.5 {
			return s1-s0 > 2
		}
		by := math.Max(0.25, math.Min(over/3, 10))
		if end {
			by = -by
		}
		s.Rulers[0].MidMM += by
		if end && s.Rulers[0].MidMM < -3*m.viewMM() || !end && s.Rulers[0].MidMM > s.Rulers[0].LengthMM+3*m.viewMM() {
			return false
		}
	}
	return false
}

// bareRule is a ruler made ready for geometry alone.
func bareRule(r Ruler) rule {
	u := rule{Ruler: r, top: r.BaseMM + r.ThicknessMM}
	u.sin, u.cos = math.Sincos(r.AngleDeg * math.Pi / 180)
	if math.Abs(r.CurvePerMM) > 1e-9 {
		u.radius = 1 / r.CurvePerMM
	}
	return u
}
