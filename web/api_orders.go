package web

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"slices"
	"strings"
	"time"

	"dentcount/box"
	"dentcount/report"
	"dentcount/shelf"
	"dentcount/trade"
)

// orderWish is what a person says of what is to be ordered; it counts for every
// line. There is a line for each part, or one from what is said alone.
type orderWish struct {
	Title    string   `json:"title,omitempty"`
	Parts    []string `json:"parts,omitempty"`
	Kind     string   `json:"kind,omitempty"`
	Quantity int      `json:"quantity,omitempty"`
	Size     string   `json:"size,omitempty"`
	Length   lengthIn `json:"length,omitempty"`
	Height   lengthIn `json:"height,omitempty"`
	Eye      lengthIn `json:"eye,omitempty"`
	Finish   string   `json:"finish,omitempty"`
	Caps     int      `json:"caps,omitempty"`
	Loom     string   `json:"loom,omitempty"`
	Warp     lengthIn `json:"warp_width,omitempty"`
	Sett     float64  `json:"sett,omitempty"`
	Shafts   int      `json:"shafts,omitempty"`
	As       string   `json:"as,omitempty"` // json, pdf or csv
	Paper    string   `json:"paper,omitempty"`
	Keep     bool     `json:"keep,omitempty"`
}

// over puts what was said over what the shelf knows.
func (in orderWish) over(w trade.OrderWish, loom *trade.Loom) (trade.OrderWish, error) {
	if in.Kind != "" {
		w.AskFor(in.Kind)
	}
	w.Quantity, w.Caps, w.Finish, w.Loom, w.WantIn = in.Quantity, in.Caps, strings.TrimSpace(in.Finish), loom, float64(in.Length)
	if in.Size != "" {
		size, err := readSize(in.Size)
		if err != nil {
			return w, err
		}
		w.Size = trade.OrderSize{Label: size.Label, System: size.System, PerInch: size.PerInch, ByPerson: true}
	}
	if in.Height > 0 {
		w.Height = trade.Length{In: float64(in.Height)}
	}
	if in.Eye > 0 {
		w.Eye = trade.Length{In: float64(in.Eye)}
	}
	w.Need = trade.HeddleNeed{WarpWidthIn: float64(in.Warp), Sett: in.Sett, Shafts: in.Shafts}
	return w, nil
}

// order makes an order sheet, and keeps it where it is asked to and every line
// is sure.
func (s *Server) order(w http.ResponseWriter, r *http.Request) error {
	var in orderWish
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	sheet, err := s.orderSheet(r.Context(), in)
	if err != nil {
		return err
	}
	if in.Paper == "" {
		in.Paper = "A4"
	}
	var b bytes.Buffer
	switch in.As {
	case "pdf":
		paper, err := report.ParsePaper(in.Paper)
		if err != nil {
			return bad(http.StatusUnprocessableEntity, err.Error(), "say A4 or Letter")
		}
		if err := report.OrderPDF(&b, sheet, paper); err != nil {
			return err
		}
		return sendBytes(w, "application/pdf", "order.pdf", b.Bytes())
	case "csv":
		if err := report.OrderCSV(&b, sheet, shelf.EscapeCell); err != nil {
			return err
		}
		return sendBytes(w, "text/csv; charset=utf-8", "order.csv", b.Bytes())
	case "", "json":
	default:
		return bad(http.StatusUnprocessableEntity, "an order is not written that way", "ask for json, pdf or csv")
	}
	if err := report.OrderJSON(&b, sheet); err != nil {
		return err
	}
	out := map[string]any{"sheet": json.RawMessage(b.Bytes())}
	if in.Keep {
		if !sheet.Sure() {
			return bad(http.StatusConflict, "the order is not kept: it has open questions", "answer its questions first")
		}
		kept, err := box.KeepOrder(r.Context(), s.shelf, sheet)
		if err != nil {
			return err
		}
		out["uid"] = kept.UID
	}
	return sendJSON(w, http.StatusOK, out)
}

func (s *Server) orderSheet(ctx context.Context, in orderWish) (report.OrderSheet, error) {
	sheet := report.OrderSheet{Title: in.Title}
	if len(in.Parts) == 0 && in.Kind == "" {
		return sheet, bad(http.StatusUnprocessableEntity, "nothing is said of what to order", "name parts, or say the kind")
	}
	if len(in.Parts) > maxListed {
		return sheet, bad(http.StatusUnprocessableEntity, "too many parts in one order", "make two")
	}
	var loom *trade.Loom
	if in.Loom != "" {
		l, err := s.shelf.Loom(ctx, in.Loom)
		if err != nil {
			return sheet, err
		}
		loom = &l
	}
	ids := in.Parts
	if len(ids) == 0 {
		ids = []string{""}
	}
	for _, text := range ids {
		e := report.OrderEntry{Source: text}
		var wish trade.OrderWish
		if text != "" {
			id, err := shelf.ParseID(text)
			if err != nil {
				return sheet, err
			}
			if wish, e.Picture, err = box.OrderWish(ctx, s.shelf, id); err != nil {
				return sheet, err
			}
		}
		wish, err := in.over(wish, loom)
		if err != nil {
			return sheet, err
		}
		if e.OrderLine, err = trade.FillOrder(wish); err != nil {
			return sheet, bad(http.StatusUnprocessableEntity, err.Error(), "")
		}
		e.Questions, e.Confirm = allOnPage(e.Questions), allOnPage(e.Confirm)
		sheet.Lines = append(sheet.Lines, e)
	}
	return sheet, nil
}

// keptOrderJSON is an order that was kept.
type keptOrderJSON struct {
	UID   string          `json:"uid"`
	Title string          `json:"title"`
	State string          `json:"state"`
	At    string          `json:"at"`
	Sheet json.RawMessage `json:"sheet,omitempty"`
	Lines []string        `json:"lines,omitempty"`
}

func keptOrder(o shelf.Order) keptOrderJSON {
	out := keptOrderJSON{UID: o.UID, Title: o.Title, State: o.State, At: o.At.UTC().Format(time.RFC3339), Sheet: o.Facts}
	for _, l := range o.Lines {
		out.Lines = append(out.Lines, l.Words)
	}
	return out
}

func (s *Server) listOrders(w http.ResponseWriter, r *http.Request) error {
	orders, err := s.shelf.Orders(r.Context())
	if err != nil {
		return err
	}
	out := []keptOrderJSON{}
	for _, o := range orders {
		o.Facts = nil
		out = append(out, keptOrder(o))
	}
	return sendJSON(w, http.StatusOK, map[string]any{"orders": out})
}

func (s *Server) showOrder(w http.ResponseWriter, r *http.Request) error {
	o, err := s.shelf.Order(r.Context(), r.PathValue("uid"))
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, keptOrder(o))
}

// orderState says how far an order is.
func (s *Server) orderState(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		State string `json:"state"`
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	if !slices.Contains(shelf.OrderStates(), in.State) {
		return bad(http.StatusUnprocessableEntity, "an order cannot be that", "say "+strings.Join(shelf.OrderStates(), ", "))
	}
	o, err := s.shelf.Order(r.Context(), r.PathValue("uid"))
	if err != nil {
		return err
	}
	o.State = in.State
	if o, err = s.shelf.SaveOrder(r.Context(), o); err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, keptOrder(o))
}
