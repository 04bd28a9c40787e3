package calib

import (
	"math"
	"math/rand/v2"
	"testing"
)

// readOf is a read of eighths of an inch along a level edge at a height of the picture.
func readOf(t *testing.T, y float64) read {
	t.Helper()
	l := rulerLadder(halving(Inch, 8, 0), []float64{3, 5, 7, 10}, 6, 120, 0.3, 0, 0, rand.New(rand.NewPCG(17, 1)))
	l.frame = Frame{Y: y, TX: 1, NY: 1, Half: 400, Lo: 0, Hi: 800}
	q := understand(candidate{frame: l.frame, held: 1}, l)
	if q == nil {
		t.Fatal("not read")
	}
	return *q
}

// Of two ladders that were read of the same marks the one that tells more decides how
// they are understood, though the other is a little more even; one of other marks has no
// say.
func TestLaddersOfOneRowAgree(t *testing.T) {
	as := func(q read, eighths, sixteenths float64) read {
		rd := q.readings[0]
		rd.divisions, rd.score = 8, eighths
		other := rd
		other.divisions, other.score = 16, sixteenths
		q.readings = []reading{rd, other}
		if sixteenths > eighths {
			q.readings = []reading{other, rd}
		}
		return q
	}
	wrong, right := as(readOf(t, 300), 20, 23), as(readOf(t, 300), 26, 9)
	right.scale.ResidualIn = 0.02 / 8
	around := surroundings{work: level{k: 1}, focalPx: 3000, widths: map[int]faceSize{}}
	c, ok := choose([]read{wrong, right}, "", around)
	if !ok {
		t.Fatal("none chosen")
	}
	reads := []read{wrong, right}
	if got := reads[c.read].readings[c.reading].divisions; got != 8 {
		t.Errorf("%d divisions chosen, want 8", got)
	}
	others := rowAgrees([]read{wrong, as(readOf(t, 600), 26, 9)}, 0)
	for k := range wrong.readings {
		if got := others(k); got != 0 {
			t.Errorf("marks elsewhere add %.1f to reading %d", got, k)
		}
	}
	// A reading that is missing once may be lost to a spoilt mark.
	lone := right
	lone.readings = lone.readings[:1]
	if got := rowAgrees([]read{wrong, lone}, 0)(0); got > -1 || got < -notRead {
		t.Errorf("a reading that the other ladder lacks: %.1f", got)
	}
}

// Whether marks are a ruler's does not tell their unit.
func TestUnitOfAWeakLadder(t *testing.T) {
	q := readOf(t, 300)
	q.readings = q.readings[:1]
	q.readings[0].score -= q.odds(0) - leastOdds - 1
	c, ok := choose([]read{q}, "", surroundings{work: level{k: 1}, focalPx: 3000, widths: map[int]faceSize{}})
	if !ok || c.unitP < 0.99 {
		t.Errorf("chosen %v, unit with %.2f where no other is thinkable", ok, c.unitP)
	}
}

// A row of marks that was read several times is as much in doubt as if it were read once.
func TestUnitOfARowReadSeveralTimes(t *testing.T) {
	q := readOf(t, 300)
	rd := q.readings[0]
	other := rd
	other.divisions, other.score = 16, rd.score-1
	q.readings = []reading{rd, other}
	around := surroundings{work: level{k: 1}, focalPx: 3000, widths: map[int]faceSize{}}
	var once float64
	for n := 1; n <= 3; n++ {
		var reads []read
		for range n {
			reads = append(reads, q)
		}
		c, ok := choose(reads, "", around)
		if !ok {
			t.Fatal("none chosen")
		}
		if n == 1 {
			once = c.unitP
		}
		if once < 0.5 || once > 0.9 || math.Abs(c.unitP-once) > 1e-9 {
			t.Errorf("read %d times: unit with %.3f, with %.3f when read once", n, c.unitP, once)
		}
	}
}

// Marks that run on over the edge as wires do are no ruler's.
func TestWhatRunsOnOverTheEdgeIsNoRuler(t *testing.T) {
	q := readOf(t, 300)
	q.readings[0].score -= q.odds(0) - leastOdds - 3
	if !q.alone() {
		t.Fatal("no ruler as it is")
	}
	q.ladder.outside = 0.99
	if q.alone() || math.IsNaN(q.odds(0)) {
		t.Errorf("odds of what runs on: %.1f", q.odds(0))
	}
}

// What was read along the same edge, where the ruler's marks were, is of the same marks; what
// was read deeper on its face, past its marks, or facing it is not.
func TestRowsAlongTheSameEdge(t *testing.T) {
	own := read{ladder: ladder{periodPx: 10}}
	own.from.frame = newFrame(segment{X: 500, Y: 300, TX: 1, Lo: -400, Hi: 400})
	own.scale.Lo, own.scale.Hi = -400, 400
	for _, c := range []struct {
		name   string
		dx, dy float64
		flip   bool
		want   bool
	}{{"a pixel off", 0, 1, false, true}, {"half of it", 150, 3, false, true}, {"deeper", 0, 40, false, false}, {"past its end", 700, 0, false, false}, {"facing it", 0, 1, true, false}} {
		o := own
		o.from.frame = newFrame(segment{X: 500 + c.dx, Y: 300 + c.dy, TX: 1, Lo: -200, Hi: 200})
		if c.flip {
			o.from.frame = o.from.frame.Flipped()
		}
		o.scale.Lo, o.scale.Hi = -200, 200
		if got := own.sharesEdge(o); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// Where the marks on the ruler's other edge are clearly a ruler's, a reading that they agree
// with in none of theirs yields to one that they agree with; what was read through the ruler
// may be wires, and does not speak against it.
func TestOtherEdgeThatDiffers(t *testing.T) {
	q, o := readOf(t, 300), readOf(t, 330)
	o.from.frame.NY, o.scale.Frame.NY = -1, -1
	rd := o.readings[0]
	rd.divisions = 16
	rd.score -= o.odds(0) - leastOdds - 3 // less of a ruler than the other row
	o.readings = []reading{rd}
	if !o.alone() || !opposite(q.scale, o.scale) {
		t.Fatal("the other edge is no ruler's")
	}
	// yields is how much less likely sixteenths must be by the row's own marks for eighths to
	// be chosen all the same.
	yields := func(through bool) float64 {
		o.through = through
		eighths := q.readings[0]
		eighths.divisions = 8
		sixteenths := eighths
		sixteenths.divisions = 16
		for less := 0.0; less < 30; less += 0.1 {
			sixteenths.score = eighths.score - less
			q.readings = []reading{eighths, sixteenths}
			c, ok := choose([]read{q, o}, "", surroundings{work: level{k: 1}, focalPx: 3000, widths: map[int]faceSize{}})
			if ok && c.read == 0 && q.readings[c.reading].divisions == 8 {
				return less
			}
		}
		return math.Inf(1)
	}
	if plain, through := yields(false), yields(true); math.Abs(plain-through+otherDiffers) > 0.2 || plain < through+3 {
		t.Errorf("eighths are chosen from %.1f on, from %.1f on where the other edge was read through the ruler", plain, through)
	}
}
