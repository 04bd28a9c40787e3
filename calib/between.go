package calib

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// UBetween is the standard uncertainty, in inches, that the fit of the marks
// leaves on the distance between two positions along the edge.
func (s Scale) UBetween(along1, along2 float64) float64 {
	if s.Cov == nil {
		return s.ResidualIn
	}
	grad := func(along float64) [4]float64 {
		t := along / s.Half
		q := 1 + s.C*t
		return [4]float64{1 / q, t / q, -(s.A + s.B*t) * t / (q * q), t * t * t}
	}
	g1, g2 := grad(along1), grad(along2)
	d := mat.NewVecDense(4, nil)
	for i := range g1 {
		d.SetVec(i, g2[i]-g1[i])
	}
	return math.Sqrt(math.Max(0, mat.Inner(d, s.Cov, d)))
}
