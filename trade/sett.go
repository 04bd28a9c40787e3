package trade

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
)

// Weave is a weave as far as the sett asks: how many ends its repeat has, and
// how often the weft passes from one side to the other there.
type Weave struct {
	Name                string
	Ends, Intersections int
}

var twillForm = regexp.MustCompile(`^(?:twill )?([1-9][0-9]?) ?/ ?([1-9][0-9]?)(?: twill)?$`)

// ParseWeave reads "plain", "twill" (the 2/2 one) or a twill as it is
// interlaced: "2/1", "3/1", "twill 2/2".
func ParseWeave(s string) (Weave, error) {
	text := plainForm(s)
	switch text {
	case "plain", "plain weave", "tabby", "1/1":
		return Weave{"plain weave", 2, 2}, nil
	case "twill":
		return Weave{"2/2 twill", 4, 2}, nil
	}
	if m := twillForm.FindStringSubmatch(text); m != nil {
		up, _ := strconv.Atoi(m[1]) // two digits at most
		down, _ := strconv.Atoi(m[2])
		return Weave{m[1] + "/" + m[2] + " twill", up + down, 2}, nil
	}
	return Weave{}, fmt.Errorf("%q is no weave this knows: say plain, twill, or how the twill goes, like 2/1 or 3/1", shorten(s))
}

// share is the part of an inch of touching yarns that the ends take: the weft
// needs the room of a yarn wherever it passes through.
func (w Weave) share() float64 { return float64(w.Ends) / float64(w.Ends+w.Intersections) }

// SettEstimate is a sett by rule of thumb, in ends per inch. The usual cloth
// is Sett; Loose and Firm are what else is woven of the same yarn.
type SettEstimate struct {
	Loose, Sett, Firm float64
	Diameters         float64 // yarns side by side in an inch
	Rule, Source      string
}

// Shares of the closest sett that can be woven: a usual cloth has about four
// fifths of it, a firm one nine tenths, a loose one two thirds (common
// practice, no source).
const looseShare, usualShare, firmShare = 0.65, 0.80, 0.90

// SettOfYarn estimates the sett from length and weight by Ashenhurst's rule:
// in an inch lie 0.9 times the root of the yards per pound, 0.84 times for
// soft woollen yarns; of these the weave takes ends/(ends + intersections) at
// the closest.
func SettOfYarn(y Yarn, w Weave) (SettEstimate, error) {
	if !(y.YardsPerPound > 0) {
		return SettEstimate{}, errors.New("the yarn has no length for its weight")
	}
	k := 0.9
	if y.Soft {
		k = 0.84
	}
	d := k * math.Sqrt(y.YardsPerPound)
	most := d * w.share()
	return SettEstimate{
		Loose: looseShare * most, Sett: usualShare * most, Firm: firmShare * most, Diameters: d,
		Rule:   fmt.Sprintf("%.2f × √(yards per pound) × %d/%d at the closest, four fifths of that for a usual cloth", k, w.Ends, w.Ends+w.Intersections),
		Source: "T. R. Ashenhurst's rule, as worked out at faena.medievaltextiles.org/ash.html; four fifths of the closest sett: common practice, no source",
	}, nil
}

// The wraps per inch that are taken for possible.
const minWraps, maxWraps = 2, 250

// SettOfWraps estimates the sett from wraps per inch, the yarn wound round a
// ruler side by side: half of them for plain weave, two thirds for a 2/2
// twill. Yarn that is wound by hand lies looser than Ashenhurst's touching
// yarns, and so this is the usual cloth, not the closest.
func SettOfWraps(wraps float64, w Weave) (SettEstimate, error) {
	if !(wraps >= minWraps && wraps <= maxWraps) {
		return SettEstimate{}, fmt.Errorf("%s wraps in an inch are not possible: count them over an inch of the ruler, %d to %d", inchLabel(round2(wraps)), minWraps, maxWraps)
	}
	sett := wraps * w.share()
	return SettEstimate{
		Loose: sett * looseShare / usualShare, Sett: sett, Firm: sett * firmShare / usualShare, Diameters: wraps,
		Rule:   fmt.Sprintf("wraps per inch × %d/%d", w.Ends, w.Ends+w.Intersections),
		Source: "common practice, no source",
	}, nil
}

// nearRepeat is the longest repeat, in dents, that an estimate is worth.
const nearRepeat = 3

// ReedsNear lists the reeds that come within some percent of an estimated
// sett, with the simplest sleying of each that does, no dent left empty: an
// estimate is no nearer than that, and a simple sleying is worth more. The order is that of ReedsFor.
func ReedsNear(sett, withinPercent float64, sizes []MadeSize) []ReedChoice {
	var out []ReedChoice
	for _, m := range sizes {
		var best Sleying
		found := false
		for _, s := range sleyings(sett, m.PerInch, withinPercent) {
			if len(s.Pattern) > nearRepeat || slices.Min(s.Pattern) == 0 {
				continue
			}
			if !found || sleyRank(s) < sleyRank(best) {
				best, found = s, true
			}
		}
		if found {
			out = append(out, ReedChoice{Size: m, Sleying: best, Cautions: sleyCautions(best)})
		}
	}
	sortChoices(out)
	return out
}

// EndsFor is how many ends a warp of that width has, up to the next whole one.
func EndsFor(widthIn, sett float64) int {
	return ceil(widthIn * sett)
}
