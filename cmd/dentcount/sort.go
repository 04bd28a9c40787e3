package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"dentcount/box"
	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
	"dentcount/shelf"
)

// sortFlags are the flags of the sort command.
type sortFlags struct {
	photoFlags
	shelf          shelfFlag
	recursive      bool
	group          string
	jobs           int
	json           bool
	csv, html, pdf string
	paper          string
}

func newSortCmd(a *app) *cobra.Command {
	var f sortFlags
	cmd := &cobra.Command{
		Use:   "sort FOLDER",
		Short: "Sort a box of reeds: measure every photo of a folder, grouped by size",
		Long: `sort measures every photo of a folder, keeps what was measured on the shelf, and
lists the parts by size, those that need a person first, each with what settles it.

It can be stopped at any moment and started again: what was measured is not measured
again. Photos of one part belong together by their names (reed-07-1, reed-07-2), by
sub-folder with --group folder, or by an id tag that lies in the picture (dentcount
label blank prints them).`,
		Example: `  dentcount sort attic
  dentcount sort --recursive --html attic.html --csv attic.csv attic
  dentcount sort --recursive --group folder attic`,
		Args: oneArg("the folder with the photos", "dentcount sort attic"),
		RunE: func(cmd *cobra.Command, args []string) error { return a.sortFolder(cmd, f, args[0]) },
	}
	f.addTo(cmd)
	f.shelf.addTo(cmd)
	fl := cmd.Flags()
	fl.BoolVarP(&f.recursive, "recursive", "r", false, "the photos of all sub-folders, too")
	fl.StringVar(&f.group, "group", "name", "which photos show one part, `BY`: name, folder (each sub-folder one part) or none")
	fl.IntVar(&f.jobs, "jobs", 0, "photos worked on at once (default: one for each core)")
	fl.BoolVar(&f.json, "json", false, "the table as one JSON object")
	fl.StringVar(&f.csv, "csv", "", "write the table into `FILE` for a spreadsheet; - is standard output")
	fl.StringVar(&f.html, "html", "", "write one page with the pictures into `FILE`")
	fl.StringVar(&f.pdf, "pdf", "", "write a sheet with the pictures into `FILE`")
	fl.StringVar(&f.paper, "paper", "A4", "`PAPER` of the PDF: A4, Letter, or WIDTHxHEIGHT in mm")
	return cmd
}

func (a *app) sortFolder(cmd *cobra.Command, f sortFlags, folder string) error {
	ctx := cmd.Context()
	by := map[string]box.GroupBy{"name": box.ByName, "folder": box.ByFolder, "none": box.Apart}[f.group]
	paper, err := report.ParsePaper(f.paper)
	switch {
	case by == "":
		return usagef("--group %s: photos belong together by name, folder or none", f.group)
	case by == box.ByFolder && !f.recursive:
		return usagef("--group folder needs --recursive: without it no photo of a sub-folder is looked at").withHint("dentcount sort --recursive --group folder %s", folder)
	case f.jobs < 0 || f.jobs > 256:
		return usagef("--jobs %d: say 1 to 256", f.jobs)
	case err != nil:
		return usagef("--paper: %v", err)
	}
	for _, flag := range []string{"csv", "html", "pdf"} {
		if cmd.Flags().Changed(flag) && cmd.Flags().Lookup(flag).Value.String() == "" {
			return usagef("--%s: the name of the file is empty", flag).withHint("is a variable in your script empty?")
		}
	}
	s, err := f.shelf.open(ctx, a)
	if err != nil {
		return err
	}
	defer s.Close()

	steps := a.sortSteps(folder)
	out, err := box.Sort(ctx, s, folder, box.Options{
		Recursive: f.recursive, Group: by, Jobs: f.jobs, Measure: a.measure, Version: measure.Version, Facts: f.options(), Progress: steps.step,
	})
	steps.end()
	if err != nil {
		if errors.Is(err, ctx.Err()) && ctx.Err() != nil {
			a.note("%d of %d photos are done and kept on the shelf; run the same again to go on from there", steps.done, out.Photos)
		}
		return err
	}
	for _, sk := range out.Skipped {
		a.fault(filepath.Join(folder, sk.Name), errors.New(sk.Why))
	}
	if out.Photos == 0 {
		return fmt.Errorf("%s: there is no photo in it (JPEG, PNG, WebP, HEIC or TIFF); with --recursive its sub-folders are searched, too", folder)
	}
	if err := a.writeSheets(ctx, f, paper, s, folder, out); err != nil {
		return err
	}
	a.tally.faults += out.Faults
	for _, r := range out.Sheet.Rows {
		if r.State == report.RowUnsure || r.State == report.RowRefused {
			a.doubt()
		}
	}
	return nil
}

