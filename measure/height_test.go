package measure

import (
	"bytes"
	"context"
	"math"
	"strings"
	"testing"

	"dentcount/calib"
	"dentcount/fit"
	"dentcount/photo"
	"dentcount/scene"
	"dentcount/vision"
)

func photoOfScene(t *testing.T, spec scene.Spec, opt Options) Result {
	t.Helper()
	p := openScene(t, spec)
	defer p.Close()
	r, err := Photo(context.Background(), p, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func openScene(t *testing.T, spec scene.Spec) *photo.Photo {
	t.Helper()
	jpeg, _, err := scene.Photo(spec)
	if err != nil {
		t.Fatal(err)
	}
	p, err := photo.Read("scene.jpg", bytes.NewReader(jpeg))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// A comb is not answered, and the reason says what it looks like; a person who
// says that it is a reed is believed.
func TestCombsAreDoubted(t *testing.T) {
	ranges := scene.DefaultRanges()
	ranges.LongSidePx = scene.Range{1600, 1600}
	ranges.AdverseShare, ranges.Cases = 1, []string{"comb"}
	named, overruled := 0, 0
	for seed := uint64(1); seed <= 2; seed++ {
		spec := scene.Random(seed, ranges)
		r := photoOfScene(t, spec, Options{})
		if r.Status == Answered {
			t.Errorf("seed %d: a comb is answered as %s %s", seed, r.Part, r.Size.Label)
		}
		if strings.Contains(r.Reason, "comb") {
			named++
			if told := photoOfScene(t, spec, Options{Part: "reed"}); !strings.Contains(told.Reason, "comb") {
				overruled++
			}
		}
	}
	if named == 0 || overruled != named {
		t.Errorf("%d combs of 2 are called so, %d of them no more once a person says that they are reeds", named, overruled)
	}
}

// A rigid heddle of 8 under a rule in tenths of an inch, which look like
// millimetres: in those it were two inches high. And a reed under a tape in
// millimetres, in tenths of an inch of which it were over seven. And a rigid heddle whose
// slots, in tenths of an inch, were too far apart to be any. Their sizes are a regression,
// that one unit is 2.54 times the other is the inch's definition.
func TestHeightTellsTenthsFromMillimetres(t *testing.T) {
	for _, c := range []struct {
		seed    uint64
		adverse float64
		unit    string
	}{{4202*1_000_000 + 17, -1, "in"}, {4901*1_000_000 + 557, 0.15, "cm"}, {5201*1_000_000 + 1046, 0.15, "cm"}} {
		ranges := scene.DefaultRanges()
		ranges.AdverseShare = c.adverse
		spec := scene.Random(c.seed, ranges)
		r := photoOfScene(t, spec, Options{RulerThicknessMM: spec.Rulers[0].ThicknessMM})
		if r.Status == Refused || r.Ruler.Unit != c.unit || r.Part != string(spec.Part.Kind) || math.Abs(r.Pitch.DentsPerInch/spec.Part.DentsPerInch-1) > 0.01 {
			t.Errorf("read as %s in %s, %+v; it is a %s of %.2f", r.Part, r.Ruler.Unit, r.Pitch, spec.Part.Kind, spec.Part.DentsPerInch)
		}
	}
	for _, c := range []struct {
		f      vision.Field
		kind   vision.Kind
		times  float64
		likely bool
	}{
		{vision.Field{HighIn: 4, LeastIn: 4}, vision.Reed, 1, true},
		{vision.Field{HighIn: 4, LeastIn: 4}, vision.Reed, 2.54, false},
		{vision.Field{HighIn: 4, LeastIn: 4}, vision.Reed, 1 / 2.54, false},
		{vision.Field{LeastIn: 1}, vision.Reed, 1 / 2.54, true}, // its ends were not seen
		{vision.Field{LeastIn: 5}, vision.Reed, 2.54, false},
		{vision.Field{HighIn: 7.2, LeastIn: 7.2}, vision.Reed, 1, false},
		{vision.Field{HighIn: 7.2, LeastIn: 7.2}, vision.RigidHeddle, 1, true},
	} {
		if got := likeHeight(vision.Bands{Field: c.f, Kind: c.kind}, c.times, true); (got > 0.5) != c.likely {
			t.Errorf("%+v, %.2f times: %.2f", c.f, c.times, got)
		}
	}
	// Teeth are of any height, so that theirs hardly tells the unit.
	teeth := vision.Bands{Kind: vision.Reed, Field: vision.Field{Ends: 2, HighIn: 1.35, LeastIn: 1.35, Free: 1}}
	if odds := likeHeight(teeth, 2.54, true) / likeHeight(teeth, 1, true); odds > 2.5 {
		t.Errorf("a comb's teeth tell the unit %.0f to 1", odds)
	}
}

// Slots that are coarse by millimetres are too far apart to be any by tenths of an inch:
// where the unit is open and nobody said it they are looked for in the other one.
func TestNoBandsInTheWrongUnit(t *testing.T) {
	ctx := context.Background()
	spec := scene.Random(5201*1_000_000+1046, scene.DefaultRanges())
	p := openScene(t, spec)
	defer p.Close()
	k, err := Keep(p)
	if err != nil {
		t.Fatal(err)
	}
	right, found, err := k.ruler(ctx, calib.CM)
	if err != nil || !found {
		t.Fatalf("no ruler: %v", err)
	}
	wrong, found, err := right.InUnit(k.gray, calib.Inch)
	if err != nil || !found {
		t.Fatalf("not in inches: %v", err)
	}
	for _, c := range []struct {
		sure  float64
		said  string
		found bool
	}{{0.5, "", true}, {0.98, "", false}, {0.5, "in", false}} {
		wrong.UnitProbability = c.sure
		r, b, found, err := k.bandsBeside(ctx, wrong, Options{Unit: c.said})
		if err != nil || found != c.found {
			t.Fatalf("%+v: %v, %v", c, found, err)
		}
		if got := b.PerInch * float64(max(b.DentsPerBand, 1)); found && (r.Scale.Unit != calib.CM || math.Abs(got/spec.Part.DentsPerInch-1) > 0.01) {
			t.Errorf("%+v: %.2f dents an inch by %s, drawn were %.2f", c, got, r.Scale.Unit, spec.Part.DentsPerInch)
		}
	}
}

// What may be a comb, or lower or higher than parts are, is at most as good as a
// guess, however clearly it is read; a person's word makes it a part.
func TestNoPartIsHardlyBelieved(t *testing.T) {
	for _, f := range []vision.Field{
		{Ends: 2, HighIn: 1.8, LeastIn: 1.8, Free: 1},
		{Ends: 2, HighIn: 1.6, LeastIn: 1.6},
		{LeastIn: 9.5},
	} {
		r := readingOf("odd", 10, 300, 1)
		r.bands.Field = f
		p, err := fit.FindPitch(r.ruler.Scale, r.bands, r.view)
		if err != nil {
			t.Fatal(err)
		}
		if got := believe(r.ruler, r.bands, p).right; got > mayBeNoPart {
			t.Errorf("%+v: %.2f", f, got)
		}
		out := r.Answer(Options{RulerThicknessMM: 1})
		if reason, advice := noPart(r.ruler, r.bands); out.Status != Unsure || reason == "" || out.Reason != reason || !strings.Contains(advice, "--part") {
			t.Errorf("%+v: %s, %q, %q", f, out.Status, out.Reason, out.Advice)
		}
		r.bands.Field.Told = true
		if reason, _ := noPart(r.ruler, r.bands); reason != "" {
			t.Errorf("%+v: %q though a person says what it is", f, reason)
		}
	}
}

// What seems to end at another ruler that lies across it may be as high as parts are.
func TestLowBesideAnotherRuler(t *testing.T) {
	for _, c := range []struct {
		other, covered, doubtful bool
	}{{false, false, true}, {true, false, false}, {false, true, false}} {
		r := readingOf("beside", 10, 300, 1)
		r.bands.Field = vision.Field{Ends: 2, HighIn: 1.8, LeastIn: 1.8, Covered: c.covered}
		if c.other {
			r.ruler.Other = &calib.Ruler{}
		}
		reason, _ := noPart(r.ruler, r.bands)
		short := 0.0
		for _, f := range featuresOf(r.ruler, r.bands, fit.Pitch{PerInch: 10}, 1) {
			if f.Name == "short bands" {
				short = f.Value
			}
		}
		if (reason != "") != c.doubtful || (short > 0) != c.doubtful {
			t.Errorf("%+v: %q, short bands %.2f", c, reason, short)
		}
	}
}

// Slots with holes between them are no comb's teeth, however short and free they seem; but
// where inches may be centimetres what is too low may still be so for that.
func TestPlainSlotsAreNoComb(t *testing.T) {
	for _, c := range []struct {
		kind     vision.Kind
		plain    float64 // probability of the kind
		tenths   bool
		unit     float64 // probability of the unit
		doubtful bool
	}{
		{vision.RigidHeddle, 0.99, false, 0.95, false}, {vision.RigidHeddle, 0.99, true, 0.999, false},
		{vision.RigidHeddle, 0.99, true, 0.95, true}, {vision.RigidHeddle, 0.9, false, 0.999, true}, {vision.Reed, 0.999, false, 0.999, true},
	} {
		r := readingOf("slots", 10, 300, 1)
		r.bands.Kind, r.bands.KindProbability = c.kind, c.plain
		r.bands.Field = vision.Field{Ends: 2, HighIn: 1.8, LeastIn: 1.8, Free: 1}
		if r.ruler.UnitProbability = c.unit; c.tenths {
			r.ruler.Scale.Divisions = tenths
		}
		reason, _ := noPart(r.ruler, r.bands)
		doubts := 0.0
		for _, f := range featuresOf(r.ruler, r.bands, fit.Pitch{PerInch: 10}, 1) {
			if f.Name == "ends free" || f.Name == "short bands" {
				doubts += f.Value
			}
		}
		if (reason != "") != c.doubtful || (doubts > 0) != c.doubtful {
			t.Errorf("%+v: %q, doubts %.2f", c, reason, doubts)
		}
	}
}

// Bands that are hardly coarser than the pixels are at most as good as a guess.
func TestBandsThatMayBeMoireAreHardlyBelieved(t *testing.T) {
	for _, c := range []struct {
		px   float64
		want bool
	}{{3.1, true}, {4.2, false}} {
		r := readingOf("fine", 24, 300, 1)
		r.bands.PxPerBand, r.bands.FinestPx = c.px, c.px
		out := r.Answer(Options{RulerThicknessMM: 1})
		if doubted := out.Status == Unsure && strings.Contains(out.Reason, "pixels apart"); doubted != c.want {
			t.Errorf("%.2f px: %s, %q", c.px, out.Status, out.Reason)
		}
	}
}

// 25.4 wires an inch come back as 8.4 where an inch has 33.8 pixels; where it has 60, no
// made reed is so fine, and what is of a made size is that.
func TestMoireOfAMadeSize(t *testing.T) {
	for _, c := range []struct {
		perInch, pxPerInch float64
		want               bool
	}{{8.37, 33.77, true}, {8.37, 60, false}, {8.37, 42, false}, {8, 33.4, false}} {
		r := readingOf("afar", c.perInch, 300, 1)
		r.bands.PxPerBand = c.pxPerInch / c.perInch
		r.bands.FinestPx = r.bands.PxPerBand
		out := r.Answer(Options{RulerThicknessMM: 1})
		if doubted := out.Status == Unsure && strings.Contains(out.Reason, "few pixels"); doubted != c.want {
			t.Errorf("%+v: %s, %q", c, out.Status, out.Reason)
		}
	}
}

// Bands that run aslant to the bars they end in are at most as good as a guess, but where
// the line of their ends, or the marks that tell what square is, may be turned by as much.
func TestAslantBandsAreHardlyBelieved(t *testing.T) {
	for _, c := range []struct {
		kind   vision.Kind
		rad, u float64
		want   bool
	}{
		{vision.Reed, 0.03, 0, false}, {vision.Reed, 0.15, 0, true}, {vision.Reed, 0.15, 0.03, true}, {vision.Reed, 0.15, 0.06, false},
		{vision.RigidHeddle, 0.15, 0.06, false}, {vision.RigidHeddle, 0.15, 0.01, true},
	} {
		r := readingOf("aslant", 10, 300, 1)
		r.bands.Kind, r.bands.KindProbability = c.kind, 1
		r.bands.Field = vision.Field{Ends: 2, HighIn: 4, LeastIn: 4, AslantRad: c.rad, AslantU: c.u}
		p, err := fit.FindPitch(r.ruler.Scale, r.bands, r.view)
		if err != nil {
			t.Fatal(err)
		}
		right, out := believe(r.ruler, r.bands, p).right, r.Answer(Options{RulerThicknessMM: 1})
		if doubted := right <= mayBeNoPart && out.Status == Unsure && strings.Contains(out.Reason, "off square"); doubted != c.want {
			t.Errorf("%+v: %.2f, %s, %q", c, right, out.Status, out.Reason)
		}
	}
}

// Bands of which no end is seen may be cloth where they wander and are rough, or where no
// part is made with their spacing and they are not as straight and smooth as wires; they
// are believed where a person says what they are.
func TestBandsWithoutEnds(t *testing.T) {
	const rough, smooth = 0.85, 0.95
	for _, c := range []struct {
		perInch      float64
		ends         int
		waves, alike float64
		told         bool
		answered     bool
	}{
		{9.69, 0, 0.007, smooth, false, false},
		{9.69, 0, math.NaN(), smooth, false, false},
		{9.69, 0, 0.002, rough, false, false},
		{9.69, 0, 0.002, smooth, false, true},
		{9.69, 2, 0, rough, false, true},
		{9.69, 0, 0.02, rough, true, true},
		{10, 0, 0.007, rough, false, true},
		{10, 0, math.NaN(), rough, false, true},
		{10, 0, 0.01, smooth, false, true},
		{10, 0, 0.02, rough, false, false},
	} {
		r := readingOf("ends", c.perInch, 400, 1)
		r.bands.Field = vision.Field{Ends: c.ends, LeastIn: 4, Waves: c.waves, Told: c.told}
		r.bands.Coherence = c.alike
		out := r.Answer(Options{RulerThicknessMM: 1})
		if (out.Status == Answered) != c.answered || !c.answered && !strings.Contains(out.Reason, "cloth") {
			t.Errorf("%+v: %s, %q, %+v", c, out.Status, out.Reason, out.Size)
		}
	}
}

// Plain slots may run on over bars that are wound with cord, where the unit is plain; wires
// that do are too high for a reed.
func TestPlainSlotsRunOnOverWoundBars(t *testing.T) {
	for _, c := range []struct {
		kind          vision.Kind
		unit, leastIn float64
		tall          bool
	}{
		{vision.RigidHeddle, 1, 8.3, false}, {vision.RigidHeddle, 0.98, 8.3, true}, {vision.RigidHeddle, 1, 11, true},
		{vision.Reed, 1, 8.3, true}, {vision.RigidHeddle, 1, 5, false},
	} {
		ruler := calib.Ruler{UnitProbability: c.unit, Scale: calib.Scale{Unit: calib.Inch, Divisions: 16}}
		b := vision.Bands{Kind: c.kind, KindProbability: 0.99, DentsPerBand: 2, Field: vision.Field{LeastIn: c.leastIn}}
		if got := endsSeen(ruler, b); got.Tall() > 0 != c.tall {
			t.Errorf("%s %.1f in high, unit by %.2f: too high by %.2f", c.kind, c.leastIn, c.unit, got.Tall())
		}
	}
}

// Bands that wander a little are taken for ribs only where they are rougher than wires,
// those that wander far however smooth they seem.
func TestRibsAreRough(t *testing.T) {
	for _, c := range []struct {
		waves, alike float64
		want         bool
	}{{0.015, 0.85, true}, {0.015, 0.95, false}, {0.03, 0.95, true}, {0.004, 0.85, false}} {
		b := vision.Bands{Kind: vision.Reed, Coherence: c.alike, Field: vision.Field{LeastIn: 4, Waves: c.waves}}
		if got := ribs(b); got != c.want {
			t.Errorf("%+v: ribs %v", c, got)
		}
	}
	for _, sure := range []float64{0.95, 0.99} {
		b := vision.Bands{Kind: vision.RigidHeddle, KindProbability: sure, Coherence: 0.6, Field: vision.Field{LeastIn: 6, Waves: 0.03}}
		if got, want := ribs(b), sure < 0.97; got != want {
			t.Errorf("slots by %.2f: ribs %v", sure, got)
		}
	}
}

// Bands as uneven as grain are wires only where they are of a made size, where they stand
// out and both of their ends are seen, or where a person says so.
func TestGrainIsUneven(t *testing.T) {
	for _, c := range []struct {
		label            string
		uneven, contrast float64
		ends             int
		told             bool
		want             bool
	}{
		{fit.None, 0.13, 7, 2, false, true}, {fit.None, 0.13, 20, 1, false, true}, {fit.None, 0.13, 20, 2, false, false},
		{fit.None, 0.09, 7, 2, false, false}, {"12", 0.13, 7, 2, false, false}, {fit.None, 0.13, 7, 2, true, false},
	} {
		b := vision.Bands{Kind: vision.Reed, PerInch: 4, ScatterIn: c.uneven / 4, Contrast: c.contrast,
			Field: vision.Field{Ends: c.ends, HighIn: 4, LeastIn: 4, Told: c.told}}
		if got := strings.Contains(doubtOf(b, c.label), "grain"); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

func doubtOf(b vision.Bands, label string) string {
	doubt, _ := ofNoSize(b, fit.Choice{Label: label, PerInch: b.PerInch * float64(max(b.DentsPerBand, 1))})
	return doubt
}

// Nothing is made much coarser than the coarsest size; a person may say that it is.
func TestTooCoarseForAnyPart(t *testing.T) {
	for _, c := range []struct {
		label   string
		kind    vision.Kind
		perInch float64
		told    bool
		want    bool
	}{
		{fit.None, vision.Reed, 2.4, false, true}, {fit.None, vision.Reed, 3.4, false, false}, {fit.None, vision.Reed, 2.4, true, false},
		{fit.None, vision.RigidHeddle, 1.7, false, true}, {fit.None, vision.RigidHeddle, 2.2, false, false}, {"2.5", vision.RigidHeddle, 2.5, false, false},
	} {
		dents := 1
		if c.kind == vision.RigidHeddle {
			dents = 2
		}
		b := vision.Bands{Kind: c.kind, PerInch: c.perInch / float64(dents), DentsPerBand: dents, Contrast: 20,
			Field: vision.Field{Ends: 2, HighIn: 4, LeastIn: 4, Told: c.told}}
		if got := strings.Contains(doubtOf(b, c.label), "coarse"); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// Ribs of which every third was counted may look like plain slots and seem to end in nothing at
// one side, where no part does (judge, seed 4636); a bar, both ends, bands as straight as wires, a
// made size or a person's word make a part of it, and so do plain slots whose holes stand
// halfway between them.
func TestRibsThatSeemToEndInNothing(t *testing.T) {
	ribs := func() vision.Bands {
		return vision.Bands{Kind: vision.RigidHeddle, KindProbability: 0.98, DentsPerBand: 2, PerInch: 2.07, PxPerBand: 88, FinestPx: 29.3, Coherence: 0.66,
			Row: []vision.Band{{In: 1}, {In: 8}}, Field: vision.Field{Ends: 1, Free: 1, LeastIn: 7.3}}
	}
	for _, c := range []struct {
		name   string
		change func(b *vision.Bands)
		label  string
		want   bool
	}{
		{"ribs", func(*vision.Bands) {}, fit.None, true},
		{"slots, not plain", func(b *vision.Bands) { b.KindProbability, b.FinestPx = 0.9, 44 }, fit.None, true},
		{"of a made size", func(*vision.Bands) {}, "4", false},
		{"a bar", func(b *vision.Bands) { b.Field.Free = 0 }, fit.None, false},
		{"both ends", func(b *vision.Bands) { b.Field.Ends = 2 }, fit.None, false},
		{"holes between", func(b *vision.Bands) { b.FinestPx = 44 }, fit.None, false},
		{"straight wires", func(b *vision.Bands) { b.Kind, b.Coherence, b.DentsPerBand, b.PerInch = vision.Reed, 0.97, 1, 4.4 }, fit.None, false},
		{"said", func(b *vision.Bands) { b.Field.Told = true }, fit.None, false},
	} {
		b := ribs()
		c.change(&b)
		if got := strings.Contains(doubtOf(b, c.label), "no bar"); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// A comb's teeth may be nearly as high as wires; of a made size they hardly are.
func TestLowAndOfNoSize(t *testing.T) {
	for _, c := range []struct {
		label                string
		highIn, free, longIn float64
		want                 bool
	}{
		{fit.None, 2.4, 0, 5, true}, {fit.None, 2.6, 0, 5, false}, {"12", 2.4, 0, 5, false},
		{fit.None, 3, 0.9, 5, true}, {fit.None, 3, 0.2, 5, false}, {fit.None, 4, 0.9, 5, false}, {fit.None, 3, 0.9, 12, false}, {"12", 3, 0.9, 5, false},
	} {
		b := vision.Bands{Kind: vision.Reed, PerInch: 12.8, Row: []vision.Band{{In: 1}, {In: 1 + c.longIn}},
			Field: vision.Field{Ends: 2, HighIn: c.highIn, LeastIn: c.highIn, Free: c.free}}
		if got := strings.Contains(doubtOf(b, c.label), "comb"); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// Teeth stand in a row no longer than combs are: a low reed on a ground as light as its bar
// seems to end in nothing, too. What is lower than reeds are is none in any row: a ruler's
// own marks, read at a third of their size, ran over 15 inches.
func TestLongRowsAreNoCombs(t *testing.T) {
	for _, c := range []struct {
		longIn, leastIn float64
		want            bool
	}{{5, 2.6, true}, {12, 2.6, false}, {15, 0.27, true}} {
		b := vision.Bands{Kind: vision.Reed, PerInch: 12, Row: []vision.Band{{In: 3}, {In: 3 + c.longIn}}, Field: vision.Field{Ends: 2, HighIn: c.leastIn, LeastIn: c.leastIn, Free: 1}}
		for _, f := range featuresOf(calib.Ruler{UnitProbability: 1}, b, fit.Pitch{PerInch: 12}, 1) {
			if f.Name == "ends free" && (f.Value > 0) != c.want {
				t.Errorf("%g in, %g high: %g", c.longIn, c.leastIn, f.Value)
			}
		}
	}
}

// A little lower than reeds are may be a ruler's plane, tilted, in a row longer than a comb;
// in a shorter one it may be teeth, of a made size or none, unless a person says which part it is.
func TestALittleLowMayBeTeeth(t *testing.T) {
	for _, c := range []struct {
		longIn, highIn float64
		told, want     bool
	}{{4, 2.45, false, true}, {4, 2.6, false, false}, {12, 2.45, false, false}, {12, 2.2, false, true}, {4, 2.45, true, false}} {
		b := vision.Bands{Kind: vision.Reed, PerInch: 12.5, Row: []vision.Band{{In: 3}, {In: 3 + c.longIn}},
			Field: vision.Field{Ends: 2, HighIn: c.highIn, LeastIn: c.highIn, Told: c.told}}
		if reason, _ := noPart(calib.Ruler{UnitProbability: 1}, b); strings.Contains(reason, "lower than reeds") != c.want {
			t.Errorf("%+v: %q", c, reason)
		}
	}
}

// A comb whose ruler's plane is tilted may look a little higher than it is.
func TestTeethAndTheRulersPlane(t *testing.T) {
	for _, c := range []struct {
		highIn, free float64
		want         bool
	}{{2.45, 1, true}, {2.54, 1, true}, {2.54, 0.2, false}, {2.65, 1, false}} {
		b := vision.Bands{Kind: vision.Reed, PerInch: 25, Row: []vision.Band{{In: 3}, {In: 6}},
			Field: vision.Field{Ends: 2, HighIn: c.highIn, LeastIn: c.highIn, Free: c.free}}
		if reason, _ := noPart(calib.Ruler{UnitProbability: 1}, b); strings.Contains(reason, "teeth") != c.want {
			t.Errorf("%+v: %q", c, reason)
		}
	}
}

// From near only a part of a comb may be seen, and of a reed: one of no made size is
// doubted until more of it is seen than a comb is high, or long. Slots are no teeth.
func TestSeenInPartAndOfNoSize(t *testing.T) {
	for _, c := range []struct {
		label   string
		kind    vision.Kind
		ends    int
		leastIn float64
		longIn  float64
		told    bool
		want    bool
	}{
		{fit.None, vision.Reed, 1, 1.7, 5, false, true},
		{fit.None, vision.Reed, 0, 1.7, 5, false, true},
		{fit.None, vision.Reed, 1, 2.6, 5, false, false},
		{fit.None, vision.Reed, 1, 1.7, 12, false, false},
		{"12", vision.Reed, 1, 1.7, 5, false, false},
		{fit.None, vision.RigidHeddle, 1, 1.7, 5, false, false},
		{fit.None, vision.Reed, 1, 1.7, 5, true, false},
	} {
		b := vision.Bands{Kind: c.kind, KindProbability: 0.99, Coherence: 0.95, PerInch: 12.8, Row: []vision.Band{{In: 3}, {In: 3 + c.longIn}}, Field: vision.Field{Ends: c.ends, LeastIn: c.leastIn, Told: c.told}}
		if got := strings.Contains(doubtOf(b, c.label), "comb"); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// Of a comb half an inch may be seen beside a ruler that hides the rest; of a part more is,
// or one of its bars.
func TestPatchMayBeAComb(t *testing.T) {
	for _, c := range []struct {
		kind            vision.Kind
		ends            int
		leastIn, longIn float64
		told            bool
		want            bool
	}{
		{vision.Reed, 0, 0.51, 1.4, false, true}, {vision.Reed, 1, 0.51, 1.4, false, false},
		{vision.Reed, 2, 0.51, 1.4, false, false}, {vision.Reed, 0, 1.3, 1.4, false, false},
		{vision.Reed, 0, 0.51, 11, false, false}, {vision.Reed, 0, 0, 1.4, false, false},
		{vision.Reed, 0, 0.51, 1.4, true, false}, {vision.RigidHeddle, 0, 0.51, 1.4, false, false},
	} {
		b := vision.Bands{Kind: c.kind, PerInch: 10, Row: []vision.Band{{In: 3}, {In: 3 + c.longIn}}, Field: vision.Field{Ends: c.ends, LeastIn: c.leastIn, Told: c.told}}
		if got := patch(b); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// Teeth that reach over the picture's edge end in nothing at the end that is seen.
func TestLooseEndsMayBeAComb(t *testing.T) {
	for _, c := range []struct {
		ends                  int
		free, leastIn, longIn float64
		told                  bool
		want                  bool
	}{
		{1, 1, 1.2, 4, false, true}, {1, 0.2, 1.2, 4, false, false}, {1, 1, 3.6, 4, false, false},
		{1, 1, 1.2, 11, false, false}, {1, 1, 1.2, 4, true, false}, {2, 1, 3.3, 4, false, false},
	} {
		b := vision.Bands{Kind: vision.Reed, PerInch: 10, Row: []vision.Band{{In: 3}, {In: 3 + c.longIn}}, Coherence: 1,
			Field: vision.Field{Ends: c.ends, Free: c.free, LeastIn: c.leastIn, Told: c.told}}
		ruler := calib.Ruler{UnitProbability: 1}
		if got := loose(ruler, b); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// A cloth's ribs are no plain slots: those of no made size are believed without their ends.
func TestPlainSlotsAreNoRibs(t *testing.T) {
	for _, c := range []struct {
		sure float64
		want bool
	}{{0.95, true}, {0.99, false}} {
		b := vision.Bands{Kind: vision.RigidHeddle, KindProbability: c.sure, PerInch: 3, Field: vision.Field{LeastIn: 5}}
		if got := strings.Contains(doubtOf(b, fit.None), "cloth"); got != c.want {
			t.Errorf("slots by %.2f: %v", c.sure, got)
		}
	}
}

// The kind that a photo leaves open leaves the size open, too, however well it is met.
func TestSizeWaitsForTheKind(t *testing.T) {
	r := readingOf("kind", 5, 400, 1)
	r.bands.KindProbability = 0.6
	if out := r.Answer(Options{RulerThicknessMM: 1}); out.Status != Unsure || out.Size.Confidence > 0.65 {
		t.Errorf("a reed by 0.6: %s, %+v", out.Status, out.Size)
	}
	r.bands.Field.Told = true
	if out := r.Answer(Options{RulerThicknessMM: 1}); out.Size.Confidence < 0.65 {
		t.Errorf("a reed by what is said: %s, %+v", out.Status, out.Size)
	}
}

// The edge of this rule is traced along the inner ends of its finest marks, 32 an
// inch, so that those stand where bands are looked for. A regression: seed 4001.
func TestMarksBeforeTheTracedEdge(t *testing.T) {
	ranges := scene.DefaultRanges()
	ranges.AdverseShare = 0.15
	spec := scene.Random(4001*1_000_000+56, ranges)
	r := photoOfScene(t, spec, Options{RulerThicknessMM: spec.Rulers[0].ThicknessMM})
	if r.Status == Refused || math.Abs(r.Pitch.DentsPerInch/spec.Part.DentsPerInch-1) > 0.01 {
		t.Errorf("%+v; it is a %s of %.2f", r.Pitch, spec.Part.Kind, spec.Part.DentsPerInch)
	}
}

// A reed that seems 6½ inches high makes an inch that is in doubt doubtful; one that seems
// 4 inches high proves nothing, and nothing makes doubtful what is beyond doubt.
func TestHeedTwofold(t *testing.T) {
	reed := vision.Bands{Kind: vision.Reed, Field: vision.Field{Ends: 2, HighIn: 6.5, LeastIn: 6.5}}
	with := func(change func(*vision.Bands)) vision.Bands {
		b := reed
		change(&b)
		return b
	}
	for _, c := range []struct {
		name   string
		p      float64
		b      vision.Bands
		lo, hi float64
	}{
		{"in doubt", 0.96, reed, 0.6, 0.85},
		{"beyond doubt", 0.9999, reed, 0.995, 0.9999},
		{"of usual height", 0.9, with(func(b *vision.Bands) { b.Field.HighIn = 4 }), 0.9, 0.9},
		{"low", 0.9, with(func(b *vision.Bands) { b.Field.HighIn = 2.2 }), 0.1, 0.5},
		{"an end not seen", 0.96, with(func(b *vision.Bands) { b.Field.HighIn = 0 }), 0.2, 0.5},
		{"an end not seen, beyond doubt", 0.9999, with(func(b *vision.Bands) { b.Field.HighIn = 0 }), 0.98, 0.9999},
		{"little seen", 0.9, with(func(b *vision.Bands) { b.Field.HighIn, b.Field.LeastIn = 0, 2 }), 0.899, 0.9},
		{"covered", 0.9, with(func(b *vision.Bands) { b.Field.Covered = true }), 0.9, 0.9},
		{"a person's word", 0.9, with(func(b *vision.Bands) { b.Field.Told = true }), 0.9, 0.9},
		{"a rigid heddle", 0.9, with(func(b *vision.Bands) { b.Kind = vision.RigidHeddle }), 0.9, 0.9},
	} {
		if got := heedTwofold(c.p, c.b); got < c.lo || got > c.hi {
			t.Errorf("%s: %.4f, want %g to %g", c.name, got, c.lo, c.hi)
		}
	}
}

// Plain slots with plain holes, or counted with their holes in turn, seem to run on past
// their part for a table's pattern; what shows neither may be cloth.
func TestRunningOnWithHoles(t *testing.T) {
	plain := []vision.Cue{{Name: "holes clear", Value: 1.7}}
	for _, c := range []struct {
		name   string
		b      vision.Bands
		unitP  float64
		doubts bool
	}{
		{"plain holes", vision.Bands{Kind: vision.RigidHeddle, KindProbability: 0.99, DentsPerBand: 2, KindCues: plain}, 1, false},
		{"in turn", vision.Bands{Kind: vision.RigidHeddle, KindProbability: 0.97, DentsPerBand: 1}, 1, false},
		{"faint holes", vision.Bands{Kind: vision.RigidHeddle, KindProbability: 0.99, DentsPerBand: 2, KindCues: []vision.Cue{{Name: "holes clear", Value: 0.4}}}, 1, true},
		{"hardly slots", vision.Bands{Kind: vision.RigidHeddle, KindProbability: 0.9, DentsPerBand: 2, KindCues: plain}, 1, true},
		{"an open unit", vision.Bands{Kind: vision.RigidHeddle, KindProbability: 0.99, DentsPerBand: 2, KindCues: plain}, 0.8, true},
		{"wires", vision.Bands{Kind: vision.Reed, KindProbability: 0.99, DentsPerBand: 1}, 1, true},
	} {
		c.b.Field = vision.Field{Ends: 1, LeastIn: 11}
		ruler := calib.Ruler{UnitProbability: c.unitP, Odds: 60, Scale: calib.Scale{Unit: calib.Inch, Divisions: tenths, B: 0.01}}
		if reason, _ := noPart(ruler, c.b); (reason != "") != c.doubts {
			t.Errorf("%s: doubted %q", c.name, reason)
		}
	}
}
