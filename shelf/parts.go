package shelf

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// querier is what *sql.DB and *sql.Tx have in common.
type querier interface {
	Exec(query string, args ...any) (sql.Result, error)
	Query(query string, args ...any) (*sql.Rows, error)
	QueryRow(query string, args ...any) *sql.Row
}

// AddPart puts a part on the shelf. An empty ID is drawn at random; one that
// is given must not be taken. It returns the part as stored.
func (s *Shelf) AddPart(ctx context.Context, p Part) (Part, error) {
	err := s.write(ctx, func(tx *sql.Tx) (err error) {
		p, err = s.addPart(tx, p, nil)
		return err
	})
	return p, err
}

func (s *Shelf) addPart(tx *sql.Tx, p Part, random io.Reader) (Part, error) {
	if p.Kind == "" {
		return Part{}, badValue("say what it is, for example reed or rigid-heddle", "a part without a kind")
	}
	if err := checkText("part", p.Kind, p.Name, p.Place, p.Note, p.Origin); err != nil {
		return Part{}, err
	}
	if p.ID == "" {
		id, err := s.freeID(tx, random)
		if err != nil {
			return Part{}, err
		}
		p.ID = id
	} else {
		id, err := ParseID(string(p.ID))
		if err != nil {
			return Part{}, err
		}
		p.ID = id
		if taken, err := isPart(tx, id); err != nil {
			return Part{}, err
		} else if taken {
			return Part{}, &Error{Kind: ErrConflict, Problem: fmt.Sprintf("there is a part %s on the shelf already", id), Advice: "dentcount shelf show " + id.String() + " shows it"}
		}
	}
	if p.AddedAt.IsZero() {
		p.AddedAt = fromStamp(s.stamp())
	}
	_, err := tx.Exec(`INSERT INTO parts (id, kind_added, kind, name, place, note, origin, added_at) VALUES (?,?,?,?,?,?,?,?)`,
		string(p.ID), p.Kind, p.Kind, p.Name, p.Place, p.Note, p.Origin, p.AddedAt.UnixMicro())
	if err != nil {
		return Part{}, err
	}
	if err := believe(tx, p.ID); err != nil {
		return Part{}, err
	}
	return readPart(tx, p.ID)
}

// freeID draws an id that neither a part nor a printed tag has.
func (s *Shelf) freeID(tx querier, random io.Reader) (ID, error) {
	for range 100 {
		id, err := NewID(random)
		if err != nil {
			return "", err
		}
		if taken, err := isTaken(tx, id); err != nil || !taken {
			return id, err
		}
	}
	return "", errors.New("no free id was found in a hundred draws")
}

func isPart(q querier, id ID) (yes bool, err error) {
	err = q.QueryRow(`SELECT EXISTS (SELECT 1 FROM parts WHERE id = ?)`, string(id)).Scan(&yes)
	return yes, err
}

func isTaken(q querier, id ID) (yes bool, err error) {
	err = q.QueryRow(`SELECT EXISTS (SELECT 1 FROM parts WHERE id = ?1) OR EXISTS (SELECT 1 FROM tags WHERE id = ?1)`, string(id)).Scan(&yes)
	return yes, err
}

// ReserveTags draws n ids for blank tags and keeps them, so that no part is
// given one of them by chance.
func (s *Shelf) ReserveTags(ctx context.Context, n int) ([]ID, error) {
	if n < 1 || n > 10000 {
		return nil, badValue("ask for 1 to 10000 tags at a time", "%d tags cannot be made", n)
	}
	ids := make([]ID, 0, n)
	err := s.write(ctx, func(tx *sql.Tx) error {
		ids = ids[:0]
		for range n {
			id, err := s.freeID(tx, nil)
			if err != nil {
				return err
			}
			if _, err := tx.Exec(`INSERT INTO tags (id, printed_at) VALUES (?,?)`, string(id), s.stamp()); err != nil {
				return err
			}
			ids = append(ids, id)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return ids, nil
}

// Describe changes what a part is called, where it hangs and the note on it.
// These are not measured, so there is no other value to keep beside them.
func (s *Shelf) Describe(ctx context.Context, id ID, name, place, note *string) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		p, err := readPart(tx, id)
		if err != nil {
			return err
		}
		for _, f := range []struct{ to, from *string }{{&p.Name, name}, {&p.Place, place}, {&p.Note, note}} {
			if f.from != nil {
				*f.to = *f.from
			}
		}
		if err := checkText("description", p.Name, p.Place, p.Note); err != nil {
			return err
		}
		_, err = tx.Exec(`UPDATE parts SET name=?, place=?, note=? WHERE id=?`, p.Name, p.Place, p.Note, string(id))
		return err
	})
}

