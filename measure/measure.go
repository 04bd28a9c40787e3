package measure

import (
	"context"
	"fmt"
	"image"
	"math"
	"time"

	"dentcount/calib"
	"dentcount/fit"
	"dentcount/photo"
	"dentcount/trade"
	"dentcount/vision"
)

// Version names the way of measuring; a stored answer of another version is
// measured again.
const Version = "36"

// answerAt is the confidence from which a size is an answer; below it the photo
// is unsure.
const answerAt = 0.75

// maxSkewDeg is how far from square a person lays a ruler; past it what was
// found is more likely a table's texture, and its angle would have to be known
// better than it is (1/cos grows as the square).
const maxSkewDeg = 8

// Photo measures the part in one photo. A photo in which nothing can be
// measured is a Result with status Refused, not an error; an error is a fault
// of the machine or a cancelled ctx. It does not close p.
func Photo(ctx context.Context, p *photo.Photo, opt Options) (Result, error) {
	r, _, err := PhotoAndReading(ctx, p, opt)
	return r, err
}

// PhotoAndReading is Photo which also gives what was read, for SamePart.
func PhotoAndReading(ctx context.Context, p *photo.Photo, opt Options) (Result, Reading, error) {
	start := time.Now()
	read, err := Read(ctx, p, opt)
	if err != nil {
		return Result{Schema: 1, Photo: p.Name, Warnings: []string{}, TookMS: time.Since(start).Milliseconds()}, read, err
	}
	r := read.Answer(opt)
	r.TookMS = time.Since(start).Milliseconds()
	return r, read, read.dbg.write()
}

// Reading is what the pixels of one photo tell: the ruler and the bands, before
// the facts that a person may tell of thickness and distance. One Reading can
// be answered more than once, with other facts.
type Reading struct {
	name  string
	base  Result // Ruler and Evidence, as far as they were found; a refusal where refused
	no    bool   // nothing can be measured: base says why
	ruler calib.Ruler
	bands vision.Bands
	view  fit.View // without what a person tells
	// inOther is the same in the other unit that the marks may count in; nil where they
	// leave no doubt.
	inOther *Reading
	hand    Hand     // was heeded in reading
	warn    []string // about what was set by hand
	dbg     *debug
}

// Read reads the ruler and the bands in one photo. Of opt it heeds what helps to
// read: Part, Unit, Hand and DebugDir. Errors are those of Photo.
func Read(ctx context.Context, p *photo.Photo, opt Options) (Reading, error) {
	k, err := Keep(p)
	if err != nil {
		return Reading{name: p.Name}, err
	}
	return k.Read(ctx, opt)
}

// Read is the function Read for a photo that was kept. What of opt.Hand cannot
// be is an error that wraps ErrHand.
func (k *Kept) Read(ctx context.Context, opt Options) (Reading, error) {
	g := k.gray
	r := Reading{name: k.name, hand: opt.Hand, dbg: newDebug(opt.DebugDir)}
	r.view = fit.View{Focal35: k.focal35, WidthPx: g.W, HeightPx: g.H}
	if err := opt.Hand.check(g.W, g.H); err != nil {
		return r, err
	}
	ruler, found, err := k.ruler(ctx, calib.Unit(opt.Unit))
	if err != nil {
		return r, err
	}
	if opt.Hand.ScaleIn > 0 {
		if ruler, err = r.scaleByHand(ctx, k, ruler, found, opt); err != nil {
			return r, err
		}
		found = true
	}
	r.dbg.lap("ruler", map[string]any{"found": found, "ladders": ruler.Candidates})
	if !found {
		r.refuse("no ruler marks found", "lay the ruler flat, its inch edge across the wires, and fill the frame")
		return r, nil
	}
	ruler, b, found, err := k.bandsBeside(ctx, ruler, opt)
	if err != nil {
		return r, err
	}
	r.dbg.picture("ruler", func() image.Image { return onPhoto(g, ruler.Scale) })
	if found {
		r.bandsByHand(&b, ruler.Scale)
		r.dbg.picture("beside", func() image.Image { return b.Straightened(g, ruler.Scale) })
		r.dbg.picture("folded", func() image.Image { return b.Folded(g, ruler.Scale) })
	}
	r.dbg.lap("bands", map[string]any{"found": found, "bands": len(b.Row)})
	r = k.readingOf(r, ruler, b, found)
	r.inOther, err = k.inOtherUnit(ctx, r, opt)
	return r, err
}

