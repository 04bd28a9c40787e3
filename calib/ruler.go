package calib

import (
	"context"
	"math"
	"runtime"
	"slices"
	"sort"
	"sync"

	"dentcount/photo"
)

// Ruler is a ruler found in a photo.
type Ruler struct {
	// Scale is the better of the ruler's scales, Second the one on its other
	// edge where there is one and it agrees; nil where there is none.
	Scale  Scale
	Second *Scale
	// UnitProbability is the probability that the unit was read right, as far
	// as the marks tell, if they are a ruler's; whether they are, Odds tell. Of 48 drawn
	// photos (seeds 4802 and 4803) whose odds left that in doubt by a tenth and more,
	// the unit was right in all but one.
	UnitProbability float64
	// Odds is how much speaks for the marks being a ruler's, see rulerOdds.
	Odds float64
	// Through says that it is transparent: its marks were read with the wires
	// beneath taken off.
	Through bool
	// PastEdge says that its marks were followed past where its edge was seen, see
	// Scale.ExtendedPastEdge.
	PastEdge bool
	// Other is a second ruler that is seen elsewhere than this one; nil where there
	// is none. It has no other.
	Other *Ruler
	// Candidates is how many edges carried a ladder.
	Candidates int

	from read
}

// Options are the settings of FindRuler; the zero value is the default.
type Options struct {
	Unit Unit // said by a person; empty: read from the marks
	// FocalPx is the lens's focal length in px of the photo; 0: unknown.
	FocalPx float64
	// Colours are the photo's: print that hardly differs in brightness from what is seen
	// through a transparent ruler may differ in hue. The zero value has none.
	Colours photo.HalfColours
	// NotOn is a ruler that was found and is not the one sought: another is looked
	// for elsewhere. nil for none.
	NotOn *Ruler
}

// FindRuler finds the ruler and reads its scale. found is false where the
// photo shows no ladder of marks. Positions are OpenCV pixels of p.
func FindRuler(ctx context.Context, p photo.Plane, opt Options) (r Ruler, found bool, err error) {
	py, err := newPyramid(p)
	if err != nil {
		return r, false, err
	}
	reads, err := search(ctx, py, opt)
	if err != nil {
		return r, false, err
	}
	if !slices.ContainsFunc(reads, read.alone) {
		for i := range reads {
			reads[i].only = reads[i].wholeRow()
		}
	}
	all := slices.Clone(reads)
	reads = slices.DeleteFunc(reads, func(q read) bool {
		return slices.ContainsFunc(all, q.insideOf) || slices.ContainsFunc(all, q.partOf) || slices.ContainsFunc(all, q.halvesOf) ||
			slices.ContainsFunc(all, q.stretchOf)
	})
	sort.SliceStable(reads, func(i, j int) bool {
		if a, b := reads[i].alone(), reads[j].alone(); a != b {
			return a
		}
		return reads[i].worth() > reads[j].worth()
	})
	around := newSurroundings(py, opt.FocalPx)
	pick, ok := choose(reads, opt.Unit, around)
	if !ok {
		return r, false, nil
	}
	r = rulerOf(py, reads, pick)
	var others []read
	for _, q := range reads {
		if q.alone() && reads[pick.read].notOn(q) {
			others = append(others, q)
		}
	}
	around.widths = map[int]faceSize{} // by the reads' numbers
	if pick, ok = choose(others, opt.Unit, around); ok {
		o := rulerOf(py, others, pick)
		r.Other = &o
	}
	return r, true, nil
}

// rulerOf is the ruler that was chosen among reads.
func rulerOf(py pyramid, reads []read, pick chosen) (r Ruler) {
	q := reads[pick.read]
	r.UnitProbability = q.heedTurns(q.readings[pick.reading], pick.unitP)
	r.from = q
	r.Odds, r.Through = q.odds(pick.reading), q.through
	var err error
	if r.Scale, err = fullScale(py, q, q.readings[pick.reading]); err != nil {
		r.Scale = q.scale
	}
	if pick.second >= 0 {
		q = reads[pick.second]
		if t, err := fullScale(py, q, q.readings[pick.secondReading]); err == nil {
			r.Second = &t
		}
	}
	for _, q := range reads {
		if q.alone() {
			r.Candidates++
		}
	}
	return r
}

