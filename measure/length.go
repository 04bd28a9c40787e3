package measure

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"dentcount/calib"
	"dentcount/fit"
	"dentcount/photo"
	"dentcount/trade"
	"dentcount/vision"
)

// Length measures one length in one photo by the ruler in it. A photo in which
// nothing can be measured is a LengthResult with status Refused, not an error;
// an error is wrong options, a fault of the machine or a cancelled ctx. It does
// not close p.
func Length(ctx context.Context, p *photo.Photo, opt LengthOptions) (LengthResult, error) {
	k, err := Keep(p)
	if err != nil {
		return LengthResult{Schema: 1, Photo: p.Name, What: opt.What, Warnings: []string{}}, err
	}
	return k.Length(ctx, opt, p.Colour)
}

// Length is the function Length for a photo that was kept. colour gives the same
// upright photo in colours; it is asked only where ends are looked for.
func (k *Kept) Length(ctx context.Context, opt LengthOptions, colour func() (photo.Colour, error)) (LengthResult, error) {
	start := time.Now()
	r, err := measureLength(ctx, k, opt, colour)
	r.Schema, r.Photo, r.What = 1, k.name, opt.What
	if r.Warnings == nil {
		r.Warnings = []string{}
	}
	r.TookMS = time.Since(start).Milliseconds()
	return r, err
}

// sight is a photo with its ruler read: what every length starts from.
type sight struct {
	gray  photo.Plane
	ruler calib.Ruler
	plane vision.Plane
	view  fit.View
}

// look finds the ruler and its plane. found is false where there is no ruler.
func look(ctx context.Context, k *Kept, opt LengthOptions) (s sight, found bool, err error) {
	s.gray = k.gray
	s.ruler, found, err = k.ruler(ctx, calib.Unit(opt.Unit))
	if err != nil || !found {
		return s, false, err
	}
	s.ruler.Scale = s.ruler.Scale.Extended(s.gray)
	s.view = fit.View{
		Focal35: k.focal35, WidthPx: s.gray.W, HeightPx: s.gray.H,
		ThicknessMM: opt.RulerThicknessMM, DistanceMM: opt.CameraDistanceMM, Transparent: s.ruler.Through,
	}
	s.plane = vision.FindPlane(s.gray, s.ruler.Scale, s.ruler.Second, fit.FocalOrUsual(s.view))
	return s, true, nil
}

func measureLength(ctx context.Context, k *Kept, opt LengthOptions, colour func() (photo.Colour, error)) (LengthResult, error) {
	if err := opt.check(k.gray.W, k.gray.H); err != nil {
		return LengthResult{}, err
	}
	dbg := newDebug(opt.DebugDir)
	s, found, err := look(ctx, k, opt)
	if err != nil {
		return LengthResult{}, err
	}
	dbg.lap("ruler", map[string]any{"found": found, "ladders": s.ruler.Candidates, "tilt_deg": s.plane.TiltDeg})
	if !found {
		return refusedLength("no ruler marks found",
			"lay a ruler or tape along the length, flat and close to it, marks up, and fill the frame"), dbg.write()
	}
	base := LengthResult{Ruler: rulerOf(s.ruler)}
	base.Evidence = &Evidence{
		TickLine: tickLine(s.ruler.Scale), Marks: allMarks(s.ruler.Scale),
		OneInch: oneInch(s.ruler.Scale), SizePx: [2]int{s.gray.W, s.gray.H},
	}
	var e vision.Ends
	if opt.Ends != nil {
		e = handEnds(s.plane, *opt.Ends, opt.What)
		base.EndsByHand = true
	} else {
		img, err := colour()
		if err != nil {
			return LengthResult{}, err
		}
		e, found, err = vision.FindEnds(ctx, img, s.plane, endsOf(opt.What))
		if err != nil {
			return LengthResult{}, err
		}
		dbg.lap("ends", map[string]any{"found": found, "length_in": e.LengthIn})
		if !found {
			r := refusedLength(notFoundReason(opt.What), notFoundAdvice(opt.What))
			r.Ruler, r.Evidence = base.Ruler, base.Evidence
			return r, dbg.write()
		}
		s.plane = e.Plane
	}
	return answerLength(base, s, e, opt), dbg.write()
}