// readingOf completes r by the bands beside a ruler, or their want.
func (k *Kept) readingOf(r Reading, ruler calib.Ruler, b vision.Bands, found bool) Reading {
	g, s := k.gray, ruler.Scale
	r.ruler, r.bands = ruler, b
	r.view.FaceWidthIn = faceWidth(ruler)
	r.view.Transparent = ruler.Through
	if found && r.hand.ScaleIn <= 0 {
		if side, ok := vision.FindSideFace(g, s, b); ok {
			r.view.Side = &side
			r.dbg.lap("side face", map[string]any{"px_per_mm": side.Down, "log_likelihood": side.LogLik})
		}
	}
	r.base.Ruler = rulerOf(ruler)
	r.base.Evidence = &Evidence{TickLine: tickLine(s), Marks: allMarks(s), OneInch: oneInch(s), SizePx: [2]int{g.W, g.H}}
	if !found {
		r.refuse("no evenly spaced wires or slots cross the ruler's marked edge",
			"lay the marked edge across the middle of the wires and take the photo from straight above")
	} else if askew(b) {
		r.refuse(fmt.Sprintf("what crosses the ruler's edge lies %.0f° off square to it: no wires, or a ruler laid askew", skewDeg(b)),
			"lay the marked edge straight across the wires, within a few degrees, and take the photo again")
	} else if b.TooFine() {
		r.refuse(fmt.Sprintf("the wires are only %.1f pixels apart: too fine to count", b.FinestPx),
			goNearer)
	}
	return r
}

// bandsBeside are the bands beside a ruler: where none cross what was read of it beside its
// other marks, of two rulers beside the other one where this one lies beside the part; and
// with the ruler in the unit in which there are any, and that fits how high they are.
func (k *Kept) bandsBeside(ctx context.Context, ruler calib.Ruler, opt Options) (calib.Ruler, vision.Bands, bool, error) {
	byHand := opt.Hand.ScaleIn > 0
	b, found, err := vision.FindBands(ctx, k.gray, ruler.Scale, k.bandOptions(opt))
	if err != nil || byHand {
		return ruler, b, found, err
	}
	if !found {
		if ruler, b, found, err = k.besideInUnit(ctx, ruler, opt); err != nil {
			return ruler, b, found, err
		}
	}
	if !found || askew(b) {
		if ruler, b, found, err = k.besideRest(ctx, ruler, b, found, opt); err != nil {
			return ruler, b, found, err
		}
	}
	if !found || askew(b) {
		if ruler, b, found, err = k.besideOther(ctx, ruler, b, found, opt); err != nil {
			return ruler, b, found, err
		}
	}
	if found {
		ruler, b, err = k.heedHeight(ctx, ruler, b, opt)
	}
	return ruler, b, found, err
}

// besideRest looks beside those marks of a ruler that were not read at first: it may lie on
// past the part, and be read best there. Without more marks, or with no bands square to it
// beside them, it gives back what it got.
func (k *Kept) besideRest(ctx context.Context, ruler calib.Ruler, b vision.Bands, found bool, opt Options) (calib.Ruler, vision.Bands, bool, error) {
	longer := ruler
	longer.Scale, longer.PastEdge = ruler.Scale.ExtendedPastEdge(k.gray), true
	if len(longer.Scale.Marks) == len(ruler.Scale.Marks) {
		return ruler, b, found, nil
	}
	b2, found2, err := vision.FindBands(ctx, k.gray, longer.Scale, k.bandOptions(opt))
	if err != nil || !found2 || askew(b2) {
		return ruler, b, found, err
	}
	return longer, b2, true, nil
}

