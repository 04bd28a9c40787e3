package calib

import (
	"math"
	"testing"
)

// What lies along the same edge or the opposite one farther on is the ruler that was
// read, and marks whose inches are seen much smaller are those of none.
func TestAnotherRulerIsNotTheSameOneFartherOn(t *testing.T) {
	const ppi = 100.0
	// from (x, y) along x, inches growing with it or against it
	at := func(x, y, long, perIn, facing float64) read {
		f := Frame{X: x, Y: y, TX: facing, TY: 0, NX: 0, NY: facing, Lo: 0, Hi: long, Half: long}
		l := ladder{frame: f, periodPx: math.Abs(perIn) / 16}
		for n := range 60 {
			l.rungs = append(l.rungs, rung{n: n, along: float64(n) * l.periodPx, found: true})
		}
		return read{
			scale:    Scale{Frame: f, Unit: Inch, Divisions: 16, Lo: 0, Hi: long, Half: long, B: long / perIn, Marks: make([]Mark, 60)},
			ladder:   l,
			readings: []reading{{unit: Inch, divisions: 16, classes: 3, score: 60}},
			from:     candidate{frame: f, held: 1},
		}
	}
	this := at(200, 500, 400, ppi, 1)
	for _, c := range []struct {
		name          string
		o             read
		goesOn, asFar bool
	}{
		{"the same edge, past a gap", at(1000, 505, 300, ppi, 1), true, true},
		{"the same edge, seen smaller", at(1000, 505, 300, 0.8*ppi, 1), true, true},
		{"the opposite edge, past a gap", at(1300, 600, 300, ppi, -1), true, true},
		{"one that lies two inches before", at(300, 300, 300, ppi, 1), false, true},
		{"one that lies before and faces away", at(600, 300, 300, ppi, -1), false, true},
		{"one that lies an inch behind", at(300, 600, 300, ppi, 1), false, true},
		{"inches against the frame", at(300, 300, 300, -ppi, 1), false, true},
		{"wires that look like eighths", at(300, 300, 300, 0.4*ppi, 1), false, false},
	} {
		if got := this.goesOnAs(c.o); got != c.goesOn {
			t.Errorf("%s: goes on as the first: %v", c.name, got)
		}
		if got := this.asFarAway(c.o); got != c.asFar {
			t.Errorf("%s: as far away: %v", c.name, got)
		}
		if got, want := this.notOn(c.o), !c.goesOn && c.asFar; got != want {
			t.Errorf("%s: another ruler: %v", c.name, got)
		}
	}
	askew := at(1000, 505, 300, ppi, 1)
	sin, cos := math.Sincos(0.3)
	askew.scale.Frame.TX, askew.scale.Frame.TY, askew.scale.Frame.NX, askew.scale.Frame.NY = cos, sin, -sin, cos
	if this.goesOnAs(askew) {
		t.Error("one that lies askew goes on as the first")
	}
}
