package vision

import (
	"math"
	"testing"

	"dentcount/calib"
)

// Wires seen in a plane whose tilt is told wrong change their spacing from row to
// row by a little each; another tone beside them is no part of the field.
func TestSharedTone(t *testing.T) {
	tones := make([]tone, 60)
	for i := 20; i < 45; i++ { // 15 per inch in the middle, 6 % from top to bottom
		tones[i] = tone{PerInch: 15 * (1 + 0.0025*float64(i-32)), Line: 30}
	}
	tones[30] = tone{}                     // a row in which nothing stands out
	tones[45] = tone{PerInch: 3, Line: 60} // the table's grain
	tones[46], tones[47] = tones[45], tones[45]
	per, from, to := sharedTone(tones, 8)
	if from != 20 || to != 45 || math.Abs(per/15-1) > 0.005 {
		t.Errorf("rows %d to %d at %.3f per inch, they are 20 to 45 at 15", from, to, per)
	}
	if _, _, to := sharedTone(tones[45:], 8); to != 0 {
		t.Error("three rows are a field")
	}
	for i := range tones {
		tones[i] = tone{PerInch: 10 * math.Pow(1.02, float64(i%7)), Line: 20}
	}
	if _, from, to := sharedTone(tones, 8); to != 0 {
		t.Errorf("tones that jump are one, from row %d to %d", from, to)
	}
}

// flatPlane is a plane of 100 px an inch, seen from straight above.
func flatPlane() Plane {
	s := calib.Scale{Half: 1000, B: 10, Unit: "in", Divisions: 16}
	s.Frame = calib.Frame{TX: 1, NY: 1, Half: 1000}
	s.Lo, s.Hi = -1000, 1000
	return Plane{Scale: s, G: 10, FocalPx: 2000}
}

func edgeAt(px, step float64) edgeLine {
	return edgeLine{along: px, step: colour{step, step, step}, strength: math.Abs(step), support: 1, sd: 0.1}
}

// End caps are made alike: 0.24 in wide on both sides, lighter than what is beside
// them. Edges that are as far out but bound things of two widths, or step the other
// way, are not.
func TestTwins(t *testing.T) {
	f := wireField{q: patch{plane: flatPlane()}}
	l, li := edgeAt(-835, 60), edgeAt(-811, -45)
	r, ri := edgeAt(835, -55), edgeAt(811.5, 40)
	if off, ok := f.twins(l, r, []edgeLine{l, li}, []edgeLine{r, ri}); !ok || math.Abs(off-0.005) > 1e-9 {
		t.Errorf("caps of one make: %v, %.4f in off", ok, off)
	}
	wide := edgeAt(790, 40)
	if _, ok := f.twins(l, r, []edgeLine{l, li}, []edgeLine{r, wide}); ok {
		t.Error("caps of two widths pass for one make")
	}
	dark := edgeAt(835, 55)
	if _, ok := f.twins(l, dark, []edgeLine{l, li}, []edgeLine{dark, ri}); ok {
		t.Error("a light cap and a dark one pass for one make")
	}
}

// Two bars of one make that seem to lean against each other may be parallel where
// the plane is not well known, and are not where it is.
func TestBarsLean(t *testing.T) {
	l := stripe{outer: edgeAt(-500, 60), inner: edgeAt(-450, -60), widthIn: 0.5, face: colour{150, 150, 150}}
	r := stripe{outer: edgeAt(500, -60), inner: edgeAt(450, 60), widthIn: 0.5, face: colour{150, 150, 150}}
	r.outer.extra = 0.1
	pl := flatPlane()
	if known := likeBars(l, r, pl.fanU(-500, 500)); known > 0.01 {
		t.Errorf("bars 6° off parallel look like a pair: %.3f", known)
	}
	pl.Cov[1][1] = 0.1 * 0.1
	if doubt := likeBars(l, r, pl.fanU(-500, 500)); doubt < leastPair {
		t.Errorf("with the plane in doubt they look like none: %.3f", doubt)
	}
}

// A round knot lit from one side has one steep edge only: it stays as wide as it is.
func TestTrim(t *testing.T) {
	rb := ribbon{sharp: [][]bool{make([]bool, 40)}}
	rb.sharp[0][8], rb.sharp[0][9], rb.sharp[0][10] = true, true, true
	if got := rb.trim(0, [2]int{9, 30}); got != [2]int{9, 30} {
		t.Errorf("one steep edge: %v", got)
	}
	rb.sharp[0][20], rb.sharp[0][21] = true, true // the thread ends, its shadow goes on
	if got := rb.trim(0, [2]int{9, 30}); got != [2]int{9, 22} {
		t.Errorf("a thread and its shadow: %v", got)
	}
}

// Where the marked edge is the one far from the wires, the ruler lies on the reed
// as far as its other edge does.
func TestUnderRuler(t *testing.T) {
	f := wireField{ppi: 100, q: patch{plane: flatPlane(), d0: 140, step: 1, rows: 300}}
	if !f.underRuler() {
		t.Error("wires that begin behind a ruler an inch wide are beside it")
	}
	f.q.plane.BackPx = 60
	if f.underRuler() {
		t.Error("wires an inch behind a ruler are under it")
	}
	f.q.d0 = -400
	if f.underRuler() {
		t.Error("wires an inch before the marked edge are under it")
	}
}