// besideOther looks beside another ruler where beside this one no bands cross, or
// none square to it; without another, or with none there either, it gives back
// what it got.
func (k *Kept) besideOther(ctx context.Context, ruler calib.Ruler, b vision.Bands, found bool, opt Options) (calib.Ruler, vision.Bands, bool, error) {
	other := ruler.Other
	if other == nil {
		o, seen, err := calib.FindRuler(ctx, k.gray, k.rulerOptions(calib.Unit(opt.Unit), &ruler))
		if err != nil || !seen {
			return ruler, b, found, err
		}
		other = &o
	}
	b2, found2, err := vision.FindBands(ctx, k.gray, other.Scale, k.bandOptions(opt))
	if err != nil || !found2 || askew(b2) {
		return ruler, b, found, err
	}
	first, second := ruler, *other
	first.Other, second.Other = nil, &first
	return second, b2, true, nil
}

// skewDeg is how far off square to the ruler's edge the bands lie, in degrees.
func skewDeg(b vision.Bands) float64 { return math.Abs(b.Skew) * 180 / math.Pi }

func askew(b vision.Bands) bool { return skewDeg(b) > maxSkewDeg }

// BandCues are how many bands an inch were read and what told whether they are
// the wires of a reed or the slots of a rigid heddle; nil where nothing had to.
func (r Reading) BandCues() (bandsPerInch float64, cues []vision.Cue) {
	return r.bands.PerInch, r.bands.KindCues
}

// SeesSideFace says whether the photo tells anything of the ruler's side face.
func (r Reading) SeesSideFace() bool { return r.view.Side != nil }

// moireReason says what may be an artefact of the pixels.
func moireReason(b vision.Bands) string {
	if b.Beats {
		return "what was counted may be an artefact of the pixels, which finer wires make"
	}
	return fmt.Sprintf("the wires are only %.1f pixels apart: they may be an artefact of the pixels", b.PxPerBand)
}

// goNearer is what to do about wires that are too fine in the photo.
const goNearer = "go nearer, so that 4 to 8 inches of the ruler fill the frame, and keep it sharp"

// refuse makes the reading one of which nothing can be measured.
func (r *Reading) refuse(reason, advice string) {
	r.no = true
	r.base.Status, r.base.Reason, r.base.Advice = Refused, reason, advice
}

// Answer makes the answer from what was read and from what opt tells of
// thickness and distance. TookMS is left at 0.
func (r Reading) Answer(opt Options) Result {
	out := r.answer(opt)
	out.Schema, out.Photo = 1, r.name
	opt.Hand = r.hand
	out.markHand(opt, r.warn)
	if out.Warnings == nil {
		out.Warnings = []string{}
	}
	return out
}

func (r Reading) answer(opt Options) Result {
	if r.inOther != nil {
		r = r.inLikelierUnit(opt)
	}
	base := r.base
	if base.Evidence != nil {
		e := *base.Evidence
		base.Evidence = &e
	}
	if r.no {
		return base
	}
	pitch, err := fit.FindPitch(r.ruler.Scale, r.bands, r.viewWith(opt))
	if err != nil {
		base.Status, base.Reason, base.Advice = Refused, err.Error(), "choose a stretch with straight, clean wires and take the photo again"
		return base
	}
	believed := believe(r.ruler, r.bands, pitch)
	base.Evidence.Features, base.Evidence.ReadRight = believed.features, believed.right
	choices := sizesOf(r.bands.Kind, pitch, believed.right)
	fit.AtMost(choices, believed.kind)
	if believed.scant || choices[0].Label == fit.None && (believed.amiss || r.madeIfThickness(believed.right, opt)) {
		fit.AtMost(choices, nearlySure)
	}
	// What crosses such a ruler may be no part: one misread so (judge, 4626-804) fell between
	// sizes.
	stray := r.ruler.PastEdge && choices[0].Label == fit.None
	if doubt, _ := ofNoSize(r.bands, choices[0]); doubt != "" || stray || r.bands.MayBeMoire() {
		fit.AtMost(choices, mayBeNoPart)
	}
	r.dbg.lap("fit", map[string]any{"dents_per_inch": pitch.PerInch, "agree": pitch.Agree})
	return answer(base, r.ruler, r.bands, pitch, choices, opt)
}

