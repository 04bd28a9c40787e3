package trade

import (
	"fmt"
	"math"
	"strings"
)

// Kinds of things that are ordered. The reed and the rigid heddle are
// PartReed and PartRigidHeddle.
const (
	PartWireHeddle   = "wire-heddle"
	PartStringHeddle = "string-heddle"
)

// OrderKinds lists what can be ordered.
func OrderKinds() []string {
	return []string{PartReed, PartRigidHeddle, PartWireHeddle, PartStringHeddle}
}

// OrderSize is the dent size that is to be ordered, and how it is known.
type OrderSize struct {
	Label, System string // as in [MadeSize]; Label "none": measured, and no made size fits
	PerInch       float64
	// MeasuredPerInch is what was measured, U its standard uncertainty and
	// Confidence the probability that Label is right. A person's word has none.
	MeasuredPerInch, U, Confidence float64
	ByPerson                       bool
	Others                         []string // labels that it could be, too
}

// OrderWish is what is known of one thing to be ordered. Zero fields: not known.
type OrderWish struct {
	Kind     string
	Shown    string // what a photo or the shelf says it is, where that is another kind
	Quantity int
	Size     OrderSize
	// WantIn is the nominal length a person asks for; Length that measured on
	// the part that is replaced: a reed over all, a rigid heddle across its
	// middle, a wire heddle's bars (or the heddle itself, see LengthIs), a
	// string heddle knot to knot.
	WantIn   float64
	Length   Length
	LengthIs Measured
	// LengthSure is the probability that Length is right; 0: not told.
	LengthSure float64
	Height     Length
	Eye        Length // string heddle
	Finish     string
	Caps       int
	Loom       *Loom
	Need       HeddleNeed // to count heddles by, where Quantity is 0
}

// AskFor says which kind a person asks for; what it was thought to be is kept, for
// the two must agree before anything is ordered.
func (w *OrderWish) AskFor(kind string) {
	if w.Kind != "" && w.Kind != kind {
		w.Shown = w.Kind
	}
	w.Kind = kind
}

// OrderLine is one line of an order sheet: filled, or the questions that come
// first. Words is the line as it is read to a maker; empty where there are
// questions.
type OrderLine struct {
	Kind       string
	Quantity   int
	Size       OrderSize
	NominalIn  float64 // length as it is ordered; 0: none
	Actual     Length  // length as it was measured
	ActualSure float64 // probability that it is right; 0: not told
	HeightIn   float64
	Finish     string
	Caps       int
	Words      string
	Confirm    []string // to be done by hand before money is spent
	Questions  []string
}

// Sure tells whether the line may be ordered.
func (l OrderLine) Sure() bool { return len(l.Questions) == 0 }

// mostQuantity is more than anybody orders of one line: a slip of the finger.
const mostQuantity = 100000

// FillOrder makes the line of an order sheet from what is known. What it is
// not sure of it does not fill in: the question stands there instead.
func FillOrder(w OrderWish) (OrderLine, error) {
	l := OrderLine{Kind: w.Kind, Quantity: w.Quantity, Size: w.Size, Actual: w.Length, ActualSure: w.LengthSure, Finish: w.Finish, Caps: w.Caps}
	switch {
	case w.Quantity < 0 || w.Quantity > mostQuantity:
		return l, fmt.Errorf("a quantity of %d cannot be ordered: say how many are wanted", w.Quantity)
	case w.Caps < 0 || w.Caps > 2:
		return l, fmt.Errorf("%d end caps: a reed has one or two", w.Caps)
	case w.WantIn < 0 || w.WantIn > MaxLengthIn || math.IsNaN(w.WantIn):
		return l, fmt.Errorf("a length of %s cannot be ordered: check the unit", FormatIn(w.WantIn, 16))
	}
	if w.Loom != nil {
		if err := w.Loom.Validate(); err != nil {
			l.ask("%v", err)
		}
	}
	if w.Shown != "" {
		l.ask("a %s is asked for, and what was measured is a %s: which of the two is wanted? where the photo is wrong, say what it shows (--part)",
			kindWord(w.Kind), kindWord(w.Shown))
	}
	switch w.Kind {
	case PartReed:
		l.reed(w)
	case PartRigidHeddle:
		l.rigid(w)
	case PartWireHeddle:
		l.wire(w)
	case PartStringHeddle:
		l.str(w)
	case "":
		l.ask("what is it: a reed, a rigid heddle, wire heddles or string heddles?")
	default:
		return l, fmt.Errorf("%q is nothing that is ordered here: say %s", w.Kind, strings.Join(OrderKinds(), ", "))
	}
	if !l.Sure() {
		l.Words = ""
	}
	return l, nil
}

