package report

import (
	"cmp"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
)

// The states of a row, the ones that want a person first.
const (
	RowFault    = "fault"    // the photo could not be read at all
	RowRefused  = "refused"  // nothing could be measured
	RowUnsure   = "unsure"   // measured, the size is not certain
	RowAnswered = "answered" // measured, and the size trusted
	RowSettled  = "settled"  // a person has said it
)

// Sheet is a table of parts as it is shown on a terminal, in a file or on paper.
type Sheet struct {
	Title string
	Rows  []SheetRow
}

// SheetRow is one part, or one photo that could not be read.
type SheetRow struct {
	ID         string // as it is read; empty for a fault
	State      string
	Kind       string // reed, rigid-heddle
	Name       string
	Place      string
	Label      string // the size; empty where none is known
	System     string
	PerInch    float64
	U          float64 // standard uncertainty of PerInch; 0 for a person's word
	Confidence float64 // 0 for a person's word
	LengthIn   float64 // 0: not known
	Doubt      string  // why a person is wanted
	Advice     string  // what would settle it
	Photos     []SheetPhoto
}

// SheetPhoto is one photo of a part.
type SheetPhoto struct {
	Name string // as it is shown; any bytes
	Says string // what it said: "10-dent reed", "can't tell: no ruler"
	// Picture loads a small annotated JPEG; nil where there is none. It is
	// called when the picture is needed, so that a large sheet does not hold
	// all of them at once.
	Picture func() ([]byte, error)
}

// open says whether a person is wanted.
func (r SheetRow) open() bool { return r.State != RowAnswered && r.State != RowSettled }

// Sort puts what wants a person first, then goes by size from coarse to fine.
func (s *Sheet) Sort() {
	rank := func(r SheetRow) int {
		return slices.Index([]string{RowFault, RowRefused, RowUnsure}, r.State)
	}
	slices.SortStableFunc(s.Rows, func(a, b SheetRow) int {
		if a.open() != b.open() {
			if a.open() {
				return -1
			}
			return 1
		}
		if !a.open() {
			// All of one size together, though their measures differ a little.
			return cmp.Or(cmp.Compare(groupNominal(a), groupNominal(b)), strings.Compare(a.System, b.System), strings.Compare(a.Label, b.Label),
				strings.Compare(a.firstPhoto(), b.firstPhoto()), strings.Compare(a.ID, b.ID))
		}
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a.PerInch, b.PerInch), strings.Compare(a.firstPhoto(), b.firstPhoto()), strings.Compare(a.ID, b.ID))
	})
}

func (r SheetRow) firstPhoto() string {
	if len(r.Photos) == 0 {
		return r.Name
	}
	return r.Photos[0].Name
}

// size says the size in one word, with a question mark where it is open.
func (r SheetRow) size() string {
	switch {
	case r.Label == "" || r.State == RowFault || r.State == RowRefused:
		return "?"
	case r.System == "none":
		return "no made size"
	case r.open():
		return r.Label + "?"
	}
	return r.Label
}

// pitch says the measured dents per inch; empty where nothing was measured.
func (r SheetRow) pitch() string {
	if r.PerInch <= 0 || r.State == RowFault || r.State == RowRefused {
		return ""
	}
	if r.U > 0 {
		return pm(r.PerInch, 2*r.U)
	}
	return number(r.PerInch, 2)
}

// sure says how sure the size is, and by whose word.
func (r SheetRow) sure() string {
	switch r.State {
	case RowSettled:
		return "settled by a person"
	case RowAnswered:
		return "sure: " + Odds(r.Confidence)
	case RowUnsure:
		return "not sure"
	case RowRefused:
		return "can't tell"
	}
	return "not read"
}

func (r SheetRow) length() string {
	if r.LengthIn <= 0 {
		return ""
	}
	return Inches(r.LengthIn) + " in"
}

