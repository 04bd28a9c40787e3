package main

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dentcount/measure"
)

// A model is found again from what it drew, and one that has nothing to learn
// from says the base rate.
func TestFitLogisticFindsTheModel(t *testing.T) {
	rng := rand.New(rand.NewPCG(20, 21))
	drawn := logistic{bias: 1.2, by: []float64{1.5, -0.8, 0}}
	var ex []example
	for range 6000 {
		e := example{x: []float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}}
		e.right = rng.Float64() < drawn.p(e)
		ex = append(ex, e)
	}
	m, err := fitLogistic(ex, fitting{Ridge: 0.01})
	if err != nil {
		t.Fatal(err)
	}
	// The standard errors are some 0.04.
	if math.Abs(m.bias-drawn.bias) > 0.16 {
		t.Errorf("bias %.3f, drawn with %.3f", m.bias, drawn.bias)
	}
	for i := range m.by {
		if math.Abs(m.by[i]-drawn.by[i]) > 0.16 {
			t.Errorf("weight %d: %.3f, drawn with %.3f", i, m.by[i], drawn.by[i])
		}
	}
	claims, err := crossValidate(ex, fitting{Ridge: 0.01})
	if err != nil {
		t.Fatal(err)
	}
	m, err = fitLogistic(ex, fitting{Ridge: 1e9})
	if err != nil {
		t.Fatal(err)
	}
	right := 0
	for _, c := range claims {
		if c.True {
			right++
		}
	}
	if got, want := m.p(example{x: []float64{9, 9, 9}}), float64(right)/float64(len(ex)); math.Abs(got-want) > 0.002 {
		t.Errorf("with no weight at all it says %.4f, the base rate is %.4f", got, want)
	}
}

// Of doubts no weight is over 0, and those that are found again are those that
// they were drawn with.
func TestFitLogisticOfDoubts(t *testing.T) {
	rng := rand.New(rand.NewPCG(24, 25))
	drawn := logistic{bias: 3, by: []float64{-1.5, 0, 0.7}}
	var ex []example
	for range 6000 {
		e := example{x: []float64{math.Abs(rng.NormFloat64()), math.Abs(rng.NormFloat64()), math.Abs(rng.NormFloat64())}}
		e.right = rng.Float64() < drawn.p(e)
		ex = append(ex, e)
	}
	m, err := fitLogistic(ex, fitting{Ridge: 0.01, Doubts: true})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(m.by[0]-drawn.by[0]) > 0.25 || math.Abs(m.by[1]) > 0.1 || m.by[2] > 0 || m.by[2] < -0.01 {
		t.Errorf("weights %.3f, drawn with %.3f", m.by, drawn.by)
	}
}

// Of what is left open the share that is lost is found again, and one that nothing
// hangs on takes nothing off.
func TestFitLogisticOfWhatIsOpen(t *testing.T) {
	rng := rand.New(rand.NewPCG(26, 27))
	drawn := logistic{bias: 3, by: []float64{-1.5}, left: []float64{-0.6, 0}}
	var ex []example
	for range 6000 {
		e := example{x: []float64{math.Abs(rng.NormFloat64())}, open: []float64{rng.Float64(), rng.Float64()}}
		e.right = rng.Float64() < drawn.p(e)
		ex = append(ex, e)
	}
	m, err := fitLogistic(ex, fitting{Ridge: 0.01, Doubts: true})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(m.bias-3) > 0.4 || math.Abs(m.by[0]+1.5) > 0.3 || math.Abs(m.left[0]+0.6) > 0.06 || m.left[1] < -0.05 {
		t.Errorf("%+v, drawn with %+v", m, drawn)
	}
}

// What is written is a table that names where it came from; too few photos are
// refused, and then nothing is written.
func TestFitModelWrites(t *testing.T) {
	rng := rand.New(rand.NewPCG(22, 23))
	var samples []sample
	for i := range 400 {
		s := hand(i, "10", "10", 0.9, 10, 10, measure.Answered)
		x := math.Abs(rng.NormFloat64())
		if rng.Float64() > 1/(1+math.Exp(-4+2*x)) {
			s.Told.PerInch = 5 // misread
		}
		s.Told.Features = map[string]float64{"blurred": x, "noise": rng.NormFloat64(), "open unit": 0.1 * rng.Float64()}
		samples = append(samples, s)
	}
	path := filepath.Join(t.TempDir(), "w.csv")
	var b bytes.Buffer
	if err := fitModel("set of the test", samples[:30], path, &b); err == nil {
		t.Error("30 photos were taken")
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("and written")
	}
	if err := fitModel("set of the test", samples, path, &b); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"set of the test", "feature,weight\nbias,", "\nceiling,0.9", "\nblurred,-", "\nnoise,", "\nopen unit,-"} {
		if !strings.Contains(string(got), want) {
			t.Errorf("the table lacks %q:\n%s", want, got)
		}
	}
}