// kindWord is a kind as it is said: "rigid heddle".
func kindWord(kind string) string { return strings.ReplaceAll(kind, "-", " ") }

func (l *OrderLine) ask(format string, args ...any) {
	if q := fmt.Sprintf(format, args...); q != "" {
		l.Questions = append(l.Questions, q)
	}
}

func (l *OrderLine) confirm(format string, args ...any) {
	l.Confirm = append(l.Confirm, fmt.Sprintf(format, args...))
}

// dents settles the dent size, and gives its words in both systems.
func (l *OrderLine) dents() string {
	s := l.Size
	switch {
	case s.Label == "" || s.PerInch <= 0:
		l.ask("which dent size? lay a ruler across the wires and measure a photo, or count the dents in two inches and halve")
		return ""
	case !s.ByPerson && s.Confidence < trusted:
		others := ""
		if len(s.Others) > 0 {
			others = " or " + strings.Join(s.Others, " or ")
		}
		size := "is the size " + s.Label
		if s.Label == "none" {
			size = "is it of no made size"
		}
		l.ask("%s%s? the photo is not sure (%.0f in 100): count the dents over six inches by hand, and say it (--size)", size, others, math.Floor(100*s.Confidence))
		return ""
	case s.Label == "none":
		l.confirm("no made size fits: a maker must be asked for %.2f dents per inch (%.1f per 10 cm)", s.PerInch, s.PerInch*100/MMPerInch)
		return fmt.Sprintf("%.2f dents per inch (%.1f per 10 cm), made to order", s.PerInch, s.PerInch*100/MMPerInch)
	}
	if s.ByPerson {
		l.notMade(s)
	} else {
		l.confirm("count the dents over six inches by hand: %.0f to %.0f", math.Floor(6*s.PerInch-0.5), math.Ceil(6*s.PerInch+0.5))
	}
	if s.System == SystemMetric {
		return fmt.Sprintf("%s, that is %.2f dents per inch", s.Label, s.PerInch)
	}
	return fmt.Sprintf("%s dents per inch, that is %.1f per 10 cm", s.Label, s.PerInch*100/MMPerInch)
}

// notMade tells of a size that a person asks for and that stands in no table, with
// those made that come next.
func (l *OrderLine) notMade(s OrderSize) {
	sizes := Sizes(l.Kind)
	for _, m := range sizes {
		if m.Label == s.Label && m.System == s.System {
			return
		}
	}
	next := ""
	if near := Near(sizes, s.PerInch, 0.1); len(near) > 0 {
		next = "; the nearest made is " + near[0].Label
		if len(near) > 1 {
			next += ", then " + near[1].Label
		}
	}
	l.confirm("%s is no size that is commonly made: ask the maker first%s", s.Label, next)
}

