package calib

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Numbers at every 32nd mark tell 32 marks a unit from 16, and nothing printed, or
// the same at every mark, tells nothing.
func TestNumbersTellTheUnit(t *testing.T) {
	row := func(every int) []rung {
		out := make([]rung, 160)
		for i := range out {
			out[i] = rung{n: i, ink: 1 + 0.1*float64(i%3)}
			if every > 0 && (i%every == 7 || i%every == 8) {
				out[i].ink = 9
			}
		}
		return out
	}
	for _, c := range []struct{ every, divisions, least, most int }{
		{32, 32, 10, 12}, {32, 16, 0, 1}, {32, 8, 0, 1},
		{16, 16, 10, 12}, {16, 32, 0, 1}, {16, 8, 0, 1},
		{10, 10, 10, 12}, {0, 16, 0, 1}, {0, 32, 0, 1},
	} {
		if got := numbersOdds(row(c.every), c.divisions); got < float64(c.least) || got > float64(c.most) {
			t.Errorf("numbers every %d marks, %d a unit: %.2f, want %d to %d", c.every, c.divisions, got, c.least, c.most)
		}
	}
	if got := numbersOdds(row(16)[:20], 16); got != 0 {
		t.Errorf("of 20 marks: %.2f", got)
	}
}

// The numbers of centimetres on the other edge come again with every 6.3 sixteenths
// of an inch, and so with 32 of them: they are no number of inches.
func TestNumbersOfTheOtherScale(t *testing.T) {
	row := make([]rung, 200)
	for i := range row {
		row[i] = rung{n: i, ink: 1 + 0.1*float64(i%3)}
		if at := math.Mod(float64(i), 16/2.54); at < 1.5 {
			row[i].ink = 8
		}
	}
	for _, divisions := range []int{8, 16, 32} {
		if got := numbersOdds(row, divisions); got > 1 {
			t.Errorf("%d a unit: %.2f", divisions, got)
		}
	}
}

// Two units show their number once again, which tells little, but not nothing.
func TestTwoNumbers(t *testing.T) {
	row := make([]rung, 16)
	for i := range row {
		row[i] = rung{n: i, ink: 1 + 0.1*float64(i%3)}
		if i%8 < 2 {
			row[i].ink = 12
		}
	}
	if got := numbersOdds(row, 8); got < 2 || got > 6 {
		t.Errorf("of two units: %.2f", got)
	}
}

// Blots that are strewn over a short ruler are alike by chance, and tell nothing.
func TestChanceIsNoNumber(t *testing.T) {
	var sum float64
	const rows = 40
	for seed := range uint64(rows) {
		rng := rand.New(rand.NewPCG(16, seed))
		row := make([]rung, 42)
		for i := range row {
			row[i] = rung{n: i, ink: 1 + 0.1*rng.Float64()}
			if rng.Float64() < 0.1 {
				row[i].ink = 9
			}
		}
		sum += numbersOdds(row, 8)
	}
	if sum/rows > 0.2 {
		t.Errorf("on average %.2f of chance", sum/rows)
	}
}

// blankRow is a blank strip, so many rows deep, and the ladder of n marks that are to be
// drawn on it step px apart.
func blankRow(step float64, n, rows int, maxDepth float64) (strip, ladder) {
	s := strip{d0: 0, step: 1, cols: int(step * float64(n+1)), rows: rows}
	s.v = make([]float32, s.cols*s.rows)
	l := ladder{periodPx: step, dark: true, base: [2]float64{1, 8}, maxDepth: maxDepth, stepPx: 1}
	for i := range n {
		l.rungs = append(l.rungs, rung{n: i, along: step * (float64(i) + 0.5), resp: 20, found: true})
	}
	return s, l
}

// A short ruler's numbers are seen though its marks were followed on over its ends,
// where wires are longer than any mark.
func TestNumbersWithinTheRuler(t *testing.T) {
	const step, units, beyond, face = 12.0, 5, 14, 200.0
	sc := halving(Inch, 8, 0)
	lengths := []float64{10, 14, 18, 24}
	n := units*sc.divisions + 2*beyond
	s, l := blankRow(step, n, 150, 140)
	var own []float64
	for i := range n {
		k := i - beyond // 0 and units*divisions are whole units
		length := lengths[sc.class[mod(k, sc.divisions)]]
		if k < 0 || k > units*sc.divisions {
			length = 120
		}
		own = append(own, length)
	}
	for r := range s.rows {
		for c := range s.cols {
			v := float32(face)
			i := min(int(float64(c)/step), n-1)
			k := i - beyond
			off := math.Abs(float64(c) - l.rungs[i].along)
			number := k >= 0 && k <= units*sc.divisions && mod(k, sc.divisions) == 0 && r > 28 && r < 48
			if off < 1.5 && float64(r) < own[i] || number && off < 5 && mod(c/2, 2) == 0 {
				v = 40
			}
			s.v[r*s.cols+c] = v
		}
	}
	l.measureInk(s, own)
	if got := numbersOdds(l.rungs, 8); got > 1 {
		t.Fatalf("numbers are seen as it is: %.1f, so that the test tests nothing", got)
	}
	if !l.inkWithin(s, beyond, beyond+units*sc.divisions, own) {
		t.Fatal("nothing is left out")
	}
	if got := numbersOdds(l.rungs, 8); got < 8 {
		t.Errorf("numbers within the ruler: %.1f", got)
	}
	if l.inkWithin(s, 0, n-1, own) {
		t.Error("a reading of all of it leaves something out")
	}
}

