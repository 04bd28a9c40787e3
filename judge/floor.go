package judge

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"dentcount/trade"
)

// PitchFloor is the Cramér–Rao bound for a pitch read from m equally spaced
// marks with independent Gaussian errors of standard deviation s, relative to
// the pitch when s is: sd(T) = s·√(12/(m(m²-1))). NaN for m < 2.
func PitchFloor(s float64, m int) float64 {
	if m < 2 {
		return math.NaN()
	}
	n := float64(m)
	return s * math.Sqrt(12/(n*(n*n-1)))
}

// Reader is a perfect reader of photos who is told nothing of the ruler's
// thickness: he knows the camera's height and the count on the ruler exactly,
// and that the thickness lies anywhere between ThinMM and ThickMM, evenly.
type Reader struct {
	ThinMM, ThickMM float64
	// ReadRelU is how well the count on the ruler can be known at all, from the
	// scatter of the bands; 0 exactly.
	ReadRelU float64
	// Second is a second scale in the plane of the wires, which has no thickness.
	Second SecondScale
	// NoneShare is the prior share of parts of no made size, evenly spread in
	// the logarithm from 3 to 30 dents per inch, but for what is so near a made size
	// that it is that one ([trade.OffRel]).
	NoneShare float64
}

// SecondScale is one on which the wires can be counted, too: what is printed on
// it is true to RelU, of which he knows; by Off it is off, of which he does not.
// The zero value is none.
type SecondScale struct {
	RelU, Off float64
}

// speaks is how much the second scale speaks for a count that is exp(ln) times the true one.
func (s SecondScale) speaks(ln float64) float64 {
	if s.RelU <= 0 {
		return 1
	}
	z := (ln - s.Off) / s.RelU
	return math.Exp(-z * z / 2)
}

// Verdict is what the perfect reader says.
type Verdict struct {
	// PlainPerInch is the mean of the pitches that are possible, of which he
	// takes no made size for likelier than another; PerInch the median of what
	// he believes with the made sizes in mind.
	PlainPerInch, PerInch float64
	Label, System         string  // the likeliest size; "none" for none that is made
	P                     float64 // its probability
}

// steps is how finely the thickness is divided.
const steps = 400

// Read gives his verdict on a part of truePerInch under a ruler of thicknessMM
// seen from heightMM above the wires, of the given made sizes. The count on the
// ruler is high by t/(D-t).
func (r Reader) Read(truePerInch, thicknessMM, heightMM float64, sizes []trade.MadeSize) Verdict {
	read := math.Log(truePerInch * heightMM / (heightMM - thicknessMM))
	off, width := trade.Between(sizes, 3, 30)
	none := r.NoneShare / width
	var v Verdict
	// Beliefs: the logarithm of a pitch, and how likely it is.
	var at, weight []float64
	believe := func(ln, w float64) float64 {
		at, weight = append(at, ln), append(weight, w)
		return w
	}
	v.Label, v.System = "none", "none"
	var noneSum, plain float64
	sums := make([]float64, len(sizes))
	for i := range steps {
		t := r.ThinMM + (r.ThickMM-r.ThinMM)*(float64(i)+0.5)/steps
		ln := read + math.Log((heightMM-t)/heightMM)
		seen := r.Second.speaks(ln - math.Log(truePerInch))
		v.PlainPerInch += math.Exp(ln) * seen
		plain += seen
		if slices.ContainsFunc(off, func(s trade.Span) bool { return s.Lo < ln && ln < s.Hi }) {
			noneSum += believe(ln, none*seen)
		}
		for k, m := range sizes {
			s := math.Hypot(m.TolRel, r.ReadRelU)
			label := math.Log(m.PerInch)
			z := (ln - label) / s
			if math.Abs(z) > 8 {
				continue
			}
			w := seen * (1 - r.NoneShare) * m.Weight * math.Exp(-z*z/2) / (s * math.Sqrt(2*math.Pi))
			// What was read and what is made, by their precisions.
			own := r.ReadRelU * r.ReadRelU / (s * s)
			sums[k] += believe(ln+own*(label-ln), w)
		}
	}
	v.PlainPerInch /= plain
	best, total := noneSum, noneSum
	for k, m := range sizes {
		total += sums[k]
		if sums[k] > best {
			v.Label, v.System, best = m.Label, m.System, sums[k]
		}
	}
	v.P = best / total
	stat.SortWeighted(at, weight)
	v.PerInch = math.Exp(stat.Quantile(0.5, stat.Empirical, at, weight))
	return v
}
