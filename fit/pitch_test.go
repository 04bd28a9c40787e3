package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/calib"
	"dentcount/trade"
	"dentcount/vision"
)

// Parallax: the count per inch is high by t/(D-t), D the camera's height above
// the wires; undoing it gives (D-t)/D. Here the camera is 150 mm above the face.
func TestLiftUndoesParallax(t *testing.T) {
	const thick, face = 3.0, 150.0
	mean, sd := meanSD(lifts(View{ThicknessMM: thick}, heightsOf(face, 0.0001, 9)))
	high := thick / (face + thick - thick)
	if got := (1 + high) * math.Exp(mean); math.Abs(got-1) > 1e-6 {
		t.Errorf("a count high by t/(D-t) is corrected to %.7f of the true one, want 1", got)
	}
	if sd > 1e-4 {
		t.Errorf("thickness and distance are told, and the correction still scatters by %.5f", sd)
	}
}

// Not told, the thickness leaves more doubt, and less the farther the camera.
func TestLiftPriorShrinksWithDistance(t *testing.T) {
	_, near := meanSD(lifts(View{}, heightsOf(150, 0.02, 9)))
	_, far := meanSD(lifts(View{}, heightsOf(600, 0.02, 9)))
	if !(near > 3*far && far > 0) {
		t.Errorf("doubt at 150 mm %.5f, at 600 mm %.5f: want it to fall as 1/D", near, far)
	}
}

// A 27 mm equivalent is 0.75 of the frame's width by width (27/36), and
// 27/43.27 of its diagonal by diagonal; ours lies between.
func TestFocalPxBetweenConventions(t *testing.T) {
	f := FocalPx(27, 4000, 3000)
	if byWidth, byDiagonal := 3000.0, 27/43.2666*5000; f < byWidth || f > byDiagonal {
		t.Errorf("focal length %.1f px, want between %.1f and %.1f", f, byWidth, byDiagonal)
	}
	if FocalPx(27, 3000, 4000) != f {
		t.Error("a photo held upright has another focal length")
	}
}

// Where EXIF does not tell the lens, two thirds of the weight lie on a main lens
// of 26 mm, and the nearer that would put the camera, the more on a longer one.
func TestUsualFocals(t *testing.T) {
	longer := func(mm float64) (share float64) {
		ln := usualFocals(200, mm, nil)
		for i, x := range ln {
			if i > 0 && x < ln[i-1] {
				t.Fatalf("quantile %d is less than the one before", i)
			}
			if focalMedian*math.Exp(x) > 31 {
				share += 1.0 / 200
			}
		}
		return share
	}
	// By hand, of a third spread evenly from 23 to 65 mm: 27 % of all lie over 31
	// mm, and as they put the camera half as far again a quarter of those is less likely.
	usual, near := longer(350), longer(100)
	if math.Abs(usual-0.21) > 0.04 {
		t.Errorf("at 350 mm %.3f of the lenses are longer than 31 mm, want some 0.21", usual)
	}
	if near < 1.5*usual {
		t.Errorf("at 100 mm %.3f are longer than 31 mm, at 350 mm %.3f: want many more", near, usual)
	}
}

// Marks that stand square to their edge through a lens of 50 mm alone, and by far
// off through one of 26 mm, tell the lens; ones that look square through any tell
// nothing.
func TestMarksTellLens(t *testing.T) {
	v := View{WidthPx: 4000, HeightPx: 3000}
	b := vision.Bands{FocalPx: FocalPx(27, v.WidthPx, v.HeightPx)}
	middle := func(perLn float64) float64 {
		b.Squares = nil
		for x := -0.4; x <= 0.8; x += 0.05 {
			b.Squares = append(b.Squares, vision.Square{LnFocal: x, Off: perLn * (x - math.Log(50.0/27))})
		}
		ln := usualFocals(101, 300, squareLikelihood(b, v))
		return focalMedian * math.Exp(ln[50])
	}
	if f := middle(0.06); math.Abs(f-50) > 3 {
		t.Errorf("marks that stand square at 50 mm tell %.1f mm", f)
	}
	plain := focalMedian * math.Exp(usualFocals(101, 300, nil)[50])
	if f := middle(0); math.Abs(f-plain) > 1e-9 {
		t.Errorf("marks that look square through any lens tell %.2f mm, without them it is %.2f", f, plain)
	}
}