// Of few marks the long ones are not the two that are longest by chance.
func TestLongMarks(t *testing.T) {
	row := []float64{150, 160}
	for i := range 40 {
		row = append(row, []float64{24, 10, 14, 10, 18, 10, 14, 10}[i%8])
	}
	if got := longMarks(row); got != 24 {
		t.Errorf("long marks of a short row: %.0f", got)
	}
	row = row[:0]
	for i := range 160 {
		switch {
		case i%32 == 0:
			row = append(row, 24)
		case i%16 == 0:
			row = append(row, 18)
		default:
			row = append(row, 10)
		}
	}
	if got := longMarks(row); got != 24 {
		t.Errorf("long marks of thirty-seconds: %.0f", got)
	}
}

// Marks stand where most lines are about as long as the typical one: wires in step with
// them past the ruler's ends do not, a few spoilt marks among them do.
func TestMarkedStretch(t *testing.T) {
	l := ladder{maxDepth: 190}
	var lengths []float64
	for n := range 80 {
		v := []float64{20, 6, 11, 6, 14, 6, 11, 6}[mod(n-16, 8)]
		switch {
		case n < 16:
			v = []float64{188, 0, 39, 0}[n%4]
		case n > 56:
			v = []float64{60, 0, 0}[n%3]
		case n == 30 || n == 41:
			v = 0
		}
		l.rungs, lengths = append(l.rungs, rung{n: n, found: true}), append(lengths, v)
	}
	if lo, hi := l.markedStretch(lengths); lo < 14 || lo > 18 || hi < 54 || hi > 58 {
		t.Errorf("marks %d to %d, want 16 to 56", lo, hi)
	}
}

// Lengths that tell too little alone are enough where numbers stand at every unit: of 400
// short rows whose lengths are hardly seen, 200 were read without the numbers' help.
func TestNumbersHelpFewLengths(t *testing.T) {
	right := 0
	for seed := range uint64(400) {
		rng := rand.New(rand.NewPCG(54, seed))
		l := rulerLadder(halving(Inch, 8, 0), []float64{4, 5.5, 7.5, 10}, 4, 50, 1.3, 0.2, 0, rng)
		for i, g := range l.rungs {
			l.rungs[i].ink = 4 + 0.3*rng.NormFloat64()
			if d := mod(g.n-3, 8); d == 0 || d == 1 || d == 7 {
				l.rungs[i].ink = 9 + rng.NormFloat64()
			}
		}
		if rds := decode(l); len(rds) > 0 && rds[0].unit == Inch && rds[0].divisions == 8 && rds[0].phase == 3 {
			right++
		}
	}
	if right < 215 {
		t.Errorf("%d of 400 rows read", right)
	}
}

// Marks that run on deeper than lengths are measured are no numbers, though nothing else
// runs as deep: halves and wholes of sixteenths of an inch would be those of units of half
// an inch. Numbers stand beside the line, too.
func TestLongMarksAreNoNumbers(t *testing.T) {
	const step, units, face = 24.0, 4, 200.0
	sc := halving(Inch, 16, 0)
	lengths := []float64{20, 28, 40, 90, 120} // by class
	n := units*sc.divisions + 1
	for _, c := range []struct {
		numbers     bool
		divisions   int
		least, most float64
	}{{false, 8, 0, 1}, {false, 16, 0, 1}, {true, 16, 3, 12}, {true, 8, 0, 1}} {
		s, l := blankRow(step, n, 100, 95)
		own := make([]float64, n)
		for i := range n {
			class := sc.class[mod(i, sc.divisions)]
			if class < 3 {
				own[i] = lengths[class] // of the others no end was found
			}
		}
		for r := range s.rows {
			for x := range s.cols {
				v := float32(face)
				i := min(int(float64(x)/step), n-1)
				off := math.Abs(float64(x) - l.rungs[i].along)
				number := c.numbers && i%sc.divisions == 0 && r > 46 && r < 80
				if off < 1.5 && float64(r) < lengths[sc.class[mod(i, sc.divisions)]] || number && off < 11 && mod(x/2, 2) == 0 {
					v = 40
				}
				s.v[r*s.cols+x] = v
			}
		}
		l.measureInk(s, own)
		if got := numbersOdds(l.rungs, c.divisions); got < c.least || got > c.most {
			t.Errorf("numbers %v: %.2f for %d marks a unit, want %g to %g", c.numbers, got, c.divisions, c.least, c.most)
		}
	}
}
