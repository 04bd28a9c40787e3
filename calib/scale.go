package calib

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Scale is the map from pixels along a ruler's marked edge to inches on it:
//
//	t    = along / Half
//	inch = (A + B·t) / (1 + C·t) + K·t³
//
// the projective image of a line (Hartley & Zisserman 2004, §2.2) with a cubic
// for lens distortion and for a tape that is not quite straight; K is held near
// zero by a prior of KPrior·B. Along is that of Frame, at depth 0. Cov is the
// covariance of (A, B, C, K) in inches.
type Scale struct {
	Frame      Frame
	Unit       Unit
	Divisions  int // marks per unit that were read
	Half       float64
	A, B, C, K float64
	Cov        *mat.SymDense
	ResidualIn float64 // rms of the marks about the map
	Marks      []Mark
	Lo, Hi     float64    // along, first and last mark
	Shear      [2]float64 // lean of the marks: along px per depth px at `along`: Shear[0] + Shear[1]·along/1000
	ShearU     float64    // standard uncertainty of the lean in the middle, by the marks' scatter; 0 unknown
}

// Mark is one mark of a scale.
type Mark struct {
	Along float64 // px
	In    float64 // inches from the first whole unit in view
	Whole bool    // a whole unit
}

// kPrior is the standard deviation of the cubic term relative to B: phone
// lenses leave up to half a percent of radial distortion at the corner (common
// practice, no source).
const kPrior = 0.004

// In is the inch reading at a position along the edge.
func (s Scale) In(along float64) float64 {
	t := along / s.Half
	return (s.A+s.B*t)/(1+s.C*t) + s.K*t*t*t
}

// PxPerIn is how many px an inch is in the middle of the scale; negative where
// its numbers run against the edge's direction.
func (s Scale) PxPerIn() float64 { return 1 / s.InPerPx((s.Lo+s.Hi)/2) }

// InPerPx is the derivative of In.
func (s Scale) InPerPx(along float64) float64 {
	t := along / s.Half
	q := 1 + s.C*t
	return ((s.B-s.A*s.C)/(q*q) + 3*s.K*t*t) / s.Half
}

// Along is the inverse of In, by Newton's method.
func (s Scale) Along(in float64) float64 {
	x := (in - s.A) / s.B * s.Half
	for i := 0; i < 12; i++ {
		d := (s.In(x) - in) / s.InPerPx(x)
		x -= d
		if math.Abs(d) < 1e-6 {
			break
		}
	}
	return x
}

// ShearAt is the lean of the marks at a position: px along per px of depth.
func (s Scale) ShearAt(along float64) float64 { return s.Shear[0] + s.Shear[1]*along/1000 }

// ErrScale is returned where marks do not make a scale.
var ErrScale = errors.New("the marks do not lie on one even scale")