// one is the quantity of things bought singly; not said means one.
func (l *OrderLine) one() {
	if l.Quantity == 0 {
		l.Quantity = 1
	}
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

func (l *OrderLine) reed(w OrderWish) {
	l.one()
	dents := l.dents()
	l.reedLength(w)
	l.reedHeight(w)
	if l.Finish == "" {
		l.confirm("no finish was asked for: carbon steel rusts in damp rooms, stainless costs more; say which")
	}
	if l.Caps == 0 {
		l.confirm("end caps: modern reeds often have one, old ones two; ask which the maker fits, and have the size stamped")
	}
	l.confirm("measure the clear span between the uprights and the beater's groove with a tape before the order goes out")
	l.Words = fmt.Sprintf("%d %s, %s, %s long, %s high", l.Quantity, plural(l.Quantity, "reed", "reeds"), dents,
		FormatLength(l.NominalIn), FormatLength(l.HeightIn))
	if l.Finish != "" {
		l.Words += ", " + l.Finish
	}
	if l.Caps > 0 {
		l.Words += fmt.Sprintf(", %d end %s", l.Caps, plural(l.Caps, "cap", "caps"))
	}
}

// lengthDoubtIn is how well a length must be known to stand for a whole inch:
// two standard uncertainties within half of it.
const lengthDoubtIn = 0.25

// leastReedIn is shorter than any reed that is sold (common practice, no source).
const leastReedIn = 4

// reedLength settles the nominal length: what is asked for, else what uses all
// of the loom, else the whole inch that was measured.
func (l *OrderLine) reedLength(w OrderWish) {
	switch {
	case w.WantIn > 0:
		l.NominalIn = w.WantIn
	case w.Loom != nil:
		a := AdviseReedLength(*w.Loom)
		l.NominalIn = a.OrderIn
		l.ask("%s", a.Question)
		if a.Question == "" && a.OrderIn == 0 {
			l.ask("how long is the reed to be?")
		}
	case w.Length.Known() && w.Length.u() > lengthDoubtIn:
		l.ask("the old reed measures %s: measure it again with a tape, and say it (--length)", w.Length)
	case w.Length.Known():
		l.NominalIn = math.Round(w.Length.In)
		l.confirm("the old reed measures %s, ordered as %s: is that its nominal length?", w.Length, FormatIn(l.NominalIn, 16))
	default:
		l.ask("how long is the reed to be? aim at the weaving width plus about 1/2 in, never over the clear span")
	}
	if l.NominalIn > 0 && l.NominalIn < leastReedIn {
		l.ask("a reed %s long has next to nothing to weave with: how long is it to be?", FormatIn(l.NominalIn, 16))
	}
	if w.Loom != nil && w.Loom.ClearSpanIn > 0 && l.NominalIn > 0 {
		if v := fitLength(*w.Loom, ReedDims{Length: Length{In: l.NominalIn}}); v.Kind != Fits {
			l.ask("%s long in %s: %s; how long is it to be?", FormatIn(l.NominalIn, 16), w.Loom.called(), v.Reason)
		}
	}
	if w.WantIn > 0 && w.Length.Known() && math.Abs(w.WantIn-w.Length.In) > 1 {
		l.confirm("the old reed measures %s, %s is asked for", w.Length, FormatIn(w.WantIn, 16))
	}
}

// Reeds lower or higher than that are for looms of their own kind, or a slip of the
// finger (common practice, no source).
const leastReedHeightIn, mostReedHeightIn = 2.5, 8

func (l *OrderLine) reedHeight(w OrderWish) {
	switch {
	case w.Height.Known():
		l.HeightIn = math.Round(w.Height.In/reedHeightStepIn) * reedHeightStepIn
		switch off := math.Abs(w.Height.In - l.HeightIn); {
		case w.Height.U > reedHeightStepIn/4:
			l.ask("the height measures %s: measure it with a rule over both baulks, and say it (--height)", w.Height)
		case w.Height.In < leastReedHeightIn || w.Height.In > mostReedHeightIn:
			l.ask("a reed %s high? it is measured over both baulks, along the wires; 4 1/2, 4 3/4 and 5 in are common: say it again (--height)", w.Height)
		case off > 2*math.Max(w.Height.u(), 1.0/32):
			l.ask("%s high lies between two heights that are made, steps of 1/4 in: which one is it to be? say it (--height)", w.Height)
		case off > 1e-6:
			l.confirm("the height measures %s, ordered as %s", w.Height, FormatIn(l.HeightIn, 16))
		}
	case w.Loom != nil && w.Loom.BeaterMinIn > 0 && w.Loom.BeaterMinIn == w.Loom.BeaterMaxIn:
		l.HeightIn = w.Loom.BeaterMinIn
	case w.Loom != nil && w.Loom.BeaterMaxIn > 0:
		l.ask("how high is it to be? the beater of %s takes %s to %s", w.Loom.called(), fractionText(w.Loom.BeaterMinIn, 16), FormatIn(w.Loom.BeaterMaxIn, 16))
	default:
		l.ask("how high is it to be, over both baulks? 4 1/2, 4 3/4 and 5 in are common")
	}
	if w.Loom != nil && l.HeightIn > 0 {
		if f := CheckReedHeight(*w.Loom, Length{In: l.HeightIn}); f.Verdict == DoesNotFit {
			l.ask("%s: how high is it to be?", f.Reason)
		}
	}
}

func (l *OrderLine) rigid(w OrderWish) {
	l.one()
	dents := l.dents()
	if w.WantIn > 0 {
		l.NominalIn = w.WantIn
		l.rigidCalled(w.WantIn)
		l.Words = fmt.Sprintf("%d rigid %s, %s, for a loom called %s", l.Quantity, plural(l.Quantity, "heddle", "heddles"), dents, FormatIn(w.WantIn, 16))
	} else {
		a := RigidHeddleWidth(w.Length)
		l.NominalIn = a.In
		l.ask("%s", a.Question)
		l.Words = fmt.Sprintf("%d rigid %s, %s, for a loom called %s, measured %s across the middle", l.Quantity, plural(l.Quantity, "heddle", "heddles"), dents, a.Label, w.Length)
	}
	l.confirm("heddles of different makes don't fit each other's looms: compare the frame's outer length, height and thickness")
}

// rigidCalled looks at the name of a rigid heddle loom, its width in inches: one
// that no loom is called by may be the width of the heddle itself, and one that is
// made both to inches and to centimetres has two widths.
func (l *OrderLine) rigidCalled(in float64) {
	var named []string
	for _, w := range RigidWidths() {
		if v, err := ParseLengthIn(w.Called + "in"); err == nil && math.Abs(v-in) < 1.0/16 {
			named = append(named, FormatIn(w.WidthIn, 16))
		}
	}
	switch {
	case len(named) > 1:
		l.confirm("looms called %s are made %s wide across the heddle: measure it, first slot to last", FormatIn(in, 16), strings.Join(named, " and "))
	case len(named) == 0:
		if a := RigidHeddleWidth(Length{In: in}); a.Label != "none" && a.Question == "" {
			l.ask("no loom is commonly called %s, but a heddle of that width is for one called %s: is that the loom? say what it is called (--length)", FormatIn(in, 16), a.Label)
			return
		}
		l.confirm("%s is no common width of a rigid heddle loom: say the make and what the loom is called", FormatIn(in, 16))
	}
}

func (l *OrderLine) wire(w OrderWish) {
	what := w.LengthIs
	length := w.Length
	if !length.Known() && w.Loom != nil && w.Loom.HeddleBarSpanIn > 0 {
		length, what = Length{In: w.Loom.HeddleBarSpanIn}, BarSpan
	}
	var size string
	if w.WantIn > 0 {
		for _, made := range WireHeddleSizes() {
			if math.Abs(made.BarSpanIn-w.WantIn) < 1.0/64 {
				size = made.Label + " in"
			}
		}
		if size == "" {
			l.ask("%s", WireHeddle(Length{In: w.WantIn}, BarSpan).Question)
		}
		l.NominalIn = w.WantIn
		l.confirm("measure the bars with a tape, bottom edge of the bottom bar to top edge of the top bar: not the heddle, which is about 1/4 in longer")
	} else {
		a := WireHeddle(length, what)
		l.ask("%s", a.Question)
		l.NominalIn, size = a.In, a.Label
		l.Actual = length
		if !w.Length.Known() {
			l.ActualSure = 0 // the loom's own figure
		}
		l.confirm("measure the bars again with a tape, bottom edge of the bottom bar to top edge of the top bar: %s", a.Reason)
	}
	l.heddles(w)
	l.Words = fmt.Sprintf("%d wire heddles, %s (for bars %s apart; each about 1/4 in longer)", l.Quantity, size, FormatLength(l.NominalIn))
}

func (l *OrderLine) str(w OrderWish) {
	eye := w.Eye
	size := ""
	if w.WantIn > 0 {
		l.NominalIn, size = w.WantIn, FormatLength(w.WantIn)
		if !eye.Known() {
			eye = Length{In: UsualEyeIn}
			l.confirm("the eye was not said: the usual 1/2 in is ordered")
		} else if _, q := readEye(eye); q != "" {
			l.ask("%s", q)
		}
		l.confirm("pin one of the old ones out under tension and measure it, knot to knot")
	} else {
		a := StringHeddle(w.Length, eye)
		l.ask("%s", a.Question)
		l.NominalIn, size = a.In, FormatLength(a.In)
		l.confirm("pin one out under tension and measure again, knot to knot: %s", a.Reason)
	}
	if _, q := readEye(eye); q == "" {
		eye = Length{In: UsualEyeIn} // what was measured stands for it
	}
	l.heddles(w)
	if l.Quantity%soldInHundreds != 0 {
		l.confirm("string heddles are sold in hundreds: ask whether %d can be had, or order %d", l.Quantity, (l.Quantity/soldInHundreds+1)*soldInHundreds)
	}
	l.Words = fmt.Sprintf("%d string heddles, %s knot to knot, eye %s", l.Quantity, size, FormatIn(eye.In, 16))
}

// soldInHundreds is the bundle that string heddles come in (common practice, no
// source).
const soldInHundreds = 100

// heddles settles how many: as asked for, else as the warp needs.
func (l *OrderLine) heddles(w OrderWish) {
	if l.Quantity > 0 {
		return
	}
	need := w.Need
	if need.Shafts == 0 && w.Loom != nil {
		need.Shafts = w.Loom.Shafts
	}
	if need.WarpWidthIn == 0 && need.Sett == 0 {
		l.ask("how many? say it (--quantity), or the warp's width and sett (--warp-width, --sett)")
		return
	}
	c, err := CountHeddles(need)
	if err != nil {
		l.ask("%v", err)
		return
	}
	l.Quantity = c.Order
	l.confirm("%s", c.Reason)
	for _, x := range c.Cautions {
		l.confirm("%s", x)
	}
}
