package main

import (
	"bytes"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"slices"
	"strings"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"

	"dentcount/judge"
)

// isSlots says whether the bands that were read are the slots of a rigid heddle
// (true) or the wires of a reed. ok is false where they are neither: a misread
// ruler, or slots and holes in turn.
func (s sample) isSlots() (slots, ok bool) {
	const near = 0.04
	if s.Truth.DentsPerInch == 0 {
		return false, false
	}
	r := s.BandsPerInch / s.Truth.DentsPerInch
	switch s.Truth.Part {
	case "reed":
		return false, math.Abs(r-1) < near
	case "rigid-heddle":
		return true, math.Abs(2*r-1) < near
	}
	return false, false
}

// kindViews are the ways in which each photo counts: as it is; as if no ground had been
// seen beyond the part; and as if no arcs had been told. Light, finish and tables differ
// from photo to photo and renderer to renderer, so that what is seen of holes must
// convince by itself, whatever the arcs say, and the arcs by themselves, whatever lies
// beneath. A cue that the ground or the arcs tell names them by convention.
var kindViews = []func(cue string) (heeded bool){
	func(string) bool { return true },
	func(cue string) bool { return !strings.Contains(cue, "ground") },
	func(cue string) bool { return !strings.Contains(cue, "arc") },
}

// fitKindModel fits what tells slots from wires to what was measured and writes
// the weights as a table for package vision.
func fitKindModel(title string, samples []sample, path string, w io.Writer) error {
	var names []string
	var ex []example
	heddles := 0
	for _, s := range samples {
		slots, ok := s.isSlots()
		if !ok || len(s.KindCues) == 0 {
			continue
		}
		if names == nil {
			names = slices.Sorted(maps.Keys(s.KindCues))
		}
		for _, heeded := range kindViews {
			e := example{x: make([]float64, len(names)), right: slots}
			for j, n := range names {
				if heeded(n) {
					e.x[j] = s.KindCues[n]
				}
			}
			ex = append(ex, e)
		}
		if slots {
			heddles++
		}
	}
	photos := len(ex) / len(kindViews)
	if photos < 60 {
		return fmt.Errorf("%d photos show bands as coarse as slots: too few to fit to", photos)
	}
	// Nearly all scenes can be told, and then the least ridge looks best on them
	// and boasts elsewhere: the strongest whose loss is no more than a standard error
	// over the least is taken (Hastie, Tibshirani and Friedman, The Elements of
	// Statistical Learning, 2nd ed., section 7.10), photo by photo, for a few hard ones
	// cost much whatever the ridge.
	ridges := []float64{0.1, 0.3, 1, 3, 10, 30}
	left := make([][]judge.Claim, len(ridges)) // of photos left out
	losses, means := make([][]float64, len(ridges)), make([]float64, len(ridges))
	for i, ridge := range ridges {
		claims, err := crossValidateViews(ex, ridge)
		if err != nil {
			return err
		}
		left[i], losses[i] = claims, lossesOf(claims)
		means[i] = stat.Mean(losses[i], nil)
		fmt.Fprintf(w, "ridge %g: log loss on scenes left out %.4f, calibration error %.4f\n", ridge, means[i], judge.ExpectedCalibrationError(judge.Reliability(likelier(claims), reliabilityBins)))
	}
	least := floats.MinIdx(means)
	best := least
	for i := least + 1; i < len(ridges); i++ {
		over := make([]float64, photos)
		floats.SubTo(over, losses[i], losses[least])
		if mean, sd := stat.MeanStdDev(over, nil); mean <= stat.StdErr(sd, float64(photos)) {
			best = i
		}
	}
	m, err := fitLogistic(ex, fitting{Ridge: ridges[best]})
	if err != nil {
		return err
	}
	ceiling := surest(likelier(left[best]))
	var b bytes.Buffer
	fmt.Fprintf(&b, "# Log odds that bands are the slots of a rigid heddle and not the wires of a reed, fitted by\n")
	fmt.Fprintf(&b, "# cmd/accuracy -fit-kind-into to %d photos (%d of rigid heddles) of\n# %s.\n", photos, heddles, title)
	fmt.Fprintf(&b, "# Ridge %g by %d-fold cross-validation, log loss on scenes left out %.4f.\n", ridges[best], folds, means[best])
	fmt.Fprintf(&b, "cue,weight\nbias,%.4f\nceiling,%.4f\n", m.bias, ceiling)
	for j, n := range names {
		fmt.Fprintf(&b, "%s,%.4f\n", n, m.by[j])
		fmt.Fprintf(w, "%-26s weight %+.3f\n", n, m.by[j])
	}
	fmt.Fprintf(w, "bias %.3f, ceiling %.4f, from %d photos of which %d show rigid heddles\n", m.bias, ceiling, photos, heddles)
	return os.WriteFile(path, b.Bytes(), 0o666)
}

// crossValidateViews is crossValidate for photos that count in several views: those stay
// in one fold. The claims are of the photos as they are.
func crossValidateViews(ex []example, ridge float64) ([]judge.Claim, error) {
	n := len(kindViews)
	claims := make([]judge.Claim, len(ex)/n)
	for k := range folds {
		var in []example
		for i, e := range ex {
			if i/n%folds != k {
				in = append(in, e)
			}
		}
		m, err := fitLogistic(in, fitting{Ridge: ridge})
		if err != nil {
			return nil, err
		}
		for i := range claims {
			if i%folds == k {
				claims[i] = judge.Claim{P: m.p(ex[n*i]), True: ex[n*i].right}
			}
		}
	}
	return claims, nil
}

// lossesOf is the logarithmic loss of each claim.
func lossesOf(claims []judge.Claim) []float64 {
	each := make([]float64, len(claims))
	for i, c := range claims {
		each[i] = logLoss([]judge.Claim{c})
	}
	return each
}

// likelier turns claims that something is so into claims of the likelier of the
// two, and whether that is true.
func likelier(claims []judge.Claim) []judge.Claim {
	out := make([]judge.Claim, len(claims))
	for i, c := range claims {
		out[i] = c
		if c.P < 0.5 {
			out[i] = judge.Claim{P: 1 - c.P, True: !c.True}
		}
	}
	return out
}

// surest is the most that may be said of a kind: the rule of succession
// (k+1)/(n+2) over the surer half of the claims.
func surest(claims []judge.Claim) float64 {
	var p []float64
	for _, c := range claims {
		p = append(p, c.P)
	}
	half := judge.Quantiles(p, 0.5)[0]
	n, k := 0, 0
	for _, c := range claims {
		if c.P >= half {
			n++
			if c.True {
				k++
			}
		}
	}
	return float64(k+1) / float64(n+2)
}
