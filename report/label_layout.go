package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Paper is a sheet of paper, upright, in millimetres.
type Paper struct {
	Name string
	W, H float64
}

// The papers known by name: A4 and A5 are ISO 216, Letter is ANSI Y14.1 size A
// (8 1/2 × 11 in).
var papers = []Paper{{"A4", 210, 297}, {"A5", 148, 210}, {"Letter", 215.9, 279.4}}

// ParsePaper reads "A4", "letter" or plain millimetres, "210x297".
func ParsePaper(s string) (Paper, error) {
	for _, p := range papers {
		if strings.EqualFold(strings.TrimSpace(s), p.Name) {
			return p, nil
		}
	}
	w, h, err := ParseMM2(s)
	if err != nil {
		return Paper{}, fmt.Errorf("%q is no paper: say A4, A5, Letter, or width x height in millimetres such as 210x297", s)
	}
	if w < 20 || h < 20 || w > 2000 || h > 2000 {
		return Paper{}, fmt.Errorf("paper of %s x %s mm cannot be printed on: say 20 to 2000 mm each way", number(w, 1), number(h, 1))
	}
	return Paper{fmt.Sprintf("%s x %s mm", number(w, 1), number(h, 1)), w, h}, nil
}

// Landscape is the paper lying on its long side.
func (p Paper) Landscape() Paper {
	if p.H > p.W {
		p.W, p.H = p.H, p.W
	}
	return p
}

// ParseMM2 reads two millimetre values, "63.5x38", "63.5 × 38 mm".
func ParseMM2(s string) (a, b float64, err error) {
	left, right, found := strings.Cut(strings.NewReplacer("×", "x", "X", "x", "mm", "", " ", "").Replace(s), "x")
	a, errA := strconv.ParseFloat(left, 64)
	b, errB := strconv.ParseFloat(right, 64)
	if !found || errA != nil || errB != nil || !(a >= 0 && b >= 0) || math.IsInf(a+b, 0) {
		return 0, 0, fmt.Errorf("%q is not two sizes in millimetres: write them like 63.5x38", s)
	}
	return a, b, nil
}

// LabelLayout says where the labels sit on each page, all in millimetres from
// the page's top left corner.
type LabelLayout struct {
	PageW, PageH float64
	Rows, Cols   int
	CellW, CellH float64
	Left, Top    float64 // of the first cell
	GapX, GapY   float64 // between cells
	// CutLines draws a thin line around each cell, for plain paper.
	CutLines bool
	// Skip leaves the first cells of the first page free: a sheet that was
	// begun can be used up.
	Skip int
}

// minMargin is what nearly every printer needs at the edge of a sheet.
const minMargin = 4.0

// SheetLayout puts rows × cols labels on a sheet. cellW and cellH of 0 divide
// the paper evenly inside a margin of 8 mm; left and top below 0 centre the
// cells.
func SheetLayout(p Paper, rows, cols int, cellW, cellH, left, top float64) (LabelLayout, error) {
	if rows < 1 || cols < 1 || rows > 100 || cols > 100 {
		return LabelLayout{}, fmt.Errorf("%d rows of %d labels cannot be laid out: say 1 to 100 each way", rows, cols)
	}
	const margin = 8
	l := LabelLayout{PageW: p.W, PageH: p.H, Rows: rows, Cols: cols, CellW: cellW, CellH: cellH, Left: left, Top: top}
	if l.CellW == 0 {
		l.CellW = (p.W - 2*margin) / float64(cols)
	}
	if l.CellH == 0 {
		l.CellH = (p.H - 2*margin) / float64(rows)
	}
	if l.Left < 0 {
		l.Left = (p.W - l.CellW*float64(cols)) / 2
	}
	if l.Top < 0 {
		l.Top = (p.H - l.CellH*float64(rows)) / 2
	}
	return l, l.check()
}

// RollLayout is one label after the other on a continuous roll: each page is
// one label, width across the roll and length along it.
func RollLayout(width, length float64) (LabelLayout, error) {
	l := LabelLayout{PageW: width, PageH: length, Rows: 1, Cols: 1, CellW: width, CellH: length}
	return l, l.check()
}

