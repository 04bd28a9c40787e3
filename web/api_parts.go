package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"dentcount/box"
	"dentcount/report"
	"dentcount/shelf"
	"dentcount/trade"
)

// partJSON is a part of the shelf.
type partJSON struct {
	ID      string      `json:"id"`
	Kind    string      `json:"kind"`
	Name    string      `json:"name"`
	Place   string      `json:"place"`
	Note    string      `json:"note"`
	Origin  string      `json:"origin"`
	Gone    bool        `json:"gone"`
	State   string      `json:"state"` // settled, answered, unsure, refused
	Size    *sizeJSON   `json:"size,omitempty"`
	Doubt   string      `json:"doubt"`
	Advice  string      `json:"advice"`
	Length  *lengthJSON `json:"length,omitempty"`
	Sley    *lengthJSON `json:"sley_width,omitempty"`
	Height  *lengthJSON `json:"height,omitempty"`
	AddedAt string      `json:"added_at"`
}

type sizeJSON struct {
	Label        string  `json:"label"`
	System       string  `json:"system"`
	DentsPerInch float64 `json:"dents_per_inch"`
	U            float64 `json:"u"`
	Confidence   float64 `json:"confidence"` // 0 for a person's word
	By           string  `json:"by"`         // photo or person
	Other        string  `json:"other"`      // the size in the other system, in words
}

type lengthJSON struct {
	In float64 `json:"in"`
	U  float64 `json:"u"`
	By string  `json:"by"`
}

func partOf(p shelf.Part) partJSON {
	row := box.Row(p)
	out := partJSON{ID: p.ID.String(), Kind: p.Kind, Name: p.Name, Place: p.Place, Note: p.Note, Origin: p.Origin, Gone: p.Gone,
		State: row.State, Doubt: p.Size.Doubt, Advice: onPage(p.Size.Advice), AddedAt: p.AddedAt.UTC().Format(time.RFC3339)}
	if p.Size.Label != "" {
		_, _, other := report.SizeBothWays(p.Size.Label, p.Size.System, box.NominalPerInch(p.Size.Size))
		out.Size = &sizeJSON{p.Size.Label, p.Size.System, p.Size.PerInch, p.Size.U, p.Size.Confidence, string(p.Size.By), other}
	}
	length := func(b shelf.LengthBelief) *lengthJSON {
		if b.By == shelf.ByNobody {
			return nil
		}
		return &lengthJSON{b.In, b.U, string(b.By)}
	}
	out.Length, out.Sley, out.Height = length(p.Length), length(p.Sley), length(p.Height)
	return out
}

// lengthIn is a length as a request gives it: a number of inches, or words with
// a unit such as "26 1/2 in" or "68 cm".
type lengthIn float64

func (l *lengthIn) UnmarshalJSON(b []byte) error {
	var words string
	if json.Unmarshal(b, &words) != nil {
		return json.Unmarshal(b, (*float64)(l))
	}
	if strings.TrimSpace(words) == "" {
		*l = 0
		return nil
	}
	in, err := trade.ParseLengthIn(words)
	if err != nil {
		if _, ok := trade.AsQuestion(err); ok {
			return err
		}
		return bad(http.StatusUnprocessableEntity, err.Error(), `write a length with its unit, such as "26 1/2 in" or "68 cm"`)
	}
	*l = lengthIn(in)
	return nil
}

func readSize(s string) (shelf.Size, error) {
	m, err := trade.ParseSize(s)
	if err != nil {
		if p := asProblem(err); p != nil {
			return shelf.Size{}, p
		}
		return shelf.Size{}, bad(http.StatusUnprocessableEntity, err.Error(), "write a size such as 12 or 40/10")
	}
	return shelf.Size{Label: m.Label, System: m.System, PerInch: m.PerInch}, nil
}

// maxListed is how many parts one answer holds.
const maxListed = 500

