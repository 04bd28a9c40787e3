package calib

import (
	"context"
	"math"
	"testing"

	"dentcount/photo"
	"dentcount/scene"
)

// drawn is the brightness of a drawn photo, with its truth.
func drawn(t *testing.T, spec scene.Spec) (photo.Plane, scene.Truth) {
	t.Helper()
	img, truth, err := scene.Draw(spec)
	if err != nil {
		t.Fatal(err)
	}
	b := img.Bounds()
	p := photo.Plane{W: b.Dx(), H: b.Dy(), Pix: make([]uint8, 0, b.Dx()*b.Dy())}
	for y := range p.H {
		p.Pix = append(p.Pix, img.Y[y*img.YStride:y*img.YStride+p.W]...)
	}
	return p, truth
}

// readDrawn draws scenes with rulers of the given kinds and looks, the seeds
// from first on, and counts how many of n are read within 1 %. No unit may be
// read wrongly and be called likely.
func readDrawn(t *testing.T, first uint64, n int, kinds, looks []string) (right int) {
	t.Helper()
	r := scene.DefaultRanges()
	r.AdverseShare, r.TurnedShare = -1, -1
	r.LongSidePx = scene.Range{1500, 1700}
	r.RulerKinds, r.RulerLooks = kinds, looks
	for seed := first; seed < first+uint64(n); seed++ {
		p, truth := drawn(t, scene.Random(seed, r))
		opt := Options{}
		if truth.F35 != nil {
			opt.FocalPx = float64(*truth.F35) / 36 * float64(max(p.W, p.H))
		}
		got, found, err := FindRuler(context.Background(), p, opt)
		if err != nil {
			t.Fatal(err)
		}
		if !found {
			t.Logf("seed %d, %s %s: no ruler found", seed, truth.RulerLook, truth.Ruler)
			continue
		}
		ratio := drawnRatio(got.Scale, truth)
		switch {
		case math.Abs(ratio-1) < 0.01:
			right++
		case math.Abs(ratio-1) > 0.05 && got.UnitProbability > 0.8:
			t.Errorf("seed %d, %s %s: read %.3f times the truth as %s%d, probability %.3f",
				seed, truth.RulerLook, truth.Ruler, ratio, got.Scale.Unit, got.Scale.Divisions, got.UnitProbability)
		default:
			t.Logf("seed %d, %s %s: read %.3f times the truth, probability %.3f", seed, truth.RulerLook, truth.Ruler, ratio, got.UnitProbability)
		}
	}
	return right
}

// drawnRatio is a length on the scale between the first and the last mark of the
// drawn scale nearest to it, to the true one.
func drawnRatio(s Scale, truth scene.Truth) float64 {
	ratio, nearest := math.NaN(), math.Inf(1)
	for _, m := range truth.Marks {
		a0, d0 := s.Frame.Locate(m.First.At[0]-0.5, m.First.At[1]-0.5)
		a1, d1 := s.Frame.Locate(m.Last.At[0]-0.5, m.Last.At[1]-0.5)
		if d := math.Abs(d0) + math.Abs(d1); d < nearest {
			nearest = d
			ratio = math.Abs(s.In(a1)-s.In(a0)) / math.Abs(m.Last.Value-m.First.Value) / Unit(m.Unit).Inches()
		}
	}
	return ratio
}

func TestTransparentRulersAreReadThrough(t *testing.T) {
	if right := readDrawn(t, 903, 3, []string{"mm", "in10", "in16", "in10+mm"}, []string{"transparent"}); right < 2 {
		t.Errorf("%d of 3 transparent rulers read, want 2", right)
	}
}

// A transparent ruler whose one scale is clear without more has its other one read
// through, which tells tenths of an inch from millimetres; regression.
func TestClearTransparentRulerIsReadOnItsOtherEdge(t *testing.T) {
	r := scene.DefaultRanges()
	r.AdverseShare = 0.15
	p, truth := drawn(t, scene.Random(4501_000_574, r))
	got, found, err := FindRuler(context.Background(), p, Options{})
	if err != nil || !found {
		t.Fatalf("found %v, err %v", found, err)
	}
	if ratio := drawnRatio(got.Scale, truth); math.Abs(ratio-1) > 0.01 || got.Second == nil {
		t.Errorf("%s%d read %.3f times the truth, second scale %v", got.Scale.Unit, got.Scale.Divisions, ratio, got.Second != nil)
	}
}

// drawnFile is the brightness of the scene of a seed as its file holds it, with its truth.
func drawnFile(t *testing.T, seed uint64) (photo.Plane, scene.Truth) {
	t.Helper()
	r := scene.DefaultRanges()
	r.AdverseShare = 0.15
	spec := scene.Random(seed, r)
	img, truth, err := scene.Draw(spec)
	if err != nil {
		t.Fatal(err)
	}
	file, err := scene.Encode(spec, img)
	if err != nil {
		t.Fatal(err)
	}
	opened, err := photo.Limits{GrayOnly: true}.Decode("drawn.jpg", file)
	if err != nil {
		t.Fatal(err)
	}
	defer opened.Close()
	p, err := opened.Gray()
	if err != nil {
		t.Fatal(err)
	}
	return p, truth
}

