package measure

import (
	"math"
	"strings"
	"testing"

	"dentcount/calib"
	"dentcount/fit"
	"dentcount/vision"
)

// The table and the code speak of the same features.
func TestConfidenceTableKnowsTheFeatures(t *testing.T) {
	w, err := parseWeights(confidenceCSV)
	if err != nil {
		t.Fatal(err)
	}
	fs := believe(calib.Ruler{}, vision.Bands{}, fit.Pitch{}).features
	if len(fs) < 5 || len(w.by) != len(fs) {
		t.Errorf("%d features, %d weights", len(fs), len(w.by))
	}
	for _, f := range fs {
		if _, ok := w.by[f.Name]; !ok {
			t.Errorf("feature %q has no weight", f.Name)
		}
		if math.IsNaN(f.Value) || math.IsInf(f.Value, 0) {
			t.Errorf("feature %q of nothing is %g", f.Name, f.Value)
		}
	}
}

// A clear reading is believed, a poor one is not, and nothing is certain.
func TestReadRightOrders(t *testing.T) {
	good := readingOf("good", 10, 300, 1)
	p, err := fit.FindPitch(good.ruler.Scale, good.bands, good.view)
	if err != nil {
		t.Fatal(err)
	}
	clear := believe(good.ruler, good.bands, p).right
	poor := good
	poor.ruler.UnitProbability, poor.bands.KindProbability = 0.4, 0.3
	poor.bands.Contrast, poor.bands.ScatterIn, poor.bands.PxPerBand = 6, 0.02, 3.2
	bad := p
	bad.Agree = 9
	if got := believe(poor.ruler, poor.bands, bad).right; got > 0.5 || clear < 0.8 || clear >= 1 {
		t.Errorf("a clear reading: %.3f, a poor one: %.3f", clear, got)
	}
}

func TestParseWeightsRefuses(t *testing.T) {
	for _, bad := range []string{"feature,weight\nbias,1\n", "feature,weight\nceiling,1.2\n", "feature,weight\nceiling,0.9\nunit,x\n", "feature,weight\nceiling,0.9\nunit,0.2\n", "feature,weight\nceiling,0.9\nopen unit,-1.2\n", "a\n"} {
		if _, err := parseWeights(bad); err == nil {
			t.Errorf("taken: %q", strings.ReplaceAll(bad, "\n", "|"))
		}
	}
}

// What calib leaves open is lost of the chance, by so much as the table says, and
// nothing where it is sure.
func TestWhatIsLeftOpen(t *testing.T) {
	w := weights{bias: 4, ceiling: 0.99, by: map[string]float64{"open unit": -0.5}}
	sure := w.right([]Feature{{"open unit", leavesOpen(0.97)}})
	for p, want := range map[float64]float64{0.999: sure, 0.776: 0.9 * sure, 0: 0.5 * sure} {
		if got := w.right([]Feature{{"open unit", leavesOpen(p)}}); math.Abs(got-want) > 1e-9 {
			t.Errorf("unit told with %v: right with %.4f, want %.4f", p, got, want)
		}
	}
}

// A doubt counts from where it begins, and no further than its bound.
func TestLacks(t *testing.T) {
	for _, c := range []struct{ got, want float64 }{
		{lacks(5, 3.5, 5), 0}, {lacks(3, 3.5, 5), 0.5}, {lacks(-9, 3.5, 5), 5}, {lacks(math.NaN(), 3.5, 5), 5},
		{exceeds(0.02, 0.03, 0.1), 0}, {exceeds(0.05, 0.03, 0.1), 0.02}, {exceeds(1, 0.03, 0.1), 0.1}, {exceeds(math.NaN(), 0.03, 0.1), 0.1},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%g, want %g", c.got, c.want)
		}
	}
}

// Ends that seem free make a comb of what is as short as teeth, not of a reed.
func TestFreeEnds(t *testing.T) {
	inches := func(divisions int, sure float64) calib.Ruler {
		return calib.Ruler{Scale: calib.Scale{Unit: calib.Inch, Divisions: divisions}, UnitProbability: sure}
	}
	for _, c := range []struct {
		field vision.Field
		ruler calib.Ruler
		want  float64
	}{
		{vision.Field{Ends: 2, HighIn: 1.8, LeastIn: 1.8, Free: 1}, inches(8, 1), 1},
		{vision.Field{Ends: 1, LeastIn: 1.2, Free: 0.6}, inches(8, 1), 0.6},
		{vision.Field{Ends: 2, HighIn: 4.5, LeastIn: 4.5, Free: 1}, inches(8, 0.9), 0},
		{vision.Field{Ends: 2, HighIn: 1.8, LeastIn: 1.8, Free: 1, Told: true}, inches(8, 1), 0},
		{vision.Field{Ends: 2, HighIn: 1.8, LeastIn: 1.8}, inches(8, 1), 0},
		// tenths of an inch may be millimetres, and the reed a comb, unless they are sure
		{vision.Field{Ends: 2, HighIn: 4.5, LeastIn: 4.5, Free: 1}, inches(10, 0.98), 1},
		{vision.Field{Ends: 2, HighIn: 4.5, LeastIn: 4.5, Free: 1}, inches(10, 1), 0},
	} {
		if got := freeEnds(c.field, mayBeCM(c.ruler)); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%+v: %g, want %g", c.field, got, c.want)
		}
	}
}

