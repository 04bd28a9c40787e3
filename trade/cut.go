package trade

import (
	"errors"
	"fmt"
	"math"
)

// End is one end of a reed as it lies before you, stamp readable where there is one.
type End string

// The ends.
const (
	EndUnknown End = ""
	LeftEnd    End = "left"
	RightEnd   End = "right"
)

// ReedDims are the measures of one reed. Lengths that are zero are not known.
type ReedDims struct {
	Label     string  // its dent size, for the words: "10", "40/10"
	Length    Length  // outer face of one end cap to the outer face of the other
	Height    Length  // over both baulks
	SleyWidth Length  // middle of the first wire to the middle of the last
	PerInch   float64 // dents per inch
	Binding   Binding
	Caps      int // end caps: 1, 2; 0 where not looked at
	StampAt   End // the end whose cap carries the stamp
}

func (r ReedDims) called() string {
	if r.Label == "" {
		return "the reed"
	}
	return "the " + r.Label + " reed"
}

// Cut is what is wanted of a cut.
type Cut struct {
	// WantIn is the length the reed may have after the cut, over all. It
	// comes out at this or less, by under one dent.
	WantIn float64
	// NewCapIn is the length a new end cap or binding adds at the cut; 0: none.
	NewCapIn float64
	// KeptCapIn is the distance from the outer face of the kept end to the
	// middle of its first wire. 0: from the reed's length and sley width,
	// both ends taken alike.
	KeptCapIn float64
}

// CutPlan says where to saw a reed and what is left of it.
type CutPlan struct {
	KeepEnd     End     // the end that stays, the one with the stamp where it is known
	AfterWire   int     // N: saw in the dent between wires N and N+1, counted from the kept end, the wire next to it being 1
	BeforeWire  int     // N + 1
	FromEndIn   float64 // where that is, from the outer face of the kept end
	NewLengthIn float64 // over all, new cap included
	SleyWidthIn float64 // middle of the first to middle of the last wire that stay
	LostSleyIn  float64
	LostDents   int
	Clean       bool // the binding is known to cut cleanly
	Reason      string
	Question    string
	Steps       []string
	Cautions    []string
}

// minSleyWidthIn is the least sley width worth keeping: under an inch there
// is no reed left.
const minSleyWidthIn = 1

// sawKerfIn is the width of a hacksaw's cut: a blade 0.025 in thick
// (appropedia.org, Cutting metal: about 1/40 in), set a little wider (the
// total from memory).
const sawKerfIn = 0.04

// openShareOfDent is the share of a dent that is air rather than wire, taken
// as half (a stated prior).
const openShareOfDent = 0.5

