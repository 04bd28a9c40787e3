package vision

import (
	"math"
	"testing"
)

// profileWith are exact profiles of a strip w px wide between wires and face,
// blurred, under a shadow that takes a share of the light near the ruler.
func profileWith(w, blurPx, side, shadow float64) sideProfile {
	a := sideProfile{d0: -24, from: 24, onset: -w}
	step := func(d float64) float64 { return 0.5 * math.Erfc(-d/(blurPx*math.Sqrt2)) }
	const wires, face = 0.3, 0.6
	for i := 0; a.depth(i) < 7; i++ {
		lower, upper := step(a.depth(i)+w), step(a.depth(i))
		lit := 1 - shadow*math.Exp(math.Min(0, a.depth(i)+w)/3)
		a.contrast = append(a.contrast, (1-lower)*lit)
		a.tone = append(a.tone, (1-lower)*lit*wires+(lower-upper)*side*face+upper*face)
	}
	for i := range a.contrast {
		if a.contrast[i] > 0.15 {
			a.onset = a.depth(i)
		}
	}
	for a.depth(a.from) < a.onset-6 {
		a.from++
	}
	return a
}

// The widths that are likely hold the true one: with a shadow and without, with
// sides dark and pale; a pale one under a pixel may be anything narrow.
func TestStripWidthTruth(t *testing.T) {
	for _, blur := range []float64{0.6, 1.1} {
		for _, side := range []float64{0.3, 0.7} {
			for _, shadow := range []float64{0, 0.3} {
				for _, w := range []float64{0, 0.6, 1.4, 3, 8} {
					l := profileWith(w, blur, side, shadow).widths(14)
					if l == nil {
						t.Fatalf("nothing told of a strip of %.1f px", w)
					}
					mean, sd := spreadOf(l)
					if math.Abs(mean-w) > 2*math.Hypot(sd, 0.2) {
						t.Errorf("strip of %.1f px, blur %.1f, side %.1f, shadow %.1f: %.2f ± %.2f", w, blur, side, shadow, mean, sd)
					}
					if w >= 3 && sd > 0.35 {
						t.Errorf("a clear strip of %.1f px is told only to %.2f px", w, sd)
					}
				}
			}
		}
	}
}

// spreadOf is the mean and standard deviation of a strip's width, all widths
// alike beforehand.
func spreadOf(logLik []float64) (mean, sd float64) {
	var s0, s1, s2 float64
	for i, l := range logLik {
		w, x := math.Exp(l), float64(i)*SideFaceStep
		s0, s1, s2 = s0+w, s1+w*x, s2+w*x*x
	}
	mean = s1 / s0
	return mean, math.Sqrt(math.Max(0, s2/s0-mean*mean))
}

// A strip seen where a mm of height would be half a pixel: the thicknesses of
// that width are likelier than what is something else, others are not; and by
// the lens another thickness has that width.
func TestSideFaceLikelihood(t *testing.T) {
	side := SideFace{Down: []Down{{-0.2, 0.6, 0.02}, {0, 0.5, 0.02}, {0.2, 0.4, 0.02}}, FocalPx: 1000}
	for i := range 60 {
		z := (float64(i)*SideFaceStep - 1) / 0.15
		side.LogLik = append(side.LogLik, -z*z/2)
	}
	if at, off := side.Likelihood(2, 0), side.Likelihood(0.4, 0); at < 3 || off > 0.2 {
		t.Errorf("2 mm are %.2f times as likely as nothing seen, 0.4 mm %.2f times", at, off)
	}
	if near, far := side.Likelihood(2.5, 0.2), side.Likelihood(2, 0.2); near <= far {
		t.Errorf("through the longer lens 2.5 mm are as likely as %.2f, 2 mm as %.2f", near, far)
	}
}
