package trade

import (
	"math"
	"strings"
	"testing"
)

// twentySix is the worked example of common practice (no source): called 26,
// weaves 26 1/2, 29 1/2 clear between the uprights, a beater for 4 1/2 to
// 5 1/2 in.
func twentySix() Loom {
	return Loom{Name: "the 26", WeavingWidthIn: 26.5, ClearSpanIn: 29.5, BeaterMinIn: 4.5, BeaterMaxIn: 5.5, HeddleBarSpanIn: 10.5, Shafts: 4}
}

func has(list []string, word string) bool {
	for _, s := range list {
		if strings.Contains(s, word) {
			return true
		}
	}
	return false
}

func TestLoomValidate(t *testing.T) {
	if err := twentySix().Validate(); err != nil {
		t.Errorf("the worked example: %v", err)
	}
	if err := (Loom{}).Validate(); err != nil {
		t.Errorf("a loom of which nothing is measured yet: %v", err)
	}
	change := func(f func(*Loom)) Loom { l := twentySix(); f(&l); return l }
	for name, c := range map[string]struct {
		loom     Loom
		question bool
		word     string
	}{
		"narrower than its reed": {change(func(l *Loom) { l.ClearSpanIn = 24 }), true, "which of the two is wrong?"},
		"beater swapped":         {change(func(l *Loom) { l.BeaterMinIn = 6 }), true, "swapped"},
		"half a beater":          {change(func(l *Loom) { l.BeaterMaxIn = 0 }), true, "lowest and the highest"},
		"many shafts":            {change(func(l *Loom) { l.Shafts = 400 }), true, "number of shafts"},
		"negative":               {change(func(l *Loom) { l.WeavingWidthIn = -26 }), false, "negative"},
		"not a number":           {change(func(l *Loom) { l.ClearSpanIn = math.NaN() }), false, "not a number"},
		"millimetres":            {change(func(l *Loom) { l.HeddleBarSpanIn = 267 }), false, "over 4 m"},
		"shafts":                 {change(func(l *Loom) { l.Shafts = -4 }), false, "shafts"},
	} {
		err := c.loom.Validate()
		if err == nil {
			t.Errorf("%s: no error", name)
			continue
		}
		if _, q := AsQuestion(err); q != c.question || !strings.Contains(err.Error(), c.word) {
			t.Errorf("%s: question %v, %v", name, q, err)
		}
	}
	two := change(func(l *Loom) { l.ClearSpanIn, l.BeaterMinIn = 24, 6 })
	if n := len(two.Problems()); n != 2 {
		t.Errorf("two things wrong, %d reported", n)
	}
}

func TestAdviseReedLength(t *testing.T) {
	// common practice, no source: "a reed about 27 in long uses all of it …
	// 29 1/2 clear, so nothing longer goes in"
	a := AdviseReedLength(twentySix())
	near(t, "aim", a.AimIn, 27, 1e-12)
	near(t, "order", a.OrderIn, 27, 1e-12)
	near(t, "most", a.MaxIn, 29.5, 1e-12)
	if a.Question != "" || !strings.Contains(a.Reason, "26 1/2 in; a reed about 27 in long") || !has(a.Cautions, "by the inch") || !has(a.Cautions, "any length under the clear span") {
		t.Errorf("words: %+v", a)
	}
	for _, c := range []struct {
		name              string
		width, clear      float64
		aim, order        float64
		question, caution string
	}{
		{"the uprights are close", 26.5, 26.75, 26.625, 26.625, "", "first and the last wire"},
		{"next inch up goes in", 40, 45, 40.5, 41, "", "by the inch"},
		{"next inch up does not", 40, 40.9, 40.5, 40, "", "by the inch"},
		{"clear span not known", 26.25, 0, 26.75, 27, "clear between the uprights", ""},
		{"width not known", 0, 29.5, 0, 0, "really weave", ""},
		{"figures disagree", 30, 29.5, 0, 0, "which of the two", ""},
	} {
		a := AdviseReedLength(Loom{WeavingWidthIn: c.width, ClearSpanIn: c.clear})
		near(t, c.name+" aim", a.AimIn, c.aim, 1e-12)
		near(t, c.name+" order", a.OrderIn, c.order, 1e-12)
		if (a.Question == "") != (c.question == "") || !strings.Contains(a.Question, c.question) {
			t.Errorf("%s asks %q", c.name, a.Question)
		}
		if c.caution != "" && !has(a.Cautions, c.caution) {
			t.Errorf("%s cautions %q", c.name, a.Cautions)
		}
		if c.clear > 0 && (a.AimIn > c.clear || a.OrderIn > c.clear) {
			t.Errorf("%s: longer than the clear span", c.name)
		}
	}
}