// Part finds one part; ErrNoPart where there is none.
func (s *Shelf) Part(ctx context.Context, id ID) (Part, error) {
	p, err := readPart(s.reader(ctx), id)
	return p, s.explain(err)
}

// partColumns are read by scanPart, in this order.
const partColumns = `id, kind, name, place, note, origin, added_at,
	size_label, size_system, size_per_inch, size_u, size_confidence, size_by, doubt, advice,
	length_in, length_u, length_by, sley_in, sley_u, sley_by, height_in, height_u, height_by, gone`

func scanPart(scan func(...any) error) (Part, error) {
	var p Part
	var id string
	var added int64
	var perInch, u, conf sql.NullFloat64
	var l [3]struct{ in, u sql.NullFloat64 }
	beliefs := []*LengthBelief{&p.Length, &p.Sley, &p.Height}
	err := scan(&id, &p.Kind, &p.Name, &p.Place, &p.Note, &p.Origin, &added,
		&p.Size.Label, &p.Size.System, &perInch, &u, &conf, &p.Size.By, &p.Size.Doubt, &p.Size.Advice,
		&l[0].in, &l[0].u, &p.Length.By, &l[1].in, &l[1].u, &p.Sley.By, &l[2].in, &l[2].u, &p.Height.By, &p.Gone)
	if err != nil {
		return Part{}, err
	}
	p.ID, p.AddedAt = ID(id), fromStamp(added)
	p.Size.PerInch, p.Size.U, p.Size.Confidence = perInch.Float64, u.Float64, conf.Float64
	for i, b := range beliefs {
		b.In, b.U = l[i].in.Float64, l[i].u.Float64
	}
	return p, nil
}

func readPart(q querier, id ID) (Part, error) {
	p, err := scanPart(q.QueryRow(`SELECT `+partColumns+` FROM parts WHERE id = ?`, string(id)).Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return Part{}, &Error{Kind: ErrNoPart, Problem: fmt.Sprintf("there is no part %s on the shelf", id), Advice: "dentcount shelf list shows what is there"}
	}
	return p, err
}

// Settle records a person's word about a part. Nothing measured is changed;
// what is believed follows the last word.
func (s *Shelf) Settle(ctx context.Context, d Decision) (Part, error) {
	return s.SettleAll(ctx, []Decision{d})
}

// SettleAll records several words about one part, all or none of them, and
// gives the part as it is believed after the last.
func (s *Shelf) SettleAll(ctx context.Context, ds []Decision) (Part, error) {
	var p Part
	err := s.write(ctx, func(tx *sql.Tx) error {
		for _, d := range ds {
			if _, err := readPart(tx, d.Part); err != nil {
				return err
			}
			if err := s.settle(tx, d); err != nil {
				return err
			}
		}
		if len(ds) == 0 {
			return badValue("", "nothing was said")
		}
		var err error
		p, err = readPart(tx, ds[len(ds)-1].Part)
		return err
	})
	return p, err
}

// AddSettled puts a part on the shelf together with what a person says of it,
// all or none of it.
func (s *Shelf) AddSettled(ctx context.Context, p Part, ds []Decision) (Part, error) {
	err := s.write(ctx, func(tx *sql.Tx) (err error) {
		if p, err = s.addPart(tx, p, nil); err != nil {
			return err
		}
		for _, d := range ds {
			d.Part = p.ID
			if err := s.settle(tx, d); err != nil {
				return err
			}
		}
		p, err = readPart(tx, p.ID)
		return err
	})
	return p, err
}

