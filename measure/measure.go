package measure

import (
	"context"
	"fmt"
	"math"
	"time"

	"dentcount/calib"
	"dentcount/fit"
	"dentcount/photo"
	"dentcount/trade"
	"dentcount/vision"
)

// Version names the way of measuring; a stored answer of another version is
// measured again.
const Version = "1"

// answerAt is the confidence from which a size is an answer; below it the photo
// is unsure.
const answerAt = 0.75

// maxSkewDeg is how far from square a person lays a ruler; past it what was
// found is more likely a table's texture, and its angle would have to be known
// better than it is (1/cos grows as the square).
const maxSkewDeg = 8

// Photo measures the part in one photo. A photo in which nothing can be
// measured is a Result with status Refused, not an error; an error is a fault
// of the machine or a cancelled ctx. It does not close p.
func Photo(ctx context.Context, p *photo.Photo, opt Options) (Result, error) {
	start := time.Now()
	r, err := measurePhoto(ctx, p, opt)
	r.Schema, r.Photo = 1, p.Name
	if r.Warnings == nil {
		r.Warnings = []string{}
	}
	r.TookMS = time.Since(start).Milliseconds()
	return r, err
}

func measurePhoto(ctx context.Context, p *photo.Photo, opt Options) (Result, error) {
	g, err := p.Gray()
	if err != nil {
		return Result{}, err
	}
	dbg := newDebug(opt.DebugDir)
	ruler, found, err := calib.FindRuler(ctx, g, calib.Options{Unit: calib.Unit(opt.Unit)})
	if err != nil {
		return Result{}, err
	}
	dbg.lap("ruler", map[string]any{"found": found, "ladders": ruler.Candidates})
	if !found {
		return refused("no ruler marks found",
			"lay the ruler flat, its inch edge across the wires, and fill the frame"), dbg.write()
	}
	s := ruler.Scale
	b, found, err := vision.FindBands(ctx, g, s, vision.Options{Kind: vision.Kind(opt.Part), FocalPx: fit.FocalPx(p.Focal35, g.W, g.H)})
	if err != nil {
		return Result{}, err
	}
	dbg.lap("bands", map[string]any{"found": found, "bands": len(b.Row)})
	base := Result{Ruler: rulerOf(ruler)}
	base.Evidence = &Evidence{TickLine: tickLine(s), Marks: allMarks(s), OneInch: oneInch(s), SizePx: [2]int{g.W, g.H}}
	if !found {
		r := refused("no evenly spaced wires or slots cross the ruler's marked edge",
			"lay the marked edge across the middle of the wires and take the photo from straight above")
		r.Ruler, r.Evidence = base.Ruler, base.Evidence
		return r, dbg.write()
	}
	if deg := math.Abs(b.Skew) * 180 / math.Pi; deg > maxSkewDeg {
		r := refused(fmt.Sprintf("what crosses the ruler's edge lies %.0f° off square to it: no wires, or a ruler laid askew", deg),
			"lay the marked edge straight across the wires, within a few degrees, and take the photo again")
		r.Ruler, r.Evidence = base.Ruler, base.Evidence
		return r, dbg.write()
	}
	if b.TooFine() {
		r := refused(fmt.Sprintf("the wires are only %.1f pixels apart: too fine to count", b.PxPerBand),
			"go nearer, so that 4 to 8 inches of the ruler fill the frame, and keep it sharp")
		r.Ruler, r.Evidence = base.Ruler, base.Evidence
		return r, dbg.write()
	}
	pitch, err := fit.FindPitch(s, b, fit.View{
		Focal35: p.Focal35, WidthPx: g.W, HeightPx: g.H,
		ThicknessMM: opt.RulerThicknessMM, DistanceMM: opt.CameraDistanceMM,
	})
	if err != nil {
		r := refused(err.Error(), "choose a stretch with straight, clean wires and take the photo again")
		r.Ruler, r.Evidence = base.Ruler, base.Evidence
		return r, dbg.write()
	}
	choices := fit.FindSize(pitch, trade.Sizes(string(b.Kind)), readRight(ruler, b, pitch))
	r := answer(base, ruler, b, pitch, choices, opt)
	dbg.lap("fit", map[string]any{"dents_per_inch": pitch.PerInch, "agree": pitch.Agree})
	return r, dbg.write()
}

func refused(reason, advice string) Result {
	return Result{Status: Refused, Reason: reason, Advice: advice}
}

