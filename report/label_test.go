package report

import (
	"bytes"
	"fmt"
	"image"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	zxqr "github.com/makiuchi-d/gozxing/qrcode"
	"gocv.io/x/gocv"

	"dentcount/shelf"
)

func testID(i int) shelf.ID { return shelf.DerivedID("label test", i) }

func testLabel(i int, label, system string, perInch, length float64, name string) Label {
	id := testID(i)
	return Label{ID: id.String(), Kind: "reed", SizeLabel: label, System: system, PerInch: perInch, LengthIn: length, Name: name,
		QR: func(side int) string { return shelf.Tag{ID: id, SideMM: side}.Text() }}
}

var testLabels = []Label{
	testLabel(0, "12", "inch", 12, 26.5, "north wall"),
	testLabel(1, "40/10", "metric", 10.16, 27.5625, "rust on one cap"),
	testLabel(2, "12.5", "inch", 12.5, 0, ""),
	testLabel(3, "", "", 0, 24, "settle me"),
	testLabel(4, "none", "none", 11.31, 36, "Großmutters Kamm №7"),
	testLabel(5, "130", "dents in 40 in, an old count", 3.25, 36, "日本 🧶 =cmd"),
	testLabel(6, "7.5", "inch", 7.5, 31.0625, strings.Repeat("a very long name ", 8)),
}

// rendered turns a PDF into grey pictures of its pages with poppler, a
// program that is not ours.
func rendered(t *testing.T, pdf []byte, dpi int) []gocv.Mat {
	t.Helper()
	if _, err := exec.LookPath("pdftoppm"); err != nil {
		t.Skip("pdftoppm is not installed (apt-get install poppler-utils, or make setup): the PDF is not looked at")
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "x.pdf")
	if err := os.WriteFile(file, pdf, 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("pdftoppm", "-gray", "-r", fmt.Sprint(dpi), file, filepath.Join(dir, "p"))
	if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
		t.Fatalf("pdftoppm: %v %s", err, out)
	}
	files, _ := filepath.Glob(filepath.Join(dir, "p*.pgm"))
	sort.Strings(files)
	var pages []gocv.Mat
	for _, f := range files {
		m := gocv.IMRead(f, gocv.IMReadGrayScale)
		if m.Empty() {
			t.Fatalf("%s cannot be read", f)
		}
		t.Cleanup(func() { m.Close() })
		pages = append(pages, m)
	}
	// To look at them: DENTCOUNT_LOOK=/some/folder go test -run Label ./report
	if look := os.Getenv("DENTCOUNT_LOOK"); look != "" {
		for i, m := range pages {
			gocv.IMWrite(filepath.Join(look, fmt.Sprintf("%s-%d.png", strings.ReplaceAll(t.Name(), "/", "_"), i+1)), m)
		}
	}
	return pages
}

