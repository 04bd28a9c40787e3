package calib

import (
	"math"
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
func decode(l ladder) []reading {
	var all []lengthObs
	var seen []float64
	nearer := l.nearer()
	for i, r := range l.rungs {
		if !r.found {
			continue
		}
		o := lengthObs{r.n, r.length / l.periodPx / nearer[i], r.length <= 0 || r.length > 0.96*l.maxDepth}
		all = append(all, o)
		if !o.stray {
			seen = append(seen, o.v)
		}
	}
	if len(seen) < 8 {
		return nil
	}
	sort.Float64s(seen)
	floor := math.Max(0.8*l.stepPx/l.periodPx, 0.04*seen[len(seen)/2])
	sigma := func(c float64) float64 { return math.Hypot(floor, 0.04*c) }
	uniform := l.periodPx / math.Max(l.maxDepth, 1) // density of a stray length
	// Null: each length drawn from all lengths seen, whatever its place.
	// Lengths as good as equal are reckoned once.
	grain := floor / 10
	nullOf := func(obs []lengthObs) []float64 {
		var top, count float64
		for _, o := range obs {
			if !o.stray {
				count++
				top = math.Max(top, o.v)
			}
		}
		bins := make([]float64, int(top/grain)+2)
		bin := func(v float64) int { return int(v/grain + 0.5) }
		for _, o := range obs {
			if !o.stray {
				bins[bin(o.v)]++
			}
		}
		null, known := make([]float64, len(obs)), make([]float64, len(bins))
		for i, o := range obs {
			if o.stray {
				continue
			}
			at := bin(o.v)
			if known[at] == 0 {
				sg := sigma(o.v)
				reach := int(4 * sg / grain)
				var sum float64
				for j := max(0, at-reach); j <= min(len(bins)-1, at+reach); j++ {
					if bins[j] > 0 {
						sum += bins[j] * gauss(float64(j-at)*grain/sg)
					}
				}
				known[at] = math.Log((1-strayShare)*sum/(sg*count) + strayShare*uniform)
			}
			null[i] = known[at]
		}
		return null
	}
	// marks whose lengths were measured as one are one observation
	each := evidence / float64(max(1, l.alike))
	null := nullOf(all)
	within := map[[2]int][]float64{}
	numbers := map[int]float64{}
	for _, sc := range schemes() {
		numbers[sc.divisions] = numbersOdds(l.rungs, sc.divisions)
	}
	var out []reading
	gain, off := make([]float64, len(all)), make([]bool, len(all))
	for _, sc := range schemes() {
		if len(all) < sc.divisions+sc.divisions/4 {
			continue
		}
		groups := make([][]float64, sc.classes)
		centre := make([]float64, sc.classes)
		for ph := 0; ph < sc.divisions; ph++ {
			for c := range groups {
				groups[c] = groups[c][:0]
			}
			for _, o := range all {
				if !o.stray {
					c := sc.class[mod(o.n-ph, sc.divisions)]
					groups[c] = append(groups[c], o.v)
				}
			}
			used, shorter := 0, 0.0
			for c, g := range groups {
				centre[c] = math.NaN()
				if len(g) > 0 {
					used++
					centre[c] = centreOf(g, shorter, sigma)
					shorter = centre[c]
				}
			}
			top, low := centre[sc.classes-1], lowest(centre)
			if used < 2 || math.IsNaN(top) || top < minTopRatio*low {
				continue
			}
			// Where the places of the shortest are empty, fewer marks make the row.
			if float64(len(groups[0])) < leastShortest*sc.shortest()*float64(len(seen)) {
				continue
			}
			// Two lengths by turns, as slots and holes have, are no hierarchy.
			if !math.IsNaN(centre[1]) && top < minSecondRatio*centre[1] {
				continue
			}
			// lengths must rise with the class; the last two may be equal
			prev, disorder := math.Inf(-1), 0.0
			for _, v := range centre {
				if math.IsNaN(v) {
					continue
				}
				if v < prev-0.3*floor {
					disorder += (prev - v) / floor
				}
				prev = math.Max(prev, v)
			}
			if disorder > 3 {
				continue
			}
			for i, o := range all {
				if off[i] = o.stray || ofNone(o.v, centre, sigma); off[i] {
					// as likely under both, but a run of them does not belong to the ruler
					gain[i] = strayCost
					if !o.stray && o.v > low {
						gain[i] = longCost
					}
					continue
				}
				c := centre[sc.class[mod(o.n-ph, sc.divisions)]]
				sg := sigma(c)
				gain[i] = math.Max(math.Log((1-strayShare)*gauss((o.v-c)/sg)/sg+strayShare*uniform)-null[i], math.Log(otherShare))
			}
			lo, hi, total := bestStretch(gain)
			if hi-lo+1 < sc.divisions+sc.divisions/4 {
				continue
			}
			if each*total < minSecond || sc.divisions != 10 && sc.repeats(all[lo:hi+1], ph, numbers[sc.divisions] > 0) {
				continue
			}
			// What counts is how much better the places foretell than the lengths of
			// this very stretch do: lines that are all alike there gain nothing.
			local, known := within[[2]int{lo, hi}]
			if !known {
				local = nullOf(all[lo : hi+1])
				within[[2]int{lo, hi}] = local
			}
			total = sc.foretold(all[lo:hi+1], off[lo:hi+1], gain[lo:hi+1], null[lo:hi+1], local, ph, max(1, l.alike))
			n := float64(hi - lo + 1)
			rd := reading{unit: sc.unit, divisions: sc.divisions, classes: sc.classes, phase: ph, lo: all[lo].n, hi: all[hi].n}
			fit, wholes, short, shortFit := 0, 0, 0, 0
			for _, o := range all[lo : hi+1] {
				k := mod(o.n-ph, sc.divisions)
				c := centre[sc.class[k]]
				fits := !o.stray && math.Abs(o.v-c) < 3*sigma(c)
				if fits {
					fit++
				}
				if fits && k == 0 {
					wholes++
				}
				if sc.class[k] == 0 {
					short++
					if fits {
						shortFit++
					}
				}
			}
			// Slots and holes at every fourth place would leave half of the shortest over.
			if wholes == 0 || float64(shortFit) < minShortest*float64(short) {
				continue
			}
			rd.explained = float64(fit) / n
			mmPerStep := sc.unit.Inches() * 25.4 / float64(sc.divisions)
			lp := sc.lengths(top*mmPerStep, centre[0]*mmPerStep)
			rd.evidence = each * total * math.Min(1, evidenceCap*float64(max(1, l.alike))/n)
			rd.lengths, rd.numbers = lp, numbers[sc.divisions]
			if next := centre[sc.classes-2]; next > top/wholeLonger {
				lp += wholeAlike
			}
			rd.score = rd.evidence - 1.5*float64(used) - 2*disorder + lp + sc.prior + rd.numbers
			out = append(out, rd)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].score > out[j].score })
	return out
}