// Wires seen to reach as deep as 3 mm do from where a lens of 52 mm would stand tell
// it from a main lens; what was seen badly, or of a rigid heddle, tells nothing.
func TestDepthTellsLens(t *testing.T) {
	const mm = 300.0 // for focalMedian
	v := View{WidthPx: 4000, HeightPx: 3000}
	middle := func(b vision.Bands) float64 {
		ln := usualFocals(101, mm, lensLikelihood(b, v, mm))
		return focalMedian * math.Exp(ln[50])
	}
	deep := func(f, u float64) vision.Bands {
		return vision.Bands{Kind: vision.Reed, Deep: vision.Deep{Rel: seenDeepMM / (mm * f / focalMedian), LnU: u}}
	}
	plain := middle(vision.Bands{Kind: vision.Reed})
	if f := middle(deep(52, 0.05)); f < 40 {
		t.Errorf("wires as deep as from where a lens of 52 mm stands tell %.1f mm", f)
	}
	if f := middle(deep(26, 0.05)); f > plain || f < 24 {
		t.Errorf("wires as deep as from where a lens of 26 mm stands tell %.1f mm, without them it is %.1f", f, plain)
	}
	if f := middle(deep(52, 3)); math.Abs(f-plain) > 1.5 {
		t.Errorf("wires hardly seen tell %.1f mm, without them it is %.1f", f, plain)
	}
	heddle := deep(52, 0.05)
	heddle.Kind = vision.RigidHeddle
	if f := middle(heddle); f != plain {
		t.Errorf("a heddle's bars tell %.1f mm, without them it is %.1f", f, plain)
	}
}

// What cannot be reckoned is refused, never an answer without a number.
func TestNoNumberIsNoPitch(t *testing.T) {
	s := calib.Scale{A: 0, B: 0.01, Half: 1, ResidualIn: 1e-6, Lo: 0, Hi: 800, Marks: make([]calib.Mark, 60)}
	b := vision.Bands{Kind: vision.Reed, PerInch: 10, U: 0.001, DentsPerBand: 1, Row: make([]vision.Band, 60)}
	v := View{WidthPx: 4000, HeightPx: 3000}
	if p, err := FindPitch(s, b, v); err != nil || !(p.PerInch > 0) {
		t.Fatalf("%v, %+v", err, p)
	}
	b.Deep = vision.Deep{Rel: 0, LnU: 1}
	if p, err := FindPitch(s, b, v); err != ErrPitch {
		t.Errorf("wires of no depth: %v, %g ± %g per inch", err, p.PerInch, p.U)
	}
}

// A tape 18 mm wide bent to a radius of 2 m keeps the length of its middle: on
// its outer edge marks stand 9 mm / 2 m = 0.45 % wider, and a count on them is
// 0.45 % high; on the inner edge as much low.
func TestPitchOnTapeThatBends(t *testing.T) {
	s := calib.Scale{A: 0, B: 0.01, Half: 1, ResidualIn: 1e-6, Lo: 0, Hi: 800, Marks: make([]calib.Mark, 60)}
	for _, sign := range []float64{1, -1} {
		b := syntheticRow(rand.New(rand.NewPCG(8, 9)), 80, 10, 0)
		straight, err := FindPitch(s, b, View{ThicknessMM: 0.2, DistanceMM: 400})
		if err != nil {
			t.Fatal(err)
		}
		b.BendPerIn = sign * 25.4 / 2000
		bent, err := FindPitch(s, b, View{ThicknessMM: 0.2, DistanceMM: 400, FaceWidthIn: 18 / 25.4})
		if err != nil {
			t.Fatal(err)
		}
		if got, want := bent.PerInch/straight.PerInch, 1/(1+sign*0.0045); math.Abs(got-want) > 1e-6 {
			t.Errorf("bent %+.0f: corrected by %.6f, want %.6f", sign, got, want)
		}
		usual, err := FindPitch(s, b, View{ThicknessMM: 0.2, DistanceMM: 400})
		if err != nil {
			t.Fatal(err)
		}
		if usual.U < 1.2*bent.U {
			t.Errorf("bent %+.0f: u is %.5f with the width unknown, %.5f with it known", sign, usual.U, bent.U)
		}
		// What looks bent and is transparent is no tape: neither that nor thin.
		clear := View{DistanceMM: 400, Transparent: true}
		through, err := FindPitch(s, b, clear)
		if err != nil {
			t.Fatal(err)
		}
		b.BendPerIn = 0
		if plain, err := FindPitch(s, b, clear); err != nil || through.PerInch != plain.PerInch || through.U != plain.U {
			t.Errorf("transparent, bent %+.0f: %.5f ± %.5f, straight %.5f ± %.5f (%v)", sign, through.PerInch, through.U, plain.PerInch, plain.U, err)
		}
		b.BendPerIn = sign * 25.4 / 2000
		// A second ruler lay along the tape and was taken for a part of its face.
		wide, err := FindPitch(s, b, View{ThicknessMM: 0.2, DistanceMM: 400, FaceWidthIn: 50 / 25.4})
		if err != nil {
			t.Fatal(err)
		}
		if wide.PerInch != usual.PerInch || wide.U != usual.U {
			t.Errorf("bent %+.0f: a face wider than tapes are gives %.5f ± %.5f, an unknown one %.5f ± %.5f", sign, wide.PerInch, wide.U, usual.PerInch, usual.U)
		}
	}
}

