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
	divisions int // lattice steps per unit
	phase     int // rung n is a whole unit where (n-phase) mod divisions = 0
	explained float64
	score     float64 // log likelihood, up to a constant
}

// scheme is a system of mark lengths: the class of each place within a unit,
// 0 the shortest.
type scheme struct {
	unit      Unit
	divisions int
	class     []int
	classes   int
	prior     float64 // log, how often met
}

func halving(unit Unit, n int, prior float64) scheme {
	s := scheme{unit: unit, divisions: n, class: make([]int, n), prior: prior}
	top := 0
	for m := n; m > 1; m /= 2 {
		top++
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
	s := scheme{unit: unit, divisions: n, class: make([]int, n), prior: prior}
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
		halving(Inch, 32, -0.7), halving(Inch, 16, 0), halving(Inch, 8, -0.3), halving(Inch, 4, -15),
		tenths(Inch, 10, -1), tenths(CM, 10, 0), halving(CM, 2, -15),
	}
}

// Typical lengths of a ruler's longest and shortest marks in millimetres, with
// the spread of their logarithm. Common practice, no source: a whole-unit mark
// is about 9 mm long on inch and metric rulers alike, the shortest 3–5 mm.
const (
	majorMarkMM, majorMarkSpread = 9.0, 0.35
	minorMarkMM, minorMarkSpread = 3.8, 0.40
)

// decode reads the hierarchy of mark lengths: it tries every scheme at every
// phase and scores how much of the lengths' scatter it explains, how plausible
// the lengths are in millimetres, and how simple it is. Best first.
func decode(l ladder) []reading {
	type obs struct {
		n int
		v float64 // length in lattice steps; 0 where there is no mark
	}
	var all []obs
	var seen []float64
	for _, r := range l.rungs {
		if r.found && r.length > 0 {
			all = append(all, obs{r.n, r.length / l.periodPx})
			seen = append(seen, r.length/l.periodPx)
		}
	}
	if len(seen) < 8 {
		return nil
	}
	sort.Float64s(seen)
	median := seen[len(seen)/2]
	floor := math.Max(1.2/l.periodPx, 0.04*seen[len(seen)/2])
	var sst float64
	spread := math.Max(floor, 0.08*median)
	// bounded, so that what was read beyond the ruler's ends weighs little
	clip := func(r float64) float64 { return math.Min(r*r, 9*spread*spread) }
	for _, v := range seen {
		sst += clip(v - median)
	}
	sst /= float64(len(seen))
	nEff := 0.5 * math.Min(float64(len(all)), 200)
	var out []reading
	for _, sc := range schemes() {
		if len(all) < sc.divisions+sc.divisions/4 {
			continue
		}
		for ph := 0; ph < sc.divisions; ph++ {
			groups := make([][]float64, sc.classes)
			for _, o := range all {
				c := sc.class[((o.n-ph)%sc.divisions+sc.divisions)%sc.divisions]
				groups[c] = append(groups[c], o.v)
			}
			centre := make([]float64, sc.classes)
			okay := true
			used := 0
			for c, g := range groups {
				if len(g) == 0 {
					if c >= sc.classes-1 {
						okay = false
					}
					centre[c] = math.NaN()
					continue
				}
				used++
				sort.Float64s(g)
				centre[c] = g[len(g)/2]
			}
			if !okay || used < 2 {
				continue
			}
			// lengths must rise with the class; the last two may be equal
			prev := math.Inf(-1)
			disorder := 0.0
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
			var ssw float64
			for _, o := range all {
				c := sc.class[((o.n-ph)%sc.divisions+sc.divisions)%sc.divisions]
				ssw += clip(o.v - centre[c])
			}
			ssw = ssw/float64(len(all)) + floor*floor
			mmPerStep := sc.unit.Inches() * 25.4 / float64(sc.divisions)
			z1 := math.Log(centre[sc.classes-1]*mmPerStep/majorMarkMM) / majorMarkSpread
			lp := -z1 * z1 / 2
			if sc.divisions >= 8 && !math.IsNaN(centre[0]) {
				z0 := math.Log(centre[0]*mmPerStep/minorMarkMM) / minorMarkSpread
				lp -= z0 * z0 / 2
			}
			rd := reading{unit: sc.unit, divisions: sc.divisions, phase: ph,
				explained: 1 - (ssw-floor*floor)/sst}
			rd.score = 0.5*nEff*math.Log((sst+floor*floor)/ssw) - 1.5*float64(used) - 2*disorder + lp + sc.prior
			out = append(out, rd)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].score > out[j].score })
	return out
}
