package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"dentcount/report"
	"dentcount/shelf"
	"dentcount/trade"
)

// settleFlags are what a person says about a part besides its size.
type settleFlags struct {
	length, sley, height lengthFlag
	part                 string
	note                 string
}

func (f *settleFlags) addTo(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.Var(&f.length, "length", "its length as measured by hand, `LENGTH` with its unit")
	fl.Var(&f.sley, "sley-width", "from the first wire to the last, `LENGTH`")
	fl.Var(&f.height, "height", "over both baulks, `LENGTH`")
	fl.StringVar(&f.note, "note", "", "why, or how it was found out")
}

// decisions is what the flags say of a part.
func (f *settleFlags) decisions() []shelf.Decision {
	var out []shelf.Decision
	for _, x := range []struct {
		field string
		in    lengthFlag
	}{{shelf.FieldLength, f.length}, {shelf.FieldSley, f.sley}, {shelf.FieldHeight, f.height}} {
		if x.in > 0 {
			out = append(out, shelf.Decision{Field: x.field, In: float64(x.in), Note: f.note})
		}
	}
	if f.part != "" {
		out = append(out, shelf.Decision{Field: shelf.FieldKind, Size: shelf.Size{Label: f.part}, Note: f.note})
	}
	return out
}

func newShelfSettleCmd(a *app, f *shelfFlag) *cobra.Command {
	var set settleFlags
	var gone bool
	var undo string
	cmd := &cobra.Command{
		Use:   "settle ID [SIZE]",
		Short: "Say what a part is; it counts, and what was measured is kept beside it",
		Long: `settle records your own word about a part: its dent size, a length, what it is,
or that it is gone. It counts from then on. What was measured is kept beside it and
comes back with --undo.`,
		Example: `  dentcount shelf settle 8FXM-3KP9 12
  dentcount shelf settle 8FXM-3KP9 40/10 --note "stamped on the cap"
  dentcount shelf settle 8FXM-3KP9 --length "26 1/2 in" --height 12cm
  dentcount shelf settle 8FXM-3KP9 --undo size`,
		Args: someIDs("settle"),
		RunE: func(cmd *cobra.Command, args []string) error {
			ids, err := parseIDs(args[:1])
			if err != nil {
				return err
			}
			ds := set.decisions()
			if len(args) > 1 {
				m, err := trade.ParseSize(strings.Join(args[1:], " ")) // 12 1/2 without quotes
				if err != nil {
					return usagef("%v", err)
				}
				ds = append(ds, shelf.Decision{Field: shelf.FieldSize, Size: shelf.Size{Label: m.Label, System: m.System, PerInch: m.PerInch}, Note: set.note})
				if m.Source == "" {
					a.note("%s is in no table of made sizes; it is taken as you say", m.Label)
				}
			}
			if gone {
				ds = append(ds, shelf.Decision{Field: shelf.FieldGone, Note: set.note})
			}
			if undo != "" {
				fields := []string{shelf.FieldSize, shelf.FieldLength, shelf.FieldSley, shelf.FieldHeight, shelf.FieldKind, shelf.FieldGone}
				field := undo
				if field == "part" {
					field = shelf.FieldKind
				}
				if !slices.Contains(fields, field) {
					return usagef("--undo %s: there is no such word to take back", undo).withHint("one of size, length, sley-width, height, part, gone")
				}
				ds = append(ds, shelf.Decision{Field: field, Withdrawn: true, Note: set.note})
			}
			if len(ds) == 0 {
				return usagef("say what it is: a size, or one of the flags").withHint("dentcount shelf settle %s 12", ids[0])
			}
			s, err := f.openThere(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			for i := range ds {
				ds[i].Part = ids[0]
			}
			p, err := s.SettleAll(cmd.Context(), ds)
			if err != nil {
				return err
			}
			a.answerf("%s\n", report.Printable(settledInWords(p)))
			return nil
		},
	}
	set.addTo(cmd)
	cmd.Flags().StringVar(&set.part, "part", "", "what it is, `PART`: reed or rigid-heddle")
	cmd.Flags().BoolVar(&gone, "gone", false, "it was sold, broken or given away")
	cmd.Flags().StringVar(&undo, "undo", "", "take back what was said of `FIELD`: size, length, sley-width, height, part or gone")
	return cmd
}

// settledInWords is a part in one line after something was said of it.
func settledInWords(p shelf.Part) string {
	parts := []string{p.ID.String() + "  " + partInWords(p)}
	for _, x := range []struct {
		l     shelf.LengthBelief
		words string
	}{{p.Length, "%s long"}, {p.Sley, "%s from first to last wire"}, {p.Height, "%s high"}} {
		if x.l.By != shelf.ByNobody {
			parts = append(parts, fmt.Sprintf(x.words, trade.FormatIn(x.l.In, 16)))
		}
	}
	return strings.Join(parts, ", ")
}

func newShelfAddCmd(a *app, f *shelfFlag) *cobra.Command {
	var set settleFlags
	var p shelf.Part
	var size sizeFlag
	var id string
	cmd := &cobra.Command{
		Use:   "add",
		Short: "Put a part on the shelf without a photo",
		Example: `  dentcount shelf add --size 12 --length "26 1/2 in" --name "the long one"
  dentcount shelf add --size 30/10 --part rigid-heddle --id 8FXM-3KP9`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if id != "" {
				ids, err := parseIDs([]string{id})
				if err != nil {
					return err
				}
				p.ID = ids[0]
			}
			ds := set.decisions()
			if size.Label != "" {
				ds = append(ds, shelf.Decision{Field: shelf.FieldSize, Size: shelf.Size(size), Note: set.note})
			}
			s, err := f.open(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			made, err := s.AddSettled(cmd.Context(), p, ds)
			if err != nil {
				return err
			}
			a.answerf("%s\n", report.Printable(settledInWords(made)))
			return nil
		},
	}
	set.addTo(cmd)
	fl := cmd.Flags()
	fl.Var(&size, "size", "its dent `SIZE`, such as 12 or 40/10")
	fl.StringVar(&p.Kind, "part", trade.PartReed, "what it is, `PART`: reed or rigid-heddle")
	fl.StringVar(&p.Name, "name", "", "what you call it")
	fl.StringVar(&p.Place, "place", "", "where it hangs")
	fl.StringVar(&id, "id", "", "the `ID` on the tag that is tied to it (default: a new one)")
	return cmd
}
