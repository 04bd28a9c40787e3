package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"time"

	"github.com/spf13/cobra"

	"dentcount/box"
	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
)

// measureFlags are the flags of the measure command.
type measureFlags struct {
	photoFlags
	json       bool
	explain    bool
	samePart   bool
	overlayDir string
	debugDir   string
}

func newMeasureCmd(a *app) *cobra.Command {
	var f measureFlags
	cmd := &cobra.Command{
		Use:   "measure PHOTO...",
		Short: "Tell the dent size of the reed or rigid heddle in each photo",
		Long: `measure tells the dent size of the reed or rigid heddle in each photo, how sure
it is, and the line to order by. A photo it cannot read is refused, with what to
do about it.

The ruler lies across the wires with its marked edge over them, and the photo is
taken from straight above. A thick ruler lies nearer to the camera than the wires
and makes the count too high: tell its thickness where two sizes are close.

With --same-part all photos are of one part under one ruler: after the answer of
each comes that of all together. Take them from clearly different distances, and
the ruler's thickness need not be told. The exit status is that of the answer
together.

- reads one photo from standard input.`,
		Example: `  dentcount measure reed.jpg
  dentcount measure --same-part near.jpg far.jpg
  dentcount measure --ruler-thickness 1.5 --explain reed.jpg
  dentcount measure --json --overlay checked *.jpg > sizes.ndjson`,
		Args: func(_ *cobra.Command, args []string) error { return needPhotos(a, "measure", args) },
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkDirs(cmd, "overlay", "debug-dir"); err != nil {
				return err
			}
			if f.samePart && len(args) < 2 {
				return usagef("--same-part puts photos of one part together, and only one is named").
					withHint("dentcount measure --same-part near.jpg far.jpg")
			}
			return a.measureAll(cmd.Context(), f, args)
		},
	}
	f.addTo(cmd)
	flags := cmd.Flags()
	flags.BoolVar(&f.json, "json", false, "one JSON object a photo, one per line")
	flags.BoolVar(&f.explain, "explain", false, "say line by line where the uncertainty comes from")
	flags.BoolVar(&f.samePart, "same-part", false, "all photos are of one part: answer them together, too")
	flags.StringVar(&f.overlayDir, "overlay", "", "write a picture with the evidence drawn in for each photo into `DIR`")
	flags.StringVar(&f.debugDir, "debug-dir", "", "write pictures and times of every stage into `DIR`")
	cmd.MarkFlagsMutuallyExclusive("json", "explain")
	return cmd
}

// measureAll answers the photos in the order given. A fault with one is told
// and counted, and the next one is taken.
func (a *app) measureAll(ctx context.Context, f measureFlags, names []string) error {
	overlays := report.NewOverlayWriter(f.overlayDir, names)
	how := a.measure
	var readings []measure.Reading
	if f.samePart {
		how = keeping(&readings)
	}
	for i, name := range names {
		opt := f.options()
		opt.DebugDir = debugDirOf(f.debugDir, i, len(names))
		r, err := a.measureOne(ctx, name, opt, how, f.overlayDir != "", overlays)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil {
			err = a.printResult(f, r)
		}
		if a.writeErr != nil {
			return a.writeErr
		}
		switch {
		case err != nil:
			a.fault(name, err)
			if f.json {
				// Scripts get one line a photo, whatever happened to it.
				if err := report.JSON(a.answers(), faultResult(name, err)); err != nil {
					return err
				}
			}
		case r.Status != measure.Answered && !f.samePart:
			a.doubt()
		}
	}
	if !f.samePart {
		return nil
	}
	return a.answerTogether(f, readings)
}

