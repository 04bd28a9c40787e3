package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"dentcount/box"
	"dentcount/report"
	"dentcount/shelf"
)

// labelFlags say how labels lie on the paper.
type labelFlags struct {
	paper, grid, cell, margin, roll string
	skip                            int
	cutLines                        bool
	out                             string
}

func newLabelCmd(a *app) *cobra.Command {
	var f shelfFlag
	var lf labelFlags
	var all bool
	cmd := &cobra.Command{
		Use:   "label ID...",
		Short: "Print labels for parts of the shelf, and blank id tags",
		Long: `label makes a PDF of labels to stick or tie on: the size in both systems, the
length, the id and a QR code with it. Say how your label sheet is divided (--grid,
--cell, --margin) or how large the labels of a roll are (--roll). Print at 100 %.

label blank makes id tags to lay in the photo before anything is measured.`,
		Example: `  dentcount label 8FXM-3KP9 3KWT-9PMJ
  dentcount label --all --paper Letter --grid 10x3
  dentcount label 8FXM-3KP9 --roll 62x29 --out label.pdf`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 && !all {
				return usagef("no id is given").withHint("dentcount label ID..., dentcount label --all, or dentcount label blank --n 24")
			}
			if len(args) > 0 && all {
				return usagef("--all and ids at once: give one of the two")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			layout, err := lf.layout(cmd)
			if err != nil {
				return err
			}
			s, ids, err := f.openFor(cmd.Context(), a, args)
			if err != nil {
				return err
			}
			defer s.Close()
			var parts []shelf.Part
			if all {
				if parts, err = s.Find(cmd.Context(), shelf.Query{Sort: shelf.BySize}); err != nil {
					return err
				}
				if len(parts) == 0 {
					return fmt.Errorf("there is no part on the shelf to label; dentcount sort and dentcount shelf add put parts there")
				}
			}
			for _, id := range ids {
				p, err := s.Part(cmd.Context(), id)
				if err != nil {
					return err
				}
				parts = append(parts, p)
			}
			var labels []report.Label
			open := 0
			for _, p := range parts {
				l := box.LabelOf(p)
				if l.SizeLabel == "" {
					open++
				}
				labels = append(labels, l)
			}
			if err := lf.write(a, cmd, counted(len(labels), "label", "labels"), func(w io.Writer) error { return report.LabelsPDF(w, labels, layout) }); err != nil {
				return err
			}
			if open > 0 {
				a.note("%d of %d labels say ? in place of a size that is not settled; dentcount shelf settle ID SIZE settles it", open, len(labels))
			}
			return nil
		},
	}
	f.addTo(cmd)
	fl := cmd.Flags()
	fl.BoolVar(&all, "all", false, "a label for every part on the shelf")
	fl.StringVar(&lf.paper, "paper", "A4", "`PAPER` of the label sheet: A4, A5, Letter, or WIDTHxHEIGHT in mm")
	fl.StringVar(&lf.grid, "grid", "8x3", "`ROWSxCOLUMNS` of labels on a sheet")
	fl.StringVar(&lf.cell, "cell", "", "`WIDTHxHEIGHT` of one label in mm (default: the sheet divided evenly)")
	fl.StringVar(&lf.margin, "margin", "", "`LEFTxTOP` of the first label in mm (default: the labels in the middle)")
	fl.StringVar(&lf.roll, "roll", "", "one label after the other on a roll, `WIDTHxLENGTH` in mm")
	fl.IntVar(&lf.skip, "skip", 0, "leave out the first `N` labels of a sheet that was begun")
	fl.BoolVar(&lf.cutLines, "cut-lines", false, "draw a line around each label, for plain paper")
	lf.addOut(cmd, "labels.pdf")
	cmd.MarkFlagsMutuallyExclusive("roll", "grid")
	cmd.MarkFlagsMutuallyExclusive("roll", "cell")
	cmd.MarkFlagsMutuallyExclusive("roll", "margin")
	cmd.MarkFlagsMutuallyExclusive("roll", "paper")
	cmd.AddCommand(newLabelBlankCmd(a, &f))
	return cmd
}

func (f *labelFlags) addOut(cmd *cobra.Command, file string) {
	cmd.Flags().StringVarP(&f.out, "out", "o", file, "write the PDF into `FILE`; - is standard output")
}

