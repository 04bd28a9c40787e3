package box

import (
	"context"
	"slices"
	"strings"

	"dentcount/report"
	"dentcount/shelf"
)

// Row is a part of the shelf as a row of a sheet, without photos.
func Row(p shelf.Part) report.SheetRow {
	r := report.SheetRow{
		ID: p.ID.String(), Kind: p.Kind, Name: p.Name, Place: p.Place,
		Label: p.Size.Label, System: p.Size.System, PerInch: p.Size.PerInch, U: p.Size.U, Confidence: p.Size.Confidence,
		LengthIn: p.Length.In, Doubt: p.Size.Doubt, Advice: p.Size.Advice,
	}
	switch {
	case p.Size.By == shelf.ByPerson:
		r.State = report.RowSettled
	case p.Size.By == shelf.ByNobody || p.Size.Label == "":
		r.State = report.RowRefused
	case p.Size.Doubt != "":
		r.State = report.RowUnsure
	default:
		r.State = report.RowAnswered
	}
	return r
}

// PartSheet is a sheet of parts of the shelf with their photos, sorted.
// Pictures are loaded from the shelf when they are needed.
func PartSheet(ctx context.Context, s *shelf.Shelf, title string, parts []shelf.Part) (report.Sheet, error) {
	rows, err := partRows(ctx, s, parts, nil)
	sheet := report.Sheet{Title: title, Rows: rows}
	sheet.Sort()
	return sheet, err
}

// partRows makes the rows; names gives other names to photos, by their digest.
func partRows(ctx context.Context, s *shelf.Shelf, parts []shelf.Part, names map[string]string) ([]report.SheetRow, error) {
	var rows []report.SheetRow
	for _, p := range parts {
		r := Row(p)
		photos, ms, err := s.Evidence(ctx, p.ID)
		if err != nil {
			return nil, err
		}
		for _, ph := range photos {
			row := report.SheetPhoto{Name: ph.Path}
			if name, ok := names[ph.SHA256]; ok {
				row.Name = name
			}
			for _, m := range ms {
				if m.Photo == ph.SHA256 && (m.What == shelf.WhatDentSize || row.Picture == nil) {
					row.Says = Says(m)
					key := shelf.Measurement{Photo: m.Photo, What: m.What, Version: m.Version} // not all of m: a sheet may be long
					row.Picture = func() ([]byte, error) { return s.Picture(ctx, key) }
				}
			}
			r.Photos = append(r.Photos, row)
		}
		slices.SortStableFunc(r.Photos, func(a, b report.SheetPhoto) int { return strings.Compare(a.Name, b.Name) })
		rows = append(rows, r)
	}
	return rows, nil
}
