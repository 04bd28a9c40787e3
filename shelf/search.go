package shelf

import (
	"context"
	"strings"
)

// Range is a closed interval; a zero Max means: no upper end.
type Range struct{ Min, Max float64 }

func (r Range) open() bool { return r.Min == 0 && r.Max == 0 }

// Sort is the order of a search.
type Sort string

// The orders there are.
const (
	DoubtfulFirst Sort = ""       // the doubtful ones first, then by size
	BySize        Sort = "size"   // coarse to fine
	ByLength      Sort = "length" // short to long
	ByAge         Sort = "age"    // oldest on the shelf first
)

// Query says which parts to find. The zero Query finds all that are not gone.
type Query struct {
	Kind string // "" for all
	// Size, when its Label is set, finds the parts believed to be of just this
	// size, and the doubtful ones within two per cent of it, which could be.
	Size    Size
	PerInch Range // dents per inch
	Length  Range // inches; parts of unknown length are left out
	Height  Range // inches; likewise
	// Fits finds what a loom can take; see LoomRoom.
	Fits *LoomRoom
	// Only narrows by how sure the size is.
	Only OnlyWhich
	// Text is looked for in name, place and note, without regard to case.
	Text string
	// IDs, when not nil, finds just these.
	IDs []ID
	// WithGone adds the parts that are gone.
	WithGone bool

	Sort   Sort
	Limit  int // at most so many; 0 means all
	Offset int // after so many
}

// OnlyWhich narrows a search by how sure the size is.
type OnlyWhich int

// How sure.
const (
	OnlyAny OnlyWhich = iota
	OnlyDoubtful
	OnlySure
)

// LoomRoom is the room a loom has for a reed, in inches. Zero: not known, not
// limited. A part whose length or height is not known is found too: it has to
// be measured first, and the caller says so.
type LoomRoom struct {
	MaxLength            float64 // the clear span between the uprights
	MinHeight, MaxHeight float64 // what the beater takes
}

// doubtfulNear is how near a doubtful part's measured size must be, relative,
// to be shown with a size that is searched for. The made sizes that are mixed
// up most lie 1.6 % apart (10 per inch and 40 per 10 cm).
const doubtfulNear = 0.02

// Find returns the parts that a query finds.
func (s *Shelf) Find(ctx context.Context, q Query) ([]Part, error) {
	text, args := q.sql("SELECT " + partColumns + " FROM parts")
	text += q.order()
	if q.Limit > 0 || q.Offset > 0 {
		limit := q.Limit
		if limit <= 0 {
			limit = -1
		}
		text += " LIMIT ? OFFSET ?"
		args = append(args, limit, q.Offset)
	}
	rows, err := s.reader(ctx).Query(text, args...)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []Part
	for rows.Next() {
		p, err := scanPart(rows.Scan)
		if err != nil {
			return nil, s.explain(err)
		}
		out = append(out, p)
	}
	return out, s.explain(rows.Err())
}

// Count says how many parts a query finds, without its limit and offset.
func (s *Shelf) Count(ctx context.Context, q Query) (n int, err error) {
	text, args := q.sql("SELECT count(*) FROM parts")
	err = s.reader(ctx).QueryRow(text, args...).Scan(&n)
	return n, s.explain(err)
}

// SizeCount is how many parts are believed to be of one size.
type SizeCount struct {
	Size
	Parts int
}

// Sizes lists the sizes that a query finds, coarse to fine, with how many of
// each. The doubtful parts are not in it.
func (s *Shelf) Sizes(ctx context.Context, q Query) ([]SizeCount, error) {
	q.Only = OnlySure
	text, args := q.sql("SELECT size_label, size_system, avg(size_per_inch), count(*) FROM parts")
	text += " GROUP BY size_label, size_system ORDER BY 3, 1, 2"
	rows, err := s.reader(ctx).Query(text, args...)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []SizeCount
	for rows.Next() {
		var c SizeCount
		if err := rows.Scan(&c.Label, &c.System, &c.PerInch, &c.Parts); err != nil {
			return nil, s.explain(err)
		}
		out = append(out, c)
	}
	return out, s.explain(rows.Err())
}

// sql gives select + WHERE, and the arguments.
func (q Query) sql(sel string) (string, []any) {
	var where []string
	var args []any
	and := func(cond string, a ...any) {
		where = append(where, cond)
		args = append(args, a...)
	}
	between := func(column string, r Range) {
		if r.open() {
			return
		}
		if r.Max > 0 {
			and(column+" BETWEEN ? AND ?", r.Min, r.Max)
		} else {
			and(column+" >= ?", r.Min)
		}
	}
	if q.WithGone {
		and("gone IN (0,1)")
	} else {
		and("gone = 0")
	}
	if q.Kind != "" {
		and("kind = ?", q.Kind)
	}
	if q.Size.Label != "" {
		// The range comes first for the index; the label decides in it.
		lo, hi := q.Size.PerInch*(1-doubtfulNear), q.Size.PerInch*(1+doubtfulNear)
		and("size_per_inch BETWEEN ? AND ?", lo, hi)
		and("(doubtful = 1 OR size_label = ? AND size_system = ?)", q.Size.Label, q.Size.System)
	}
	between("size_per_inch", q.PerInch)
	between("length_in", q.Length)
	between("height_in", q.Height)
	if f := q.Fits; f != nil {
		if f.MaxLength > 0 {
			and("(length_in IS NULL OR length_in <= ?)", f.MaxLength)
		}
		if f.MinHeight > 0 {
			and("(height_in IS NULL OR height_in >= ?)", f.MinHeight)
		}
		if f.MaxHeight > 0 {
			and("(height_in IS NULL OR height_in <= ?)", f.MaxHeight)
		}
	}
	switch q.Only {
	case OnlyDoubtful:
		and("doubtful = 1")
	case OnlySure:
		and("doubtful = 0")
	}
	if q.Text != "" {
		like := "%" + strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(q.Text) + "%"
		and(`(name LIKE ? ESCAPE '\' OR place LIKE ? ESCAPE '\' OR note LIKE ? ESCAPE '\')`, like, like, like)
	}
	if q.IDs != nil {
		marks := make([]string, len(q.IDs))
		for i, id := range q.IDs {
			marks[i] = "?"
			args = append(args, string(id))
		}
		where = append(where, "id IN ("+strings.Join(marks, ",")+")")
	}
	return sel + " WHERE " + strings.Join(where, " AND "), args
}

func (q Query) order() string {
	switch q.Sort {
	case BySize:
		return " ORDER BY size_per_inch, id"
	case ByLength:
		return " ORDER BY length_in, id"
	case ByAge:
		return " ORDER BY added_at, id"
	}
	return " ORDER BY doubtful DESC, size_per_inch, id"
}
