package report

import (
	"fmt"
	"io"
	"math"
	"slices"
)

// Label is what one label of a part says.
type Label struct {
	ID   string // as it is read, "K7M4-PXWC"
	Kind string // reed, rigid-heddle
	// The size: Label and System as in measure.SizeChoice. An empty SizeLabel
	// prints "size open" in place of a size, for a part that is not settled.
	SizeLabel string
	System    string
	PerInch   float64
	LengthIn  float64 // 0: not known
	Name      string
	// QR gives the text of the QR code for a symbol with sides of so many
	// whole millimetres.
	QR func(sideMM int) string
}

// SizeBothWays says a size large in its own system, the unit where the label
// does not say it itself, and the size in the other system: "12", "per inch",
// "47.2 per 10 cm"; "40/10", "", "10.16 per inch".
func SizeBothWays(label, system string, perInch float64) (big, unit, other string) {
	inch, cm := number(perInch, 2)+" per inch", number(perInch*per10CM, 1)+" per 10 cm"
	switch {
	case label == "":
		return "?", "size open", "settle it first"
	case system == "metric":
		return label, "", inch
	case system == "inch":
		return label, "per inch", cm
	case system == "none":
		return number(perInch, 2), "per inch", cm + ", no made size"
	}
	return label, system, inch + ", " + cm
}

// LabelsPDF prints labels on sheets or a roll.
func LabelsPDF(w io.Writer, labels []Label, l LabelLayout) error {
	if len(labels) == 0 {
		return fmt.Errorf("there is no label to print")
	}
	if err := l.check(); err != nil {
		return err
	}
	plan, err := planLabel(l.CellW, l.CellH)
	if err != nil {
		return err
	}
	p := newPrinter("labels", l.PageW, l.PageH)
	n := l.perPage()
	if l.Skip < 0 || l.Skip >= n && l.Skip > 0 {
		return fmt.Errorf("%d labels cannot be left out on a page of %d", l.Skip, n)
	}
	for i, lab := range labels {
		slot := i + l.Skip
		if i == 0 || slot%n == 0 {
			p.addPage(l.PageW, l.PageH)
		}
		x, y := l.cell(slot % n)
		if l.CutLines {
			p.pdf.SetDrawColor(170, 170, 170)
			p.pdf.Rect(x, y, l.CellW, l.CellH, "D")
		}
		if err := p.label(lab, plan, x, y); err != nil {
			return err
		}
	}
	return p.finish(w)
}

// label draws one label with its corner at x, y.
func (p *printer) label(lab Label, plan labelPlan, x, y float64) error {
	t := plan.text
	t.x += x
	t.y += y
	qr := plan.qr
	qr.x += x
	qr.y += y
	if err := p.qr(lab.QR(int(qr.w)), qr); err != nil {
		return err
	}

	// The size at the top, as large as the room allows; the id at the bottom;
	// between them the lines there is room for, the least needed left out.
	big, unit, other := SizeBothWays(lab.SizeLabel, lab.System, lab.PerInch)
	small := math.Min(math.Max(t.h*0.11, 2.0), 3.2) // height of the capitals below
	pitch := small * 1.7
	lines := []labelLine{
		{other, plain, 1}, {p.partLine(lab, t.w, small), plain, 2}, {lab.Name, plain, 3}, {lab.ID, bold, 0},
	}
	want := 3.0 // lines that the large figure leaves room for
	if t.h >= 30 {
		want = 4
	}
	bigPt := p.fit(big, bold, t.w, ptForCap(math.Max(math.Min(t.h-pitch*want-1, 16), minCap)))
	if capMM(bigPt) < minCap-0.01 {
		// Never smaller than can be read, rather cut.
		bigPt = ptForCap(minCap)
		big = p.clip(big, bold, bigPt, t.w)
	}
	p.text(t.x, t.y+capMM(bigPt), bigPt, bold, big)
	if at := p.width(bigPt, bold, big) + 1.5; at+p.width(ptForCap(small), plain, unit) <= t.w {
		p.text(t.x+at, t.y+capMM(bigPt), ptForCap(small), plain, unit)
	} else if both := unit + ", " + other; unit != "" && p.width(ptForCap(minSmallCap), plain, both) <= t.w {
		lines[0].s = both
	}
	room := int((t.h - capMM(bigPt) - 0.6) / pitch)
	lines = keepLines(lines, room)
	bottom := t.y + t.h - small*0.15
	for i, r := range lines {
		pt := p.fit(r.s, r.style, t.w, ptForCap(small))
		pt = math.Max(pt, ptForCap(minSmallCap))
		p.text(t.x, bottom-float64(len(lines)-1-i)*pitch, pt, r.style, p.clip(r.s, r.style, pt, t.w))
	}
	return nil
}

// partLine says the part and its length, in as many words as fit without being
// much smaller than the other lines: on a narrow label the centimetres go
// first, then the name of the part.
func (p *printer) partLine(lab Label, w, small float64) string {
	part := PartName(lab.Kind)
	if lab.LengthIn <= 0 {
		return part
	}
	inch := Inches(lab.LengthIn) + " in"
	lines := []string{part + ", " + inch + " (" + number(lab.LengthIn*2.54, 1) + " cm)", part + ", " + inch, inch}
	for _, s := range lines {
		if p.width(ptForCap(math.Max(minSmallCap, 0.8*small)), plain, s) <= w {
			return s
		}
	}
	return inch
}

// minSmallCap is the smallest height of capitals on a label: 6 pt print.
const minSmallCap = 1.5

// labelLine is one small line of a label; need 0 is the one needed most.
type labelLine struct {
	s     string
	style string
	need  int
}

// keepLines gives the n most needed lines that are not empty, in their order.
func keepLines(lines []labelLine, n int) []labelLine {
	lines = slices.DeleteFunc(slices.Clone(lines), func(l labelLine) bool { return l.s == "" })
	for len(lines) > max(n, 1) {
		most := 0
		for i, l := range lines {
			if l.need > lines[most].need {
				most = i
			}
		}
		lines = slices.Delete(lines, most, most+1)
	}
	return lines
}
