package main

import (
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"dentcount/report"
	"dentcount/trade"
)

func newLoomsCmd(a *app) *cobra.Command {
	var f shelfFlag
	cmd := &cobra.Command{
		Use:   "looms",
		Short: "Keep the looms one owns, to see which parts fit them",
		Long: `looms keeps your looms on the shelf under names of your own, with what their
parts have to fit. Measure them with a tape; a loom called 26 weaves 26 1/2.`,
		RunE: needSubcommand("looms", "list"),
	}
	f.addTo(cmd)
	cmd.AddCommand(newLoomsAddCmd(a, &f), newLoomsListCmd(a, &f), newLoomsShowCmd(a, &f), newLoomsCheckCmd(a, &f), newLoomsRemoveCmd(a, &f))
	return cmd
}

// needSubcommand is the answer to a group of commands called bare.
func needSubcommand(group, example string) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) > 0 {
			return usagef("there is no command %q in dentcount %s", args[0], group).withHint("dentcount %s --help lists what there is", group)
		}
		return usagef("say what to do, for example: dentcount %s %s", group, example).withHint("dentcount %s --help lists what there is", group)
	}
}

// lengthFlag is a length as people write it, "26 1/2 in" or "68 cm"; inches
// inside, 0 where not given.
type lengthFlag float64

func (f *lengthFlag) String() string {
	if *f == 0 {
		return ""
	}
	return report.Inches(float64(*f)) + " in"
}
func (f *lengthFlag) Type() string { return "length" }
func (f *lengthFlag) Set(s string) error {
	in, err := trade.ParseLengthIn(s)
	if err != nil {
		return err
	}
	*f = lengthFlag(in)
	return nil
}

func newLoomsAddCmd(a *app, f *shelfFlag) *cobra.Command {
	var width, span, low, high, bars lengthFlag
	var shafts int
	var replace bool
	cmd := &cobra.Command{
		Use:   "add NAME",
		Short: "Put a loom on the shelf",
		Example: `  dentcount looms add big-blue --width "26 1/2 in" --span "29 1/2 in" --beater-low 4.5in --beater-high 5.5in --bars "10 1/2 in" --shafts 4
  dentcount looms add table --width 60cm --span 68cm`,
		Args: oneArg("the loom's name", "dentcount looms add big-blue --width 26in --span 29in"),
		RunE: func(cmd *cobra.Command, args []string) error {
			l := trade.Loom{Name: strings.TrimSpace(args[0]), WeavingWidthIn: float64(width), ClearSpanIn: float64(span),
				BeaterMinIn: float64(low), BeaterMaxIn: float64(high), HeddleBarSpanIn: float64(bars), Shafts: shafts}
			if shafts < 0 || cmd.Flags().Changed("shafts") && shafts == 0 {
				return usagef("--shafts %d: say how many it has", shafts)
			}
			if low > 0 && high == 0 {
				l.BeaterMaxIn = l.BeaterMinIn
			} else if high > 0 && low == 0 {
				l.BeaterMinIn = l.BeaterMaxIn
			}
			if err := l.Validate(); err != nil {
				return usagef("%v", err)
			}
			s, err := f.open(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			if err := s.AddLoom(cmd.Context(), l, replace); err != nil {
				return err
			}
			a.answerf("%s\n", report.Printable(loomLine(l)))
			for _, q := range openQuestions(l) {
				a.note("%s", q)
			}
			return nil
		},
	}
	fl := cmd.Flags()
	fl.Var(&width, "width", "what it really weaves, `LENGTH` with its unit")
	fl.Var(&span, "span", "clear between the uprights, where the reed goes in, `LENGTH`")
	fl.Var(&low, "beater-low", "lowest reed the beater takes, `LENGTH`")
	fl.Var(&high, "beater-high", "highest reed the beater takes, `LENGTH`")
	fl.Var(&bars, "bars", "bottom edge of the bottom heddle bar to the top edge of the top one, `LENGTH`")
	fl.IntVar(&shafts, "shafts", 0, "how many shafts")
	fl.BoolVar(&replace, "replace", false, "change the figures of a loom that is there already")
	return cmd
}

// openQuestions says what is not known of a loom and will be asked for.
func openQuestions(l trade.Loom) []string {
	var out []string
	ask := func(missing bool, what string) {
		if missing {
			out = append(out, what)
		}
	}
	ask(l.ClearSpanIn == 0, "without --span nobody can say which reeds go in: measure what is clear between the uprights")
	if l.HeddleBarSpanIn > 0 {
		if q := trade.WireHeddle(trade.Length{In: l.HeddleBarSpanIn}, trade.BarSpan).Question; q != "" {
			out = append(out, "--bars: "+q)
		}
	}
	ask(l.WeavingWidthIn == 0, "without --width nobody can say how long a reed should be: measure what the loom really weaves")
	return out
}

// loomLine is a loom in one line.
func loomLine(l trade.Loom) string {
	parts := []string{l.Name + ":"}
	add := func(in float64, words string) {
		if in > 0 {
			parts = append(parts, fmt.Sprintf(words, trade.FormatLength(in))+",")
		}
	}
	add(l.WeavingWidthIn, "weaves %s")
	add(l.ClearSpanIn, "%s clear between the uprights")
	switch {
	case l.BeaterMinIn > 0 && l.BeaterMinIn == l.BeaterMaxIn:
		add(l.BeaterMinIn, "takes reeds %s high")
	case l.BeaterMinIn > 0:
		parts = append(parts, fmt.Sprintf("takes reeds %s to %s high,", trade.FormatIn(l.BeaterMinIn, 16), trade.FormatIn(l.BeaterMaxIn, 16)))
	}
	add(l.HeddleBarSpanIn, "heddle bars %s apart")
	if l.Shafts > 0 {
		parts = append(parts, fmt.Sprintf("%d shafts,", l.Shafts))
	}
	if len(parts) == 1 {
		return l.Name + ": not measured yet"
	}
	return strings.TrimSuffix(strings.Join(parts, " "), ",")
}

func newLoomsListCmd(a *app, f *shelfFlag) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the looms",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := f.openThere(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			looms, err := s.Looms(cmd.Context())
			if err != nil {
				return err
			}
			if asJSON {
				return a.loomsJSON(looms)
			}
			if len(looms) == 0 {
				a.answerf("There is no loom on the shelf.\n")
				a.hint(`dentcount looms add big-blue --width "26 1/2 in" --span "29 1/2 in"`)
				return nil
			}
			w := tabwriter.NewWriter(a.answers(), 0, 0, 2, ' ', 0)
			fmt.Fprintln(w, "LOOM\tWEAVES\tCLEAR\tREED HEIGHT\tHEDDLE BARS\tSHAFTS")
			for _, l := range looms {
				height := lengthOrDash(l.BeaterMinIn)
				if l.BeaterMaxIn != l.BeaterMinIn {
					height += " to " + lengthOrDash(l.BeaterMaxIn)
				}
				shafts := "-"
				if l.Shafts > 0 {
					shafts = fmt.Sprint(l.Shafts)
				}
				fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", report.Printable(l.Name), lengthOrDash(l.WeavingWidthIn), lengthOrDash(l.ClearSpanIn), height, lengthOrDash(l.HeddleBarSpanIn), shafts)
			}
			return w.Flush()
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON object a loom, one per line; lengths in inches")
	return cmd
}

