package measure

import (
	"context"
	"fmt"
	"math"
	"time"

	"dentcount/calib"
	"dentcount/photo"
	"dentcount/trade"
	"dentcount/vision"
)

// TapeNumber is a number that a person reads off the tape at a point of a photo.
type TapeNumber struct {
	Shot   int // which photo, from 0
	At     Point
	Number int
}

// Joint is one photo of a length that was photographed in several.
type Joint struct {
	Photo string `json:"photo"`
	// ShiftIn is what is added to this photo's own readings to make them those
	// of the first, in inches along the tape.
	ShiftIn float64 `json:"shift_in"`
	// By is how it was told: "first", "face" (the figures and blemishes that it
	// shares with the photo before) or "numbers" (a person's); empty where it was
	// not told.
	By string `json:"by"`
	// Like is how alike the shared stretch of the face is, and Rival that at the
	// next likely place, where By is "face".
	Like  float64 `json:"like,omitempty"`
	Rival float64 `json:"rival,omitempty"`

	// What the overlay of this photo draws, not part of the JSON: its ruler, the
	// marks counted on from the first photo's first, and the length's own line in
	// it, from Line[0] to Line[1]; Ends says which of the two is an end, the other
	// being where the picture stops.
	Ruler    *Ruler    `json:"-"`
	Evidence *Evidence `json:"-"`
	Line     [2]Point  `json:"-"`
	Ends     [2]bool   `json:"-"`
}

// Shot is one photo of a length that is photographed in several. Colour gives the
// same upright photo in colours; it is asked only where ends are looked for.
type Shot struct {
	Kept   *Kept
	Colour func() (photo.Colour, error)
}

// How alike two photos' shared stretch of a tape must be, and how much less so
// anywhere else: figures that share their last digit are half alike.
const (
	leastFaceLike = 0.45
	mostFaceRival = 0.75
)

// shotSeen is one shot with its ruler read and its place along the tape.
type shotSeen struct {
	sight
	Shot
	face  vision.TapeFace
	sign  float64 // +1 where the face's own direction is that of growing inches
	shift float64 // inches
	joint Joint
}

// on carries a reading of the shot's own scale to the first shot's, in the
// face's own direction.
func (s shotSeen) on(in float64) float64 { return s.sign*in + s.shift }

// JoinedLength measures one length that is photographed in two or more shots
// along the same tape, from one end of it to the other. The shots are put
// together by the figures of the tape's face where they overlap, or by numbers
// that a person reads off it. opt.Ends, where given, are the first end in the
// first photo and the second in the last. A length that the shots do not tell is
// a LengthResult with status Refused.
func JoinedLength(ctx context.Context, photos []*photo.Photo, numbers []TapeNumber, opt LengthOptions) (LengthResult, error) {
	shots := make([]Shot, len(photos))
	for i, p := range photos {
		k, err := Keep(p)
		if err != nil {
			return LengthResult{Schema: 1, What: opt.What, Warnings: []string{}}, err
		}
		shots[i] = Shot{k, p.Colour}
	}
	return JoinedKept(ctx, shots, numbers, opt)
}

// JoinedKept is JoinedLength for photos that were kept.
func JoinedKept(ctx context.Context, shots []Shot, numbers []TapeNumber, opt LengthOptions) (LengthResult, error) {
	start := time.Now()
	r, err := joinShots(ctx, shots, numbers, opt)
	r.Schema, r.What = 1, opt.What
	if r.Warnings == nil {
		r.Warnings = []string{}
	}
	r.TookMS = time.Since(start).Milliseconds()
	return r, err
}

