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
