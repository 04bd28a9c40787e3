package shelf

import (
	"database/sql"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"dentcount/trade"
)

// This file says, as data, what an export holds: every column that is not
// worked out from others. export.go and import.go go through it.

type cellKind int

const (
	textCell  cellKind = iota
	idCell             // an ID, or empty
	hashCell           // hex SHA-256
	realCell           // a number; empty where not known
	countCell          // a whole number
	flagCell           // 0 or 1
	timeCell           // microseconds, written as RFC 3339
	jsonCell           // compact JSON, or empty
	blobCell           // bytes, written in base64
)

type column struct {
	name string
	kind cellKind
	must bool // not empty
	// loose columns may differ between two shelves that are joined: what is
	// there stays.
	loose bool
	// derived columns are written for the reader's sake and not read back.
	derived bool
	nulls   bool // empty is NULL
	source  string
	oneOf   []string             // what it may be; nil: anything
	check   func(s string) error // more that must hold; nil: nothing
}

// from is the column's name or expression in SQL.
func (c column) from() string {
	if c.source != "" {
		return c.source
	}
	return c.name
}

type table struct {
	name string
	keys int // the first keys columns identify a row
	cols []column
	sort string
}

// tables are in an order in which every reference points back.
var tables = []table{
	{name: "parts", keys: 1, sort: "added_at, id", cols: []column{
		{name: "id", kind: idCell, must: true},
		{name: "kind", source: "kind_added", must: true},
		{name: "name"}, {name: "place"}, {name: "note"}, {name: "origin"},
		{name: "added_at", kind: timeCell, must: true},
		{name: "believed_kind", source: "kind", derived: true},
		{name: "believed_size", source: "size_label", derived: true},
		{name: "believed_system", source: "size_system", derived: true},
		{name: "believed_per_inch", source: "size_per_inch", kind: realCell, derived: true},
		{name: "believed_by", source: "size_by", derived: true},
		{name: "doubt", derived: true},
		{name: "believed_length_in", source: "length_in", kind: realCell, derived: true},
		{name: "gone", kind: flagCell, derived: true},
	}},
	{name: "tags", keys: 1, sort: "printed_at, id", cols: []column{
		{name: "id", kind: idCell, must: true},
		{name: "printed_at", kind: timeCell, must: true},
	}},
	{name: "photos", keys: 1, sort: "path, sha256", cols: []column{
		{name: "sha256", kind: hashCell, must: true},
		{name: "path", loose: true},
		{name: "bytes", kind: countCell, must: true},
		{name: "part_id", kind: idCell, nulls: true},
		{name: "tag", kind: idCell},
		{name: "seen_at", kind: timeCell, must: true, loose: true},
	}},
	{name: "measurements", keys: 3, sort: "at, photo, what, version", cols: []column{
		{name: "photo", kind: hashCell, must: true},
		{name: "what", must: true}, {name: "version", must: true}, {name: "status", must: true, oneOf: statuses},
		{name: "kind"}, {name: "label"}, {name: "system"},
		{name: "per_inch", kind: realCell}, {name: "u", kind: realCell}, {name: "confidence", kind: realCell}, {name: "length_in", kind: realCell},
		{name: "reason"}, {name: "advice"},
		{name: "result", kind: jsonCell}, {name: "evidence", kind: jsonCell},
		{name: "at", kind: timeCell, must: true},
	}},
	{name: "pictures", keys: 3, sort: "photo, what, version", cols: []column{
		{name: "photo", kind: hashCell, must: true}, {name: "what", must: true}, {name: "version", must: true},
		{name: "jpeg", kind: blobCell, must: true},
	}},
	{name: "decisions", keys: 1, sort: "at, uid", cols: []column{
		{name: "uid", must: true},
		{name: "part_id", kind: idCell, must: true},
		{name: "field", must: true, oneOf: fields}, {name: "label"}, {name: "system"},
		{name: "value", kind: realCell},
		{name: "withdrawn", kind: flagCell, must: true},
		{name: "note"},
		{name: "at", kind: timeCell, must: true},
	}},
	{name: "looms", keys: 1, sort: "key", cols: []column{
		{name: "key", must: true}, {name: "name", must: true},
		{name: "facts", kind: jsonCell, must: true, check: isLoom},
		{name: "at", kind: timeCell, must: true},
	}},
	{name: "orders", keys: 1, sort: "at, uid", cols: []column{
		{name: "uid", must: true}, {name: "title"}, {name: "state", must: true, oneOf: orderStates},
		{name: "facts", kind: jsonCell},
		{name: "at", kind: timeCell, must: true},
	}},
	{name: "order_lines", keys: 2, sort: "order_uid, line", cols: []column{
		{name: "order_uid", must: true},
		{name: "line", kind: countCell, must: true},
		{name: "part_id", kind: idCell, nulls: true},
		{name: "quantity", kind: countCell, must: true},
		{name: "words"},
		{name: "facts", kind: jsonCell},
	}},
}

