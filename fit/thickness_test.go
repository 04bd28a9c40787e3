package fit

import (
	"math"
	"testing"

	"dentcount/vision"
)

// stripOf is a strip of px ± u where a mm of height is perMM px.
func stripOf(px, u, perMM float64) *vision.SideFace {
	side := &vision.SideFace{Down: []vision.Down{{LnFocal: -0.2, PxPerMM: perMM, U: 0.02}, {LnFocal: 0.8, PxPerMM: perMM, U: 0.02}}, FocalPx: 3000}
	for i := range 100 {
		z := (float64(i)*vision.SideFaceStep - px) / u
		side.LogLik = append(side.LogLik, math.Max(-z*z/2, -600))
	}
	return side
}

func liftOf(v View) (thicknessMM, sdMM float64) {
	const h = 300.0
	mean, sd := meanSD(lifts(v, heightsOf(h, 1e-4, 9)))
	return -mean * h, sd * h
}

// A strip tells the thickness, as far as it may be something else (sideOther):
// 2 px where a mm is one; and a second strip in another photo more.
func TestSideFaceNarrowsThickness(t *testing.T) {
	v := View{WidthPx: 4000, HeightPx: 3000}
	prior, priorSD := liftOf(v)
	v.Side = stripOf(2, 0.1, 1)
	got, sd := liftOf(v)
	if math.Abs(got-2) > 0.1 || sd > 0.6*priorSD {
		t.Errorf("a strip of 2 mm: %.2f ± %.2f mm, prior %.2f ± %.2f", got, sd, prior, priorSD)
	}
	// What fits no thickness is something else: 18 px where a ruler of 5 mm shows 5.
	v.Side = stripOf(18, 0.1, 1)
	if got, sd := liftOf(v); math.Abs(got-prior) > 0.05*prior || math.Abs(sd-priorSD) > 0.05*priorSD {
		t.Errorf("a strip that fits no ruler: %.2f ± %.2f mm, prior %.2f ± %.2f", got, sd, prior, priorSD)
	}
	// What was told stands, where the strip looks like it and where it is seen badly.
	for _, u := range []float64{0.1, 1} {
		v.Side, v.ThicknessMM = stripOf(2, u, 1), 1.8
		if got, sd := liftOf(v); math.Abs(got-1.8) > 0.01 || sd > 0.01 {
			t.Errorf("1.8 mm was told: %.3f ± %.3f mm", got, sd)
		}
	}
}

// A told thickness that the strip speaks against may be another ruler's: it is believed
// mostly, but not nearly certainly, and the budget says so. It is the same where the
// distance was told, too.
func TestSideFaceAgainstWhatWasTold(t *testing.T) {
	v := View{WidthPx: 4000, HeightPx: 3000, ThicknessMM: 1, Side: stripOf(2, 0.1, 1)}
	for _, v.DistanceMM = range []float64{0, 300} {
		at := lifts(v, heightsOf(300, 1e-4, 9))
		told, other := 0, 0
		for _, x := range at {
			switch mm := -x * 300; {
			case math.Abs(mm-1) < 0.01:
				told++
			case math.Abs(mm-2) < 0.2:
				other++
			}
		}
		if share := float64(told) / float64(len(at)); share < 0.6 || share > 0.95 || other < told/20 {
			t.Errorf("%.0f mm told: %d of %d values are of the told thickness, %d of the one that is seen", v.DistanceMM, told, len(at), other)
		}
	}
	p := takeAt(10, 300, 1, 0, 0, angleLine(3e-4))
	p.View.ThicknessMM, p.View.Side = 1, stripOf(2, 0.1, 1)
	if !p.View.sideSpeaksAgainst(heightsOf(300, 0.02, 9)) {
		t.Error("nothing said against it")
	}
	if p.View.TwoRulers = true; p.View.sideSpeaksAgainst(heightsOf(300, 0.02, 9)) {
		t.Error("said twice")
	}
}

// A told thickness of which the strip shows how large it looks tells the camera's
// height, where no EXIF tells the lens: the longer the lens, the narrower the strip.
func TestSideFaceTellsTheHeight(t *testing.T) {
	v := View{WidthPx: 4000, HeightPx: 3000, ThicknessMM: 3}
	far := heights{mm: 300, relU: 0.2, own: 0.2}
	for _, z := range normalQuantiles(27) {
		far.ln = append(far.ln, 0.2*z)
	}
	_, blind := meanSD(lifts(v, far))
	v.Side = stripOf(3, 0.1, 1)
	base := math.Log(FocalPx(focalMedian, v.WidthPx, v.HeightPx) / v.Side.FocalPx)
	v.Side.Down = []vision.Down{{LnFocal: base - 0.5, PxPerMM: 1.65, U: 0.02}, {LnFocal: base, PxPerMM: 1, U: 0.02}, {LnFocal: base + 0.5, PxPerMM: 0.6, U: 0.02}}
	mean, seen := meanSD(lifts(v, far))
	if seen > 0.6*blind || math.Abs(mean/math.Log(Undo(3, 300))-1) > 0.03 {
		t.Errorf("3 mm that look like 3 from 300 mm: lift %.5f ± %.5f, want %.5f; without the strip ± %.5f", mean, seen, math.Log(Undo(3, 300)), blind)
	}
	v.DistanceMM = 300
	if _, told := meanSD(lifts(v, heightsOf(300, 0.02, 9))); told > 0.1*blind+2e-4 {
		t.Errorf("the distance was told, and the lift is ± %.5f", told)
	}
}

// Photos from one height tell no thickness by their readings; a side face in one
// of them tells it for all.
func TestSamePartHeedsSideFaces(t *testing.T) {
	a, b := takeAt(10, 300, 2, 0, 0, angleLine(3e-4)), takeAt(10, 300, 2, 0, 0, angleLine(3e-4))
	_, blind, err := SamePart([]Take{a, b})
	if err != nil {
		t.Fatal(err)
	}
	b.View.Side = stripOf(2, 0.1, 1)
	p, acc, err := SamePart([]Take{a, b})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(acc.ThicknessMM-2) > 0.12 || acc.ThicknessUMM > 0.6*blind.ThicknessUMM {
		t.Errorf("thickness %.2f ± %.2f mm, without the side face %.2f ± %.2f", acc.ThicknessMM, acc.ThicknessUMM, blind.ThicknessMM, blind.ThicknessUMM)
	}
	close(t, "pitch", p.PerInch, 10, 0.005)
}