// ErrLengthOptions is wrapped by the errors about options that make no sense.
var ErrLengthOptions = errors.New("wrong options")

// check says what of the options cannot be for a photo of wPx × hPx.
func (o LengthOptions) check(wPx, hPx int) error {
	known := false
	for _, w := range Lengths() {
		known = known || w == o.What
	}
	if !known {
		return fmt.Errorf("%w: %q is no length that is known here", ErrLengthOptions, o.What)
	}
	if o.Ends == nil {
		return nil
	}
	w, h := float64(wPx), float64(hPx)
	for _, e := range o.Ends {
		if !(e[0] >= 0 && e[0] <= w && e[1] >= 0 && e[1] <= h) {
			return fmt.Errorf("%w: the end %g,%g lies outside the photo, which is %.0f by %.0f pixels as shown upright", ErrLengthOptions, e[0], e[1], w, h)
		}
	}
	if math.Hypot(o.Ends[0][0]-o.Ends[1][0], o.Ends[0][1]-o.Ends[1][1]) < 2 {
		return fmt.Errorf("%w: the two ends are one point", ErrLengthOptions)
	}
	return nil
}

func refusedLength(reason, advice string) LengthResult {
	return LengthResult{Status: Refused, Reason: reason, Advice: advice}
}

// handU is how well a person sets an end, one standard deviation, in pixels.
const handU = 1.5

// handEnds are ends that a person set: the straight distance between them.
func handEnds(pl vision.Plane, ends [2]Point, w What) vision.Ends {
	e := vision.Ends{Probability: 1, UnderRuler: w == HeddleBarSpan}
	for i, q := range ends {
		e.At[i] = [2]float64{q[0] - 0.5, q[1] - 0.5}
	}
	e.LengthIn = pl.DistanceIn(e.At[0][0], e.At[0][1], e.At[1][0], e.At[1][1])
	px := math.Hypot(e.At[1][0]-e.At[0][0], e.At[1][1]-e.At[0][1])
	e.UIn = handU * math.Sqrt2 * e.LengthIn / px
	return e
}

// answerLength corrects a length for what lies above what, budgets it, and
// names the made size it stands for.
func answerLength(r LengthResult, s sight, e vision.Ends, opt LengthOptions) LengthResult {
	for _, q := range e.At {
		r.Ends = append(r.Ends, Point{q[0] + 0.5, q[1] + 0.5})
	}
	lift := liftOf(s, e, opt).heightBySize(opt.What, e)
	b := lengthBudget(s, e, lift)
	bent := bendOf(s, e)
	in := e.LengthIn * math.Exp(lift.ln+bent.ln)
	r.Budget = b
	u := in * rootSum(b)
	v := lengthValue(in, u)
	r.Length = &v
	r.Wires = e.Wires
	if bent.note != "" {
		r.Warnings = append(r.Warnings, "the tape bends: "+bent.note)
	}
	if e.EyeIn > 0 {
		eye := lengthValue(e.EyeIn*math.Exp(lift.ln+bent.ln), math.Hypot(e.EyeU, e.EyeIn*rootSum(b)))
		r.Eye = &eye
	}
	d := doubts{unit: s.ruler.UnitProbability, ends: e.Probability, scale: lift.scaleRight, fieldIn: e.FieldIn}
	if lo, hi := usualRange(opt.What); opt.Ends == nil && (in < lo || in > hi) {
		d.scale *= 0.3 // another thing, or a scale misread
	}
	r.Confidence = d.right() * within(goalOf(in), u)
	r.Nominal = nominalOf(opt.What, trade.Length{In: in, U: u}, r.Eye, d.right())
	settleLength(&r, lift, d, opt)
	return r
}