// InUnit is the ruler r of photo p with its marks understood in another unit, each
// standing for the same part of it; found is false where they do not allow that. Of a
// second scale it says nothing.
func (r Ruler) InUnit(p photo.Plane, unit Unit) (o Ruler, found bool, err error) {
	k := slices.IndexFunc(r.from.readings, func(rd reading) bool { return rd.unit == unit && rd.divisions == r.Scale.Divisions })
	if k < 0 {
		return o, false, nil
	}
	py, err := newPyramid(p)
	if err != nil {
		return o, false, err
	}
	o = rulerOf(py, []read{r.from}, chosen{reading: k, second: -1, unitP: 1 - r.UnitProbability})
	o.Candidates, o.Other = r.Candidates, r.Other
	return o, true, nil
}

// readAll reads candidates side by side; the result keeps their order and
// leaves out those that are no ladder.
func readAll(py pyramid, cands []candidate) []*read {
	slots := make([]*read, len(cands))
	SideBySide(len(cands), func(i int) { slots[i] = readCandidate(py, cands[i]) })
	var out []*read
	for _, q := range slots {
		if q != nil {
			out = append(out, q)
		}
	}
	return out
}

// SideBySide calls f for 0 … n-1 on all cores and returns when all are done.
func SideBySide(n int, f func(i int)) {
	next := make(chan int)
	var wg sync.WaitGroup
	for w := 0; w < runtime.GOMAXPROCS(0); w++ {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range next {
				f(i)
			}
		}()
	}
	for i := 0; i < n; i++ {
		next <- i
	}
	close(next)
	wg.Wait()
}

// minExplained is the share of marks whose length must be as their place in the
// unit foretells.
const minExplained = 0.7

// leastOdds is the evidence a ladder must have; see rulerOdds.
const leastOdds = 12

// rulerOdds is how much speaks for a ladder being a ruler's: what its lengths'
// hierarchy tells, less for schemes of many lengths, which fit anything the
// better; more along an edge that is all there, and for even marks. The weights
// are from practice photos of two renderers, a hundred with a ruler. Of 53 drawn
// scenes that are hard to read and 88 other photos, two gave a row of something
// else with 12 or more, both with a low probability.
func rulerOdds(l ladder, rd reading, held float64) float64 {
	const perHeld, perOutside, perUneven, least = 8, 10, 5, 0.005
	usual := usualUneven
	if l.readPx > 0 {
		usual = math.Hypot(usual, grainPx/l.readPx)
	}
	return rd.score - rd.freedom() + perHeld*held - perOutside*math.Min(l.outside, 1) -
		perUneven*math.Log(math.Max(l.unevenness(), least)/usual)
}

// usualUneven is how unevenly a ruler's marks stand, in spacings. However far apart they
// stand, grain sets the places that are read of them off by a part of a pixel: in 18 drawn
// scenes that are hard to read (seeds 4901 to 5302), whose marks stand 3 to 11 px apart,
// by 0.06 to 0.38 px, 0.15 in the middle.
const usualUneven, grainPx = 0.02, 0.15

// Faint says that the marks are taken for a ruler's for want of any other: they have less
// Odds than a ruler's marks have by themselves.
func (r Ruler) Faint() bool { return r.Odds < leastOdds }

// leastWhole is the odds that will do for a ladder where no other has leastOdds and a share
// of mostOfRow or more of it is read. Of the rows read on 66 drawn photos without a ruler
// (seeds 5631 and 5632) none with such a share had more than 4.5, one with less 10.8; drawn
// rulers from afar that were lost (42 to 62 px an inch) had 8.8 and more with 0.5 and more.
const leastWhole, mostOfRow = 8.5, 0.5

// mostOf says whether most of a ladder is read as a scale.
func (l ladder) mostOf(rd reading) bool {
	first, last := l.rungs[0].n, l.rungs[len(l.rungs)-1].n
	return float64(rd.hi-rd.lo+1) >= mostOfRow*float64(last-first+1)
}

// minSecond is the evidence that is enough for a ruler's second scale, for only
// a few edges lie across a ruler and its spacing is foretold.
const minSecond = 6.0

