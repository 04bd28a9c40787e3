package scene

import (
	"math"
	"strings"
)

// divisionsOf are the scales a ruler kind is made of: unit and divisions.
func divisionsOf(kind string) []Scale {
	var out []Scale
	for name := range strings.SplitSeq(kind, "+") {
		switch name {
		case "in8":
			out = append(out, Scale{Unit: "in", Divisions: 8})
		case "in16":
			out = append(out, Scale{Unit: "in", Divisions: 16})
		case "in32":
			out = append(out, Scale{Unit: "in", Divisions: 32})
		case "in10":
			out = append(out, Scale{Unit: "in", Divisions: 10})
		case "mm":
			out = append(out, Scale{Unit: "cm", Divisions: 10})
		}
	}
	return out
}

// ruler makes a rule or tape whose first scale's edge runs through the origin.
func (m *maker) ruler(view float64) (Ruler, bool) {
	r := Ruler{Kind: pick(m, m.o.RulerKinds...), Look: pick(m, m.o.RulerLooks...)}
	r.Scales = divisionsOf(r.Kind)
	if len(r.Scales) == 0 {
		return r, false
	}
	soft := m.dress(&r)
	// Its own width, and whether it is an endless tape or a rule of some length.
	r.WidthMM = m.between(17, 36)
	tape := strings.Contains(r.Look, "tape")
	if tape {
		r.WidthMM = m.between(12, 25)
	}
	length := pick(m, 150.0, 160, 200, 300, 310, 460, 600)
	if m.chance(0.3) {
		length = math.Min(length, 160)
	}
	if tape {
		length = math.Max(500, 3*view)
	}
	zero := 0.0
	if m.chance(0.7) {
		zero = m.between(2, 11)
	}
	for i := range r.Scales {
		sc := &r.Scales[i]
		u := sc.unitMM()
		sc.ZeroMM = zero
		sc.Last = int((length - zero) / u)
		if tape {
			sc.First = m.IntN(60)
			sc.ZeroMM = m.between(0, u) - float64(sc.First)*u
			sc.Last = sc.First + int(length/u) - 1
		}
		m.marks(&r, sc, len(r.Scales), tape)
	}
	r.LengthMM = zero + float64(r.Scales[0].Last)*r.Scales[0].unitMM() + m.between(2, 12)
	if tape {
		r.LengthMM = length
	}
	for i := range r.Scales {
		sc := &r.Scales[i]
		for sc.ZeroMM+float64(sc.Last)*sc.unitMM() > r.LengthMM {
			sc.Last--
		}
		if sc.Last <= sc.First {
			return r, false
		}
	}
	swap := m.chance(0.5) // which edge the first scale is on
	r.Scales[0].HighEdge = swap
	if len(r.Scales) > 1 {
		r.Scales[1].HighEdge = !swap
		if m.chance(0.4) {
			// The second edge is read with the ruler turned round.
			sc := &r.Scales[1]
			sc.Reverse = true
			sc.DigitTurn = (sc.DigitTurn + 2) % 4
			sc.ZeroMM = r.LengthMM - zero
			if tape {
				sc.ZeroMM = r.LengthMM - sc.ZeroMM
			}
		}
		if strings.Contains(r.Kind, "in16+mm") && m.chance(0.2) && !tape {
			r.Scales[0].FineUnits, r.Scales[0].FineDivisions = 1+m.IntN(3), 32
		}
	}
	r.ScaleError = m.in(m.o.RulerScaleError)
	r.MarkScatterMM = m.in(m.o.MarkScatterMM)
	r.AngleDeg = m.in(m.o.SkewDeg)
	if m.chance(0.35) {
		r.AngleDeg *= 0.1 // laid with care
	}
	if m.chance(0.35) {
		r.AngleDeg += 180
	}
	r.AngleDeg = round(r.AngleDeg, 4)
	if soft && m.chance(0.7) {
		// Less than one radian in all, however long the tape is.
		r.CurvePerMM = 1 / math.Max(m.between(900, 8000), 1.3*r.LengthMM)
		if m.chance(0.5) {
			r.CurvePerMM = -r.CurvePerMM
		}
	}
	// Short rules lie about the middle; of long ones any part may be in view.
	mid := r.LengthMM / 2
	if r.LengthMM > 0.8*view {
		mid = m.between(math.Min(0.3*view, mid), math.Max(r.LengthMM-0.3*view, mid))
	} else {
		mid += 0.12 * view * m.NormFloat64()
	}
	r.MidMM = mid
	if r.Scales[0].HighEdge {
		// (MidMM, WidthMM) goes to the origin.
		sin, cos := math.Sincos(r.AngleDeg * math.Pi / 180)
		r.XMM, r.YMM = r.WidthMM*sin, -r.WidthMM*cos
	}
	return r, true
}