func TestCheckReedHeight(t *testing.T) {
	l := twentySix()
	for _, c := range []struct {
		height Length
		want   VerdictKind
	}{
		// the worked range: 4 1/2, 4 3/4, 5, up to 5 1/2 (common practice, no source)
		{Length{In: 4.5}, Fits}, {Length{In: 4.75}, Fits}, {Length{In: 5}, Fits}, {Length{In: 5.5}, Fits},
		{Length{In: 6}, DoesNotFit}, {Length{In: 4}, DoesNotFit}, {Length{In: 4.25, U: 0.02}, DoesNotFit},
		{Length{In: 5.62, U: 0.05}, MeasureAgain}, {Length{In: 5, U: 0.5}, MeasureAgain}, {Length{}, MeasureAgain},
	} {
		f := CheckReedHeight(l, c.height)
		if f.Verdict != c.want {
			t.Errorf("%s: %s (p %.3f), want %s", c.height, f.Verdict, f.Probability, c.want)
		}
	}
	if f := CheckReedHeight(Loom{}, Length{In: 5}); f.Verdict != MeasureAgain || f.Question == "" {
		t.Errorf("a beater of which nothing is known: %+v", f)
	}
	one := l
	one.BeaterMinIn, one.BeaterMaxIn = 5, 5
	if f := CheckReedHeight(one, Length{In: 5}); f.Verdict != Fits || !strings.Contains(f.Reason, "takes 5 in") {
		t.Errorf("a beater for one height: %+v", f)
	}
	if f := CheckReedHeight(one, Length{In: 4.5}); f.Verdict != DoesNotFit {
		t.Errorf("a beater for one height, another reed: %+v", f)
	}
}

func TestAdviseCaps(t *testing.T) {
	for caps, word := range map[int]string{2: "old reeds", 1: "modern", 0: "no end is capped"} {
		if a := AdviseCaps(caps); !strings.Contains(a.Reason, word) {
			t.Errorf("%d caps: %+v", caps, a)
		}
	}
	if a := AdviseCaps(0); !has(a.Cautions, "sharp") || a.Question == "" {
		t.Errorf("bare ends: %+v", a)
	}
	if a := AdviseCaps(3); a.Question == "" || a.Reason != "" {
		t.Errorf("3 caps: %+v", a)
	}
}

func TestBindings(t *testing.T) {
	clean := map[Binding]bool{ResinBound: true, PitchBound: false, WireBound: false, Soldered: false, BindingUnknown: false, "glue": false}
	for b, want := range clean {
		f := b.Facts()
		if f.Clean != want || f.Tell == "" || f.Cutting == "" || f.Source == "" {
			t.Errorf("%q: %+v", b, f)
		}
		if c := cuttingCautions(b); !has(c, "eye protection") || !has(c, "clamp") || !has(c, "rust") || !has(c, "qualified") {
			t.Errorf("%q: cautions %q", b, c)
		}
	}
	if len(Bindings()) != 4 || !has(cuttingCautions(Soldered), "lead") || !has(cuttingCautions(PitchBound), "tar") {
		t.Error("bindings incomplete")
	}
}

// Worked by hand: a 36 in reed, 35 in between its first and last wire, 10
// dents per inch, so 351 wires, the first 1/2 in from the cap's outer face.
// For 27 in the saw goes at 0.5 + (N − 0.5)/10 ≤ 27, so N = 265: at 26.95 in,
// 26.4 in of sley are left, 8.6 in and 86 dents are lost.
func TestCutReedByHand(t *testing.T) {
	reed := ReedDims{Label: "10", Length: Length{In: 36}, SleyWidth: Length{In: 35}, PerInch: 10, Binding: ResinBound, Caps: 2, StampAt: LeftEnd}
	p, err := CutReed(reed, Cut{WantIn: 27})
	if err != nil {
		t.Fatal(err)
	}
	if p.AfterWire != 265 || p.BeforeWire != 266 || p.LostDents != 86 || p.KeepEnd != LeftEnd || !p.Clean || p.Question != "" {
		t.Errorf("plan: %+v", p)
	}
	near(t, "from the end", p.FromEndIn, 26.95, 1e-9)
	near(t, "length", p.NewLengthIn, 26.95, 1e-9)
	near(t, "sley left", p.SleyWidthIn, 26.4, 1e-9)
	near(t, "sley lost", p.LostSleyIn, 8.6, 1e-9)
	if !has(p.Steps, "left end, which keeps the stamped cap") || !has(p.Steps, "between wires 265 and 266") || !has(p.Cautions, "eye protection") {
		t.Errorf("words: %q %q", p.Steps, p.Cautions)
	}
	if has(p.Steps, "whip and glue") || has(p.Cautions, "wider than one dent") {
		t.Errorf("a resin-bound 10 needs no whipping and has room for the saw: %q", p.Steps)
	}
	// a new cap of 1/4 in takes its share: N = (27 − 0.25 − 0.5)·10 + 0.5 = 263
	p, err = CutReed(reed, Cut{WantIn: 27, NewCapIn: 0.25})
	if err != nil || p.AfterWire != 263 {
		t.Errorf("with a new cap: %+v, %v", p, err)
	}
	near(t, "with a new cap", p.NewLengthIn, 27, 1e-9)
	// to 35.9 in only the far cap would go, and one wire with it: there are 351
	p, err = CutReed(reed, Cut{WantIn: 35.9})
	if err != nil || p.AfterWire != 350 || p.LostDents != 1 || p.NewLengthIn > 35.9 {
		t.Errorf("only the cap: %+v, %v", p, err)
	}
	// the sley width not measured, but the kept cap
	reed.SleyWidth = Length{}
	p, err = CutReed(reed, Cut{WantIn: 27, KeptCapIn: 0.5})
	if err != nil || p.AfterWire != 265 || p.LostDents != 86 {
		t.Errorf("from the kept cap: %+v, %v", p, err)
	}
}

