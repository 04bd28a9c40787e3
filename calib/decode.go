package calib

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// Unit is a ruler's unit of length.
type Unit string

// The units a ruler's scale may have.
const (
	Inch Unit = "in"
	CM   Unit = "cm"
)

// Inches is the length of the unit; 25.4 mm = 1 in exactly (international
// yard and pound agreement, 1959).
func (u Unit) Inches() float64 {
	if u == CM {
		return 1 / 2.54
	}
	return 1
}

// reading is one way to understand a ladder: which unit, how many lattice
// steps make one, and which rung is a whole unit.
type reading struct {
	unit      Unit
	divisions int     // lattice steps per unit
	classes   int     // of mark lengths in its scheme
	phase     int     // rung n is a whole unit where (n-phase) mod divisions = 0
	lo, hi    int     // first and last rung that it holds for
	explained float64 // share of those rungs whose length is as their place foretells
	evidence  float64 // log likelihood ratio against lengths that do not depend on their place
	lengths   float64 // log likelihood of the marks' lengths in millimetres, part of the score
	numbers   float64 // log odds that the numbers give, part of the score; see numbersOdds
	score     float64 // log likelihood, up to a constant
}

// byTen says whether marks go by tens, so that inch and centimetre look alike.
func (r reading) byTen() bool { return r.divisions == 10 }

// freedom is what a reading's evidence is worth less, in log odds, for the mark
// lengths that its scheme has beyond those of the simplest: they fit anything the
// better.
func (rd reading) freedom() float64 {
	const simplest, perClass = 3, 3
	return perClass * float64(rd.classes-simplest)
}

// What decode takes for granted about measured lengths. Those of marks that were
// spoilt, of the shortest and of local rises were set on 1,600 drawn scenes.
const (
	strayShare     = 0.1  // of marks whose length was spoilt by a digit, dirt, a wire
	otherShare     = 0.03 // of marks that a digit made as long as another length of the scale
	strayCost      = -0.5 // log odds of a mark whose end was lost, or that is shorter than any: worn off
	longCost       = -1.0 // of one that is longer than the shortest and as long as none
	minTopRatio    = 1.35 // the whole-unit mark is at least this much longer than the shortest
	minSecondRatio = 1.12 // and than the second shortest
	minLocalRise   = 1.06 // longer marks of a halved unit are this much longer than the next shorter ones beside them
	leastShortest  = 0.5  // share of the places of the shortest marks that must have one, of that of the others
	minShortest    = 0.6  // share of the marks at the places of the shortest that are as short
	wholeLonger    = 1.06 // a whole unit's mark is longer than its half's by this factor,
	wholeAlike     = -2   // or else, in log odds, it is hardly the whole unit's
	longer         = 1.08 // a mark that is longer than those of the class below is so by this factor
	allSpoilt      = 5    // of so many marks of a class all may be spoilt: stated, no source
	evidence       = 0.5  // weight of one mark: neighbours err alike, so not each counts in full
	evidenceCap    = 200  // marks; more do not make a reading surer
)

// lengthObs is a measured mark length, in lattice steps.
type lengthObs struct {
	n     int
	v     float64
	stray bool // did not end where a ruler's mark would
}

// decode reads the hierarchy of mark lengths: it tries every scheme at every
// phase and weighs how much better the lengths are foretold by their place than
// by drawing them from all the lengths seen (a comb of equal wires, or junk,
// gains nothing), how plausible they are in millimetres, and how simple the
// scheme is. A reading holds on the stretch of the ladder where it foretells
// the lengths best, since a ladder may run on beyond the ruler's ends. Best first.
func decode(l ladder) []reading { return newDecoder(l).read(l) }

// decoder is what tells of a ladder's hierarchy beside its marks' lengths, of which
// several measurements are tried.
type decoder struct {
	schemes []scheme
	nearer  []float64       // by rung, see ladder.nearer
	numbers map[int]float64 // by the divisions of a unit, see numbersOdds
}

func newDecoder(l ladder) decoder {
	d := decoder{schemes: schemes(), nearer: l.nearer(), numbers: map[int]float64{}}
	for _, sc := range d.schemes {
		if _, known := d.numbers[sc.divisions]; !known {
			d.numbers[sc.divisions] = numbersOdds(l.rungs, sc.divisions)
		}
	}
	return d
}

