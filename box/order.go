package box

import (
	"bytes"
	"context"

	"dentcount/report"
	"dentcount/shelf"
	"dentcount/trade"
)

// doubtfulAtMost is the confidence of a size that is not to be relied on, however
// likely it was measured.
const doubtfulAtMost = 0.5

// OrderWish is what the shelf believes of a part, for an order of one like it,
// and its annotated picture; nil where there is none.
func OrderWish(ctx context.Context, s *shelf.Shelf, id shelf.ID) (w trade.OrderWish, picture []byte, err error) {
	p, err := s.Part(ctx, id)
	if err != nil {
		return w, nil, err
	}
	length := func(l shelf.LengthBelief) trade.Length { return trade.Length{In: l.In, U: l.U} }
	w.Kind, w.Length, w.Height = p.Kind, length(p.Length), length(p.Height)
	w.Size = trade.OrderSize{Label: p.Size.Label, System: p.Size.System, PerInch: NominalPerInch(p.Size.Size),
		MeasuredPerInch: p.Size.PerInch, U: p.Size.U, Confidence: p.Size.Confidence, ByPerson: p.Size.By == shelf.ByPerson}
	if p.Size.Doubt != "" && !w.Size.ByPerson {
		w.Size.Confidence = min(w.Size.Confidence, doubtfulAtMost)
	}
	_, ms, err := s.Evidence(ctx, id)
	if err != nil {
		return w, nil, err
	}
	for _, m := range ms {
		if picture, err = s.Picture(ctx, m); err != nil || len(picture) > 0 {
			break
		}
	}
	return w, picture, err
}

// KeepOrder stores an order sheet on the shelf.
func KeepOrder(ctx context.Context, s *shelf.Shelf, sheet report.OrderSheet) (shelf.Order, error) {
	var facts bytes.Buffer
	if err := report.OrderJSON(&facts, sheet); err != nil {
		return shelf.Order{}, err
	}
	order := shelf.Order{Title: sheet.Title, Facts: facts.Bytes()}
	for _, l := range sheet.Lines {
		line := shelf.OrderLine{Quantity: l.Quantity, Words: l.Words}
		if id, err := shelf.ParseID(l.Source); err == nil {
			line.Part = id
		}
		order.Lines = append(order.Lines, line)
	}
	return s.SaveOrder(ctx, order)
}
