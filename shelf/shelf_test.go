package shelf

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dentcount/trade"
)

var ctx = context.Background()

// openTest opens a new shelf with a clock that ticks a second at each look.
func openTest(t testing.TB) *Shelf {
	t.Helper()
	return openAt(t, filepath.Join(t.TempDir(), "shelf.db"))
}

func openAt(t testing.TB, path string) *Shelf {
	t.Helper()
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	s, err := Open(ctx, path, Settings{Wait: 5 * time.Second, Now: func() time.Time { now = now.Add(time.Second); return now }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func sha(name string) string {
	sum := sha256.Sum256([]byte(name))
	return hex.EncodeToString(sum[:])
}

func size(t testing.TB, text string) Size {
	t.Helper()
	m, err := trade.ParseSize(text)
	if err != nil {
		t.Fatal(err)
	}
	return Size{m.Label, m.System, m.PerInch}
}

// photographed puts a part on the shelf with one measured photo.
func photographed(t testing.TB, s *Shelf, name string, m Measurement) Part {
	t.Helper()
	p, err := s.AddPart(ctx, Part{Kind: trade.PartReed, Name: name})
	if err != nil {
		t.Fatal(err)
	}
	if m.What == "" {
		m.What = WhatDentSize
	}
	if m.Version == "" {
		m.Version = "1"
	}
	if _, err := s.Record(ctx, Photo{SHA256: sha(name), Path: "/box/" + name + ".jpg", Bytes: 1, Part: p.ID}, m); err != nil {
		t.Fatal(err)
	}
	p, err = s.Part(ctx, p.ID)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestPersonsWordStandsBesideTheMeasuredOne(t *testing.T) {
	s := openTest(t)
	m := Measurement{Status: Unsure, Size: size(t, "40/10"), U: 0.05, Confidence: 0.6, Reason: "10 is possible too", Advice: "tell me how thick the ruler is"}
	p := photographed(t, s, "a", m)
	if p.Size.By != ByPhoto || p.Size.Label != "40/10" || p.Size.Doubt != "10 is possible too" || p.Size.Advice == "" {
		t.Fatalf("before: %+v", p.Size)
	}
	p, err := s.Settle(ctx, Decision{Part: p.ID, Field: FieldSize, Size: size(t, "10"), Note: "stamped"})
	if err != nil {
		t.Fatal(err)
	}
	if p.Size.By != ByPerson || p.Size.Label != "10" || p.Size.Doubt != "" {
		t.Fatalf("after: %+v", p.Size)
	}
	_, ms, err := s.Evidence(ctx, p.ID)
	if err != nil || len(ms) != 1 || ms[0].Size.Label != "40/10" || ms[0].Confidence != 0.6 {
		t.Fatalf("the measured value was changed: %+v, %v", ms, err)
	}
	// A second word follows the first, and taking it back leaves what was measured.
	if p, err = s.Settle(ctx, Decision{Part: p.ID, Field: FieldSize, Size: size(t, "12")}); err != nil || p.Size.Label != "12" {
		t.Fatalf("%+v, %v", p.Size, err)
	}
	if p, err = s.Settle(ctx, Decision{Part: p.ID, Field: FieldSize, Withdrawn: true}); err != nil || p.Size.Label != "40/10" || p.Size.By != ByPhoto {
		t.Fatalf("%+v, %v", p.Size, err)
	}
	ds, err := s.Decisions(ctx, p.ID)
	if err != nil || len(ds) != 3 || ds[0].Size.Label != "10" || ds[0].Note != "stamped" || !ds[2].Withdrawn {
		t.Fatalf("what was said was not kept: %+v, %v", ds, err)
	}
}

func TestLastWordCountsThoughTheClockWasSetBack(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	s, err := Open(ctx, filepath.Join(t.TempDir(), "s.db"), Settings{Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	p := photographed(t, s, "a", Measurement{Status: Answered, Size: size(t, "8"), Confidence: 0.99})
	for _, w := range []string{"10", "12", "15"} {
		if p, err = s.Settle(ctx, Decision{Part: p.ID, Field: FieldSize, Size: size(t, w)}); err != nil {
			t.Fatal(err)
		}
		now = now.Add(-time.Hour)
	}
	if p.Size.Label != "15" {
		t.Errorf("an older word won: %+v", p.Size)
	}
}

func TestBeliefFromSeveralPhotos(t *testing.T) {
	ten, forty := size(t, "10"), size(t, "40/10")
	type m = Measurement
	for name, c := range map[string]struct {
		ms    []m
		label string
		doubt string // part of it; "" for none
	}{
		"none":           {nil, "", "no photo"},
		"agree":          {[]m{{Status: Answered, Size: ten, Confidence: 0.96}, {Status: Answered, Size: ten, Confidence: 0.99}}, "10", ""},
		"disagree":       {[]m{{Status: Answered, Size: ten, Confidence: 0.96}, {Status: Answered, Size: forty, Confidence: 0.99}}, "40/10", "10 in 0.jpg, 40/10 in 1.jpg"},
		"answer beats":   {[]m{{Status: Unsure, Size: forty, Confidence: 0.97, Reason: "x"}, {Status: Answered, Size: ten, Confidence: 0.96}}, "10", ""},
		"unsure":         {[]m{{Status: Refused, Reason: "no ruler"}, {Status: Unsure, Size: forty, Confidence: 0.7, Reason: "two sizes are open"}}, "40/10", "two sizes are open"},
		"refused":        {[]m{{Status: Refused, Reason: "no ruler", Advice: "lay one on it"}}, "", "no ruler"},
		"length only":    {[]m{{Status: Answered, What: WhatReedLength, LengthIn: 27, U: 0.02}}, "", "no photo"},
		"no made size":   {[]m{{Status: Answered, Size: Size{"none", "none", 11.3}, Confidence: 0.99}}, "none", ""},
		"refused second": {[]m{{Status: Answered, Size: ten, Confidence: 0.96}, {Status: Refused, Reason: "blurred"}}, "10", ""},
	} {
		s := openTest(t)
		p, err := s.AddPart(ctx, Part{Kind: trade.PartReed})
		if err != nil {
			t.Fatal(err)
		}
		for i, x := range c.ms {
			if x.What == "" {
				x.What = WhatDentSize
			}
			x.Version = "1"
			if _, err := s.Record(ctx, Photo{SHA256: sha(fmt.Sprint(name, i)), Path: fmt.Sprintf("box/%d.jpg", i), Part: p.ID}, x); err != nil {
				t.Fatal(err)
			}
		}
		if p, err = s.Part(ctx, p.ID); err != nil {
			t.Fatal(err)
		}
		if p.Size.Label != c.label || (c.doubt == "") != (p.Size.Doubt == "") || !strings.Contains(p.Size.Doubt, c.doubt) {
			t.Errorf("%s: %+v", name, p.Size)
		}
	}
}

func TestNewerMeasuringOfOnePhotoReplacesItsOlderOneInBelief(t *testing.T) {
	s := openTest(t)
	p := photographed(t, s, "a", Measurement{Status: Answered, Version: "1", Size: size(t, "10"), Confidence: 0.999})
	ph := Photo{SHA256: sha("a"), Path: "/box/a.jpg", Bytes: 1}
	isNew, err := s.Record(ctx, ph, Measurement{What: WhatDentSize, Status: Answered, Version: "2", Size: size(t, "40/10"), Confidence: 0.97})
	if err != nil || !isNew {
		t.Fatal(isNew, err)
	}
	// The same again changes nothing, whatever it says now.
	isNew, err = s.Record(ctx, ph, Measurement{What: WhatDentSize, Status: Answered, Version: "2", Size: size(t, "12"), Confidence: 0.97})
	if err != nil || isNew {
		t.Fatal("counted twice", isNew, err)
	}
	if p, _ = s.Part(ctx, p.ID); p.Size.Label != "40/10" || p.Size.Doubt != "" {
		t.Errorf("%+v", p.Size)
	}
}

func TestLengths(t *testing.T) {
	s := openTest(t)
	p := photographed(t, s, "a", Measurement{What: WhatReedLength, Status: Answered, LengthIn: 27.03, U: 0.05})
	ph := Photo{SHA256: sha("a2"), Path: "a2", Part: p.ID}
	if _, err := s.Record(ctx, ph, Measurement{What: WhatReedLength, Version: "1", Status: Answered, LengthIn: 27.01, U: 0.01}); err != nil {
		t.Fatal(err)
	}
	p, _ = s.Part(ctx, p.ID)
	if p.Length != (LengthBelief{27.01, 0.01, ByPhoto}) {
		t.Errorf("%+v", p.Length)
	}
	p, err := s.Settle(ctx, Decision{Part: p.ID, Field: FieldLength, In: 27})
	if err != nil || p.Length != (LengthBelief{27, 0, ByPerson}) {
		t.Errorf("%+v, %v", p.Length, err)
	}
	if p.Sley.By != ByNobody || p.Height.By != ByNobody {
		t.Errorf("%+v %+v", p.Sley, p.Height)
	}
}

func TestSettleRefusesNonsense(t *testing.T) {
	s := openTest(t)
	p := photographed(t, s, "a", Measurement{Status: Answered, Size: size(t, "10"), Confidence: 0.99})
	nan := 0.0
	nan /= nan
	for _, d := range []Decision{
		{Field: "colour"}, {Field: FieldSize}, {Field: FieldSize, Size: Size{"10", "inch", -1}}, {Field: FieldSize, Size: Size{"10", "inch", nan}},
		{Field: FieldLength}, {Field: FieldLength, In: -3}, {Field: FieldKind},
		{Field: FieldSize, Size: size(t, "10"), Note: "a\x00b"}, {Field: FieldSize, Size: size(t, "10"), Note: "\xff"},
	} {
		d.Part = p.ID
		if _, err := s.Settle(ctx, d); !errors.Is(err, ErrBadValue) {
			t.Errorf("%+v: %v", d, err)
		}
	}
	if _, err := s.Settle(ctx, Decision{Part: DerivedID("nobody", 0), Field: FieldSize, Size: size(t, "10")}); !errors.Is(err, ErrNoPart) {
		t.Error(err)
	}
	if ds, _ := s.Decisions(ctx, p.ID); len(ds) != 0 {
		t.Errorf("nonsense was recorded: %+v", ds)
	}
}

func TestKindAndGoneCanBeTakenBack(t *testing.T) {
	s := openTest(t)
	p := photographed(t, s, "a", Measurement{Status: Answered, Size: size(t, "10"), Confidence: 0.99})
	p, err := s.Settle(ctx, Decision{Part: p.ID, Field: FieldKind, Size: Size{Label: trade.PartRigidHeddle}})
	if err != nil || p.Kind != trade.PartRigidHeddle {
		t.Fatal(p.Kind, err)
	}
	if p, err = s.Settle(ctx, Decision{Part: p.ID, Field: FieldKind, Withdrawn: true}); err != nil || p.Kind != trade.PartReed {
		t.Fatal(p.Kind, err)
	}
	if p, err = s.Settle(ctx, Decision{Part: p.ID, Field: FieldGone, Note: "sold"}); err != nil || !p.Gone {
		t.Fatal(p.Gone, err)
	}
	if n, _ := s.Count(ctx, Query{}); n != 0 {
		t.Error("a part that is gone is still found")
	}
	if n, _ := s.Count(ctx, Query{WithGone: true}); n != 1 {
		t.Error("a part that is gone cannot be found at all")
	}
	if p, err = s.Settle(ctx, Decision{Part: p.ID, Field: FieldGone, Withdrawn: true}); err != nil || p.Gone {
		t.Fatal(p.Gone, err)
	}
}

func TestAddPartIDs(t *testing.T) {
	s := openTest(t)
	p, err := s.AddPart(ctx, Part{Kind: trade.PartReed})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddPart(ctx, Part{Kind: trade.PartReed, ID: p.ID}); !errors.Is(err, ErrConflict) {
		t.Error(err)
	}
	if _, err := s.AddPart(ctx, Part{Kind: trade.PartReed, ID: "OOOOOOOO"}); !errors.Is(err, ErrID) {
		t.Error(err)
	}
	if _, err := s.AddPart(ctx, Part{}); !errors.Is(err, ErrBadValue) {
		t.Error(err)
	}
	tags, err := s.ReserveTags(ctx, 24)
	if err != nil || len(tags) != 24 {
		t.Fatal(len(tags), err)
	}
	// A part may take the id of a tag when it is named, and only then.
	if _, err := s.AddPart(ctx, Part{Kind: trade.PartReed, ID: tags[3]}); err != nil {
		t.Error(err)
	}
	for _, n := range []int{0, -1, 1 << 30} {
		if _, err := s.ReserveTags(ctx, n); !errors.Is(err, ErrBadValue) {
			t.Error(n, err)
		}
	}
}

func TestAssign(t *testing.T) {
	s := openTest(t)
	see := func(names ...string) (shas []string) {
		for _, n := range names {
			if _, err := s.Record(ctx, Photo{SHA256: sha(n), Path: "box/" + n, Bytes: 1}, Measurement{What: WhatDentSize, Version: "1", Status: Answered, Size: size(t, "10"), Confidence: 0.99}); err != nil {
				t.Fatal(err)
			}
			shas = append(shas, sha(n))
		}
		return shas
	}
	assign := func(gs ...Group) []ID {
		t.Helper()
		for i := range gs {
			gs[i].Kind, gs[i].Origin = trade.PartReed, "folder"
		}
		ids, err := s.Assign(ctx, gs)
		if err != nil {
			t.Fatal(err)
		}
		return ids
	}
	count := func() int { n, _ := s.Count(ctx, Query{}); return n }

	ab, c := see("a", "b"), see("c")
	first := assign(Group{Photos: ab}, Group{Photos: c})
	if first[0] != DerivedID(sha("a"), 0) || first[1] != DerivedID(sha("c"), 0) {
		t.Errorf("ids do not follow from the photos: %v", first)
	}
	if again := assign(Group{Photos: ab}, Group{Photos: c}); again[0] != first[0] || again[1] != first[1] || count() != 2 {
		t.Errorf("the same again: %v then %v, %d parts", first, again, count())
	}
	// A new photo that sorts first joins the part that is there.
	aab := append(see("0"), ab...)
	if ids := assign(Group{Photos: aab}); ids[0] != first[0] {
		t.Errorf("%v", ids)
	}
	// A tag in one photo names the part; the part the photos had before was
	// bare and goes, its photos are not lost.
	tag := DerivedID("tag", 7)
	if ids := assign(Group{Photos: c, Tag: tag}); ids[0] != tag || count() != 2 {
		t.Errorf("%v, %d parts", ids, count())
	}
	// Taken apart: the first keeps the part, the second gets its own.
	ids := assign(Group{Photos: aab[:1]}, Group{Photos: ab})
	if ids[0] != first[0] || ids[1] == first[0] || count() != 3 {
		t.Errorf("%v, %d parts", ids, count())
	}
	// A part with a person's word stays though its photos leave.
	if _, err := s.Settle(ctx, Decision{Part: ids[1], Field: FieldSize, Size: size(t, "12")}); err != nil {
		t.Fatal(err)
	}
	if joined := assign(Group{Photos: aab}); joined[0] != first[0] || count() != 3 {
		t.Errorf("%v, %d parts", joined, count())
	}
	if p, err := s.Part(ctx, ids[1]); err != nil || p.Size.Label != "12" {
		t.Errorf("a person's word was lost: %+v, %v", p, err)
	}
	if _, err := s.Assign(ctx, []Group{{Photos: []string{sha("never seen")}}}); err == nil {
		t.Error("a photo that nobody has seen was given a part")
	}
	if _, err := s.Assign(ctx, []Group{{}}); !errors.Is(err, ErrBadValue) {
		t.Error(err)
	}
}

func TestLooms(t *testing.T) {
	s := openTest(t)
	l := trade.Loom{Name: " Big Blue ", WeavingWidthIn: 26.5, ClearSpanIn: 29.5, BeaterMinIn: 4.5, BeaterMaxIn: 5.5, HeddleBarSpanIn: 10.75, Shafts: 4}
	if err := s.AddLoom(ctx, l, false); err != nil {
		t.Fatal(err)
	}
	l.Name = "Big Blue"
	if got, err := s.Loom(ctx, "big blue"); err != nil || got != l {
		t.Errorf("%+v, %v", got, err)
	}
	if err := s.AddLoom(ctx, trade.Loom{Name: "BIG BLUE"}, false); !errors.Is(err, ErrConflict) {
		t.Error(err)
	}
	l.Shafts = 8
	if err := s.AddLoom(ctx, l, true); err != nil {
		t.Fatal(err)
	}
	if all, err := s.Looms(ctx); err != nil || len(all) != 1 || all[0] != l {
		t.Errorf("%+v, %v", all, err)
	}
	for _, bad := range []trade.Loom{{}, {Name: "  "}, {Name: "x", ClearSpanIn: -1}, {Name: "\xff"}} {
		if err := s.AddLoom(ctx, bad, false); !errors.Is(err, ErrBadValue) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
	if err := s.RemoveLoom(ctx, "BIG blue"); err != nil {
		t.Error(err)
	}
	if err := s.RemoveLoom(ctx, "big blue"); !errors.Is(err, ErrNoLoom) {
		t.Error(err)
	}
	if _, err := s.Loom(ctx, "big blue"); !errors.Is(err, ErrNoLoom) {
		t.Error(err)
	}
}

func TestOrders(t *testing.T) {
	s := openTest(t)
	p := photographed(t, s, "a", Measurement{Status: Answered, Size: size(t, "10"), Confidence: 0.99})
	o, err := s.SaveOrder(ctx, Order{Title: "spring", Lines: []OrderLine{{Part: p.ID, Quantity: 2, Words: "reed, 10", Facts: []byte(`{ "height": 4.5 }`)}, {Quantity: 1, Words: "reed, 12"}}})
	if err != nil || o.State != "draft" || len(o.Lines) != 2 || string(o.Lines[0].Facts) != `{"height":4.5}` || o.Lines[1].Part != "" {
		t.Fatalf("%+v, %v", o, err)
	}
	o.State, o.Lines = "sent", o.Lines[:1]
	if o, err = s.SaveOrder(ctx, o); err != nil || o.State != "sent" || len(o.Lines) != 1 {
		t.Errorf("%+v, %v", o, err)
	}
	if all, err := s.Orders(ctx); err != nil || len(all) != 1 {
		t.Errorf("%+v, %v", all, err)
	}
	for _, bad := range []Order{{State: "lost"}, {Lines: []OrderLine{{Quantity: 0}}}, {Facts: []byte("{")}} {
		if _, err := s.SaveOrder(ctx, bad); !errors.Is(err, ErrBadValue) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
	if _, err := s.SaveOrder(ctx, Order{UID: o.UID, Lines: []OrderLine{{Part: DerivedID("no", 0), Quantity: 1}}}); !errors.Is(err, ErrNoPart) {
		t.Error(err)
	}
	if again, err := s.Order(ctx, o.UID); err != nil || len(again.Lines) != 1 {
		t.Errorf("a refused change left its mark: %+v, %v", again, err)
	}
	if _, err := s.Order(ctx, "none"); !errors.Is(err, ErrNoOrder) {
		t.Error(err)
	}
}
