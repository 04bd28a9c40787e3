package calib

import (
	"math"
	"slices"
	"sort"
)

// chosen is a ladder and the way to understand it, and those of the second
// scale; second is -1 where there is none.
type chosen struct {
	read, reading         int
	second, secondReading int
	unitP                 float64
}

// choose picks the ruler among the ladders read and settles its unit. Two
// ladders on opposite edges of one ruler must agree on pixels per inch
// (25.4 mm = 1 in); a pair that does outweighs either alone. Where a person has
// said the unit, only scales of it are chosen; ok is false where there is none.
func choose(reads []read, said Unit, around surroundings) (c chosen, ok bool) {
	type option struct {
		i, k, j, m int // read i understood as its reading k, with read j as m; j = -1: alone
		score      float64
		pxPerInch  float64
	}
	var opts []option
	pxIn := func(r read, k int) float64 {
		perStep := (r.ladder.rungs[len(r.ladder.rungs)-1].along - r.ladder.rungs[0].along) / float64(r.ladder.rungs[len(r.ladder.rungs)-1].n)
		return perStep * float64(r.readings[k].divisions) / r.readings[k].unit.Inches()
	}
	n := len(reads)
	if said == "" {
		n = min(n, 8)
	}
	for i := 0; i < n && reads[i].alone(); i++ {
		others := rowAgrees(reads, i)
		for k, rd := range reads[i].readings {
			if said != "" && rd.unit != said {
				continue
			}
			perIn := pxIn(reads[i], k)
			alone := reads[i].worthOf(k) + others(k) + around.distance(perIn) + around.wholeRow(reads, i, rd) + reads[i].inkLikelihood(rd) + reads[i].figureLikelihood(rd)
			score := alone
			if rd.byTen() {
				score += around.width(i, reads[i], perIn, rd.lengths)
			}
			single := len(opts)
			opts = append(opts, option{i, k, -1, 0, score, perIn})
			agrees, differs := false, false
			for j := range reads {
				if j == i || !opposite(reads[i].scale, reads[j].scale) {
					continue
				}
				fits := false
				for m, other := range reads[j].readings {
					q := math.Log(perIn / pxIn(reads[j], m))
					// perspective across the ruler and along differing stretches: 3 %
					if math.Abs(q) > acrossRuler {
						continue
					}
					fits = true
					// the other edge's own evenness is no evidence for this reading;
					// what counts is how well it fits beside its own best reading
					extra := pairOdds(reads[j], other) - q*q/(2*0.03*0.03) + other.score - reads[j].readings[0].score
					if rd.byTen() && other.byTen() {
						// the same for both edges: how wide the ruler is says it
						extra -= rd.lengths + other.lengths - reads[j].readings[0].lengths
						if rd.unit == Inch && other.unit == Inch {
							extra += twiceTenths
						}
					}
					extra += apartLikelihood(apartPx(reads[i].scale, reads[j].scale) / perIn)
					opts = append(opts, option{i, k, j, m, alone + extra, perIn})
				}
				agrees = agrees || fits
				differs = differs || !fits && reads[j].alone() && !reads[j].through && !reads[i].through
			}
			if differs && !agrees {
				opts[single].score += otherDiffers
			}
		}
	}
	sort.SliceStable(opts, func(a, b int) bool { return opts[a].score > opts[b].score })
	if len(opts) == 0 {
		return c, false
	}
	best := opts[0]
	c.read, c.reading, c.second, c.secondReading = best.i, best.k, best.j, best.m
	// How much the rivals weigh that understand the same ladder otherwise, or another that was
	// read along the same edge: each inch once, by the likeliest that has it, for one row of
	// marks may have been read several times.
	const sameInch = 0.1
	var sum float64
	var seen []float64 // px per inch
	for _, o := range opts {
		near := func(pxPerInch float64) bool { return math.Abs(math.Log(o.pxPerInch/pxPerInch)) <= sameInch }
		if near(best.pxPerInch) || slices.ContainsFunc(seen, near) || o.i != best.i && !reads[best.i].sharesEdge(reads[o.i]) {
			continue
		}
		seen = append(seen, o.pxPerInch)
		sum += math.Exp(math.Max(-60, o.score-best.score))
	}
	c.unitP = 1 / (1 + sum)
	return c, true
}

