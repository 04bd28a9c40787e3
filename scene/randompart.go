package scene

import (
	"math"
	"slices"
)

// part chooses what is measured: kind, size, shape.
func (m *maker) part() {
	p := &m.s.Part
	p.Kind = m.kind
	if p.Kind == "" {
		p.Kind = Reed
		if m.chance(m.o.HeddleShare) {
			p.Kind = RigidHeddle
		}
	}
	p.Label, p.System = "none", "off"
	p.DepthMM = m.in(m.o.DepthMM)
	switch p.Kind {
	case NoPart, Corduroy:
		*p = Part{Kind: p.Kind, Label: "none", System: "off"}
		return
	case Board:
		*p = Part{Kind: Board, Label: "none", System: "off", DepthMM: m.between(3, 20)}
		return
	case Comb:
		p.DentsPerInch = m.between(8, 26)
		p.WireFraction = m.between(0.5, 0.65)
		p.FrontRound = m.between(0.2, 0.8)
		p.Scatter = 0.005
		return
	}
	m.size()
	p.Scatter = m.logIn(m.o.Scatter)
	if p.Kind == Reed {
		p.WireFraction = m.in(m.o.WireFraction)
		p.FrontRound = m.between(0.3, 1)
		p.TwistDeg = m.in(m.o.TwistDeg)
		return
	}
	p.DepthMM = clamp(p.DepthMM+m.between(-0.2, 1.2), 2.5, 5)
	p.SlotFraction = m.between(0.26, 0.46)
	p.HoleFraction = p.SlotFraction * m.between(0.8, 1.25)
	p.HoleLengthMM = m.between(5, 13)
	p.RoundHoles = m.chance(0.6)
	p.BevelMM = m.between(0, 0.16)
}

func (m *maker) size() {
	p := &m.s.Part
	if m.chance(m.o.OffShare) {
		lo, hi := 4.0, 25.0
		if p.Kind == RigidHeddle {
			hi = 15
		}
		p.DentsPerInch = offSize(m.Rand, lo, hi)
		return
	}
	system := "inch"
	if m.chance(m.o.MetricShare) {
		system = "metric"
	}
	list := Sizes(p.Kind)
	wanted := func(s Size) bool {
		if len(m.o.Labels) > 0 {
			return slices.Contains(m.o.Labels, s.Label)
		}
		return s.System == system
	}
	var choice []Size
	for _, s := range list {
		if wanted(s) {
			choice = append(choice, s)
		}
	}
	if len(choice) == 0 {
		choice = list
	}
	s := choice[m.IntN(len(choice))]
	p.Label, p.System = s.Label, s.System
	p.DentsPerInch = s.DentsPerInch * (1 + m.o.SizeTolerance*clamp(m.NormFloat64(), -3, 3))
}

// finishFor chooses the looks of wires or panel, baulks and caps.
func (m *maker) finishFor(pitch float64) {
	p := &m.s.Part
	f := &p.Finish
	f.Varies = m.between(0.01, 0.12)
	f.RoughX, f.RoughY = m.between(0.12, 0.6), m.between(0.06, 0.5)
	f.Texture = "plain"
	gap := pitch * (1 - p.WireFraction)
	if p.Kind == RigidHeddle {
		gap = pitch * p.SlotFraction
	}
	f.GapAO = clamp(0.2+gap/(gap+0.7*math.Max(0.5, p.DepthMM))*m.between(0.6, 1.1), 0.1, 1)
	switch p.Kind {
	case Reed:
		k := m.between(0.75, 1.25)
		switch m.IntN(5) {
		case 0: // bright steel
			f.Colour, f.Gloss = dim(RGB{0.52, 0.53, 0.55}, k), m.between(0.5, 1.6)
		case 1: // dull steel
			f.Colour, f.Gloss = dim(RGB{0.28, 0.28, 0.28}, k), m.between(0.15, 0.7)
		case 2: // blued, or dark with age
			f.Colour, f.Gloss = dim(RGB{0.06, 0.06, 0.07}, k), m.between(0.3, 1.4)
		case 3: // brass
			f.Colour, f.Gloss = dim(RGB{0.5, 0.34, 0.13}, k), m.between(0.3, 1.2)
		default: // lacquered grey
			f.Colour, f.Gloss = dim(RGB{0.16, 0.17, 0.17}, k), m.between(0.2, 1)
		}
		if m.chance(m.o.RustShare) {
			f.Rust = m.between(0.1, 0.55)
		}
	case RigidHeddle, Comb, Board:
		f.Gloss = m.between(0.02, 0.5)
		switch m.IntN(6) {
		case 0:
			f.Colour = m.tint(m.between(0.6, 0.85), 0.06)
		case 1:
			f.Colour = RGB{0.66, 0.58, 0.40}
		case 2:
			f.Colour = m.tint(m.between(0.025, 0.07), 0.1)
		case 3:
			f.Colour, f.Texture = dim(RGB{0.5, 0.31, 0.14}, m.between(0.5, 1.3)), "wood"
		case 4:
			f.Colour = m.tint(m.between(0.12, 0.4), 0.8)
		default:
			f.Colour = m.tint(m.between(0.15, 0.5), 0.1)
		}
	}
	b := &p.Baulk
	b.WidthMM = m.between(7, 20)
	b.AboveMM = m.between(0.4, 4)
	b.Round = pick(m, 0, 0.3, 0.7, 1)
	b.Gloss = m.between(0, 0.6)
	b.Texture = "plain"
	switch m.IntN(5) {
	case 0:
		b.Colour = m.tint(m.between(0.4, 0.6), 0.05)
		b.Gloss = m.between(0.3, 1)
	case 1:
		b.Colour, b.Texture = dim(RGB{0.5, 0.3, 0.13}, m.between(0.4, 1.3)), "wood"
	case 2:
		b.Colour, b.Texture, b.CordTilt = dim(RGB{0.3, 0.22, 0.12}, m.between(0.3, 1.3)), "cord", m.between(-0.1, 0.1)
	case 3:
		b.Colour = m.tint(m.between(0.03, 0.15), 0.3)
	default:
		b.Colour = m.tint(m.between(0.1, 0.7), 0.6)
	}
	if p.Kind == RigidHeddle && m.chance(0.6) {
		b.Colour, b.Texture = f.Colour, f.Texture
	}
	if p.Kind == Comb {
		b.LowOnly, b.Colour, b.Round, b.AboveMM = true, f.Colour, 0.3, 0.3
	}
	p.Caps.WidthMM = m.between(4, 14)
	p.Caps.Colour = dim(b.Colour, m.between(0.7, 1.3))
	if p.Kind == Reed {
		// Depth below the wires' front includes the baulks' own underside.
		m.s.Table.BelowMM = math.Max(m.s.Table.BelowMM, p.DepthMM+b.AboveMM*m.between(0.3, 1))
	}
}

