package shelf

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"dentcount/trade"
)

func exported(t testing.TB, s *Shelf) string {
	t.Helper()
	var b bytes.Buffer
	if err := s.ExportJSON(ctx, &b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func exportCSV(t testing.TB, s *Shelf, dir string) {
	t.Helper()
	err := s.ExportCSV(ctx, func(name string) (io.WriteCloser, error) { return os.Create(filepath.Join(dir, name)) })
	if err != nil {
		t.Fatal(err)
	}
}

// everyRow reads all tables with all columns, the worked-out ones too: what
// must be the same on both sides of an export.
func everyRow(t testing.TB, s *Shelf) string {
	t.Helper()
	var lines []string
	for _, tab := range tables {
		rows, err := s.db.Query("SELECT * FROM " + tab.name)
		if err != nil {
			t.Fatal(err)
		}
		cols, _ := rows.Columns()
		for rows.Next() {
			vals := make([]any, len(cols))
			for i := range vals {
				vals[i] = new(any)
			}
			if err := rows.Scan(vals...); err != nil {
				t.Fatal(err)
			}
			var b strings.Builder
			b.WriteString(tab.name)
			for i := range vals {
				fmt.Fprintf(&b, " %s=%#v", cols[i], *vals[i].(*any))
			}
			lines = append(lines, b.String())
		}
		rows.Close()
	}
	slices.Sort(lines)
	return strings.Join(lines, "\n")
}

// nastyText draws text of the kind that breaks exports.
func nastyText(r *rand.Rand) string {
	pieces := []string{"=1+1", "+", "-", "@sum", "\t", "\r", "\n", "\r\n", "'", `'\`, `\`, `\n`, `"`, `""`, ",", ";", "<b>", "&", " ", "é", "日本", "🧶", "\u2028", "\ufeff", "=cmd|' /C calc'!A0", "null", "0", "1e5", "\x01", "\x7f", "＝x", "a", "reed", "\\.", "\u202e"}
	var b strings.Builder
	for range r.IntN(4) {
		b.WriteString(pieces[r.IntN(len(pieces))])
	}
	return b.String()
}

// randomShelf fills a shelf through its own doors with what r draws.
func randomShelf(t testing.TB, s *Shelf, r *rand.Rand) {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	sizes := trade.Sizes("")
	number := func() float64 {
		return []float64{0, 0, r.Float64(), r.Float64() * 100, 1.0 / 3, 5e-324, 1e300, 0.1 + 0.2}[r.IntN(8)]
	}
	raw := func() []byte {
		return []byte([]string{"", "{}", `{"a": [1, 2.50, "<&>\u2028 é"]}`, `"text"`, `""`, "null", "[ ]", "12e-3"}[r.IntN(8)])
	}
	var ids []ID
	for range 1 + r.IntN(6) {
		p, err := s.AddPart(ctx, Part{Kind: "k" + nastyText(r), Name: nastyText(r), Place: nastyText(r), Note: nastyText(r), Origin: nastyText(r)})
		must(err)
		ids = append(ids, p.ID)
	}
	any := func() ID { return ids[r.IntN(len(ids))] }
	_, err := s.ReserveTags(ctx, 1+r.IntN(3))
	must(err)
	for i := range r.IntN(10) {
		ph := Photo{SHA256: sha(fmt.Sprint(i, r.Uint64())), Path: nastyText(r), Bytes: r.Int64N(1 << 40)}
		if r.IntN(3) > 0 {
			ph.Part = any()
		}
		if r.IntN(3) == 0 {
			ph.Tag = any()
		}
		for range 1 + r.IntN(3) {
			m := sizes[r.IntN(len(sizes))]
			x := Measurement{
				What: []string{WhatDentSize, WhatReedLength, WhatSleyWidth, WhatReedHeight}[r.IntN(4)], Version: "v" + nastyText(r),
				Status: statuses[r.IntN(3)], Kind: nastyText(r), Size: Size{m.Label, m.System, m.PerInch}, U: number(), Confidence: number(),
				LengthIn: number(), Reason: nastyText(r), Advice: nastyText(r), Result: raw(), Evidence: raw(),
			}
			if r.IntN(2) == 0 {
				x.Picture = make([]byte, 1+r.IntN(50))
				for i := range x.Picture {
					x.Picture[i] = byte(r.Uint32())
				}
			}
			_, err := s.Record(ctx, ph, x)
			must(err)
		}
	}
	for range r.IntN(8) {
		m := sizes[r.IntN(len(sizes))]
		_, err := s.Settle(ctx, Decision{Part: any(), Field: fields[r.IntN(len(fields))], Size: Size{m.Label, m.System, m.PerInch},
			In: r.Float64() + 0.1, Withdrawn: r.IntN(4) == 0, Note: nastyText(r)})
		must(err)
	}
	for i := range r.IntN(3) {
		must(s.AddLoom(ctx, trade.Loom{Name: fmt.Sprint("x", nastyText(r), i), WeavingWidthIn: number(), Shafts: r.IntN(9)}, true))
	}
	for range r.IntN(3) {
		o := Order{Title: nastyText(r), State: orderStates[r.IntN(3)], Facts: raw()}
		for range r.IntN(3) {
			l := OrderLine{Quantity: 1 + r.IntN(9), Words: nastyText(r), Facts: raw()}
			if r.IntN(2) == 0 {
				l.Part = any()
			}
			o.Lines = append(o.Lines, l)
		}
		_, err := s.SaveOrder(ctx, o)
		must(err)
	}
}

// Whatever is on a shelf, its export read into an empty one gives the same,
// down to the last column that is worked out; and a second import of the same
// adds nothing.
func TestRoundTripLosesNothing(t *testing.T) {
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(seed, 1))
		s := openTest(t)
		randomShelf(t, s, r)
		want := everyRow(t, s)

		text := exported(t, s)
		viaJSON := openTest(t)
		done, err := viaJSON.ImportJSON(ctx, strings.NewReader(text))
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if got := everyRow(t, viaJSON); got != want {
			t.Fatalf("seed %d: JSON lost something:\n%s\nbecame\n%s", seed, want, got)
		}
		if exported(t, viaJSON) != text {
			t.Fatalf("seed %d: the export of the import differs", seed)
		}
		again, err := viaJSON.ImportJSON(ctx, strings.NewReader(text))
		if err != nil || len(again.Rows) != 0 || again.Known == 0 {
			t.Fatalf("seed %d: the same again: %+v after %+v, %v", seed, again, done, err)
		}

		dir := t.TempDir()
		exportCSV(t, s, dir)
		viaCSV := openTest(t)
		if _, err := viaCSV.ImportCSV(ctx, os.DirFS(dir)); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if got := everyRow(t, viaCSV); got != want {
			t.Fatalf("seed %d: CSV lost something:\n%s\nbecame\n%s", seed, want, got)
		}
	}
}

func TestNoCellRunsAsFormula(t *testing.T) {
	s := openTest(t)
	for seed := range uint64(10) {
		randomShelf(t, s, rand.New(rand.NewPCG(seed, 2)))
	}
	dir := t.TempDir()
	exportCSV(t, s, dir)
	files, _ := filepath.Glob(filepath.Join(dir, "*.csv"))
	if len(files) != len(tables)+1 {
		t.Fatalf("%d files", len(files))
	}
	cells := 0
	for _, f := range files {
		b, _ := os.ReadFile(f)
		rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range rows {
			for _, c := range row {
				cells++
				if c != "" && strings.ContainsRune(formulaStarts, []rune(c)[0]) {
					t.Errorf("%s: the cell %q runs as a formula", f, c)
				}
			}
		}
	}
	if cells < 500 {
		t.Errorf("only %d cells were looked at", cells)
	}
}

func FuzzCell(f *testing.F) {
	for _, s := range []string{"", "=1+1", "'=1", `'\`, "\r\n", "\xff", "\x00", "-5", "@a", "\tx", "'", "''", `\`} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		cell := EscapeCell(s)
		if cell != "" && strings.ContainsRune(formulaStarts, []rune(cell)[0]) {
			t.Errorf("%q is written as %q", s, cell)
		}
		var b bytes.Buffer
		w := csv.NewWriter(&b)
		w.Write([]string{"x", cell})
		w.Flush()
		row, err := csv.NewReader(&b).Read()
		if err != nil || len(row) != 2 {
			t.Fatalf("%q is no CSV: %v", cell, err)
		}
		if got, err := UnescapeCell(row[1]); err != nil || got != s {
			t.Errorf("%q came back as %q, %v", s, got, err)
		}
	})
}

func TestImportJoinsTwoShelves(t *testing.T) {
	a, b := openTest(t), openTest(t)
	pa := photographed(t, a, "a", Measurement{Status: Answered, Size: size(t, "10"), Confidence: 0.99})
	pb := photographed(t, b, "b", Measurement{Status: Answered, Size: size(t, "12"), Confidence: 0.99})
	done, err := b.ImportJSON(ctx, strings.NewReader(exported(t, a)))
	if err != nil || done.Rows["parts"] != 1 || done.Rows["measurements"] != 1 {
		t.Fatalf("%+v, %v", done, err)
	}
	for _, p := range []Part{pa, pb} {
		if got, err := b.Part(ctx, p.ID); err != nil || got.Size != p.Size {
			t.Errorf("%+v, %v", got, err)
		}
	}
	// A word said on one of them reaches the other and is believed there.
	if _, err := b.Settle(ctx, Decision{Part: pa.ID, Field: FieldSize, Size: size(t, "40/10")}); err != nil {
		t.Fatal(err)
	}
	if _, err := a.ImportJSON(ctx, strings.NewReader(exported(t, b))); err != nil {
		t.Fatal(err)
	}
	if got, _ := a.Part(ctx, pa.ID); got.Size.Label != "40/10" || got.Size.By != ByPerson {
		t.Errorf("%+v", got.Size)
	}
	// A photo that was moved is the same photo.
	if err := b.SeePhoto(ctx, Photo{SHA256: sha("a"), Path: "/elsewhere/a.jpg", Bytes: 1}); err != nil {
		t.Fatal(err)
	}
	if _, err := a.ImportJSON(ctx, strings.NewReader(exported(t, b))); err != nil {
		t.Error(err)
	}
	// What differs stops the import, and nothing is changed.
	name := "mine"
	if err := b.Describe(ctx, pa.ID, &name, nil, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := b.AddPart(ctx, Part{Kind: trade.PartReed}); err != nil {
		t.Fatal(err)
	}
	before := everyRow(t, a)
	if _, err := a.ImportJSON(ctx, strings.NewReader(exported(t, b))); !errors.Is(err, ErrConflict) || !strings.Contains(err.Error(), "parts, row") {
		t.Errorf("%v", err)
	}
	if everyRow(t, a) != before {
		t.Error("a refused import changed the shelf")
	}
}

func TestImportRefusesWhatIsWrong(t *testing.T) {
	src := openTest(t)
	p := photographed(t, src, "a", Measurement{Status: Answered, Size: size(t, "10"), Confidence: 0.99})
	if _, err := src.Settle(ctx, Decision{Part: p.ID, Field: FieldSize, Size: size(t, "12")}); err != nil {
		t.Fatal(err)
	}
	good := exported(t, src)
	swap := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("%q is not in the export", old)
		}
		return strings.Replace(good, old, new, 1)
	}
	for name, c := range map[string]struct {
		text string
		want error
	}{
		"empty":       {"", ErrBadValue},
		"not JSON":    {"reeds", ErrBadValue},
		"other JSON":  {`{"shelf": 1, "reeds": []}`, ErrBadValue},
		"no version":  {`{"parts": []}`, ErrBadValue},
		"array":       {`[]`, ErrBadValue},
		"newer":       {swap(`"shelf": 1`, `"shelf": 99`), ErrNewer},
		"cut off":     {good[:len(good)/2], ErrBadValue},
		"cut at end":  {strings.TrimRight(good, "}\n"), ErrBadValue},
		"bad id":      {swap(`"id": "`+string(p.ID), `"id": "`+string(p.ID[:7])+"O"), ErrBadValue},
		"bad field":   {swap(`"field": "size"`, `"field": "colour"`), ErrBadValue},
		"bad number":  {swap(`"confidence": 0.99`, `"confidence": "NaN"`), ErrBadValue},
		"negative":    {swap(`"confidence": 0.99`, `"confidence": -1`), ErrBadValue},
		"bad status":  {swap(`"status": "answered"`, `"status": "sure"`), ErrBadValue},
		"no column":   {swap(`"status": "answered", `, ``), ErrBadValue},
		"bad time":    {swap(`"added_at": "2026`, `"added_at": "x`), ErrBadValue},
		"bad flag":    {swap(`"withdrawn": 0`, `"withdrawn": 7`), ErrBadValue},
		"wrong type":  {swap(`"parts": [`, `"parts": [3, `), ErrBadValue},
		"no such row": {swap(`"part_id": "`+string(p.ID), `"part_id": "`+string(DerivedID("else", 0))), ErrBadValue},
	} {
		s := openTest(t)
		before := everyRow(t, s)
		_, err := s.ImportJSON(ctx, strings.NewReader(c.text))
		if !errors.Is(err, c.want) {
			t.Errorf("%s: %v", name, err)
		}
		if everyRow(t, s) != before {
			t.Errorf("%s: something was imported all the same", name)
		}
	}

	dir := t.TempDir()
	exportCSV(t, src, dir)
	file := func(name string) string { return filepath.Join(dir, name) }
	parts, _ := os.ReadFile(file("parts.csv"))
	for name, spoil := range map[string]func(){
		"ragged":     func() { os.WriteFile(file("parts.csv"), append(bytes.Clone(parts), "x,y\n"...), 0o644) },
		"quotes":     func() { os.WriteFile(file("parts.csv"), append(bytes.Clone(parts), "\"x\n"...), 0o644) },
		"no heading": func() { os.WriteFile(file("parts.csv"), nil, 0o644) },
		"no column":  func() { os.WriteFile(file("parts.csv"), bytes.Replace(parts, []byte("kind"), []byte("kin"), 1), 0o644) },
		"bad escape": func() {
			os.WriteFile(file("parts.csv"), bytes.Replace(parts, []byte(",reed,"), []byte(",'\\\\q,"), 1), 0o644)
		},
		"missing": func() { os.Remove(file("parts.csv")) },
	} {
		spoil()
		s := openTest(t)
		if _, err := s.ImportCSV(ctx, os.DirFS(dir)); !errors.Is(err, ErrBadValue) || !strings.Contains(err.Error(), "parts.csv") {
			t.Errorf("%s: %v", name, err)
		}
	}
	// A byte order mark, as spreadsheets put it there, does no harm.
	os.WriteFile(file("parts.csv"), append([]byte("\ufeff"), parts...), 0o644)
	if _, err := openTest(t).ImportCSV(ctx, os.DirFS(dir)); err != nil {
		t.Error(err)
	}
}

// An export is of one moment, though others write meanwhile.
func TestExportIsOfOneMoment(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s.db")
	cmd, _, _ := startHelper(t, "write", path)
	s := openAt(t, path)
	for range 5 {
		if _, err := openTest(t).ImportJSON(ctx, strings.NewReader(exported(t, s))); err != nil {
			t.Error(err)
		}
	}
	cmd.Process.Kill()
}
