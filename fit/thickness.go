package fit

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// thickness says which share of rulers is no thicker: a quarter are tapes, two in
// five steel rules and thin plastic, the others wood and thick plastic, a few
// yardsticks among them (common practice, no source).
func thickness() []quantile {
	return []quantile{{0, 0.15}, {tapeShare, 0.5}, {0.65, 1.3}, {0.97, 3.2}, {1, 5}}
}

// clearThickness is the same of transparent rulers: plastic, from sheets that bend to
// boards (common practice, no source); a tenth for others that were taken for one.
func clearThickness() []quantile { return []quantile{{0, 0.15}, {0.1, 0.8}, {1, 3.2}} }

// tapeShare is the share of rulers that are tapes.
const tapeShare = 0.25

// quantile says that a share of rulers is no thicker than so many mm.
type quantile struct{ share, mm float64 }

// sideOther is how often what looks like a side face, or like none, says nothing
// of the thickness: the ruler is bevelled or round at its edge, its side as pale
// as its face, a shadow as sharp as an edge. A stated value.
const sideOther = 0.1

// anothers is how often a told thickness is another ruler's, of one that is not seen or not
// known for one, before the side face is heeded. A stated prior, no source.
const anothers = 0.02

// lifts are equally likely values of ln(h/(h+t)): the quantiles of thickness
// crossed with those of height, weighed by what the photo shows of the side face:
// of a thickness that was told it tells the height, or that it is another ruler's.
func lifts(v View, h heights) []float64 {
	ts := thicknesses(v, 25)
	doubted := v.sideSpeaksAgainst(h)
	if v.Side == nil || v.DistanceMM > 0 && len(ts) == 1 && !doubted {
		var out []float64
		for _, t := range ts {
			for _, ln := range h.ln {
				out = append(out, math.Log(Undo(t, h.mm*math.Exp(ln))))
			}
		}
		return out
	}
	// A thickness that was seen is told finer than the prior's quantiles lie.
	const fine, values = 120, 225
	ts = thicknesses(v, fine)
	prior := slices.Repeat([]float64{1}, len(ts))
	if doubted {
		for _, t := range thicknesses(v.untold(), fine) {
			ts, prior = append(ts, t), append(prior, anothers/(1-anothers)/fine)
		}
	}
	var at, weight []float64
	for _, ln := range h.ln {
		for i, w := range sideWeights(v, ts, v.lensOff(ln)) {
			at, weight = append(at, math.Log(Undo(ts[i], h.mm*math.Exp(ln)))), append(weight, w*prior[i])
		}
	}
	stat.SortWeighted(at, weight)
	out := make([]float64, values)
	for i := range out {
		out[i] = stat.Quantile((float64(i)+0.5)/values, stat.Empirical, at, weight)
	}
	return out
}

// untold is the view if no thickness had been told.
func (v View) untold() View {
	v.ThicknessMM = 0
	return v
}

// lensOff is what a height that is exp(ln) times the usual one says of the lens: a told
// distance's doubt is not the lens's.
func (v View) lensOff(ln float64) float64 {
	if v.DistanceMM > 0 {
		return 0
	}
	return ln
}

// sideSpeaksAgainst says that what is seen of the side face speaks for the told thickness
// less than a third as much as for what rulers are like (stated; where it speaks a little
// against a thickness, that is the scatter of what is seen).
func (v View) sideSpeaksAgainst(h heights) bool {
	const third = 1.0 / 3
	if v.Side == nil || v.ThicknessMM <= 0 || v.toldOfAnother() != "" {
		return false
	}
	speaks := func(ts []float64) (mean float64) {
		for _, ln := range h.ln {
			for _, w := range sideWeights(v, ts, v.lensOff(ln)) {
				mean += w / float64(len(ts)*len(h.ln))
			}
		}
		return mean
	}
	return speaks([]float64{v.ThicknessMM}) < third*speaks(thicknesses(v.untold(), 25))
}

// sideWeights are how much what is seen of the side face speaks for each of
// equally likely thicknesses, 1 for as much as nothing would, if the lens's true
// focal length over that of the view is exp(ln).
func sideWeights(v View, ts []float64, ln float64) []float64 {
	w := make([]float64, len(ts))
	for i, t := range ts {
		w[i] = 1
		if v.Side != nil {
			w[i] = (1-sideOther)*v.Side.Likelihood(t, v.lensRel(ln)) + sideOther
		}
	}
	return w
}

// lensRel is the logarithm of a focal length over that with which the bands were
// read, for one that is exp(ln) times the view's.
func (v View) lensRel(ln float64) float64 {
	f := v.Focal35
	if f <= 0 {
		f = focalMedian
	}
	return ln + math.Log(FocalPx(f, v.WidthPx, v.HeightPx)/v.Side.FocalPx)
}

// notATape is the thickness in mm from which on a ruler bends in no photo (common
// practice, no source).
const notATape = 1.0

// toldOfAnother says why the thickness that was told may be another ruler's than
// the one that was read; empty where nothing speaks for that.
func (v View) toldOfAnother() string {
	switch {
	case v.ThicknessMM <= 0:
	case v.TwoRulers:
		return "of two rulers either may be the one whose thickness was told"
	case v.softTape && v.ThicknessMM >= notATape:
		return "the ruler bends as only a thin tape does: the thickness that was told may be another one's"
	}
	return ""
}

// thicknesses are n equally likely heights of the marked face above the wires,
// in mm, from thin to thick; the told one alone where it is told. Where it may be
// another ruler's the told one and what rulers are like weigh alike.
func thicknesses(v View, n int) []float64 {
	if told := v.ThicknessMM; told > 0 {
		if v.toldOfAnother() == "" {
			return []float64{told}
		}
		v.ThicknessMM = 0
		return append(thicknesses(v, n), slices.Repeat([]float64{told}, n)...)
	}
	table, most := thickness(), 1.0
	switch {
	case v.softTape:
		most = tapeShare
	case v.Transparent:
		table = clearThickness()
	}
	ts := make([]float64, n)
	k := 1
	for i := range ts {
		p := most * (float64(i) + 0.5) / float64(n)
		for p > table[k].share {
			k++
		}
		a, b := table[k-1], table[k]
		ts[i] = a.mm + (b.mm-a.mm)*(p-a.share)/(b.share-a.share)
	}
	return ts
}
