package calib

import (
	"math"
	"testing"

	"dentcount/photo"
)

// Where wires were taken off, too, marks between those of a comb make it every second one
// of a finer row: sixteenths are read as such, and not as eighths.
func TestSixteenthsUnderClearedWiresAreNotEighths(t *testing.T) {
	const w, h, edge, step = 1500, 90, 10, 6.0
	lengths := []float64{8, 12, 16, 20, 26} // of sixteenths, eighths, quarters, halves, inches
	p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
	for y := range h {
		for x := range w {
			v := 210.0
			n := math.Round(float64(x) / step)
			rank := 0
			for k := int(n); rank < len(lengths)-1 && k%2 == 0; k /= 2 {
				rank++
			}
			if depth := float64(y - edge); depth >= 0 && depth < lengths[rank] {
				v -= 150 * math.Exp(-math.Pow((float64(x)-n*step)/0.9, 2))
			}
			p.Pix[y*w+x] = uint8(v)
		}
	}
	f := Frame{X: 0, Y: edge, TX: 1, NY: 1, Lo: 20, Hi: w - 20, Half: w}
	reads, err := readCleared(level{p, 1}, candidate{frame: f, held: 1}, cleared{Plane: p, frame: f}, 9)
	if err != nil {
		t.Fatal(err)
	}
	whole := 0
	for _, q := range reads {
		if q.ladder.between > everySecond {
			t.Errorf("marks %.2f px apart, and between them others of %.2f of their contrast: %s/%d",
				q.ladder.periodPx, q.ladder.between, q.readings[0].unit, q.readings[0].divisions)
		}
		if q.readings[0].unit == Inch && q.readings[0].divisions == 16 && math.Abs(q.ladder.periodPx/step-1) < 0.02 {
			whole++
		}
	}
	if whole == 0 {
		t.Errorf("of %d rows none is sixteenths", len(reads))
	}
}

// Where the marks at every second place are fainter, as those are that wires which were taken
// off lay on, a comb of the others is read at half their spacing, too; where nothing stands
// there it is not.
func TestFainterMarksBetweenAreReadToo(t *testing.T) {
	const w, h, edge, step = 1500, 90, 10, 6.0
	for _, c := range []struct {
		faint float64 // the contrast of every second mark, in parts of the others'
		rows  int
	}{{0.45, 2}, {0, 1}} {
		p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
		for y := range h {
			for x := range w {
				n := math.Round(float64(x) / step)
				ink := 100.0
				if int(n)%2 != 0 {
					ink *= c.faint
				}
				if y < edge || y >= edge+14 {
					ink = 0
				}
				p.Pix[y*w+x] = uint8(210 - ink*math.Exp(-math.Pow((float64(x)-n*step)/0.9, 2)))
			}
		}
		f := Frame{X: 0, Y: edge, TX: 1, NY: 1, Lo: 20, Hi: w - 20, Half: w}
		rows := rowsOf(p, f, comb{periodPx: 2 * step, center: 600, depth: [2]float64{3, 10}})
		if len(rows) != c.rows {
			t.Fatalf("every second mark %.2f as strong: %d rows, want %d", c.faint, len(rows), c.rows)
		}
		for i, r := range rows {
			if want := 2 * step / float64(i+1); math.Abs(r.l.periodPx/want-1) > 0.02 {
				t.Errorf("row %d: marks %.2f px apart, drawn %.0f", i, r.l.periodPx, want)
			}
		}
	}
}

// Marks at every second place of a lattice only are seen to be such, also where what lies
// past the ruler's ends fills all places; marks of which some were lost are not.
func TestEverySecondPlaceBlank(t *testing.T) {
	for _, c := range []struct {
		name  string
		found func(n int) bool
		want  bool
	}{
		{"every second", func(n int) bool { return n%2 == 1 }, true},
		{"wires at both ends", func(n int) bool { return n < 13 || n > 100 || n%2 == 0 }, true},
		{"a mark lost, a wire seen", func(n int) bool { return n%2 == 0 && n != 40 || n == 61 }, true},
		{"all", func(n int) bool { return true }, false},
		{"every third lost", func(n int) bool { return n%3 > 0 }, false},
		{"a quarter of the row", func(n int) bool { return n > 30 || n%2 == 0 }, false},
	} {
		l := ladder{periodPx: 8, rungs: make([]rung, 120)}
		for n := range l.rungs {
			l.rungs[n] = rung{n: n, along: 8 * float64(n), found: c.found(n)}
		}
		at, blank := l.everySecondBlank()
		if n := int(math.Round(at / 8)); blank != c.want || blank && !c.found(n) {
			t.Errorf("%s: %v, a mark at place %d", c.name, blank, n)
		}
	}
	if _, blank := (ladder{}).everySecondBlank(); blank {
		t.Error("of no marks at all every second is blank")
	}
}

// Whether finer marks stand between is seen, too, where no more than their first pixels
// beside the edge are looked at.
func TestMarksBetweenWhereLittleIsLookedAt(t *testing.T) {
	const w, h, edge, step = 900, 60, 10, 4.0
	for _, finer := range []bool{true, false} {
		p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
		for y := range h {
			for x := range w {
				n := math.Round(float64(x) / step)
				v := 210.0
				if y >= edge && y < edge+14 && (finer || int(n)%2 == 0) {
					v -= 120 * math.Exp(-math.Pow((float64(x)-n*step)/0.9, 2))
				}
				p.Pix[y*w+x] = uint8(v)
			}
		}
		f := Frame{X: 0, Y: edge, TX: 1, NY: 1, Lo: 20, Hi: w - 20, Half: w}
		l := ladder{frame: f, periodPx: 2 * step, dark: true, base: [2]float64{1, 2}}
		for n := range 100 {
			l.rungs = append(l.rungs, rung{n: n, along: 40 + 2*step*float64(n), found: true})
		}
		if got := l.seenBetween(sampleStrip(p, f, 20, w-20, -4, 24, 1), 0, 99); got > everySecond != finer {
			t.Errorf("finer marks %v: between them %.2f of their contrast", finer, got)
		}
	}
}