func (s *Shelf) settle(tx *sql.Tx, d Decision) error {
	if err := checkText("decision", d.Size.Label, d.Size.System, d.Note); err != nil {
		return err
	}
	if err := checkNumbers("value", d.Size.PerInch, d.In); err != nil {
		return err
	}
	var value sql.NullFloat64
	switch d.Field {
	case FieldSize:
		if !d.Withdrawn && (d.Size.Label == "" || d.Size.PerInch <= 0) {
			return badValue("give a size such as 12 or 40/10", "a size without a value")
		}
		value = sql.NullFloat64{Float64: d.Size.PerInch, Valid: !d.Withdrawn}
	case FieldLength, FieldSley, FieldHeight:
		if !d.Withdrawn && d.In <= 0 {
			return badValue("give a length such as 26 1/2 in or 68 cm", "a length of %v in", d.In)
		}
		value = sql.NullFloat64{Float64: d.In, Valid: !d.Withdrawn}
	case FieldKind:
		if !d.Withdrawn && d.Size.Label == "" {
			return badValue("say what it is, for example reed or rigid-heddle", "a kind without a name")
		}
	case FieldGone:
	default:
		return badValue("", "there is no field %q to settle", d.Field)
	}
	if d.Withdrawn {
		d.Size = Size{}
	}
	if d.UID == "" {
		uid, err := newUID()
		if err != nil {
			return err
		}
		d.UID = uid
	}
	at := s.stamp()
	// A clock that was set back must not let an older word win.
	var last sql.NullInt64
	if err := tx.QueryRow(`SELECT max(at) FROM decisions WHERE part_id = ? AND field = ?`, string(d.Part), d.Field).Scan(&last); err != nil {
		return err
	}
	if last.Valid && at <= last.Int64 {
		at = last.Int64 + 1
	}
	_, err := tx.Exec(`INSERT INTO decisions (uid, part_id, field, label, system, value, withdrawn, note, at) VALUES (?,?,?,?,?,?,?,?,?)`,
		d.UID, string(d.Part), d.Field, d.Size.Label, d.Size.System, value, d.Withdrawn, d.Note, at)
	if err != nil {
		return err
	}
	return believe(tx, d.Part)
}

// Decisions gives everything that was said about a part, oldest first.
func (s *Shelf) Decisions(ctx context.Context, id ID) ([]Decision, error) {
	ds, err := readDecisions(s.reader(ctx), id)
	return ds, s.explain(err)
}

func readDecisions(q querier, id ID) ([]Decision, error) {
	rows, err := q.Query(`SELECT uid, field, label, system, value, withdrawn, note, at FROM decisions WHERE part_id = ? ORDER BY at, uid`, string(id))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []Decision
	for rows.Next() {
		d := Decision{Part: id}
		var value sql.NullFloat64
		var at int64
		if err := rows.Scan(&d.UID, &d.Field, &d.Size.Label, &d.Size.System, &value, &d.Withdrawn, &d.Note, &at); err != nil {
			return nil, err
		}
		if d.Field == FieldSize {
			d.Size.PerInch = value.Float64
		} else {
			d.In = value.Float64
		}
		d.At = fromStamp(at)
		out = append(out, d)
	}
	return out, rows.Err()
}

// reader gives the database for reading under ctx.
func (s *Shelf) reader(ctx context.Context) querier { return ctxReader{ctx, s.db} }

type ctxReader struct {
	ctx context.Context
	db  *sql.DB
}

func (r ctxReader) Exec(q string, args ...any) (sql.Result, error) {
	return nil, errors.New("shelf: a reader does not write")
}
func (r ctxReader) Query(q string, args ...any) (*sql.Rows, error) {
	return r.db.QueryContext(r.ctx, q, args...)
}
func (r ctxReader) QueryRow(q string, args ...any) *sql.Row {
	return r.db.QueryRowContext(r.ctx, q, args...)
}

func mustCompact(raw []byte) []byte {
	var b bytes.Buffer
	if err := json.Compact(&b, raw); err != nil {
		panic("shelf: JSON was checked before: " + err.Error())
	}
	return b.Bytes()
}

func null(x float64) sql.NullFloat64 { return sql.NullFloat64{Float64: x, Valid: x != 0} }
