package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"dentcount/box"
	"dentcount/report"
	"dentcount/shelf"
	"dentcount/trade"
)

func newShelfShowCmd(a *app, f *shelfFlag) *cobra.Command {
	return &cobra.Command{
		Use:   "show ID...",
		Short: "Show all that is known of a part: measured, and said by a person",
		Args:  someIDs("show"),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, ids, err := f.openFor(cmd.Context(), a, args)
			if err != nil {
				return err
			}
			defer s.Close()
			for i, id := range ids {
				if i > 0 {
					a.answerf("\n")
				}
				if err := a.showPart(cmd.Context(), s, id); err != nil {
					return err
				}
			}
			return nil
		},
	}
}

func someIDs(command string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) == 0 {
			return usagef("no id is given").withHint("dentcount shelf %s ID; dentcount shelf list shows the ids", command)
		}
		return nil
	}
}

func (a *app) showPart(ctx context.Context, s *shelf.Shelf, id shelf.ID) error {
	p, err := s.Part(ctx, id)
	if err != nil {
		return err
	}
	photos, ms, err := s.Evidence(ctx, id)
	if err != nil {
		return err
	}
	said, err := s.Decisions(ctx, id)
	if err != nil {
		return err
	}
	line := func(format string, args ...any) { a.answerf("%s\n", report.Printable(fmt.Sprintf(format, args...))) }
	line("%s  %s", p.ID, partInWords(p))
	for _, x := range []struct{ what, is string }{{"name", p.Name}, {"place", p.Place}, {"note", p.Note}, {"came from", p.Origin}} {
		if x.is != "" {
			line("  %s: %s", x.what, x.is)
		}
	}
	for _, x := range []struct {
		what string
		l    shelf.LengthBelief
	}{{"length", p.Length}, {"first to last wire", p.Sley}, {"height", p.Height}} {
		if x.l.By != shelf.ByNobody {
			line("  %s: %s (%s)", x.what, trade.FormatLength(x.l.In), byWords(x.l.By))
		}
	}
	if p.Size.Doubt != "" {
		line("  to settle: %s", report.Sentences(p.Size.Doubt, p.Size.Advice))
	}
	for _, ph := range photos {
		line("  photo: %s", ph.Path)
		for _, m := range ms {
			if m.Photo == ph.SHA256 {
				line("    %s", measuredInWords(m))
			}
		}
	}
	for _, d := range said {
		line("  %s: %s", d.At.Format("2006-01-02"), saidInWords(d))
	}
	return a.writeErr
}

// partInWords is a part with its size: "reed, 12 per inch (47.2 per 10 cm), settled by a person".
func partInWords(p shelf.Part) string {
	words := report.PartName(p.Kind)
	if p.Gone {
		words += " (gone)"
	}
	if p.Size.Label == "" {
		return words + ", size not known"
	}
	big, unit, other := report.SizeBothWays(p.Size.Label, p.Size.System, box.NominalPerInch(p.Size.Size))
	words += ", " + strings.TrimSpace(big+" "+unit) + " (" + other + ")"
	switch {
	case p.Size.By == shelf.ByPerson:
		return words + ", settled by a person"
	case p.Size.Doubt != "":
		return words + " perhaps, not sure"
	}
	return words + ", sure: " + report.Odds(p.Size.Confidence)
}

func byWords(by shelf.By) string {
	if by == shelf.ByPerson {
		return "said by a person"
	}
	return "measured"
}

func measuredInWords(m shelf.Measurement) string {
	words := m.What + ": " + m.Status
	if m.Size.Label != "" {
		words += fmt.Sprintf(", %s (%.3f per inch ± %.3f, confidence %.3f)", m.Size.Label, m.Size.PerInch, 2*m.U, m.Confidence)
	}
	if m.LengthIn > 0 {
		words += fmt.Sprintf(", %s ± %.2f in", trade.FormatLength(m.LengthIn), 2*m.U)
	}
	if m.Reason != "" {
		words += "; " + m.Reason
	}
	return words
}

func saidInWords(d shelf.Decision) string {
	var words string
	switch {
	case d.Withdrawn:
		words = "what was said of the " + d.Field + " was taken back"
	case d.Field == shelf.FieldSize || d.Field == shelf.FieldKind:
		words = d.Field + " settled as " + d.Size.Label
	case d.Field == shelf.FieldGone:
		words = "gone"
	default:
		words = d.Field + " settled as " + trade.FormatLength(d.In)
	}
	if d.Note != "" {
		words += ": " + d.Note
	}
	return words
}

func newShelfDescribeCmd(a *app, f *shelfFlag) *cobra.Command {
	var name, place, note string
	cmd := &cobra.Command{
		Use:     "describe ID",
		Short:   "Give a part a name, a place and a note",
		Example: `  dentcount shelf describe 8FXM-3KP9 --name "the long one" --place "north wall"`,
		Args:    oneArg("the part's id", "dentcount shelf describe ID --name NAME"),
		RunE: func(cmd *cobra.Command, args []string) error {
			ids, err := parseIDs(args)
			if err != nil {
				return err
			}
			given := func(flag string, value *string) *string {
				if cmd.Flags().Changed(flag) {
					return value
				}
				return nil
			}
			n, p, t := given("name", &name), given("place", &place), given("note", &note)
			if n == nil && p == nil && t == nil {
				return usagef("say what to write: --name, --place or --note")
			}
			s, err := f.openThere(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			if err := s.Describe(cmd.Context(), ids[0], n, p, t); err != nil {
				return err
			}
			return a.showPart(cmd.Context(), s, ids[0])
		},
	}
	cmd.Flags().StringVar(&name, "name", "", "what you call it")
	cmd.Flags().StringVar(&place, "place", "", "where it hangs")
	cmd.Flags().StringVar(&note, "note", "", "what else is to be known")
	return cmd
}