// CutReed plans the cutting down of a reed: between which two wires, counted
// from the end that keeps its stamped cap, and what sley width is lost. It
// refuses a cut that leaves nothing, and one that would take nothing off; a
// measure that is missing is a [Question].
func CutReed(reed ReedDims, cut Cut) (CutPlan, error) {
	for _, x := range []float64{reed.Length.In, reed.SleyWidth.In, reed.PerInch, cut.WantIn, cut.NewCapIn, cut.KeptCapIn} {
		if x < 0 || math.IsNaN(x) || math.IsInf(x, 0) {
			return CutPlan{}, errors.New("a measure of the cut is negative or no number: check what was typed")
		}
	}
	switch {
	case !reed.Length.Known():
		return CutPlan{}, Question{Ask: "how long is the reed, from the outer face of one end cap to that of the other?"}
	case cut.WantIn > 0 && reed.SleyWidth.Known() && reed.SleyWidth.In <= reed.Length.In && reed.Length.In <= MaxLengthIn &&
		cut.WantIn-cut.NewCapIn-(reed.Length.In-reed.SleyWidth.In)/2 < minSleyWidthIn:
		return CutPlan{}, leavesNothing(cut)
	case reed.PerInch == 0:
		return CutPlan{}, Question{Ask: "how many dents per inch has the reed (--size)?"}
	case reed.PerInch < minPerInch || reed.PerInch > maxPerInch:
		return CutPlan{}, fmt.Errorf("%s dents per inch: no reed has that; check the number", inchLabel(reed.PerInch))
	case cut.WantIn == 0:
		return CutPlan{}, Question{Ask: "how long may the reed be after the cut?"}
	case reed.Length.In > MaxLengthIn:
		return CutPlan{}, fmt.Errorf("a reed %s long is over 4 m: check the unit", reed.Length)
	case cut.WantIn >= reed.Length.In:
		return CutPlan{}, fmt.Errorf("the reed is %s long already: nothing to cut off for %s", reed.Length, FormatIn(cut.WantIn, 16))
	case reed.SleyWidth.In > reed.Length.In:
		return CutPlan{}, Question{
			Problem: fmt.Sprintf("the sley width, %s, is more than the reed's length, %s", reed.SleyWidth, reed.Length),
			Ask:     "which of the two is wrong?",
		}
	case reed.SleyWidth.In == 0 && cut.KeptCapIn == 0:
		return CutPlan{}, Question{Ask: "how far is it from the first wire to the last? or from the outer face of the kept cap to its first wire?"}
	}
	first := cut.KeptCapIn
	if first == 0 {
		first = (reed.Length.In - reed.SleyWidth.In) / 2
	}
	oldSley := reed.SleyWidth.In
	if oldSley == 0 {
		oldSley = reed.Length.In - 2*first
	}
	pitch := 1 / reed.PerInch
	n := int(math.Floor((cut.WantIn-cut.NewCapIn-first)/pitch + 0.5 + 1e-9))
	wires := int(math.Round(oldSley/pitch)) + 1
	n = min(n, wires-1) // an end cap shorter than what is to go: only the cap would be sawn off
	sley := float64(n-1) * pitch
	if n < 2 || sley < minSleyWidthIn {
		return CutPlan{}, leavesNothing(cut)
	}
	p := CutPlan{
		KeepEnd: reed.StampAt, AfterWire: n, BeforeWire: n + 1,
		FromEndIn:   first + (float64(n)-0.5)*pitch,
		SleyWidthIn: sley, LostSleyIn: oldSley - sley, LostDents: wires - n,
		Clean: reed.Binding.Facts().Clean,
	}
	p.NewLengthIn = p.FromEndIn + cut.NewCapIn
	p.explain(reed, pitch)
	return p, nil
}

func leavesNothing(cut Cut) error {
	return fmt.Errorf("a cut to %s leaves nothing to weave with: under %s between its first and last wire",
		FormatIn(cut.WantIn, 16), FormatIn(minSleyWidthIn, 16))
}

// explain fills in the words.
func (p *CutPlan) explain(reed ReedDims, pitch float64) {
	facts := reed.Binding.Facts()
	end := "the end with the stamped cap"
	if p.KeepEnd != EndUnknown {
		end = "the " + string(p.KeepEnd) + " end, which keeps the stamped cap"
	}
	p.Reason = fmt.Sprintf("cut to %s it sleys %s instead of %s, %d dents less; ",
		FormatIn(p.NewLengthIn, 16), FormatIn(p.SleyWidthIn, 16), FormatIn(p.SleyWidthIn+p.LostSleyIn, 16), p.LostDents)
	if facts.Name == "" {
		p.Reason += facts.Cutting
		p.Question = facts.Tell
	} else {
		p.Reason += facts.Name + ", it " + facts.Cutting
	}
	if p.KeepEnd == EndUnknown {
		which := "which end carries the stamp, so that it is kept?"
		if p.Question != "" {
			which = "Which" + which[len("which"):]
		}
		p.Question = joinQuestions(p.Question, which)
	}
	p.Steps = []string{
		fmt.Sprintf("count wires from %s: the wire next to the cap is 1", end),
		fmt.Sprintf("saw between wires %d and %d, about %s from the outer face of the kept end; count twice, then mark both baulks",
			p.AfterWire, p.BeforeWire, FormatIn(p.FromEndIn, 16)),
		fmt.Sprintf("keep wire %d whole: it is the last one that stays", p.AfterWire),
	}
	if !p.Clean {
		p.Steps = append(p.Steps, "before sawing, whip and glue both baulks on either side of the cut so that the binding can't run")
	}
	p.Steps = append(p.Steps, "file the cut smooth and cap or bind the new end")
	if pitch*openShareOfDent < sawKerfIn {
		p.Cautions = append(p.Cautions, fmt.Sprintf(
			"a saw cuts wider than one dent here: let it take wire %d, never wire %d", p.BeforeWire, p.AfterWire))
	}
	p.Cautions = append(p.Cautions, cuttingCautions(reed.Binding)...)
}