func joinShots(ctx context.Context, given []Shot, numbers []TapeNumber, opt LengthOptions) (LengthResult, error) {
	if len(given) < 2 {
		return LengthResult{}, fmt.Errorf("%w: a joined length needs two photos or more", ErrLengthOptions)
	}
	shots := make([]shotSeen, len(given))
	for i, g := range given {
		if err := checkJoin(opt, i, len(given), g.Kept); err != nil {
			return LengthResult{}, err
		}
		s, found, err := look(ctx, g.Kept, opt)
		if err != nil {
			return LengthResult{}, err
		}
		if !found {
			return refusedLength("no ruler marks found in "+photo.DisplayName(g.Kept.name),
				"take that photo again, the tape flat, its marks up and sharp"), nil
		}
		shots[i] = shotSeen{sight: s, Shot: g, sign: 1, joint: Joint{Photo: g.Kept.name, By: "first"}}
		face, ok := vision.FaceOf(s.gray, s.plane)
		if ok {
			shots[i].face = face
		}
		if face.Turned {
			shots[i].sign = -1
		}
	}
	var refused *LengthResult
	var err error
	if len(numbers) > 0 {
		err = joinByNumbers(shots, numbers)
	} else {
		refused = joinByFaces(shots)
	}
	if err != nil {
		return LengthResult{}, err
	}
	if refused != nil {
		refused.Joined = jointsOf(shots, nil, 1)
		return *refused, nil
	}
	return acrossShots(ctx, shots, opt)
}

// checkJoin says what of the options cannot be for photo i of n.
func checkJoin(opt LengthOptions, i, n int, k *Kept) error {
	o := opt
	o.Ends = nil
	if err := o.check(0, 0); err != nil {
		return err
	}
	if opt.Ends == nil {
		return nil
	}
	for j, in := range [2]int{0, n - 1} {
		w, h := k.SizePx()
		if e := opt.Ends[j]; in == i && !(e[0] >= 0 && e[0] <= float64(w) && e[1] >= 0 && e[1] <= float64(h)) {
			return fmt.Errorf("%w: the end %g,%g lies outside photo %d, which is %d by %d pixels as shown upright", ErrLengthOptions, e[0], e[1], in+1, w, h)
		}
	}
	return nil
}

// joinByFaces finds every shot's place from the one before. It returns a
// refusal where an overlap does not tell.
func joinByFaces(shots []shotSeen) *LengthResult {
	for i := 1; i < len(shots); i++ {
		a, b := &shots[i-1], &shots[i]
		name := func(s *shotSeen) string { return photo.DisplayName(s.Kept.name) }
		if a.ruler.Scale.Unit != b.ruler.Scale.Unit {
			r := refusedLength(fmt.Sprintf("inches were read in one of %s and %s, centimetres in the other", name(a), name(b)),
				"say which of them to read (--unit in, --unit cm)")
			return &r
		}
		m, ok := vision.MatchFaces(a.face, b.face)
		if !ok || m.Like < leastFaceLike || m.Rival > mostFaceRival*m.Like {
			r := refusedLength(fmt.Sprintf("%s and %s cannot be put together: what they share of the tape's face does not tell one %s from the next", name(a), name(b), unitWord(a.ruler.Scale.Unit)),
				fmt.Sprintf("take them with more of the tape's figures in both, or say which numbers stand where, two in one of the photos and one in each other (--at %d:X,Y=12 --at %d:X,Y=18 --at %d:X,Y=18)", i, i, i+1))
			return &r
		}
		b.shift = a.shift + float64(m.Units)*a.ruler.Scale.Unit.Inches()
		b.joint.ShiftIn, b.joint.By, b.joint.Like, b.joint.Rival = b.shift, "face", m.Like, m.Rival
	}
	return nil
}

func unitWord(u calib.Unit) string {
	if u == calib.CM {
		return "centimetre"
	}
	return "inch"
}

