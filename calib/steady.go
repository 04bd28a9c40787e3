package calib

import "math"

// In a dull picture marks are wider than their lines, and what a file's compression leaves
// of one may show two tops beside each other: which of them a mark was read at goes by its
// place among the pixels, for many marks in a row the one and then the other. A wider look
// sees one top.

const (
	// widerLook is how many times as wide marks are looked at a second time, steadier to
	// which share of the mean square their unevenness must fall by it. Stated, no source;
	// of two drawn rulers whose marks were read at two tops, 1.5 px apart, both are read
	// evenly so.
	widerLook, steadier = 1.7, 0.8
	// movedMost is how far a mark may lie from where it was read first, in spacings.
	movedMost = 0.35
)

// steadied are rungs at the tops of a wider look at their profile, if they stand more
// evenly there.
func steadied(rungs []rung, prof []float64, lo, T float64, dark bool) []rung {
	if len(rungs) < 3 {
		return rungs
	}
	tops := peaksOf(responseOf(prof, widerLook*sigmaOf(T), dark), lo)
	out := append([]rung(nil), rungs...)
	j := 0
	for i, g := range rungs {
		if !g.found {
			continue
		}
		for j+1 < len(tops) && math.Abs(tops[j+1].x-g.along) < math.Abs(tops[j].x-g.along) {
			j++
		}
		if len(tops) > 0 && math.Abs(tops[j].x-g.along) < movedMost*T {
			out[i].along = tops[j].x
		}
	}
	if roughness(out, T) < steadier*roughness(rungs, T) {
		return out
	}
	return rungs
}

// roughness is how unevenly rungs stand beside their neighbours, as a mean square in which
// single ones that are far off count little, in spacings.
func roughness(rungs []rung, T float64) float64 {
	const far = 0.5
	var sum, n float64
	for i := 1; i+1 < len(rungs); i++ {
		a, b, c := rungs[i-1], rungs[i], rungs[i+1]
		if a.found && b.found && c.found {
			d := math.Min(math.Abs(a.along-2*b.along+c.along)/T, far)
			sum, n = sum+d*d, n+1
		}
	}
	return sum / n
}