// writeSheets writes the table in every form that was asked for. One that
// cannot be written is a fault; the others are written all the same.
func (a *app) writeSheets(ctx context.Context, f sortFlags, paper report.Paper, s *shelf.Shelf, folder string, out box.Outcome) error {
	shelfFile, err := f.shelf.path(a)
	if err != nil {
		return err
	}
	guard := append([]string{shelfFile}, sheetPhotos(folder, out.Sheet)...)
	onStdout := false
	for _, w := range []struct {
		file string
		fill func(io.Writer) error
	}{
		{f.csv, func(w io.Writer) error { return report.SheetCSV(w, out.Sheet, shelf.EscapeCell) }},
		{f.html, func(w io.Writer) error { return report.SheetHTML(w, out.Sheet) }},
		{f.pdf, func(w io.Writer) error { return report.SheetPDF(w, out.Sheet, paper) }},
	} {
		switch w.file {
		case "":
		case stdinName:
			onStdout = true
			if err := w.fill(a.answers()); err != nil {
				return err
			}
		default:
			if err := writeWhole(w.file, true, guard, w.fill); err != nil {
				if ctx.Err() != nil {
					return ctx.Err()
				}
				a.fault("", err)
			}
		}
	}
	switch {
	case f.json:
		return report.SheetJSON(a.answers(), out.Sheet)
	case onStdout:
		return nil
	}
	return report.SheetText(a.answers(), out.Sheet)
}

func sheetPhotos(folder string, s report.Sheet) []string {
	var files []string
	for _, r := range s.Rows {
		for _, p := range r.Photos {
			if filepath.IsAbs(p.Name) {
				files = append(files, p.Name)
			} else {
				files = append(files, filepath.Join(folder, p.Name))
			}
		}
	}
	return files
}

// sortProgress tells how far a sort is: a bar on a terminal, else a line a photo.
type sortProgress struct {
	a      *app
	folder string
	bar    *progressbar.ProgressBar
	done   int
}

func (a *app) sortSteps(folder string) *sortProgress { return &sortProgress{a: a, folder: folder} }

func (p *sortProgress) step(s box.Step) {
	p.done = s.Done
	if !p.a.progress() {
		p.a.errLine(fmt.Sprintf("%d of %d: %s: %s", s.Done, s.Total, s.Name, stepInWords(s)))
		return
	}
	if p.bar == nil {
		p.bar = progressbar.NewOptions(s.Total,
			progressbar.OptionSetWriter(p.a.stderr), progressbar.OptionSetDescription("photos"), progressbar.OptionShowCount(),
			progressbar.OptionSetPredictTime(true), progressbar.OptionClearOnFinish(), progressbar.OptionSetWidth(30))
	}
	if s.Err != nil {
		p.bar.Clear()
		p.a.printFault(filepath.Join(p.folder, s.Name), s.Err)
	}
	p.bar.Set(s.Done)
}

// end clears the bar away.
func (p *sortProgress) end() {
	if p.bar != nil {
		p.bar.Clear()
	}
}

func stepInWords(s box.Step) string {
	switch {
	case s.Err != nil:
		var bad *photo.Error
		if errors.As(s.Err, &bad) { // without its name, which was said
			return report.Sentences(bad.Problem, bad.Advice)
		}
		return s.Err.Error()
	case s.Known:
		return s.Says + " (known)"
	}
	return s.Says
}