// sizesOf weighs the sizes made of a kind against a pitch; none is nearly certain that
// another one lies near.
func sizesOf(kind vision.Kind, pitch fit.Pitch, right float64) []fit.Choice {
	// Readings miss by five times what their budget says as rarely as one in 450 (judge, seeds
	// 4626 to 4631), and by what then no budget tells. Of 10,891 sizes named with 95 and more
	// (those seeds, and parts of 4632 to 4635) 144 had another so near, three of the four wrong
	// ones among them.
	const rivalWithin = 5.0
	sizes := trade.Sizes(string(kind))
	choices := fit.FindSize(pitch, sizes, right)
	if pitch.Within(rivalWithin, sizes, choices[0]) {
		fit.AtMost(choices, nearlySure)
	}
	return choices
}

// madeIfThickness says that the part would be of a made size if the ruler were as thick as
// rulers are, instead of as thick as was told: what was told may be another ruler's, or
// mistaken.
func (r Reading) madeIfThickness(right float64, opt Options) bool {
	if opt.RulerThicknessMM <= 0 {
		return false
	}
	opt.RulerThicknessMM = 0
	pitch, err := fit.FindPitch(r.ruler.Scale, r.bands, r.viewWith(opt))
	return err == nil && sizesOf(r.bands.Kind, pitch, right)[0].Label != fit.None
}

// viewWith is how the photo was taken with what a person tells of it.
func (r Reading) viewWith(opt Options) fit.View {
	v := r.view
	v.ThicknessMM, v.DistanceMM = opt.RulerThicknessMM, opt.CameraDistanceMM
	v.TwoRulers = r.ruler.Other != nil || r.bands.Field.Covered
	if opt.WithoutSideFace {
		v.Side = nil
	}
	return v
}

func answer(r Result, ruler calib.Ruler, b vision.Bands, p fit.Pitch, choices []fit.Choice, opt Options) Result {
	r.Count = countOf(b)
	r.Evidence.Bands = bandsOf(ruler.Scale, b)
	one := bandWord(b.Kind)
	if n := r.Count.Bent; n > 0 {
		r.Warnings = append(r.Warnings, plural(n, "bent "+one, "bent "+one+"s"))
	}
	if n := r.Count.Missing; n > 0 {
		r.Warnings = append(r.Warnings, plural(n, "missing "+one, "missing "+one+"s"))
	}
	if ruler.Other != nil {
		r.Warnings = append(r.Warnings, "two rulers lie in the photo: the overlay shows which one was read; take the other one away")
	} else if b.Field.Covered {
		r.Warnings = append(r.Warnings, "beside the ruler that was read something else lies across the wires: take it away, and tell the thickness of the ruler alone")
	}
	if b.HolesHidden {
		r.Warnings = append(r.Warnings, otherReading(b.Kind, p.PerInch))
	}
	r.size(b.Kind, p, choices, opt)
	if r.Status == Unsure {
		if reason, advice := misreading(ruler, b); reason != "" {
			r.Reason, r.Advice = reason, advice
		} else if reason, advice := ofNoSize(b, choices[0]); reason != "" {
			r.Reason, r.Advice = reason, advice
		} else if b.MayBeMoire() {
			r.Reason, r.Advice = moireReason(b), goNearer
		}
	}
	return r
}

// otherReading says what the part is if its bands were taken for the wrong kind
// where the ruler hides what would tell.
func otherReading(kind vision.Kind, perInch float64) string {
	if kind == vision.RigidHeddle {
		return fmt.Sprintf("if this is a reed, it has %.2f dents per inch: say what it is (--part), or lay the ruler off the middle, where a heddle's holes are seen", perInch/2)
	}
	return fmt.Sprintf("if this is a rigid heddle, the ruler hides its holes and it has %.2f dents per inch: say what it is (--part), or lay the ruler off the middle", 2*perInch)
}