// doubts are the probabilities that what a length rests on was read right: the
// ruler's unit, the ends, and the ruler's scale as far as the part's own sizes
// tell. fieldIn is how high its wires would be by that scale, 0: not told.
type doubts struct{ unit, ends, scale, fieldIn float64 }

func (d doubts) right() float64 { return d.unit * d.ends * d.scale }

// words say what is most in doubt and what to do.
func (d doubts) words(byHand bool) (reason, advice string) {
	switch {
	case d.unit <= math.Min(d.ends, d.scale) || byHand:
		return "which marks the ruler has could not be told with certainty",
			"say which unit the ruler has (--unit in, --unit cm), or take the photo from nearer, the marks sharp and without glare"
	case d.scale <= d.ends:
		reason = "the ruler may be misread: by its marks the part has sizes that are hardly made"
		if d.fieldIn > 0 {
			reason += fmt.Sprintf(", such as wires %s high", trade.FormatIn(d.fieldIn, 8))
		}
		return reason, "hold the values in the picture against the ruler's own figures (--overlay), and take the photo from nearer, the marks sharp and without glare"
	}
	return "it is not certain that the right ends were found",
		"look at the picture, and set the ends yourself where they are wrong (--overlay, --ends)"
}

// usualRange is what a length is between, in inches, wide enough for all but
// curiosities (common practice, no source).
func usualRange(w What) (lo, hi float64) {
	switch w {
	case ReedHeight:
		return 2.5, 8
	case HeddleBarSpan, WireHeddle:
		return 6, 20
	case StringHeddle:
		return 5, 24
	}
	return 6, 80
}

// goalOf is how right a length is wanted: the larger of 1/16 in and half a percent.
func goalOf(in float64) float64 { return math.Max(1.0/16, 0.005*in) }

// within is the probability that a normal error of standard deviation u is no
// larger than tol.
func within(tol, u float64) float64 {
	if u <= 0 {
		return 1
	}
	return math.Erf(tol / u / math.Sqrt2)
}

func rootSum(b []BudgetLine) float64 {
	var sq float64
	for _, l := range b {
		sq += l.RelativeU * l.RelativeU
	}
	return math.Sqrt(sq)
}

// farOff is how large the expanded uncertainty (k = 2) of an answer may be,
// relative to the length: more is not a measurement but a hint.
const farOff = 0.02

// settleLength decides the status and says what to do.
func settleLength(r *LengthResult, lift lift, d doubts, opt LengthOptions) {
	in, u := r.Length.In, r.Length.U
	r.Status = Answered
	right := d.right()
	switch {
	case right < answerAt:
		r.Status = Unsure
		r.Reason, r.Advice = d.words(opt.Ends != nil)
	case 2*u > math.Max(farOff*in, 1.0/8):
		r.Status = Unsure
		r.Reason = fmt.Sprintf("the photo tells it only to ± %.2f in", 2*u)
		r.Advice = "take the photo from straight above, the ruler flat and close beside the length"
	case r.Nominal != nil && opt.What != StringHeddle && r.Nominal.Confidence < answerAt: // string heddles are tied to any length
		r.Status = Unsure
		r.Reason = fmt.Sprintf("it could be %s", orLabels(r.Nominal))
		r.Advice = "measure again with a tape, or take the photo from straight above with the ruler flat"
	}
	if lift.told {
		return
	}
	if lift.u/(lift.distanceMM) > 0.002 {
		hint := "say how thick the ruler is (--ruler-thickness), or how far its marks lie above or below the ends (--marks-above)"
		if r.Status == Answered {
			r.Warnings = append(r.Warnings, "the height of the marks against the ends is not known: "+hint)
		} else if right >= answerAt {
			r.Advice = hint
		}
	}
}

func orLabels(n *Nominal) string {
	s := n.Label
	if len(n.Others) > 0 {
		s += " or " + n.Others[0].Label
	}
	return s
}