// readRight is the probability that unit, octave and part were read right.
func readRight(ruler calib.Ruler, b vision.Bands, p fit.Pitch) float64 {
	q := ruler.UnitProbability * b.KindProbability
	good := 0
	for _, x := range b.Row {
		if x.State == vision.Good {
			good++
		}
	}
	share := float64(good) / float64(len(b.Row))
	q *= 0.995 / (1 + math.Exp(-14*(share-0.45)))
	q *= 1 / (1 + math.Exp(2*(p.Agree-5)))
	q *= 1 / (1 + math.Exp(-0.6*(b.Contrast-8)))
	q *= 1 / (1 + math.Exp(60*(b.ScatterIn*b.PerInch-0.14)))
	q *= 1 / (1 + math.Exp(-3*(b.PxPerBand-3.4)))
	return q
}

func answer(r Result, ruler calib.Ruler, b vision.Bands, p fit.Pitch, choices []fit.Choice, opt Options) Result {
	r.Part = string(b.Kind)
	r.Pitch = &Pitch{DentsPerInch: p.PerInch, U: p.U, DentsPer10CM: p.PerInch / 0.254}
	for _, l := range p.Budget {
		r.Budget = append(r.Budget, BudgetLine{Source: string(l.Source), RelativeU: l.RelativeU, Note: l.Note})
	}
	c := choices[0]
	r.Size = &Size{SizeChoice: SizeChoice{c.Label, c.System, c.PerInch, c.P}, Others: []SizeChoice{}}
	if c.Label == fit.None {
		r.Size.DentsPerInch = p.PerInch
	}
	for _, o := range choices[1:] {
		if o.P >= 0.005 && len(r.Size.Others) < 4 {
			r.Size.Others = append(r.Size.Others, SizeChoice{o.Label, o.System, o.PerInch, o.P})
		}
	}
	r.Count = countOf(b)
	r.Evidence.Bands = bandsOf(ruler.Scale, b)
	one := "wire"
	if b.Kind == vision.RigidHeddle {
		one = "slot"
	}
	if n := r.Count.Bent; n > 0 {
		r.Warnings = append(r.Warnings, plural(n, "bent "+one, "bent "+one+"s"))
	}
	if n := r.Count.Missing; n > 0 {
		r.Warnings = append(r.Warnings, plural(n, "missing "+one, "missing "+one+"s"))
	}
	if c.P >= answerAt {
		r.Status = Answered
	} else {
		r.Status = Unsure
		r.Reason, r.Advice = doubt(choices, p, opt)
	}
	r.Order = orderLine(b.Kind, c, r.Status)
	return r
}

// doubt says what keeps two sizes apart, and what would settle it.
func doubt(choices []fit.Choice, p fit.Pitch, opt Options) (reason, advice string) {
	a := choices[0]
	var sum float64
	for _, c := range choices {
		sum += c.P
	}
	lift := 0.0
	for _, l := range p.Budget {
		if l.Source == fit.RulerAbove {
			lift = l.RelativeU
		}
	}
	switch {
	case sum < answerAt:
		return "the photo could not be read with certainty",
			"take it again from straight above, sharp, without glare, the ruler's marked edge across clean wires"
	case len(choices) > 1 && choices[1].P > 0.05 && lift > p.ReadRelU && opt.RulerThicknessMM <= 0:
		return fmt.Sprintf("it could be %s or %s", sizeName(a), sizeName(choices[1])),
			"say how thick the ruler is (--ruler-thickness), or take the photo from twice as far"
	case len(choices) > 1:
		return fmt.Sprintf("it could be %s or %s", sizeName(a), sizeName(choices[1])),
			"take a photo with more of the ruler over straight wires, from straight above"
	}
	return "the size is not certain", "take the photo again from straight above"
}

func sizeName(c fit.Choice) string {
	if c.Label == fit.None {
		return "no made size"
	}
	return c.Label
}

// orderLine is the size as one orders it, in both systems; a question where it
// is not certain.
func orderLine(k vision.Kind, c fit.Choice, st Status) string {
	part := "reed"
	if k == vision.RigidHeddle {
		part = "rigid heddle"
	}
	if st != Answered {
		return ""
	}
	switch c.System {
	case trade.SystemInch:
		return fmt.Sprintf("%s, %s dents per inch (%.1f per 10 cm)", part, c.Label, c.PerInch/0.254)
	case "none":
		return fmt.Sprintf("%s, made to order: %.2f dents per inch (%.1f per 10 cm), no made size fits", part, c.PerInch, c.PerInch/0.254)
	}
	return fmt.Sprintf("%s, %s (%.2f dents per inch)", part, c.Label, c.PerInch)
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