// read is decode for the lengths that the ladder has now.
func (d decoder) read(l ladder) []reading {
	o, ok := observe(l, d.nearer)
	if !ok {
		return nil
	}
	var out []reading
	for _, sc := range d.schemes {
		if len(o.all) < sc.fewest() {
			continue
		}
		t := o.try(sc)
		for phase := range sc.divisions {
			if rd, ok := t.at(phase, d.numbers[sc.divisions]); ok {
				out = append(out, rd)
			}
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].score > out[j].score })
	return out
}

// fewest is how many marks a reading holds for at least: those of a unit and a
// quarter.
func (s scheme) fewest() int { return s.divisions + s.divisions/4 }

// observed are the measured lengths of a ladder's marks.
type observed struct {
	all      []lengthObs
	byLength []int   // those in all that are no strays, the shortest first
	floor    float64 // the least spread of a length, in lattice steps
	uniform  float64 // density of a stray length
	alike    int     // how many were measured as one
	// null is the log likelihood of each if it is drawn from all, whatever its
	// place; within that if it is drawn from those of a stretch lo…hi.
	null   []float64
	within map[[2]int][]float64
}

// observe takes up the lengths of the marks that were found; ok is false where they
// are too few to tell a hierarchy.
func observe(l ladder, nearer []float64) (o observed, ok bool) {
	for i, r := range l.rungs {
		if !r.found {
			continue
		}
		q := lengthObs{r.n, r.length / l.periodPx / nearer[i], r.length <= 0 || r.length > deepest*l.maxDepth}
		if !q.stray {
			o.byLength = append(o.byLength, len(o.all))
		}
		o.all = append(o.all, q)
	}
	const fewest = 8
	if len(o.byLength) < fewest {
		return o, false
	}
	slices.SortFunc(o.byLength, func(i, j int) int { return cmp.Compare(o.all[i].v, o.all[j].v) })
	median := o.all[o.byLength[len(o.byLength)/2]].v
	o.floor = math.Max(0.8*l.stepPx/l.periodPx, 0.04*median)
	o.uniform = l.periodPx / math.Max(l.maxDepth, 1)
	o.alike = max(1, l.alike) // marks whose lengths were measured as one are one observation
	o.null, o.within = o.drawn(o.all), map[[2]int][]float64{}
	return o, true
}

// sigma is the spread of a measured length.
func (o *observed) sigma(v float64) float64 { return math.Hypot(o.floor, 0.04*v) }

// asLong is the greatest length that is as good as v.
func (o *observed) asLong(v float64) float64 { return v + 3*o.sigma(v) }

// drawn is the log likelihood of each length if it is drawn from all of obs, whatever
// its place. Lengths as good as equal are reckoned once.
func (o *observed) drawn(obs []lengthObs) []float64 {
	grain := o.floor / 10
	var top, count float64
	for _, q := range obs {
		if !q.stray {
			count++
			top = math.Max(top, q.v)
		}
	}
	bins := make([]float64, int(top/grain)+2)
	bin := func(v float64) int { return int(v/grain + 0.5) }
	for _, q := range obs {
		if !q.stray {
			bins[bin(q.v)]++
		}
	}
	null, known := make([]float64, len(obs)), make([]float64, len(bins))
	for i, q := range obs {
		if q.stray {
			continue
		}
		at := bin(q.v)
		if known[at] == 0 {
			sg := o.sigma(q.v)
			reach := int(4 * sg / grain)
			var sum float64
			for j := max(0, at-reach); j <= min(len(bins)-1, at+reach); j++ {
				if bins[j] > 0 {
					sum += bins[j] * gauss(float64(j-at)*grain/sg)
				}
			}
			known[at] = math.Log((1-strayShare)*sum/(sg*count) + strayShare*o.uniform)
		}
		null[i] = known[at]
	}
	return null
}

// drawnWithin is drawn for the stretch lo…hi, which many readings share.
func (o *observed) drawnWithin(lo, hi int) []float64 {
	local, known := o.within[[2]int{lo, hi}]
	if !known {
		local = o.drawn(o.all[lo : hi+1])
		o.within[[2]int{lo, hi}] = local
	}
	return local
}

// trial is a scheme that is tried on measured lengths, at one phase after another.
type trial struct {
	*observed
	scheme scheme
	places []int // of each length in the unit, at phase 0
	// At the phase that is tried:
	groups [][]float64 // the lengths of each class, the shortest first
	centre []float64   // what they are taken for; NaN where there are none, or few and all are spoilt
	gain   []float64   // of each length: how much better its place foretells it
	off    []bool      // whether it is none of the scheme's, which tells nothing of its place
}