func (l LabelLayout) check() error {
	right := l.Left + float64(l.Cols)*l.CellW + float64(l.Cols-1)*l.GapX
	bottom := l.Top + float64(l.Rows)*l.CellH + float64(l.Rows-1)*l.GapY
	const eps = 1e-6
	switch {
	case !(l.CellW > 0 && l.CellH > 0 && l.CellW < 2000 && l.CellH < 2000):
		return fmt.Errorf("a label of %v x %v mm cannot be printed: say up to 2000 mm each way", l.CellW, l.CellH)
	case right > l.PageW+eps || l.Left < -eps:
		return fmt.Errorf("%d labels of %s mm do not fit across a page of %s mm: make them narrower, or fewer", l.Cols, number(l.CellW, 1), number(l.PageW, 1))
	case bottom > l.PageH+eps || l.Top < -eps:
		return fmt.Errorf("%d labels of %s mm do not fit down a page of %s mm: make them lower, or fewer", l.Rows, number(l.CellH, 1), number(l.PageH, 1))
	}
	if _, err := planLabel(l.CellW, l.CellH); err != nil {
		return err
	}
	return nil
}

// perPage is how many cells a page has.
func (l LabelLayout) perPage() int { return l.Rows * l.Cols }

// cell gives the top left corner of cell i of a page, row by row.
func (l LabelLayout) cell(i int) (x, y float64) {
	r, c := i/l.Cols, i%l.Cols
	return l.Left + float64(c)*(l.CellW+l.GapX), l.Top + float64(r)*(l.CellH+l.GapY)
}

// box is a rectangle in millimetres.
type box struct{ x, y, w, h float64 }

// labelPlan says where things go in one label, from its top left corner.
type labelPlan struct {
	text box
	qr   box // a whole number of millimetres a side
}

const (
	labelPad = 2.0 // mm kept free at the edge of a label
	// A symbol needs four modules of white on each side (ISO/IEC 18004,
	// quiet zone); ours has 21 modules.
	qrQuiet   = 4.0 / 21
	minQRSide = 10 // mm: modules of 0.48 mm, which a phone reads from a hand's width
	maxQRSide = 30
	// minCap is the height of the capitals and figures of the size. ISO
	// 9241-303 asks for at least 16 minutes of arc and recommends 20 to 22
	// (from memory); 20 minutes at 0.7 m, an arm's length, are 4.1 mm.
	minCap = 4.1
)

// planLabel divides a label: the QR code to the right of the text, or below it
// on a label that is higher than wide.
func planLabel(w, h float64) (labelPlan, error) {
	tooSmall := fmt.Errorf("a label of %s x %s mm is too small for a size that can be read at arm's length and its QR code: make it at least 40 x 18 mm", number(w, 1), number(h, 1))
	in := box{labelPad, labelPad, w - 2*labelPad, h - 2*labelPad}
	if in.w <= 0 || in.h <= 0 {
		return labelPlan{}, tooSmall
	}
	var p labelPlan
	if w >= h {
		side := math.Min(in.h, in.w*0.42) / (1 + qrQuiet) // the label's edge is half of the white
		side = math.Floor(math.Min(side, maxQRSide))
		q := side * qrQuiet
		p.qr = box{w - labelPad - side - q/2, (h - side) / 2, side, side}
		p.text = box{in.x, in.y, p.qr.x - q - in.x, in.h}
	} else {
		side := math.Floor(math.Min(math.Min(in.w/(1+qrQuiet), in.h*0.45/(1+qrQuiet)), maxQRSide))
		q := side * qrQuiet
		p.qr = box{(w - side) / 2, h - labelPad - side - q/2, side, side}
		p.text = box{in.x, in.y, in.w, p.qr.y - q - in.y}
	}
	if p.qr.w < minQRSide || p.text.w < 18 || p.text.h < 14 {
		return labelPlan{}, tooSmall
	}
	return p, nil
}
