package vision

import (
	"math"
	"testing"

	"dentcount/calib"
)

// What is lighter than the ground is no opening: of a heddle the wide arc, of a reed the
// narrow one. The stretch under the camera tells, and the ground beside it.
func TestArcsOverGround(t *testing.T) {
	s := calib.Scale{Frame: calib.Frame{TX: 1, NY: 1, Half: 400}, Half: 400, B: 4, Lo: -400, Hi: 400}
	ground := []groundAt{{along: s.Along(-2), level: 230}, {along: s.Along(2), level: 120}}
	for _, c := range []struct {
		name         string
		wide, narrow float64
		sign         float64
	}{
		{"a light panel", 180, 90, 1},
		{"light wires", 100, 200, -1},
		{"dark wires", 110, 30, 0},
		{"a dark panel", 40, 100, 0},
	} {
		a := arcs{levels: []arcLevel{{at: -2, wide: 10, narrow: 10}, {at: 1.5, wide: c.wide, narrow: c.narrow}}}
		got := a.overGround(ground, s, 2.2)
		if math.Abs(got) > 0.8 || c.sign == 0 && got != 0 || c.sign != 0 && c.sign*got < 0.3 {
			t.Errorf("%s: %.2f", c.name, got)
		}
	}
	if got := (arcs{levels: []arcLevel{{wide: 180, narrow: 90}}}).overGround(nil, s, 0); !math.IsNaN(got) {
		t.Errorf("no ground seen: %.2f", got)
	}
}
