package shelf

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"reflect"
	"strconv"
	"strings"
)

// Imported says what an import did.
type Imported struct {
	Rows  map[string]int // new rows by table
	Known int            // rows that were there already, and the same
}

// maxConflicts is how many rows an import names that are there already and
// different.
const maxConflicts = 5

// ImportJSON reads what ExportJSON wrote, all in one transaction. What is on
// the shelf stays. A row that is there already and is the same is passed
// over; one that is there and different (ErrConflict), or that cannot be
// right (ErrBadValue), stops the import and nothing is changed.
func (s *Shelf) ImportJSON(ctx context.Context, r io.Reader) (Imported, error) {
	return s.importRows(ctx, func(in *importer) error {
		dec := json.NewDecoder(bufio.NewReaderSize(r, 1<<16))
		dec.UseNumber()
		if err := wantDelim(dec, '{'); err != nil {
			return err
		}
		sawVersion := false
		for dec.More() {
			key, err := dec.Token()
			if err != nil {
				return badJSON(err)
			}
			if key == "shelf" {
				var v int
				if err := dec.Decode(&v); err != nil {
					return badJSON(err)
				}
				sawVersion = true
				if err := checkVersion(v); err != nil {
					return err
				}
				continue
			}
			if !sawVersion {
				return badValue("give a file that dentcount shelf export wrote", "this is not an exported shelf")
			}
			t, ok := tableNamed(fmt.Sprint(key))
			if !ok {
				return badValue("", "there is no table %.40q in a shelf", fmt.Sprint(key))
			}
			if err := wantDelim(dec, '['); err != nil {
				return err
			}
			for n := 1; dec.More(); n++ {
				var row map[string]json.RawMessage
				if err := dec.Decode(&row); err != nil {
					return badJSON(err)
				}
				where := fmt.Sprintf("%s, row %d", t.name, n)
				if err := in.add(t, where, func(c column) (string, bool, error) {
					raw, ok := row[c.name]
					return jsonText(c, raw), ok, nil
				}); err != nil {
					return err
				}
			}
			if err := wantDelim(dec, ']'); err != nil {
				return err
			}
		}
		if !sawVersion {
			return badValue("give a file that dentcount shelf export wrote", "this is not an exported shelf")
		}
		return wantDelim(dec, '}')
	})
}

// jsonText gives the text of a JSON value as fromText reads it.
func jsonText(c column, raw json.RawMessage) string {
	raw = bytes.TrimSpace(raw)
	if string(raw) == "null" {
		return ""
	}
	var text string
	if c.kind != jsonCell && json.Unmarshal(raw, &text) == nil {
		return text
	}
	return string(raw)
}

func wantDelim(dec *json.Decoder, want json.Delim) error {
	tok, err := dec.Token()
	if err != nil {
		return badJSON(err)
	}
	if tok != want {
		return badValue("give a file that dentcount shelf export wrote", "this is not an exported shelf")
	}
	return nil
}

func badJSON(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return badValue("copy it again from where it was exported", "the file ends too early")
	}
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	if errors.As(err, &syntax) || errors.As(err, &kind) {
		return badValue("give a file that dentcount shelf export wrote", "this is not an exported shelf (%v)", err)
	}
	return err
}

