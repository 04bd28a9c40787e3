package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"golang.org/x/net/html"

	"dentcount/shelf"
)

// A name that is hostile on a terminal, in HTML, in CSV and on paper at once.
const hostile = "=cmd|' /C calc'!A0<script>alert(1)</script>\" onerror=\"x\n\x1b[31m\u202e.jpg\xff"

func testPicture(t testing.TB, w, h int) func() ([]byte, error) {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := uint8(90 + 120*((x/4)%2))
			img.Set(x, y, color.RGBA{v, v, uint8(v - 30), 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	return func() ([]byte, error) { return b.Bytes(), nil }
}

func testSheet(t testing.TB) Sheet {
	pic, tall := testPicture(t, 640, 480), testPicture(t, 300, 640)
	s := Sheet{Title: "The box from the attic " + hostile, Rows: []SheetRow{
		{ID: "K7M4-PXWC", State: RowAnswered, Kind: "reed", Label: "12", System: "inch", PerInch: 12.003, U: 0.004, Confidence: 0.991, LengthIn: 26.5, Photos: []SheetPhoto{{"reed-07/a.jpg", "12-dent reed", pic}, {"reed-07/b.jpg", "12-dent reed", pic}}},
		{ID: "3XCJ-98RM", State: RowUnsure, Kind: "reed", Label: "40/10", System: "metric", PerInch: 10.15, U: 0.05, Confidence: 0.64, Doubt: "40/10 and 10 are both possible", Advice: "tell how thick the ruler is", Photos: []SheetPhoto{{"reed-08.jpg", "not sure: 40/10 or 10", pic}}},
		{ID: "YHNT-N6PY", State: RowSettled, Kind: "rigid-heddle", Label: "12", System: "inch", PerInch: 12, Name: "studio", Place: "north wall"},
		{ID: "87NM-TW4R", State: RowRefused, Doubt: "no ruler was found", Advice: "lay a ruler across the wires", Photos: []SheetPhoto{{hostile, "can't tell: no ruler", tall}}},
		{State: RowFault, Doubt: "the photo is cut short", Advice: "copy it again from the camera", Photos: []SheetPhoto{{"torn.jpg", "", nil}}},
		{ID: "PH6K-MC6C", State: RowAnswered, Kind: "reed", Label: "40/10", System: "metric", PerInch: 10.161, U: 0.003, Confidence: 0.98, Photos: []SheetPhoto{{"z.jpg", "40/10 reed", tall}}},
		{ID: "RKYH-JPKC", State: RowAnswered, Kind: "reed", Label: "none", System: "none", PerInch: 11.31, U: 0.01, Confidence: 0.97},
		{ID: "J43F-7X9F", State: RowAnswered, Kind: "reed", Label: "12", System: "inch", PerInch: 11.998, U: 0.004, Confidence: 0.999},
	}}
	s.Sort()
	return s
}

func TestSheetOrder(t *testing.T) {
	var got []string
	for _, r := range testSheet(t).Rows {
		got = append(got, orDash(r.ID))
	}
	// To settle: not read, can't tell, not sure; then coarse to fine, each size together.
	want := []string{"-", "87NM-TW4R", "3XCJ-98RM", "PH6K-MC6C", "RKYH-JPKC", "J43F-7X9F", "K7M4-PXWC", "YHNT-N6PY"}
	if !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

func TestSheetText(t *testing.T) {
	var b bytes.Buffer
	if err := SheetText(&b, testSheet(t)); err != nil {
		t.Fatal(err)
	}
	out := b.String()
	if strings.ContainsAny(out, "\x1b\u202e\t") || !utf8.ValidString(out) {
		t.Errorf("a name steers the terminal:\n%q", out)
	}
	for _, want := range []string{
		"To settle (3)\n", "\n40/10, 10.16 per inch (1)\n", "\n12 per inch, 47.2 per 10 cm (3)\n", "\n11.31 per inch, 44.5 per 10 cm, no made size (1)\n",
		"      No ruler was found. Lay a ruler across the wires.\n      dentcount shelf settle 87NM-TW4R SIZE\n",
		"      dentcount shelf settle 3XCJ-98RM 40/10\n", "settled by a person", "sure: 99 in 100", "26 1/2 in", "reed-07/a.jpg and 1 more",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing in\n%s", want, out)
		}
	}
	if n := strings.Count(out, "\n"); n != 8+4+3+3+2 {
		t.Errorf("%d lines: a name has broken one\n%s", n, out)
	}
	b.Reset()
	if err := SheetText(&b, Sheet{}); err != nil || b.String() != "Nothing there.\n" {
		t.Errorf("%q, %v", b.String(), err)
	}
	if err := SheetText(failingWriter{}, testSheet(t)); err == nil {
		t.Error("a full disk went unnoticed")
	}
}

func TestSheetCSV(t *testing.T) {
	var b bytes.Buffer
	if err := SheetCSV(&b, testSheet(t), shelf.EscapeCell); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 9 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	at := map[string]int{}
	for i, h := range rows[0] {
		at[h] = i
	}
	for _, row := range rows[1:] {
		for i, c := range row {
			if c != "" && strings.ContainsRune("=+-@\t\r\n", rune(c[0])) {
				t.Errorf("%s %q runs as a formula", rows[0][i], c)
			}
		}
	}
	k := rows[7]
	if k[at["id"]] != "K7M4-PXWC" || k[at["size"]] != "12" || k[at["dents_per_inch"]] != "12.0030" || k[at["dents_per_10cm"]] != "47.256" || k[at["length_in"]] != "26.500" || k[at["photo_count"]] != "2" || k[at["state"]] != "answered" {
		t.Errorf("%v", k)
	}
	if f := rows[1]; f[at["state"]] != "fault" || f[at["photos"]] != "torn.jpg" || f[at["dents_per_inch"]] != "" {
		t.Errorf("%v", f)
	}
}

func TestSheetJSON(t *testing.T) {
	var b bytes.Buffer
	if err := SheetJSON(&b, testSheet(t)); err != nil {
		t.Fatal(err)
	}
	var got sheetJSON
	dec := json.NewDecoder(&b)
	dec.DisallowUnknownFields()
	if err := dec.Decode(&got); err != nil || got.Schema != 1 || len(got.Rows) != 8 {
		t.Fatalf("%+v, %v", got, err)
	}
	if r := got.Rows[0]; r.State != RowFault || r.Size != nil || r.LengthIn != nil || len(r.Photos) != 1 {
		t.Errorf("%+v", r)
	}
	if r := got.Rows[6]; r.Size == nil || r.Size.DentsPerInch != 12.003 || *r.LengthIn != 26.5 || r.Photos[1].Name != "reed-07/b.jpg" {
		t.Errorf("%+v", r)
	}
	b.Reset()
	if err := SheetLines(&b, testSheet(t)); err != nil || strings.Count(b.String(), "\n") != 8 {
		t.Errorf("%v\n%s", err, b.String())
	}
}

// What is put into the page stays text: read by an HTML5 parser, it has just
// the elements and attributes of our own template.
func TestSheetHTML(t *testing.T) {
	var b bytes.Buffer
	if err := SheetHTML(&b, testSheet(t)); err != nil {
		t.Fatal(err)
	}
	if look := os.Getenv("DENTCOUNT_LOOK"); look != "" {
		os.WriteFile(filepath.Join(look, "sheet.html"), b.Bytes(), 0o644)
	}
	page := b.String()
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	count := map[string]int{}
	var text strings.Builder
	var walk func(*html.Node)
	walk = func(n *html.Node) {
		if n.Type == html.ElementNode {
			count[n.Data]++
			for _, a := range n.Attr {
				switch {
				case strings.HasPrefix(a.Key, "on"):
					t.Errorf("<%s %s=%q>", n.Data, a.Key, a.Val)
				case (a.Key == "src" || a.Key == "href") && !strings.HasPrefix(a.Val, "data:image/jpeg;base64,"):
					t.Errorf("the page loads %q", a.Val)
				}
			}
		}
		if n.Type == html.TextNode && n.Parent.Data != "script" && n.Parent.Data != "style" {
			text.WriteString(n.Data + " ")
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(root)
	if count["script"] != 1 || count["img"] != 5 || count["tr"] != 9 || count["figure"] != 6 {
		t.Errorf("elements: %v", count)
	}
	if !strings.Contains(text.String(), "<script>alert(1)</script>") {
		t.Error("the name is not shown as it is")
	}
	for _, want := range []string{"3 to settle", "dentcount shelf settle 3XCJ-98RM 40/10", "12.003 ± 0.008 per inch", "Settled by a person"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("%q is missing", want)
		}
	}
	if strings.Contains(page, "ZgotmplZ") {
		t.Error("html/template refused a value")
	}
	broken := testSheet(t)
	broken.Rows[3].Photos = []SheetPhoto{{"x", "", func() ([]byte, error) { return nil, errors.New("gone") }}}
	if err := SheetHTML(&bytes.Buffer{}, broken); err == nil {
		t.Error("a picture that cannot be loaded went unnoticed")
	}
	if err := SheetHTML(failingWriter{}, testSheet(t)); err == nil {
		t.Error("a full disk went unnoticed")
	}
}

func TestSheetPDF(t *testing.T) {
	s := testSheet(t)
	for i := range 30 {
		r := s.Rows[len(s.Rows)-1]
		r.ID, r.Label, r.PerInch = fmt.Sprintf("%04d-0000", i), "15", 15
		s.Rows = append(s.Rows, r)
	}
	for _, name := range []string{"A4", "Letter"} {
		paper, _ := ParsePaper(name)
		var b bytes.Buffer
		if err := SheetPDF(&b, s, paper); err != nil {
			t.Fatal(err)
		}
		pages := rendered(t, b.Bytes(), 100)
		if len(pages) < 4 || len(pages) > 9 {
			t.Errorf("%s: %d pages for %d rows", name, len(pages), len(s.Rows))
		}
		for i, p := range pages {
			// Nothing runs over the edge of the paper: its margin is white.
			pix, err := p.DataPtrUint8()
			if err != nil {
				t.Fatal(err)
			}
			w, h := p.Cols(), p.Rows()
			margin := 8 * 100 / 25
			for y := range h {
				for x := range w {
					if (x < margin || x >= w-margin || y >= h-margin) && pix[y*w+x] < 128 {
						t.Fatalf("%s, page %d: ink at the edge, %d %d", name, i+1, x, y)
					}
				}
			}
		}
	}
	if err := SheetPDF(&bytes.Buffer{}, s, Paper{"a card", 80, 50}); err == nil {
		t.Error("a sheet on a card")
	}
	paper, _ := ParsePaper("A4")
	if err := SheetPDF(failingWriter{}, s, paper); err == nil {
		t.Error("a full disk went unnoticed")
	}
	if err := SheetPDF(&bytes.Buffer{}, Sheet{Title: "empty"}, paper); err != nil {
		t.Error(err)
	}
}