// An edge that bends no farther than a straight one may be traced askew is a tape's where the
// thickness that was told is, no tape's where it is a rigid ruler's, and else one as likely
// as the other.
func TestWhatMayBeNoTape(t *testing.T) {
	s := calib.Scale{A: 0, B: 0.01, Half: 1, ResidualIn: 1e-6, Lo: 0, Hi: 800, Marks: make([]calib.Mark, 60)}
	b := syntheticRow(rand.New(rand.NewPCG(8, 9)), 80, 10, 0)
	b.BendPerIn = 25.4 / 2000
	const wide, whole = 18 / 25.4, 0.0045
	for _, c := range []struct{ thickMM, share float64 }{{0.4, 1}, {2.5, 0}, {0, 0.5}} {
		v := View{ThicknessMM: c.thickMM, DistanceMM: 400, FaceWidthIn: wide}
		b.BendPlain = false
		got, err := FindPitch(s, b, v)
		if err != nil {
			t.Fatal(err)
		}
		straight := b
		straight.BendPerIn = 0
		flat, err := FindPitch(s, straight, v)
		if err != nil {
			t.Fatal(err)
		}
		if r, want := got.Read/flat.Read, 1/(1+c.share*whole); math.Abs(r-want) > 1e-6 {
			t.Errorf("%g mm told: corrected by %.6f, want %.6f", c.thickMM, r, want)
		}
		if got.softTape != (c.share == 1) {
			t.Errorf("%g mm told: taken for a tape: %v", c.thickMM, got.softTape)
		}
		// Half of the correction, either way, is the standard deviation of a coin's toss.
		if open := math.Sqrt(got.ReadRelU*got.ReadRelU - flat.ReadRelU*flat.ReadRelU); c.share == 0.5 && math.Abs(open/(whole/2)-1) > 0.05 {
			t.Errorf("not told: open to %.5f, want %.5f", open, whole/2)
		}
		b.BendPlain = true
		plain, err := FindPitch(s, b, v)
		if err != nil {
			t.Fatal(err)
		}
		if r := plain.Read / flat.Read; math.Abs(r-1/(1+whole)) > 1e-6 || !plain.softTape {
			t.Errorf("%g mm told, plainly bent: corrected by %.6f, a tape: %v", c.thickMM, r, plain.softTape)
		}
	}
}

func measured(perInch, relU float64, lift ...float64) Pitch {
	if lift == nil {
		lift = []float64{0}
	}
	return Pitch{PerInch: perInch, Read: perInch, ReadRelU: relU, Lift: lift}
}

