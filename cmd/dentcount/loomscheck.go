package main

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
	"dentcount/shelf"
	"dentcount/trade"
)

// checkFlags are what a person says of a part for looms check.
type checkFlags struct {
	length, height, sley lengthFlag
	part, measured       string
	above                signedMMFlag
	binding, stamp       string
	size                 sizeFlag
	json                 bool
}

func newLoomsCheckCmd(a *app, f *shelfFlag) *cobra.Command {
	var c checkFlags
	cmd := &cobra.Command{
		Use:   "check LOOM [PART-or-PHOTO]",
		Short: "Say whether a reed or heddle fits a loom, fits after a cut, or does not fit",
		Long: `check holds a reed or a heddle against a loom of the shelf, with the uncertainty of
both in view. It is a part of the shelf, by its id; or a photo with a ruler along
it, in which its length is measured; or what you say of it yourself. A photo shows
a reed, or what --part says.

Exit status 0: it fits. 3: it does not, must be cut, or must be measured again.`,
		Example: `  dentcount looms check big-blue 8RWX-69HX
  dentcount looms check big-blue reed.jpg --height 5in
  dentcount looms check big-blue --length "29.4 in" --height "4 3/4 in"
  dentcount looms check big-blue --part wire-heddle --length "10 3/4 in"`,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) == 0 || strings.TrimSpace(args[0]) == "":
				return usagef("the loom's name is missing").withHint("dentcount looms check big-blue 8RWX-69HX")
			case len(args) == 1 && c.length == 0:
				return usagef("say what to check: a part's id, a photo, or --length").withHint("dentcount looms check %s --length 27in", args[0])
			case len(args) > 2:
				return usagef("one part at a time: %q is too much", args[2])
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			s, loom, err := f.openLoom(cmd.Context(), a, args[0])
			if err != nil {
				return err
			}
			defer s.Close()
			kind, err := c.kind(cmd.Context(), s, args[1:])
			if err != nil {
				return err
			}
			if kind != trade.PartReed {
				h, err := c.heddle(cmd.Context(), a, s, kind, args[1:])
				if err != nil {
					return err
				}
				return a.tellVerdict(loom, h.Length, trade.FitHeddle(loom, h), c.json)
			}
			reed, err := c.reed(cmd.Context(), a, s, args[1:])
			if err != nil {
				return err
			}
			return a.tellVerdict(loom, reed.Length, trade.FitReed(loom, reed), c.json)
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&c.part, "part", "", "the `PART`: "+strings.Join(trade.OrderKinds(), ", ")+" (default: what the shelf says, or a reed)")
	fl.StringVar(&c.measured, "measured", "", "what --length of a wire heddle is: of the `heddle` itself, end to end, or over the bars it hung on (bars)")
	fl.Var(&c.length, "length", "the reed's length, outer face of one end cap to the other, or the heddle's, `LENGTH`")
	fl.Var(&c.height, "height", "its height over both baulks, `LENGTH`")
	fl.Var(&c.sley, "sley-width", "first wire to last, `LENGTH`")
	fl.Var(&c.size, "size", "its dent `SIZE`: 10, 12 1/2, 40/10")
	fl.StringVar(&c.stamp, "stamp", "", "the end whose cap carries the stamp: left or right")
	fl.StringVar(&c.binding, "binding", "", "how it is bound: resin, pitch, wire or solder")
	fl.Var(&c.above, "marks-above", "how far the ruler's marks lie above the reed in the photo, in `MM`; negative: below")
	fl.BoolVar(&c.json, "json", false, "as a JSON object; lengths in inches")
	return cmd
}

// reed is what is known of the reed: from the shelf or a photo, and what a
// person says over it.
func (c checkFlags) reed(ctx context.Context, a *app, s *shelf.Shelf, what []string) (trade.ReedDims, error) {
	var r trade.ReedDims
	if len(what) == 1 {
		var err error
		if id, idErr := shelf.ParseID(what[0]); idErr == nil {
			r, err = shelfReed(ctx, s, id)
		} else {
			r, err = a.photoReed(ctx, what[0], c.above)
		}
		if err != nil {
			return r, err
		}
	}
	for _, said := range []struct {
		in lengthFlag
		to *trade.Length
	}{{c.length, &r.Length}, {c.height, &r.Height}, {c.sley, &r.SleyWidth}} {
		if said.in > 0 {
			*said.to = trade.Length{In: float64(said.in)}
		}
	}
	if c.size.Label != "" {
		r.Label, r.PerInch = c.size.Label, c.size.PerInch
	}
	switch c.stamp {
	case "":
	case "left", "right":
		r.StampAt = trade.End(c.stamp)
	default:
		return r, usagef("--stamp %s: it is left or right, as the reed lies before you with the stamp readable", c.stamp)
	}
	if c.binding != "" {
		r.Binding = trade.Binding(c.binding)
		if !r.Binding.Known() {
			return r, usagef("--binding %s: it is resin, pitch, wire or solder", c.binding)
		}
	}
	return r, nil
}

