package box

import (
	"context"

	"dentcount/report"
	"dentcount/shelf"
	"dentcount/trade"
)

// LabelOf is the label of a part. A size that is not to be relied on is not
// printed: a label outlives its doubt.
func LabelOf(p shelf.Part) report.Label {
	l := report.Label{ID: p.ID.String(), Kind: p.Kind, Name: p.Name, LengthIn: p.Length.In,
		QR: func(side int) string { return shelf.Tag{ID: p.ID, SideMM: side}.Text() }}
	if p.Size.Doubt == "" {
		l.SizeLabel, l.System, l.PerInch = p.Size.Label, p.Size.System, NominalPerInch(p.Size.Size)
	}
	return l
}

// TagOf is a blank id tag with an id that the shelf has reserved.
func TagOf(id shelf.ID) report.Tag {
	return report.Tag{ID: id.String(), QR: func(side int) string { return shelf.Tag{ID: id, SideMM: side, Ruled: true}.Text() }}
}

// NominalPerInch is the size itself where its label is one that is made, and
// what was measured where it is not.
func NominalPerInch(s shelf.Size) float64 {
	if m, err := trade.ParseSize(s.Label); err == nil && m.System == s.System {
		return m.PerInch
	}
	return s.PerInch
}

// ReedsFor asks the shelf for the reeds that could go into a loom, and the
// rules of the trade which of them can give the sett (ends per inch) for a warp
// of widthIn (0: whatever the reed gives). doubtful is how many reeds were
// passed over because their size is not settled. A shelf may hold very many
// reeds: sizes that cannot give the sett are never read.
func ReedsFor(ctx context.Context, s *shelf.Shelf, l trade.Loom, sett, widthIn float64) (found []trade.Service, doubtful int, err error) {
	q := shelf.Query{Kind: trade.PartReed, Only: shelf.OnlySure}
	sizes, err := s.Sizes(ctx, q)
	if err != nil {
		return nil, 0, err
	}
	var owned []trade.OwnedReed
	for _, size := range sizes {
		if len(trade.Sleyings(sett, size.PerInch)) == 0 {
			continue
		}
		q.Size = size.Size
		parts, err := s.Find(ctx, q)
		if err != nil {
			return nil, 0, err
		}
		for _, p := range parts {
			owned = append(owned, OwnedReed(p))
		}
	}
	if found, err = trade.ReedsThatServe(l, sett, widthIn, owned); err != nil {
		return nil, 0, err
	}
	doubtful, err = s.Count(ctx, shelf.Query{Kind: trade.PartReed, Only: shelf.OnlyDoubtful})
	return found, doubtful, err
}

// OwnedReed is a reed of the shelf as the rules of the trade want it.
func OwnedReed(p shelf.Part) trade.OwnedReed {
	made := trade.MadeSize{Label: p.Size.Label, System: p.Size.System, PerInch: p.Size.PerInch}
	if m, err := trade.ParseSize(p.Size.Label); err == nil && m.System == p.Size.System {
		made = m // the size itself, not what was measured of it
	}
	length := func(b shelf.LengthBelief) trade.Length { return trade.Length{In: b.In, U: b.U} }
	return trade.OwnedReed{ID: p.ID.String(), Size: made, Dims: trade.ReedDims{
		Label: p.Size.Label, Length: length(p.Length), Height: length(p.Height), SleyWidth: length(p.Sley), PerInch: made.PerInch}}
}