// write writes the PDF. A file that was named is replaced; one under the name
// that nobody gave is not.
func (f *labelFlags) write(a *app, cmd *cobra.Command, what string, fill func(io.Writer) error) error {
	if f.out == stdinName {
		return fill(a.answers())
	}
	if err := writeWhole(f.out, cmd.Flags().Changed("out"), nil, fill); err != nil {
		return err
	}
	a.answerf("%s: %s; print it at 100 %%\n", report.Printable(f.out), what)
	return nil
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

func (f *labelFlags) layout(cmd *cobra.Command) (report.LabelLayout, error) {
	none := report.LabelLayout{}
	if f.roll != "" {
		w, l, err := report.ParseMM2(f.roll)
		if err != nil {
			return none, usagef("--roll: %v", err)
		}
		layout, err := report.RollLayout(w, l)
		if err != nil {
			return none, usagef("--roll: %v", err)
		}
		layout.CutLines = f.cutLines
		return layout, nil
	}
	paper, err := report.ParsePaper(f.paper)
	if err != nil {
		return none, usagef("--paper: %v", err)
	}
	rowText, colText, ok := strings.Cut(strings.ReplaceAll(strings.ToLower(f.grid), "×", "x"), "x")
	rows, errR := strconv.Atoi(strings.TrimSpace(rowText))
	cols, errC := strconv.Atoi(strings.TrimSpace(colText))
	if !ok || errR != nil || errC != nil {
		return none, usagef("--grid %s: say rows and columns, such as 8x3", f.grid)
	}
	var cellW, cellH float64
	left, top := -1.0, -1.0
	if f.cell != "" {
		if cellW, cellH, err = report.ParseMM2(f.cell); err != nil || cellW == 0 || cellH == 0 {
			return none, usagef("--cell %s: say width and height in mm, such as 63.5x38", f.cell)
		}
	}
	if f.margin != "" {
		if left, top, err = report.ParseMM2(f.margin); err != nil {
			return none, usagef("--margin: %v", err)
		}
	}
	layout, err := report.SheetLayout(paper, rows, cols, cellW, cellH, left, top)
	if err != nil {
		return none, usagef("%v", err)
	}
	if f.skip < 0 || f.skip >= rows*cols {
		return none, usagef("--skip %d: a sheet has %d labels", f.skip, rows*cols)
	}
	layout.Skip, layout.CutLines = f.skip, f.cutLines
	return layout, nil
}

func newLabelBlankCmd(a *app, f *shelfFlag) *cobra.Command {
	var lf labelFlags
	var n int
	cmd := &cobra.Command{
		Use:   "blank",
		Short: "Print blank id tags with a scale, to lay in the photo",
		Long: `blank makes id tags to cut out and lay in the photo, flat on the wires beside the
ruler. The QR code names the part, so all photos with one tag are of one part; the
two printed scales, 100 mm and 4 in long, must agree with the ruler. Print at 100 %
and lay a ruler on one scale before use. Tie the tag to the part afterwards.`,
		Example: `  dentcount label blank --n 24 --out tags.pdf`,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			paper, err := report.ParsePaper(lf.paper)
			if err != nil {
				return usagef("--paper: %v", err)
			}
			if n < 1 || n > 10000 {
				return usagef("--n %d: ask for 1 to 10000 tags", n)
			}
			if report.TagsPerPage(paper) == 0 {
				return usagef("--paper %s: no id tag fits on it; take A4 or Letter", lf.paper)
			}
			s, err := f.open(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			ids, err := s.ReserveTags(cmd.Context(), n)
			if err != nil {
				return err
			}
			var tags []report.Tag
			for _, id := range ids {
				tags = append(tags, box.TagOf(id))
			}
			return lf.write(a, cmd, counted(n, "id tag", "id tags"), func(w io.Writer) error { return report.TagsPDF(w, tags, paper) })
		},
	}
	cmd.Flags().IntVar(&n, "n", 12, "how many, `N`")
	cmd.Flags().StringVar(&lf.paper, "paper", "A4", "`PAPER`: A4, Letter, or WIDTHxHEIGHT in mm")
	lf.addOut(cmd, "tags.pdf")
	return cmd
}