func TestCutReedDependsOnTheReed(t *testing.T) {
	reed := ReedDims{Length: Length{In: 36}, SleyWidth: Length{In: 35}, PerInch: 20, Binding: PitchBound}
	p, err := CutReed(reed, Cut{WantIn: 27})
	if err != nil {
		t.Fatal(err)
	}
	if p.Clean || !has(p.Steps, "whip and glue") || !strings.Contains(p.Reason, "may come apart") || !has(p.Cautions, "tar") {
		t.Errorf("a pitch-bound reed: %+v", p)
	}
	if !has(p.Cautions, "wider than one dent") { // at 20 per inch the opening is about 1/40 in, under the saw's cut
		t.Errorf("a fine reed: %q", p.Cautions)
	}
	if !strings.Contains(p.Question, "which end carries the stamp") {
		t.Errorf("the stamp is not asked for: %q", p.Question)
	}
	reed.Binding = BindingUnknown
	p, err = CutReed(reed, Cut{WantIn: 27})
	if err != nil || p.Clean || !strings.Contains(p.Question, "how is the reed bound") {
		t.Errorf("an unknown binding: %+v, %v", p, err)
	}
	// the cut never comes out longer than wanted, nor a dent short of it
	for want := 3.0; want < 35; want += 0.37 {
		p, err := CutReed(reed, Cut{WantIn: want})
		if err != nil {
			t.Fatal(err)
		}
		if p.NewLengthIn > want+1e-9 || p.NewLengthIn < want-0.05-1e-9 {
			t.Errorf("wanted %v, planned %v", want, p.NewLengthIn)
		}
	}
}

func TestCutReedRefuses(t *testing.T) {
	ok := ReedDims{Length: Length{In: 36}, SleyWidth: Length{In: 35}, PerInch: 10}
	change := func(f func(*ReedDims)) ReedDims { r := ok; f(&r); return r }
	for name, c := range map[string]struct {
		reed     ReedDims
		cut      Cut
		question bool
		word     string
	}{
		"leaves nothing":       {ok, Cut{WantIn: 1.2}, false, "leaves nothing"},
		"new cap eats it all":  {ok, Cut{WantIn: 5, NewCapIn: 6}, false, "leaves nothing"},
		"nothing to cut off":   {ok, Cut{WantIn: 36}, false, "nothing to cut off"},
		"longer than it is":    {ok, Cut{WantIn: 40}, false, "nothing to cut off"},
		"negative":             {ok, Cut{WantIn: -3}, false, "negative"},
		"not a number":         {ok, Cut{WantIn: math.NaN()}, false, "no number"},
		"endless":              {change(func(r *ReedDims) { r.Length.In = math.Inf(1) }), Cut{WantIn: 27}, false, "no number"},
		"in millimetres":       {change(func(r *ReedDims) { r.Length.In = 914 }), Cut{WantIn: 27}, false, "over 4 m"},
		"no length":            {change(func(r *ReedDims) { r.Length = Length{} }), Cut{WantIn: 27}, true, "how long is the reed"},
		"no count":             {change(func(r *ReedDims) { r.PerInch = 0 }), Cut{WantIn: 27}, true, "dents per inch"},
		"nothing, no count":    {change(func(r *ReedDims) { r.PerInch = 0 }), Cut{WantIn: 1.2}, false, "leaves nothing"},
		"no such count":        {change(func(r *ReedDims) { r.PerInch = 1e9 }), Cut{WantIn: 27}, false, "no reed has that"},
		"nothing wanted":       {ok, Cut{}, true, "after the cut"},
		"no sley width":        {change(func(r *ReedDims) { r.SleyWidth = Length{} }), Cut{WantIn: 27}, true, "first wire"},
		"sley wider than reed": {change(func(r *ReedDims) { r.SleyWidth.In = 40 }), Cut{WantIn: 27}, true, "which of the two"},
	} {
		p, err := CutReed(c.reed, c.cut)
		if err == nil {
			t.Errorf("%s: planned %+v", name, p)
			continue
		}
		if _, q := AsQuestion(err); q != c.question || !strings.Contains(err.Error(), c.word) {
			t.Errorf("%s: question %v, %v", name, q, err)
		}
	}
}
