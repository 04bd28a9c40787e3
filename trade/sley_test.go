package trade

import (
	"math"
	"reflect"
	"strings"
	"testing"
)

// Sleyings of common practice (no source), each checked by ends ÷ dents ×
// reed: 1-1-2 in a 12 is 4/3 × 12 = 16, and so on.
func TestSleyingsByHand(t *testing.T) {
	for _, c := range []struct {
		sett, reed float64
		last       string // the sett itself
		shorter    string // the first in the list
	}{
		{20, 10, "2", "2"}, {10, 10, "1", "1"}, {30, 10, "3", "3"},
		{15, 10, "1-2", "1-2"}, {16, 12, "1-1-2", "1-1-2"}, {20, 12, "1-2-2", "1-2-2"}, {18, 12, "1-2", "1-2"},
		{10, 8, "1-1-1-2", "1-1-1-2"}, {14, 6, "2-2-3", "2-2-3"}, {28, 12, "2-2-3", "2-2-3"},
		{16, 10, "1-2-1-2-2", "1-2-1-2-2"}, {5, 10, "0-1", "0-1"}, {4, 12, "0-0-1", "0-0-1"}, {8, 12, "0-1-1", "0-1-1"},
	} {
		got := Sleyings(c.sett, c.reed)
		if len(got) == 0 {
			t.Errorf("%v in %v: nothing", c.sett, c.reed)
			continue
		}
		end := got[len(got)-1]
		if end.String() != c.last || got[0].String() != c.shorter || !end.Exact() {
			t.Errorf("%v in %v: %v", c.sett, c.reed, got)
		}
	}
	// 24 in a 40/10: by hand 24 / 10.16 = 2.3622; 2-2-3 gives 23.7067, 1.22 %
	// low; 2-2-3-2-3 gives 24.384, 1.60 % high and longer, so it is left out
	got := Sleyings(24, 10.16)
	if got[0].String() != "2-2-3" || math.Abs(got[0].ErrPercent+1.2222) > 0.0005 || got[0].Exact() {
		t.Errorf("24 in 40/10: %v", got)
	}
	for _, s := range got {
		if s.String() == "2-2-3-2-3" || s.String() == "2-3-2-3-2" || len(s.Pattern) == 5 {
			t.Errorf("24 in 40/10 lists a longer repeat that is worse: %v", got)
		}
	}
}

// What holds for every sett and reed: the pattern gives the sett it says, the
// error is within bounds and shrinks, ends are spread evenly, and the same
// question has the same answer.
func TestSleyingsHold(t *testing.T) {
	listed := 0
	for sett := 4.0; sett <= 60; sett += 0.5 {
		for _, m := range Sizes(PartReed) {
			list := Sleyings(sett, m.PerInch)
			if again := Sleyings(sett, m.PerInch); !reflect.DeepEqual(list, again) {
				t.Fatalf("%v in %s: two answers", sett, m.Label)
			}
			lastLen, lastErr := 0, math.Inf(1)
			for _, s := range list {
				listed++
				ends, least, most := 0, s.Pattern[0], s.Pattern[0]
				for _, n := range s.Pattern {
					ends += n
					least, most = min(least, n), max(most, n)
				}
				epi := float64(ends) / float64(len(s.Pattern)) * m.PerInch
				if math.Abs(epi-s.EndsPerInch) > 1e-9 || math.Abs((epi-sett)/sett*100-s.ErrPercent) > 1e-6 {
					t.Errorf("%v in %s: %s gives %v, says %v, %v %%", sett, m.Label, s, epi, s.EndsPerInch, s.ErrPercent)
				}
				if math.Abs(s.ErrPercent) > 3 || len(s.Pattern) <= lastLen || math.Abs(s.ErrPercent) >= lastErr || most-least > 1 {
					t.Errorf("%v in %s: %v out of order or uneven", sett, m.Label, list)
				}
				lastLen, lastErr = len(s.Pattern), math.Abs(s.ErrPercent)
			}
		}
	}
	if listed < 1000 {
		t.Errorf("only %d sleyings looked at", listed)
	}
	for _, bad := range [][2]float64{{0, 10}, {-5, 10}, {10, 0}, {10, -1}, {math.NaN(), 10}, {10, math.NaN()}, {math.Inf(1), 10}, {10, math.Inf(1)}, {1e9, 10}, {0.01, 10}} {
		if got := Sleyings(bad[0], bad[1]); got != nil {
			t.Errorf("%v: %v", bad, got)
		}
	}
}