// fitScale fits the map to a ladder read one way. Marks far off are left out
// (Tukey's biweight).
func fitScale(l ladder, rd reading) (Scale, error) {
	s := Scale{Frame: l.frame, Unit: rd.unit, Divisions: rd.divisions, Shear: l.shear, ShearU: l.shearU}
	var xs, ys []float64
	var whole []bool
	first := math.MaxInt
	for _, r := range l.rungs {
		if r.n < rd.lo || r.n > rd.hi {
			continue
		}
		if r.found && mod(r.n-rd.phase, rd.divisions) == 0 && r.n < first {
			first = r.n
		}
	}
	if first == math.MaxInt {
		first = rd.phase
	}
	step := rd.unit.Inches() / float64(rd.divisions)
	s.Lo, s.Hi = math.Inf(1), math.Inf(-1)
	for _, r := range l.rungs {
		if !r.found || r.n < rd.lo || r.n > rd.hi {
			continue
		}
		xs = append(xs, r.along)
		ys = append(ys, float64(r.n-first)*step)
		whole = append(whole, mod(r.n-rd.phase, rd.divisions) == 0)
		s.Lo, s.Hi = math.Min(s.Lo, r.along), math.Max(s.Hi, r.along)
	}
	if len(xs) < 6 {
		return s, ErrScale
	}
	s.Half = math.Max(math.Abs(s.Lo), math.Abs(s.Hi))
	// Start from a straight line.
	a, b := straightLine(xs, ys)
	s.A, s.B = a, b*s.Half
	w := make([]float64, len(xs))
	for i := range w {
		w[i] = 1
	}
	sigma := step
	for it := 0; it < 12; it++ {
		jt := mat.NewSymDense(4, nil)
		rhs := mat.NewVecDense(4, nil)
		for i := range xs {
			t := xs[i] / s.Half
			q := 1 + s.C*t
			j := [4]float64{1 / q, t / q, -(s.A + s.B*t) * t / (q * q), t * t * t}
			r := ys[i] - s.In(xs[i])
			for a := 0; a < 4; a++ {
				for c := a; c < 4; c++ {
					jt.SetSym(a, c, jt.At(a, c)+w[i]*j[a]*j[c])
				}
				rhs.SetVec(a, rhs.AtVec(a)+w[i]*j[a]*r)
			}
		}
		// priors, in units of the residual
		pk := sigma * sigma / (kPrior * kPrior * s.B * s.B)
		jt.SetSym(3, 3, jt.At(3, 3)+pk)
		rhs.SetVec(3, rhs.AtVec(3)-pk*s.K)
		pc := sigma * sigma / (0.15 * 0.15)
		jt.SetSym(2, 2, jt.At(2, 2)+pc)
		rhs.SetVec(2, rhs.AtVec(2)-pc*s.C)
		var ch mat.Cholesky
		if !ch.Factorize(jt) {
			return s, ErrScale
		}
		var d mat.VecDense
		if err := ch.SolveVecTo(&d, rhs); err != nil {
			return s, ErrScale
		}
		s.A += d.AtVec(0)
		s.B += d.AtVec(1)
		s.C += d.AtVec(2)
		s.K += d.AtVec(3)
		if math.Abs(s.C) > 0.6 || math.IsNaN(s.A+s.B+s.C+s.K) {
			return s, ErrScale
		}
		abs := make([]float64, len(xs))
		for i := range xs {
			abs[i] = math.Abs(ys[i] - s.In(xs[i]))
		}
		sigma = math.Max(1.4826*median(abs), 1e-4*step)
		var ss, sw float64
		for i := range xs {
			u := abs[i] / (4.7 * sigma)
			w[i] = 0
			if u < 1 {
				w[i] = (1 - u*u) * (1 - u*u)
				ss += w[i] * abs[i] * abs[i]
				sw += w[i]
			}
		}
		s.ResidualIn = math.Sqrt(ss / math.Max(sw, 1))
		var inv mat.SymDense
		if err := ch.InverseTo(&inv); err == nil {
			inv.ScaleSym(math.Max(ss/math.Max(sw-4, 1), sigma*sigma), &inv)
			s.Cov = &inv
		}
	}
	if s.ResidualIn > 0.2*step || s.Cov == nil {
		return s, ErrScale
	}
	for i := range xs {
		if w[i] > 0 {
			s.Marks = append(s.Marks, Mark{Along: xs[i], In: ys[i], Whole: whole[i]})
		}
	}
	return s, nil
}

// straightLine is the least-squares line y = a + b·x.
func straightLine(xs, ys []float64) (a, b float64) {
	var mx, my, sxx, sxy float64
	for i := range xs {
		mx += xs[i] / float64(len(xs))
		my += ys[i] / float64(len(xs))
	}
	for i := range xs {
		sxx += (xs[i] - mx) * (xs[i] - mx)
		sxy += (xs[i] - mx) * (ys[i] - my)
	}
	b = sxy / sxx
	return my - b*mx, b
}

func mod(a, n int) int { return ((a % n) + n) % n }

func median(v []float64) float64 {
	c := append([]float64(nil), v...)
	if len(c) == 0 {
		return math.NaN()
	}
	return quickSelect(c, len(c)/2)
}

// quickSelect returns the k-th smallest of v, reordering it.
func quickSelect(v []float64, k int) float64 {
	lo, hi := 0, len(v)-1
	for lo < hi {
		p := v[(lo+hi)/2]
		i, j := lo, hi
		for i <= j {
			for v[i] < p {
				i++
			}
			for v[j] > p {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		if k <= j {
			hi = j
		} else if k >= i {
			lo = i
		} else {
			break
		}
	}
	return v[k]
}