// kind is what is held against the loom: as a person says, else as the shelf says.
func (c checkFlags) kind(ctx context.Context, s *shelf.Shelf, what []string) (string, error) {
	kind := c.part
	if kind != "" && !slices.Contains(trade.OrderKinds(), kind) {
		return "", usagef("--part %s: say %s", kind, strings.Join(trade.OrderKinds(), ", "))
	}
	if c.measured != "" && c.measured != "heddle" && c.measured != "bars" {
		return "", usagef("--measured %s: say heddle or bars", c.measured)
	}
	if len(what) == 1 {
		if id, err := shelf.ParseID(what[0]); err == nil {
			p, err := s.Part(ctx, id)
			if err != nil {
				return "", err
			}
			if kind != "" && p.Kind != "" && p.Kind != kind {
				return "", usagef("--part %s: the shelf says that %s is a %s", kind, id, report.PartName(p.Kind))
			}
			if kind == "" {
				kind = p.Kind
			}
		}
	}
	if kind == "" {
		kind = trade.PartReed
	}
	return kind, nil
}

// heddle is what is known of a heddle: from the shelf or a photo, and what a
// person says over it.
func (c checkFlags) heddle(ctx context.Context, a *app, s *shelf.Shelf, kind string, what []string) (trade.HeddleDims, error) {
	h := trade.HeddleDims{Kind: kind}
	switch c.measured {
	case "heddle":
		h.LengthIs = trade.HeddleLength
	case "bars":
		h.LengthIs = trade.BarSpan
	}
	if len(what) == 1 {
		if id, err := shelf.ParseID(what[0]); err == nil {
			p, err := s.Part(ctx, id)
			if err != nil {
				return h, err
			}
			h.Length = trade.Length{In: p.Length.In, U: p.Length.U}
		} else if err := a.photoHeddle(ctx, what[0], c.above, &h); err != nil {
			return h, err
		}
	}
	if c.length > 0 {
		h.Length = trade.Length{In: float64(c.length)}
	}
	return h, nil
}

// photoHeddle measures the length of the heddle in a photo. One that cannot be
// measured is an error with what to do.
func (a *app) photoHeddle(ctx context.Context, name string, above signedMMFlag, h *trade.HeddleDims) error {
	p, err := a.openPhoto(ctx, name, photo.Limits{})
	if err != nil {
		return err
	}
	defer p.Close()
	opt := measure.LengthOptions{What: map[string]measure.What{
		trade.PartWireHeddle: measure.WireHeddle, trade.PartStringHeddle: measure.StringHeddle, trade.PartRigidHeddle: measure.HeddleWidth,
	}[h.Kind]}
	if h.LengthIs == trade.BarSpan && h.Kind == trade.PartWireHeddle {
		opt.What = measure.HeddleBarSpan
	} else {
		h.LengthIs = trade.HeddleLength
	}
	if above.set {
		opt.MarksAboveMM = &above.value
	}
	r, err := measure.Length(ctx, p, opt)
	if err != nil {
		return err
	}
	if r.Length == nil {
		return fmt.Errorf("the length cannot be told from %s: %s; %s", name, r.Reason, r.Advice)
	}
	h.Length = trade.Length{In: r.Length.In, U: r.Length.U}
	if r.Status != measure.Answered {
		a.note("%s: %s", r.Reason, r.Advice)
		h.Length.U += unsureEndIn
	}
	return nil
}

// unsureEndIn is added to the uncertainty of a length of which it is not certain
// that the right ends were found: what may be another edge altogether is known no
// better than a cap's width, in inches.
const unsureEndIn = 0.3

// shelfReed is a reed of the shelf.
func shelfReed(ctx context.Context, s *shelf.Shelf, id shelf.ID) (trade.ReedDims, error) {
	p, err := s.Part(ctx, id)
	if err != nil {
		return trade.ReedDims{}, err
	}
	if p.Kind != "" && p.Kind != trade.PartReed {
		return trade.ReedDims{}, fmt.Errorf("%s is a %s, not a reed", id, report.PartName(p.Kind))
	}
	length := func(l shelf.LengthBelief) trade.Length { return trade.Length{In: l.In, U: l.U} }
	return trade.ReedDims{
		Label: p.Size.Label, PerInch: p.Size.PerInch,
		Length: length(p.Length), Height: length(p.Height), SleyWidth: length(p.Sley),
	}, nil
}

