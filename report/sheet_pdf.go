package report

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"math"
	"strconv"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	"github.com/disintegration/imaging"
)

// The sheet on paper, in millimetres.
const (
	sheetMargin  = 12.0
	sheetThumbW  = 44.0 // of the picture
	sheetThumbPx = 360  // about 200 per inch on paper
	sheetMinRow  = 16.0
	sheetFont    = 8.5 // points
	sheetLine    = 4.0
)

// SheetPDF writes the sheet for printing: a row a part, with its first
// picture.
func SheetPDF(w io.Writer, s Sheet, paper Paper) error {
	if paper.W < 150 || paper.H < 100 {
		return fmt.Errorf("a sheet of parts needs paper of at least 150 x 100 mm; %s is %s x %s mm", paper.Name, number(paper.W, 1), number(paper.H, 1))
	}
	p := newPrinter(s.Title, paper.W, paper.H)
	l := sheetPrinter{printer: p, paper: paper, title: s.Title, y: math.Inf(1)}
	if len(s.Rows) == 0 {
		l.newPage()
		p.text(sheetMargin, l.y+5, 10, plain, "Nothing there.")
	}
	group := ""
	for i, r := range s.Rows {
		head := ""
		if g := r.groupName(); g != group || i == 0 {
			group = g
			n := 1
			for i+n < len(s.Rows) && s.Rows[i+n].groupName() == g {
				n++
			}
			head = g + " (" + strconv.Itoa(n) + ")"
		}
		if err := l.row(i, r, head); err != nil {
			return err
		}
	}
	return p.finish(w)
}

type sheetPrinter struct {
	*printer
	paper Paper
	title string
	y     float64 // top of what comes next
	pages int
}

func (l *sheetPrinter) newPage() {
	l.addPage(l.paper.W, l.paper.H)
	l.pages++
	right := l.paper.W - sheetMargin
	l.text(sheetMargin, 10, 11, bold, l.clip(l.title, bold, 11, right-sheetMargin-20))
	n := strconv.Itoa(l.pages)
	l.text(right-l.width(9, plain, n), 10, 9, plain, n)
	l.pdf.Rect(sheetMargin, 12, right-sheetMargin, 0.5, "F")
	l.y = 15
}

// row writes one row, with the heading of its group over it where head is set.
func (l *sheetPrinter) row(i int, r SheetRow, head string) error {
	textX := sheetMargin + sheetThumbW + 4
	textW := l.paper.W - sheetMargin - textX
	pic, w, h, err := l.picture(i, r)
	if err != nil {
		return err
	}
	lines := l.rowLines(r, textW)
	high := math.Max(math.Max(h, 8+float64(len(lines))*sheetLine), sheetMinRow) + 4
	need := high
	if head != "" {
		need += 9
	}
	if l.y+need > l.paper.H-sheetMargin {
		l.newPage()
	}
	if head != "" {
		l.text(sheetMargin, l.y+5.5, 12, bold, l.clip(head, bold, 12, l.paper.W-2*sheetMargin))
		l.y += 9
	}
	if pic != "" {
		l.pdf.ImageOptions(pic, sheetMargin, l.y+1, w, h, false, fpdf.ImageOptions{ImageType: "JPG"}, 0, "")
	}
	// The size and the id on the first line; a bar at the side of what is to settle.
	if r.open() {
		l.pdf.Rect(sheetMargin-3, l.y+1, 1.4, high-3, "F")
	}
	l.text(textX, l.y+6, 15, bold, l.clip(r.size(), bold, 15, textW*0.55))
	if r.ID != "" {
		l.text(textX+textW-l.width(11, bold, r.ID), l.y+6, 11, bold, r.ID)
	}
	for i, s := range lines {
		l.text(textX, l.y+11+float64(i)*sheetLine, sheetFont, plain, s)
	}
	l.y += high
	l.pdf.SetDrawColor(190, 190, 190)
	l.pdf.Line(sheetMargin, l.y-1, l.paper.W-sheetMargin, l.y-1)
	return nil
}

// rowLines says the row in lines no wider than w.
func (l *sheetPrinter) rowLines(r SheetRow, w float64) []string {
	first := joinNotEmpty(", ", r.part(), r.length(), joinNotEmpty(" ", r.pitch(), unitFor(r)), r.sure())
	if r.State == RowFault {
		first = r.sure()
	}
	out := l.wrap(first, w, 2)
	if r.Name != "" || r.Place != "" {
		out = append(out, l.wrap(joinNotEmpty(", ", r.Name, r.Place), w, 1)...)
	}
	if r.open() {
		out = append(out, l.wrap(r.why(), w, 5)...)
		if next := r.settleLine(); next != "" {
			out = append(out, l.wrap(next, w, 1)...)
		}
	}
	for i, p := range r.Photos {
		if i == 3 && len(r.Photos) > 4 {
			out = append(out, fmt.Sprintf("and %d photos more", len(r.Photos)-i))
			break
		}
		out = append(out, l.wrap(joinNotEmpty(": ", p.Name, r.says(p)), w, 2)...)
	}
	return out
}

func unitFor(r SheetRow) string {
	if r.pitch() == "" {
		return ""
	}
	return "per inch"
}

// wrap breaks s between words into lines no wider than w, at most n of them.
func (l *sheetPrinter) wrap(s string, w float64, n int) []string {
	words := strings.Fields(Printable(s))
	var out []string
	line := ""
	for i, word := range words {
		next := joinNotEmpty(" ", line, word)
		if line != "" && l.width(sheetFont, plain, next) > w {
			if len(out) == n-1 {
				return append(out, l.clip(strings.Join(append([]string{line}, words[i:]...), " "), plain, sheetFont, w))
			}
			out = append(out, line)
			next = word
		}
		line = next
	}
	if line != "" {
		out = append(out, l.clip(line, plain, sheetFont, w))
	}
	return out
}

// picture puts the first picture of the row into the document and gives its
// name there and its size on paper; no name where there is none.
func (l *sheetPrinter) picture(i int, r SheetRow) (name string, w, h float64, err error) {
	for _, p := range r.Photos {
		if p.Picture == nil {
			continue
		}
		raw, err := p.Picture()
		if err != nil {
			return "", 0, 0, err
		}
		if len(raw) == 0 {
			continue
		}
		small, size, err := smallJPEG(raw)
		if err != nil {
			continue // a picture that cannot be read is left out, the row is not
		}
		name = "row" + strconv.Itoa(i)
		l.pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "JPG"}, bytes.NewReader(small))
		k := math.Min(sheetThumbW/float64(size.X), 40/float64(size.Y))
		return name, float64(size.X) * k, float64(size.Y) * k, nil
	}
	return "", 0, 0, nil
}

// smallJPEG reduces a picture to what paper can show, so that a document with
// thousands of them stays small.
func smallJPEG(raw []byte) ([]byte, image.Point, error) {
	img, err := jpeg.Decode(bytes.NewReader(raw))
	if err != nil {
		return nil, image.Point{}, err
	}
	small := imaging.Fit(img, sheetThumbPx, sheetThumbPx, imaging.Box)
	var b bytes.Buffer
	if err := jpeg.Encode(&b, small, &jpeg.Options{Quality: 80}); err != nil {
		return nil, image.Point{}, err
	}
	return b.Bytes(), small.Bounds().Size(), nil
}
