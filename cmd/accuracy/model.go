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
)

// example is one photo that was measured: its features, standardised, and
// whether it was read right.
type example struct {
	x     []float64
	right bool
}

// logistic is the model under measure/confidence.csv: log odds of a right
// reading = bias + by·x.
type logistic struct {
	bias float64
	by   []float64
}

func (m logistic) p(x []float64) float64 {
	return 1 / (1 + math.Exp(-m.bias-floats.Dot(m.by, x)))
}

// fitLogistic finds the weights of greatest likelihood with a normal prior of
// precision ridge about those of prior on each but the bias.
func fitLogistic(ex []example, prior []float64, ridge float64) (logistic, error) {
	f := func(w []float64) float64 {
		m := logistic{w[0], w[1:]}
		var loss float64
		for i, b := range m.by {
			loss += ridge / 2 * (b - prior[i]) * (b - prior[i])
		}
		for _, e := range ex {
			z := m.bias + floats.Dot(m.by, e.x)
			if !e.right {
				z = -z
			}
			loss += math.Log1p(math.Exp(-math.Abs(z))) + math.Max(0, -z)
		}
		return loss
	}
	grad := func(g, w []float64) {
		m := logistic{w[0], w[1:]}
		g[0] = 0
		for i, b := range m.by {
			g[i+1] = ridge * (b - prior[i])
		}
		for _, e := range ex {
			d := m.p(e.x)
			if e.right {
				d--
			}
			g[0] += d
			floats.AddScaled(g[1:], d, e.x)
		}
	}
	res, err := optimize.Minimize(optimize.Problem{Func: f, Grad: grad}, make([]float64, len(prior)+1), nil, &optimize.BFGS{})
	if err != nil && res == nil {
		return logistic{}, err
	}
	return logistic{res.X[0], res.X[1:]}, nil
}

const folds = 5

// statedFeature is the feature that holds the log odds stated beforehand.
const statedFeature = "stated"

// crossValidate gives each example's probability by a model that was fitted
// without its fold.
func crossValidate(ex []example, prior []float64, ridge float64) ([]judge.Claim, error) {
	claims := make([]judge.Claim, len(ex))
	for k := range folds {
		var in []example
		for i, e := range ex {
			if i%folds != k {
				in = append(in, e)
			}
		}
		m, err := fitLogistic(in, prior, ridge)
		if err != nil {
			return nil, err
		}
		for i, e := range ex {
			if i%folds == k {
				claims[i] = judge.Claim{P: m.p(e.x), True: e.right}
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
	names := slices.Sorted(maps.Keys(rows[0].got.Features))
	mean, sd := make([]float64, len(names)), make([]float64, len(names))
	for j, n := range names {
		var v []float64
		for _, r := range rows {
			v = append(v, r.got.Features[n])
		}
		mean[j], sd[j] = stat.MeanStdDev(v, nil)
		sd[j] = math.Max(sd[j], 1e-3)
	}
	var ex []example
	right := 0
	for _, r := range rows {
		e := example{make([]float64, len(names)), r.readRight()}
		for j, n := range names {
			e.x[j] = (r.got.Features[n] - mean[j]) / sd[j]
		}
		if e.right {
			right++
		}
		ex = append(ex, e)
	}
	// The odds that were stated stand where the scenes say nothing else: no scene
	// of theirs may be like a photo to come.
	prior := make([]float64, len(names))
	for j, n := range names {
		if n == statedFeature {
			prior[j] = sd[j]
		}
	}
	best, least := 0.0, math.Inf(1)
	for _, ridge := range []float64{0.3, 1, 3, 10, 30, 100} {
		claims, err := crossValidate(ex, prior, ridge)
		if err != nil {
			return err
		}
		loss := logLoss(claims)
		fmt.Fprintf(w, "ridge %g: log loss on scenes left out %.4f, calibration error %.4f\n", ridge, loss, judge.ExpectedCalibrationError(judge.Reliability(claims, reliabilityBins)))
		if loss < least {
			best, least = ridge, loss
		}
	}
	m, err := fitLogistic(ex, prior, best)
	if err != nil {
		return err
	}
	ceiling := ceilingOf(ex, m)
	var b bytes.Buffer
	fmt.Fprintf(&b, "# Chance that a photo was read right, fitted by cmd/accuracy -fit-into to %d measured\n# photos (%d of them read right) of %s.\n", len(ex), right, title)
	fmt.Fprintf(&b, "# Ridge %g by %d-fold cross-validation, log loss on scenes left out %.4f.\n", best, folds, least)
	fmt.Fprintf(&b, "feature,mean,weight\nbias,0,%.4f\nceiling,0,%.4f\n", m.bias, ceiling)
	for j, n := range names {
		fmt.Fprintf(&b, "%s,%.4f,%.4f\n", n, mean[j], m.by[j]/sd[j])
		fmt.Fprintf(w, "%-16s mean %7.3f sd %6.3f weight a sd %+.3f\n", n, mean[j], sd[j], m.by[j])
	}
	fmt.Fprintf(w, "bias %.3f, ceiling %.4f, from %d photos of which %d read right\n", m.bias, ceiling, len(ex), right)
	return os.WriteFile(path, b.Bytes(), 0o666)
}

// ceilingOf is the most that may be said of a reading: the rule of succession
// (k+1)/(n+2) over the surer half of the photos.
func ceilingOf(ex []example, m logistic) float64 {
	var p []float64
	for _, e := range ex {
		p = append(p, m.p(e.x))
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