// Bands as far apart as the ruler's own fine marks are doubted; those that lie
// under the ruler and look closer, coarser ones, and those seen over more than a
// ruler is wide, are not.
func TestLikeItsMarks(t *testing.T) {
	in16 := calib.Scale{Unit: calib.Inch, Divisions: 16}
	mm := calib.Scale{Unit: calib.CM, Divisions: 10}
	for _, c := range []struct {
		ruler   calib.Ruler
		perInch float64
		want    bool
	}{
		{calib.Ruler{Scale: in16}, 32.002, true},
		{calib.Ruler{Scale: in16}, 32.15, false},
		{calib.Ruler{Scale: in16}, 16, false},
		{calib.Ruler{Scale: in16}, 25.4, false},
		{calib.Ruler{Scale: mm}, 25.401, true},
		{calib.Ruler{Scale: in16, Second: &mm}, 25.401, true},
	} {
		if got := likeItsMarks(c.ruler, vision.Bands{PerInch: c.perInch, U: 0.002}); got != c.want {
			t.Errorf("%.3f per inch beside %d divisions: %v", c.perInch, c.ruler.Scale.Divisions, got)
		}
		long := vision.Field{LeastIn: 3}
		if likeItsMarks(c.ruler, vision.Bands{PerInch: c.perInch, U: 0.002, Field: long}) {
			t.Errorf("%.3f per inch, three inches long, are taken for marks", c.perInch)
		}
	}
}

// Wires between which others stand were left out by the count, if some are lacking, too;
// between slots holes stand, if they are seen.
func TestMoreBetween(t *testing.T) {
	row := func(missing int) []vision.Band {
		r := make([]vision.Band, 30)
		for i := range missing {
			r[3*i].State = vision.Missing
		}
		return r
	}
	for _, c := range []struct {
		kind            vision.Kind
		strays, missing int
		holes           float64
		want            bool
	}{
		{vision.Reed, 10, 6, 0, true}, {vision.Reed, 10, 0, 0, false}, {vision.Reed, 2, 6, 0, false},
		{vision.RigidHeddle, 29, 6, 1.2, false}, {vision.RigidHeddle, 29, 6, 0, true},
	} {
		b := vision.Bands{Kind: c.kind, Row: row(c.missing), Strays: c.strays, KindCues: []vision.Cue{{Name: "holes clear", Value: c.holes}}}
		if got := moreBetween(b); got != c.want {
			t.Errorf("%s with %d strays and %d missing of 30: %v", c.kind, c.strays, c.missing, got)
		}
	}
	hand := vision.Bands{Kind: vision.Reed, Row: row(0), Strays: 10}
	for i := range 8 {
		hand.Row[10+i].State = [2]vision.State{vision.Hidden, vision.Missing}[i%2]
	}
	if moreBetween(hand) || lacking(hand) > 0 {
		t.Errorf("eight wires side by side under a hand: more between %v, %d lacking", moreBetween(hand), lacking(hand))
	}
	ruler := calib.Ruler{UnitProbability: 1, Odds: 60, Scale: calib.Scale{Unit: calib.Inch, Divisions: 16, B: 0.01}}
	b := vision.Bands{Kind: vision.Reed, KindProbability: 1, PerInch: 10, Row: row(6), Strays: 10}
	if got := believe(ruler, b, fit.Pitch{PerInch: 10, Read: 10, ReadRelU: 0.001, Lift: []float64{0}}); got.right > mayBeNoPart {
		t.Errorf("10 strays of 30: believed %.3f", got.right)
	}
}