// fewUnits is what is enough where a share allExplained of the marks is as foretold: the
// marks of three and a half drawn inches of tenths, all read rightly, gave 5.7.
const fewUnits, allExplained = 5.0, 0.97

// fewOfWhole is what is enough of those that are most of their row.
const fewOfWhole = 3.5

// leastLengths is how much of it the lengths must give, where the numbers say more;
// fewLengths how much is enough where the numbers are plain and all in all it is a ruler:
// two drawn rulers from afar (57 and 81 px an inch) had 2.1 and 2.3, with all the odds that
// numbers can give. Of the rows read on 66 drawn photos without a ruler (seeds 5631 and
// 5632) one had more than plainNumbers, with 0.9.
const leastLengths, fewLengths, plainNumbers = 3.0, 2.0, 10.0

type read struct {
	from     candidate
	ladder   ladder // in px of the photo, whatever level it was read on
	readings []reading
	scale    Scale
	through  bool // read through a transparent ruler, the wires taken off
	// only: nothing else in the photo is as likely to be a ruler's scale; see wholeRow.
	only bool
}

// alone says whether a ladder may be a ruler's only scale.
func (r read) alone() bool { return r.odds(0) >= leastOdds || r.only }

// wholeRow says whether a ladder may be one where nothing else in the photo is: less will
// do for a row of which most is read as a scale than for a stretch of one that is as it
// should be by chance.
func (r read) wholeRow() bool {
	return !r.through && r.odds(0) >= leastWhole && r.ladder.mostOf(r.readings[0])
}

// odds are rulerOdds of a reading.
func (r read) odds(k int) float64 { return rulerOdds(r.ladder, r.readings[k], r.from.held) }

// worth ranks what was read: the log evidence that the marks stand on an even
// lattice (against marks strewn at random within the search window, whose rms
// is about 0.16 steps) and that their lengths have a ruler's hierarchy.
func (r read) worth() float64 { return r.worthOf(0) }

func (r read) worthOf(k int) float64 {
	step := r.scale.Unit.Inches() / float64(r.scale.Divisions)
	n := math.Min(float64(len(r.scale.Marks)), 80)
	even := 0.5 * n * math.Log(0.16/math.Max(r.scale.ResidualIn/step, 0.004))
	// Marks start at the ruler's edge: of two lines along one row of marks the
	// edge is the one they start from.
	best := r.readings[0] // so that a reading of smaller units does not escape
	offMM := r.ladder.base[0] / r.ladder.periodPx / float64(best.divisions) * best.unit.Inches() * 25.4
	return r.readings[k].score + even - offEdgePerMM*math.Max(0, offMM-0.3) + edgeOdds(r.from.held, r.through) - runOver*r.ladder.outside
}

// edgeOdds are the log odds that a frame runs along a ruler's edge and not
// across things near it. On practice photos an edge lies on all but a fiftieth of
// a true one's length, and on some 0.6 of that of others; of the 48 pieces that are
// looked at neighbours are alike, so that they count as half as many. The edge of a
// transparent ruler is faint: in 32 drawn scenes it was seen on 0.83 of its length in
// the mean.
func edgeOdds(held float64, through bool) float64 {
	const pieces, onOther = 24, 0.6
	onTrue := 0.98
	if through {
		onTrue = 0.83
	}
	return pieces * (held*math.Log(onTrue/onOther) + (1-held)*math.Log((1-onTrue)/(1-onOther)))
}

// offEdgePerMM is the log odds against marks that stand a millimetre off the edge;
// runOver those against marks that run on over it in full, as they do over the
// line at which the short ones end. On practice photos a true edge has none
// (0.00, rarely 0.1), such a line 0.4 to 0.9.
const offEdgePerMM, runOver = 10, 60

