package vision

import (
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/dsp/fourier"
)

// spectrum is the amplitude of a Hann-windowed signal by frequency, per inch.
type spectrum struct {
	df  float64
	amp []float64
}

func (s signal) spectrum() spectrum {
	n := 1
	for n < 4*len(s.v) {
		n *= 2
	}
	buf := make([]float64, n)
	var mean float64
	k := 0
	for _, v := range s.v {
		if v == v {
			mean += v
			k++
		}
	}
	if k > 0 {
		mean /= float64(k)
	}
	for i, v := range s.v {
		if v == v {
			w := math.Sin(math.Pi * (float64(i) + 0.5) / float64(len(s.v)))
			buf[i] = (v - mean) * w * w
		}
	}
	c := fourier.NewFFT(n).Coefficients(nil, buf)
	sp := spectrum{df: 1 / (float64(n) * s.du), amp: make([]float64, len(c))}
	for i, z := range c {
		sp.amp[i] = cmplx.Abs(z) * 4 / float64(max(1, k))
	}
	return sp
}

// near is the strongest amplitude within ±tol of f, and where.
func (sp spectrum) near(f, tol float64) (amp, at float64) {
	i0, i1 := int((f-tol)/sp.df), int((f+tol)/sp.df+1)
	for i := max(1, i0); i <= i1 && i+1 < len(sp.amp); i++ {
		if sp.amp[i] > amp {
			amp, at = sp.amp[i], float64(i)*sp.df
		}
	}
	return amp, at
}

// floorNear is the median amplitude around f, leaving out f itself.
func (sp spectrum) floorNear(f, lineWidth float64) float64 {
	var v []float64
	lo, hi := int((f-12*lineWidth)/sp.df), int((f+12*lineWidth)/sp.df)
	for i := max(2, lo); i <= hi && i < len(sp.amp); i++ {
		if math.Abs(float64(i)*sp.df-f) > 2.5*lineWidth {
			v = append(v, sp.amp[i])
		}
	}
	if len(v) == 0 {
		return 0
	}
	sort.Float64s(v)
	return v[len(v)/2]
}

// tone is a periodic part of a signal.
type tone struct {
	PerInch float64 // frequency
	U       float64 // standard uncertainty of PerInch, spectral
	Line    float64 // amplitude of the line over the floor beside it
	// Strongest is the frequency of the strongest line: PerInch, or a harmonic of it.
	Strongest float64
}

// findPeriod finds the fundamental of the signal between fMin and fMax per
// inch. Octaves are weighed explicitly: from the strongest line, a half and a
// third of its frequency are the fundamental where they are real lines.
// ok is false where no line stands out.
func findPeriod(s signal, fMin, fMax float64) (t tone, ok bool) {
	sp := s.spectrum()
	span := float64(len(s.v)) * s.du
	width := 2 / span // half width of a Hann line
	var best, at float64
	for i := 1; i+1 < len(sp.amp); i++ {
		f := float64(i) * sp.df
		if f < fMin || f > fMax {
			continue
		}
		if a := sp.amp[i]; a > best && a >= sp.amp[i-1] && a >= sp.amp[i+1] {
			best, at = a, f
		}
	}
	if best == 0 {
		return t, false
	}
	if best < 5*sp.floorNear(at, width) {
		return t, false
	}
	t.Strongest = at
	// Wood has a grain of its own, which makes lines as weak as the least that is looked
	// at. Of 45 drawn rigid heddles (seed 4801) twelve have such a fundamental: it stands
	// out by ten times and more. A weaker one subharmonic may still find.
	const plain = 8
	f := at
	for _, k := range []float64{2, 3} {
		g := at / k
		if g < fMin {
			continue
		}
		a, x := sp.near(g, 0.6*width)
		if a > 0.10*best && a > plain*sp.floorNear(g, width) && math.Abs(x*k-at) < 0.6*width*k {
			f = g
			break
		}
	}
	for k := subharmonic(s, f, fMin); k > 1; k = subharmonic(s, f, fMin) {
		f /= float64(k)
	}
	t.Line = best / math.Max(sp.floorNear(at, width), 1e-9)
	t.PerInch = refine(s, f)
	// Rife & Boorstyn 1974: var(f) ≥ 6σ²/((2π)² A² n) / span², a tone in white noise;
	// the floor of the spectrum stands for σ.
	t.U = math.Sqrt(6) / (2 * math.Pi * span) / math.Max(t.Line, 1) * 2
	return t, true
}

