package main

import (
	"bytes"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat"

	"dentcount/judge"
	"dentcount/measure"
)

// example is one photo that was measured: its features, scaled, what was left
// open of it (measure.IsOpen), and whether it was read right.
type example struct {
	x, open []float64
	right   bool
}

// logistic is a model: the chance whose log odds are bias + by·x, times 1 + left·open
// for each thing that was left open.
type logistic struct {
	bias     float64
	by, left []float64
}

func (m logistic) p(e example) float64 {
	return m.closed(e) / (1 + math.Exp(-m.bias-floats.Dot(m.by, e.x)))
}

// closed is what remains of the chance for what was left open.
func (m logistic) closed(e example) float64 {
	c := 1.0
	for i, o := range e.open {
		c *= 1 + m.left[i]*o
	}
	return c
}

// fitting are the settings of fitLogistic.
type fitting struct {
	// Ridge is the precision of the normal prior about 0 of all weights by features.
	Ridge float64
	// Doubts: no weight is over 0.
	Doubts bool
}

// model makes the model of what the optimiser turns: of doubts the roots of the
// weights, so that none can change its sign, and of what was left open the log
// odds, so that it takes off all or nothing at most.
func (s fitting) model(w []float64, features int) logistic {
	m := logistic{bias: w[0], by: slices.Clone(w[1 : 1+features])}
	if s.Doubts {
		for i, v := range m.by {
			m.by[i] = -v * v
		}
	}
	for _, v := range w[1+features:] {
		m.left = append(m.left, -1/(1+math.Exp(-v)))
	}
	return m
}

// fitLogistic finds the weights of greatest likelihood under the prior. ex is not
// empty.
func fitLogistic(ex []example, s fitting) (logistic, error) {
	features := len(ex[0].x)
	f := func(w []float64) float64 {
		m := s.model(w, features)
		var loss float64
		for _, b := range m.by {
			loss += s.Ridge / 2 * b * b
		}
		for _, e := range ex {
			z := m.bias + floats.Dot(m.by, e.x)
			closed := m.closed(e)
			if e.right {
				loss += math.Log1p(math.Exp(-math.Abs(z))) + math.Max(0, -z) - math.Log(closed)
			} else {
				// 1 - c/(1+exp(-z)), of which 1+exp(z) is what both share
				loss += math.Log1p(math.Exp(-math.Abs(z))) + math.Max(0, z) - math.Log1p((1-closed)*math.Exp(z))
			}
		}
		return loss
	}
	grad := func(g, w []float64) {
		m := s.model(w, features)
		clear(g)
		for i, b := range m.by {
			g[i+1] = s.Ridge * b
		}
		for _, e := range ex {
			p, closed := m.p(e), m.closed(e)
			rest := p / closed
			d, by := rest-1, -1.0 // of the loss by z, and by the logarithm of closed
			if !e.right {
				d, by = p*(1-rest)/(1-p), p/(1-p)
			}
			g[0] += d
			floats.AddScaled(g[1:1+features], d, e.x)
			for i, o := range e.open {
				g[1+features+i] += by * o / (1 + m.left[i]*o) * m.left[i] * (1 + m.left[i])
			}
		}
		if s.Doubts {
			for i, v := range w[1 : 1+features] {
				g[i+1] *= -2 * v
			}
		}
	}
	start := make([]float64, 1+features+len(ex[0].open))
	if s.Doubts {
		for i := range start {
			start[i] = 0.5 // at 0 a root does not feel its slope
		}
	}
	res, err := optimize.Minimize(optimize.Problem{Func: f, Grad: grad}, start, nil, &optimize.BFGS{})
	if err != nil && res == nil {
		return logistic{}, err
	}
	return s.model(res.X, features), nil
}

const folds = 5

// crossValidate gives each example's probability by a model that was fitted
// without its fold.
func crossValidate(ex []example, s fitting) ([]judge.Claim, error) {
	claims := make([]judge.Claim, len(ex))
	for k := range folds {
		var in []example
		for i, e := range ex {
			if i%folds != k {
				in = append(in, e)
			}
		}
		m, err := fitLogistic(in, s)
		if err != nil {
			return nil, err
		}
		for i, e := range ex {
			if i%folds == k {
				claims[i] = judge.Claim{P: m.p(e), True: e.right}
			}
		}
	}
	return claims, nil
}