// joinByNumbers places every shot by the numbers that a person read in it.
func joinByNumbers(shots []shotSeen, numbers []TapeNumber) error {
	type read struct{ units, number int }
	by := make([][]read, len(shots))
	for _, n := range numbers {
		if n.Shot < 0 || n.Shot >= len(shots) {
			return fmt.Errorf("%w: a number is given for photo %d, and there are %d", ErrLengthOptions, n.Shot+1, len(shots))
		}
		s := shots[n.Shot]
		along, _ := s.ruler.Scale.Frame.Locate(n.At[0]-0.5, n.At[1]-0.5)
		units := s.sign * s.ruler.Scale.In(along) / s.ruler.Scale.Unit.Inches()
		if off := math.Abs(units - math.Round(units)); off > 0.3 {
			return fmt.Errorf("%w: no mark of a whole %s lies near %g,%g in photo %d: give the point where the mark of the number %d meets the tape's edge", ErrLengthOptions, unitWord(s.ruler.Scale.Unit), n.At[0], n.At[1], n.Shot+1, n.Number)
		}
		by[n.Shot] = append(by[n.Shot], read{int(math.Round(units)), n.Number})
	}
	grow := 0
	for i, rs := range by {
		if len(rs) == 0 {
			return fmt.Errorf("%w: no number of the tape is given for photo %d: give one (--at %d:X,Y=NUMBER)", ErrLengthOptions, i+1, i+1)
		}
		for _, x := range rs[1:] {
			du, dn := x.units-rs[0].units, x.number-rs[0].number
			if du == 0 || (du != dn && du != -dn) {
				return fmt.Errorf("%w: %d and %d do not stand as far apart in photo %d as its marks say: look at the numbers and the points again", ErrLengthOptions, rs[0].number, x.number, i+1)
			}
			g := dn / du
			if grow != 0 && g != grow {
				return fmt.Errorf("%w: the numbers grow one way in one photo and the other way in another: look at them again", ErrLengthOptions)
			}
			grow = g
		}
	}
	if grow == 0 {
		return fmt.Errorf("%w: give two numbers in one of the photos, to tell which way they grow", ErrLengthOptions)
	}
	unit := shots[0].ruler.Scale.Unit
	for i := range shots {
		if shots[i].ruler.Scale.Unit != unit {
			return fmt.Errorf("%w: inches were read in one photo, centimetres in another: say which the numbers are (--unit in, --unit cm)", ErrLengthOptions)
		}
		// number = zero + grow·units, the same zero in all
		zero := by[i][0].number - grow*by[i][0].units
		first := by[0][0].number - grow*by[0][0].units
		shots[i].shift = float64(grow*(zero-first)) * unit.Inches()
		shots[i].joint.ShiftIn = shots[i].shift
		if i > 0 {
			shots[i].joint.By = "numbers"
		}
	}
	return nil
}

// acrossShots finds the two ends in the first and the last shot and measures
// from one to the other.
func acrossShots(ctx context.Context, shots []shotSeen, opt LengthOptions) (LengthResult, error) {
	first, last := &shots[0], &shots[len(shots)-1]
	middle := func(s *shotSeen) float64 {
		c := s.ruler.Scale
		return s.on((c.In(c.Lo) + c.In(c.Hi)) / 2)
	}
	dir := math.Copysign(1, middle(last)-middle(first))
	ends, refused, err := endsAcross(ctx, [2]*shotSeen{first, last}, dir, opt)
	if err != nil {
		return LengthResult{}, err
	}
	if refused != nil {
		refused.Joined = jointsOf(shots, nil, dir)
		return *refused, nil
	}
	return answerJoined(shots, ends, dir, opt), nil
}

