package calib

import (
	"math"
	"math/rand/v2"
	"testing"
)

// farRuler is a strip of a ruler with marks by a scheme (lengths in px), so faint
// that the grain (grey levels) drowns each of them, and numbers as broad blots at
// whole units, set by set(unit) px off their marks. marks are along whole positions
// of a step of stepPx.
func farRuler(sc scheme, lengths []float64, units int, stepPx, faint, grain float64, set func(unit int) float64, rng *rand.Rand) strip {
	s := strip{step: 1, cols: int(float64(units*sc.divisions)*stepPx) + 1, rows: combsDeep + 1}
	s.v = make([]float32, s.cols*s.rows)
	for r := range s.rows {
		for c := range s.cols {
			v := 200 + grain*rng.NormFloat64()
			n := int(math.Round(float64(c) / stepPx))
			if off := math.Abs(float64(c) - float64(n)*stepPx); float64(r) < lengths[sc.class[mod(n, sc.divisions)]] {
				v -= faint * math.Max(0, 1-off)
			}
			u := int(math.Round(float64(c) / stepPx / float64(sc.divisions)))
			if off := math.Abs(float64(c) - float64(u*sc.divisions)*stepPx - set(u)); r > 18 && r < 30 && off < 5 {
				v -= 80
			}
			s.v[r*s.cols+c] = float32(v)
		}
	}
	return s
}

// What divides units is found though it is drowned in each of them, its places do
// not go with numbers that stand askew, and nothing is found where nothing is.
func TestUnitsShowTheirParts(t *testing.T) {
	const units, step = 30, 5.0
	sc := halving(Inch, 16, 0)
	chance := 0
	for seed := range uint64(6) {
		rng := rand.New(rand.NewPCG(11, seed))
		for _, faint := range []float64{0, 20} {
			st := farRuler(sc, []float64{8, 8, 8, 8, 8}, units, step, faint, 8, func(u int) float64 { return 3 * math.Sin(float64(u)/4) }, rng)
			combs, err := combsIn(st, 0)
			if err != nil {
				t.Fatal(err)
			}
			found := unitCombs(st, 0, combs)
			if faint == 0 {
				chance += len(found)
				continue
			}
			right := 0
			for _, c := range found {
				if math.Abs(c.periodPx/step-1) > 0.02 || c.depth[1] > 10 { // deeper there are no marks
					continue
				}
				right++
				off := 0
				for _, x := range c.teeth {
					x += step / 2 // the marks are dark
					if math.Abs(x/step-math.Round(x/step)) > astray {
						off++
					}
				}
				if 4*off > len(c.teeth) {
					t.Errorf("seed %d: %d of %d teeth are off their marks", seed, off, len(c.teeth))
				}
			}
			if right == 0 {
				t.Errorf("seed %d: the parts were not found", seed)
			}
		}
	}
	if chance > 2 {
		t.Errorf("%d times parts were found where there are none", chance)
	}
}

// Lengths that the grain spoils one by one are read from several units laid over one
// another; marks that are all alike make no hierarchy so, either.
func TestLengthsAreReadFromFoldedUnits(t *testing.T) {
	const units, step = 36, 6.0
	sc := halving(Inch, 8, 0)
	alone, folded := 0, 0
	for seed := range uint64(6) {
		for _, lengths := range [][]float64{{9, 13, 18, 24}, {13, 13, 13, 13}} {
			rng := rand.New(rand.NewPCG(12, seed))
			s := farRuler(sc, lengths, units, step, 60, 34, func(int) float64 { return 1e6 }, rng)
			l := ladder{periodPx: step, dark: true, base: [2]float64{1, 8}, maxDepth: combsDeep, stepPx: 1}
			for i := 1; i < units*8; i++ {
				l.rungs = append(l.rungs, rung{n: i, along: float64(i)*step + 0.1*step*rng.NormFloat64(), resp: 10, found: true})
			}
			l.summarise()
			ways := l.measureLengths(s)
			l.measureInk(s, ways[0])
			odds := func() float64 {
				rds := decode(l)
				if len(rds) == 0 || rds[0].unit != Inch || rds[0].divisions != 8 {
					return math.Inf(-1)
				}
				return rulerOdds(l, rds[0], 1)
			}
			if lengths[0] == lengths[3] {
				l.chooseLengths(s, ways)
				if rds := decode(l); len(rds) > 0 && rulerOdds(l, rds[0], 1) >= leastOdds {
					t.Errorf("seed %d: equal marks were read as %s%d, odds %.1f", seed, rds[0].unit, rds[0].divisions, rulerOdds(l, rds[0], 1))
				}
				continue
			}
			for i, n := range ways[0] {
				l.rungs[i].length = n
			}
			if odds() >= leastOdds {
				alone++
			}
			l.chooseLengths(s, ways)
			if odds() >= leastOdds {
				folded++
			}
		}
	}
	if folded < 5 || alone > 3 {
		t.Errorf("%d of 6 read folded, want 5 or more; %d by single marks, want few, or the test tests nothing", folded, alone)
	}
}