func (o *observed) try(sc scheme) *trial {
	t := &trial{observed: o, scheme: sc, places: make([]int, len(o.all)), groups: make([][]float64, sc.classes),
		centre: make([]float64, sc.classes), gain: make([]float64, len(o.all)), off: make([]bool, len(o.all))}
	for i, q := range o.all {
		t.places[i] = mod(q.n, sc.divisions)
	}
	return t
}

// class is the class that a length is of at a phase.
func (t *trial) class(i, phase int) int {
	k := t.places[i] - phase
	if k < 0 {
		k += t.scheme.divisions
	}
	return t.scheme.class[k]
}

// at is the reading at a phase, with the log odds that the numbers give; ok is false
// where the lengths have no such hierarchy.
func (t *trial) at(phase int, numbers float64) (rd reading, ok bool) {
	sc := t.scheme
	used := t.takeCentres(phase)
	disorder, ok := t.disorder(used)
	if !ok {
		return rd, false
	}
	t.weigh(phase)
	lo, hi, total := bestStretch(t.gain)
	each := evidence / float64(t.alike)
	if hi-lo+1 < sc.fewest() || each*total < leastLengths || each*total+numbers < minSecond ||
		sc.divisions != 10 && sc.repeats(t.all[lo:hi+1], phase, numbers > 0, t.runsOver) {
		return rd, false
	}
	// What counts is how much better the places foretell than the lengths of
	// this very stretch do: lines that are all alike there gain nothing.
	total = sc.foretold(t.all[lo:hi+1], t.off[lo:hi+1], t.gain[lo:hi+1], t.null[lo:hi+1], t.drawnWithin(lo, hi), phase, t.alike)
	rd = reading{unit: sc.unit, divisions: sc.divisions, classes: sc.classes, phase: phase, lo: t.all[lo].n, hi: t.all[hi].n}
	if rd.explained, ok = t.explained(lo, hi, phase); !ok {
		return rd, false
	}
	mmPerStep := sc.unit.Inches() * 25.4 / float64(sc.divisions)
	top := t.centre[sc.classes-1]
	rd.lengths = sc.lengths(top*mmPerStep, t.centre[0]*mmPerStep)
	rd.evidence = each * total * math.Min(1, evidenceCap*float64(t.alike)/float64(hi-lo+1))
	rd.numbers = numbers
	lengths := rd.lengths
	if next := t.centre[sc.classes-2]; next > top/wholeLonger {
		lengths += wholeAlike
	}
	rd.score = rd.evidence - 1.5*float64(used) - 2*disorder + lengths + sc.prior + rd.numbers
	return rd, true
}

// takeCentres sorts the lengths by their class at a phase and takes the middle of
// each; used is how many classes have any. A class of few marks that are shorter than
// those of the class below has only spoilt ones, which say nothing of its length.
func (t *trial) takeCentres(phase int) (used int) {
	for c := range t.groups {
		t.groups[c] = t.groups[c][:0]
	}
	for _, i := range t.byLength {
		c := t.class(i, phase)
		t.groups[c] = append(t.groups[c], t.all[i].v)
	}
	shorter := 0.0
	for c, g := range t.groups {
		t.centre[c] = math.NaN()
		if len(g) == 0 {
			continue
		}
		if v := centreOf(g, shorter, t.asLong); len(g) > allSpoilt || v > shorter/longer {
			used++
			t.centre[c], shorter = v, v
		}
	}
	return used
}

// disorder is by how much the classes' lengths, of which so many are seen, fall where
// they should rise; ok is false where they are not those of a scale.
func (t *trial) disorder(used int) (sum float64, ok bool) {
	top, low := t.centre[t.scheme.classes-1], lowest(t.centre)
	if used < 2 || math.IsNaN(top) || top < minTopRatio*low {
		return 0, false
	}
	// Where the places of the shortest are empty, fewer marks make the row.
	if float64(len(t.groups[0])) < leastShortest*t.scheme.shortest()*float64(len(t.byLength)) {
		return 0, false
	}
	// Two lengths by turns, as slots and holes have, are no hierarchy.
	if !math.IsNaN(t.centre[1]) && top < minSecondRatio*t.centre[1] {
		return 0, false
	}
	// lengths must rise with the class; the last two may be equal
	const most = 3
	prev := math.Inf(-1)
	for _, v := range t.centre {
		if math.IsNaN(v) {
			continue
		}
		if v < prev-0.3*t.floor {
			sum += (prev - v) / t.floor
		}
		prev = math.Max(prev, v)
	}
	return sum, !(sum > most)
}

// runsOver says whether a length is none of its class, but longer, as of a mark that runs
// into a number.
func (t *trial) runsOver(q lengthObs, class int) bool {
	c := t.centre[class]
	return q.v > c+3*t.sigma(c) // false for NaN
}

