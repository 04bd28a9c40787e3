package fit

import (
	"math"
	"testing"

	"dentcount/trade"
)

// Parallax: the count per inch is high by t/(D-t); undoing it gives (D-t)/D.
func TestLiftUndoesParallax(t *testing.T) {
	v := View{ThicknessMM: 3, DistanceMM: 150}
	mean, sd := meanSD(lifts(v, 150, 0.0001))
	high := 3.0 / (150 - 3)
	if got := (1 + high) * math.Exp(mean); math.Abs(got-1) > 1e-5 {
		t.Errorf("a count high by t/(D-t) is corrected to %.6f of the true one, want 1", got)
	}
	if sd > 1e-4 {
		t.Errorf("thickness and distance are told, and the correction still scatters by %.5f", sd)
	}
}

// Not told, the thickness leaves more doubt, and less the farther the camera.
func TestLiftPriorShrinksWithDistance(t *testing.T) {
	_, near := meanSD(lifts(View{}, 150, 0.02))
	_, far := meanSD(lifts(View{}, 600, 0.02))
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
		// Off all sizes: 8 % of parts spread over ln 10 against what is misread.
		right, wrong := q*noneShare/math.Log(10), (1-q)*(1-misreadOnMade)/misreadSpread
		if want, got := wrong/(right+wrong), left(9.69, q); math.Abs(got-want) > 0.01 {
			t.Errorf("on no made size, read right with %v: misread with %.3f, want %.3f", q, got, want)
		}
	}
}

// A pitch between sizes is none, which is an answer, too.
func TestSizeNone(t *testing.T) {
	got := FindSize(measured(9.69, 0.001), trade.Sizes(trade.PartReed), 0.99)
	if got[0].Label != None || got[0].P < 0.9 {
		t.Errorf("9.69 per inch: %s with %.3f, want none", got[0].Label, got[0].P)
	}
}