// size fills in what follows from a pitch: its budget, the size with its
// confidence, the status and the order line.
func (r *Result) size(kind vision.Kind, p fit.Pitch, choices []fit.Choice, opt Options) {
	r.Part = string(kind)
	r.Pitch = &Pitch{
		DentsPerInch: p.PerInch, U: p.U, DentsPer10CM: p.PerInch / 0.254,
		K95: p.K95, DoF: counted(p.DoF), Interval95: &Range{Min: p.Lo95, Max: p.Hi95},
	}
	for _, l := range p.Budget {
		r.Budget = append(r.Budget, BudgetLine{Source: string(l.Source), RelativeU: l.RelativeU, DoF: counted(l.DoF), Note: l.Note})
	}
	c := choices[0]
	r.Size = &Size{SizeChoice: SizeChoice{c.Label, c.System, c.PerInch, c.P}, Others: []SizeChoice{}}
	if c.Label == fit.None {
		r.Size.DentsPerInch = p.PerInch
	}
	for _, o := range choices[1:] {
		if o.P >= 0.005 && len(r.Size.Others) < 4 {
			r.Size.Others = append(r.Size.Others, SizeChoice{o.Label, o.System, o.PerInch, o.P})
		}
	}
	if c.P >= answerAt {
		r.Status = Answered
	} else {
		r.Status = Unsure
		r.Reason, r.Advice = doubt(kind, choices, p, opt)
	}
	r.Order = orderLine(kind, c, r.Status)
}

// counted is degrees of freedom as a Result has them: 0 past counting.
func counted(dof float64) float64 {
	if dof > 1e4 {
		return 0
	}
	return dof
}

// doubt says what keeps two sizes apart, and what would settle it.
func doubt(kind vision.Kind, choices []fit.Choice, p fit.Pitch, opt Options) (reason, advice string) {
	a := choices[0]
	var sum float64
	for _, c := range choices {
		sum += c.P
	}
	lift := 0.0
	for _, l := range p.Budget {
		if l.Source == fit.RulerAbove {
			lift = l.RelativeU
		}
	}
	switch {
	case len(choices) > 1 && sum >= answerAt && fit.Indistinct(a, choices[1], trade.Sizes(string(kind))):
		return fmt.Sprintf("it could be %s or %s, which lie closer together than reeds and heddles are made", sizeName(a), sizeName(choices[1])),
			"no photo tells these two apart, and they weave alike: go by the stamp, or by the system that the loom's other reeds are counted in"
	case sum < answerAt:
		return "the photo could not be read with certainty",
			"take it again from straight above, sharp, without glare, the ruler's marked edge across clean wires"
	case len(choices) > 1 && choices[1].P > 0.05 && lift > p.ReadRelU && opt.RulerThicknessMM <= 0:
		return fmt.Sprintf("it could be %s or %s", sizeName(a), sizeName(choices[1])),
			"say how thick the ruler is (--ruler-thickness): a tape is some 0.3 mm, a steel rule 0.5 to 1, wood or plastic 2 to 3; or take a second photo from twice as far and measure both together (--same-part)"
	case len(choices) > 1:
		return fmt.Sprintf("it could be %s or %s", sizeName(a), sizeName(choices[1])),
			"take a photo with more of the ruler over straight wires, from straight above"
	}
	return "the size is not certain", "take the photo again from straight above"
}

func sizeName(c fit.Choice) string {
	if c.Label == fit.None {
		return "no made size"
	}
	return c.Label
}

// orderLine is the size as one orders it, in both systems; a question where it
// is not certain.
func orderLine(k vision.Kind, c fit.Choice, st Status) string {
	part := partWord(k)
	if st != Answered {
		return ""
	}
	switch c.System {
	case trade.SystemInch:
		return fmt.Sprintf("%s, %s dents per inch (%.1f per 10 cm)", part, c.Label, c.PerInch/0.254)
	case "none":
		return fmt.Sprintf("%s, made to order: %.2f dents per inch (%.1f per 10 cm), no made size fits", part, c.PerInch, c.PerInch/0.254)
	}
	return fmt.Sprintf("%s, %s (%.2f dents per inch)", part, c.Label, c.PerInch)
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
