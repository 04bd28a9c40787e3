package calib

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// rulerLadder makes the marks of a ruler in a photo of pxPerIn: lengths in mm by
// class, the shortest first, with noise, `stray` of them spoilt, and `beyond`
// equal lines (wires) at the same spacing after the ruler's end.
func rulerLadder(sc scheme, lengthsMM []float64, units float64, pxPerIn, noisePx, stray float64, beyond int, rng *rand.Rand) ladder {
	l := ladder{periodPx: pxPerIn * sc.unit.Inches() / float64(sc.divisions)}
	l.maxDepth = max(min(18*l.periodPx, 330), 24)
	n := int(units*float64(sc.divisions)) + 1
	const phase = 3
	for i := 0; i < n+beyond; i++ {
		px := lengthsMM[sc.class[mod(i-phase, sc.divisions)]] / 25.4 * pxPerIn
		if i >= n || rng.Float64() < stray {
			px = l.maxDepth * (0.3 + 0.7*rng.Float64())
			if i >= n {
				px = l.maxDepth
			}
		}
		l.rungs = append(l.rungs, rung{n: i, along: float64(i) * l.periodPx, found: true, resp: 20,
			length: px + noisePx*rng.NormFloat64()})
	}
	return l
}

// Lengths of marks in mm: common practice, no source.
func TestDecodeNamesTheRuler(t *testing.T) {
	cases := []struct {
		name    string
		sc      scheme
		mm      []float64
		units   float64
		pxPerIn float64
	}{
		{"in8", halving(Inch, 8, 0), []float64{4, 5.5, 7.5, 10}, 8, 120},
		{"in16", halving(Inch, 16, 0), []float64{3.2, 4.4, 5.6, 7.5, 10}, 6, 200},
		{"in32", halving(Inch, 32, 0), []float64{2.4, 3.2, 4.4, 5.6, 7.5, 10}, 6, 300},
		{"in10", tenths(Inch, 10, 0), []float64{4.5, 6.5, 9.5}, 8, 110},
		{"cm10", tenths(CM, 10, 0), []float64{3.5, 5.5, 8}, 15, 180},
	}
	for _, c := range cases {
		for _, stray := range []float64{0, 0.12} {
			for _, beyond := range []int{0, 40} {
				t.Run(fmt.Sprintf("%s/stray%g/beyond%d", c.name, stray, beyond), func(t *testing.T) {
					rng := rand.New(rand.NewPCG(7, uint64(beyond)))
					l := rulerLadder(c.sc, c.mm, c.units, c.pxPerIn, 0.6, stray, beyond, rng)
					rds := decode(l)
					if len(rds) == 0 {
						t.Fatal("nothing read")
					}
					r := rds[0]
					if r.unit != c.sc.unit || r.divisions != c.sc.divisions || mod(r.phase-3, r.divisions) != 0 {
						t.Fatalf("read %s%d phase %d", r.unit, r.divisions, r.phase)
					}
					if rulerOdds(l, r, 1) < leastOdds {
						t.Errorf("a plain ruler scores only %.1f", r.score)
					}
					if end := int(c.units*float64(c.sc.divisions)) + 1; r.hi > end {
						t.Errorf("read up to mark %d, the ruler ends at %d", r.hi, end)
					}
				})
			}
		}
	}
}

func TestDecodeRefusesWhatIsNoRuler(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	for name, length := range map[string]func(i int) float64{
		"wires of one length":  func(int) float64 { return 30 + 0.8*rng.NormFloat64() },
		"lengths at random":    func(int) float64 { return 10 + 60*rng.Float64() },
		"slots and holes":      func(i int) float64 { return []float64{25, 60}[i%2] + 0.8*rng.NormFloat64() },
		"wires without an end": func(int) float64 { return 180 },
		"equal lines, two longer, in disorder": func(i int) float64 {
			switch {
			case i < 50 || i > 115:
				return 10 + 160*rng.Float64()
			case i == 54 || i == 86:
				return 140
			}
			return 48
		},
	} {
		l := ladder{periodPx: 12, maxDepth: 180}
		for i := 0; i < 150; i++ {
			l.rungs = append(l.rungs, rung{n: i, along: 12 * float64(i), found: true, resp: 20, length: length(i)})
		}
		if rds := decode(l); len(rds) > 0 && rulerOdds(l, rds[0], 1) >= leastOdds {
			t.Errorf("%s: read as %s%d, score %.1f", name, rds[0].unit, rds[0].divisions, rds[0].score)
		}
	}
	if rds := decode(ladder{}); rds != nil {
		t.Error("an empty ladder was read")
	}
}

// Slots and holes of a heddle that lies aslant have many lengths, for they recede, but
// they come again with every second place, or with every fourth where the blanks
// between them are taken for marks.
func TestDecodeRefusesSlotsThatRecede(t *testing.T) {
	for name, lengths := range map[string][]float64{
		"slots and holes":                {42, 96},
		"slots, holes and blanks":        {31, 44, 31, 53},
		"every second place left out":    {24, 0, 108, 0},
		"blanks of two lengths and both": {31, 44, 33, 62},
	} {
		for seed := range uint64(20) {
			rng := rand.New(rand.NewPCG(11, seed))
			l := ladder{periodPx: 12, maxDepth: 220}
			along := 0.0
			for i := range 160 {
				near := 1.12 - 0.24*float64(i)/160
				r := rung{n: i, along: along, found: lengths[i%len(lengths)] > 0, resp: 20}
				if r.found {
					r.length = lengths[i%len(lengths)] * near * (1 + 0.02*rng.NormFloat64())
				} else if rng.Float64() < 0.1 {
					r.found, r.length = true, 20*rng.Float64()
				}
				l.rungs = append(l.rungs, r)
				along += 12 * near * near
			}
			if rds := decode(l); len(rds) > 0 && rulerOdds(l, rds[0], 1) >= leastOdds {
				t.Errorf("%s, %d: read as %s%d, odds %.1f", name, seed, rds[0].unit, rds[0].divisions, rulerOdds(l, rds[0], 1))
			}
		}
	}
}

