package measure

import (
	"bytes"
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dentcount/photo"
	"dentcount/scene"
)

// longReed is a reed of 10 dents per inch and 20 inches of sley width with a tape
// along it, drawn as one of our own scenes; its geometry is exact.
func longReed(figures bool) scene.Spec {
	const bands = 201
	p := scene.Part{
		Kind: scene.Reed, Label: "10", System: "inch", DentsPerInch: 10,
		X0MM: -100 * 2.54, Bands: bands, YLowMM: 12, YHighMM: 95, DepthMM: 3, WireFraction: 0.42,
		Finish: scene.Finish{Colour: scene.RGB{0.6, 0.6, 0.62}, Varies: 0.05, Gloss: 0.15, RoughX: 0.3, RoughY: 0.5, GapAO: 0.5, Texture: "plain"},
		Baulk:  scene.Baulk{WidthMM: 12, AboveMM: 1, Colour: scene.RGB{0.35, 0.25, 0.15}, Texture: "plain"},
		Caps:   scene.Caps{Low: true, High: true, WidthMM: 9, Colour: scene.RGB{0.5, 0.45, 0.4}},
	}
	sc := scene.Scale{Unit: "in", Divisions: 8, ZeroMM: -3*25.4 + 8, First: 3, Last: 30, LengthsMM: []float64{7, 5.2, 4, 3}, WidthMM: 0.25, UnitWidthMM: 0.3, DigitMM: 4, DigitAtMM: 7.6, DigitEvery: 1, HighEdge: true}
	if !figures {
		sc.DigitMM = 0
	}
	r := scene.Ruler{
		Kind: "in8", Look: "white tape", XMM: 0, YMM: -22, MidMM: 350, LengthMM: 700, WidthMM: 20, ThicknessMM: 0.3,
		Face: scene.RGB{0.75, 0.75, 0.7}, Side: scene.RGB{0.3, 0.3, 0.3}, Ink: scene.RGB{0.03, 0.03, 0.03}, Texture: "plain",
		Scales: []scene.Scale{sc},
	}
	return scene.Spec{
		Seed: 3, Case: "usual", Expect: scene.ExpectAnswer, Width: 1800, Height: 1000, Part: p,
		Table:  scene.Table{BelowMM: 5, Pattern: "speckle", A: scene.RGB{0.2, 0.22, 0.25}, B: scene.RGB{0.25, 0.27, 0.3}, ScaleMM: 3, Shadow: 0.3},
		Rulers: []scene.Ruler{r},
		Light:  scene.Light{SlopeX: 0.2, SlopeY: 0.4, Ambient: 0.5},
		Camera: scene.Camera{F35: 27, Convention: "width", DistanceMM: 270, AimYMM: 25},
		Sensor: scene.Sensor{BlurPx: 0.6, Exposure: 1, ReadNoise: 0.004, Fill: 1},
		File:   scene.File{Orientation: 1, JPEGQuality: 92, F35: 27},
	}
}

// shotOf is the scene from a camera of its own: aimed elsewhere along the reed,
// tilted and turned.
func shotOf(t *testing.T, s scene.Spec, name string, aimX, tiltX, tiltY, roll float64) (*photo.Photo, scene.Spec) {
	t.Helper()
	s.Camera.AimXMM, s.Camera.TiltDeg, s.Camera.RollDeg = aimX, [2]float64{tiltX, tiltY}, roll
	jpeg, _, err := scene.Photo(s)
	if err != nil {
		t.Fatal(err)
	}
	p, err := photo.Read(name, bytes.NewReader(jpeg))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	if dir := os.Getenv("DENTCOUNT_LOOK"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "join-"+name), jpeg, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return p, s
}

