package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"io"
	"math"
	"strings"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/trade"
)

// LengthJSON writes r as one line of NDJSON: lengths to 0.001 in, pixels to
// 0.01, uncertainties to three figures, confidences rounded down. A number that
// is not finite is an error, and then nothing is written.
func LengthJSON(w io.Writer, r measure.LengthResult) error {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(roundedLength(r)); err != nil {
		return fmt.Errorf("report: the result of %q has no JSON form: %w", r.Photo, err)
	}
	_, err := w.Write(buf.Bytes())
	return err
}

func roundedLength(r measure.LengthResult) measure.LengthResult {
	// the parts that a length shares with a dent size are rounded alike
	shared := rounded(measure.Result{Ruler: r.Ruler, Budget: r.Budget, Warnings: r.Warnings})
	r.Ruler, r.Budget, r.Warnings = shared.Ruler, shared.Budget, shared.Warnings
	value := func(v *measure.LengthValue) *measure.LengthValue {
		if v == nil {
			return nil
		}
		return &measure.LengthValue{In: decimals(v.In, 4), U: figures(v.U, 3), MM: decimals(v.MM, 2)}
	}
	r.Length, r.Eye = value(r.Length), value(r.Eye)
	r.Confidence = downTo(r.Confidence, 4)
	var ends []measure.Point
	for _, e := range r.Ends {
		ends = append(ends, measure.Point{decimals(e[0], 2), decimals(e[1], 2)})
	}
	r.Ends = ends
	var joined []measure.Joint
	for _, j := range r.Joined {
		j.ShiftIn, j.Like, j.Rival = decimals(j.ShiftIn, 4), decimals(j.Like, 3), decimals(j.Rival, 3)
		joined = append(joined, j)
	}
	r.Joined = joined
	if r.Nominal != nil {
		n := measure.Nominal{NominalChoice: roundedNominal(r.Nominal.NominalChoice), Others: []measure.NominalChoice{}}
		for _, o := range r.Nominal.Others {
			n.Others = append(n.Others, roundedNominal(o))
		}
		r.Nominal = &n
	}
	return r
}

func roundedNominal(c measure.NominalChoice) measure.NominalChoice {
	c.In, c.Confidence = decimals(c.In, 4), downTo(c.Confidence, 4)
	return c
}

// LengthName is a length as one calls it: "reed length", "heddle bar span".
func LengthName(w measure.What) string {
	switch w {
	case measure.StringHeddle:
		return "string heddle, knot to knot"
	case measure.WireHeddle:
		return "wire heddle, end to end"
	case measure.HeddleWidth:
		return "weaving width of the heddle"
	}
	return strings.ReplaceAll(string(w), "-", " ")
}

// LengthWords puts the answer about a length in a weaver's words.
func LengthWords(r measure.LengthResult) InWords {
	if r.Status == measure.Refused || r.Length == nil {
		w := InWords{Head: "can't tell", Do: upperFirst(Sentences(r.Advice))}
		if r.Reason != "" {
			w.Head = "can't tell: " + strings.TrimRight(r.Reason, ". ")
		}
		return w
	}
	w := InWords{
		Head:   fmt.Sprintf("%s %s", LengthName(r.What), trade.FormatLength(r.Length.In)),
		Detail: lengthDetail(r),
		Do:     upperFirst(Sentences(r.Advice)),
	}
	if n := r.Nominal; n != nil {
		if n.Label == "none" {
			w.Head += ": no made size"
		} else {
			w.Head += ": " + n.Label
		}
		w.Sure = "sure: " + Odds(n.Confidence)
	}
	if r.Status == measure.Unsure {
		w.Head = "not sure: " + w.Head
		w.Sure = ""
		w.Why = strings.TrimRight(r.Reason, ". ")
	}
	return w
}

// lengthDetail is the measure behind the answer.
func lengthDetail(r measure.LengthResult) string {
	s := "measured " + inPlusMinus(*r.Length)
	if r.EndsByHand {
		s += " between ends set by hand"
	}
	if n := len(r.Joined); n > 0 {
		s += fmt.Sprintf(" over %d photos", n)
		if r.Joined[n-1].By == "numbers" {
			s += ", joined by your numbers"
		} else {
			s += ", joined by the tape's figures"
		}
	}
	if r.Wires > 0 {
		what := "wires"
		if r.What == measure.HeddleWidth {
			what = "slots"
		}
		s += fmt.Sprintf("; %d %s", r.Wires, what)
	}
	if r.Eye != nil {
		s += "; eye " + inPlusMinus(*r.Eye)
	}
	return s
}

// inPlusMinus is a length with what it is known to in 95 of 100 cases.
func inPlusMinus(v measure.LengthValue) string {
	return trade.Length{In: v.In, U: math.Max(v.U, 1e-6)}.String()
}

// LengthText writes r for a person: the answer first, at most five lines.
func LengthText(w io.Writer, r measure.LengthResult, style Style) error {
	words := LengthWords(r)
	name := photo.DisplayName(r.Photo)
	first := words.Head + "."
	if words.Sure != "" {
		first += " " + upperFirst(words.Sure) + "."
	}
	lines := []string{name + ": " + style.paint(r.Status, first)}
	if r.Status != measure.Answered && words.Do != "" {
		lines[0] += " " + Printable(words.Do)
	}
	lines = appendLabelled(lines, "Why", words.Why)
	lines = appendLabelled(lines, "Measured", strings.TrimPrefix(words.Detail, "measured "))
	lines = appendLabelled(lines, "Note", strings.Join(r.Warnings, "; "))
	_, err := io.WriteString(w, strings.Join(lines, "\n")+"\n")
	return err
}

