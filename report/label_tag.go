package report

import (
	"fmt"
	"io"
	"strconv"
)

// Tag is one blank id tag: an id to lay in the photo, with a printed scale.
type Tag struct {
	ID string // as it is read
	// QR gives the text of the QR code for a symbol with sides of so many
	// whole millimetres.
	QR func(sideMM int) string
}

// The tag, in millimetres: the QR code at the left, and two scales of known
// length at the cut edges, so that a cut tag can be laid against the wires
// like a ruler: 100 mm at the lower edge, 4 in at the upper one.
const (
	tagW, tagH = 132.0, 32.0
	tagQRSide  = 21 // modules of 1 mm
	tagScaleX  = 29.0
	tagTickW   = 0.2
	tagMM      = 100 // the lower scale
	tagInches  = 4   // the upper one
)

// TagOutline is the outline of a tag, in millimetres from the middle of its QR
// symbol, x to the right and y down as it is read.
func TagOutline() (left, top, right, bottom float64) {
	return -tagScaleX / 2, -tagH / 2, tagW - tagScaleX/2, tagH / 2
}

// TagsPerPage is how many tags a page of the paper holds.
func TagsPerPage(p Paper) int {
	l, err := tagLayout(p)
	if err != nil {
		return 0
	}
	return l.perPage()
}

// tagLayout puts as many tags on the paper as it holds, in the orientation
// that holds more.
func tagLayout(p Paper) (LabelLayout, error) {
	var best LabelLayout
	const head = 7.0 // room for the line that says how to print
	for _, q := range []Paper{p, {p.Name, p.H, p.W}} {
		l := LabelLayout{PageW: q.W, PageH: q.H, CellW: tagW, CellH: tagH}
		l.Cols = int((q.W - 2*minMargin) / tagW)
		l.Rows = int((q.H - 2*minMargin - head) / tagH)
		l.Left = (q.W - float64(l.Cols)*tagW) / 2
		l.Top = minMargin + head + (q.H-2*minMargin-head-float64(l.Rows)*tagH)/2
		if l.Cols > 0 && l.Rows > 0 && l.perPage() > best.Rows*best.Cols {
			best = l
		}
	}
	if best.Rows == 0 {
		return best, fmt.Errorf("no id tag of %s x %s mm fits on %s: take larger paper", number(tagW, 0), number(tagH, 0), p.Name)
	}
	best.CutLines = true
	return best, nil
}

// TagsPDF prints blank id tags.
func TagsPDF(w io.Writer, tags []Tag, paper Paper) error {
	if len(tags) == 0 {
		return fmt.Errorf("there is no tag to print")
	}
	l, err := tagLayout(paper)
	if err != nil {
		return err
	}
	p := newPrinter("id tags", l.PageW, l.PageH)
	n := l.perPage()
	for i, tag := range tags {
		if i%n == 0 {
			p.addPage(l.PageW, l.PageH)
			how := "Print at 100 % (actual size). Before use lay a ruler on one scale: it must be 100 mm and 4 in long. Cut along the lines."
			pt := p.fit(how, plain, float64(l.Cols)*tagW, 8.5)
			p.text(l.Left, l.Top-2.5, pt, plain, how)
		}
		x, y := l.cell(i % n)
		p.pdf.SetDrawColor(150, 150, 150)
		p.pdf.Rect(x, y, tagW, tagH, "D")
		if err := p.tag(tag, x, y); err != nil {
			return err
		}
	}
	return p.finish(w)
}

func (p *printer) tag(tag Tag, x, y float64) error {
	const q = (tagH - tagQRSide) / 2
	if err := p.qr(tag.QR(tagQRSide), box{x + (tagScaleX-tagQRSide)/2, y + q, tagQRSide, tagQRSide}); err != nil {
		return err
	}
	sx := x + tagScaleX
	// Sixteenths hang from the upper edge, the lengths halving with the part
	// of the inch; millimetres stand on the lower edge.
	for i := 0; i <= tagInches*16; i++ {
		length := 2.2
		switch {
		case i%16 == 0:
			length = 6.2
		case i%8 == 0:
			length = 5
		case i%4 == 0:
			length = 4
		case i%2 == 0:
			length = 3
		}
		at := sx + float64(i)*25.4/16
		p.tick(at, y, length)
		if i%16 == 0 {
			p.scaleFigure(at, y+length+0.9+capMM(7), i/16, i == tagInches*16)
		}
	}
	for i := 0; i <= tagMM; i++ {
		length := 2.6
		switch {
		case i%10 == 0:
			length = 5.6
		case i%5 == 0:
			length = 4.1
		}
		at := sx + float64(i)
		p.tick(at, y+tagH-length, length)
		if i%10 == 0 {
			p.scaleFigure(at, y+tagH-length-0.9, i/10, i == tagMM)
		}
	}
	p.text(sx+2.2, y+capMM(7)+7.1, 7, plain, "inch")
	p.text(sx+2.2, y+tagH-6.5, 7, plain, "cm")
	pt := ptForCap(5)
	mid := y + tagH/2 + 2.5
	p.text(sx+1, mid, pt, bold, tag.ID)
	at := sx + 1 + p.width(pt, bold, tag.ID) + 3
	p.text(at, mid-2.7, 7, plain, "lay this flat on the wires, beside")
	p.text(at, mid+0.2, 7, plain, "the ruler; keep all of it in the photo")
	return nil
}

// tick draws a mark whose middle is at x, from y down.
func (p *printer) tick(x, y, length float64) {
	p.pdf.Rect(x-tagTickW/2, y, tagTickW, length, "F")
}

// scaleFigure writes the figure of a whole unit in the middle under (or over)
// its mark; the last one is kept inside the tag.
func (p *printer) scaleFigure(x, base float64, n int, last bool) {
	s := strconv.Itoa(n)
	w := p.width(7, plain, s)
	at := x - w/2
	if last {
		at = x - w - 0.4
	}
	p.text(at, base, 7, plain, s)
}
