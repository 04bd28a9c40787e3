package web

import (
	"net/http"
	"strconv"
	"strings"

	"dentcount/box"
	"dentcount/trade"
)

// loomJSON is a loom with what follows from its figures.
type loomJSON struct {
	trade.Loom
	Advice   string `json:"advice"`   // the reed that uses all of it
	Question string `json:"question"` // what is to be measured or asked first
}

func loomOf(l trade.Loom) loomJSON {
	a := trade.AdviseReedLength(l)
	return loomJSON{l, a.Reason, a.Question}
}

func (s *Server) listLooms(w http.ResponseWriter, r *http.Request) error {
	looms, err := s.shelf.Looms(r.Context())
	if err != nil {
		return err
	}
	out := make([]loomJSON, 0, len(looms))
	for _, l := range looms {
		out = append(out, loomOf(l))
	}
	return sendJSON(w, http.StatusOK, map[string]any{"looms": out})
}

// putLoom keeps a loom's figures under its name.
func (s *Server) putLoom(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		Width  lengthIn `json:"weaving_width_in,omitempty"`
		Span   lengthIn `json:"clear_span_in,omitempty"`
		Low    lengthIn `json:"beater_min_in,omitempty"`
		High   lengthIn `json:"beater_max_in,omitempty"`
		Bars   lengthIn `json:"heddle_bar_span_in,omitempty"`
		Shafts int      `json:"shafts,omitempty"`
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	l := trade.Loom{Name: strings.TrimSpace(r.PathValue("name")), WeavingWidthIn: float64(in.Width), ClearSpanIn: float64(in.Span),
		BeaterMinIn: float64(in.Low), BeaterMaxIn: float64(in.High), HeddleBarSpanIn: float64(in.Bars), Shafts: in.Shafts}
	if l.BeaterMaxIn == 0 {
		l.BeaterMaxIn = l.BeaterMinIn
	} else if l.BeaterMinIn == 0 {
		l.BeaterMinIn = l.BeaterMaxIn
	}
	if err := l.Validate(); err != nil {
		if p := asProblem(err); p != nil {
			return p
		}
		return bad(http.StatusUnprocessableEntity, err.Error(), "measure the loom again with a tape")
	}
	if err := s.shelf.AddLoom(r.Context(), l, true); err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, loomOf(l))
}

func (s *Server) removeLoom(w http.ResponseWriter, r *http.Request) error {
	if err := s.shelf.RemoveLoom(r.Context(), r.PathValue("name")); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// serviceJSON is a reed of the shelf that can give a sett on a loom.
type serviceJSON struct {
	ID          string   `json:"id"`
	Size        string   `json:"size"`
	Sleying     string   `json:"sleying"`
	EndsPerInch float64  `json:"ends_per_inch"`
	Fit         string   `json:"fit"`
	Reason      string   `json:"reason"`
	Question    string   `json:"question"`
	Cautions    []string `json:"cautions"`
}

func (s *Server) loomReeds(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	sett, err := strconv.ParseFloat(q.Get("sett"), 64)
	if err != nil || !(sett > 0) || sett > 1000 {
		return bad(http.StatusUnprocessableEntity, "sett is no number of ends per inch", "give one such as sett=20")
	}
	var width float64
	if text := q.Get("width"); text != "" {
		if width, err = trade.ParseLengthIn(text); err != nil {
			if p := asProblem(err); p != nil {
				return p
			}
			return bad(http.StatusUnprocessableEntity, err.Error(), `give a width such as "20 in"`)
		}
	}
	l, err := s.shelf.Loom(r.Context(), r.PathValue("name"))
	if err != nil {
		return err
	}
	found, doubtful, err := box.ReedsFor(r.Context(), s.shelf, l, sett, width)
	if err != nil {
		if p := asProblem(err); p != nil {
			return p
		}
		return bad(http.StatusUnprocessableEntity, err.Error(), "")
	}
	out := []serviceJSON{}
	for _, x := range found[:min(len(found), maxListed)] {
		out = append(out, serviceJSON{x.Reed.ID, x.Reed.Size.Label, x.Sleying.String(), x.Sleying.EndsPerInch, string(x.Verdict.Kind), x.Reason, onPage(x.Verdict.Question), append([]string{}, x.Cautions...)})
	}
	made := []string{}
	for _, c := range trade.ReedsFor(sett, trade.Sizes(trade.PartReed)) {
		if len(made) == 3 {
			break
		}
		made = append(made, c.Size.Label+" sleyed "+c.Sleying.String())
	}
	return sendJSON(w, http.StatusOK, map[string]any{"reeds": out, "doubtful": doubtful, "made": made})
}

// loomCheck says whether a reed of the shelf goes into a loom.
func (s *Server) loomCheck(w http.ResponseWriter, r *http.Request) error {
	l, err := s.shelf.Loom(r.Context(), r.PathValue("name"))
	if err != nil {
		return err
	}
	id, err := partID(r)
	if err != nil {
		return err
	}
	p, err := s.shelf.Part(r.Context(), id)
	if err != nil {
		return err
	}
	if p.Kind != trade.PartReed {
		return bad(http.StatusUnprocessableEntity, "only a reed is checked against a loom's beater", "choose a reed")
	}
	v := trade.FitReed(l, box.OwnedReed(p).Dims)
	return sendJSON(w, http.StatusOK, map[string]any{"fit": string(v.Kind), "reason": v.Reason, "question": onPage(v.Question),
		"cautions": append([]string{}, v.Cautions...), "usable_in": v.UsableIn, "unchecked": append([]string{}, v.Unchecked...)})
}
