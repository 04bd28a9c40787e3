package main

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"dentcount/box"
	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
	"dentcount/shelf"
	"dentcount/trade"
)

// orderFlags are what a person says of what is to be ordered.
type orderFlags struct {
	photoFlags
	shelf               shelfFlag
	kind, size          string
	quantity, caps      int
	length, height, eye lengthFlag
	finish, title       string
	loom                string
	warp                lengthFlag
	sett                float64
	shafts              int
	json, save          bool
	csv, pdf, paper     string
}

func newOrderCmd(a *app) *cobra.Command {
	var f orderFlags
	cmd := &cobra.Command{
		Use:   "order [PART-or-PHOTO]...",
		Short: "Make an order sheet: what is known of each part, and what must be asked first",
		Long: `order makes an order sheet, a line for each part of the shelf (by its id) and for
each photo; without either, one line from what you say. What you say counts for
every line. In a photo of a reed or rigid heddle the dents are measured, and its
length where both its ends are seen; with --kind wire-heddle the span over the
heddle bars, with --kind string-heddle a heddle knot to knot and its eye.

A line that is not sure is not filled in: its question stands there instead, and
the exit status is 3. Each line says what to confirm by hand before money is spent.`,
		Example: `  dentcount order --kind reed --size 10 --loom big-blue --height "4 3/4 in"
  dentcount order 8RWX-69HX reed.jpg --loom big-blue --pdf order.pdf
  dentcount order --kind wire-heddle --loom big-blue --warp-width 26in --sett 20`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := f.check(args); err != nil {
				return err
			}
			return a.makeOrder(cmd.Context(), f, args)
		},
	}
	f.addTo(cmd)
	f.shelf.addTo(cmd)
	fl := cmd.Flags()
	fl.StringVar(&f.kind, "kind", "", "what is ordered, where no part or photo tells: "+strings.Join(trade.OrderKinds(), ", "))
	fl.StringVar(&f.size, "size", "", "the dent `SIZE`: 10, 12 1/2, 40/10")
	fl.IntVar(&f.quantity, "quantity", 0, "how many of each (default: one; of heddles as many as the warp needs)")
	fl.Var(&f.length, "length", "the nominal `LENGTH` to order: a reed's, the loom's for a rigid heddle, over the bars for wire heddles, knot to knot for string heddles")
	fl.Var(&f.height, "height", "the reed's height over both baulks, `LENGTH`")
	fl.Var(&f.eye, "eye", "the string heddle's eye, `LENGTH`")
	fl.StringVar(&f.finish, "finish", "", "the finish asked for, in your own words")
	fl.IntVar(&f.caps, "caps", 0, "end caps, 1 or 2")
	fl.StringVar(&f.loom, "loom", "", "the `LOOM` of the shelf that it is for")
	fl.Var(&f.warp, "warp-width", "width of the warp, to count heddles by, `LENGTH`")
	fl.Float64Var(&f.sett, "sett", 0, "ends per inch, to count heddles by")
	fl.IntVar(&f.shafts, "shafts", 0, "shafts, to count heddles by (default: the loom's)")
	fl.StringVar(&f.title, "title", "", "heading of the sheet")
	fl.BoolVar(&f.json, "json", false, "as one JSON object")
	fl.StringVar(&f.csv, "csv", "", "also as a table into `FILE`")
	fl.StringVar(&f.pdf, "pdf", "", "also for printing into `FILE`")
	fl.StringVar(&f.paper, "paper", "A4", "paper of the PDF: A4, A5, Letter or millimetres such as 210x297")
	fl.BoolVar(&f.save, "save", false, "keep the order on the shelf, where every line is sure")
	return cmd
}

// check looks at what was said before anything is measured.
func (f *orderFlags) check(args []string) error {
	if len(args) == 0 && f.kind == "" {
		return usagef("say what to order: parts, photos, or --kind").withHint(`dentcount order --kind reed --size 10 --length 27in --height "4 3/4 in"`)
	}
	if f.kind != "" {
		known := false
		for _, k := range trade.OrderKinds() {
			known = known || k == f.kind
		}
		if !known {
			return usagef("--kind %s: say %s", f.kind, strings.Join(trade.OrderKinds(), ", "))
		}
	}
	if f.quantity < 0 {
		return usagef("--quantity %d: say how many are wanted", f.quantity)
	}
	if f.caps < 0 || f.caps > 2 {
		return usagef("--caps %d: a reed has one or two end caps", f.caps)
	}
	if f.size != "" {
		if _, err := trade.ParseSize(f.size); err != nil {
			return usagef("--size: %v", err)
		}
	}
	if _, err := report.ParsePaper(f.paper); err != nil {
		return usagef("--paper: %v", err)
	}
	return nil
}

