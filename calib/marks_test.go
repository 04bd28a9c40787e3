package calib

import (
	"testing"

	"dentcount/photo"
)

// A number as wide as three marks stands right beside its own mark and right under
// those before it: seen from both sides the whole units' marks are as short as the
// shortest, seen from one side those over the number as long as the halves'. Whole
// units run on past it for all that.
func TestMarksBesideNumbers(t *testing.T) {
	const T, marks, edge = 20, 63, 30
	const face, ink = 190, 40
	p := photo.Plane{W: T*marks + 40, H: 200, Pix: make([]uint8, (T*marks+40)*200)}
	for i := range p.Pix {
		p.Pix[i] = face
	}
	block := func(x0, x1, y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := max(x0, 0); x < min(x1, p.W); x++ {
				p.Pix[y*p.W+x] = ink
			}
		}
	}
	block(0, p.W, 0, edge)
	const whole = 7 // the first whole unit's mark
	for i := range marks {
		x, deep := 20+T*i, 42
		switch mod(i-whole, 10) {
		case 0:
			deep = 74
			block(x-9, x-4, edge+42, edge+90) // the number's last stroke
			for k := 1; k <= 3; k++ {         // strokes that begin right under short marks, with others on their left
				block(x-T*k-1, x-T*k+2, edge+42, edge+52)
				block(x-T*k-9, x-T*k-4, edge+42, edge+90)
			}
		case 5:
			deep = 52
		}
		block(x-1, x+2, edge, edge+deep)
	}
	f := Frame{X: float64(p.W) / 2, Y: edge - 0.5, TX: 1, NY: 1, Lo: -float64(p.W) / 2, Hi: float64(p.W) / 2, Half: float64(p.W) / 2}
	l, ok := readLadder(p, f, comb{periodPx: T, depth: [2]float64{3, 20}})
	if !ok {
		t.Fatal("no ladder")
	}
	rds := decode(l)
	if len(rds) == 0 {
		t.Fatal("the marks have no hierarchy")
	}
	if rd := rds[0]; rd.divisions != 10 || rd.explained < 0.9 || len(l.rungs) != marks || mod(rd.phase, 10) != whole {
		t.Errorf("%d rungs, %d a unit, whole at %d, explained %.2f", len(l.rungs), rd.divisions, rd.phase, rd.explained)
	}
}

// However thin the band is in which marks are sought, a row of what is looked at lies in it:
// without one no mark has a length.
func TestThinBasesHoldARow(t *testing.T) {
	const T, marks, edge = 20, 34, 30
	p := photo.Plane{W: T*marks + 40, H: 200, Pix: make([]uint8, (T*marks+40)*200)}
	for i := range p.Pix {
		p.Pix[i] = 190
	}
	for i := range marks {
		deep := [8]int{74, 24, 34, 24, 44, 24, 34, 24}[i%8]
		for y := edge; y < edge+deep; y++ {
			for x := 19 + T*i; x < 22+T*i; x++ {
				p.Pix[y*p.W+x] = 40
			}
		}
	}
	half := float64(p.W) / 2
	f := Frame{X: half, Y: edge - 0.5, TX: 1, NY: 1, Lo: -half, Hi: half, Half: half}
	s := sampleStrip(p, f, 2-half, half-2, -2, 60, 1)
	for d := 1.0; d <= 5; d += 0.25 {
		l, _, ok := readBase(p, f, s, comb{periodPx: T, depth: [2]float64{1, 5}}, [2]float64{d, d + 1})
		if !ok {
			t.Fatalf("base from %.2f px: no ladder", d)
		}
		if rds := decode(l); len(rds) == 0 || rds[0].divisions != 8 || rds[0].explained < 0.9 {
			t.Errorf("base from %.2f px: read %+v", d, rds)
		}
	}
}
