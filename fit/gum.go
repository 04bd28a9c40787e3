package fit

import (
	"math"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Component is what one independent source adds to a combined standard
// uncertainty: U is |∂f/∂x|·u(x), in the unit of the result, and DoF its degrees
// of freedom. Known is the DoF of an uncertainty that is itself beyond doubt.
type Component struct {
	U   float64
	DoF float64
}

// Known is the degrees of freedom of an uncertainty that is not in doubt itself
// (JCGM 100:2008, G.4.3).
var Known = math.Inf(1)

// DoFOf is the degrees of freedom of an uncertainty that is itself known to
// within ±rel of its value: ν ≈ 1/(2·rel²) (JCGM 100:2008, G.4.2).
func DoFOf(rel float64) float64 { return 1 / (2 * rel * rel) }

// Combine adds independent sources as the root of their squares (JCGM 100:2008,
// equation 10) with their effective degrees of freedom (Welch–Satterthwaite,
// equation G.2b). Nothing to add gives {0, Known}.
func Combine(parts ...Component) Component {
	var sq, down float64
	for _, p := range parts {
		sq += p.U * p.U
		if !math.IsInf(p.DoF, 1) {
			down += p.U * p.U * p.U * p.U / p.DoF
		}
	}
	c := Component{math.Sqrt(sq), Known}
	if down > 0 {
		c.DoF = sq * sq / down
	}
	return c
}

// Coverage is the factor k by which c.U is multiplied for an interval that
// holds the truth with probability p: Student's t for the degrees of freedom,
// cut to a whole number (JCGM 100:2008, G.4.1). Fewer than one count as one.
func (c Component) Coverage(p float64) float64 {
	q := (1 + p) / 2
	// Past this many the normal distribution is the same to five figures.
	if c.DoF > 1e5 {
		return distuv.UnitNormal.Quantile(q)
	}
	return distuv.StudentsT{Sigma: 1, Nu: math.Max(1, math.Floor(c.DoF))}.Quantile(q)
}

// Spread is a distribution by equally likely values, in order.
type Spread []float64

// Propagate draws n values of a quantity by Monte Carlo (JCGM 101:2008, clause
// 7): one is called n times with the same source of chance each run.
func Propagate(n int, one func(*rand.Rand) float64) Spread {
	rng := rand.New(rand.NewPCG(101, 2008))
	s := make(Spread, n)
	for i := range s {
		s[i] = one(rng)
	}
	sort.Float64s(s)
	return s
}

// MeanSD are the mean and the standard deviation.
func (s Spread) MeanSD() (mean, sd float64) { return meanSD(s) }

// Interval is the one that holds the share p of the values and leaves as many
// below as above it (JCGM 101:2008, 7.7.1). Zeros where there are no values.
func (s Spread) Interval(p float64) (lo, hi float64) {
	if len(s) == 0 {
		return 0, 0
	}
	q := int(math.Round(p * float64(len(s))))
	r := (len(s) - q) / 2
	return s[min(r, len(s)-1)], s[min(r+q, len(s)-1)]
}

// trials is how many values the interval of a pitch is drawn from: its ends are
// then told to some 3 % of the standard uncertainty, in about a millisecond.
const trials = 6000

// interval95 is the 95 % interval of a reading whose relative uncertainty is c,
// times exp of one of the equally likely lifts.
func interval95(read float64, c Component, lift []float64) (lo, hi float64) {
	if len(lift) == 0 {
		lift = []float64{0}
	}
	// The t-distribution of c scaled to its uncertainty (JCGM 101:2008, 6.4.9),
	// by its quantiles: a draw is then a look-up.
	const n = 100
	var t [n]float64
	for i := range n / 2 {
		t[i] = c.U * c.Coverage((float64(i)+0.5)/(n/2))
		t[n-1-i] = -t[i]
	}
	times := make([]float64, len(lift))
	for i, l := range lift {
		times[i] = read * math.Exp(l)
	}
	return Propagate(trials, func(rng *rand.Rand) float64 {
		return (1 + t[rng.IntN(n)]) * times[rng.IntN(len(times))]
	}).Interval(0.95)
}

// combined is the budget of p so far, relative to the pitch.
func (p Pitch) combined() Component {
	parts := make([]Component, len(p.Budget))
	for i, l := range p.Budget {
		parts[i] = Component{l.RelativeU, l.DoF}
	}
	return Combine(parts...)
}

// expand fills in what follows from the whole budget: U, the factor and the
// interval of 95 %. read is the budget without the ruler's height above the wires.
func (p *Pitch) expand(read Component) {
	all := p.combined()
	p.U, p.DoF, p.K95 = p.PerInch*all.U, all.DoF, all.Coverage(0.95)
	p.Lo95, p.Hi95 = interval95(p.Read, read, p.Lift)
}

// freedom gives the degrees of freedom of each source, for marks and bands that
// were read. Uncertainties that were stated rather than counted are taken to be
// known to a quarter of themselves; tolerances and told or stated priors as they
// stand.
func freedom(marks, bands int) func(Source) float64 {
	return func(src Source) float64 {
		switch src {
		case RulerMarks: // four parameters of the scale
			return math.Max(1, float64(marks-4))
		case BandPlaces: // a straight line
			return math.Max(1, float64(bands-2))
		case RulerAngle, WireDepth, TapeBend:
			return DoFOf(0.25)
		}
		return Known
	}
}