// photoReed measures the length of the reed in a photo and, where they are seen,
// its sley width and dents. One that cannot be measured is an error with what to
// do.
func (a *app) photoReed(ctx context.Context, name string, above signedMMFlag) (trade.ReedDims, error) {
	p, err := a.openPhoto(ctx, name, photo.Limits{})
	if err != nil {
		return trade.ReedDims{}, err
	}
	defer p.Close()
	kept, err := measure.Keep(p)
	if err != nil {
		return trade.ReedDims{}, err
	}
	opt := measure.LengthOptions{What: measure.ReedLength}
	if above.set {
		opt.MarksAboveMM = &above.value
	}
	r, err := kept.Length(ctx, opt, p.Colour)
	if err != nil {
		return trade.ReedDims{}, err
	}
	if r.Length == nil {
		return trade.ReedDims{}, fmt.Errorf("the reed's length cannot be told from %s: %s; %s", name, r.Reason, r.Advice)
	}
	for _, w := range r.Warnings {
		a.note("%s", w)
	}
	l := trade.Length{In: r.Length.In, U: r.Length.U}
	if r.Status != measure.Answered {
		a.note("%s: %s", r.Reason, r.Advice)
		l.U += unsureEndIn
	}
	dims := trade.ReedDims{Length: l}
	opt.What = measure.SleyWidth
	sley, err := kept.Length(ctx, opt, p.Colour)
	if err != nil {
		return dims, err
	}
	if sley.Status == measure.Answered && sley.Wires > 1 {
		dims.SleyWidth = trade.Length{In: sley.Length.In, U: sley.Length.U}
		dims.PerInch = float64(sley.Wires-1) / sley.Length.In
	}
	return dims, nil
}

// verdictJSON is the answer of looms check for scripts.
type verdictJSON struct {
	Schema      int          `json:"schema"`
	Loom        string       `json:"loom"`
	Verdict     string       `json:"verdict"`
	Probability float64      `json:"probability"`
	Length      trade.Length `json:"length"`
	UsableIn    float64      `json:"usable_in"`
	Unchecked   []string     `json:"unchecked"`
	Reason      string       `json:"reason"`
	Question    string       `json:"question"`
	Cut         *cutJSON     `json:"cut,omitempty"`
	Cautions    []string     `json:"cautions"`
}

type cutJSON struct {
	AfterWire   int     `json:"after_wire"`
	KeepEnd     string  `json:"keep_end"`
	FromEndIn   float64 `json:"from_end_in"`
	NewLengthIn float64 `json:"new_length_in"`
	LostSleyIn  float64 `json:"lost_sley_in"`
}

func (a *app) tellVerdict(loom trade.Loom, length trade.Length, v trade.Verdict, asJSON bool) error {
	if v.Kind != trade.Fits || len(v.Unchecked) > 0 {
		a.doubt()
	}
	if asJSON {
		out := verdictJSON{
			Schema: 1, Loom: loom.Name, Verdict: string(v.Kind), Probability: v.Probability, Length: length,
			UsableIn: v.UsableIn, Unchecked: append([]string{}, v.Unchecked...), Reason: v.Reason, Question: v.Question,
			Cautions: append([]string{}, v.Cautions...),
		}
		if v.Cut != nil {
			out.Cut = &cutJSON{v.Cut.AfterWire, string(v.Cut.KeepEnd), v.Cut.FromEndIn, v.Cut.NewLengthIn, v.Cut.LostSleyIn}
		}
		enc := json.NewEncoder(a.answers())
		enc.SetEscapeHTML(false)
		return enc.Encode(out)
	}
	words := map[trade.VerdictKind]string{
		trade.Fits: "fits", trade.FitsAfterCut: "fits after a cut", trade.DoesNotFit: "does not fit", trade.MeasureAgain: "not certain",
	}
	a.answerf("%s: %s\n", report.Printable(loom.Name), report.Printable(report.Sentences(words[v.Kind], v.Reason, v.Question)))
	if v.Cut != nil {
		for i, step := range v.Cut.Steps {
			a.answerf("  %d. %s\n", i+1, report.Printable(step))
		}
	}
	for _, c := range v.Cautions {
		a.answerf("  Caution: %s\n", report.Printable(c))
	}
	return nil
}
