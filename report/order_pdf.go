package report

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"

	"codeberg.org/go-pdf/fpdf"

	"dentcount/trade"
)

// OrderPDF writes the sheet for printing: a block a line with its picture, boxes
// to tick for what is to be confirmed by hand, and the questions of the lines
// that are not filled in.
func OrderPDF(w io.Writer, s OrderSheet, paper Paper) error {
	if paper.W < 140 || paper.H < 100 {
		return fmt.Errorf("an order sheet needs paper of at least 140 x 100 mm; %s is %s x %s mm", paper.Name, number(paper.W, 1), number(paper.H, 1))
	}
	title := s.Title
	if title == "" {
		title = "Order"
	}
	l := orderPrinter{sheetPrinter{printer: newPrinter(title, paper.W, paper.H), paper: paper, title: title, y: math.Inf(1)}}
	if len(s.Lines) == 0 {
		l.newPage()
		l.text(sheetMargin, l.y+5, 10, plain, "Nothing is ordered.")
	}
	for i, e := range s.Lines {
		if err := l.entry(i, e); err != nil {
			return err
		}
	}
	return l.finish(w)
}

type orderPrinter struct{ sheetPrinter }

// orderText is one line of letters of a block; box is a square to tick before it.
type orderText struct {
	text  string
	style string
	pt    float64
	box   bool
	label string // of a fact, before it
	fact  bool
}

// factIndent is where the facts stand beside their labels, mm.
const factIndent = 22.0

// facts are the columns of a line as they are filled in, each with its label.
func (e OrderEntry) facts() (out [][2]string) {
	add := func(label, text string) {
		if text != "" {
			out = append(out, [2]string{label, text})
		}
	}
	if e.Sure() {
		add("Quantity", strconv.Itoa(e.Quantity))
		if s := e.Size; s.Label != "" && s.PerInch > 0 {
			add("Dents", fmt.Sprintf("%s per inch, %s per 10 cm", number(s.PerInch, 2), number(s.PerInch*per10CM, 1)))
		}
		if e.NominalIn > 0 {
			add("Nominal", trade.FormatLength(e.NominalIn))
		}
	}
	if e.Actual.Known() {
		add("Actual", e.Actual.String()+" ("+trade.FormatMetric(e.Actual.In)+")"+e.lengthSure())
	}
	if e.Sure() {
		if e.HeightIn > 0 {
			add("Height", trade.FormatLength(e.HeightIn))
		}
		add("Finish", e.Finish)
		if e.Caps > 0 {
			add("End caps", strconv.Itoa(e.Caps))
		}
	}
	size := e
	size.Actual = trade.Length{} // it stands above
	if m := size.measured(); m != "" || e.Source == "" {
		add("Measured", m)
	} else if e.Actual.Known() {
		add("Measured", e.Source)
	}
	return out
}

// flagsInWords are what a sentence says in brackets for the command line.
var flagsInWords = regexp.MustCompile(` \(--[^)]*\)`)

// onPaper is a sentence without that.
func onPaper(s string) string { return flagsInWords.ReplaceAllString(s, "") }

// entry writes one line of the order, whole on one page.
func (l *orderPrinter) entry(i int, e OrderEntry) error {
	x := sheetMargin
	width := l.paper.W - 2*sheetMargin
	pic, w, h := l.thumbnail(i, e)
	if pic != "" {
		width -= sheetThumbW + 4
		x += sheetThumbW + 4
	}
	var lines []orderText
	add := func(s, style string, pt float64, box bool) {
		indent := 0.0
		if box {
			indent = 5
		}
		for k, t := range l.wrapAt(s, style, pt, width-indent) {
			lines = append(lines, orderText{text: t, style: style, pt: pt, box: box && k == 0})
		}
	}
	no := strconv.Itoa(i+1) + ".  "
	if e.Sure() {
		add(no+upperFirst(e.Words), bold, 12, false)
	} else {
		add(no+upperFirst(PartName(e.Kind))+": not filled in", bold, 12, false)
		for _, q := range e.Questions {
			add(upperFirst(onPaper(q)), plain, 10, true)
		}
	}
	heading := len(lines)
	for _, f := range e.facts() {
		for k, t := range l.wrapAt(f[1], plain, sheetFont, width-factIndent) {
			label := f[0]
			if k > 0 {
				label = ""
			}
			lines = append(lines, orderText{text: t, style: plain, pt: sheetFont, label: label, fact: true})
		}
	}
	if e.Sure() && len(e.Confirm) > 0 {
		add("Before you pay:", bold, sheetFont, false)
		for _, c := range e.Confirm {
			add(upperFirst(onPaper(c)), plain, sheetFont, true)
		}
	}
	gapBefore := func(k int) float64 {
		// air under the heading and between the facts and what is to be done
		if k > 0 && (k == heading || lines[k-1].fact && !lines[k].fact) {
			return 1.6
		}
		return 0
	}
	high := 4.0
	for k, t := range lines {
		high += t.pt*0.48 + gapBefore(k)
	}
	high = math.Max(high, h+3) + 4
	if l.y+high > l.paper.H-sheetMargin {
		l.newPage()
	}
	if !e.Sure() {
		l.pdf.Rect(sheetMargin-3, l.y+1, 1.4, high-4, "F")
	}
	if pic != "" {
		l.pdf.ImageOptions(pic, sheetMargin, l.y+2, w, h, false, fpdf.ImageOptions{ImageType: "JPG"}, 0, "")
	}
	y := l.y + 2
	boxed := false
	for k, t := range lines {
		y += t.pt*0.48 + gapBefore(k)
		if t.fact {
			boxed = false
			l.text(x, y, t.pt, bold, t.label)
			l.text(x+factIndent, y, t.pt, plain, t.text)
			continue
		}
		if t.box {
			l.pdf.Rect(x, y-2.6, 2.8, 2.8, "D")
			boxed = true
		}
		at := x
		if t.box || (boxed && t.style == plain) {
			at += 5
		} else {
			boxed = false
		}
		l.text(at, y, t.pt, t.style, t.text)
	}
	l.y += high
	l.pdf.SetDrawColor(190, 190, 190)
	l.pdf.Line(sheetMargin, l.y-1, l.paper.W-sheetMargin, l.y-1)
	l.pdf.SetDrawColor(0, 0, 0)
	return nil
}

// thumbnail puts the picture of a line into the document. One that cannot be
// read is left out.
func (l *orderPrinter) thumbnail(i int, e OrderEntry) (name string, w, h float64) {
	if len(e.Picture) == 0 {
		return "", 0, 0
	}
	small, size, err := smallJPEG(e.Picture)
	if err != nil {
		return "", 0, 0
	}
	name = "line" + strconv.Itoa(i)
	l.pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "JPG"}, bytes.NewReader(small))
	k := math.Min(sheetThumbW/float64(size.X), 60/float64(size.Y))
	return name, float64(size.X) * k, float64(size.Y) * k
}

// wrapAt breaks s between words into lines no wider than w.
func (l *orderPrinter) wrapAt(s, style string, pt, w float64) []string {
	var out []string
	line := ""
	for _, word := range strings.Fields(Printable(s)) {
		next := joinNotEmpty(" ", line, word)
		if line != "" && l.width(pt, style, next) > w {
			out = append(out, line)
			next = word
		}
		line = next
	}
	return append(out, l.clip(line, style, pt, w))
}
