package web

import (
	"bytes"
	"net/http"
	"strconv"
	"strings"

	"dentcount/box"
	"dentcount/report"
	"dentcount/shelf"
)

// paperOf is the paper that a request names; A4 where it names none.
func paperOf(r *http.Request) (report.Paper, error) {
	name := r.URL.Query().Get("paper")
	if name == "" {
		name = "A4"
	}
	p, err := report.ParsePaper(name)
	if err != nil {
		return p, bad(http.StatusUnprocessableEntity, err.Error(), "say A4, A5, Letter, or width and height in mm such as 210x297")
	}
	return p, nil
}

// labels is a PDF of labels for parts.
func (s *Server) labels(w http.ResponseWriter, r *http.Request) error {
	layout, err := labelLayout(r)
	if err != nil {
		return err
	}
	ids, err := idsOf(r.URL.Query().Get("ids"))
	if err != nil {
		return err
	}
	var labels []report.Label
	for _, id := range ids {
		p, err := s.shelf.Part(r.Context(), id)
		if err != nil {
			return err
		}
		labels = append(labels, box.LabelOf(p))
	}
	var b bytes.Buffer
	if err := report.LabelsPDF(&b, labels, layout); err != nil {
		return err
	}
	return sendBytes(w, "application/pdf", "labels.pdf", b.Bytes())
}

func labelLayout(r *http.Request) (report.LabelLayout, error) {
	q := r.URL.Query()
	wrong := func(err error, advice string) (report.LabelLayout, error) {
		return report.LabelLayout{}, bad(http.StatusUnprocessableEntity, err.Error(), advice)
	}
	if roll := q.Get("roll"); roll != "" {
		width, length, err := report.ParseMM2(roll)
		if err != nil {
			return wrong(err, "say width and length in mm, such as 62x29")
		}
		l, err := report.RollLayout(width, length)
		if err != nil {
			return wrong(err, "say width and length in mm, such as 62x29")
		}
		return l, nil
	}
	paper, err := paperOf(r)
	if err != nil {
		return report.LabelLayout{}, err
	}
	rows, cols := 8, 3
	if grid := q.Get("grid"); grid != "" {
		a, b, _ := strings.Cut(strings.ReplaceAll(strings.ToLower(grid), "×", "x"), "x")
		var errA, errB error
		rows, errA = strconv.Atoi(strings.TrimSpace(a))
		cols, errB = strconv.Atoi(strings.TrimSpace(b))
		if errA != nil || errB != nil {
			return report.LabelLayout{}, bad(http.StatusUnprocessableEntity, "that is no grid", "say rows and columns, such as 8x3")
		}
	}
	l, err := report.SheetLayout(paper, rows, cols, 0, 0, -1, -1)
	if err != nil {
		return wrong(err, "say rows and columns, such as 8x3")
	}
	if l.Skip, err = intOf(q, "skip", 0, 0, rows*cols-1); err != nil {
		return report.LabelLayout{}, err
	}
	l.CutLines = q.Get("cut_lines") == "true"
	return l, nil
}

// tags reserves ids and prints them as blank tags.
func (s *Server) tags(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		N     int    `json:"n"`
		Paper string `json:"paper,omitempty"`
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	const most = 240
	if in.N < 1 || in.N > most {
		return bad(http.StatusUnprocessableEntity, "ask for 1 to "+strconv.Itoa(most)+" tags", "more of them: ask again")
	}
	if in.Paper == "" {
		in.Paper = "A4"
	}
	paper, err := report.ParsePaper(in.Paper)
	if err != nil {
		return bad(http.StatusUnprocessableEntity, err.Error(), "say A4 or Letter")
	}
	if report.TagsPerPage(paper) == 0 {
		return bad(http.StatusUnprocessableEntity, "no id tag fits on this paper", "take A4 or Letter")
	}
	ids, err := s.shelf.ReserveTags(r.Context(), in.N)
	if err != nil {
		return err
	}
	var tags []report.Tag
	for _, id := range ids {
		tags = append(tags, box.TagOf(id))
	}
	var b bytes.Buffer
	if err := report.TagsPDF(&b, tags, paper); err != nil {
		return err
	}
	return sendBytes(w, "application/pdf", "tags.pdf", b.Bytes())
}

// sheet is the parts that a query finds as a table to print or to keep.
func (s *Server) sheet(w http.ResponseWriter, r *http.Request) error {
	q, err := s.queryOf(r)
	if err != nil {
		return err
	}
	if r.URL.Query().Get("limit") == "" {
		q.Limit = maxListed
	}
	parts, err := s.shelf.Find(r.Context(), q)
	if err != nil {
		return err
	}
	sheet, err := box.PartSheet(r.Context(), s.shelf, "The shelf", parts)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	switch r.PathValue("kind") {
	case "shelf.pdf":
		paper, err := paperOf(r)
		if err != nil {
			return err
		}
		if err := report.SheetPDF(&b, sheet, paper); err != nil {
			return err
		}
		return sendBytes(w, "application/pdf", "shelf.pdf", b.Bytes())
	case "shelf.csv":
		if err := report.SheetCSV(&b, sheet, shelf.EscapeCell); err != nil {
			return err
		}
		return sendBytes(w, "text/csv; charset=utf-8", "shelf.csv", b.Bytes())
	case "shelf.json":
		if err := report.SheetJSON(&b, sheet); err != nil {
			return err
		}
		return sendBytes(w, "application/json", "shelf.json", b.Bytes())
	}
	return bad(http.StatusNotFound, "there is no such sheet", "ask for shelf.pdf, shelf.csv or shelf.json")
}
