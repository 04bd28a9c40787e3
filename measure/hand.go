package measure

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"dentcount/calib"
	"dentcount/fit"
	"dentcount/vision"
)

// ErrHand is wrapped by every complaint about what was set by hand; the
// message says what to set instead.
var ErrHand = errors.New("set by hand")

const (
	// pointingUPx is how well a person sets a point on a mark of the enlarged
	// picture: the standard uncertainty, from memory of such work.
	pointingUPx = 1.0
	// shortestPx is the shortest distance between two points that says something.
	shortestPx = 40
	longestIn  = 120
	// nearEdgeIn is how far from the edge that was found a point may lie and
	// still mean that edge.
	nearEdgeIn = 0.15
	// A person's word can be a slip, too; more likely one where the marks say
	// something else.
	handProbability        = 0.995
	handAgainstProbability = 0.95
	againstRel             = 0.02
)

// check says what of h cannot be for a photo of w × h pixels.
func (h Hand) check(wPx, hPx int) error {
	inside := func(p Point) bool {
		return p[0] >= 0 && p[1] >= 0 && p[0] <= float64(wPx) && p[1] <= float64(hPx) // not where NaN
	}
	if h.ScaleIn != 0 {
		a, b := h.ScaleAt[0], h.ScaleAt[1]
		switch {
		case !(h.ScaleIn > 0) || h.ScaleIn > longestIn:
			return fmt.Errorf("%w: a distance of %g in is none that a ruler has; give the distance between the two points, up to %d in", ErrHand, h.ScaleIn, longestIn)
		case !inside(a) || !inside(b):
			return fmt.Errorf("%w: a point of the scale lies outside the photo; set both on marks of the ruler", ErrHand)
		case math.Hypot(a[0]-b[0], a[1]-b[1]) < shortestPx:
			return fmt.Errorf("%w: the two points of the scale are too close together; set them on marks far apart", ErrHand)
		}
	}
	for _, p := range slices.Concat(h.AddBands, h.DropBands) {
		if !inside(p) {
			return fmt.Errorf("%w: a band lies outside the photo; tap on the wires beside the ruler", ErrHand)
		}
	}
	return nil
}

// told names what of opt a person has set.
func (opt Options) told() []string {
	var out []string
	for _, x := range []struct {
		name string
		is   bool
	}{
		{ByPart, opt.Part != ""}, {ByUnit, opt.Unit != ""}, {ByThickness, opt.RulerThicknessMM > 0},
		{ByDistance, opt.CameraDistanceMM > 0}, {ByScale, opt.Hand.ScaleIn > 0},
		{ByBands, len(opt.Hand.AddBands)+len(opt.Hand.DropBands) > 0},
	} {
		if x.is {
			out = append(out, x.name)
		}
	}
	return out
}

// handRuler is the ruler by the two points that a person set. Where they lie on
// the edge that was found, its marks still tell how the scale changes along it,
// and the points how long an inch is; else the points are all there is.
func (k *Kept) handRuler(ctx context.Context, seen calib.Ruler, found bool, opt Options) (r calib.Ruler, warning string, err error) {
	h := opt.Hand
	// The contract's points count from the corner of the first pixel, OpenCV's
	// from its centre.
	p, q := photoPx(h.ScaleAt[0]), photoPx(h.ScaleAt[1])
	if found {
		if s, wasIn, ok := rescaled(seen.Scale, p, q, h.ScaleIn, opt.Unit); ok {
			r = calib.Ruler{Scale: s, UnitProbability: handProbability, Candidates: seen.Candidates}
			if math.Abs(h.ScaleIn/wasIn-1) > againstRel && s.Unit == seen.Scale.Unit {
				r.UnitProbability = handAgainstProbability
				warning = fmt.Sprintf("the two points set by hand are %.3g in apart as told, and %.3g in by the ruler's marks", h.ScaleIn, wasIn)
			}
			return r, warning, nil
		}
	}
	s, err := k.scaleThrough(ctx, p, q, opt)
	return calib.Ruler{Scale: s, UnitProbability: handProbability}, "", err
}

