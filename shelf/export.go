package shelf

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"io"
	"strconv"
)

// ExportJSON writes everything on the shelf, as it is at one moment, as one
// JSON object: its version, and an array of rows for each table. Import of it
// into an empty shelf loses nothing.
func (s *Shelf) ExportJSON(ctx context.Context, w io.Writer) error {
	b := bufio.NewWriterSize(w, 1<<16)
	b.WriteString("{\n\"shelf\": " + strconv.Itoa(schemaVersion))
	err := s.snapshot(ctx, func(q *sql.Conn) error {
		for _, t := range tables {
			b.WriteString(",\n\"" + t.name + "\": [")
			first := true
			err := eachRow(ctx, q, t, func(row []any) error {
				if first {
					b.WriteString("\n")
				} else {
					b.WriteString(",\n")
				}
				first = false
				return writeJSONRow(b, t, row)
			})
			if err != nil {
				return err
			}
			b.WriteString("]")
		}
		return nil
	})
	if err != nil {
		return err
	}
	b.WriteString("\n}\n")
	return b.Flush()
}

func writeJSONRow(b *bufio.Writer, t table, row []any) error {
	b.WriteByte('{')
	for i, c := range t.cols {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(strconv.Quote(c.name) + ": ")
		text := c.asText(row[i])
		switch {
		case text == "" && (c.kind == realCell || c.kind == jsonCell || c.nulls):
			b.WriteString("null")
		case text != "" && (c.kind == realCell || c.kind == countCell || c.kind == flagCell || c.kind == jsonCell):
			// Numbers as they are, and stored JSON as JSON: it is valid and
			// compact since it was checked on the way in.
			b.WriteString(text)
		default:
			var q bytes.Buffer
			enc := json.NewEncoder(&q)
			enc.SetEscapeHTML(false)
			if err := enc.Encode(text); err != nil {
				return err
			}
			b.Write(bytes.TrimRight(q.Bytes(), "\n"))
		}
	}
	return b.WriteByte('}')
}

// ExportCSV writes everything on the shelf, as it is at one moment, as one
// CSV file for each table. create opens a file by its name ("parts.csv"); it
// is closed here. Text cells are made safe for spreadsheets (EscapeCell).
func (s *Shelf) ExportCSV(ctx context.Context, create func(name string) (io.WriteCloser, error)) error {
	err := writeCSV(create, versionFile, func(w *csv.Writer) error {
		if err := w.Write([]string{"shelf"}); err != nil {
			return err
		}
		return w.Write([]string{strconv.Itoa(schemaVersion)})
	})
	if err != nil {
		return err
	}
	return s.snapshot(ctx, func(q *sql.Conn) error {
		for _, t := range tables {
			err := writeCSV(create, t.name+".csv", func(w *csv.Writer) error {
				cells := make([]string, len(t.cols))
				for i, c := range t.cols {
					cells[i] = c.name
				}
				if err := w.Write(cells); err != nil {
					return err
				}
				return eachRow(ctx, q, t, func(row []any) error {
					for i, c := range t.cols {
						cells[i] = EscapeCell(c.asText(row[i]))
					}
					return w.Write(cells)
				})
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// versionFile holds the shelf's version in a folder of CSV files.
const versionFile = "shelf.csv"

func writeCSV(create func(string) (io.WriteCloser, error), name string, fill func(*csv.Writer) error) (err error) {
	f, err := create(name)
	if err != nil {
		return err
	}
	defer func() {
		if cerr := f.Close(); err == nil {
			err = cerr
		}
	}()
	b := bufio.NewWriterSize(f, 1<<16)
	w := csv.NewWriter(b)
	if err := fill(w); err != nil {
		return err
	}
	w.Flush()
	if err := w.Error(); err != nil {
		return err
	}
	return b.Flush()
}

// snapshot reads under one view of the shelf, without holding up writers.
func (s *Shelf) snapshot(ctx context.Context, read func(*sql.Conn) error) error {
	c, err := s.db.Conn(ctx)
	if err != nil {
		return s.explain(err)
	}
	defer c.Close()
	if _, err := c.ExecContext(ctx, "BEGIN DEFERRED"); err != nil {
		return s.explain(err)
	}
	defer c.ExecContext(context.WithoutCancel(ctx), "ROLLBACK")
	return s.explain(read(c))
}

// eachRow hands each row of a table, with all its columns, to do. The slice
// is used again for the next row.
func eachRow(ctx context.Context, q *sql.Conn, t table, do func(row []any) error) error {
	rows, err := q.QueryContext(ctx, t.selectSQL(t.cols, "ORDER BY "+t.sort))
	if err != nil {
		return err
	}
	defer rows.Close()
	row := make([]any, len(t.cols))
	for i, c := range t.cols {
		row[i] = c.scanInto()
	}
	for rows.Next() {
		if err := rows.Scan(row...); err != nil {
			return err
		}
		if err := do(row); err != nil {
			return err
		}
	}
	return rows.Err()
}