// A reed's bands are held against what they were told from: as slots they would be a heddle
// twice as fine, in turn with holes one as fine. At 8 dents per inch, on a ruler nearer to the
// camera, the one is not made and the other is.
func TestKindBySizes(t *testing.T) {
	p := fit.Pitch{PerInch: 8.01, Read: 8.01, ReadRelU: 0.0025, Lift: []float64{0}}
	for _, c := range []struct {
		dents  int
		lo, hi float64
	}{{1, 0.8, 0.94}, {2, 0.98, 1}} {
		b := vision.Bands{Kind: vision.Reed, KindProbability: 0.93, PerInch: 8.13, DentsPerBand: 1, DentsIfHeddle: c.dents}
		if got := ofKind(b, p); got < c.lo || got > c.hi {
			t.Errorf("told from a heddle of %d dents a band: a reed by %.3f, want %g to %g", c.dents, got, c.lo, c.hi)
		}
	}
}

// Bands taken for slots and holes in turn may be slots alone: of 6.25 an inch no rigid
// heddle is made, and one of 12.5 is; of 5 both are.
func TestSlotsInTurnBySizes(t *testing.T) {
	for _, c := range []struct{ perInch, lo, hi float64 }{{6.25, 0, 0.1}, {5, 0.9, 0.96}} {
		p := fit.Pitch{PerInch: c.perInch, Read: c.perInch, ReadRelU: 0.001, Lift: []float64{0}}
		b := vision.Bands{Kind: vision.RigidHeddle, KindProbability: 0.94, KindCues: []vision.Cue{{}}, PerInch: c.perInch, DentsPerBand: 1, DentsIfHeddle: 1}
		if got := ofKind(b, p); got < c.lo || got > c.hi {
			t.Errorf("%g slots and holes an inch: in turn by %.3f, want %g to %g", c.perInch, got, c.lo, c.hi)
		}
	}
}

// Less than half an inch of bands is no row: spots of rust may stand as evenly.
func TestScrap(t *testing.T) {
	ruler := calib.Ruler{UnitProbability: 1, Odds: 60, Scale: calib.Scale{Unit: calib.Inch, Divisions: 16, B: 0.01}}
	for _, c := range []struct {
		perInch float64
		bands   int
		want    bool
	}{{30, 9, true}, {30, 20, false}, {10, 7, false}, {10, 5, true}} {
		b := vision.Bands{Kind: vision.Reed, KindProbability: 1, PerInch: c.perInch}
		for i := range c.bands {
			b.Row = append(b.Row, vision.Band{Index: i, In: float64(i) / c.perInch})
		}
		reason, _ := misreading(ruler, b)
		if got := strings.Contains(reason, "could be counted"); got != c.want {
			t.Errorf("%d bands, %g per inch: %q", c.bands, c.perInch, reason)
		}
	}
}

// Of what little was seen of nothing is nearly certain, however well it was seen; nor where the
// unit is open.
func TestScant(t *testing.T) {
	p := fit.Pitch{PerInch: 10, Read: 10, ReadRelU: 0.001, Lift: []float64{0}}
	for _, c := range []struct {
		bands, ends       int
		odds, unit, along float64
		want              bool
	}{{40, 2, 60, 1, 1, false}, {40, 1, 60, 1, 1, false}, {13, 2, 60, 1, 1, true}, {20, 1, 60, 1, 1, true}, {40, 2, 20, 1, 1, true}, {40, 0, 60, 1, 1, true},
		{40, 2, 60, 0.98, 1, true}, {40, 2, 60, 0.995, 1, false}, {40, 2, 60, 1, 0.7, false}, {40, 2, 60, 1, 0.5, true}} {
		ruler := calib.Ruler{UnitProbability: c.unit, Odds: c.odds, Scale: calib.Scale{Unit: calib.Inch, Divisions: 16, B: 0.01, Half: 1}}
		b := vision.Bands{Kind: vision.Reed, KindProbability: 1, PerInch: 10, Row: make([]vision.Band, c.bands), ReachPx: 1e3, Coherence: c.along}
		b.Field.Ends = c.ends
		if got := believe(ruler, b, p); got.scant != c.want {
			t.Errorf("%d bands with %d ends, along one line by %g, odds of the ruler %g, its unit %g: scant %v (%v)", c.bands, c.ends, c.along, c.odds, c.unit, got.scant, got.features)
		}
	}
}

// Marks that are hardly a ruler's must tell their unit.
func TestFaintRuler(t *testing.T) {
	for _, c := range []struct {
		odds, unit float64
		want       bool
	}{{6, 0.76, true}, {6, 0.97, false}, {30, 0.76, false}} {
		r := readingOf("part", 10, 300, 1)
		r.ruler.Odds, r.ruler.UnitProbability = c.odds, c.unit
		p, err := fit.FindPitch(r.ruler.Scale, r.bands, r.view)
		if err != nil {
			t.Fatal(err)
		}
		got := believe(r.ruler, r.bands, p).right
		said := strings.HasPrefix(r.Answer(Options{RulerThicknessMM: 1}).Reason, "too little of the ruler")
		if faint(r.ruler) != c.want || got <= mayBeNoPart != c.want || said != c.want {
			t.Errorf("odds %g, unit %g: faint %v, believed %.3f, said %v", c.odds, c.unit, faint(r.ruler), got, said)
		}
	}
}