func logLoss(claims []judge.Claim) float64 {
	var sum float64
	for _, c := range claims {
		p := c.P
		if !c.True {
			p = 1 - p
		}
		sum -= math.Log(math.Max(p, 1e-9)) / float64(len(claims))
	}
	return sum
}

// fitModel fits the chance of a right reading to what was measured and writes
// the weights as a table for package measure. It says how good they are on
// scenes left out.
func fitModel(title string, samples []sample, path string, w io.Writer) error {
	rows := which(rowsOf(samples, true), func(r row) bool { return len(r.got.Features) > 0 })
	if len(rows) < 60 {
		return fmt.Errorf("%d photos were measured: too few to fit to", len(rows))
	}
	var names, open []string
	for _, n := range slices.Sorted(maps.Keys(rows[0].got.Features)) {
		if measure.IsOpen(n) {
			open = append(open, n)
		} else {
			names = append(names, n)
		}
	}
	sd := make([]float64, len(names))
	for j, n := range names {
		var v []float64
		for _, r := range rows {
			v = append(v, r.got.Features[n])
		}
		sd[j] = math.Max(stat.StdDev(v, nil), 1e-3)
	}
	var ex []example
	right := 0
	for _, r := range rows {
		e := example{right: r.readRight()}
		for j, n := range names {
			e.x = append(e.x, r.got.Features[n]/sd[j])
		}
		for _, n := range open {
			e.open = append(e.open, r.got.Features[n])
		}
		if e.right {
			right++
		}
		ex = append(ex, e)
	}
	set := fitting{Doubts: true}
	best, least := 0.0, math.Inf(1)
	for _, ridge := range []float64{0.1, 0.3, 1, 3, 10, 30} {
		set.Ridge = ridge
		claims, err := crossValidate(ex, set)
		if err != nil {
			return err
		}
		loss := logLoss(claims)
		fmt.Fprintf(w, "ridge %g: log loss on scenes left out %.4f, calibration error %.4f\n", ridge, loss, judge.ExpectedCalibrationError(judge.Reliability(claims, reliabilityBins)))
		if loss < least {
			best, least = ridge, loss
		}
	}
	set.Ridge = best
	m, err := fitLogistic(ex, set)
	if err != nil {
		return err
	}
	ceiling := ceilingOf(ex, m)
	var b bytes.Buffer
	fmt.Fprintf(&b, "# Chance that a photo was read right, fitted by cmd/accuracy -fit-into to %d measured\n# photos (%d of them read right) of %s.\n", len(ex), right, title)
	fmt.Fprintf(&b, "# Ridge %g by %d-fold cross-validation, log loss on scenes left out %.4f.\n", best, folds, least)
	fmt.Fprintf(&b, "feature,weight\nbias,%.4f\nceiling,%.4f\n", m.bias, ceiling)
	for j, n := range names {
		fmt.Fprintf(&b, "%s,%g\n", n, math.Round(1e4*m.by[j]/sd[j])/1e4+0) // +0: never -0
		fmt.Fprintf(w, "%-16s sd %6.3f weight a sd %+.3f\n", n, sd[j], m.by[j])
	}
	for j, n := range open {
		fmt.Fprintf(&b, "%s,%g\n", n, math.Round(1e4*m.left[j])/1e4+0)
		fmt.Fprintf(w, "%-16s takes off %.3f of it\n", n, -m.left[j])
	}
	fmt.Fprintf(w, "bias %.3f, ceiling %.4f, from %d photos of which %d read right\n", m.bias, ceiling, len(ex), right)
	return os.WriteFile(path, b.Bytes(), 0o666)
}

// ceilingOf is the most that may be said of a reading: the rule of succession
// (k+1)/(n+2) over the surer half of the photos.
func ceilingOf(ex []example, m logistic) float64 {
	var p []float64
	for _, e := range ex {
		p = append(p, m.p(e))
	}
	half := judge.Quantiles(p, 0.5)[0]
	n, k := 0, 0
	for i, e := range ex {
		if p[i] >= half {
			n++
			if e.right {
				k++
			}
		}
	}
	return float64(k+1) / float64(n+2)
}
