package shelf

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"dentcount/trade"
)

// names gives the found parts by name, in order.
func names(t *testing.T, s *Shelf, q Query) string {
	t.Helper()
	ps, err := s.Find(ctx, q)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, p := range ps {
		out = append(out, p.Name)
	}
	n, err := s.Count(ctx, Query{Kind: q.Kind, Size: q.Size, PerInch: q.PerInch, Length: q.Length, Height: q.Height, Fits: q.Fits, Only: q.Only, Text: q.Text, IDs: q.IDs, WithGone: q.WithGone})
	if err != nil || q.Limit == 0 && q.Offset == 0 && n != len(out) {
		t.Errorf("Count says %d (%v), Find found %d", n, err, len(out))
	}
	return strings.Join(out, " ")
}

func TestFind(t *testing.T) {
	s := openTest(t)
	sure := func(name, label string, length, height float64) Part {
		p := photographed(t, s, name, Measurement{Status: Answered, Size: size(t, label), Confidence: 0.99})
		for field, in := range map[string]float64{FieldLength: length, FieldHeight: height} {
			if in > 0 {
				if _, err := s.Settle(ctx, Decision{Part: p.ID, Field: field, In: in}); err != nil {
					t.Fatal(err)
				}
			}
		}
		return p
	}
	sure("ten", "10", 27, 4.5)
	sure("ten-long", "10", 36, 5)
	sure("forty", "40/10", 27, 0)
	twelve := sure("twelve", "12", 24, 6)
	sure("unmeasured", "15", 0, 0)
	photographed(t, s, "maybe", Measurement{Status: Unsure, Size: size(t, "40/10"), Confidence: 0.6, Reason: "10 is possible"})
	photographed(t, s, "blur", Measurement{Status: Refused, Reason: "blurred"})
	place := "50%_off shelf"
	if err := s.Describe(ctx, twelve.ID, nil, &place, nil); err != nil {
		t.Fatal(err)
	}

	for i, c := range []struct {
		q    Query
		want string
	}{
		{Query{Sort: BySize}, ""}, // checked below
		{Query{Size: size(t, "10"), Sort: BySize}, "ten maybe ten-long"},
		{Query{Size: size(t, "10"), Only: OnlySure}, "ten ten-long"},
		{Query{Size: size(t, "40/10"), Only: OnlySure}, "forty"},
		{Query{Size: size(t, "11")}, ""},
		{Query{PerInch: Range{Min: 11}}, "twelve unmeasured"},
		{Query{PerInch: Range{Max: 10}}, "ten ten-long"},
		{Query{Length: Range{25, 30}}, "ten forty"},
		{Query{Length: Range{Min: 30}}, "ten-long"},
		{Query{Only: OnlyDoubtful}, "blur maybe"},
		{Query{Fits: &LoomRoom{MaxLength: 29.5, MinHeight: 4.5, MaxHeight: 5.5}, Only: OnlySure}, "ten forty unmeasured"},
		{Query{Fits: &LoomRoom{}, Only: OnlySure, Sort: ByLength}, "unmeasured twelve ten forty ten-long"},
		{Query{Kind: trade.PartRigidHeddle}, ""},
		{Query{Text: "LONG"}, "ten-long"},
		{Query{Text: "0%_o"}, "twelve"},
		{Query{Text: "0_"}, ""},
		{Query{Text: `\`}, ""},
		{Query{IDs: []ID{twelve.ID}}, "twelve"},
		{Query{IDs: []ID{}}, ""},
		{Query{Only: OnlySure, Sort: ByAge, Limit: 2, Offset: 1}, "ten-long forty"},
		{Query{Only: OnlySure, Sort: ByAge, Offset: 3}, "twelve unmeasured"},
	} {
		if c.want == "" && i == 0 {
			continue
		}
		// The order of equal sizes is that of the ids, which are random here.
		got, want := strings.Fields(names(t, s, c.q)), strings.Fields(c.want)
		if c.q.Sort != ByAge {
			slices.Sort(got)
			slices.Sort(want)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%+v finds %v, want %v", c.q, got, want)
		}
	}
	if got := names(t, s, Query{}); !strings.HasPrefix(got, "blur maybe ") || !strings.HasSuffix(got, " forty twelve unmeasured") {
		t.Errorf("not the doubtful ones first, then by size: %s", got)
	}
	sizes, err := s.Sizes(ctx, Query{Kind: trade.PartReed})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, c := range sizes {
		got = append(got, fmt.Sprintf("%s×%d", c.Label, c.Parts))
	}
	if want := "10×2 40/10×1 12×1 15×1"; strings.Join(got, " ") != want {
		t.Errorf("sizes %v, want %s", got, want)
	}
}

// Each search of a large shelf has to go by an index: SQLite's own plan says
// so, which no clock on a busy machine can.
func TestSearchesUseAnIndex(t *testing.T) {
	s := openTest(t)
	for name, q := range map[string]Query{
		"list":    {Limit: 50},
		"size":    {Size: size(t, "12")},
		"range":   {PerInch: Range{9, 11}, Sort: BySize},
		"length":  {Length: Range{25, 30}, Sort: ByLength},
		"age":     {Sort: ByAge, Limit: 50},
		"doubt":   {Only: OnlyDoubtful},
		"by loom": {Kind: trade.PartReed, Only: OnlySure, Fits: &LoomRoom{MaxLength: 29.5}},
	} {
		text, args := q.sql("SELECT " + partColumns + " FROM parts")
		rows, err := s.db.Query("EXPLAIN QUERY PLAN "+text+q.order(), args...)
		if err != nil {
			t.Fatal(err)
		}
		var plan []string
		for rows.Next() {
			var a, b, c int
			var step string
			if err := rows.Scan(&a, &b, &c, &step); err != nil {
				t.Fatal(err)
			}
			plan = append(plan, step)
		}
		rows.Close()
		if len(plan) == 0 || !strings.HasPrefix(plan[0], "SEARCH parts USING") {
			t.Errorf("%s: %v", name, plan)
		}
		if q.Limit > 0 && strings.Contains(strings.Join(plan, " "), "TEMP B-TREE") {
			t.Errorf("%s sorts the whole shelf to show %d: %v", name, q.Limit, plan)
		}
	}
}

// fill puts n parts on the shelf, each with a measured photo and half of them
// with a length, the way the searches find them.
func fill(b testing.TB, s *Shelf, n int) {
	b.Helper()
	tx, err := s.db.Begin()
	if err != nil {
		b.Fatal(err)
	}
	defer tx.Rollback()
	sizes := trade.Sizes(trade.PartReed)
	raw := `{"schema":1,"budget":[` + strings.Repeat(`{"source":"ruler marks","relative_u":0.0004},`, 20) + `{"source":"x","relative_u":0}]}`
	for i := range n {
		m := sizes[(i*7919)%len(sizes)]
		id := DerivedID("bench", i)
		var length any
		if i%2 == 0 {
			length = 15 + float64(i%400)/10
		}
		doubtful := i%20 == 0
		if _, err := tx.Exec(`INSERT OR IGNORE INTO parts (id, kind_added, kind, name, added_at, size_label, size_system, size_per_inch, size_by, doubtful, length_in) VALUES (?,?,?,?,?,?,?,?,?,?,?)`,
			string(id), trade.PartReed, trade.PartReed, fmt.Sprintf("reed %d", i), i, m.Label, m.System, m.PerInch*(1+float64(i%11-5)/5000), "photo", doubtful, length); err != nil {
			b.Fatal(err)
		}
		if _, err := tx.Exec(`INSERT INTO photos (sha256, path, bytes, part_id, seen_at) VALUES (?,?,1,?,?)`, sha(fmt.Sprint(i)), fmt.Sprintf("/box/%d.jpg", i), string(id), i); err != nil {
			b.Fatal(err)
		}
		if _, err := tx.Exec(`INSERT INTO measurements (photo, what, version, status, label, system, per_inch, result, at) VALUES (?,?,?,?,?,?,?,?,?)`,
			sha(fmt.Sprint(i)), WhatDentSize, "1", Answered, m.Label, m.System, m.PerInch, raw, i); err != nil {
			b.Fatal(err)
		}
	}
	if err := tx.Commit(); err != nil {
		b.Fatal(err)
	}
}

func BenchmarkShelf(b *testing.B) {
	for _, n := range []int{1000, 10_000, 100_000} {
		s := openTest(b)
		fill(b, s, n)
		for _, c := range []struct {
			name string
			q    Query
		}{
			{"list-50", Query{Limit: 50}},
			{"size-50", Query{Size: size(b, "12"), Limit: 50}},
			{"length-50", Query{Length: Range{26, 28}, Sort: ByLength, Limit: 50}},
			{"loom-50", Query{Kind: trade.PartReed, Only: OnlySure, Fits: &LoomRoom{MaxLength: 29.5}, Sort: BySize, Limit: 50}},
			{"text-50", Query{Text: "reed 77", Limit: 50}},
		} {
			b.Run(fmt.Sprintf("%s/parts=%d", c.name, n), func(b *testing.B) {
				for b.Loop() {
					if _, err := s.Find(ctx, c.q); err != nil {
						b.Fatal(err)
					}
				}
			})
			b.Run(fmt.Sprintf("count-%s/parts=%d", strings.TrimSuffix(c.name, "-50"), n), func(b *testing.B) {
				for b.Loop() {
					if _, err := s.Count(ctx, c.q); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
		b.Run(fmt.Sprintf("sizes-for-loom/parts=%d", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := s.Sizes(ctx, Query{Kind: trade.PartReed, Fits: &LoomRoom{MaxLength: 29.5}}); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(fmt.Sprintf("show-one/parts=%d", n), func(b *testing.B) {
			for i := 0; b.Loop(); i++ {
				id := DerivedID("bench", (i*7919)%n)
				if _, err := s.Part(ctx, id); err != nil {
					b.Fatal(err)
				}
				if _, _, err := s.Evidence(ctx, id); err != nil {
					b.Fatal(err)
				}
			}
		})
		s.Close()
	}
}
