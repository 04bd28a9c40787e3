package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime/debug"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
)

// lengthFlags are the flags of the length command.
type lengthFlags struct {
	what       whatFlag
	ends       endsFlag
	join       bool
	at         atFlag
	unit       unitFlag
	thickness  mmFlag
	above      signedMMFlag
	distance   mmFlag
	json       bool
	explain    bool
	overlayDir string
	debugDir   string
}

func newLengthCmd(a *app) *cobra.Command {
	var f lengthFlags
	cmd := &cobra.Command{
		Use:   "length PHOTO... --what LENGTH",
		Short: "Measure a length in each photo by the ruler or tape in it",
		Long: `length measures a reed, heddle bars, a heddle or its eye by the ruler or tape in
the photo, and says which made size that is:

  reed-length      outer face of one end cap to that of the other
  sley-width       first wire to last
  reed-height      over both baulks, the ruler laid along the wires
  heddle-bar-span  bottom edge of the bottom bar to top edge of the top one
  string-heddle    knot to knot, pinned out straight, and its eye
  heddle-width     a rigid heddle's first slot to its last
  wire-heddle      the heddle itself, end to end

Lay the ruler along the length and take the photo from straight above. Where it
finds the wrong ends, set them with --ends. A ruler beside a thick part lies
further from the camera than the part and makes it look long: tell how far the
marks lie below it (--marks-above -6).

What is too long for one photo is photographed in two or more, in order along one
tape that stays where it is, each showing some of the tape's figures that the one
before shows (--join). Where the figures don't tell, say which number stands where
(--at), two in one of the photos and one in each other.`,
		Example: `  dentcount length bars.jpg --what heddle-bar-span
  dentcount length reed.jpg --what reed-length --ends 211,300,2215,344
  dentcount length left.jpg right.jpg --join --what reed-length
  dentcount length left.jpg right.jpg --join --what reed-length --at 1:812,640=12 --at 1:1500,641=18 --at 2:640,655=18`,
		Args: func(_ *cobra.Command, args []string) error {
			if err := needPhotos(a, "length --what reed-length", args); err != nil {
				return err
			}
			if f.what == "" {
				return usagef("say what to measure, with --what").withHint("--what %s", strings.Join(whatNames(), ", "))
			}
			if f.join {
				return f.checkJoin(args)
			}
			if len(f.at.numbers) > 0 {
				return usagef("--at says how photos are joined: say --join, too")
			}
			if f.ends.set && len(args) > 1 {
				return usagef("--ends are points of one photo; %d are given", len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkDirs(cmd, "overlay", "debug-dir"); err != nil {
				return err
			}
			if f.join {
				return a.lengthJoined(cmd.Context(), f, args)
			}
			return a.lengthAll(cmd.Context(), f, args)
		},
	}
	f.thickness = mmFlag{min: minRulerThicknessMM, max: maxRulerThicknessMM, example: "1.5", hint: "a steel tape is about 0.2"}
	f.distance = mmFlag{min: minCameraDistanceMM, max: maxCameraDistanceMM, example: "500"}
	fl := cmd.Flags()
	fl.Var(&f.what, "what", "the `LENGTH` asked for: "+strings.Join(whatNames(), ", "))
	fl.Var(&f.ends, "ends", "the two ends, set by hand: `X1,Y1,X2,Y2` in pixels of the photo as shown upright")
	fl.BoolVar(&f.join, "join", false, "the photos show one length, one after the other along the same tape; the first of the --ends lies in the first of them, the second in the last")
	fl.Var(&f.at, "at", "a number on the tape, read by you: `PHOTO:X,Y=NUMBER`, the point in pixels where its mark meets the tape's edge; may be given often")
	fl.Var(&f.unit, "unit", "the `UNIT` of the ruler: in or cm (default: told from its marks)")
	fl.Var(&f.thickness, "ruler-thickness", "height of the ruler's marked face above what it lies on, in `MM`")
	fl.Var(&f.above, "marks-above", "how far the ruler's marks lie above the ends that are measured, in `MM`; negative: below")
	fl.Var(&f.distance, "camera-distance", "distance from the camera to the ruler, in `MM`")
	fl.BoolVar(&f.json, "json", false, "one JSON object a photo, one per line")
	fl.BoolVar(&f.explain, "explain", false, "say line by line where the uncertainty comes from")
	fl.StringVar(&f.overlayDir, "overlay", "", "write a picture with the evidence drawn in for each photo into `DIR`")
	fl.StringVar(&f.debugDir, "debug-dir", "", "write the times and finds of every stage into `DIR`")
	cmd.MarkFlagsMutuallyExclusive("json", "explain")
	cmd.MarkFlagsMutuallyExclusive("ruler-thickness", "marks-above")
	cmd.MarkFlagsMutuallyExclusive("join", "debug-dir")
	return cmd
}

// checkJoin looks at what was said for joined photos.
func (f *lengthFlags) checkJoin(names []string) error {
	if len(names) < 2 {
		return usagef("--join needs two photos or more, in order along the tape")
	}
	for i, name := range names {
		for _, other := range names[:i] {
			if name == other {
				return usagef("%s is given twice: --join takes different photos, in order along the tape", photo.DisplayName(name))
			}
		}
	}
	return nil
}

func (f *lengthFlags) options() measure.LengthOptions {
	o := measure.LengthOptions{
		What: measure.What(f.what), Unit: string(f.unit),
		RulerThicknessMM: f.thickness.value, CameraDistanceMM: f.distance.value,
	}
	if f.ends.set {
		o.Ends = &f.ends.at
	}
	if f.above.set {
		o.MarksAboveMM = &f.above.value
	}
	return o
}

// lengthAll answers the photos in the order given, as measureAll does.
func (a *app) lengthAll(ctx context.Context, f lengthFlags, names []string) error {
	overlays := report.NewOverlayWriter(f.overlayDir, names)
	for i, name := range names {
		opt := f.options()
		opt.DebugDir = debugDirOf(f.debugDir, i, len(names))
		r, err := a.lengthOne(ctx, name, opt, f.overlayDir != "", overlays)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if errors.Is(err, measure.ErrLengthOptions) {
			return usagef("%v", err)
		}
		if err := a.tellLength(f, name, r, err); err != nil {
			return err
		}
	}
	return nil
}

// tellLength prints one answer, or the fault that stands in its place.
func (a *app) tellLength(f lengthFlags, name string, r measure.LengthResult, err error) error {
	if err == nil {
		err = a.printLength(f, r)
	}
	if a.writeErr != nil {
		return a.writeErr
	}
	if err != nil {
		a.fault(name, err)
		if f.json {
			return report.LengthJSON(a.answers(), faultLength(name, measure.What(f.what), err))
		}
		return nil
	}
	if r.Status != measure.Answered {
		a.doubt()
	}
	return nil
}

func (a *app) lengthOne(ctx context.Context, name string, opt measure.LengthOptions, overlay bool, overlays *report.OverlayWriter) (r measure.LengthResult, err error) {
	defer func() {
		if v := recover(); v != nil {
			err = ownFlaw(v, debug.Stack(), opt.DebugDir)
		}
	}()
	start := time.Now()
	p, err := a.openPhoto(ctx, name, photo.Limits{})
	if err != nil {
		return r, err
	}
	defer p.Close()
	r, err = measure.Length(ctx, p, opt)
	if err != nil {
		return r, err
	}
	r.Photo = name
	r.TookMS = time.Since(start).Milliseconds()
	if overlay {
		img, err := report.LengthOverlay(p, r)
		if err == nil {
			_, err = overlays.Write(img, name, p.SHA256)
		}
		if err != nil {
			a.fault(name, err)
		}
	}
	return r, nil
}

func (a *app) printLength(f lengthFlags, r measure.LengthResult) error {
	if f.json {
		return report.LengthJSON(a.answers(), r)
	}
	if err := report.LengthText(a.answers(), r, report.Style{Colour: a.colour()}); err != nil {
		return err
	}
	if f.explain {
		return report.LengthExplain(a.answers(), r)
	}
	return nil
}

// faultLength is the object that --json prints for a photo with a fault.
func faultLength(name string, what measure.What, err error) measure.LengthResult {
	r := measure.LengthResult{Schema: 1, Photo: name, What: what, Status: measure.Refused, Reason: err.Error(), Warnings: []string{}}
	var bad *photo.Error
	if errors.As(err, &bad) {
		r.Reason, r.Advice = bad.Problem, bad.Advice
	}
	return r
}

// whatFlag is a length that can be asked for, or empty.
type whatFlag measure.What

func whatNames() []string {
	var out []string
	for _, w := range measure.Lengths() {
		out = append(out, string(w))
	}
	return out
}

func (f *whatFlag) String() string { return string(*f) }
func (f *whatFlag) Type() string   { return "length" }

func (f *whatFlag) Set(s string) error {
	for _, name := range whatNames() {
		if s == name {
			*f = whatFlag(s)
			return nil
		}
	}
	return fmt.Errorf("give one of %s", strings.Join(whatNames(), ", "))
}

// endsFlag is two points set by hand.
type endsFlag struct {
	at  [2]measure.Point
	set bool
}

func (f *endsFlag) String() string {
	if f == nil || !f.set {
		return ""
	}
	return fmt.Sprintf("%g,%g,%g,%g", f.at[0][0], f.at[0][1], f.at[1][0], f.at[1][1])
}
func (f *endsFlag) Type() string { return "points" }

func (f *endsFlag) Set(s string) error {
	parts := strings.Split(s, ",")
	if len(parts) != 4 {
		return fmt.Errorf("give four numbers, x1,y1,x2,y2, in pixels of the photo as shown upright")
	}
	for i, t := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(t), 64)
		if err != nil || math.IsNaN(v) || v < 0 || v > 1e5 {
			return fmt.Errorf("%q is no place in a photo: give four numbers, x1,y1,x2,y2, in pixels", t)
		}
		f.at[i/2][i%2] = v
	}
	f.set = true
	return nil
}

// maxMarksAboveMM is how far marks may lie above or below what is measured.
const maxMarksAboveMM = 100

// signedMMFlag is a height in millimetres, either way.
type signedMMFlag struct {
	value float64
	set   bool
}

func (f *signedMMFlag) String() string {
	if f == nil || !f.set {
		return ""
	}
	return strconv.FormatFloat(f.value, 'g', -1, 64)
}
func (f *signedMMFlag) Type() string { return "mm" }

func (f *signedMMFlag) Set(s string) error {
	text := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(s), "mm"))
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(x) || math.Abs(x) > maxMarksAboveMM {
		return fmt.Errorf("give millimetres from -%d to %d, such as 1.5, or -6 where the marks lie below", maxMarksAboveMM, maxMarksAboveMM)
	}
	f.value, f.set = x, true
	return nil
}