// measureOne opens and measures one photo and stores its overlay. A fault of
// the overlay is told and counted here: the answer stands without it.
func (a *app) measureOne(ctx context.Context, name string, opt measure.Options, how measureFunc, overlay bool, overlays *report.OverlayWriter) (r measure.Result, err error) {
	// The photo that finds a flaw of ours must not take the others with it.
	defer func() {
		if v := recover(); v != nil {
			err = ownFlaw(v, debug.Stack(), opt.DebugDir)
		}
	}()
	start := time.Now()
	// Without colours in either case: the grey that is made of them differs here and there,
	// and the answer must not depend on whether a picture of it is wanted.
	p, err := a.openPhoto(ctx, name, photo.Limits{GrayOnly: true})
	if err != nil {
		return r, err
	}
	defer p.Close()
	r, err = how(ctx, p, opt)
	if err == nil && r.Status != measure.Answered {
		// The scales on an id tag may have been taken for the ruler. Looked for
		// only here: it takes as long as decoding most of a photo.
		if tag := box.ReadTag(p); tag.ID() != "" {
			r, err = tag.Measure(p, func() (measure.Result, error) { return how(ctx, p, opt) })
		}
	}
	if err != nil {
		return r, err
	}
	r.Photo = name
	r.TookMS = time.Since(start).Milliseconds()
	if overlay {
		if err := writeOverlay(p, r, overlays); err != nil {
			a.fault(name, err)
		}
	}
	return r, nil
}

// ownFlaw is the error for a panic. Its stack goes to the debug folder.
func ownFlaw(v any, stack []byte, debugDir string) error {
	next := "run it again with --debug-dir DIR and report it with what is in DIR"
	if debugDir != "" && os.MkdirAll(debugDir, 0o777) == nil {
		file := filepath.Join(debugDir, "panic.txt")
		if os.WriteFile(file, fmt.Appendf(nil, "%v\n\n%s", v, stack), 0o666) == nil {
			next = "report it with " + file
		}
	}
	return fmt.Errorf("dentcount itself failed on this photo (%v): %s", v, next)
}

func writeOverlay(grey *photo.Photo, r measure.Result, overlays *report.OverlayWriter) error {
	p, err := grey.InColour()
	if err != nil {
		return err
	}
	defer p.Close()
	img, err := report.Overlay(p, r)
	if err != nil {
		return err
	}
	_, err = overlays.Write(img, r.Photo, p.SHA256)
	return err
}

// printResult writes one answer in the form that was asked for.
func (a *app) printResult(f measureFlags, r measure.Result) error {
	if f.json {
		return report.JSON(a.answers(), r)
	}
	if err := report.Text(a.answers(), r, report.Style{Colour: a.colour()}); err != nil {
		return err
	}
	if f.explain {
		return report.Explain(a.answers(), r)
	}
	return nil
}

// faultResult is the object that --json prints for a photo with a fault, so
// that scripts get one line a photo.
func faultResult(name string, err error) measure.Result {
	r := measure.Result{Schema: 1, Photo: name, Status: measure.Refused, Reason: err.Error(), Warnings: []string{}}
	var bad *photo.Error
	if errors.As(err, &bad) {
		r.Reason, r.Advice = bad.Problem, bad.Advice
	}
	return r
}

// checkDirs says early that a folder to write to cannot be one.
func checkDirs(cmd *cobra.Command, flags ...string) error {
	for _, flag := range flags {
		if !cmd.Flags().Changed(flag) {
			continue
		}
		dir := cmd.Flags().Lookup(flag).Value.String()
		if dir == "" {
			return usagef("--%s: the name of the folder is empty", flag).withHint("is a variable in your script empty?")
		}
		info, err := os.Stat(dir)
		switch {
		case err == nil && !info.IsDir():
			return usagef("--%s: %s is a file, not a folder", flag, dir).withHint("give a folder; it is made where there is none")
		case err != nil && !errors.Is(err, fs.ErrNotExist):
			return usagef("--%s: %v", flag, err).withHint("give a folder you may write to")
		}
	}
	return nil
}

// debugDirOf gives each of several photos a folder of its own.
func debugDirOf(dir string, i, n int) string {
	if dir == "" || n == 1 {
		return dir
	}
	return filepath.Join(dir, fmt.Sprintf("%03d", i+1))
}