// TestJoinedLengthTruth photographs one reed in two and in three overlapping
// shots, each through a camera of its own, and measures it over all.
func TestJoinedLengthTruth(t *testing.T) {
	s := longReed(true)
	a, _ := shotOf(t, s, "a.jpg", -130, 1.5, -1, 1)
	b, _ := shotOf(t, s, "b.jpg", 125, -2, 1.2, 183) // the camera turned round
	truth := map[What]float64{SleyWidth: 20, ReedLength: (202*2.54 + 2*9) / 25.4}
	for what, want := range truth {
		for _, shots := range [][]*photo.Photo{{a, b}, {b, a}} {
			r, err := JoinedLength(context.Background(), shots, nil, LengthOptions{What: what})
			if err != nil {
				t.Fatal(err)
			}
			if r.Status != Answered || r.Length == nil {
				t.Errorf("%s: %s %s %+v", what, r.Status, r.Reason, r.Joined)
				continue
			}
			if e := r.Length.In - want; math.Abs(e) > goalOf(want) || math.Abs(e) > 3*r.Length.U {
				t.Errorf("%s: %.3f ± %.3f in, it is %.3f", what, r.Length.In, r.Length.U, want)
			}
			t.Logf("%s: %.4f ± %.4f in, it is %.4f; %+v", what, r.Length.In, r.Length.U, want, r.Joined)
			if len(r.Joined) != 2 || r.Joined[1].By != "face" {
				t.Errorf("joined %+v", r.Joined)
			}
		}
	}
}

// A tape without figures is the same from inch to inch: the shots are not put
// together, unless a person says which inch is which.
func TestJoinedLengthOfABareTape(t *testing.T) {
	s := longReed(false)
	a, sa := shotOf(t, s, "a.jpg", -130, 1.5, -1, 1)
	b, sb := shotOf(t, s, "b.jpg", 125, -2, 1.2, 3)
	shots := []*photo.Photo{a, b}
	r, err := JoinedLength(context.Background(), shots, nil, LengthOptions{What: SleyWidth})
	if err != nil {
		t.Fatal(err)
	}
	if r.Status != Refused || r.Length != nil || !strings.Contains(r.Advice, "--at") {
		t.Errorf("a tape without figures: %s %q %q, %+v", r.Status, r.Reason, r.Advice, r.Joined)
	}
	mark := func(shot int, s scene.Spec, value float64) TapeNumber {
		for _, m := range s.RulerMarks(0, 0) {
			if x, y, ok := s.Project(m.XMM, m.YMM, m.ZMM); m.Value == value && ok {
				return TapeNumber{shot, Point{x, y}, int(value)}
			}
		}
		t.Fatalf("no mark %g", value)
		return TapeNumber{}
	}
	// with figures, too, where the shots share nothing of the tape
	far := longReed(true)
	left, _ := shotOf(t, far, "left.jpg", -170, 1.5, -1, 1)
	right, _ := shotOf(t, far, "right.jpg", 190, -2, 1.2, 3)
	r, err = JoinedLength(context.Background(), []*photo.Photo{left, right}, nil, LengthOptions{What: SleyWidth})
	if err != nil || r.Status != Refused || r.Length != nil || !strings.Contains(r.Reason, "cannot be put together") {
		t.Errorf("shots that share nothing: %s %+v %v", r.Status, r.Joined, err)
	}
	n := []TapeNumber{mark(0, sa, 9), mark(0, sa, 13), mark(1, sb, 17)}
	r, err = JoinedLength(context.Background(), shots, n, LengthOptions{What: SleyWidth})
	if err != nil {
		t.Fatal(err)
	}
	if r.Length == nil || math.Abs(r.Length.In-20) > goalOf(20) || r.Joined[1].By != "numbers" {
		t.Errorf("by numbers: %s %s %+v %+v", r.Status, r.Reason, r.Length, r.Joined)
	}
	// numbers that the marks contradict, and one that is too few
	wrong := append([]TapeNumber(nil), n...)
	wrong[1].Number++
	for name, ns := range map[string][]TapeNumber{"wrong": wrong, "one each": {n[0], n[2]}, "none for b": n[:2], "no such photo": append(n[:3:3], TapeNumber{Shot: 5})} {
		if _, err := JoinedLength(context.Background(), shots, ns, LengthOptions{What: SleyWidth}); !errors.Is(err, ErrLengthOptions) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