// Figures that stand beside the long marks make some of them longer, or shorter, and
// always the same; worn print makes them shorter for a stretch; and of a short piece
// of thirty-seconds hardly a whole inch, or no whole half, is left.
func TestDecodeReadsSpoiltMarks(t *testing.T) {
	const plenty = 10
	rng := rand.New(rand.NewPCG(12, 1))
	tenthsOfInch, mm, in32 := tenths(Inch, 10, 0), tenths(CM, 10, 0), halving(Inch, 32, 0)
	row := func(sc scheme, lengths []float64, n int, spoil func(i int, px float64) float64) ladder {
		l := ladder{periodPx: 12, maxDepth: 216}
		for i := range n {
			px := spoil(i, lengths[sc.class[mod(i, sc.divisions)]])
			l.rungs = append(l.rungs, rung{n: i, along: 12 * float64(i), found: true, resp: 20, length: px + 0.4*rng.NormFloat64()})
		}
		return l
	}
	for _, c := range []struct {
		name string
		sc   scheme
		l    ladder
	}{
		{"figures", tenthsOfInch, row(tenthsOfInch, []float64{18, 22, 33}, 180, func(i int, px float64) float64 {
			switch i % 10 {
			case 1:
				return []float64{23, 32, 27, 18}[i/10%4]
			case 2:
				return []float64{42, 30}[i/90]
			case 3:
				return []float64{18, 25}[i/90]
			}
			return px
		})},
		{"worn", mm, row(mm, []float64{62, 62, 100}, 117, func(i int, px float64) float64 {
			if i < 18 || i > 40 && i < 52 {
				return px * (0.2 + 0.6*rng.Float64())
			}
			return px
		})},
		{"few wholes", in32, row(in32, []float64{27, 35, 46, 60, 79, 102}, 117, func(i int, px float64) float64 {
			if i%32 == 0 && i != 64 {
				return []float64{35, 64, 0, 52}[i/32]
			}
			return px
		})},
		{"no whole half", in32, row(in32, []float64{27, 35, 46, 60, 79, 102}, 138, func(i int, px float64) float64 {
			if i%32 == 16 { // two are as short as the shortest: their print is broken (judge, seed 4626)
				return []float64{29, 58, 29, 57}[i/32]
			}
			return px
		})},
	} {
		rds := decode(c.l)
		if len(rds) == 0 {
			t.Errorf("%s: nothing read", c.name)
			continue
		}
		best := rds[0]
		for _, r := range rds { // without figures sixteenths may be as good
			if r.divisions == c.sc.divisions {
				best = r
				break
			}
		}
		if best.divisions != c.sc.divisions || best.score < rds[0].score-3 || best.evidence < plenty || best.explained < minExplained {
			t.Errorf("%s: read %s%d, score %.1f; %s%d, score %.1f, evidence %.1f, explained %.2f", c.name, rds[0].unit, rds[0].divisions,
				rds[0].score, best.unit, best.divisions, best.score, best.evidence, best.explained)
		}
	}
}

// On a tape numbers stand right past the marks, at the same places of every inch: they make
// every second quarter longer than halves. That is no repetition by fours, for those tell
// nothing. The lengths, in spacings, are those of a drawn tape (judge's seed 4623).
func TestNumbersSpoilTheSamePlacesOfEveryInch(t *testing.T) {
	const eighth, quarter, half, whole, spoilt = 0.93, 1.07, 1.18, 1.58, 1.47
	lengths := []float64{whole, eighth, quarter, eighth, half, eighth, spoilt, eighth}
	var obs []lengthObs
	for n := 2; n <= 30; n++ {
		obs = append(obs, lengthObs{n: n, v: lengths[n%8]})
	}
	sc := halving(Inch, 8, 0)
	over := func(q lengthObs, class int) bool { return class == 1 && q.v > 1.2*quarter }
	if sc.repeats(obs, 0, false, over) {
		t.Error("the quarters that are spoilt count")
	}
	if none := func(lengthObs, int) bool { return false }; !sc.repeats(obs, 0, false, none) {
		t.Error("with none of them known to be spoilt, halves are no longer than quarters beside them")
	}
}

// A tape of which nearly a third of the marks are worn short is read by the others.
func TestWornMarksTellLittle(t *testing.T) {
	for seed := range uint64(5) {
		rng := rand.New(rand.NewPCG(18, seed))
		l := rulerLadder(tenths(CM, 10, 0), []float64{5.5, 8.5, 11}, 20, 140, 0.3, 0, 0, rng)
		short := l.rungs[4].length // beside a whole unit
		for i := range l.rungs {
			if rng.Float64() < 0.31 {
				l.rungs[i].length = (0.2 + 0.6*rng.Float64()) * short
			}
		}
		q := understand(candidate{held: 1}, l)
		if q == nil {
			t.Errorf("seed %d: not read", seed)
			continue
		}
		if rd := q.readings[0]; !rd.byTen() || rd.explained < minExplained {
			t.Errorf("seed %d: %s%d, explained %.2f", seed, rd.unit, rd.divisions, rd.explained)
		}
	}
}
