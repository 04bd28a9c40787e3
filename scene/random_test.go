package scene

import (
	"math"
	"reflect"
	"testing"
)

func TestRandomScenes(t *testing.T) {
	const n = 1500
	adverse, answers := 0, 0
	kinds, looks, rulers, labels := map[string]int{}, map[string]int{}, map[string]int{}, map[string]int{}
	for seed := range uint64(n) {
		s := Random(seed, Ranges{})
		if err := s.Check(); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if s.Case != "usual" {
			adverse++
		}
		if s.Expect != ExpectAnswer {
			continue
		}
		answers++
		p := s.Part
		kinds[string(p.Kind)]++
		labels[p.Label]++
		rulers[s.Rulers[0].Kind]++
		looks[s.Rulers[0].Look]++
		if p.Label != "none" {
			for _, z := range Sizes(p.Kind) {
				if z.Label == p.Label && math.Abs(p.DentsPerInch/z.DentsPerInch-1) > 0.00301 {
					t.Errorf("seed %d: a %s with %g dents per inch", seed, p.Label, p.DentsPerInch)
				}
			}
		}
		if r := s.Rulers[0]; r.ThicknessMM < 0.15 || r.ThicknessMM > 3.2 || math.Abs(math.Remainder(r.AngleDeg, 180)) > 3.5 {
			t.Errorf("seed %d: ruler %g mm thick at %g°", seed, r.ThicknessMM, r.AngleDeg)
		}
		c := s.Camera
		if c.DistanceMM < 130 || c.DistanceMM > 900 || math.Hypot(c.TiltDeg[0], c.TiltDeg[1]) > 14.001 || math.Abs(c.K1) > 0.005 {
			t.Errorf("seed %d: camera %+v", seed, c)
		}
		if f := s.File.F35; f != 0 && math.Abs(c.F35/float64(f)-1) > 0.0121 {
			t.Errorf("seed %d: EXIF says %d mm of %g", seed, f, c.F35)
		}
	}
	if share := float64(adverse) / n; math.Abs(share-0.15) > 0.04 {
		t.Errorf("%.3f of the scenes are adverse, want 0.15", share)
	}
	if len(kinds) != 2 || len(rulers) != len(DefaultRanges().RulerKinds) || len(looks) != len(DefaultRanges().RulerLooks) {
		t.Errorf("not everything turns up: %v %v %v", kinds, rulers, looks)
	}
	for _, kind := range []PartKind{Reed, RigidHeddle} {
		for _, z := range Sizes(kind) {
			if labels[z.Label] == 0 {
				t.Errorf("no %s among %d scenes", z.Label, n)
			}
		}
	}
	t.Logf("%d to be answered of %d: %v\n%v\n%v\n%v", answers, n, kinds, looks, rulers, labels)
}

func TestRandomIsAFunction(t *testing.T) {
	for seed := range uint64(20) {
		if !reflect.DeepEqual(Random(seed, Ranges{}), Random(seed, Ranges{})) {
			t.Fatalf("seed %d gives two scenes", seed)
		}
	}
}

// A scene to be answered shows enough of the ruler on enough dents, by its
// own Truth; checked on scenes as they come, adverse ones included.
func TestAnswerableScenesAreReadable(t *testing.T) {
	for seed := range uint64(250) {
		s := Random(9000+seed, Ranges{})
		truth, err := TruthOf(s)
		if err != nil {
			t.Fatal(err)
		}
		if truth.Expect != ExpectAnswer {
			continue
		}
		if truth.RulerSpanIn < 1.69 || truth.VisibleDents < 8 || *truth.PxPerDent < 3.6 || len(truth.Marks) == 0 {
			t.Errorf("seed %d (%s): %.2f in, %d dents of %.1f px, %d scales", s.Seed, s.Case, truth.RulerSpanIn, truth.VisibleDents, *truth.PxPerDent, len(truth.Marks))
		}
		if b := s.Sensor.BlurPx; b > 0.3 && b > 0.25**truth.PxPerDent && b > 0.41 {
			t.Errorf("seed %d (%s): blur %.2f px on dents of %.2f px", s.Seed, s.Case, b, *truth.PxPerDent)
		}
	}
}

func TestRangesAreKept(t *testing.T) {
	o := Ranges{
		AdverseShare: -1, HeddleShare: -1, OffShare: -1, MetricShare: 1, F35Share: -1, TurnedShare: -1,
		Labels: []string{"40/10"}, RulerKinds: []string{"mm"}, RulerLooks: []string{"wood"},
		TiltDeg: Range{0, 1e-9}, RulerThicknessMM: Range{2.5, 2.5}, LongSidePx: Range{1500, 1500}, BlurPx: Range{0.5, 0.5},
		YarnShare: -1, MissingShare: -1, BentShare: -1, RustShare: -1, Tables: []string{"plain"}, SizeTolerance: -1,
	}
	for seed := range uint64(40) {
		s := Random(seed, o)
		if s.Case != "usual" || s.Part.Kind != Reed || s.Part.Label != "40/10" || s.Rulers[0].Kind != "mm" || s.Rulers[0].Look != "wood" ||
			s.Rulers[0].ThicknessMM != 2.5 || max(s.Width, s.Height) != 1500 || s.File.F35 != 0 || s.File.Orientation != 1 ||
			len(s.Strands)+len(s.Part.Missing)+len(s.Part.Bends) != 0 || s.Part.Finish.Rust != 0 || s.Table.Pattern != "plain" ||
			math.Abs(s.Part.DentsPerInch-10.16) > 1e-12 || s.Camera.TiltDeg != [2]float64{} || s.Sensor.BlurPx > 0.5 {
			t.Fatalf("seed %d does not keep to its ranges: %+v", seed, s)
		}
	}
}