// what names the row: the name its owner gave, or its photos.
func (r SheetRow) what() string {
	if r.Name != "" && len(r.Photos) == 0 {
		return r.Name
	}
	if len(r.Photos) == 0 {
		return ""
	}
	s := r.Photos[0].Name
	if n := len(r.Photos) - 1; n > 0 {
		s += fmt.Sprintf(" and %d more", n)
	}
	return s
}

// why says what makes a row open and what would settle it, in sentences.
func (r SheetRow) why() string {
	if !r.open() {
		return ""
	}
	if s := Sentences(r.Doubt, r.Advice); s != "" {
		return upperFirst(s)
	}
	return ""
}

// part names what it is; empty where nobody could tell.
func (r SheetRow) part() string {
	if r.Kind == "" || r.Kind == kindUnknown {
		return ""
	}
	return PartName(r.Kind)
}

// kindUnknown is the shelf's word for a part of which no photo tells what it is.
const kindUnknown = "part"

// says is what a photo tells by itself; empty for a row's only photo, of which
// the row says it.
func (r SheetRow) says(p SheetPhoto) string {
	if len(r.Photos) == 1 {
		return ""
	}
	return p.Says
}

// settleLine is the next thing to type for an open row.
func (r SheetRow) settleLine() string {
	if r.ID == "" || !r.open() {
		return ""
	}
	guess := "SIZE"
	if r.State == RowUnsure && r.Label != "" && r.System != "none" {
		guess = r.Label
	}
	return "dentcount shelf settle " + r.ID + " " + guess
}

// groupName heads the rows of one size.
func (r SheetRow) groupName() string {
	if r.open() {
		return "To settle"
	}
	big, unit, other := SizeBothWays(r.Label, r.System, groupNominal(r))
	return joinNotEmpty(", ", joinNotEmpty(" ", big, unit), other)
}

// groupNominal is the size itself, where the label says it, so that all rows
// of a group have the same heading.
func groupNominal(r SheetRow) float64 {
	label := r.Label
	k := 1.0
	if r.System == "metric" {
		label = strings.TrimSuffix(label, "/10")
		k = 1 / per10CM
	}
	if x, err := strconv.ParseFloat(label, 64); err == nil && (r.System == "metric" || r.System == "inch") {
		return x * k
	}
	return r.PerInch
}

// SheetText writes the table for a terminal: what is to settle first, with the
// reason and the next step, then the sizes.
func SheetText(w io.Writer, s Sheet) error {
	if len(s.Rows) == 0 {
		_, err := fmt.Fprintln(w, "Nothing there.")
		return err
	}
	for i := 0; i < len(s.Rows); {
		name := s.Rows[i].groupName()
		n := 1
		for i+n < len(s.Rows) && s.Rows[i+n].groupName() == name {
			n++
		}
		if i > 0 {
			fmt.Fprintln(w)
		}
		if _, err := fmt.Fprintf(w, "%s (%d)\n", Printable(name), n); err != nil {
			return err
		}
		if err := sheetGroup(w, s.Rows[i:i+n]); err != nil {
			return err
		}
		i += n
	}
	return nil
}