func intOf(q url.Values, name string, normal, least, most int) (int, error) {
	text := q.Get(name)
	if text == "" {
		return normal, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < least || n > most {
		return 0, bad(http.StatusUnprocessableEntity, fmt.Sprintf("%s=%q is no number from %d to %d", name, text, least, most), "leave it out for the usual one")
	}
	return n, nil
}

// queryOf reads which parts are asked for.
func (s *Server) queryOf(r *http.Request) (shelf.Query, error) {
	v := r.URL.Query()
	q := shelf.Query{Kind: v.Get("kind"), Text: v.Get("text"), WithGone: v.Get("gone") == "true", Sort: shelf.Sort(v.Get("sort"))}
	if !slices.Contains([]shelf.Sort{shelf.DoubtfulFirst, shelf.BySize, shelf.ByLength, shelf.ByAge}, q.Sort) {
		return q, bad(http.StatusUnprocessableEntity, "parts are not sorted that way", "sort by size, length or age, or leave it out")
	}
	switch v.Get("only") {
	case "":
	case "doubtful":
		q.Only = shelf.OnlyDoubtful
	case "sure":
		q.Only = shelf.OnlySure
	default:
		return q, bad(http.StatusUnprocessableEntity, "only is doubtful or sure", "leave it out for all")
	}
	var err error
	if size := v.Get("size"); size != "" {
		if q.Size, err = readSize(size); err != nil {
			return q, err
		}
	}
	if loom := v.Get("loom"); loom != "" {
		l, err := s.shelf.Loom(r.Context(), loom)
		if err != nil {
			return q, err
		}
		q.Fits = &shelf.LoomRoom{MaxLength: l.ClearSpanIn, MinHeight: l.BeaterMinIn, MaxHeight: l.BeaterMaxIn}
		if q.Kind == "" {
			q.Kind = trade.PartReed
		}
	}
	if ids := v.Get("ids"); ids != "" {
		if q.IDs, err = idsOf(ids); err != nil {
			return q, err
		}
	}
	if q.Limit, err = intOf(v, "limit", 100, 1, maxListed); err != nil {
		return q, err
	}
	q.Offset, err = intOf(v, "offset", 0, 0, 1<<30)
	return q, err
}

func idsOf(text string) ([]shelf.ID, error) {
	var out []shelf.ID
	for _, t := range strings.Split(text, ",") {
		id, err := shelf.ParseID(t)
		if err != nil {
			return nil, bad(http.StatusUnprocessableEntity, err.Error(), "the shelf shows the ids")
		}
		out = append(out, id)
	}
	if len(out) > maxListed {
		return nil, bad(http.StatusUnprocessableEntity, "too many ids", fmt.Sprintf("give at most %d", maxListed))
	}
	return out, nil
}

func (s *Server) listParts(w http.ResponseWriter, r *http.Request) error {
	q, err := s.queryOf(r)
	if err != nil {
		return err
	}
	parts, err := s.shelf.Find(r.Context(), q)
	if err != nil {
		return err
	}
	n, err := s.shelf.Count(r.Context(), q)
	if err != nil {
		return err
	}
	out := make([]partJSON, 0, len(parts))
	for _, p := range parts {
		out = append(out, partOf(p))
	}
	return sendJSON(w, http.StatusOK, map[string]any{"parts": out, "count": n})
}

// settleJSON is a person's word about a part.
type settleJSON struct {
	Size   string   `json:"size,omitempty"`
	Kind   string   `json:"kind,omitempty"`
	Length lengthIn `json:"length,omitempty"`
	Sley   lengthIn `json:"sley_width,omitempty"`
	Height lengthIn `json:"height,omitempty"`
	Gone   bool     `json:"gone,omitempty"`
	Undo   string   `json:"undo,omitempty"` // a field whose word is taken back
	Note   string   `json:"note,omitempty"`
}

func (in settleJSON) decisions() ([]shelf.Decision, error) {
	var out []shelf.Decision
	add := func(d shelf.Decision) { d.Note = in.Note; out = append(out, d) }
	if in.Size != "" {
		size, err := readSize(in.Size)
		if err != nil {
			return nil, err
		}
		add(shelf.Decision{Field: shelf.FieldSize, Size: size})
	}
	if in.Kind != "" {
		add(shelf.Decision{Field: shelf.FieldKind, Size: shelf.Size{Label: in.Kind}})
	}
	for _, x := range []struct {
		field string
		in    lengthIn
	}{{shelf.FieldLength, in.Length}, {shelf.FieldSley, in.Sley}, {shelf.FieldHeight, in.Height}} {
		if x.in != 0 {
			add(shelf.Decision{Field: x.field, In: float64(x.in)})
		}
	}
	if in.Gone {
		add(shelf.Decision{Field: shelf.FieldGone})
	}
	if in.Undo != "" {
		fields := []string{shelf.FieldSize, shelf.FieldLength, shelf.FieldSley, shelf.FieldHeight, shelf.FieldKind, shelf.FieldGone}
		if !slices.Contains(fields, in.Undo) {
			return nil, bad(http.StatusUnprocessableEntity, "there is no such word to take back", "one of "+strings.Join(fields, ", "))
		}
		add(shelf.Decision{Field: in.Undo, Withdrawn: true})
	}
	return out, nil
}

func (s *Server) addPart(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		settleJSON
		ID    string `json:"id,omitempty"`
		Name  string `json:"name,omitempty"`
		Place string `json:"place,omitempty"`
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	p := shelf.Part{Kind: in.Kind, Name: in.Name, Place: in.Place}
	if p.Kind == "" {
		p.Kind = trade.PartReed
	}
	in.Kind = ""
	if in.ID != "" {
		id, err := shelf.ParseID(in.ID)
		if err != nil {
			return err
		}
		p.ID = id
	}
	ds, err := in.decisions()
	if err != nil {
		return err
	}
	if p, err = s.shelf.AddSettled(r.Context(), p, ds); err != nil {
		return err
	}
	return sendJSON(w, http.StatusCreated, partOf(p))
}

// partID is the part that a request names.
func partID(r *http.Request) (shelf.ID, error) {
	id, err := shelf.ParseID(r.PathValue("id"))
	if err != nil {
		return "", bad(http.StatusNotFound, err.Error(), "the shelf shows the ids")
	}
	return id, nil
}

// evidenceJSON is one photo of a part and what it said.
type evidenceJSON struct {
	Photo   string          `json:"photo"` // its digest
	Name    string          `json:"name"`
	Says    string          `json:"says"`
	Status  string          `json:"status"`
	What    string          `json:"what"`
	Result  json.RawMessage `json:"result,omitempty"`
	Picture string          `json:"picture,omitempty"` // where it is served
}

// saidJSON is one word of a person.
type saidJSON struct {
	At        string  `json:"at"`
	Field     string  `json:"field"`
	Size      string  `json:"size,omitempty"`
	In        float64 `json:"in,omitempty"`
	Withdrawn bool    `json:"withdrawn,omitempty"`
	Note      string  `json:"note"`
}

func (s *Server) showPart(w http.ResponseWriter, r *http.Request) error {
	id, err := partID(r)
	if err != nil {
		return err
	}
	p, err := s.shelf.Part(r.Context(), id)
	if err != nil {
		return err
	}
	return s.sendPart(w, r, p)
}

// sendPart answers with all that is known of a part.
func (s *Server) sendPart(w http.ResponseWriter, r *http.Request, p shelf.Part) error {
	photos, ms, err := s.shelf.Evidence(r.Context(), p.ID)
	if err != nil {
		return err
	}
	ds, err := s.shelf.Decisions(r.Context(), p.ID)
	if err != nil {
		return err
	}
	evidence := []evidenceJSON{}
	for _, ph := range photos {
		for _, m := range ms {
			if m.Photo != ph.SHA256 {
				continue
			}
			evidence = append(evidence, evidenceJSON{Photo: ph.SHA256, Name: shortName(ph.Path), Says: box.Says(m), Status: m.Status, What: m.What, Result: m.Result,
				Picture: apiRoot + "/parts/" + p.ID.String() + "/pictures/" + ph.SHA256 + "?what=" + url.QueryEscape(m.What)})
		}
	}
	said := []saidJSON{}
	for _, d := range ds {
		said = append(said, saidJSON{At: d.At.UTC().Format(time.RFC3339), Field: d.Field, Size: d.Size.Label, In: d.In, Withdrawn: d.Withdrawn, Note: d.Note})
	}
	return sendJSON(w, http.StatusOK, map[string]any{"part": partOf(p), "evidence": evidence, "said": said})
}

// shortName is a photo's name without the folders it lay in: what the page
// shows need not tell how this machine is laid out.
func shortName(path string) string {
	return path[strings.LastIndexAny(path, `/\`)+1:]
}

func (s *Server) describePart(w http.ResponseWriter, r *http.Request) error {
	id, err := partID(r)
	if err != nil {
		return err
	}
	var in struct {
		Name  *string `json:"name"`
		Place *string `json:"place"`
		Note  *string `json:"note"`
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	if err := s.shelf.Describe(r.Context(), id, in.Name, in.Place, in.Note); err != nil {
		return err
	}
	return s.showPart(w, r)
}

func (s *Server) settlePart(w http.ResponseWriter, r *http.Request) error {
	id, err := partID(r)
	if err != nil {
		return err
	}
	var in settleJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	ds, err := in.decisions()
	if err != nil {
		return err
	}
	if len(ds) == 0 {
		return bad(http.StatusUnprocessableEntity, "nothing is said of the part", "give a size, a length, or what to take back")
	}
	for i := range ds {
		ds[i].Part = id
	}
	p, err := s.shelf.SettleAll(r.Context(), ds)
	if err != nil {
		return err
	}
	return s.sendPart(w, r, p)
}

// partPicture is the small annotated picture of one photo of a part.
func (s *Server) partPicture(w http.ResponseWriter, r *http.Request) error {
	id, err := partID(r)
	if err != nil {
		return err
	}
	_, ms, err := s.shelf.Evidence(r.Context(), id)
	if err != nil {
		return err
	}
	for _, m := range ms {
		if what := r.URL.Query().Get("what"); m.Photo != r.PathValue("sha") || what != "" && what != m.What {
			continue
		}
		b, err := s.shelf.Picture(r.Context(), m)
		if err != nil {
			return err
		}
		if b != nil {
			return sendBytes(w, "image/jpeg", "", b)
		}
	}
	return bad(http.StatusNotFound, "there is no such picture", "the part's page shows those there are")
}
