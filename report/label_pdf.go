package report

import (
	"fmt"
	"io"
	"sync"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"github.com/skip2/go-qrcode"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// printer wraps a PDF document with our two fonts. Lengths are millimetres
// from the top left corner of the page, font sizes are points.
type printer struct{ pdf *fpdf.Fpdf }

const (
	plain = ""
	bold  = "B"
)

// newPrinter opens a document. The same calls give the same bytes: the dates
// in it are fixed and its lists are sorted.
func newPrinter(title string, pageW, pageH float64) *printer {
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", OrientationStr: "P", Size: fpdf.SizeType{Wd: pageW, Ht: pageH}})
	epoch := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	pdf.SetCreationDate(epoch)
	pdf.SetModificationDate(epoch)
	pdf.SetCatalogSort(true)
	pdf.SetProducer("dentcount", false)
	pdf.SetTitle(inFont(title), true) // the library cannot take a torn character
	pdf.SetMargins(0, 0, 0)
	pdf.SetAutoPageBreak(false, 0)
	pdf.AddUTF8FontFromBytes("go", plain, goregular.TTF)
	pdf.AddUTF8FontFromBytes("go", bold, gobold.TTF)
	pdf.SetFillColor(0, 0, 0)
	pdf.SetTextColor(0, 0, 0)
	pdf.SetLineWidth(0.15)
	return &printer{pdf}
}

func (p *printer) finish(w io.Writer) error {
	if err := p.pdf.Output(w); err != nil {
		return fmt.Errorf("the PDF could not be written: %w", err)
	}
	return nil
}

// addPage starts a page; any orientation is in the sizes themselves.
func (p *printer) addPage(w, h float64) {
	p.pdf.AddPageFormat("P", fpdf.SizeType{Wd: w, Ht: h})
}

// text writes one line with its baseline at y and its left end at x.
func (p *printer) text(x, y, pt float64, style, s string) {
	p.pdf.SetFont("go", style, pt)
	p.pdf.Text(x, y, inFont(s))
}

// width is how wide a line is.
func (p *printer) width(pt float64, style, s string) float64 {
	p.pdf.SetFont("go", style, pt)
	return p.pdf.GetStringWidth(inFont(s))
}

// fit gives the largest size up to maxPt at which s is no wider than w.
func (p *printer) fit(s, style string, w, maxPt float64) float64 {
	if full := p.width(maxPt, style, s); full > w {
		return maxPt * w / full
	}
	return maxPt
}

// clip shortens s until it is no wider than w, and marks that with an ellipsis.
func (p *printer) clip(s, style string, pt, w float64) string {
	if p.width(pt, style, s) <= w {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && p.width(pt, style, string(r)+"…") > w {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}

// qr draws a QR code as one filled square a module, in a box.
func (p *printer) qr(text string, at box) error {
	code, err := qrcode.New(text, qrcode.Medium)
	if err != nil {
		return fmt.Errorf("no QR code can be made of %q: %w", text, err)
	}
	code.DisableBorder = true
	rows := code.Bitmap()
	m := at.w / float64(len(rows))
	for r, row := range rows {
		for c := 0; c < len(row); {
			n := 0
			for c+n < len(row) && row[c+n] {
				n++
			}
			if n > 0 {
				// One rectangle for a run of dark modules: no hairlines between them.
				p.pdf.Rect(at.x+float64(c)*m, at.y+float64(r)*m, float64(n)*m, m, "F")
			}
			c += max(n, 1)
		}
	}
	return nil
}

// capHeight is the height of a capital H in the bold font, as a share of the
// font size.
var capHeight = sync.OnceValue(func() float64 {
	f := parsedFont()
	var buf sfnt.Buffer
	i, err := f.GlyphIndex(&buf, 'H')
	if err != nil {
		panic("report: the built-in font has no H: " + err.Error())
	}
	b, _, err := f.GlyphBounds(&buf, i, 1000<<6, font.HintingNone)
	if err != nil {
		panic("report: the built-in font is broken: " + err.Error())
	}
	return float64(-b.Min.Y) / (1000 << 6)
})

var parsedFont = sync.OnceValue(func() *sfnt.Font {
	f, err := sfnt.Parse(gobold.TTF)
	if err != nil {
		panic("report: the built-in font is broken: " + err.Error())
	}
	return f
})

// ptForCap gives the font size at which capitals are mm high.
func ptForCap(mm float64) float64 { return mm / capHeight() * 72 / 25.4 }

// capMM is the inverse of ptForCap.
func capMM(pt float64) float64 { return pt * 25.4 / 72 * capHeight() }

// inFont replaces what the built-in fonts cannot draw by "?", so that a name
// in another script is seen to be cut and not silently left out.
func inFont(s string) string {
	f := parsedFont()
	var buf sfnt.Buffer
	out := []rune(Printable(s))
	for i, r := range out {
		if g, err := f.GlyphIndex(&buf, r); err != nil || g == 0 || r > 0xFFFF {
			out[i] = '?'
		}
	}
	return string(out)
}
