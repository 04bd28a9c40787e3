package measure

import (
	"math"

	"dentcount/calib"
	"dentcount/vision"
)

// at carries a place on a scale's edge to the contract's points: OpenCV counts
// from the centre of the first pixel, the contract from its corner.
func at(f calib.Frame, along, depth float64) Point {
	x, y := f.Point(along, depth)
	return Point{x + 0.5, y + 0.5}
}

func rulerOf(r calib.Ruler) *Ruler {
	s := r.Scale
	out := &Ruler{
		Unit: string(s.Unit), Divisions: s.Divisions,
		PxPerInch: s.PxPerIn(),
		SpanIn:    s.In(s.Hi) - s.In(s.Lo),
		TiltDeg:   tiltOf(s.Frame),
		Marks:     []Mark{},
	}
	for _, m := range s.Marks {
		if m.Whole {
			out.Marks = append(out.Marks, Mark{Value: wholeValue(m, s), At: at(s.Frame, m.Along, 0)})
		}
	}
	if r.Second != nil {
		out.SecondUnit = string(r.Second.Unit)
	}
	return out
}

// faceWidth is how wide the ruler is, in inches, by the scale on its other edge;
// 0 where there is none.
func faceWidth(r calib.Ruler) float64 {
	if r.Second == nil {
		return 0
	}
	s := r.Scale
	mid := (s.Lo + s.Hi) / 2
	x, y := s.Frame.Point(mid, 0)
	_, depthPx := r.Second.Frame.Locate(x, y)
	return math.Abs(depthPx * s.InPerPx(mid))
}

// wholeValue is a whole-unit mark's value: a whole number, but for marks that a
// person set.
func wholeValue(m calib.Mark, s calib.Scale) float64 {
	v := m.In / s.Unit.Inches()
	if w := math.Round(v); math.Abs(v-w) < 1e-6 {
		return w
	}
	return v
}

// tiltOf is the direction of the edge against the photo's horizontal, within ±90°.
func tiltOf(f calib.Frame) float64 {
	d := math.Atan2(f.TY, f.TX) * 180 / math.Pi
	if d > 90 {
		d -= 180
	} else if d <= -90 {
		d += 180
	}
	return d
}

func tickLine(s calib.Scale) []Point {
	const n = 24
	out := make([]Point, 0, n+1)
	for i := 0; i <= n; i++ {
		out = append(out, at(s.Frame, s.Lo+(s.Hi-s.Lo)*float64(i)/n, 0))
	}
	return out
}

func allMarks(s calib.Scale) []Mark {
	out := make([]Mark, 0, len(s.Marks))
	for _, m := range s.Marks {
		out = append(out, Mark{Value: m.In / s.Unit.Inches(), At: at(s.Frame, m.Along, 0)})
	}
	return out
}

// oneInch are two points of the edge an inch apart, near its middle.
func oneInch(s calib.Scale) []Point {
	a, b := s.In(s.Lo), s.In(s.Hi)
	if b-a < 1 {
		return nil
	}
	mid := math.Floor((a+b)/2 - 0.5)
	mid = math.Min(math.Max(mid, a), b-1)
	return []Point{at(s.Frame, s.Along(mid), 0), at(s.Frame, s.Along(mid+1), 0)}
}

func bandsOf(s calib.Scale, b vision.Bands) []Band {
	states := map[vision.State]BandState{vision.Good: BandGood, vision.Bent: BandBent, vision.Missing: BandMissing, vision.Hidden: BandHidden, vision.LeftOut: BandLeftOut}
	kind := bandWord(b.Kind)
	out := make([]Band, 0, len(b.Row))
	reach := math.Min(b.ReachPx, 0.3*s.PxPerIn())
	for i, x := range b.Row {
		k := kind
		if b.Kind == vision.RigidHeddle && b.DentsPerBand == 1 && i%2 == 1 {
			k = "hole"
		}
		state := states[x.State]
		if x.ByHand && x.State == vision.Good {
			state = BandByHand
		}
		lean := b.Lean[0] + b.Lean[1]*x.Along/1000
		out = append(out, Band{
			Index: x.Index * b.DentsPerBand, AlongIn: x.In, Kind: k, State: state,
			At: at(s.Frame, x.Along, 0), Toward: at(s.Frame, x.Along-lean*reach, -reach),
		})
	}
	return out
}

// countOf is what a person with a finger would have counted.
func countOf(b vision.Bands) *Count {
	row := betweenLeftOut(b.Row)
	n := len(row)
	c := &Count{Dents: (n - 1) * b.DentsPerBand, OverIn: row[n-1].In - row[0].In}
	for _, x := range row {
		switch x.State {
		case vision.Missing:
			c.Missing++
		case vision.Bent:
			c.Bent++
		}
	}
	// A finger tells half dents; a pitch within its own doubt of one counts as it.
	per := b.PerInch * float64(b.DentsPerBand)
	slack := 4 * b.U * float64(b.DentsPerBand)
	c.InOneInch = Range{Min: math.Floor(2*(per+slack)) / 2, Max: math.Ceil(2*(per-slack)) / 2}
	if c.InOneInch.Min > c.InOneInch.Max {
		c.InOneInch.Min, c.InOneInch.Max = c.InOneInch.Max, c.InOneInch.Min
	}
	return c
}
