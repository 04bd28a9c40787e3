package calib

import (
	"math"
	"slices"
)

// Halves are shorter than wholes. Where a unit's half was taken for a unit, the marks of
// such units take turns: long, short, long, short. Of tenths it is taken where what lies
// between the marks passes for marks.

const (
	// halvedShare is how often the half of a unit is taken for a unit at least, however
	// little speaks for that. A stated prior: among the 9,000 drawn photos of judge's seeds
	// 4615, 4616 and 4618 nine such were found, and not all that came out halved were looked at.
	halvedShare = 0.003
	// turnsSeen is in how many halved scales the wholes are seen to take turns: halves may be
	// as long as wholes, and few be seen. A stated prior.
	turnsSeen = 0.3
	// unlikeAlone is by how much, in ln length, marks in turn differ at least.
	unlikeAlone = 0.1
	// finestHalved are the finest divisions of an inch that may be those of half an inch:
	// sixty-fourths are on no such ruler (common practice, no source).
	finestHalved = 16
)

// heedTurns is the probability that a reading's unit is right, which is p by all else, given
// whether the marks of its wholes take turns in length.
func (r read) heedTurns(rd reading, p float64) float64 {
	if rd.divisions > finestHalved {
		return p
	}
	chance := takeTurns(r.wholes(rd))
	if chance >= turnsSeen {
		return p
	}
	halved := math.Max(1-p, halvedShare)
	right := (1 - halved) * chance / ((1-halved)*chance + halved*turnsSeen)
	return math.Min(p, right)
}

// wholes are the lengths of the marks of whole units in a reading, every second in each of
// two lists. Of marks that were measured laid over one another, and have one length
// together, it gives one.
func (r read) wholes(rd reading) (turns [2][]float64) {
	for _, g := range r.ladder.rungs {
		k := (g.n - rd.phase) / rd.divisions
		if g.n < rd.lo || g.n > rd.hi || (g.n-rd.phase)%rd.divisions != 0 || g.length <= 0 {
			continue
		}
		if t := &turns[k&1]; !slices.Contains(*t, g.length) {
			*t = append(*t, g.length)
		}
	}
	return turns
}

// takeTurns is how likely it is that lengths of one kind differ by chance as much as these
// two lists do, 1 where they hardly do: the two-sided probability of the rank sum (Mann and
// Whitney 1947), by its normal approximation with the correction for continuity.
func takeTurns(turns [2][]float64) float64 {
	const least = 1e-6
	n, m := float64(len(turns[0])), float64(len(turns[1]))
	if n == 0 || m == 0 || math.Abs(math.Log(median(turns[0])/median(turns[1]))) < unlikeAlone {
		return 1
	}
	var over float64
	for _, a := range turns[0] {
		for _, b := range turns[1] {
			switch {
			case a > b:
				over++
			case a == b:
				over += 0.5
			}
		}
	}
	z := math.Max(0, math.Abs(over-n*m/2)-0.5) / math.Sqrt(n*m*(n+m+1)/12)
	return math.Max(least, math.Erfc(z/math.Sqrt2))
}