// layPart puts the part under the ruler (whose first edge runs through the
// origin) and decides which wires are missing or bent.
func (m *maker) layPart(view float64) {
	p := &m.s.Part
	height := m.between(70, 145)
	// The ruler's own extent across, with some wires left to see beside it.
	lo, hi := 0.0, 0.0
	if len(m.s.Rulers) > 0 {
		r := m.s.Rulers[0]
		hi = r.WidthMM
		if r.Scales[0].HighEdge {
			lo, hi = -r.WidthMM, 0
		}
		if math.Abs(math.Remainder(r.AngleDeg, 360)) > 90 {
			lo, hi = -hi, -lo
		}
		sag := view / 2 * math.Abs(math.Sin(r.AngleDeg*math.Pi/180))
		lo, hi = lo-9-0.3*sag, hi+9+0.3*sag
	}
	if p.Kind == Comb {
		height = m.between(25, 45)
	}
	height = math.Max(height, hi-lo+4)
	p.YLowMM = lo - (height-(hi-lo))*m.Float64()
	p.YHighMM = p.YLowMM + height
	pitch := p.PitchMM()
	if p.Kind == Board {
		p.Bands = int(view * m.between(0.5, 1.5))
		p.X0MM = -float64(p.Bands) / 2
		return
	}
	if pitch == 0 {
		return
	}
	// Where the part ends: mostly out of the frame.
	left, right := view*m.between(0.75, 1.2), view*m.between(0.75, 1.2)
	if p.Kind == Comb {
		left, right = m.between(40, 70), m.between(40, 70)
	} else {
		if m.chance(0.25) {
			left = view * m.between(0.2, 0.5)
		}
		if m.chance(0.25) {
			right = view * m.between(0.2, 0.5)
		}
	}
	p.X0MM = -left
	p.Bands = min(4000, int((left+right)/pitch)+1)
	p.Caps.Low, p.Caps.High = true, m.chance(0.7)
	if p.Kind == RigidHeddle {
		p.Bands |= 1 // slots at both ends
		h := math.Min(height-10, p.HoleLengthMM)
		p.HoleLengthMM = h
		p.HoleYMM = p.YLowMM + height*m.between(0.42, 0.58)
		return
	}
	if p.Kind != Reed {
		return
	}
	visible := func() int { return int((left + 0.35*view*m.NormFloat64()) / pitch) }
	if m.chance(m.o.MissingShare) {
		for range 1 + m.IntN(2) {
			if k := visible(); k > 0 && k < p.Bands && !slices.Contains(p.Missing, k) {
				p.Missing = append(p.Missing, k)
			}
		}
	}
	if m.chance(m.o.BentShare) {
		for range 1 + m.IntN(4) {
			k := visible()
			if k <= 0 || k >= p.Bands || slices.Contains(p.Missing, k) || slices.ContainsFunc(p.Bends, func(b Bend) bool { return b.Index == k }) {
				continue
			}
			by := pitch * m.between(0.25, 0.7)
			if m.chance(0.5) {
				by = -by
			}
			p.Bends = append(p.Bends, Bend{Index: k, ByMM: by, AtYMM: m.between(lo-10, hi+10), LengthMM: m.between(8, 45), Lean: m.chance(0.3)})
		}
	}
}