// A reading along a piece of an edge does not stand for the whole.
func TestStretchOfALongerReading(t *testing.T) {
	make := func(first, n int, length float64) read {
		l := rulerLadder(tenths(CM, 10, 0), []float64{4, 6, 9}, 60, 140, 0.3, 0, 0, rand.New(rand.NewPCG(13, 1)))
		l.frame = Frame{TX: 1, NY: 1, Half: 1000, Lo: 0, Hi: length}
		l.rungs = l.rungs[first : first+n]
		q := understand(candidate{frame: l.frame, held: 1}, l)
		if q == nil {
			t.Fatal("not read")
		}
		return *q
	}
	whole, piece := make(0, 600, 3000), make(200, 150, 3000)
	if !piece.stretchOf(whole) {
		t.Error("a piece is no stretch of the whole")
	}
	if whole.stretchOf(piece) || whole.stretchOf(whole) {
		t.Error("the whole is taken for a piece")
	}
	other := piece
	other.from.frame.Y += 40
	if other.stretchOf(whole) {
		t.Error("marks along another line are taken for a piece")
	}
}

// Where teeth are at every second mark only, the marks between are read, too.
func TestTeethAtEverySecondMark(t *testing.T) {
	const step = 15.0
	p := drawing(1400, 700, 0, rand.New(rand.NewPCG(14, 1)))
	drawRuler(p, halving(Inch, 8, 0), []float64{4, 5.5, 7.5, 10}, 8*step, 0, 1)
	py, err := newPyramid(p)
	if err != nil {
		t.Fatal(err)
	}
	c := candidate{frame: newFrame(segment{X: 700, Y: 350, TX: 1, Lo: -580, Hi: 580}), held: 1}
	c.comb = comb{periodPx: 2 * step, lo: -580, hi: 580, depth: [2]float64{1, 5}}
	for x := -36 * step; x < 36*step; x += 2 * step {
		c.comb.teeth = append(c.comb.teeth, x+step) // the light ones
	}
	q := readCandidate(py, c)
	if q == nil {
		t.Fatal("not read")
	}
	if rd := q.readings[0]; math.Abs(q.ladder.periodPx/step-1) > 0.01 || rd.unit != Inch || rd.divisions != 8 {
		t.Errorf("read as %s%d, marks %.2f px apart", rd.unit, rd.divisions, q.ladder.periodPx)
	}
}