func lengthOrDash(in float64) string {
	if in == 0 {
		return "-"
	}
	return trade.FormatIn(in, 16)
}

func (a *app) loomsJSON(looms []trade.Loom) error {
	for _, l := range looms {
		if err := a.jsonLine(l); err != nil {
			return err
		}
	}
	return nil
}

func newLoomsShowCmd(a *app, f *shelfFlag) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "show NAME",
		Short: "Show a loom, and the reed that uses all of it",
		Args:  oneArg("the loom's name", "dentcount looms show big-blue"),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, l, err := f.openLoom(cmd.Context(), a, args[0])
			if err != nil {
				return err
			}
			defer s.Close()
			if asJSON {
				return a.loomsJSON([]trade.Loom{l})
			}
			a.answerf("%s\n", report.Printable(report.Sentences(loomLine(l))))
			advice := trade.AdviseReedLength(l)
			if s := report.Sentences(advice.Reason, advice.Question); s != "" {
				a.answerf("%s\n", report.Printable(s))
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "as a JSON object; lengths in inches")
	return cmd
}

func newLoomsRemoveCmd(a *app, f *shelfFlag) *cobra.Command {
	return &cobra.Command{
		Use:   "remove NAME",
		Short: "Take a loom off the shelf",
		Args:  oneArg("the loom's name", "dentcount looms remove big-blue"),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, l, err := f.openLoom(cmd.Context(), a, args[0])
			if err != nil {
				return err
			}
			defer s.Close()
			if err := s.RemoveLoom(cmd.Context(), args[0]); err != nil {
				return err
			}
			a.answerf("Taken off the shelf: %s\n", report.Printable(loomLine(l)))
			return nil
		},
	}
}

// oneArg wants just one argument and says what it is.
func oneArg(what, example string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch {
		case len(args) == 0 || strings.TrimSpace(args[0]) == "":
			return usagef("%s is missing", what).withHint("%s", example)
		case len(args) > 1:
			return usagef("one name at a time: %q is too much", args[1]).withHint("put a name with spaces in quotes")
		}
		return nil
	}
}
