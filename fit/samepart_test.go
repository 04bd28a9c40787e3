package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// takeAt is a photo of a part of perInch from a height, with the ruler t over
// the wires and a reading that is off by off.
func takeAt(perInch, heightMM, t, off float64, told float64, lines ...Line) Take {
	v := View{Focal35: 26, WidthPx: 4000, HeightPx: 3000, ThicknessMM: told}
	p := Pitch{Read: perInch * (heightMM + t) / heightMM * math.Exp(off), DistanceMM: heightMM, DistanceRelU: math.Hypot(focalKnownSpread, tiltSpread), AttitudeRelU: tiltSpread}
	p.Budget = lines
	p.ReadRelU = p.combined().U
	p.Lift = lifts(v, heightsOf(p.DistanceMM, p.DistanceRelU, 9))
	mean, sd := meanSD(p.Lift)
	p.PerInch = p.Read * math.Exp(mean)
	p.Budget = append(p.Budget, Line{RulerAbove, sd, Known, ""})
	p.expand(Component{p.ReadRelU, Known})
	return Take{p, v}
}

func bandLine(u float64) Line  { return Line{BandPlaces, u, Known, ""} }
func angleLine(u float64) Line { return Line{RulerAngle, u, Known, ""} }
func ownLine(u float64) Line   { return Line{RulerItself, u, Known, ""} }

// Two heights tell the thickness: apparent pitch over true one is D/(D-t), D the camera's
// height above the wires, t more than that above the ruler's face.
func TestSamePartTellsThickness(t *testing.T) {
	near, far := takeAt(10, 150, 2.2, 0, 0, angleLine(2e-4)), takeAt(10, 600, 2.2, 0, 0, angleLine(2e-4))
	p, acc, err := SamePart([]Take{near, far})
	if err != nil {
		t.Fatal(err)
	}
	close(t, "thickness", acc.ThicknessMM, 2.2, 0.12)
	close(t, "pitch", p.PerInch, 10, 0.004)
	if p.U > near.Pitch.U/3 || p.U > 0.8*far.Pitch.U {
		t.Errorf("u is %.4f together, %.4f and %.4f alone", p.U, near.Pitch.U, far.Pitch.U)
	}
	if !(p.Lo95 < 10 && 10 < p.Hi95) || acc.P < 0.05 {
		t.Errorf("interval %.4f to %.4f, chance %.3f", p.Lo95, p.Hi95, acc.P)
	}
	// From one height there is nothing to tell it by, however many photos.
	// (Well within what tilts do to the readings, which would tell it, too.)
	rough := takeAt(10, 150, 2.2, 0, 0, angleLine(3e-3))
	_, acc, err = SamePart([]Take{rough, rough, rough})
	if err != nil {
		t.Fatal(err)
	}
	ts := thicknesses(View{}, gridThickness)
	mean, sd := meanSD(ts)
	close(t, "thickness from one height", acc.ThicknessMM, mean, 0.02*mean)
	close(t, "its u", acc.ThicknessUMM, sd, 0.02*sd)
}

// What all photos share is not made smaller by more of them.
func TestSamePartKeepsWhatIsShared(t *testing.T) {
	const told = 1.0
	var own, angle, bands []Take
	for range 4 {
		own = append(own, takeAt(10, 400, told, 0, told, ownLine(1e-3), angleLine(1e-6)))
		angle = append(angle, takeAt(10, 400, told, 0, told, angleLine(1e-3)))
		bands = append(bands, takeAt(10, 400, told, 0, told, bandLine(1e-3)))
	}
	u := func(takes []Take) float64 {
		p, acc, err := SamePart(takes)
		if err != nil {
			t.Fatal(err)
		}
		close(t, "pitch", p.PerInch, 10, 0.001)
		close(t, "told thickness", acc.ThicknessMM, told, 1e-9)
		return p.ReadRelU
	}
	close(t, "the ruler's own error", u(own), 1e-3, 2e-6)
	close(t, "independent errors", u(angle), 1e-3/2, 2e-6)
	// Half of it shared: (1 + 3/2)/4 of the variance is left.
	close(t, "wires seen in all", u(bands), 1e-3*math.Sqrt((1+3*seenTwice)/4), 2e-6)
}

// A photo of another part is noticed.
func TestSamePartDisagreement(t *testing.T) {
	a, odd, b := takeAt(10, 300, 1, 0.0002, 1, angleLine(5e-4)), takeAt(10.16, 350, 1, 0, 1, angleLine(5e-4)), takeAt(10, 420, 1, -0.0003, 1, angleLine(5e-4))
	_, acc, err := SamePart([]Take{a, odd, b})
	if err != nil {
		t.Fatal(err)
	}
	if acc.P >= DisagreeAt || acc.DoF != 2 {
		t.Errorf("1.6 %% apart at 0.05 %%: chance %.3g with %d degrees of freedom", acc.P, acc.DoF)
	}
	if !Accordant(a, b) || Accordant(a, odd) || Accordant(odd, b) {
		t.Error("the second photo is the odd one")
	}
}