// A line within the marks, over which they run, leads to the edge at which they begin.
func TestLinesWithinTheMarksLeadToTheEdge(t *testing.T) {
	const step = 15.0
	p := drawing(1400, 700, 0, rand.New(rand.NewPCG(15, 1)))
	drawRuler(p, halving(Inch, 8, 0), []float64{4, 5.5, 7.5, 10}, 8*step, 0, 1)
	py, err := newPyramid(p)
	if err != nil {
		t.Fatal(err)
	}
	c := candidate{frame: newFrame(segment{X: 700, Y: 362, TX: 1, Lo: -580, Hi: 580}), held: 1}
	c.comb = comb{periodPx: step, lo: -580, hi: 580, depth: [2]float64{1, 5}}
	q := readCandidate(py, c)
	if q == nil {
		t.Fatal("not read")
	}
	if q.ladder.outside < overEdge {
		t.Fatalf("marks that run over the line are seen outside of it by %.2f only", q.ladder.outside)
	}
	h := hunt{py: py}
	if err := h.addFrames(q.outward(py), clearlyHeld); err != nil {
		t.Fatal(err)
	}
	best := math.Inf(1)
	for _, f := range h.traced {
		_, depth := f.Locate(700, 350)
		best = math.Min(best, math.Abs(depth))
	}
	if best > 1.5 {
		t.Errorf("the nearest edge lies %.1f px off the ruler's, of %d", best, len(h.traced))
	}
}

// A row read from the line at which its short marks end leads to the edge at which all
// begin, which faces the other way.
func TestEndsOfMarksLeadToTheEdgeBehind(t *testing.T) {
	const step, short = 12.0, 4 * 12.0 // px: of a millimetre, and of the short marks
	p := drawing(1400, 700, 0, rand.New(rand.NewPCG(16, 1)))
	drawRuler(p, tenths(CM, 10, 0), []float64{4, 5.5, 7}, 25.4*step, 0, 1)
	py, err := newPyramid(p)
	if err != nil {
		t.Fatal(err)
	}
	edge := newFrame(segment{X: 700, Y: 350, TX: 1, Lo: -580, Hi: 580})
	ends := edge.Flipped()
	ends.Y += edge.NY * short
	q := readCandidate(py, candidate{frame: edge, held: 1, comb: comb{periodPx: step, lo: -580, hi: 580, depth: [2]float64{2, 20}}})
	if q == nil {
		t.Fatal("the row is not read")
	}
	q.scale.Frame, q.ladder.outside = ends, 0.2 // as if it had been read from there
	if !q.mayCarry(candidate{frame: edge}) {
		t.Errorf("the edge %.0f px behind is not looked at, the marks are %.0f px long", short, q.ladder.usualLength())
	}
	q.from.frame = ends
	starts, ok := q.startsOfMarks()
	if _, depth := starts.Locate(700, 350); !ok || math.Abs(depth) > traceReach/2 {
		t.Errorf("the edge lies %.1f px off where the marks begin, sought %v", depth, ok)
	}
	q.ladder.outside = 0
	if _, ok := q.startsOfMarks(); ok {
		t.Error("marks of which none goes on over their own edge are taken for turned over")
	}
	if q.mayCarry(candidate{frame: edge}) {
		t.Error("an edge behind marks of which none goes on over their own is looked at")
	}
	if q.mayCarry(candidate{frame: ends.Flipped()}) {
		t.Error("the line itself, seen from its other side, is taken for the edge")
	}
}

// rowRead is what is read of a drawn ruler's row of marks, so many px apart, in a picture w px
// wide.
func rowRead(t *testing.T, sc scheme, mm []float64, step float64, w int, seed uint64) *read {
	t.Helper()
	p := drawing(w, 700, 0, rand.New(rand.NewPCG(17, seed)))
	drawRuler(p, sc, mm, step*float64(sc.divisions)/sc.unit.Inches(), 0, 1)
	py, err := newPyramid(p)
	if err != nil {
		t.Fatal(err)
	}
	half := 0.414 * float64(w)
	edge := newFrame(segment{X: float64(w) / 2, Y: 350, TX: 1, Lo: -half, Hi: half})
	q := readCandidate(py, candidate{frame: edge, held: 1, comb: comb{periodPx: step, lo: -half, hi: half, depth: [2]float64{2, 20}}})
	if q == nil {
		t.Fatal("the row is not read")
	}
	return q
}

