package box

import (
	"context"
	"errors"
	"path/filepath"

	"dentcount/photo"
	"dentcount/report"
	"dentcount/shelf"
)

// finish groups the measured photos, gives each group its part on the shelf,
// and makes the sheet. All of it follows from the photos alone, not from the
// order in which they were measured.
func finish(ctx context.Context, s *shelf.Shelf, folder string, opt Options, files []found, done []worked, out *Outcome) error {
	out.Sheet.Title = "Sorted: " + filepath.Base(absolute(folder))
	names := map[string]string{} // stored path → name from the folder on
	first := map[string]bool{}
	var photos []shown
	for i, f := range files {
		d := done[i]
		switch {
		case d.err != nil:
			out.Faults++
			out.Sheet.Rows = append(out.Sheet.Rows, faultRow(f, d.err))
			continue
		case first[d.sha256]:
			out.Twins++
			continue
		}
		if d.known {
			out.Known++
		}
		first[d.sha256] = true
		names[d.sha256] = f.rel
		photos = append(photos, shown{rel: filepath.ToSlash(f.rel), sha256: d.sha256, tag: d.tag, kind: d.kind})
	}
	var gs []shelf.Group
	for _, g := range groups(photos, opt.Group) {
		gs = append(gs, shelfGroup(g))
	}
	ids, err := s.Assign(ctx, gs)
	if err != nil {
		return err
	}
	var parts []shelf.Part
	for _, id := range ids {
		p, err := s.Part(ctx, id)
		if err != nil {
			return err
		}
		parts = append(parts, p)
	}
	sheet, err := partRows(ctx, s, parts, names)
	if err != nil {
		return err
	}
	out.Sheet.Rows = append(out.Sheet.Rows, sheet...)
	out.Sheet.Sort()
	return nil
}

func absolute(p string) string {
	if abs, err := filepath.Abs(p); err == nil {
		return abs
	}
	return p
}

func faultRow(f found, err error) report.SheetRow {
	r := report.SheetRow{State: report.RowFault, Doubt: err.Error(), Photos: []report.SheetPhoto{{Name: f.rel}}}
	var bad *photo.Error
	if errors.As(err, &bad) {
		r.Doubt, r.Advice = bad.Problem, bad.Advice
	}
	return r
}