// answerJoined measures between two ends in two shots. A thing that lies m below
// the marks is seen nearer to each camera's own foot point by m/D of its
// distance from there, so that what counts is how far either end lies outside
// the foot of its own camera.
func answerJoined(shots []shotSeen, ends [2]vision.OneEnd, dir float64, opt LengthOptions) LengthResult {
	first, last := shots[0], shots[len(shots)-1]
	at := [2]float64{first.on(ends[0].AlongIn), last.on(ends[1].AlongIn)}
	var reach float64
	for i, s := range [2]shotSeen{first, last} {
		foot := s.on(s.plane.FootIn(float64(s.gray.W-1)/2, float64(s.gray.H-1)/2))
		out := dir * (at[i] - foot)
		if i == 0 {
			out = -out
		}
		reach += out
	}
	along := dir * (at[1] - at[0])
	e := vision.Ends{
		At: [2][2]float64{ends[0].At, ends[1].At}, Plane: first.plane,
		LengthIn:    math.Hypot(along, ends[1].AcrossIn-ends[0].AcrossIn) * math.Cos((ends[0].Skew+ends[1].Skew)/2),
		UIn:         math.Hypot(ends[0].UIn, ends[1].UIn),
		Probability: ends[0].Probability * ends[1].Probability,
		UnderRuler:  ends[0].UnderRuler && ends[1].UnderRuler,
		SpacingIn:   ends[0].SpacingIn, SpacingU: ends[0].SpacingU, DentsPerSpacing: ends[0].DentsPerSpacing,
	}
	l := liftOf(first.sight, e, opt).heightBySize(opt.What, e)
	r := LengthResult{Ruler: rulerOf(first.ruler), EndsByHand: opt.Ends != nil, Joined: jointsOf(shots, &ends, dir)}
	for _, q := range e.At {
		r.Ends = append(r.Ends, Point{q[0] + 0.5, q[1] + 0.5})
	}
	in := e.LengthIn + reach*(math.Exp(l.ln)-1)
	r.Budget = joinedBudget(shots, ends, e, l, reach, in)
	u := in * rootSum(r.Budget)
	v := lengthValue(in, u)
	r.Length = &v
	for _, o := range ends {
		if o.EyeIn > 0 && r.Eye == nil {
			eye := lengthValue(o.EyeIn*math.Exp(l.ln), math.Hypot(o.EyeU, o.EyeIn*rootSum(r.Budget)))
			r.Eye = &eye
		}
	}
	d := doubts{unit: first.ruler.UnitProbability, ends: e.Probability, scale: l.scaleRight, fieldIn: e.FieldIn}
	for _, s := range shots[1:] {
		d.unit = math.Min(d.unit, s.ruler.UnitProbability)
		if s.joint.By == "face" {
			// a rival half as alike leaves one in fifty
			d.unit *= 1 - 0.02*math.Max(0, s.joint.Rival/s.joint.Like)/0.5
		}
	}
	if lo, hi := usualRange(opt.What); opt.Ends == nil && (in < lo || in > hi) {
		d.scale *= 0.3 // another thing, or a scale misread
	}
	r.Confidence = d.right() * within(goalOf(in), u)
	r.Nominal = nominalOf(opt.What, trade.Length{In: in, U: u}, r.Eye, d.right())
	settleLength(&r, l, d, opt)
	return r
}

// joinedBudget is the budget of a length over several shots.
func joinedBudget(shots []shotSeen, ends [2]vision.OneEnd, e vision.Ends, l lift, reach, in float64) []BudgetLine {
	line := func(source string, u float64, note string) BudgetLine {
		return BudgetLine{Source: source, RelativeU: u / in, Note: note}
	}
	var marks, joints, planes, lens float64
	for i, s := range shots {
		c := s.ruler.Scale
		// from the end, or from the joint before, to the joint behind
		from, to := c.Lo, c.Hi
		if i == 0 {
			from = c.Along(ends[0].AlongIn)
		}
		if i == len(shots)-1 {
			to = c.Along(ends[1].AlongIn)
		}
		marks = math.Hypot(marks, c.UBetween(from, to))
		if i > 0 {
			joints = math.Hypot(joints, math.Hypot(c.ResidualIn, shots[i-1].ruler.Scale.ResidualIn))
		}
	}
	for i, s := range [2]shotSeen{shots[0], shots[len(shots)-1]} {
		q := ends[i].At
		a, _ := s.ruler.Scale.Frame.Locate(q[0], q[1])
		x, y := s.ruler.Scale.Frame.Point(a, 0)
		planes = math.Hypot(planes, s.plane.ULength(x, y, q[0], q[1]))
		lens = math.Hypot(lens, lensRel(s.sight, vision.Ends{At: [2][2]float64{q, q}})*in/2)
	}
	return []BudgetLine{
		line("ruler marks", marks, ""),
		line("joining the photos", joints, fmt.Sprintf("%d photos along one tape", len(shots))),
		line("places of the ends", e.UIn, ""),
		line("plane of the ruler", planes, "how the scale changes between the ruler and the ends"),
		line("marks above the ends", reach*math.Hypot(l.u, l.markMM*l.distanceU)/l.distanceMM, l.note()),
		line("lens", lens, ""),
		line("ruler's own tolerance", trade.RulerUMM(in*trade.MMPerInch)/trade.MMPerInch/3,
			"a third of the class II tolerance, which is for the whole length of a rule"),
	}
}
