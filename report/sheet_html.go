package report

import (
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strconv"
)

//go:embed sheet.html
var sheetPage string

// sheetTemplate is parsed once. html/template escapes whatever is put in,
// names of files too, for the place where it is put.
var sheetTemplate = template.Must(template.New("sheet").Parse(sheetPage))

// htmlRow is a row as the page shows it, with the values it is sorted by.
type htmlRow struct {
	SheetRow
	Open                           bool
	Size, Pitch, Sure, Length      string
	Part, Settle, Why              string
	SortSize, SortSure, SortLength string
	Pictures                       []htmlPicture
}

type htmlPicture struct {
	Name, Says string
	load       func() ([]byte, error)
}

// Source loads the picture as a data URI; it is called while the page is
// written, one picture after the other.
func (p htmlPicture) Source() (template.URL, error) {
	if p.load == nil {
		return "", nil
	}
	b, err := p.load()
	if err != nil || len(b) == 0 {
		return "", err
	}
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(b)), nil
}

// SheetHTML writes the sheet as one page that needs nothing beside it: the
// pictures are in it, and it sorts and prints without a network.
func SheetHTML(w io.Writer, s Sheet) error {
	page := struct {
		Title               string
		Rows                []htmlRow
		OpenCount, AllCount int
	}{Title: Printable(s.Title), AllCount: len(s.Rows)}
	for i, r := range s.Rows {
		h := htmlRow{SheetRow: r, Open: r.open(), Size: r.size(), Pitch: r.pitch(), Sure: upperFirst(r.sure()), Length: r.length(),
			Part: r.part(), Settle: r.settleLine(), Why: Printable(r.why())}
		// The order of the sheet itself is by what is to settle, then size.
		h.SortSize = strconv.Itoa(i)
		h.SortSure = fmt.Sprintf("%.6f", r.Confidence)
		if r.State == RowSettled {
			h.SortSure = "2"
		} else if r.open() {
			h.SortSure = fmt.Sprintf("%.6f", r.Confidence-1)
		}
		h.SortLength = fmt.Sprintf("%.4f", r.LengthIn)
		for _, p := range r.Photos {
			h.Pictures = append(h.Pictures, htmlPicture{Printable(p.Name), Printable(r.says(p)), p.Picture})
		}
		h.Name, h.Place = Printable(r.Name), Printable(r.Place)
		if h.Open {
			page.OpenCount++
		}
		page.Rows = append(page.Rows, h)
	}
	if err := sheetTemplate.Execute(w, page); err != nil {
		return fmt.Errorf("the page could not be written: %w", err)
	}
	return nil
}