// subharmonic is how many periods of the frequency f make one of the signal, or a
// whole part of one: 1 where a spacing is like the next one, else how many
// spacings on there is one like it. A wire with a dark side and a bright one, or
// a slot with its wall, has a weak fundamental among strong harmonics, and the
// spectrum alone then takes a harmonic for it.
func subharmonic(s signal, f, fMin float64) int {
	// Slots and holes between them are alike to a half or more, although the
	// holes cross a part of the rows only.
	const alike, clear = 0.5, 0.3
	next := s.likeness(1 / f)
	for _, k := range []int{2, 3, 4, 5} {
		if f/float64(k) < fMin {
			break
		}
		if r := s.likeness(float64(k) / f); r > clear && next < alike*r {
			return k
		}
	}
	return 1
}

// likeness is the correlation of the signal with itself at a distance.
func (g signal) likeness(distance float64) float64 {
	best := 0.0
	around := int(0.03 * distance / g.du)
	for lag := int(distance/g.du) - around; lag <= int(distance/g.du)+1+around; lag++ {
		var ab, aa, bb float64
		for i := 0; i+lag < len(g.v); i++ {
			if a, b := g.v[i], g.v[i+lag]; a == a && b == b {
				ab += a * b
				aa += a * a
				bb += b * b
			}
		}
		if aa > 0 && bb > 0 {
			best = math.Max(best, ab/math.Sqrt(aa*bb))
		}
	}
	return best
}

// refine maximises the power in the first four harmonics over frequency.
func refine(s signal, f float64) float64 {
	n := len(s.v)
	span := float64(n) * s.du
	power := func(f float64) float64 {
		var p float64
		for h := 1; h <= 4; h++ {
			w := 2 * math.Pi * f * float64(h) * s.du
			if w > math.Pi {
				break
			}
			var re, im float64
			step := cmplx.Rect(1, w)
			z := complex(1, 0)
			for i, v := range s.v {
				if v == v {
					g := math.Sin(math.Pi * (float64(i) + 0.5) / float64(n))
					re += v * g * g * real(z)
					im += v * g * g * imag(z)
				}
				z *= step
				if i%256 == 255 {
					z /= complex(cmplx.Abs(z), 0)
				}
			}
			p += re*re + im*im
		}
		return p
	}
	d := 0.5 / span
	bf, bp := f, power(f)
	for it := 0; it < 9; it++ {
		for _, g := range [2]float64{bf - d, bf + d} {
			if p := power(g); p > bp {
				bf, bp = g, p
			}
		}
		d /= 1.8
	}
	return bf
}

// unsigned is how far the signal stands off its level, up or down. A slot shows
// the table where the camera looks straight through it and its wall elsewhere;
// where one is brighter than the bars and the other darker, the bands change
// their sign along the row, and what changes its sign has no tone. turns says
// that it is so: that without its sign the signal has much more of the tone of
// perInch.
func (g signal) unsigned(perInch float64) (u signal, turns bool) {
	const more = 1.5
	u = signal{u0: g.u0, du: g.du, v: make([]float64, len(g.v))}
	half := int(0.75 / perInch / g.du)
	hop := max(1, half/3)
	level := 0.0
	for i, v := range g.v {
		if i%hop == 0 {
			level = medianOf(g.v[max(0, i+hop/2-half):min(len(g.v), i+hop/2+half+1)])
		}
		u.v[i] = math.Abs(v - level)
	}
	// about nought, as the signal is
	for i, m := range movingMean(u.v, half) {
		u.v[i] -= m
	}
	return u, u.amplitude(perInch) > more*g.amplitude(perInch)
}

// amplitude is that of the tone of f per inch, by Hann's window.
func (g signal) amplitude(f float64) float64 {
	var re, im, all float64
	for i, v := range g.v {
		if v == v {
			w := math.Sin(math.Pi * (float64(i) + 0.5) / float64(len(g.v)))
			sin, cos := math.Sincos(2 * math.Pi * f * float64(i) * g.du)
			re += v * w * w * cos
			im += v * w * w * sin
			all += w * w
		}
	}
	return 2 * math.Hypot(re, im) / math.Max(all, 1)
}