// Readings that scatter three times as much as they say are given as much
// uncertainty as their scatter asks for (Birge).
func TestSamePartWidens(t *testing.T) {
	var takes []Take
	for i, off := range []float64{3, -3, 3, -3, 3, -3, 3, -3} {
		takes = append(takes, takeAt(10, 300+10*float64(i), 0.1, off*2e-4, 0.1, angleLine(2e-4)))
	}
	p, acc, err := SamePart(takes)
	if err != nil {
		t.Fatal(err)
	}
	want := 3 * math.Sqrt(8.0/7)
	close(t, "widened", acc.Widened, want, 0.05)
	close(t, "relative u", p.U/p.PerInch, want*2e-4/math.Sqrt(8), 0.15*want*2e-4/math.Sqrt(8))
}

// Photos that do agree are said to disagree as rarely as is claimed, and the
// interval holds the truth as often.
func TestSamePartMonteCarlo(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 11))
	const rounds = 200
	low, held := 0, 0
	prior := thicknesses(View{}, 1000)
	for range rounds {
		// The thickness from its own prior, each height off by its own tilt.
		thick := prior[rng.IntN(len(prior))]
		focal := math.Exp(focalKnownSpread * rng.NormFloat64())
		own := 3e-4 * rng.NormFloat64()
		var takes []Take
		for _, d := range []float64{180, 320, 500} {
			off := own + 4e-4*rng.NormFloat64()
			k := takeAt(12, d, thick, off, 0, ownLine(3e-4), angleLine(4e-4))
			k.Pitch.DistanceMM = d * focal * math.Exp(tiltSpread*rng.NormFloat64())
			takes = append(takes, k)
		}
		p, acc, err := SamePart(takes)
		if err != nil {
			t.Fatal(err)
		}
		if acc.P < 0.05 {
			low++
		}
		if p.Lo95 <= 12 && 12 <= p.Hi95 {
			held++
		}
	}
	// Binomial: 3 sd are 0.046 either way.
	if f := float64(low) / rounds; f > 0.05+0.046 {
		t.Errorf("%.3f of the agreeing photos have a chance under 0.05", f)
	}
	close(t, "held by the interval", float64(held)/rounds, 0.95, 0.046)
}

func TestSamePartEdges(t *testing.T) {
	if _, _, err := SamePart(nil); !errors.Is(err, ErrTakes) {
		t.Errorf("no take: %v", err)
	}
	one := takeAt(10, 300, 1, 0, 0, angleLine(5e-4))
	p, acc, err := SamePart([]Take{one})
	if err != nil || p.PerInch != one.Pitch.PerInch || p.U != one.Pitch.U || acc.P != 1 || acc.DoF != 0 {
		t.Errorf("one take: %+v, %+v, %v", p, acc, err)
	}
	// Without a focal length the photos share one all the same.
	a, b := takeAt(10, 150, 2, 0, 0, angleLine(2e-4)), takeAt(10, 600, 2, 0, 0, angleLine(2e-4))
	a.View.Focal35, b.View.Focal35 = 0, 0
	if p, _, err := SamePart([]Take{a, b}); err != nil || math.Abs(p.PerInch/10-1) > 0.002 || !(p.U > 0) {
		t.Errorf("no focal length: %.4f ± %.4f, %v", p.PerInch, p.U, err)
	}
}

// A tape that bends is thin, in however many photos: its readings, off a little,
// do not make it a wooden rule.
func TestSamePartKnowsSoftTapes(t *testing.T) {
	a, b := takeAt(10, 300, 0.4, 0, 0, angleLine(8e-4)), takeAt(10, 560, 0.4, -1.5e-3, 0, angleLine(8e-4))
	_, any, err := SamePart([]Take{a, b})
	if err != nil {
		t.Fatal(err)
	}
	b.Pitch.softTape = true // it may look straight in one of them
	p, acc, err := SamePart([]Take{a, b})
	if err != nil {
		t.Fatal(err)
	}
	if any.ThicknessMM < 1 || acc.ThicknessMM > 0.5 {
		t.Errorf("a tape is taken for %.2f mm, what may be any ruler for %.2f mm", acc.ThicknessMM, any.ThicknessMM)
	}
	close(t, "pitch", p.PerInch, 10, 0.012)
}