// 10 and 40/10 (10.16 per inch) differ by 1.6 %: told apart at 0.2 %, not at 1.5 %.
func TestSizeTellsTenFromForty(t *testing.T) {
	sizes := trade.Sizes(trade.PartReed)
	for _, c := range []struct {
		perInch float64
		want    string
	}{{10, "10"}, {10.16, "40/10"}, {12.5, "12.5"}, {12.7, "50/10"}} {
		if _, err := trade.ParseSize(c.want); err != nil {
			t.Fatal(err)
		}
		got := FindSize(measured(c.perInch, 0.001), sizes, 0.99)
		known := false
		for _, s := range sizes {
			known = known || s.Label == c.want
		}
		if !known {
			continue
		}
		if got[0].Label != c.want || got[0].P < 0.9 {
			t.Errorf("%.2f ± 0.1 %%: %s with %.3f, want %s", c.perInch, got[0].Label, got[0].P, c.want)
		}
	}
	if got := FindSize(measured(10.08, 0.015), sizes, 0.99); got[0].P > 0.9 {
		t.Errorf("10.08 ± 1.5 %%: %s with %.3f, want doubt", got[0].Label, got[0].P)
	}
}

// A photo half misread, by Bayes' rule by hand: one made size, exactly met, against
// readings of it and of anything.
func TestSizeMisread(t *testing.T) {
	left := func(perInch, readRight float64) float64 {
		rest := 1.0
		for _, c := range FindSize(measured(perInch, 0.001), trade.Sizes(trade.PartReed), readRight) {
			rest -= c.P
		}
		return rest
	}
	for _, q := range []float64{0, 0.5, 0.9, 1} {
		// On a made size the density of a misreading is that of a right one, halved
		// by the share that falls elsewhere (the spread of which adds next to nothing).
		if want, got := (1-q)*misreadOnMade/(q+(1-q)*misreadOnMade), left(10, q); math.Abs(got-want) > 0.03 {
			t.Errorf("on a made size, read right with %v: misread with %.3f, want %.3f", q, got, want)
		}
		// Off all sizes: 8 % of parts spread between them against what is misread.
		_, width := trade.Between(trade.Sizes(trade.PartReed), offCoarsest, offFinest)
		right, wrong := q*noneShare/width, (1-q)*(1-misreadOnMade)/misreadSpread
		if want, got := wrong/(right+wrong), left(9.69, q); math.Abs(got-want) > 0.01 {
			t.Errorf("on no made size, read right with %v: misread with %.3f, want %.3f", q, got, want)
		}
	}
}

// Of two sizes that the makers' tolerances hide from each other neither is ever
// beyond doubt, however well the pitch was read.
func TestSizeHidden(t *testing.T) {
	for perInch := 13.85; perInch < 14.1; perInch += 0.002 {
		if got := FindSize(measured(perInch, 0.0001), trade.Sizes(trade.PartReed), 1); got[0].P >= 0.95 && got[0].Label != None {
			t.Errorf("%.3f per inch: %s with %.3f", perInch, got[0].Label, got[0].P)
		}
	}
}

// Of two sizes that the pitch does not tell apart the commoner is likelier, but how common
// sizes are is a stated prior: near certainty takes a pitch that tells them apart. What
// stands second is what it is told from.
func TestSizeNotSureByCommonnessAlone(t *testing.T) {
	sizes := trade.Sizes(trade.PartReed)
	for _, c := range []struct {
		perInch, relU float64
		want, next    string
		sure          bool
	}{
		{12.64, 0.0055, "50/10", "12.5", false}, {12.70, 0.001, "50/10", None, true},
		{10.02, 0.009, "10", "40/10", false}, {10, 0.001, "10", None, true},
	} {
		got := FindSize(measured(c.perInch, c.relU), sizes, 1)
		if got[0].Label != c.want || got[1].Label != c.next || got[0].P > 0.94 != c.sure {
			t.Errorf("%.2f ± %.2f %%: %s with %.3f, then %s with %.3f; want %s, then %s, sure %v",
				c.perInch, 100*c.relU, got[0].Label, got[0].P, got[1].Label, got[1].P, c.want, c.next, c.sure)
		}
	}
}

// Bands of 5 an inch are a reed of 5 or a heddle of 10, both of which are made: the
// sizes say nothing. Of 7 an inch the heddle is not made, of 6.25 the reed is not.
func TestSizesTellTheKind(t *testing.T) {
	reeds, heddles := trade.Sizes(trade.PartReed), trade.Sizes(trade.PartRigidHeddle)
	for _, c := range []struct{ perInch, least, most float64 }{{5, 0.6, 0.8}, {7, 0.97, 1}, {6.25, 0, 0.1}} {
		if got := OfKind(measured(c.perInch, 0.001), reeds, 0.7, OtherKind{heddles, 2}); got < c.least || got > c.most {
			t.Errorf("%v bands an inch, a reed's by 0.7: %.3f, want %v to %v", c.perInch, got, c.least, c.most)
		}
	}
}