// The edge of a black ruler on a black part is hardly seen, its white marks are;
// regression.
func TestFaintEdgeOfClearMarks(t *testing.T) {
	p, truth := drawnFile(t, 5001_000_881)
	got, found, err := FindRuler(context.Background(), p, Options{})
	if err != nil || !found {
		t.Fatalf("found %v, err %v", found, err)
	}
	if ratio := drawnRatio(got.Scale, truth); math.Abs(ratio-1) > 0.01 {
		t.Errorf("%s%d read %.3f times the truth", got.Scale.Unit, got.Scale.Divisions, ratio)
	}
}

// Of a black ruler's other edge the line is seen at which its white millimetres end; they
// tell that the marks of the first are tenths of an inch; regression.
func TestOtherEdgeIsSoughtFromTheEndsOfItsMarks(t *testing.T) {
	p, truth := drawnFile(t, 5302_000_430)
	got, found, err := FindRuler(context.Background(), p, Options{})
	if err != nil || !found {
		t.Fatalf("found %v, err %v", found, err)
	}
	if ratio := drawnRatio(got.Scale, truth); math.Abs(ratio-1) > 0.01 || got.UnitProbability < 0.95 || got.Second == nil {
		t.Errorf("%s%d read %.3f times the truth, probability %.3f, second scale %v",
			got.Scale.Unit, got.Scale.Divisions, ratio, got.UnitProbability, got.Second != nil)
	}
}

func TestTenthsOfAnInchAreToldFromMillimetres(t *testing.T) {
	if right := readDrawn(t, 950, 5, []string{"mm", "in10", "mm+mm", "in8+mm"}, []string{"white", "yellow", "tape"}); right < 3 {
		t.Errorf("%d of 5 rulers read, want 3", right)
	}
}

// How far off the marks' lean is goes with how much it scatters from mark to mark.
// The renderer's marks are square to the edge in space.
func TestLeanScattersAsItIsOff(t *testing.T) {
	r := scene.DefaultRanges()
	r.AdverseShare, r.TurnedShare = -1, -1
	r.RulerLooks = []string{"white", "yellow"}
	r.K1, r.LongSidePx = scene.Range{1e-9, 1e-9}, scene.Range{1500, 1700}
	var far, n int
	for seed := uint64(931); seed < 941; seed++ {
		spec := scene.Random(seed, r)
		p, _ := drawn(t, spec)
		got, found, err := FindRuler(context.Background(), p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if !found {
			continue
		}
		s := got.Scale
		mid := (s.Lo + s.Hi) / 2
		lean, nearest := math.NaN(), math.Inf(1)
		marks := spec.RulerMarks(0, 0)
		ax, ay := marks[len(marks)-1].XMM-marks[0].XMM, marks[len(marks)-1].YMM-marks[0].YMM
		k := 2 / math.Hypot(ax, ay) // two millimetres
		for _, m := range marks {
			x0, y0, _ := spec.Project(m.XMM, m.YMM, m.ZMM)
			x1, y1, _ := spec.Project(m.XMM-k*ay, m.YMM+k*ax, m.ZMM)
			a0, d0 := s.Frame.Locate(x0-0.5, y0-0.5)
			a1, d1 := s.Frame.Locate(x1-0.5, y1-0.5)
			if d := math.Abs(a0-mid) + math.Abs(d0); d < nearest {
				nearest, lean = d, (a1-a0)/(d1-d0)
			}
		}
		if nearest > 40 { // it is the scale on the other edge that was read
			continue
		}
		n++
		off := math.Abs(lean - s.ShearAt(mid))
		if s.ShearU <= 0 || s.ShearU > 0.02 || off > 0.03 {
			t.Errorf("seed %d: the lean is %.4f off, u %.4f", seed, off, s.ShearU)
		}
		if off > 2*math.Hypot(2*s.ShearU, 0.0009) {
			far++
		}
	}
	if n < 6 || far > 2 {
		t.Errorf("in %d of %d scenes the lean is off by more than twice its uncertainty", far, n)
	}
}

// Wires that go on past a ruler's ends are not seen between its marks: those stay what they
// are, not every second one of a finer row; regression.
func TestWiresPastTheEndsAreNotBetweenMarks(t *testing.T) {
	p, truth := drawnFile(t, 5501_000_681)
	got, found, err := FindRuler(context.Background(), p, Options{})
	if err != nil || !found {
		t.Fatalf("found %v, err %v", found, err)
	}
	if ratio := drawnRatio(got.Scale, truth); math.Abs(ratio-1) > 0.01 || got.Scale.Unit != Inch {
		t.Errorf("%s%d read %.3f times the truth", got.Scale.Unit, got.Scale.Divisions, ratio)
	}
}