func photoPx(p Point) Point { return Point{p[0] - 0.5, p[1] - 0.5} }

// rescaled is s stretched so that p and q are in inches apart. ok is false
// where they do not lie on its edge. wasIn is how far apart they were on s.
func rescaled(s calib.Scale, p, q Point, in float64, unit string) (_ calib.Scale, wasIn float64, ok bool) {
	ap, dp := s.Frame.Locate(p[0], p[1])
	aq, dq := s.Frame.Locate(q[0], q[1])
	if ap > aq {
		ap, aq = aq, ap
	}
	per := s.InPerPx((s.Lo + s.Hi) / 2)
	room := 0.5 * (s.Hi - s.Lo)
	if math.Max(math.Abs(dp), math.Abs(dq))*per > nearEdgeIn || ap < s.Lo-room || aq > s.Hi+room {
		return s, 0, false
	}
	wasIn = s.In(aq) - s.In(ap)
	if !(wasIn > 0) {
		return s, 0, false
	}
	ratio := in / wasIn
	s.A, s.B, s.K = s.A*ratio, s.B*ratio, s.K*ratio
	// The first point is the scale's zero.
	zero := s.In(ap)
	s.A, s.B = s.A-zero, s.B-zero*s.C
	const cmPerIn = 2.54
	switch {
	case unit != "":
		s.Unit = calib.Unit(unit)
	case math.Abs(ratio*cmPerIn-1) < againstRel:
		s.Unit = calib.CM
	case math.Abs(ratio/cmPerIn-1) < againstRel:
		s.Unit = calib.Inch
	}
	s.Marks = handMarks(ap, aq, in)
	// Of two marks the budget makes u·√2 / span; see fit.FindPitch.
	s.ResidualIn = pointingUPx * per * (s.Hi - s.Lo) / (aq - ap)
	return s, wasIn, true
}

func handMarks(a, b, in float64) []calib.Mark {
	return []calib.Mark{{Along: a, In: 0, Whole: true}, {Along: b, In: in, Whole: true}}
}

// scaleThrough is a straight scale from p to q. On which side the wires lie, and
// how the camera's tilt stretches the scale, is read from the bands.
func (k *Kept) scaleThrough(ctx context.Context, p, q Point, opt Options) (calib.Scale, error) {
	half := math.Hypot(q[0]-p[0], q[1]-p[1]) / 2
	f := calib.Frame{X: (p[0] + q[0]) / 2, Y: (p[1] + q[1]) / 2, TX: (q[0] - p[0]) / (2 * half), TY: (q[1] - p[1]) / (2 * half), Lo: -half, Hi: half, Half: half}
	f.NX, f.NY = -f.TY, f.TX
	unit := calib.Inch
	if opt.Unit != "" {
		unit = calib.Unit(opt.Unit)
	}
	best, reach := straightScale(f, opt.Hand.ScaleIn, 0, unit), 0.0
	for _, side := range []calib.Frame{f, f.Flipped()} {
		flat := straightScale(side, opt.Hand.ScaleIn, 0, unit)
		tilts := []float64{0}
		if c, ok, err := k.tiltFromBands(ctx, flat, opt); err != nil {
			return best, err
		} else if ok {
			tilts = append(tilts, c)
		}
		here, line, far := flat, 0.0, 0.0
		for _, c := range tilts {
			s := straightScale(side, opt.Hand.ScaleIn, c, unit)
			b, found, err := vision.FindBands(ctx, k.gray, s, k.bandOptions(opt))
			if err != nil {
				return best, err
			}
			if found && b.Contrast > line {
				here, line, far = s, b.Contrast, b.ReachPx
			}
		}
		// On the ruler's own side its marks make even bands, too; but they are
		// short, and the wires run on.
		if far > reach {
			best, reach = here, far
		}
	}
	return best, nil
}