// weigh reckons for each length how much better its place foretells it, as a
// difference of log likelihoods.
func (t *trial) weigh(phase int) {
	low, least := lowest(t.centre), math.Log(otherShare)
	sigma := make([]float64, len(t.centre))
	for c, v := range t.centre {
		sigma[c] = t.sigma(v)
	}
	for i, q := range t.all {
		if t.off[i] = q.stray || ofNone(q.v, t.centre, sigma); t.off[i] {
			// as likely under both, but a run of them does not belong to the ruler
			t.gain[i] = strayCost
			if !q.stray && q.v > low {
				t.gain[i] = longCost
			}
			continue
		}
		like := 0.0
		if c := t.class(i, phase); !math.IsNaN(t.centre[c]) {
			like = gauss((q.v-t.centre[c])/sigma[c]) / sigma[c]
		}
		t.gain[i] = math.Max(math.Log((1-strayShare)*like+strayShare*t.uniform)-t.null[i], least)
	}
}

// explained is the share of the lengths lo…hi that are as their place foretells, those
// shorter than any counted as half a length, for worn marks tell little; ok is
// false where no whole unit's mark is, or too few of the shortest are: slots and holes
// at every fourth place would leave half of those over.
func (t *trial) explained(lo, hi, phase int) (share float64, ok bool) {
	const worn = 0.5
	fit, wholes, short, shortFit := 0, 0, 0, 0
	all, low := 0.0, lowest(t.centre)
	for i := lo; i <= hi; i++ {
		class := t.class(i, phase)
		c := t.centre[class]
		fits := !t.all[i].stray && math.Abs(t.all[i].v-c) < 3*t.sigma(c)
		if fits {
			fit++
		}
		if t.off[i] && !t.all[i].stray && t.all[i].v < low {
			all += worn
		} else {
			all++
		}
		if fits && class == t.scheme.classes-1 {
			wholes++
		}
		if class == 0 {
			short++
			if fits {
				shortFit++
			}
		}
	}
	return float64(fit) / all, wholes > 0 && float64(shortFit) >= minShortest*float64(short)
}

// ofNone says whether a length is none of those of the classes, as of a mark that is
// worn off or runs into a digit: whatever its place is, that is not foretold.
func ofNone(v float64, centre, sigma []float64) bool {
	for c, at := range centre {
		if math.Abs(v-at) < 3*sigma[c] { // false for NaN
			return false
		}
	}
	return true
}

func gauss(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }

func lowest(v []float64) float64 {
	m := math.Inf(1)
	for _, x := range v {
		if x < m { // false for NaN
			m = x
		}
	}
	return m
}

// centreOf is the length of a class of marks by those measured, the shortest first, in
// lattice steps, where the next shorter class has the length shorter and lengths up to
// asLong of one are as good as that. Long marks are the ones that dirt, a digit or a
// wire cuts short, so that those that are longer than the class below count alone as
// long as they are no small part, or where the others would make a class shorter than
// the one below: of the whole units of a short stretch most may be spoilt.
func centreOf(g []float64, shorter float64, asLong func(float64) float64) float64 {
	const part = 0.2
	first := sort.SearchFloat64s(g, longer*shorter)
	if n := len(g) - first; n >= 2 && float64(n) >= part*float64(len(g)) {
		return modeOf(g[first:], asLong)
	}
	mode := modeOf(g, asLong)
	if mode < shorter/longer && first < len(g) {
		return modeOf(g[first:], asLong)
	}
	return mode
}

// modeOf is the middle of the densest cluster of v, which junk at the ends of a
// ladder does not move. v is sorted.
func modeOf(v []float64, asLong func(float64) float64) float64 {
	bestN, bi := 0, 0
	j := 0
	for i := range v {
		j = max(j, i)
		if len(v)-i <= bestN {
			break // what is left is no larger cluster
		}
		for limit := asLong(v[i]); j < len(v) && v[j] <= limit; j++ {
		}
		if j-i > bestN {
			bestN, bi = j-i, i
		}
	}
	return v[bi+bestN/2]
}

// bestStretch is the run lo…hi of greatest sum (Kadane).
func bestStretch(gain []float64) (lo, hi int, total float64) {
	start, sum := 0, 0.0
	total = math.Inf(-1)
	for i, g := range gain {
		if sum <= 0 {
			start, sum = i, 0
		}
		sum += g
		if sum > total {
			lo, hi, total = start, i, sum
		}
	}
	return lo, hi, total
}