// decode reads the QR code in a part of a page with a decoder that is neither
// ours nor the encoder's (Debian's OpenCV is built without one), at full and
// at half size, as a phone would from two distances. side is the distance of
// the middles of the two upper finder patterns in pixels.
func decode(t *testing.T, page gocv.Mat, mm box, dpi int) (text string, side float64) {
	t.Helper()
	k := float64(dpi) / 25.4
	r := image.Rect(int(mm.x*k), int(mm.y*k), int((mm.x+mm.w)*k), int((mm.y+mm.h)*k)).Intersect(image.Rect(0, 0, page.Cols(), page.Rows()))
	view := page.Region(r)
	defer view.Close()
	for _, scale := range []float64{1, 0.5, 0.75} {
		cell := gocv.NewMat()
		gocv.Resize(view, &cell, image.Point{}, scale, scale, gocv.InterpolationArea)
		img, err := cell.ToImage()
		cell.Close()
		if err != nil {
			t.Fatal(err)
		}
		bmp, err := gozxing.NewBinaryBitmapFromImage(img)
		if err != nil {
			t.Fatal(err)
		}
		res, err := zxqr.NewQRCodeReader().Decode(bmp, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
		if err != nil {
			continue
		}
		// The points are the middles of the finder patterns: bottom left, top left, top right.
		p := res.GetResultPoints()
		return res.GetText(), math.Hypot(p[2].GetX()-p[1].GetX(), p[2].GetY()-p[1].GetY()) / scale
	}
	return "", 0
}

func TestLabelsDecodeFromThePrintedPage(t *testing.T) {
	a4, _ := ParsePaper("A4")
	letter, _ := ParsePaper("letter")
	layouts := map[string]func() (LabelLayout, error){
		"A4 8x3":        func() (LabelLayout, error) { return SheetLayout(a4, 8, 3, 0, 0, -1, -1) },
		"Letter 10x2":   func() (LabelLayout, error) { return SheetLayout(letter, 10, 2, 0, 0, -1, -1) },
		"A4 given cell": func() (LabelLayout, error) { return SheetLayout(a4, 3, 2, 90, 60, 12, 15) },
		"A4 upright":    func() (LabelLayout, error) { return SheetLayout(a4, 4, 5, 0, 0, -1, -1) },
		"roll 62x29":    func() (LabelLayout, error) { return RollLayout(62, 29) },
		"roll 40x18":    func() (LabelLayout, error) { return RollLayout(40, 18) },
		"roll 30x60":    func() (LabelLayout, error) { return RollLayout(30, 60) },
	}
	const dpi = 200
	for name, layout := range layouts {
		t.Run(name, func(t *testing.T) {
			l, err := layout()
			if err != nil {
				t.Fatal(err)
			}
			l.CutLines = strings.HasPrefix(name, "A4")
			if l.perPage() > 2 {
				l.Skip = 2
			}
			var b bytes.Buffer
			if err := LabelsPDF(&b, testLabels, l); err != nil {
				t.Fatal(err)
			}
			pages := rendered(t, b.Bytes(), dpi)
			if want := (len(testLabels) + l.Skip + l.perPage() - 1) / l.perPage(); len(pages) != want {
				t.Fatalf("%d pages, want %d", len(pages), want)
			}
			for i, lab := range testLabels {
				slot := i + l.Skip
				x, y := l.cell(slot % l.perPage())
				text, _ := decode(t, pages[slot/l.perPage()], box{x, y, l.CellW, l.CellH}, dpi)
				tag, ok := shelf.ParseTag(text)
				plan, _ := planLabel(l.CellW, l.CellH)
				if !ok || tag.ID.String() != lab.ID || float64(tag.SideMM) != plan.qr.w {
					t.Errorf("label %d says %q, want the id %s", i, text, lab.ID)
				}
			}
		})
	}
}

// The figure of the size can be read at arm's length on every layout that is
// accepted: what is drawn in the page is measured.
func TestLabelSizesAreLargeEnough(t *testing.T) {
	for _, wh := range [][2]float64{{40, 18}, {62, 29}, {100, 50}, {30, 60}} {
		for i, lab := range testLabels[:3] {
			l, err := RollLayout(wh[0], wh[1])
			if err != nil {
				t.Fatal(err)
			}
			var b bytes.Buffer
			if err := LabelsPDF(&b, []Label{lab}, l); err != nil {
				t.Fatal(err)
			}
			const dpi = 300
			page := rendered(t, b.Bytes(), dpi)[0]
			plan, _ := planLabel(wh[0], wh[1])
			// The first run of rows with ink, from the top of the text: the
			// size, as nothing else is drawn beside or above it but its unit.
			k := float64(dpi) / 25.4
			run := 0
			pix, err := page.DataPtrUint8()
			if err != nil {
				t.Fatal(err)
			}
			for y := int(plan.text.y*k) - 2; y < page.Rows(); y++ {
				ink := false
				for x := int(plan.text.x * k); x < int((plan.text.x+plan.text.w)*k); x++ {
					ink = ink || pix[y*page.Cols()+x] < 128
				}
				if ink {
					run++
				} else if run > 0 {
					break
				}
			}
			if mm := float64(run) / k; mm < minCap-0.15 || mm > wh[1] {
				t.Errorf("%v label %d: the size is %.1f mm high", wh, i, mm)
			}
		}
	}
}

// The length is on every label that has room for three lines, whole, and no
// line is cut that could be said shorter.
func TestLabelsSayTheLength(t *testing.T) {
	p := newPrinter("labels", 100, 100)
	for _, lab := range testLabels {
		if lab.LengthIn <= 0 {
			continue
		}
		inch := Inches(lab.LengthIn) + " in"
		for _, w := range []float64{12, 20, 30, 38, 60} {
			line := p.partLine(lab, w, 3.2)
			if !strings.Contains(line, inch) {
				t.Errorf("%g mm: %q does not say %s", w, line, inch)
			}
			if got := p.width(ptForCap(minSmallCap), plain, line); got > w && line != inch {
				t.Errorf("%q is %.1f mm wide, there are %g", line, got, w)
			}
		}
	}
	if l := keepLines([]labelLine{{"49.2 per 10 cm", plain, 1}, {"reed, 27 in", plain, 2}, {"the long one", plain, 3}, {"K7M4-PXWC", bold, 0}}, 3); len(l) != 3 || l[1].s != "reed, 27 in" {
		t.Errorf("of three lines the length is not one: %v", l)
	}
}

func TestTagScalesAreTrue(t *testing.T) {
	for _, name := range []string{"A4", "Letter", "210x148"} {
		paper, err := ParsePaper(name)
		if err != nil {
			t.Fatal(err)
		}
		var tags []Tag
		for i := range 14 {
			id := testID(i)
			tags = append(tags, Tag{ID: id.String(), QR: func(side int) string { return shelf.Tag{ID: id, SideMM: side}.Text() }})
		}
		var b bytes.Buffer
		if err := TagsPDF(&b, tags, paper); err != nil {
			t.Fatal(err)
		}
		const dpi = 300
		k := float64(dpi) / 25.4
		pages := rendered(t, b.Bytes(), dpi)
		l, _ := tagLayout(paper)
		if want := (len(tags) + l.perPage() - 1) / l.perPage(); len(pages) != want {
			t.Fatalf("%s: %d pages, want %d", name, len(pages), want)
		}
		for i, tag := range tags {
			page := pages[i/l.perPage()]
			x, y := l.cell(i % l.perPage())
			text, side := decode(t, page, box{x, y, tagW, tagH}, dpi)
			got, ok := shelf.ParseTag(text)
			if !ok || got.ID.String() != tag.ID || got.SideMM != tagQRSide {
				t.Errorf("%s: tag %d says %q", name, i, text)
				continue
			}
			// The side of the symbol as it is told in it is its side on paper:
			// the finder patterns' middles lie 14 of 21 modules apart.
			if mm := side / k * 21 / 14; math.Abs(mm-tagQRSide) > 0.3 {
				t.Errorf("%s: tag %d: the symbol is %.2f mm wide, it says %d", name, i, mm, got.SideMM)
			}
			// Marks along a row of pixels just inside each cut edge.
			for _, s := range []struct {
				row   float64
				marks int
				mm    float64
			}{{y + tagH - 1.2, tagMM + 1, tagMM}, {y + 1.2, tagInches*16 + 1, tagInches * 25.4}} {
				at := marksAlong(page, int(s.row*k), int((x+tagScaleX-0.6)*k), int((x+tagScaleX+s.mm+0.6)*k))
				if len(at) != s.marks {
					t.Errorf("%s: tag %d: %d marks, want %d", name, i, len(at), s.marks)
					continue
				}
				if got := (at[len(at)-1] - at[0]) / k; math.Abs(got-s.mm) > 0.06 {
					t.Errorf("%s: tag %d: the scale is %.3f mm long, want %v", name, i, got, s.mm)
				}
				step := s.mm / float64(s.marks-1)
				for j := range at {
					if d := (at[j]-at[0])/k - float64(j)*step; math.Abs(d) > 0.08 {
						t.Errorf("%s: tag %d: mark %d is %.3f mm off", name, i, j, d)
						break
					}
				}
			}
		}
	}
}

// marksAlong gives the middles of the dark runs along a row, weighted by ink.
func marksAlong(page gocv.Mat, row, from, to int) []float64 {
	var out []float64
	var sum, ink float64
	pix, err := page.DataPtrUint8()
	if err != nil {
		return nil
	}
	for x := from; x <= to; x++ {
		v := 255 - float64(pix[row*page.Cols()+x])
		if v > 40 {
			sum += v * (float64(x) + 0.5)
			ink += v
		} else if ink > 0 {
			out = append(out, sum/ink)
			sum, ink = 0, 0
		}
	}
	if ink > 0 {
		out = append(out, sum/ink)
	}
	return out
}

func TestLabelLayoutRefusals(t *testing.T) {
	a4, _ := ParsePaper("A4")
	for name, err := range map[string]error{
		"no rows":     second(SheetLayout(a4, 0, 3, 0, 0, -1, -1)),
		"too many":    second(SheetLayout(a4, 1000, 3, 0, 0, -1, -1)),
		"too wide":    second(SheetLayout(a4, 2, 3, 100, 0, -1, -1)),
		"too high":    second(SheetLayout(a4, 8, 1, 100, 50, -1, -1)),
		"too small":   second(SheetLayout(a4, 40, 10, 0, 0, -1, -1)),
		"tiny roll":   second(RollLayout(12, 12)),
		"empty roll":  second(RollLayout(0, 0)),
		"NaN roll":    second(RollLayout(math.NaN(), 30)),
		"paper":       second(ParsePaper("foolscap")),
		"half paper":  second(ParsePaper("210x")),
		"huge paper":  second(ParsePaper("1e9x3")),
		"minus paper": second(ParsePaper("-210x297")),
		"no labels":   LabelsPDF(&bytes.Buffer{}, nil, LabelLayout{PageW: 62, PageH: 29, Rows: 1, Cols: 1, CellW: 62, CellH: 29}),
		"bad skip":    LabelsPDF(&bytes.Buffer{}, testLabels, LabelLayout{PageW: 62, PageH: 29, Rows: 1, Cols: 1, CellW: 62, CellH: 29, Skip: 1}),
		"no tags":     TagsPDF(&bytes.Buffer{}, nil, a4),
		"tags on A5":  TagsPDF(&bytes.Buffer{}, []Tag{{}}, Paper{"a card", 100, 60}),
		"full":        LabelsPDF(failingWriter{}, testLabels, LabelLayout{PageW: 62, PageH: 29, Rows: 1, Cols: 1, CellW: 62, CellH: 29}),
	} {
		if err == nil || len(err.Error()) < 15 {
			t.Errorf("%s: %v", name, err)
		}
	}
	if p, err := ParsePaper(" 63.5 × 38 mm "); err != nil || p.W != 63.5 || p.H != 38 {
		t.Errorf("%+v, %v", p, err)
	}
}

func second[T any](_ T, err error) error { return err }

type failingWriter struct{}

func (failingWriter) Write([]byte) (int, error) { return 0, fmt.Errorf("no space left on device") }

// The same labels give the same file.
func TestLabelsAreReproducible(t *testing.T) {
	l, _ := RollLayout(62, 29)
	var a, b bytes.Buffer
	if err := LabelsPDF(&a, testLabels, l); err != nil {
		t.Fatal(err)
	}
	if err := LabelsPDF(&b, testLabels, l); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("the files differ")
	}
}

func TestSizeBothWays(t *testing.T) {
	// 1 in = 25.4 mm exactly: 12 per inch is 1200/25.4 = 47.244 in 10 cm, and
	// 40 in 10 cm are 40 × 0.254 = 10.16 per inch.
	for _, c := range []struct {
		label, system string
		perInch       float64
		want          string
	}{
		{"12", "inch", 12, "12|per inch|47.2 per 10 cm"},
		{"40/10", "metric", 10.16, "40/10||10.16 per inch"},
		{"none", "none", 11.31, "11.31|per inch|44.5 per 10 cm, no made size"},
		{"", "", 0, "?|size open|settle it first"},
	} {
		a, b, d := SizeBothWays(c.label, c.system, c.perInch)
		if got := a + "|" + b + "|" + d; got != c.want {
			t.Errorf("%+v: %s", c, got)
		}
	}
}