// straightScale is the projective scale that is 0 at the frame's start and in
// at its end; c is calib.Scale's C.
func straightScale(f calib.Frame, in, c float64, unit calib.Unit) calib.Scale {
	half := f.Half
	a := in * (1 + c) / 2
	return calib.Scale{
		Frame: f, Unit: unit, Divisions: 1, Half: half, A: a, B: a, C: c, Lo: -half, Hi: half,
		Marks: handMarks(-half, half, in), ResidualIn: pointingUPx * in / (2 * half),
	}
}

// tiltFromBands is the C that makes the bands even from end to end: evenly
// spaced wires read on a scale without it look closer toward one end, their
// count per inch being n(t) = n·In'(t), ln n falling by 2·C over t.
func (k *Kept) tiltFromBands(ctx context.Context, flat calib.Scale, opt Options) (c float64, ok bool, err error) {
	var ln [3]float64
	for i := range ln {
		part := flat
		part.Lo = flat.Half * (float64(i)*2/3 - 1)
		part.Hi = part.Lo + flat.Half*2/3
		b, found, err := vision.FindBands(ctx, k.gray, part, k.bandOptions(opt))
		if err != nil || !found {
			return 0, false, err
		}
		ln[i] = math.Log(b.MiddlePerInch)
	}
	const steepest, bend = 0.15, 0.02 // past these the three do not show one row
	c = -(ln[2] - ln[0]) / (2 * 4.0 / 3)
	return c, math.Abs(c) < steepest && math.Abs(ln[1]-(ln[0]+ln[2])/2) < bend, nil
}

func (k *Kept) bandOptions(opt Options) vision.Options {
	return vision.Options{Kind: vision.Kind(opt.Part), FocalPx: fit.FocalPx(k.focal35, k.gray.W, k.gray.H), Colours: k.colours}
}

// mendBands counts bands in and out as a person said. warning tells what could
// not be followed.
func (h Hand) mendBands(b *vision.Bands, s calib.Scale) (warning string) {
	along := func(ps []Point) []float64 {
		var out []float64
		for _, p := range ps {
			p = photoPx(p)
			a, depth := s.Frame.Locate(p[0], p[1])
			// A finger points at a wire beside the ruler; follow it to the edge.
			a += (b.Lean[0] + b.Lean[1]*a/1000) * -depth
			out = append(out, s.In(a))
		}
		return out
	}
	if len(h.AddBands)+len(h.DropBands) == 0 {
		return ""
	}
	if n := b.Mend(s, along(h.AddBands), along(h.DropBands)); n > 0 {
		return plural(n, "tap was not used: it lies", "taps were not used: they lie") + " between two evenly spaced places, or beside none"
	}
	return ""
}

// scaleByHand is handRuler with its warning kept in the reading.
func (r *Reading) scaleByHand(ctx context.Context, k *Kept, seen calib.Ruler, found bool, opt Options) (calib.Ruler, error) {
	ruler, warning, err := k.handRuler(ctx, seen, found, opt)
	if warning != "" {
		r.warn = append(r.warn, warning)
	}
	return ruler, err
}

// bandsByHand is mendBands with its warning kept in the reading.
func (r *Reading) bandsByHand(b *vision.Bands, s calib.Scale) {
	if warning := r.hand.mendBands(b, s); warning != "" {
		r.warn = append(r.warn, warning)
	}
}

// betweenLeftOut is the row without what a person left out at its ends.
func betweenLeftOut(row []vision.Band) []vision.Band {
	lo, hi := 0, len(row)
	for lo < hi-1 && row[lo].State == vision.LeftOut {
		lo++
	}
	for hi > lo+1 && row[hi-1].State == vision.LeftOut {
		hi--
	}
	return row[lo:hi]
}

// markHand says in a finished answer what of it came from a person.
func (r *Result) markHand(opt Options, warnings []string) {
	r.ByHand = opt.told()
	if len(warnings) > 0 {
		r.Warnings = append(append([]string(nil), r.Warnings...), warnings...)
	}
	if opt.Hand.ScaleIn > 0 {
		for i := range r.Budget {
			if r.Budget[i].Source == string(fit.RulerMarks) {
				r.Budget[i].Note = "two points set by hand"
			}
		}
	}
}
