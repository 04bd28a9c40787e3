package calib

import "math"

// scheme is a system of mark lengths: the class of each place within a unit,
// 0 the shortest.
type scheme struct {
	unit      Unit
	divisions int
	class     []int
	classes   int
	prior     float64 // log, how often met
	major     typical // length of the whole unit's mark
	minor     float64 // length of the shortest ones to it
}

func halving(unit Unit, n int, prior float64) scheme {
	s := scheme{unit: unit, divisions: n, class: make([]int, n), prior: prior, major: halvedMajor, minor: 1}
	top := 0
	for m := n; m > 1; m /= 2 {
		top++
		s.minor *= halvedFall
	}
	for i := range s.class {
		if i == 0 {
			s.class[i] = top
			continue
		}
		for j := i; j%2 == 0; j /= 2 {
			s.class[i]++
		}
	}
	s.classes = top + 1
	return s
}

func tenths(unit Unit, n int, prior float64) scheme {
	s := scheme{unit: unit, divisions: n, class: make([]int, n), prior: prior, major: tenthsMajor, minor: tenthsMinor}
	per := n / 10 // lattice steps a tenth
	low := 0
	if per > 1 {
		low = 1
	}
	for i := range s.class {
		switch {
		case i == 0:
			s.class[i] = low + 2
		case i == n/2:
			s.class[i] = low + 1
		case i%per == 0:
			s.class[i] = low
		}
	}
	s.classes = low + 3
	return s
}

func schemes() []scheme {
	return []scheme{
		halving(Inch, 32, -0.7), halving(Inch, 16, 0), halving(Inch, 8, -0.3),
		tenths(Inch, 10, -0.7), tenths(CM, 10, 0),
	}
}

// typical is a length in millimetres and the spread of its logarithm.
type typical struct{ mm, spread float64 }

// against is the log likelihood of a length, up to a constant.
func (t typical) against(mm float64) float64 {
	z := math.Log(mm/t.mm) / t.spread
	return -z * z / 2
}

// outside is the log likelihood of a length of which all from low to high are alike, up to
// a constant.
func outside(mm float64, low, high typical) float64 {
	switch {
	case mm < low.mm:
		return low.against(mm)
	case mm > high.mm:
		return high.against(mm)
	}
	return 0
}

// Typical lengths of a ruler's longest marks, and how long the shortest are
// beside them. Common practice, no source: an inch that is halved again and
// again is marked 6 to 14 mm long, on a narrow tape with a scale at either edge
// 3 mm, and each half is about three quarters as long as the whole; on scales
// by ten, inch or metric, the unit is marked 6 to 12 mm long on a rule with one
// scale and 3 to 8 mm on one with a scale at either edge, and the shortest marks
// are about half as long.
var (
	halvedMajor = typical{8, 0.45}
	tenthsMajor = typical{7, 0.42}
)

const (
	halvedFall   = 0.75 // a mark's length to that of the next longer one
	tenthsMinor  = 0.53
	minorsSpread = 0.35 // of the logarithm of the shortest marks' length to the longest's
)

// lengths is the log likelihood of the longest and the shortest marks' lengths,
// up to a constant: of both as one size, for they go together, and of their
// ratio. minor is NaN where no shortest ones are seen.
func (s scheme) lengths(majorMM, minorMM float64) float64 {
	if math.IsNaN(minorMM) {
		return s.major.against(majorMM)
	}
	return s.major.against(math.Sqrt(majorMM*minorMM/s.minor)) +
		typical{s.minor, minorsSpread}.against(minorMM/majorMM)
}

// shortest is the share of marks that are of the shortest class.
func (s scheme) shortest() float64 {
	n := 0
	for _, c := range s.class {
		if c == 0 {
			n++
		}
	}
	return float64(n) / float64(len(s.class))
}

// repeats says whether lengths come again with every second or fourth mark, so that
// what seems to be a hierarchy is slots and holes by turns and the blanks between
// them. Where numbers are seen halves may be as long as wholes.
func (s scheme) repeats(obs []lengthObs, phase int, numbered bool, spoilt func(o lengthObs, class int) bool) bool {
	if !(s.rises(obs, phase, 1, spoilt) > minLocalRise) {
		return true
	}
	const four = 3 // classes of marks that come again with every fourth
	return s.classes > four && !(numbered && s.classes == four+1) && !(s.rises(obs, phase, 2, spoilt) > minLocalRise)
}

// rises is how many times as long the marks of classes over one are as the nearest
// of that class, typically: along a row that recedes lengths by turns become many,
// but not beside each other. Of that class spoilt ones tell nothing: numbers stand at the
// same places of all units, and may make every second of its marks longer. NaN where none
// has such beside it.
func (s scheme) rises(obs []lengthObs, phase, class int, spoilt func(o lengthObs, class int) bool) float64 {
	var ratios []float64
	last, waiting := math.NaN(), []float64(nil) // the class's mark before, and longer ones after it
	for _, o := range obs {
		if o.stray {
			continue
		}
		switch c := s.class[mod(o.n-phase, s.divisions)]; {
		case c == class && spoilt(o, c):
		case c == class:
			for _, v := range waiting {
				before := last
				if math.IsNaN(before) {
					before = o.v
				}
				ratios = append(ratios, 2*v/(before+o.v))
			}
			last, waiting = o.v, waiting[:0]
		case c > class:
			waiting = append(waiting, o.v)
		}
	}
	if !math.IsNaN(last) {
		for _, v := range waiting {
			ratios = append(ratios, v/last)
		}
	}
	return median(ratios)
}

// foretold is the sum of the gains of a stretch, taken against its own lengths
// (local) instead of all (null). Of every class one mark, or as many as were
// measured as one (alike), counts for nothing: the one that says how long the class is.
// Those that are off all lengths tell nothing of their place.
func (s scheme) foretold(obs []lengthObs, off []bool, gain, null, local []float64, phase, alike int) float64 {
	sum, n := make([]float64, s.classes), make([]float64, s.classes)
	total := 0.0
	for i, o := range obs {
		if off[i] {
			total += gain[i]
			continue
		}
		c := s.class[mod(o.n-phase, s.divisions)]
		sum[c] += gain[i] + null[i] - local[i]
		n[c]++
	}
	for c, v := range sum {
		if n[c] > 0 {
			total += math.Min(v, v*math.Max(n[c]-float64(alike), 0)/n[c])
		}
	}
	return total
}
