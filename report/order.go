package report

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"

	"dentcount/trade"
)

// OrderSheet is an order as it is printed: its lines, each with the evidence
// behind it.
type OrderSheet struct {
	Title string
	Lines []OrderEntry
}

// OrderEntry is one line of an order sheet. Source says where what is known of
// it comes from: a photo's name, a part's id. Picture is its annotated picture,
// a JPEG; nil where there is none.
type OrderEntry struct {
	trade.OrderLine
	Source  string
	Picture []byte
}

// Sure tells whether every line may be ordered.
func (s OrderSheet) Sure() bool {
	for _, l := range s.Lines {
		if !l.Sure() {
			return false
		}
	}
	return true
}

// measured is the evidence of a line in words; empty where there is none.
func (e OrderEntry) measured() string {
	var parts []string
	if s := e.Size; s.Label != "" {
		switch {
		case s.ByPerson && e.Source == "" && !e.Actual.Known():
			return "" // nothing was measured
		case s.ByPerson:
			parts = append(parts, "size said by a person")
		case s.MeasuredPerInch > 0:
			parts = append(parts, fmt.Sprintf("%s dents per inch, sure: %s", pm(s.MeasuredPerInch, 2*s.U), Odds(s.Confidence)))
		}
	}
	if e.Actual.Known() {
		parts = append(parts, "length "+e.Actual.String()+e.lengthSure())
	}
	if len(parts) == 0 {
		return ""
	}
	return joinNotEmpty(": ", e.Source, strings.Join(parts, ", "))
}

// lengthSure is how sure a measured length is, in words; empty where not told.
func (e OrderEntry) lengthSure() string {
	if e.ActualSure <= 0 {
		return ""
	}
	return ", sure: " + Odds(e.ActualSure)
}

// OrderText writes the sheet for a person: a line filled in is said as it is
// read to a maker, with what is to be confirmed first; one that is not sure
// stands as its questions.
func OrderText(w io.Writer, s OrderSheet) error {
	var b strings.Builder
	if s.Title != "" {
		b.WriteString(Printable(s.Title) + "\n")
	}
	for i, l := range s.Lines {
		if l.Sure() {
			fmt.Fprintf(&b, "%d. %s.\n", i+1, Printable(l.Words))
		} else {
			fmt.Fprintf(&b, "%d. %s: not filled in.\n", i+1, Printable(PartName(l.Kind)))
			for _, q := range l.Questions {
				fmt.Fprintf(&b, "   Question: %s\n", Printable(q))
			}
		}
		if m := l.measured(); m != "" {
			fmt.Fprintf(&b, "   Measured: %s\n", Printable(m))
		}
		if l.Sure() {
			for _, c := range l.Confirm {
				fmt.Fprintf(&b, "   Before you pay: %s\n", Printable(c))
			}
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// orderJSON is the stable JSON form of a sheet: fields are added, never renamed.
type orderJSON struct {
	Schema int             `json:"schema"`
	Title  string          `json:"title"`
	Sure   bool            `json:"sure"`
	Lines  []orderLineJSON `json:"lines"`
}

type orderLineJSON struct {
	Line             int            `json:"line"`
	Status           string         `json:"status"` // "filled" or "question"
	Kind             string         `json:"kind"`
	Quantity         int            `json:"quantity"`
	Words            string         `json:"words"`
	Size             *orderSizeJSON `json:"size,omitempty"`
	NominalIn        float64        `json:"nominal_in,omitempty"`
	Actual           *trade.Length  `json:"actual,omitempty"`
	ActualConfidence float64        `json:"actual_confidence,omitempty"`
	HeightIn         float64        `json:"height_in,omitempty"`
	Finish           string         `json:"finish"`
	Caps             int            `json:"caps"`
	Source           string         `json:"source"`
	Confirm          []string       `json:"confirm"`
	Questions        []string       `json:"questions"`
}

type orderSizeJSON struct {
	Label        string  `json:"label"`
	System       string  `json:"system"`
	DentsPerInch float64 `json:"dents_per_inch"`
	DentsPer10CM float64 `json:"dents_per_10cm"`
	Measured     float64 `json:"measured_per_inch"`
	U            float64 `json:"u"`
	Confidence   float64 `json:"confidence"`
	ByPerson     bool    `json:"by_person"`
}

// OrderJSON writes the sheet as one JSON object.
func OrderJSON(w io.Writer, s OrderSheet) error {
	out := orderJSON{Schema: 1, Title: s.Title, Sure: s.Sure(), Lines: []orderLineJSON{}}
	for i, l := range s.Lines {
		j := orderLineJSON{
			Line: i + 1, Status: lineStatus(l), Kind: l.Kind, Quantity: l.Quantity, Words: l.Words,
			NominalIn: decimals(l.NominalIn, 4), HeightIn: decimals(l.HeightIn, 4), Finish: l.Finish, Caps: l.Caps, Source: l.Source,
			Confirm: append([]string{}, l.Confirm...), Questions: append([]string{}, l.Questions...),
		}
		if z := l.Size; z.Label != "" {
			j.Size = &orderSizeJSON{z.Label, z.System, decimals(z.PerInch, 4), decimals(z.PerInch*per10CM, 3), decimals(z.MeasuredPerInch, 4), figures(z.U, 3), downTo(z.Confidence, 4), z.ByPerson}
		}
		if l.Actual.Known() {
			j.Actual = &trade.Length{In: decimals(l.Actual.In, 4), U: figures(l.Actual.U, 3)}
			j.ActualConfidence = downTo(l.ActualSure, 4)
		}
		out.Lines = append(out.Lines, j)
	}
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	return enc.Encode(out)
}

func lineStatus(l OrderEntry) string {
	if l.Sure() {
		return "filled"
	}
	return "question"
}

// OrderCSV writes one row a line. escape makes a text safe as a cell.
func OrderCSV(w io.Writer, s OrderSheet, escape func(string) string) error {
	out := csv.NewWriter(w)
	if err := out.Write([]string{"line", "status", "quantity", "kind", "words", "size", "system", "dents_per_inch", "dents_per_10cm", "measured_per_inch", "u", "confidence",
		"nominal_in", "actual_in", "actual_u", "height_in", "finish", "caps", "source", "confirm", "questions", "actual_confidence"}); err != nil {
		return err
	}
	for i, l := range s.Lines {
		caps := ""
		if l.Caps > 0 {
			caps = strconv.Itoa(l.Caps)
		}
		row := []string{strconv.Itoa(i + 1), lineStatus(l), strconv.Itoa(l.Quantity), l.Kind, l.Words, l.Size.Label, l.Size.System,
			cellNumber(l.Size.PerInch, 4), cellNumber(l.Size.PerInch*per10CM, 3), cellNumber(l.Size.MeasuredPerInch, 4), cellNumber(l.Size.U, 5), cellNumber(l.Size.Confidence, 4),
			cellNumber(l.NominalIn, 4), cellNumber(l.Actual.In, 4), cellNumber(l.Actual.U, 5), cellNumber(l.HeightIn, 4),
			l.Finish, caps, l.Source, strings.Join(l.Confirm, "; "), strings.Join(l.Questions, "; "), cellNumber(l.ActualSure, 4)}
		for k := range row {
			row[k] = escape(row[k])
		}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}
