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

func newShelfCmd(a *app) *cobra.Command {
	var f shelfFlag
	cmd := &cobra.Command{
		Use:   "shelf",
		Short: "Find, settle and keep the parts one owns",
		Long: `shelf keeps what you own: each part with its size and length, the photos it was
measured in, and what you yourself said about it. What you say is kept beside what
was measured, and counts.`,
		RunE: needSubcommand("shelf", "list"),
	}
	f.addTo(cmd)
	cmd.AddCommand(newShelfListCmd(a, &f), newShelfShowCmd(a, &f), newShelfAddCmd(a, &f), newShelfSettleCmd(a, &f), newShelfDescribeCmd(a, &f),
		newShelfForCmd(a, &f), newShelfOrdersCmd(a, &f), newShelfExportCmd(a, &f), newShelfImportCmd(a, &f), newShelfBackupCmd(a, &f))
	return cmd
}

// sizeFlag is a dent size as people write it; the zero value: not given.
type sizeFlag shelf.Size

func (f *sizeFlag) String() string { return f.Label }
func (f *sizeFlag) Type() string   { return "size" }
func (f *sizeFlag) Set(s string) error {
	m, err := trade.ParseSize(s)
	if err != nil {
		return err
	}
	*f = sizeFlag(shelf.Size{Label: m.Label, System: m.System, PerInch: m.PerInch})
	return nil
}

// rangeFlag is a length, or two of them with ".." between: "26in..28in".
type rangeFlag struct{ shelf.Range }

func (f *rangeFlag) String() string {
	if f.Max == 0 {
		return ""
	}
	return report.Inches(f.Min) + " in.." + report.Inches(f.Max) + " in"
}
func (f *rangeFlag) Type() string { return "lengths" }
func (f *rangeFlag) Set(s string) error {
	from, to, isRange := strings.Cut(s, "..")
	lo, err := trade.ParseLengthIn(from)
	if err != nil {
		return err
	}
	if !isRange {
		// A length by hand is good to a quarter of an inch or so.
		const near = 0.25
		f.Range = shelf.Range{Min: lo - near, Max: lo + near}
		return nil
	}
	hi, err := trade.ParseLengthIn(to)
	if err != nil {
		return err
	}
	if hi < lo {
		return fmt.Errorf("%q goes from long to short: write the shorter one first", s)
	}
	f.Range = shelf.Range{Min: lo, Max: hi}
	return nil
}

func newShelfListCmd(a *app, f *shelfFlag) *cobra.Command {
	var q shelf.Query
	var size sizeFlag
	var length, height rangeFlag
	var loom, sort string
	var doubtful, sure, asJSON bool
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the parts on the shelf, the doubtful ones first",
		Example: `  dentcount shelf list --size 12
  dentcount shelf list --length "26in..28in" --text "north wall"
  dentcount shelf list --loom big-blue`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			orders := map[string]shelf.Sort{"": shelf.DoubtfulFirst, "size": shelf.BySize, "length": shelf.ByLength, "age": shelf.ByAge}
			order, ok := orders[sort]
			if !ok {
				return usagef("--sort %s: sort by size, length or age", sort)
			}
			if q.Limit < 0 {
				return usagef("--limit %d: say how many, or 0 for all", q.Limit)
			}
			s, err := f.openThere(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			q.Size, q.Length, q.Height, q.Sort = shelf.Size(size), length.Range, height.Range, order
			if doubtful {
				q.Only = shelf.OnlyDoubtful
			} else if sure {
				q.Only = shelf.OnlySure
			}
			if loom != "" {
				l, err := s.Loom(cmd.Context(), loom)
				if err != nil {
					return err
				}
				q.Fits = &shelf.LoomRoom{MaxLength: l.ClearSpanIn, MinHeight: l.BeaterMinIn, MaxHeight: l.BeaterMaxIn}
				if q.Kind == "" {
					q.Kind = trade.PartReed
				}
			}
			return a.listParts(cmd.Context(), s, q, asJSON)
		},
	}
	fl := cmd.Flags()
	fl.Var(&size, "size", "of this `SIZE`, and the doubtful ones that could be")
	fl.Var(&length, "length", "about this long, or from .. to, `LENGTH[..LENGTH]`")
	fl.Var(&height, "height", "about this high, or from .. to, `LENGTH[..LENGTH]`")
	fl.StringVar(&loom, "loom", "", "reeds that go into this loom, as far as they are measured")
	fl.StringVar(&q.Kind, "part", "", "only this `PART`, such as reed or rigid-heddle")
	fl.StringVar(&q.Text, "text", "", "with this `TEXT` in the name, the place or the note")
	fl.BoolVar(&doubtful, "doubtful", false, "only those to settle")
	fl.BoolVar(&sure, "sure", false, "only those that need no settling")
	fl.BoolVar(&q.WithGone, "gone", false, "those that are gone, too")
	fl.StringVar(&sort, "sort", "", "by `ORDER`: size, length or age (default: the doubtful ones first, then by size)")
	fl.IntVar(&q.Limit, "limit", 200, "at most so many; 0 for all")
	fl.BoolVar(&asJSON, "json", false, "one JSON object a part, one per line")
	cmd.MarkFlagsMutuallyExclusive("doubtful", "sure")
	return cmd
}

func (a *app) listParts(ctx context.Context, s *shelf.Shelf, q shelf.Query, asJSON bool) error {
	parts, err := s.Find(ctx, q)
	if err != nil {
		return err
	}
	all := len(parts)
	if q.Limit > 0 && all == q.Limit {
		if all, err = s.Count(ctx, q); err != nil {
			return err
		}
	}
	sheet := report.Sheet{}
	for _, p := range parts {
		row := box.Row(p)
		if row.Name == "" {
			row.Name = orElse(p.Place, p.Origin)
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	if asJSON {
		err = report.SheetLines(a.answers(), sheet)
	} else {
		if q.Sort == shelf.DoubtfulFirst {
			sheet.Sort() // puts one size together; the shelf gave them by what was measured
		}
		err = report.SheetText(a.answers(), sheet)
	}
	if all > len(parts) {
		a.note("%d of %d are shown; --limit 0 shows all", len(parts), all)
	}
	return err
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}