// Grain is faint and stands unevenly; wires that are either are believed.
func TestUneven(t *testing.T) {
	for _, c := range []struct {
		contrast, relU float64
		want           bool
	}{{8, 0.01, true}, {8, 0.001, false}, {25, 0.01, false}, {25, 0.001, false}} {
		b := vision.Bands{Kind: vision.Reed, KindProbability: 1, PerInch: 10, U: 10 * c.relU, Contrast: c.contrast, Row: make([]vision.Band, 60)}
		ruler := calib.Ruler{UnitProbability: 1, Odds: 60, Scale: calib.Scale{Unit: calib.Inch, Divisions: 16, B: 0.01}}
		got := believe(ruler, b, fit.Pitch{PerInch: 10, Read: 10, ReadRelU: 0.001, Lift: []float64{0}}).right
		if uneven(b) != c.want || got <= mayBeNoPart != c.want {
			t.Errorf("contrast %g, u %g: uneven %v, believed %.3f", c.contrast, c.relU, uneven(b), got)
		}
	}
}

// A few broken wires or hidden slots are usual, one in eight is not.
func TestLacking(t *testing.T) {
	for _, c := range []struct {
		kind         vision.Kind
		row, missing int
		want         int
	}{{vision.Reed, 25, 3, 3}, {vision.Reed, 25, 2, 0}, {vision.Reed, 120, 5, 0}, {vision.RigidHeddle, 25, 3, 3}, {vision.RigidHeddle, 25, 2, 0}} {
		b := vision.Bands{Kind: c.kind, KindProbability: 1, PerInch: 10, Row: make([]vision.Band, c.row)}
		for i := range c.missing {
			b.Row[4*i+1].State = vision.Missing
		}
		if got := lacking(b); got != c.want {
			t.Errorf("%s, %d of %d missing: %d lacking, want %d", c.kind, c.missing, c.row, got, c.want)
		}
		ruler := calib.Ruler{UnitProbability: 1, Odds: 60, Scale: calib.Scale{Unit: calib.Inch, Divisions: 16, B: 0.01}}
		got := believe(ruler, b, fit.Pitch{PerInch: 10, Read: 10, ReadRelU: 0.001, Lift: []float64{0}})
		if c.want > 0 && got.right > mayBeNoPart {
			t.Errorf("%s, %d of %d missing: believed %.3f", c.kind, c.missing, c.row, got.right)
		}
	}
}

// Hardly more than an inch of a ruler does not do, be it as plain as it may.
func TestSliver(t *testing.T) {
	for _, c := range []struct {
		spanIn float64
		want   bool
	}{{0.8, true}, {1.1, true}, {1.5, false}} {
		ruler := calib.Ruler{UnitProbability: 1, Odds: 60, Scale: calib.Scale{Unit: calib.Inch, Divisions: 16, B: 1, Half: 100, Hi: 100 * c.spanIn}}
		b := vision.Bands{Kind: vision.Reed, KindProbability: 1, PerInch: 10, Row: make([]vision.Band, 40), Contrast: 25}
		reason, _ := misreading(ruler, b)
		if got := strings.Contains(reason, "less than 1 1/4 inches"); got != c.want {
			t.Errorf("%g inches of marks: %q", c.spanIn, reason)
		}
		got := believe(ruler, b, fit.Pitch{PerInch: 10, Read: 10, ReadRelU: 0.001, Lift: []float64{0}}).right
		if got <= mayBeNoPart != c.want {
			t.Errorf("%g inches of marks: believed %.3f", c.spanIn, got)
		}
	}
}

// A unit that is less likely than another one is said to be.
func TestMiscountedMarks(t *testing.T) {
	b := vision.Bands{Kind: vision.RigidHeddle, KindProbability: 1, PerInch: 5, DentsPerBand: 2, Contrast: 50, Coherence: 1,
		Field: vision.Field{Ends: 2, HighIn: 4, LeastIn: 4}}
	for p, want := range map[float64]bool{0.3: true, 0.6: false} {
		ruler := calib.Ruler{UnitProbability: p, Odds: 60}
		if got, _ := misreading(ruler, b); strings.Contains(got, "miscounted") != want {
			t.Errorf("a unit by %g: %q", p, got)
		}
	}
}
