package scene

import (
	"math"
)

// Band is one wire, slot, hole or tooth of a part, where it really stands.
type Band struct {
	Index   int     `json:"index"`
	Kind    string  `json:"kind"`     // "wire", "slot", "hole", "tooth"
	XMM     float64 `json:"x_mm"`     // middle at z = 0 away from any bend, scatter included
	WidthMM float64 `json:"width_mm"` // thickness of a wire, width of an opening, at z = 0
	YLowMM  float64 `json:"y_low_mm"`
	YHighMM float64 `json:"y_high_mm"`
	Missing bool    `json:"missing"`
	Bent    bool    `json:"bent"`
}

// Bands lists a part's bands in order of x, missing ones included. It is
// empty for parts without dents.
func (s Spec) Bands() []Band {
	p := s.Part
	if !p.hasBands() {
		return nil
	}
	pitch := p.PitchMM()
	rng := stream(s.Seed, forWires)
	missing, bent := map[int]bool{}, map[int]bool{}
	for _, k := range p.Missing {
		missing[k] = true
	}
	for _, b := range p.Bends {
		bent[b.Index] = true
	}
	out := make([]Band, p.Bands)
	for k := range out {
		b := Band{
			Index: k, Kind: "wire",
			XMM:    p.X0MM + float64(k)*pitch + rng.NormFloat64()*p.Scatter*pitch,
			YLowMM: p.YLowMM, YHighMM: p.YHighMM,
			Missing: missing[k], Bent: bent[k],
		}
		switch p.Kind {
		case RigidHeddle:
			b.Kind, b.WidthMM = "slot", p.SlotFraction*pitch
			if k%2 == 1 {
				b.Kind, b.WidthMM = "hole", p.HoleFraction*pitch
				b.YLowMM, b.YHighMM = p.HoleYMM-p.HoleLengthMM/2, p.HoleYMM+p.HoleLengthMM/2
			}
		case Comb:
			b.Kind, b.WidthMM = "tooth", p.WireFraction*pitch
		default:
			b.WidthMM = p.WireFraction * pitch * (1 + 0.02*rng.NormFloat64())
		}
		out[k] = b
	}
	return out
}

// wire is a Band made ready for drawing.
type wire struct {
	at       float64
	lo, hi   float64 // outline at z = 0, absolute, without a bend
	reach    float64 // how far a bend may move it either way
	bend     *Bend
	albedo   rgb
	gloss    float64
	glossY   float64 // where along y its highlight lies
	rust     float64
	noiseRow float64
	prof     profile
}

// shift is how far the wire is bent aside at y.
func (w *wire) shift(y float64) float64 {
	if w.bend == nil {
		return 0
	}
	t := (y - w.bend.AtYMM) / w.bend.LengthMM
	if w.bend.Lean {
		return w.bend.ByMM * clamp(t, -1, 1)
	}
	return w.bend.ByMM * bump(t)
}

// wires is a row of wires with a way to find those in an interval.
type wires struct {
	list  []wire
	camX  float64
	x0    float64 // cells begin here
	inv   float64 // cells per mm
	first []int32 // per cell: first and last wire that may reach into it
	last  []int32
	bents bool
}

func newWires(s Spec, v *view) *wires {
	p := s.Part
	bands := s.Bands()
	pitch := p.PitchMM()
	rng := stream(s.Seed, forPart)
	ws := &wires{camX: v.cx}
	gap := pitch * (1 - p.WireFraction)
	for _, b := range bands {
		// Draw the same numbers for each band, missing or not.
		twist := rng.NormFloat64() * p.TwistDeg * math.Pi / 180
		vary := 1 + p.Finish.Varies*rng.NormFloat64()
		glossVary := 1 + 2*p.Finish.Varies*rng.NormFloat64()
		glossY := 0.12 * rng.NormFloat64()
		rust := p.Finish.Rust * (0.4 + 1.2*rng.Float64())
		if b.Missing {
			continue
		}
		w := wire{at: b.XMM, albedo: p.Finish.Colour.lin().times(math.Max(0.3, vary)), gloss: p.Finish.Gloss * math.Max(0.1, glossVary), rust: rust}
		w.noiseRow = float64(b.Index%97) * 2.618
		w.glossY = v.cy + v.cz*(s.Light.SlopeY+glossY*math.Min(1, p.Finish.RoughY*2))
		sec := stripSection(b.WidthMM, p.DepthMM, p.FrontRound, twist)
		w.prof = lay(sec, b.XMM, v.cx, v.cz, sheen{
			lightSlope: s.Light.SlopeX, ambient: s.Light.Ambient, rough: p.Finish.RoughX, gap: gap,
		})
		w.lo, w.hi = b.XMM+w.prof.lo, b.XMM+w.prof.hi
		for i := range p.Bends {
			if p.Bends[i].Index == b.Index {
				w.bend = &p.Bends[i]
				w.reach = math.Abs(w.bend.ByMM)
				ws.bents = true
			}
		}
		ws.list = append(ws.list, w)
	}
	ws.index(pitch)
	return ws
}

// index fills the cells, each half a pitch wide.
func (ws *wires) index(pitch float64) {
	if len(ws.list) == 0 {
		return
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range ws.list {
		lo = math.Min(lo, ws.list[i].lo-ws.list[i].reach)
		hi = math.Max(hi, ws.list[i].hi+ws.list[i].reach)
	}
	ws.x0, ws.inv = lo, 2/pitch
	n := int((hi-lo)*ws.inv) + 1
	ws.first, ws.last = make([]int32, n), make([]int32, n)
	for c := range n {
		ws.first[c], ws.last[c] = int32(len(ws.list)), -1
	}
	for i := range ws.list {
		w := &ws.list[i]
		a := int((w.lo - w.reach - lo) * ws.inv)
		b := min(n-1, int((w.hi+w.reach-lo)*ws.inv))
		for c := a; c <= b; c++ {
			ws.first[c] = min(ws.first[c], int32(i))
			ws.last[c] = max(ws.last[c], int32(i))
		}
	}
}

// span is the range of wires that may reach into [a, b]; lo > hi where none does.
func (ws *wires) span(a, b float64) (lo, hi int) {
	n := len(ws.first)
	ca, cb := int((a-ws.x0)*ws.inv), int((b-ws.x0)*ws.inv)
	if n == 0 || b < ws.x0 || ca >= n {
		return 1, 0
	}
	ca, cb = max(0, ca), min(n-1, cb)
	lo, hi = len(ws.list), -1
	for c := ca; c <= cb; c++ {
		lo, hi = min(lo, int(ws.first[c])), max(hi, int(ws.last[c]))
	}
	return lo, hi
}