// What is likely to be of another kind is no sure size.
func TestSizeIsNoSurerThanItsKind(t *testing.T) {
	choices := FindSize(measured(10, 0.001), trade.Sizes(trade.PartReed), 0.99)
	AtMost(choices, 0.6)
	var sum float64
	for _, c := range choices {
		sum += c.P
	}
	if math.Abs(sum-0.6) > 1e-9 || choices[0].Label != "10" {
		t.Errorf("at most 0.6: %.3f in all, %s first", sum, choices[0].Label)
	}
	was := choices[0].P
	if AtMost(choices, 0.9); choices[0].P != was {
		t.Errorf("at most 0.9 made %.3f of %.3f", choices[0].P, was)
	}
}

// A pitch between sizes is none, which is an answer, too.
func TestSizeNone(t *testing.T) {
	got := FindSize(measured(9.69, 0.001), trade.Sizes(trade.PartReed), 0.99)
	if got[0].Label != None || got[0].P < 0.9 {
		t.Errorf("9.69 per inch: %s with %.3f, want none", got[0].Label, got[0].P)
	}
	// What is nearer than half a percent is that size; from there on it is not.
	for perInch, want := range map[float64]string{12: "12", 12.05: "12", 12.13: None, 11.87: None} {
		if got := FindSize(measured(perInch, 0.0004), trade.Sizes(trade.PartReed), 0.99); got[0].Label != want || got[0].P < 0.9 {
			t.Errorf("%v per inch: %s with %.3f, want %s", perInch, got[0].Label, got[0].P, want)
		}
	}
}

// 18.17 per inch read to 0.03 % is no 18, but where from near the camera another plane
// of the wires was followed than their front: 1 % off is 3 mm of depth at 30 cm.
func TestSizeHeedsAWrongFront(t *testing.T) {
	none := func(perInch, distanceMM float64) float64 {
		p := measured(perInch, 0.0003)
		p.FrontRelU = wrongFrontMM / distanceMM
		got := FindSize(p, trade.Sizes(trade.PartReed), 0.995)
		if got[0].Label != None {
			return 0
		}
		return got[0].P
	}
	if p := none(18.17, 300); p == 0 || p > 0.95 {
		t.Errorf("18.17 from 30 cm: of no made size with %.3f", p)
	}
	if p := none(18.17, 900); p < 0.95 {
		t.Errorf("18.17 from 90 cm: of no made size with %.3f", p)
	}
	if p := none(18.5, 300); p < 0.95 {
		t.Errorf("18.5 from 30 cm, 2.8 %% off a made size: of no made size with %.3f", p)
	}
}

// Of two rulers the told thickness may be that of the other one: the lift is then
// told, or any, evenly.
func TestTwoRulersLeaveTheThicknessOpen(t *testing.T) {
	one := thicknesses(View{ThicknessMM: 2}, 10)
	if len(one) != 1 || one[0] != 2 {
		t.Fatalf("told 2 mm: %v", one)
	}
	any, two := thicknesses(View{}, 10), thicknesses(View{ThicknessMM: 2, TwoRulers: true}, 10)
	n := 0
	for _, mm := range two {
		if mm == 2 {
			n++
		}
	}
	if len(two) != 20 || n != 10 {
		t.Errorf("of two rulers, told 2 mm: %v", two)
	}
	for i, mm := range any {
		if two[i] != mm {
			t.Errorf("quantile %d: %g mm, not told %g mm", i, two[i], mm)
		}
	}
}

// A ruler that bends is no thick one, whatever was told.
func TestATapeIsNotThick(t *testing.T) {
	if got := thicknesses(View{ThicknessMM: 0.4, softTape: true}, 10); len(got) != 1 {
		t.Errorf("a tape of 0.4 mm: %v", got)
	}
	v := View{ThicknessMM: 3, softTape: true}
	if got := thicknesses(v, 10); len(got) != 20 || got[0] > 0.5 || got[19] != 3 || v.toldOfAnother() == "" {
		t.Errorf("told 3 mm of a tape: %v", got)
	}
}