func (a *app) makeOrder(ctx context.Context, f orderFlags, args []string) error {
	o := orderer{app: a, f: f}
	defer o.close()
	if err := o.findLoom(ctx); err != nil {
		return err
	}
	sheet := report.OrderSheet{Title: f.title}
	if len(args) == 0 {
		args = []string{""}
	}
	for _, arg := range args {
		e, err := o.entry(ctx, arg)
		if err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			a.fault(arg, err)
			continue
		}
		sheet.Lines = append(sheet.Lines, e)
	}
	if err := a.writeOrder(f, sheet, args); err != nil {
		return err
	}
	if !sheet.Sure() {
		a.doubt()
		if f.save {
			a.note("the order is not kept: answer its questions first")
		}
		return nil
	}
	if f.save && len(sheet.Lines) > 0 {
		return o.keep(ctx, sheet)
	}
	return nil
}

// writeOrder writes the sheet in all the forms that are asked for.
func (a *app) writeOrder(f orderFlags, sheet report.OrderSheet, inputs []string) error {
	paper, err := report.ParsePaper(f.paper)
	if err != nil {
		return err
	}
	for _, out := range []struct {
		file string
		fill func(io.Writer) error
	}{
		{f.csv, func(w io.Writer) error { return report.OrderCSV(w, sheet, shelf.EscapeCell) }},
		{f.pdf, func(w io.Writer) error { return report.OrderPDF(w, sheet, paper) }},
	} {
		if out.file != "" {
			if err := writeWhole(out.file, true, inputs, out.fill); err != nil {
				return err
			}
		}
	}
	if f.json {
		return report.OrderJSON(a.answers(), sheet)
	}
	return report.OrderText(a.answers(), sheet)
}

// orderer makes the lines of one order.
type orderer struct {
	*app
	f    orderFlags
	s    *shelf.Shelf // nil until it is needed
	loom *trade.Loom
}

func (o *orderer) close() {
	if o.s != nil {
		o.s.Close()
	}
}

func (o *orderer) open(ctx context.Context) error {
	if o.s != nil {
		return nil
	}
	s, err := o.f.shelf.openThere(ctx, o.app)
	o.s = s
	return err
}

func (o *orderer) findLoom(ctx context.Context) error {
	if o.f.loom == "" {
		return nil
	}
	if err := o.open(ctx); err != nil {
		return err
	}
	l, err := o.s.Loom(ctx, o.f.loom)
	if err != nil {
		return err
	}
	o.loom = &l
	return nil
}

// entry is the line for one part, one photo, or nothing but what was said.
func (o *orderer) entry(ctx context.Context, arg string) (report.OrderEntry, error) {
	var w trade.OrderWish
	e := report.OrderEntry{Source: arg}
	if arg != "" {
		var err error
		if id, idErr := shelf.ParseID(arg); idErr == nil {
			w, e.Picture, err = o.fromShelf(ctx, id)
		} else {
			w, e.Picture, err = o.fromPhoto(ctx, arg)
		}
		if err != nil {
			return e, err
		}
	}
	if err := o.say(&w); err != nil {
		return e, err
	}
	line, err := trade.FillOrder(w)
	e.OrderLine = line
	return e, err
}

// say puts what a person said over what was measured.
func (o *orderer) say(w *trade.OrderWish) error {
	f := o.f
	if f.kind != "" {
		w.AskFor(f.kind)
	}
	w.Quantity, w.Caps, w.Finish, w.Loom = f.quantity, f.caps, strings.TrimSpace(f.finish), o.loom
	if f.size != "" {
		m, err := trade.ParseSize(f.size)
		if err != nil {
			return err
		}
		w.Size = trade.OrderSize{Label: m.Label, System: m.System, PerInch: m.PerInch, ByPerson: true}
	}
	w.WantIn = float64(f.length)
	if f.height > 0 {
		w.Height = trade.Length{In: float64(f.height)}
	}
	if f.eye > 0 {
		w.Eye = trade.Length{In: float64(f.eye)}
	}
	w.Need = trade.HeddleNeed{WarpWidthIn: float64(f.warp), Sett: f.sett, Shafts: f.shafts}
	return nil
}