// ofNone says whether a length is none of those of the classes, as of a mark that is
// worn off or runs into a digit: whatever its place is, that is not foretold.
func ofNone(v float64, centre []float64, sigma func(float64) float64) bool {
	for _, c := range centre {
		if math.Abs(v-c) < 3*sigma(c) { // false for NaN
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

// centreOf is the length of a class of marks by those measured, in lattice steps,
// where the next shorter class has the length shorter. Long marks are the ones
// that dirt, a digit or a wire cuts short, so that those that are longer than the
// class below count alone as long as they are no small part, or where the others
// would make a class shorter than the one below: of the whole units of a short
// stretch most may be spoilt.
func centreOf(g []float64, shorter float64, sigma func(float64) float64) float64 {
	const longer, part = 1.08, 0.2
	sort.Float64s(g)
	first := sort.SearchFloat64s(g, longer*shorter)
	if n := len(g) - first; n >= 2 && float64(n) >= part*float64(len(g)) {
		return modeOf(g[first:], sigma)
	}
	mode := modeOf(g, sigma)
	if mode < shorter/longer && first < len(g) {
		return modeOf(g[first:], sigma)
	}
	return mode
}

// modeOf is the middle of the densest cluster of v, which junk at the ends of a
// ladder does not move. v is sorted.
func modeOf(v []float64, sigma func(float64) float64) float64 {
	sort.Float64s(v)
	bestN, bi := 0, 0
	j := 0
	for i := range v {
		j = max(j, i)
		for j < len(v) && v[j] <= v[i]+3*sigma(v[i]) {
			j++
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