// readCandidate reads one candidate edge; nil where no ladder stands there.
func readCandidate(py pyramid, c candidate) *read {
	lv := py.forSpacing(c.comb.periodPx)
	l, ok := readLadder(lv.Plane, scaleFrame(c.frame, lv.k), scaleComb(c.comb, lv.k))
	if !ok {
		return nil
	}
	if l.between > everySecond {
		if c.comb, ok = c.comb.halved(l.periodPx / lv.k); !ok {
			return nil
		}
		return readCandidate(py, c)
	}
	if at, blank := l.everySecondBlank(); blank {
		c.comb = c.comb.doubled(l.periodPx/lv.k, at/lv.k)
		lv = py.forSpacing(c.comb.periodPx)
		if l, ok = readLadder(lv.Plane, scaleFrame(c.frame, lv.k), scaleComb(c.comb, lv.k)); !ok {
			return nil
		}
	}
	return understand(c, l.scaled(1/lv.k))
}

// halved is the comb of a row every second mark of which stands at the given spacing: it
// makes a hierarchy as good as the whole. ok is false where its marks are too fine.
func (c comb) halved(periodPx float64) (half comb, ok bool) {
	c.periodPx, c.teeth = periodPx/2, nil
	return c, c.periodPx >= finestPx
}

// doubled is the comb of a row that has marks at every second place of the given spacing
// only, one of them at along.
func (c comb) doubled(periodPx, along float64) comb {
	c.periodPx, c.center, c.teeth = 2*periodPx, along, nil
	return c
}

// everySecondBlank says whether a ladder's marks stand at every second place, over a run of
// them that is most of it, and where one of them is: with halves of a unit for wholes, such
// a row may have as good a hierarchy as its own.
func (l ladder) everySecondBlank() (along float64, blank bool) {
	// One that is lost or strays is made up for by so many that do not; of fewer it is chance.
	const breaks, fewest = 4, 20
	for parity := range 2 {
		run, from, best := 0, 0, 0
		for i, g := range l.rungs {
			if g.found == (mod(g.n, 2) == parity) {
				run++
			} else if run -= breaks; run < 0 {
				run, from = 0, i+1
			}
			if run <= best {
				continue
			}
			best = run
			if run >= max(fewest, len(l.rungs)/2) {
				m := (from + i) / 2
				if mod(l.rungs[m].n, 2) != parity {
					m++
				}
				along, blank = l.rungs[m].along, true
			}
		}
	}
	return along, blank
}

const (
	// everySecond is the contrast between the marks, in parts of theirs, from which
	// on they are every second one of a finer row.
	everySecond = 0.6
	finestPx    = 1.9 // marks nearer to each other are not read
)

// understand makes a read of a ladder in px of the photo; nil where its marks
// have no ruler's hierarchy.
func understand(c candidate, l ladder) *read {
	rds := decode(l)
	if len(rds) == 0 || !(rds[0].explained >= minExplained) {
		return nil
	}
	odds, lengths := rulerOdds(l, rds[0], c.held), leastLengths
	if rds[0].numbers >= plainNumbers && odds >= leastOdds {
		lengths = fewLengths
	}
	if rds[0].evidence < lengths {
		return nil
	}
	// A few units tell little however clear they are: where every mark is as foretold,
	// and as even as a ruler's, that is hardly chance.
	enough := minSecond
	if rds[0].explained >= allExplained && odds >= leastOdds {
		enough = fewUnits
	} else if rds[0].explained >= allExplained && odds >= leastWhole && l.mostOf(rds[0]) {
		enough = fewOfWhole
	}
	if rds[0].evidence+rds[0].numbers < enough {
		return nil
	}
	s, err := fitScale(l, rds[0])
	if err != nil {
		return nil
	}
	return &read{from: c, ladder: l, readings: distinct(rds), scale: s}
}

// fullScale is the scale of one reading of a ladder, with the places of its
// marks read in the photo at full size.
func fullScale(py pyramid, q read, rd reading) (Scale, error) {
	s, err := fitScale(q.ladder, rd)
	if err != nil || q.through || py.forSpacing(q.from.comb.periodPx).k == 1 {
		return s, err
	}
	c := q.from.comb
	c.periodPx, c.center = q.ladder.periodPx, (s.Lo+s.Hi)/2
	l, ok := readLadder(py.levels[0].Plane, q.from.frame, c)
	if !ok {
		return s, nil
	}
	// The same lattice may start at another mark.
	shift, same := q.ladder.shiftTo(l)
	if !same {
		return s, nil
	}
	rd.phase, rd.lo, rd.hi = rd.phase+shift, rd.lo+shift, rd.hi+shift
	t, err := fitScale(l, rd)
	if err != nil || len(t.Marks) < 9*len(s.Marks)/10 {
		return s, nil
	}
	return t, nil
}

