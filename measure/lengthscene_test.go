package measure

import (
	"context"
	"math"
	"testing"

	"dentcount/scene"
)

// TestReedHeightInAScene lays the tape along the wires, over both baulks, of a
// drawn reed whose geometry is exact: 83 mm of wires and two baulks of 12 mm.
func TestReedHeightInAScene(t *testing.T) {
	s := longReed(true)
	s.Rulers[0].AngleDeg, s.Rulers[0].XMM, s.Rulers[0].YMM = 90, 10, 53
	s.Rulers[0].BaseMM = 1 // on the baulks
	s.Camera.AimYMM, s.Camera.DistanceMM = 53, 230
	s.Width, s.Height = 1600, 1400
	p, _ := shotOf(t, s, "height.jpg", 0, 1, -1, 1)
	above := 0.3
	r, err := Length(context.Background(), p, LengthOptions{What: ReedHeight, MarksAboveMM: &above})
	if err != nil {
		t.Fatal(err)
	}
	want := (83 + 2*12) / 25.4
	if r.Length == nil || math.Abs(r.Length.In-want) > goalOf(want) {
		t.Errorf("%s %s %+v, it is %.3f", r.Status, r.Reason, r.Length, want)
	}
}

// TestHeddleWidthInAScene measures a drawn rigid heddle from the outer edge of
// its first slot to that of its last.
func TestHeddleWidthInAScene(t *testing.T) {
	s := longReed(true)
	p := &s.Part
	p.Kind, p.Label, p.DentsPerInch = scene.RigidHeddle, "10", 10
	p.X0MM, p.Bands = -50*2.54, 101 // slots at both ends
	p.SlotFraction, p.HoleFraction, p.HoleLengthMM, p.HoleYMM = 0.4, 0.36, 9, 53
	p.Finish.Texture, p.Finish.Colour = "plain", scene.RGB{0.7, 0.6, 0.45}
	s.Camera.DistanceMM = 280
	ph, _ := shotOf(t, s, "heddle.jpg", 0, 1, -1, 1)
	above := 0.3
	r, err := Length(context.Background(), ph, LengthOptions{What: HeddleWidth, MarksAboveMM: &above})
	if err != nil {
		t.Fatal(err)
	}
	want := (100*2.54 + 0.4*2.54) / 25.4
	if r.Length == nil || math.Abs(r.Length.In-want) > goalOf(want) {
		t.Errorf("%s %s %+v, it is %.3f; %d slots", r.Status, r.Reason, r.Length, want, r.Wires)
	}
}