// LengthExplain writes the uncertainty budget of a length, the largest share
// first. Nothing was measured: nothing is written.
func LengthExplain(w io.Writer, r measure.LengthResult) error {
	if r.Length == nil || len(r.Budget) == 0 {
		return nil
	}
	var b strings.Builder
	fmt.Fprintf(&b, "  How sure the %s in are, source by source (one standard uncertainty each):\n", number(r.Length.In, 3))
	var sum float64
	for _, l := range r.Budget {
		sum += l.RelativeU * l.RelativeU
	}
	for _, l := range sortedBudget(r.Budget) {
		fmt.Fprintf(&b, "    %s: %s, %s in, %s of the whole", Printable(l.Source), percent(l.RelativeU),
			number(figures(l.RelativeU*r.Length.In, 2), 4), share(l.RelativeU*l.RelativeU, sum))
		if l.Note != "" {
			b.WriteString(" (" + Printable(l.Note) + ")")
		}
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "    All together: %s in. In 95 of 100 cases the true length lies within %s.\n",
		number(figures(r.Length.U, 2), 4), inPlusMinus(*r.Length))
	_, err := io.WriteString(w, b.String())
	return err
}

// LengthOverlay draws the ruler's marks, the two ends with the length between
// them, and the answer in a strip below; see [Overlay].
func LengthOverlay(p *photo.Photo, r measure.LengthResult) (image.Image, error) {
	shared := measure.Result{Status: r.Status, Ruler: r.Ruler, Evidence: r.Evidence}
	return overlay(p, shared, LengthWords(r), func(d *drawing) error {
		if !d.findDirections() {
			return nil // no ruler was found
		}
		known := len(r.Ends) == 2 && r.Length != nil
		if known {
			d.valuesClearOf(r.Ends[0], r.Ends[1])
		}
		if err := d.ruler(); err != nil || !known {
			return err
		}
		return d.lengthLine([2]measure.Point{r.Ends[0], r.Ends[1]}, [2]bool{true, true}, r.Length.In)
	})
}

// JoinedOverlay draws photo i of a length over several photos: its ruler, its
// marks counted on from the first photo's first, the length's line in it with the
// end that lies there, and the answer in a strip below; see [Overlay].
func JoinedOverlay(p *photo.Photo, r measure.LengthResult, i int) (image.Image, error) {
	if i < 0 || i >= len(r.Joined) {
		return overlay(p, measure.Result{Status: r.Status}, LengthWords(r), nil)
	}
	j := r.Joined[i]
	shared := measure.Result{Status: r.Status, Ruler: j.Ruler, Evidence: j.Evidence}
	words := LengthWords(r)
	words.Detail = strings.TrimSuffix(fmt.Sprintf("photo %d of %d; %s", i+1, len(r.Joined), words.Detail), "; ")
	return overlay(p, shared, words, func(d *drawing) error {
		if !d.findDirections() {
			return nil
		}
		if r.Length != nil {
			d.valuesClearOf(j.Line[0], j.Line[1])
		}
		if err := d.ruler(); err != nil || r.Length == nil {
			return err
		}
		return d.lengthLine(j.Line, j.Ends, r.Length.In)
	})
}

// valuesClearOf puts the marks' values on the side of the ruler's edge on which
// the line between two points does not lie.
func (d *drawing) valuesClearOf(a, b measure.Point) {
	tl := d.r.Evidence.TickLine
	if len(tl) == 0 {
		return
	}
	if d.to(a).add(d.to(b)).mul(0.5).sub(d.to(tl[len(tl)/2])).dot(d.wires) < 0 {
		d.wires = d.wires.mul(-1)
	}
}

// lengthLine draws the line of a length with the length on it: a bar square to it
// and an arrow at an end, nothing where it goes on in another photo.
func (d *drawing) lengthLine(line [2]measure.Point, ends [2]bool, in float64) error {
	a, b := d.to(line[0]), d.to(line[1])
	dir, ok := b.sub(a).unit()
	if !ok || !b.finite() {
		return nil
	}
	side := dir.left()
	bar := side.mul(11 * d.u)
	d.line(inkAnswered, 1.4*d.u, a, b)
	for i, e := range [2]struct{ at, in vec }{{a, dir}, {b, dir.mul(-1)}} {
		if !ends[i] {
			continue
		}
		d.line(inkAnswered, 2.2*d.u, e.at.sub(bar), e.at.add(bar))
		tip := e.at.add(e.in.mul(9 * d.u))
		d.line(inkAnswered, 1.8*d.u, tip.add(side.mul(4*d.u)), e.at, tip.sub(side.mul(4*d.u)))
	}
	// the figure stands clear of the ruler
	away := side
	if tl := d.r.Evidence.TickLine; len(tl) > 0 && a.add(b).mul(0.5).sub(d.to(tl[len(tl)/2])).dot(side) < 0 {
		away = side.mul(-1)
	}
	return d.tag(trade.FormatIn(in, 16), white, labelPx+4, a.add(b).mul(0.5), away, 5, d.ground)
}