// insideOf says whether r was read along the line at which the shortest marks of
// o end, and o along the edge at which all begin.
func (r read) insideOf(o read) bool {
	if r.from.frame.NX*o.from.frame.NX+r.from.frame.NY*o.from.frame.NY < 0.999 || o.from.held < r.from.held-0.05 ||
		o.readings[0].score < r.readings[0].score {
		return false
	}
	x, y := r.from.frame.Point((r.scale.Lo+r.scale.Hi)/2, 0)
	_, depth := o.from.frame.Locate(x, y)
	finer := r.ladder.periodPx / o.ladder.periodPx
	const longestSteps = 6 // the shortest marks of a ladder, in spacings
	return depth > 0.5*o.ladder.periodPx && depth < longestSteps*o.ladder.periodPx &&
		finer > 1.5 && math.Abs(finer/math.Round(finer)-1) < 0.03
}

// partOf says whether r is o's own row of marks, only every so manieth of them
// taken: such a row is as even as the whole and more even for its spacing. Its lengths
// may tell a little more, where the whole shows its numbers plainer; what stands between
// the marks of a whole row is a row as well, without numbers of its own.
func (r read) partOf(o read) bool {
	const nearly = 0.8
	least := r.readings[0].score
	if o.readings[0].numbers > r.readings[0].numbers {
		least *= nearly
	}
	k, same := r.apartBeside(o)
	return same && o.readings[0].score >= least && k > 1.5 && math.Abs(k/math.Round(k)-1) < 0.02
}

// apartBeside is how many times as far apart as o's marks r's stand where r's middle is; same
// says whether both were read along one edge, facing the same way.
func (r read) apartBeside(o read) (times float64, same bool) {
	middle := (r.scale.Lo + r.scale.Hi) / 2
	x, y := r.from.frame.Point(middle, 0)
	along, depth := o.from.frame.Locate(x, y)
	facing := r.from.frame.NX*o.from.frame.NX + r.from.frame.NY*o.from.frame.NY
	return r.spacingAt(middle) / o.spacingAt(along), facing >= 0.99 && math.Abs(depth) < o.ladder.periodPx
}

// halvesOf says whether r is o's own row of marks, or the blanks at their sides, with places
// halfway between them, too, at which nothing stands: it has twice as many as even places, but
// their lengths tell less.
func (r read) halvesOf(o read) bool {
	times, same := r.apartBeside(o)
	return same && math.Abs(1/times/2-1) < 0.02 && o.alone() && o.nothingBetween() &&
		o.readings[0].score > r.readings[0].score && !o.partOf(r)
}

// nothingBetween says that no finer marks stand between those of a row.
func (r read) nothingBetween() bool { return r.ladder.nothingBetween() }

func (l ladder) nothingBetween() bool {
	const nothing = 0.2 // of the marks' own contrast
	return l.between < nothing
}

// plain says that a row was read as it is seen, and nothing stands between its marks or beyond
// its edge.
func (r read) plain() bool { return !r.through && r.nothingBetween() && r.ladder.outside < overEdge }

// spacingAt is how far apart the marks stand around a place along the edge, px.
func (r read) spacingAt(along float64) float64 {
	return math.Abs(r.scale.Unit.Inches() / float64(r.scale.Divisions) / r.scale.InPerPx(along))
}