// marks lays out one scale's print.
func (m *maker) marks(r *Ruler, sc *Scale, scales int, tape bool) {
	room := 0.92 * r.WidthMM / float64(scales)
	unit := clamp(m.between(0.35, 0.62)*room, 3, 11)
	fall := m.between(0.68, 0.8)
	if sc.Unit == "in" && sc.Divisions != 10 {
		for n, l := 1, unit; n <= 64; n *= 2 {
			sc.LengthsMM = append(sc.LengthsMM, round(l, 3))
			l *= fall
		}
	} else {
		sc.LengthsMM = []float64{round(unit, 3), round(unit*m.between(0.68, 0.85), 3), round(unit*m.between(0.45, 0.62), 3)}
	}
	sc.WidthMM = m.between(0.12, 0.3)
	if sc.Divisions == 32 || sc.FineUnits > 0 {
		sc.WidthMM = m.between(0.1, 0.2)
	}
	sc.UnitWidthMM = sc.WidthMM * pick(m, 1, 1, 1.3)
	if m.chance(0.3) {
		sc.GapMM = m.between(0.1, 0.7)
	}
	sc.DigitEvery = 1
	sc.DigitMM = clamp(m.between(0.28, 0.5)*room, 1.8, 6)
	if m.chance(0.65) {
		sc.DigitAtMM = sc.GapMM + unit + 0.4 // past the marks' ends
	} else {
		sc.DigitAtMM = sc.GapMM + unit*0.62 // beside the unit's mark
		sc.DigitShift = -0.75 * sc.DigitMM
	}
	if over := sc.DigitAtMM + sc.DigitMM - room; over > 0 {
		sc.DigitMM = math.Max(1.2, sc.DigitMM-over)
		sc.DigitAtMM = math.Min(sc.DigitAtMM, room-sc.DigitMM)
		if sc.DigitAtMM < unit {
			sc.DigitShift = -0.8 * sc.DigitMM
		}
	}
	if sc.Unit == "cm" {
		// Two figures must fit between marks a centimetre apart.
		sc.DigitMM = math.Min(sc.DigitMM, 4.5)
	}
	if tape && m.chance(0.25) {
		sc.DigitTurn = pick(m, 1, 3)
	}
	if m.chance(0.1) {
		sc.DigitMM = 0 // worn away, or a bare scale
	}
}

// dress gives the ruler its look and thickness; soft says it may be curved.
func (m *maker) dress(r *Ruler) (soft bool) {
	r.Ink = RGB{0.025, 0.025, 0.03}
	r.Texture, r.Contrast = "plain", m.between(0.02, 0.15)
	r.Gloss = m.between(0, 0.15)
	r.Wear = m.in(m.o.Wear) * m.Float64()
	r.Font = m.IntN(len(fonts))
	r.Shadow = m.between(0.25, 0.8)
	thick := Range{0.9, 3.2}
	switch r.Look {
	case "yellow":
		r.Face = RGB{m.between(0.65, 0.85), m.between(0.42, 0.58), m.between(0.03, 0.12)}
	case "wood":
		r.Face = dim(RGB{0.66, 0.45, 0.22}, m.between(0.6, 1.2))
		r.Texture, r.Contrast = "wood", m.between(0.15, 0.5)
		thick = Range{1.5, 3.2}
	case "steel":
		r.Face = m.tint(m.between(0.3, 0.6), 0.04)
		r.Texture, r.Contrast, r.Gloss = "brushed", m.between(0.1, 0.4), m.between(0.05, 0.5)
		thick = Range{0.35, 1.3}
	case "black":
		r.Face, r.Ink = m.tint(m.between(0.015, 0.05), 0.1), m.tint(m.between(0.5, 0.85), 0.1)
		if m.chance(0.3) {
			r.Ink = RGB{0.8, 0.6, 0.1}
		}
		thick = Range{0.5, 3}
	case "transparent":
		r.Face = m.tint(m.between(0.4, 0.8), 0.1)
		r.See = m.between(0.68, 0.9)
		r.Gloss = m.between(0.02, 0.2)
		if m.chance(0.25) {
			r.Ink = pick(m, RGB{0.3, 0.02, 0.02}, RGB{0.02, 0.05, 0.3})
		}
	case "tape", "soft-tape":
		r.Face = pick(m, RGB{0.75, 0.72, 0.64}, RGB{0.75, 0.55, 0.1}, RGB{0.72, 0.4, 0.42}, RGB{0.35, 0.6, 0.55})
		r.Texture, r.Contrast = "speckle", m.between(0.05, 0.25)
		thick = Range{0.2, 0.6}
		soft = r.Look == "soft-tape"
	case "steel-tape":
		r.Face = pick(m, RGB{0.75, 0.5, 0.05}, RGB{0.75, 0.75, 0.72}, RGB{0.8, 0.6, 0.15})
		r.Gloss = m.between(0.02, 0.3)
		thick = Range{0.15, 0.35}
	case "colour":
		r.Face = m.tint(m.between(0.15, 0.5), 1)
		for i := range r.Face {
			r.Face[i] = math.Min(0.85, r.Face[i])
		}
		if 0.3*r.Face[0]+0.6*r.Face[1]+0.1*r.Face[2] < 0.22 {
			r.Ink = RGB{0.8, 0.8, 0.75}
		}
	default:
		r.Face = m.tint(m.between(0.62, 0.88), 0.05)
	}
	r.Side = dim(r.Face, m.between(0.35, 0.9))
	if r.See > 0 {
		r.Side = m.tint(m.between(0.3, 0.9), 0.1)
	}
	// Keep to what this kind of ruler is like, within what was asked for.
	lo, hi := math.Max(thick[0], m.o.RulerThicknessMM[0]), math.Min(thick[1], m.o.RulerThicknessMM[1])
	if lo > hi {
		lo, hi = m.o.RulerThicknessMM[0], m.o.RulerThicknessMM[1]
	}
	r.ThicknessMM = round(m.between(lo, hi), 3)
	return soft
}