// A row of every second mark is part of the whole row, whose lengths tell nearly as much.
func TestEverySecondMarkIsPartOfTheRow(t *testing.T) {
	whole := rowRead(t, tenths(CM, 10, 0), []float64{4, 5.5, 7}, 12, 1400, 1)
	part := *whole
	part.readings = append([]reading(nil), whole.readings...)
	for _, c := range []struct {
		times, score, numbers float64 // of the whole's
		want                  bool
	}{{2, 0.9, 2, true}, {2, 1.1, 0.5, true}, {2, 1.1, 2, false}, {2, 1.5, 0.5, false}, {1, 0.5, 1, false}, {1.7, 0.5, 1, false}} {
		part.scale.A, part.scale.B = whole.scale.A/c.times, whole.scale.B/c.times
		whole.readings[0].numbers = 5
		part.readings[0].score, part.readings[0].numbers = c.score*whole.readings[0].score, c.numbers*5
		if got := part.partOf(*whole); got != c.want {
			t.Errorf("marks %g times as far apart, of %g times the score and %g times the numbers: %v", c.times, c.score, c.numbers, got)
		}
	}
}

// Places halfway between the marks of a row, at which nothing stands, make no row of twice as
// many marks where the lengths of those tell less.
func TestPlacesBetweenMarksAreNoFinerRow(t *testing.T) {
	const step = 13.0 // px, of a tenth of an inch
	whole := rowRead(t, tenths(Inch, 10, 0), []float64{4, 5.5, 7}, step, 1400, 2)
	if !whole.mayStandBeside(2*step) || whole.mayStandBeside(4*step) {
		t.Error("what else is looked at beside it are not marks twice as far apart")
	}
	finer := *whole
	finer.readings = append([]reading(nil), whole.readings...)
	own := whole.ladder.between
	for _, c := range []struct {
		times, score, between float64 // the finer row's, of the whole's; seen between the whole's marks
		want                  bool
	}{{2, 0.9, own, true}, {2, 1.1, own, false}, {2, 0.9, 0.8, false}, {3, 0.9, own, false}, {1, 0.9, own, false}} {
		finer.scale.A, finer.scale.B = whole.scale.A*c.times, whole.scale.B*c.times
		finer.scale.Divisions = whole.scale.Divisions
		finer.readings[0].score = c.score * whole.readings[0].score
		whole.ladder.between = c.between
		if got := finer.halvesOf(*whole); got != c.want {
			t.Errorf("a row %g times as fine, of %g times the score, with %.2f between: %v", c.times, c.score, c.between, got)
		}
	}
}

// Where the halves and wholes of a metric scale were read as if they were all its marks, the
// millimetres are read beside them.
func TestTenthsAreLookedAtBesideTheirHalves(t *testing.T) {
	const step = 24.0 // px, of an eighth of an inch, or so it seems
	q := rowRead(t, halving(Inch, 8, 0), []float64{4, 5.5, 7, 9}, step, 1400, 4)
	for _, tenths := range [2]float64{step / 5, step / 10} {
		if !q.mayStandBeside(tenths) {
			t.Errorf("marks %.1f px apart are not looked at beside those %.0f px apart", tenths, step)
		}
	}
	if q.mayStandBeside(step / 7) {
		t.Error("marks a seventh as far apart are looked at, which no scale has")
	}
}

// A short ruler's few marks are one's beyond doubt where their lengths tell more, but not
// where something stands between them or beyond its edge, or where wires were taken off.
func TestShortRulerBeyondDoubt(t *testing.T) {
	q := rowRead(t, tenths(Inch, 10, 0), []float64{4, 6, 9}, 11, 620, 3)
	if q.beyondDoubt() {
		t.Errorf("odds %.0f, worth %.0f are enough", q.odds(0), q.worth())
	}
	q.readings[0].score += 7 // as with numbers
	if w := q.worth(); w > clearWorth || !q.beyondDoubt() {
		t.Errorf("odds %.0f, worth %.0f: beyond doubt %v", q.odds(0), w, q.beyondDoubt())
	}
	for name, spoil := range map[string]func(r *read){
		"through":            func(r *read) { r.through = true },
		"something between":  func(r *read) { r.ladder.between = 0.5 },
		"runs over its edge": func(r *read) { r.ladder.outside = 0.5 },
	} {
		r := *q
		if spoil(&r); r.beyondDoubt() {
			t.Errorf("%s: beyond doubt", name)
		}
	}
}