func TestReedsFor(t *testing.T) {
	got := ReedsFor(20, Sizes(PartReed))
	labels := func() (s []string) {
		for _, r := range got {
			s = append(s, r.Size.Label+":"+r.Sleying.String())
		}
		return
	}()
	if labels[0] != "10:2" {
		t.Errorf("for 20 ends per inch the first reed is %s", labels[0])
	}
	all := strings.Join(labels, " ")
	for _, want := range []string{"20:1", "40/10:2", "8:2-3", "12:1-2-2", "15:1-1-2", "5:4", "30:0-1-1"} {
		if !strings.Contains(" "+all+" ", " "+want+" ") {
			t.Errorf("no %s in %s", want, all)
		}
	}
	pos := func(x string) int { return strings.Index(" "+all+" ", " "+x+" ") }
	if !(pos("10:2") < pos("20:1") && pos("20:1") < pos("12:1-2-2") && pos("12:1-2-2") < pos("5:4")) {
		t.Errorf("order: %s", all)
	}
	for _, r := range got {
		switch r.Size.Label {
		case "5":
			if !has(r.Cautions, "crowd") {
				t.Errorf("four in a dent: %q", r.Cautions)
			}
		case "12":
			if !has(r.Cautions, "faint stripes") {
				t.Errorf("uneven: %q", r.Cautions)
			}
		case "30":
			if !has(r.Cautions, "empty dents") {
				t.Errorf("empty dents: %q", r.Cautions)
			}
		case "10":
			if len(r.Cautions) != 0 {
				t.Errorf("two in every dent: %q", r.Cautions)
			}
		}
	}
	// the shortest repeat within 1 %: 24 in a 40/10 is 1.2 % low with 2-2-3,
	// 19 in 8 dents gives 24.13, 0.54 % high
	close := ReedsFor(24, Near(Sizes(PartReed), 10.16, 0.001))
	if len(close) != 1 || close[0].Sleying.String() != "2-2-3-2-2-3-2-3" {
		t.Errorf("24 in a 40/10: %v", close)
	}
	if ReedsFor(0, Sizes(PartReed)) != nil || ReedsFor(20, nil) != nil {
		t.Error("no sett, or no reeds, has reeds")
	}
}

func TestReedsThatServe(t *testing.T) {
	own := func(id, label string, lengthIn float64) OwnedReed {
		s, err := ParseSize(label)
		if err != nil {
			t.Fatal(err)
		}
		return OwnedReed{ID: id, Size: s, Dims: ReedDims{
			Length: Length{lengthIn, 0.02}, SleyWidth: Length{lengthIn - 0.5, 0.02}, Height: Length{5, 0.02}, Binding: ResinBound}}
	}
	shelf := []OwnedReed{
		own("long", "10", 36), own("b", "12", 27), own("a", "10", 27), own("short", "10", 20),
		own("coarse", "9", 27), own("c", "20", 29.45), own("z", "10", 27),
	}
	high := own("high", "10", 27)
	high.Dims.Height = Length{7, 0.02}
	shelf = append(shelf, high)
	got, err := ReedsThatServe(twentySix(), 20, 0, shelf)
	if err != nil {
		t.Fatal(err)
	}
	ids := func(list []Service) string {
		var s []string
		for _, x := range list {
			s = append(s, x.Reed.ID)
		}
		return strings.Join(s, " ")
	}
	// sure fits by ease of sleying, then what must be measured again, then what must be cut;
	// the high one is out. 9 dents give 20 as 2-2-2-2-3 (19.8, 1 % low), a longer repeat than 1-2-2
	if ids(got) != "a short z b coarse c long" {
		t.Errorf("order: %s", ids(got))
	}
	if got[0].Sleying.String() != "2" || !strings.Contains(got[0].Reason, "the 10 reed sleyed 2 gives 20 ends per inch; 27.00 ± 0.04 in against 29 1/2 clear") {
		t.Errorf("words: %q", got[0].Reason)
	}
	if last := got[len(got)-1]; last.Verdict.Kind != FitsAfterCut || last.Verdict.Cut == nil {
		t.Errorf("the long one: %+v", last.Verdict)
	}
	got, err = ReedsThatServe(twentySix(), 20, 24, shelf)
	if err != nil || strings.Contains(ids(got), "short") {
		t.Errorf("a 24 in warp in a 20 in reed: %s, %v", ids(got), err)
	}
	if got, err = ReedsThatServe(twentySix(), 100, 0, shelf); err != nil || ids(got) != "c" {
		t.Errorf("100 ends per inch: only five in a dent of the 20 will do: %s, %v", ids(got), err)
	}
	for name, c := range map[string]struct {
		loom     Loom
		sett     float64
		warp     float64
		question bool
	}{
		"no sett": {twentySix(), 0, 0, true}, "negative": {twentySix(), -1, 0, false}, "NaN": {twentySix(), math.NaN(), 0, false},
		"wider than the loom": {twentySix(), 20, 28, false}, "negative warp": {twentySix(), 20, -1, false},
		"loom": {Loom{WeavingWidthIn: 30, ClearSpanIn: 20}, 20, 0, true},
	} {
		_, err := ReedsThatServe(c.loom, c.sett, c.warp, shelf)
		if err == nil {
			t.Errorf("%s: no error", name)
		} else if _, q := AsQuestion(err); q != c.question {
			t.Errorf("%s: question %v, %v", name, q, err)
		}
	}
}
