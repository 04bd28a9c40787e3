package vision

import (
	"context"
	"math"

	"dentcount/photo"
)

// OneEnd is one end of a thing that reaches beyond the picture.
type OneEnd struct {
	At [2]float64 // OpenCV pixels
	// AlongIn is where it meets the ruler's marked edge, followed square to the
	// ruler or along the wires; UIn the standard uncertainty of finding it there.
	AlongIn, UIn float64
	// AcrossIn is how far from the marked edge the end itself lies, where it is a
	// point and no edge that reaches there.
	AcrossIn    float64
	Probability float64
	UnderRuler  bool
	// Skew is the angle of the end off square, in the plane.
	Skew float64
	// Plane is that of the ruler's face, bettered by parallel lines of the part.
	Plane Plane
	// SpacingIn, SpacingU and DentsPerSpacing are as in Ends.
	SpacingIn, SpacingU, DentsPerSpacing float64
	FieldIn                              float64 // as in Ends
	// Eye, EyeIn and EyeU are as in Ends.
	Eye         [2][2]float64
	EyeIn, EyeU float64
}

// FindOneEnd looks for the end that lies at more inches (high) or at fewer, of a
// reed or a rigid heddle that reaches beyond the picture on its other side.
func FindOneEnd(ctx context.Context, img photo.Colour, pl Plane, of EndsOf, high bool) (e OneEnd, found bool, err error) {
	if err := ctx.Err(); err != nil {
		return e, false, err
	}
	kind := Reed
	switch of {
	case EndsOfRigidHeddle:
		kind = RigidHeddle
	case EndsOfReed, EndsOfSley:
	default:
		return e, false, nil
	}
	f, ok := findFieldOf(img, pl, kind)
	if !ok {
		return e, false, ctx.Err()
	}
	dir, at := -1.0, f.places[0]
	if high {
		dir, at = 1, f.places[len(f.places)-1]
	}
	if f.goesOnTo(dir) {
		return e, false, ctx.Err()
	}
	s := f.q.plane.Scale
	line := edgeLine{along: s.Along(at), u: 0.1 * f.T * f.ppi}
	probability := 0.93
	if of != EndsOfSley {
		from, to := at, at+dir*capReachIn
		if of == EndsOfRigidHeddle {
			to = at + dir*0.5*f.T
		}
		opt := lineSearch{SigmaPx: math.Max(1.2, f.ppi/90), ChunkPx: 0.15 * f.ppi, MaxExtra: 0.08, MostLines: 100}
		best := 0.0
		for _, x := range f.linesBeside(math.Min(from, to), math.Max(from, to), opt) {
			out := math.Abs(s.In(x.along) - at)
			score := x.clear()
			if of == EndsOfReed {
				if out < 0.4*f.T+capMinIn {
					continue // the inner edge of a cap
				}
				score *= math.Min(1, 0.05+out/0.3)
			}
			if score > best {
				best, line = score, x
			}
		}
		if best == 0 {
			return e, false, ctx.Err()
		}
		probability = math.Min(0.97, 1.5*line.clear())
	}
	if f.doubtful {
		probability *= 0.85
	}
	d := (f.q.d0 + f.q.depth(f.q.rows-1)) / 2
	x, y := s.Frame.Point(line.along+(f.q.leanAt(line.along)+line.extra)*d, d)
	var told Ends
	f.tell(&told)
	return OneEnd{
		At: [2]float64{x, y}, AlongIn: s.In(line.along), UIn: line.u * math.Abs(s.InPerPx(line.along)),
		Probability: probability, UnderRuler: told.UnderRuler, Skew: f.q.skew(line.extra, line.along), Plane: told.Plane,
		FieldIn:   told.FieldIn,
		SpacingIn: told.SpacingIn, SpacingU: told.SpacingU, DentsPerSpacing: told.DentsPerSpacing,
	}, true, ctx.Err()
}