// A camera that leans brings some of the wires nearer than was set.
func TestTooFineFromAslant(t *testing.T) {
	for seed := range uint64(40) {
		s := Random(seed, Ranges{AdverseShare: 1, Cases: []string{"moire"}, TiltDeg: Range{15, 20}})
		truth, err := TruthOf(s)
		if err != nil || s.Expect == ExpectAnswer || *truth.PxPerDent >= 3 {
			t.Errorf("seed %d: %v, %s with %.2f px a dent", seed, err, s.Expect, *truth.PxPerDent)
		}
	}
}

// Each case shows what it says.
func TestCases(t *testing.T) {
	if len(CaseNames()) < 15 || CaseNames()[0] != "usual" || CaseAbout("no such case") != "" || CaseAbout("moire") == "" {
		t.Fatalf("cases: %v", CaseNames())
	}
	for _, name := range CaseNames()[1:] {
		for seed := range uint64(12) {
			s := Random(seed, Ranges{AdverseShare: 1, Cases: []string{name}})
			truth, err := TruthOf(s)
			if err != nil {
				t.Fatalf("%s, seed %d: %v", name, seed, err)
			}
			if truth.Case != name || truth.Expect != CaseExpect(name) {
				t.Errorf("%s, seed %d: case %q, expect %q", name, seed, truth.Case, truth.Expect)
			}
			ok := true
			switch name {
			case "moire", "few-px":
				ok = *truth.PxPerDent < 3
			case "hard-blur":
				period := *truth.PxPerDent
				if s.Part.Kind == RigidHeddle {
					period *= 2
				}
				// What is left of a sine of that period after the blur.
				ok = math.Exp(-2*math.Pi*math.Pi*math.Pow(s.Sensor.BlurPx/period, 2)) < 0.01
			case "ruler-sliver":
				ok = truth.RulerSpanIn < 1
			case "no-ruler", "nothing":
				ok = len(s.Rulers) == 0 && len(truth.Marks) == 0
			case "two-rulers":
				ok = len(s.Rulers) == 2
			case "glare", "glare-all":
				ok = len(s.Sensor.Glare) == 1
			case "hands":
				ok = len(s.Strands) > 0 && s.Strands[len(s.Strands)-1].Kind == "finger"
			case "ruler-only", "corduroy", "board":
				ok = truth.DentsPerInch == nil && truth.PxPerDent == nil && len(truth.Marks) > 0
			}
			if !ok {
				t.Errorf("%s, seed %d does not show it: %+v", name, seed, truth)
			}
		}
	}
}

// A reflection that hides the whole scale lies over a bent tape, too.
func TestGlareOverTapes(t *testing.T) {
	for seed := range uint64(60) {
		s := Random(seed, Ranges{AdverseShare: 1, Cases: []string{"glare-all"}, RulerLooks: []string{"soft-tape"}})
		if !coversScale(s) {
			t.Errorf("seed %d: marks are left clear of %+v", seed, s.Sensor.Glare)
		}
	}
}

// coversScale says whether the reflection lies over every mark in the picture.
func coversScale(s Spec) bool {
	g := s.Sensor.Glare[0]
	sn, cs := math.Sincos(g.AngleDeg * math.Pi / 180)
	for _, m := range s.RulerMarks(0, 0) {
		px, py, _ := s.Project(m.XMM, m.YMM, m.ZMM)
		if dx, dy := px-g.X, py-g.Y; s.inFrame(px, py) && math.Hypot((dx*cs+dy*sn)/g.RX, (dy*cs-dx*sn)/g.RY) > 1.2 {
			return false
		}
	}
	return true
}

// Where nothing readable is left to choose, the scene says so.
func TestNothingReadableToChoose(t *testing.T) {
	s := Random(1, Ranges{AdverseShare: -1, MinSpanIn: 500})
	if s.Expect != ExpectRefuseOrUnsure {
		t.Errorf("no photo shows 500 in of ruler, yet expect is %q", s.Expect)
	}
}

// Off sizes are 1 % from every whole and half count and every 5 in 10 cm.
func TestOffSizesAreNobodys(t *testing.T) {
	rng := stream(1, 1)
	for range 500 {
		d := offSize(rng, 4, 25)
		for n := 1; n <= 60; n++ {
			for _, made := range []float64{float64(n) / 2, float64(5*n) * 25.4 / 100} {
				if math.Abs(d/made-1) < 0.0099 {
					t.Fatalf("%g is nearly %g", d, made)
				}
			}
		}
	}
}