// fromShelf is what the shelf believes of a part.
func (o *orderer) fromShelf(ctx context.Context, id shelf.ID) (w trade.OrderWish, picture []byte, err error) {
	if err := o.open(ctx); err != nil {
		return w, nil, err
	}
	return box.OrderWish(ctx, o.s, id)
}

// fromPhoto measures what is ordered in a photo: the dent size and, where its ends
// are seen, the length of a reed or rigid heddle; the length alone of other heddles.
func (o *orderer) fromPhoto(ctx context.Context, name string) (w trade.OrderWish, picture []byte, err error) {
	p, err := o.openPhoto(ctx, name, photo.Limits{})
	if err != nil {
		return w, nil, err
	}
	defer p.Close()
	var img image.Image
	switch o.f.kind {
	case trade.PartWireHeddle, trade.PartStringHeddle:
		w.Kind = o.f.kind
	default:
		if img, err = o.dentsOf(ctx, p, name, &w); err != nil {
			return w, nil, err
		}
	}
	byLength, err := o.lengthOf(ctx, p, name, &w)
	if err != nil {
		return w, nil, err
	}
	if img == nil || w.Size.Label == "" && byLength != nil {
		img = byLength
	}
	if img == nil {
		return w, nil, nil
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, report.Thumbnail(img, 800), nil); err != nil {
		return w, nil, err
	}
	return w, b.Bytes(), nil
}

// dentsOf measures the dent size, and gives the picture of it.
func (o *orderer) dentsOf(ctx context.Context, p *photo.Photo, name string, w *trade.OrderWish) (image.Image, error) {
	r, err := o.measure(ctx, p, o.f.options())
	if err != nil {
		return nil, err
	}
	w.Kind = r.Part
	if w.Kind == "" {
		w.Kind = o.f.kind
	}
	if r.Size != nil && r.Pitch != nil {
		w.Size = trade.OrderSize{Label: r.Size.Label, System: r.Size.System, PerInch: r.Size.DentsPerInch, MeasuredPerInch: r.Pitch.DentsPerInch, U: r.Pitch.U, Confidence: r.Size.Confidence}
		if r.Status != measure.Answered {
			w.Size.Confidence = min(w.Size.Confidence, 0.5)
		}
		for _, c := range r.Size.Others {
			w.Size.Others = append(w.Size.Others, c.Label)
		}
	} else if r.Reason != "" {
		o.note("%s: %s; %s", name, r.Reason, r.Advice)
	}
	return report.Overlay(p, r)
}

// lengthOf measures the length that a kind is ordered by, and gives the picture of
// it; nil where no length is told. What the ruler lies across for the dents is
// often not all in the photo, so only a length that is certain counts there.
func (o *orderer) lengthOf(ctx context.Context, p *photo.Photo, name string, w *trade.OrderWish) (image.Image, error) {
	what := map[string]measure.What{
		trade.PartReed: measure.ReedLength, trade.PartRigidHeddle: measure.HeddleWidth,
		trade.PartWireHeddle: measure.HeddleBarSpan, trade.PartStringHeddle: measure.StringHeddle,
	}[w.Kind]
	if what == "" || o.f.length > 0 {
		return nil, nil
	}
	f := o.f.options()
	// The thickness is told against the wires; how high a reed's ends lie it does
	// not tell.
	r, err := measure.Length(ctx, p, measure.LengthOptions{What: what, Unit: f.Unit, CameraDistanceMM: f.CameraDistanceMM})
	if err != nil {
		return nil, err
	}
	needed := w.Kind == trade.PartWireHeddle || w.Kind == trade.PartStringHeddle
	if r.Status != measure.Answered || r.Length == nil {
		if needed {
			o.note("%s: %s; %s", name, r.Reason, r.Advice)
		}
		return nil, nil
	}
	w.Length = trade.Length{In: r.Length.In, U: r.Length.U}
	w.LengthIs, w.LengthSure = trade.BarSpan, r.Confidence
	if r.Eye != nil {
		w.Eye = trade.Length{In: r.Eye.In, U: r.Eye.U}
	}
	return report.LengthOverlay(p, r)
}

// keep stores the order on the shelf.
func (o *orderer) keep(ctx context.Context, sheet report.OrderSheet) error {
	s, err := o.f.shelf.open(ctx, o.app)
	if err != nil {
		return err
	}
	defer s.Close()
	kept, err := box.KeepOrder(ctx, s, sheet)
	if err != nil {
		return fmt.Errorf("the order could not be kept: %w", err)
	}
	o.note("kept on the shelf as order %s", kept.UID)
	return nil
}
