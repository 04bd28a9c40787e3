package calib

import (
	"math"
	"slices"
)

// Where marks are fine or faint, dirt, grain and the pixels' own raster spoil the
// length of every single one, but a long ruler shows the same marks again in every
// unit: laid over one another, units show what none of them shows alone. Marks that
// stand so many apart are averaged, in a few groups of units rather than over all,
// for what comes again from group to group is no chance; and each average counts as
// the one observation it is.

// folds are the numbers of marks by which ladders are folded: what units are divided
// into.
func folds() [4]int { return [4]int{8, 16, 10, 32} }

const (
	// foldGroups is how many groups of units a fold is divided into: as few as still
	// show that what is seen comes again.
	foldGroups = 6
	// fewestFolded is how many units one group holds at least; of one there is
	// nothing to average.
	fewestFolded = 2
	// fewestToFold is how many marks the shortest fold takes: two groups of units.
	fewestToFold = 2 * fewestFolded * 8
	// foldReach is over how many marks to either side places are smoothed.
	foldReach = 6
)

// measureFolded is the length of each rung's mark where so many marks are laid over
// one another as stand a multiple of by apart, and how many that are in a group; 0
// where there are too few units. c are the ladder's contrasts in the strip.
func (l *ladder) measureFolded(s strip, c *contrasts, by int) (lengths []float64, alike int) {
	alike = int(float64(len(l.rungs)) / float64(by) / foldGroups)
	if len(l.rungs) > fewestFolded*by && alike < fewestFolded {
		alike = fewestFolded
	}
	if alike < fewestFolded || len(l.rungs) < 2*alike*by {
		return nil, 0
	}
	lengths = make([]float64, len(l.rungs))
	profile := make([]float64, s.rows)
	var row []float64
	for first := 0; first < len(l.rungs); first += alike * by {
		end := min(first+alike*by, len(l.rungs))
		if end-first < fewestFolded*by {
			first = max(0, len(l.rungs)-alike*by) // the rest is seen with those before it
			end = len(l.rungs)
		}
		for place := range by {
			known := 0
			n := l.endOf(s, profile, func(rows int) {
				for ; known < rows; known++ {
					row = row[:0]
					for i := first + place; i < end; i += by {
						if less := c.at(i, known); less == less {
							row = append(row, less)
						}
					}
					profile[known] = middle(row)
				}
			})
			for i := first + place; i < end; i += by {
				lengths[i] = n
			}
		}
	}
	return lengths, alike
}

// contrasts are by rung and row of a strip how much the rung's place, smoothed,
// differs from the blank ruler beside it, on the side it differs from less; NaN outside
// the picture. Marks are short as a rule, so that they are looked at row by row.
type contrasts struct {
	l     *ladder
	strip strip
	place []float64   // of each rung, smoothed
	rows  [][]float64 // by rung, as far as they were looked at
}

func (l *ladder) contrasts(s strip) *contrasts {
	return &contrasts{l, s, l.smoothed(), make([][]float64, len(l.rungs))}
}

// at is the contrast of rung i in row r.
func (c *contrasts) at(i, r int) float64 {
	if r >= len(c.rows[i]) {
		w, gap := c.l.sides()
		along := c.place[i]
		sh := c.l.shearAt(along)
		for k := len(c.rows[i]); k <= r; k++ {
			d := c.strip.d0 + float64(k)*c.strip.step
			less, _ := c.l.sideContrasts(c.strip, k, along-c.strip.lo+sh*d, w, gap)
			c.rows[i] = append(c.rows[i], less)
		}
	}
	return c.rows[i][r]
}

// everySecondEmpty says whether nothing stands at every second place of the lattice,
// so that the row has twice as many places as marks: what grain leaves there would
// pass for the shortest of the marks when it is averaged.
func (l *ladder) everySecondEmpty(s strip, c *contrasts) bool {
	const empty = 0.3 // of the contrast of the others; marks of one ruler are alike at its edge
	var sum, n [2]float64
	for r := range s.rows {
		d := s.d0 + float64(r)*s.step
		if d < l.base[0] || d > l.base[1] {
			continue
		}
		for i, g := range l.rungs {
			if v := c.at(i, r); v == v {
				sum[mod(g.n, 2)] += v
				n[mod(g.n, 2)]++
			}
		}
	}
	a, b := sum[0]/math.Max(n[0], 1), sum[1]/math.Max(n[1], 1)
	return math.Min(a, b) < empty*math.Max(a, b)
}

// middle is the mean of the middle half of v, which reorders it; NaN of nothing.
func middle(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	cut := len(v) / 4
	var sum float64
	for _, x := range v[cut : len(v)-cut] {
		sum += x
	}
	return sum / float64(len(v)-2*cut)
}

// smoothed are the rungs' places, each on a line through those that were found about it.
func (l *ladder) smoothed() []float64 {
	at := make([]float64, len(l.rungs))
	xs, ys := make([]float64, 0, 2*foldReach+1), make([]float64, 0, 2*foldReach+1)
	for i, g := range l.rungs {
		xs, ys = xs[:0], ys[:0]
		for j := max(0, i-foldReach); j <= min(len(l.rungs)-1, i+foldReach); j++ {
			if l.rungs[j].found {
				xs, ys = append(xs, float64(l.rungs[j].n-g.n)), append(ys, l.rungs[j].along)
			}
		}
		at[i] = g.along
		if len(xs) >= foldReach {
			at[i], _ = straightLine(xs, ys)
		}
	}
	return at
}