// sharesEdge says whether o was read along the edge along which r was, where that was.
func (r read) sharesEdge(o read) bool {
	if r.from.frame.NX*o.from.frame.NX+r.from.frame.NY*o.from.frame.NY < parallel {
		return false
	}
	middle := (o.scale.Lo + o.scale.Hi) / 2
	x, y := o.from.frame.Point(middle, 0)
	along, depth := r.from.frame.Locate(x, y)
	return math.Abs(depth) < math.Max(r.ladder.periodPx, o.ladder.periodPx) && along > r.scale.Lo && along < r.scale.Hi
}

// rowAgrees tells of each reading of the i-th ladder what the other ladders that were read
// of the same row of marks, from another line or with the wires taken off in another way,
// make of its score: they are one row, whose lengths were measured several times, so
// that what counts is how well a reading does beside the best one in the mean of them,
// each weighed by its odds. The row's numbers were printed once: what is left of wires may
// hide them, so that those count that show the plainest.
func rowAgrees(reads []read, i int) func(k int) float64 {
	row := []read{reads[i]}
	for j := 0; j < len(reads) && reads[j].alone(); j++ {
		if j != i && reads[i].sameRow(reads[j]) {
			row = append(row, reads[j])
		}
	}
	numbers := map[int]float64{} // by the divisions of a unit
	for _, q := range row {
		for _, o := range q.readings {
			numbers[o.divisions] = math.Max(numbers[o.divisions], o.numbers)
		}
	}
	beside := func(q read, rd reading) float64 {
		score, best := math.Inf(-1), math.Inf(-1)
		for _, o := range q.readings {
			s := o.score - o.numbers + numbers[o.divisions]
			best = math.Max(best, s)
			if o.unit == rd.unit && o.divisions == rd.divisions {
				score = s
			}
		}
		if math.IsInf(score, -1) {
			return -notRead
		}
		return score - best
	}
	return func(k int) float64 {
		rd := reads[i].readings[k]
		var sum, w float64
		for _, q := range row {
			sum, w = sum+q.odds(0)*beside(q, rd), w+q.odds(0)
		}
		return sum/w - (rd.score - reads[i].readings[0].score)
	}
}

// notRead is the log odds against a reading that a ladder of the same marks does not
// have: one spoilt mark may have taken it from there.
const notRead = 8

// pairOdds are the log odds that a second scale adds to a reading it agrees with.
func pairOdds(second read, rd reading) float64 {
	most := pairGain
	if !second.alone() {
		most = weakGain
	}
	return math.Min(most, math.Max(0, pairEvidence*(rd.evidence-rd.freedom())))
}

const (
	// pairEvidence is the share of a second scale's evidence that counts for a
	// reading it agrees with, since without it the other edge's ladder were
	// chance; pairGain is the most it counts, weakGain that of one that would not
	// do for a ruler alone.
	pairEvidence, pairGain, weakGain = 0.4, 8.0, 3.0
	// otherDiffers is the log odds against a reading with which the marks on the ruler's other
	// edge agree in none of theirs, where those are clearly a ruler's and both are seen on their
	// own ground: of 189 pairs on drawn rulers that were read rightly (judge, seed 4629, every
	// fifth with a second ruler beside) one or two were of two rulers.
	otherDiffers = -4.4
	// twiceTenths is the log odds of tenths of an inch on both edges of a rule
	// (common practice, no source: hardly ever met).
	twiceTenths = -3
)

// apartPx is how far the edge of one scale lies from that of another.
func apartPx(a, b Scale) float64 {
	x, y := b.Frame.Point((b.Lo+b.Hi)/2, 0)
	_, depth := a.Frame.Locate(x, y)
	return math.Abs(depth)
}

// opposite says whether two scales lie on the two edges of one ruler: parallel,
// facing each other, no further apart than a ruler is wide.
func opposite(a, b Scale) bool {
	if a.Frame.NX*b.Frame.NX+a.Frame.NY*b.Frame.NY > -parallel {
		return false
	}
	x, y := b.Frame.Point((b.Lo+b.Hi)/2, 0)
	al, depth := a.Frame.Locate(x, y)
	if al < a.Lo-0.5*(a.Hi-a.Lo) || al > a.Hi+0.5*(a.Hi-a.Lo) {
		return false
	}
	perIn := a.PxPerIn()
	return depth > 0 && depth < 6*math.Abs(perIn)
}
