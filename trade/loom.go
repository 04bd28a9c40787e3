package trade

import (
	"fmt"
	"math"
)

// Loom is a loom as its owner measured it. A zero field means: not measured.
type Loom struct {
	Name            string  `json:"name"`               // the owner's own name for it
	WeavingWidthIn  float64 `json:"weaving_width_in"`   // what it really weaves: a loom called 26 weaves 26 1/2
	ClearSpanIn     float64 `json:"clear_span_in"`      // between the uprights, where the reed goes in
	BeaterMinIn     float64 `json:"beater_min_in"`      // lowest reed the beater takes
	BeaterMaxIn     float64 `json:"beater_max_in"`      // highest reed the beater takes
	HeddleBarSpanIn float64 `json:"heddle_bar_span_in"` // bottom edge of the bottom bar to top edge of the top bar
	Shafts          int     `json:"shafts"`
}

// Problems lists everything about the loom that cannot be, or that must be
// asked, most serious first. None: nil. Fields that are zero are not asked
// for here; the rules that need them ask.
func (l Loom) Problems() []error {
	var out []error
	name := l.called()
	for _, f := range []struct {
		what string
		in   float64
	}{
		{"weaving width", l.WeavingWidthIn}, {"clear span", l.ClearSpanIn},
		{"lowest reed height", l.BeaterMinIn}, {"highest reed height", l.BeaterMaxIn},
		{"heddle bar span", l.HeddleBarSpanIn},
	} {
		switch {
		case math.IsNaN(f.in) || math.IsInf(f.in, 0):
			out = append(out, fmt.Errorf("%s: the %s is not a number; measure it again", name, f.what))
		case f.in < 0:
			out = append(out, fmt.Errorf("%s: the %s is negative (%s); measure it again", name, f.what, FormatIn(f.in, 16)))
		case f.in > MaxLengthIn:
			out = append(out, fmt.Errorf("%s: the %s of %s is over 4 m; check the unit", name, f.what, FormatIn(f.in, 16)))
		}
	}
	if l.Shafts < 0 {
		out = append(out, fmt.Errorf("%s: %d shafts; say how many it has", name, l.Shafts))
	}
	if len(out) > 0 {
		return out // the questions below would only confuse
	}
	if l.WeavingWidthIn > 0 && l.ClearSpanIn > 0 && l.ClearSpanIn < l.WeavingWidthIn {
		out = append(out, Question{
			Problem: fmt.Sprintf("%s is said to weave %s but only %s is clear between its uprights", name,
				FormatIn(l.WeavingWidthIn, 16), FormatIn(l.ClearSpanIn, 16)),
			Ask: "which of the two is wrong? measure both with a tape, the clear span where the reed goes in",
		})
	}
	switch lo, hi := l.BeaterMinIn, l.BeaterMaxIn; {
	case lo > 0 && hi > 0 && lo > hi:
		out = append(out, Question{
			Problem: fmt.Sprintf("%s: the beater's lowest reed, %s, is higher than its highest, %s", name, FormatIn(lo, 16), FormatIn(hi, 16)),
			Ask:     "are the two swapped?",
		})
	case (lo > 0) != (hi > 0):
		out = append(out, Question{
			Problem: name + ": only one end of the beater's range of reed heights is given",
			Ask:     "what are the lowest and the highest reed it takes? for a beater that takes one height only give it twice",
		})
	}
	if l.Shafts > 40 {
		out = append(out, Question{
			Problem: fmt.Sprintf("%s: %d shafts", name, l.Shafts),
			Ask:     "is that the number of shafts, and not of heddles or treadles?",
		})
	}
	return out
}

// Validate gives the first of [Loom.Problems], nil where there is none. A
// [Question] means that the figures disagree and the owner must say.
func (l Loom) Validate() error {
	if p := l.Problems(); len(p) > 0 {
		return p[0]
	}
	return nil
}

func (l Loom) called() string {
	if l.Name == "" {
		return "the loom"
	}
	return l.Name
}