// stretchOf says whether r is a part of o, the same marks along the same edge on a
// shorter stretch, as where an edge was cut or traced in pieces.
func (r read) stretchOf(o read) bool {
	if r.from.frame.NX*o.from.frame.NX+r.from.frame.NY*o.from.frame.NY < 0.99 || !o.alone() || o.readings[0].unit != r.readings[0].unit ||
		o.readings[0].divisions != r.readings[0].divisions || o.worth() < stretchWorth*r.worth() || o.scale.Hi-o.scale.Lo < muchLonger*(r.scale.Hi-r.scale.Lo) {
		return false
	}
	for _, t := range [3]float64{0.1, 0.5, 0.9} {
		x, y := r.from.frame.Point(r.scale.Lo+t*(r.scale.Hi-r.scale.Lo), 0)
		along, depth := o.from.frame.Locate(x, y)
		if math.Abs(depth) > 0.5*o.ladder.periodPx || along < o.scale.Lo-o.ladder.periodPx || along > o.scale.Hi+o.ladder.periodPx {
			return false
		}
		here := 1 / r.scale.InPerPx(r.scale.Lo+t*(r.scale.Hi-r.scale.Lo))
		if there := 1 / o.scale.InPerPx(along); math.Abs(math.Abs(there/here)-1) > 0.02 {
			return false
		}
	}
	return true
}

const (
	// muchLonger is how much longer a reading must be to stand for a part of it that
	// is read a little better, stretchWorth the share of the part's worth that it
	// must have.
	muchLonger, stretchWorth = 1.2, 0.8
)

// notOn says whether o is a ruler beyond doubt that lies elsewhere than the one
// that r was read on.
func (r read) notOn(o read) bool {
	mid := (o.scale.Lo + o.scale.Hi) / 2
	return o.worth() > 0.7*clearWorth && o.odds(0) > clearOdds &&
		r.offRuler(o.from.frame, mid) && r.offRuler(o.scale.Frame, mid) && !r.goesOnAs(o) && r.asFarAway(o)
}

// goesOnAs says whether o lies where the ruler that carries r would, if it went on
// past what was read: along the same edge, or along the opposite one.
func (r read) goesOnAs(o read) bool {
	facing := r.scale.Frame.NX*o.scale.Frame.NX + r.scale.Frame.NY*o.scale.Frame.NY
	if math.Abs(facing) < parallel {
		return false
	}
	// by the end that is nearer, where the edge that was read need not be drawn out as far
	nearest, depth := math.Inf(1), 0.0
	for _, along := range []float64{o.scale.Lo, o.scale.Hi} {
		x, y := o.scale.Frame.Point(along, 0)
		a, d := r.scale.Frame.Locate(x, y)
		if away := math.Max(r.scale.Lo-a, a-r.scale.Hi); away < nearest {
			nearest, depth = away, d
		}
	}
	if in := depth / math.Abs(r.scale.PxPerIn()); facing > 0 {
		return in > -beforeIn && in < behindIn
	}
	return depth > 0 && depth < r.widthPx()
}

// asFarAway says whether o's inches are seen about as large as r's, as those of rulers
// on one part or on what it lies on are.
func (r read) asFarAway(o read) bool {
	// A ruler an inch or two below, or at the far end of a photo that is tilted (common
	// practice, no source).
	const most = 0.5
	return math.Abs(math.Log(math.Abs(o.scale.PxPerIn()/r.scale.PxPerIn()))) < most
}

// has says whether a ladder may be read in a unit.
func (r read) has(u Unit) bool {
	for _, q := range r.readings {
		if q.unit == u {
			return true
		}
	}
	return false
}

// distinct keeps the best reading of each unit and number of divisions.
func distinct(rds []reading) []reading {
	var out []reading
	for _, r := range rds {
		dup := false
		for _, o := range out {
			dup = dup || (o.unit == r.unit && o.divisions == r.divisions)
		}
		if !dup && r.score > rds[0].score-25 {
			out = append(out, r)
		}
	}
	return out
}

// scaleFrame carries a frame from a reduced picture to one k times as large.
func scaleFrame(f Frame, k float64) Frame {
	g := f
	g.X, g.Y = (f.X+0.5)*k-0.5, (f.Y+0.5)*k-0.5
	g.Lo, g.Hi, g.Half = f.Lo*k, f.Hi*k, f.Half*k
	for i := range g.Bow {
		g.Bow[i] *= k
	}
	return g
}

func scaleComb(c comb, k float64) comb {
	c.periodPx *= k
	c.center *= k
	c.lo *= k
	c.hi *= k
	c.depth[0] *= k
	c.depth[1] *= k
	c.teeth = append([]float64(nil), c.teeth...)
	for i := range c.teeth {
		c.teeth[i] *= k
	}
	return c
}
