package scene

import "math"

// partShadow is what a reed or heddle keeps from the table.
type partShadow struct {
	on                 bool
	dx, dy             float64 // how far it is thrown, mm
	x0, x1             float64
	yl0, yl1, yh0, yh1 float64 // the baulks
	soft               float64
	strength           float64
	between            float64 // light lost between the baulks, away from stripes
	gap                float64 // light that reaches the table seen between wires, 0 to 1
	stripe             float64 // depth of the wires' own stripes on the table
	k, phase           float64
	under              float64 // how far outside its own outline the part may be seen before the table
}

func newPartShadow(s Spec, r *reed) partShadow {
	if r == nil {
		return partShadow{}
	}
	p := s.Part
	below := s.Table.BelowMM
	ps := partShadow{
		on: true, dx: -below * s.Light.SlopeX, dy: -below * s.Light.SlopeY,
		x0: r.xLo, x1: r.xHi, soft: 1 + below*0.5, strength: s.Table.Shadow, gap: 1,
		under: below, // rays lean less than 45°
	}
	ps.yl0, ps.yl1, ps.yh0, ps.yh1 = p.YLowMM-p.Baulk.WidthMM, p.YLowMM, p.YHighMM, p.YHighMM+p.Baulk.WidthMM
	if p.Baulk.LowOnly {
		ps.yh1 = p.YHighMM
	}
	if p.Kind == Board {
		ps.yl1, ps.yh0 = p.YHighMM, p.YHighMM
		ps.between = 1
		return ps
	}
	pitch := p.PitchMM()
	fill := p.WireFraction
	if p.Kind == RigidHeddle {
		fill = 1 - p.SlotFraction/2
	}
	// Far below, the openings' light has spread evenly again.
	near := math.Exp(-math.Max(0, below-p.DepthMM) / 60)
	ps.between = fill * (0.35 + 0.3*near)
	ps.gap = 1 - (1-p.Finish.GapAO)*near
	if p.Kind != RigidHeddle {
		ps.stripe = 0.45 * (1 - s.Light.Ambient) * math.Exp(-math.Max(0, below-p.DepthMM)*0.35/pitch)
		ps.k = 2 * math.Pi / pitch
		ps.phase = p.X0MM + ps.dx
	}
	return ps
}

// near says whether the shadow may fall on, or the part be before, a stretch
// of the table.
func (s *partShadow) near(x0, x1, y0, y1 float64) bool {
	if !s.on {
		return false
	}
	// The part itself covers what lies under it, moved by perspective.
	m := s.soft + math.Max(math.Abs(s.dx), math.Abs(s.dy)) + s.under
	return x1 > s.x0-m && x0 < s.x1+m && y1 > s.yl0-m && y0 < s.yh1+m
}

// at is the share of light left on the table at (x, y). seen says that the
// table is looked at between wires or through an opening.
func (s *partShadow) at(x, y float64, seen bool) float64 {
	if !s.on {
		return 1
	}
	l := 1.0
	px, py := x-s.dx, y-s.dy
	if s.yl1 > s.yl0 {
		l -= s.strength * softBox(px, py, s.x0, s.x1, s.yl0, s.yl1, s.soft)
	}
	if s.yh1 > s.yh0 {
		l -= s.strength * softBox(px, py, s.x0, s.x1, s.yh0, s.yh1, s.soft)
	}
	l -= s.strength * s.between * softBox(px, py, s.x0, s.x1, s.yl1, s.yh0, s.soft)
	l = max(0.06, l)
	if seen {
		l *= s.gap
		if s.stripe > 0 {
			l *= 1 - s.stripe*(0.5+0.5*math.Cos((x-s.phase)*s.k))
		}
	}
	return l
}