func sheetGroup(w io.Writer, rows []SheetRow) error {
	// The columns are aligned over the whole group; the reasons under an open
	// row are put between its lines afterwards.
	var b strings.Builder
	tw := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		id := r.ID
		if id == "" {
			id = "-"
		}
		cells := []string{"  " + id}
		if r.open() {
			cells = append(cells, r.size())
		}
		cells = append(cells, orDash(r.pitch()), orDash(r.part()), orDash(r.length()), r.sure(), r.what())
		for i := range cells {
			cells[i] = Printable(cells[i])
		}
		fmt.Fprintln(tw, strings.Join(cells, "\t"))
	}
	tw.Flush()
	lines := strings.Split(strings.TrimRight(b.String(), "\n"), "\n")
	for i, r := range rows {
		if _, err := fmt.Fprintln(w, strings.TrimRight(lines[i], " ")); err != nil {
			return err
		}
		if !r.open() {
			continue
		}
		if why := r.why(); why != "" {
			if _, err := fmt.Fprintln(w, "      "+Printable(why)); err != nil {
				return err
			}
		}
		if next := r.settleLine(); next != "" {
			if _, err := fmt.Fprintln(w, "      "+next); err != nil {
				return err
			}
		}
	}
	return nil
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// SheetCSV writes one line a row. escape makes a text safe as a cell.
func SheetCSV(w io.Writer, s Sheet, escape func(string) string) error {
	out := csv.NewWriter(w)
	if err := out.Write([]string{"id", "state", "part", "name", "place", "size", "system", "dents_per_inch", "dents_per_10cm", "u", "confidence", "length_in", "doubt", "advice", "photo_count", "photos"}); err != nil {
		return err
	}
	for _, r := range s.Rows {
		var photos []string
		for _, p := range r.Photos {
			photos = append(photos, Printable(p.Name))
		}
		row := []string{r.ID, r.State, r.Kind, r.Name, r.Place, r.Label, r.System, cellNumber(r.PerInch, 4), cellNumber(r.PerInch*per10CM, 3),
			cellNumber(r.U, 5), cellNumber(r.Confidence, 4), cellNumber(r.LengthIn, 3), r.Doubt, r.Advice, strconv.Itoa(len(r.Photos)), strings.Join(photos, "; ")}
		for i := range row {
			row[i] = escape(row[i])
		}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// cellNumber leaves a cell empty where nothing is known.
func cellNumber(x float64, decimals int) string {
	if x == 0 {
		return ""
	}
	return strconv.FormatFloat(x, 'f', decimals, 64)
}

// sheetJSON and sheetRowJSON are the stable JSON form of a sheet.
type sheetJSON struct {
	Schema int            `json:"schema"`
	Rows   []sheetRowJSON `json:"rows"`
}

type sheetRowJSON struct {
	ID       string          `json:"id"`
	State    string          `json:"state"`
	Part     string          `json:"part"`
	Name     string          `json:"name"`
	Place    string          `json:"place"`
	Size     *sheetSizeJSON  `json:"size"`
	LengthIn *float64        `json:"length_in"`
	Doubt    string          `json:"doubt"`
	Advice   string          `json:"advice"`
	Photos   []sheetFileJSON `json:"photos"`
}

type sheetSizeJSON struct {
	Label        string  `json:"label"`
	System       string  `json:"system"`
	DentsPerInch float64 `json:"dents_per_inch"`
	U            float64 `json:"u"`
	Confidence   float64 `json:"confidence"`
}

type sheetFileJSON struct {
	Name string `json:"name"`
	Says string `json:"says"`
}

func rowJSON(r SheetRow) sheetRowJSON {
	j := sheetRowJSON{ID: r.ID, State: r.State, Part: r.Kind, Name: r.Name, Place: r.Place, Doubt: r.Doubt, Advice: r.Advice, Photos: []sheetFileJSON{}}
	if r.Label != "" {
		j.Size = &sheetSizeJSON{r.Label, r.System, r.PerInch, r.U, r.Confidence}
	}
	if r.LengthIn > 0 {
		j.LengthIn = &r.LengthIn
	}
	for _, p := range r.Photos {
		j.Photos = append(j.Photos, sheetFileJSON{p.Name, p.Says})
	}
	return j
}

// SheetJSON writes the sheet as one JSON object.
func SheetJSON(w io.Writer, s Sheet) error {
	out := sheetJSON{Schema: 1, Rows: []sheetRowJSON{}}
	for _, r := range s.Rows {
		out.Rows = append(out.Rows, rowJSON(r))
	}
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(out)
}

// SheetLines writes each row as one JSON object on a line.
func SheetLines(w io.Writer, s Sheet) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	for _, r := range s.Rows {
		if err := enc.Encode(rowJSON(r)); err != nil {
			return err
		}
	}
	return nil
}