// ImportCSV reads the files that ExportCSV wrote, under the same rules as
// ImportJSON.
func (s *Shelf) ImportCSV(ctx context.Context, folder fs.FS) (Imported, error) {
	return s.importRows(ctx, func(in *importer) error {
		err := readCSV(folder, versionFile, func(head, row []string, where string) error {
			v, err := strconv.Atoi(row[0])
			if err != nil || head[0] != "shelf" {
				return badValue("give a folder that dentcount shelf export wrote", "%s holds no version", versionFile)
			}
			return checkVersion(v)
		})
		if err != nil {
			return err
		}
		for _, t := range tables {
			err := readCSV(folder, t.name+".csv", func(head, row []string, where string) error {
				at := map[string]int{}
				for i, name := range head {
					at[name] = i
				}
				return in.add(t, where, func(c column) (string, bool, error) {
					i, ok := at[c.name]
					if !ok {
						return "", false, nil
					}
					text, err := UnescapeCell(row[i])
					return text, true, err
				})
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
}

func readCSV(folder fs.FS, name string, do func(head, row []string, where string) error) error {
	f, err := folder.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return badValue("give a folder that dentcount shelf export wrote", "%s is missing", name)
	}
	if err != nil {
		return err
	}
	defer f.Close()
	b := bufio.NewReaderSize(f, 1<<16)
	// A spreadsheet that saved the file may have put a byte order mark there.
	if mark, err := b.Peek(3); err == nil && string(mark) == "\ufeff" {
		b.Discard(3)
	}
	r := csv.NewReader(b)
	head, err := r.Read()
	if err != nil {
		return badValue("give a folder that dentcount shelf export wrote", "%s has no heading (%v)", name, err)
	}
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			var pe *csv.ParseError
			if errors.As(err, &pe) {
				return badValue("export it again", "%s: %v", name, err)
			}
			return err
		}
		line, _ := r.FieldPos(0)
		if err := do(head, row, fmt.Sprintf("%s, line %d", name, line)); err != nil {
			return err
		}
	}
}

func tableNamed(name string) (table, bool) {
	for _, t := range tables {
		if t.name == name {
			return t, true
		}
	}
	return table{}, false
}

func checkVersion(v int) error {
	if v > schemaVersion {
		return &Error{Kind: ErrNewer, Problem: fmt.Sprintf("the export was written by a newer dentcount (its version is %d, this one knows %d)", v, schemaVersion), Advice: "nothing was changed; use the newer dentcount"}
	}
	if v < 1 {
		return badValue("", "an export cannot have the version %d", v)
	}
	return nil
}

// importer adds rows under one transaction.
type importer struct {
	tx        *sql.Tx
	done      Imported
	parts     map[ID]bool // whose belief has to be worked out again
	inserts   map[string]*sql.Stmt
	conflicts []string
	more      int
}

func (s *Shelf) importRows(ctx context.Context, read func(*importer) error) (Imported, error) {
	var done Imported
	err := s.write(ctx, func(tx *sql.Tx) error {
		in := &importer{tx: tx, done: Imported{Rows: map[string]int{}}, parts: map[ID]bool{}, inserts: map[string]*sql.Stmt{}}
		// References are checked at the end, so that an import that lacks
		// something is named as such.
		if _, err := tx.Exec("PRAGMA defer_foreign_keys=1"); err != nil {
			return err
		}
		if err := read(in); err != nil {
			return err
		}
		if n := len(in.conflicts); n > 0 {
			text := strings.Join(in.conflicts, "; ")
			if in.more > 0 {
				text += fmt.Sprintf("; and %d more", in.more)
			}
			return &Error{Kind: ErrConflict, Problem: "the shelf holds something else under the same name: " + text, Advice: "nothing was changed; import into an empty shelf (--shelf NEWFILE), or settle the difference first"}
		}
		if err := checkReferences(tx); err != nil {
			return err
		}
		for id := range in.parts {
			if err := believe(tx, id); err != nil {
				return err
			}
		}
		done = in.done
		return nil
	})
	return done, err
}

// add stores one row. cell gives the text of a column, and whether the import
// has that column at all.
func (in *importer) add(t table, where string, cell func(column) (text string, ok bool, err error)) error {
	cols := t.kept()
	values := make([]any, len(cols))
	for i, c := range cols {
		text, ok, err := cell(c)
		if err == nil && !ok {
			return badValue("export it again", "%s: the column %s is missing", where, c.name)
		}
		var v any
		if err == nil {
			v, err = c.fromText(text)
		}
		if err != nil {
			return fmt.Errorf("%s: %w", where, err)
		}
		values[i] = v
	}
	stmt := in.inserts[t.name]
	if stmt == nil {
		var err error
		if stmt, err = in.tx.Prepare(t.insertSQL()); err != nil {
			return err
		}
		in.inserts[t.name] = stmt
	}
	res, err := stmt.Exec(values...)
	if err != nil {
		return fmt.Errorf("%s: %w", where, err)
	}
	n, err := res.RowsAffected()
	if err != nil {
		return err
	}
	for i, c := range cols {
		if id, ok := values[i].(string); ok && id != "" && (c.name == "part_id" || t.name == "parts" && c.name == "id") {
			in.parts[ID(id)] = true
		}
	}
	if n > 0 {
		in.done.Rows[t.name]++
		return nil
	}
	same, err := in.same(t, cols, values)
	if err != nil {
		return err
	}
	if same {
		in.done.Known++
	} else if len(in.conflicts) < maxConflicts {
		in.conflicts = append(in.conflicts, where)
	} else {
		in.more++
	}
	return nil
}

// same compares a row with the one that has its key.
func (in *importer) same(t table, cols []column, values []any) (bool, error) {
	var where []string
	for i := range t.keys {
		where = append(where, cols[i].from()+" = ?")
	}
	there := make([]any, len(cols))
	for i, c := range cols {
		there[i] = c.scanInto()
	}
	if err := in.tx.QueryRow(t.selectSQL(cols, "WHERE "+strings.Join(where, " AND ")), values[:t.keys]...).Scan(there...); err != nil {
		return false, err
	}
	for i, c := range cols {
		if c.loose {
			continue
		}
		old, err := c.fromText(c.asText(there[i]))
		if err != nil {
			return false, err
		}
		if !reflect.DeepEqual(old, values[i]) {
			return false, nil
		}
	}
	return true, nil
}

func checkReferences(tx *sql.Tx) error {
	rows, err := tx.Query("PRAGMA foreign_key_check")
	if err != nil {
		return err
	}
	defer rows.Close()
	if rows.Next() {
		var from, to string
		var rowid sql.NullInt64
		var fk int
		if err := rows.Scan(&from, &rowid, &to, &fk); err != nil {
			return err
		}
		return badValue("export it again", "something in %s names a row of %s that is not there", from, to)
	}
	return rows.Err()
}