// kept are the columns that an import reads.
func (t table) kept() []column {
	var out []column
	for _, c := range t.cols {
		if !c.derived {
			out = append(out, c)
		}
	}
	return out
}

func (t table) selectSQL(cols []column, rest string) string {
	names := make([]string, len(cols))
	for i, c := range cols {
		names[i] = c.from()
	}
	return "SELECT " + strings.Join(names, ", ") + " FROM " + t.name + " " + rest
}

func (t table) insertSQL() string {
	var names, marks []string
	for _, c := range t.kept() {
		names = append(names, c.from())
		marks = append(marks, "?")
	}
	if t.name == "parts" { // worked out right after, by believe
		names, marks = append(names, "kind"), append(marks, "''")
	}
	return fmt.Sprintf("INSERT INTO %s (%s) VALUES (%s) ON CONFLICT DO NOTHING", t.name, strings.Join(names, ", "), strings.Join(marks, ", "))
}

// stored is a value as SQLite gives it back for a column of this kind.
func (c column) scanInto() any {
	switch c.kind {
	case realCell:
		return new(sql.NullFloat64)
	case countCell, timeCell, flagCell:
		return new(sql.NullInt64)
	case blobCell:
		return new([]byte)
	}
	return new(sql.NullString)
}

const timeForm = "2006-01-02T15:04:05.000000Z"

// asText writes a scanned value as the plain text of a cell.
func (c column) asText(v any) string {
	switch v := v.(type) {
	case *sql.NullFloat64:
		if !v.Valid {
			return ""
		}
		return strconv.FormatFloat(v.Float64, 'g', -1, 64)
	case *sql.NullInt64:
		if !v.Valid {
			return ""
		}
		if c.kind == timeCell {
			return fromStamp(v.Int64).Format(timeForm)
		}
		return strconv.FormatInt(v.Int64, 10)
	case *[]byte:
		return base64.StdEncoding.EncodeToString(*v)
	}
	return v.(*sql.NullString).String
}

// fromText reads the text of a cell back into what is stored, and checks it:
// an import is data from outside.
func (c column) fromText(s string) (any, error) {
	if s == "" {
		switch {
		case c.must:
			return nil, badValue("", "%s is empty", c.name)
		case c.nulls || c.kind == realCell:
			return nil, nil
		case c.kind == countCell || c.kind == flagCell || c.kind == timeCell:
			return nil, badValue("", "%s is empty", c.name)
		}
		return "", nil
	}
	wrong := func() error { return badValue("", "%s cannot be %.60q", c.name, s) }
	if c.check != nil {
		if err := c.check(s); err != nil {
			return nil, wrong()
		}
	}
	switch c.kind {
	case idCell:
		id, err := ParseID(s)
		if err != nil || string(id) != s {
			return nil, wrong()
		}
	case hashCell:
		if b, err := hex.DecodeString(s); err != nil || len(b) != 32 {
			return nil, wrong()
		}
	case realCell:
		x, err := strconv.ParseFloat(s, 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
			return nil, wrong()
		}
		return x, nil
	case countCell, flagCell:
		n, err := strconv.ParseInt(s, 10, 64)
		if err != nil || n < 0 || c.kind == flagCell && n > 1 {
			return nil, wrong()
		}
		return n, nil
	case timeCell:
		t, err := time.Parse(timeForm, s)
		if err != nil {
			return nil, wrong()
		}
		return t.UnixMicro(), nil
	case jsonCell:
		return compactJSON(c.name, json.RawMessage(s))
	case blobCell:
		b, err := base64.StdEncoding.DecodeString(s)
		if err != nil {
			return nil, wrong()
		}
		return b, nil
	}
	if c.oneOf != nil && !slices.Contains(c.oneOf, s) {
		return nil, wrong()
	}
	return s, checkText(c.name, s)
}

func isLoom(facts string) error {
	var l trade.Loom
	return json.Unmarshal([]byte(facts), &l)
}
