package trade

import (
	"fmt"
	"math"
	"sort"
)

// OwnedReed is a reed on the shelf.
type OwnedReed struct {
	ID   string
	Size MadeSize // Label, System, PerInch
	Dims ReedDims // Dims.PerInch 0: that of Size
}

// Service is an owned reed that can serve a loom and a sett.
type Service struct {
	Reed     OwnedReed
	Verdict  Verdict
	Sleying  Sleying
	Reason   string
	Cautions []string
}

// ReedsThatServe picks from the reeds one owns those that can give a sett on
// a loom, for a warp of warpWidthIn (0: whatever the reed gives). Reeds that
// do not fit, cannot give the sett, or are too narrow are left out; the rest
// come with the sure fits first, then by how simply they are sleyed. A loom
// whose figures disagree, or a sett that is no sett, is an error.
func ReedsThatServe(loom Loom, sett, warpWidthIn float64, reeds []OwnedReed) ([]Service, error) {
	if err := loom.Validate(); err != nil {
		return nil, err
	}
	switch {
	case sett == 0:
		return nil, Question{Ask: "how many ends per inch is the sett?"}
	case !(sett > 0 && sett <= 1000):
		return nil, fmt.Errorf("%v ends per inch is no sett: check the number", sett)
	case !(warpWidthIn >= 0 && warpWidthIn <= MaxLengthIn):
		return nil, fmt.Errorf("a warp %v in wide is not possible: check the number", warpWidthIn)
	case loom.WeavingWidthIn > 0 && warpWidthIn > loom.WeavingWidthIn:
		return nil, fmt.Errorf("a warp %s wide is more than %s weaves, %s", FormatIn(warpWidthIn, 16), loom.called(), FormatIn(loom.WeavingWidthIn, 16))
	}
	var out []Service
	for _, r := range reeds {
		dims := r.Dims
		if dims.PerInch == 0 {
			dims.PerInch = r.Size.PerInch
		}
		if dims.Label == "" {
			dims.Label = r.Size.Label
		}
		s, ok := bestSleying(sett, r.Size.PerInch)
		if !ok {
			continue
		}
		v := FitReed(loom, dims)
		if v.Kind == DoesNotFit || (v.UsableIn > 0 && v.UsableIn < warpWidthIn-1.0/16) {
			continue
		}
		out = append(out, Service{
			Reed: r, Verdict: v, Sleying: s,
			Reason:   fmt.Sprintf("%s sleyed %s gives %s ends per inch; %s", dims.called(), s, inchLabel(round2(s.EndsPerInch)), v.Reason),
			Cautions: append(sleyCautions(s), v.Cautions...),
		})
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, b := out[i], out[j]
		if ka, kb := kindRank(a.Verdict.Kind), kindRank(b.Verdict.Kind); ka != kb {
			return ka < kb
		}
		if ra, rb := sleyRank(a.Sleying), sleyRank(b.Sleying); ra != rb {
			return ra < rb
		}
		if ea, eb := math.Abs(a.Sleying.ErrPercent), math.Abs(b.Sleying.ErrPercent); math.Abs(ea-eb) > 1e-9 {
			return ea < eb
		}
		return a.Reed.ID < b.Reed.ID
	})
	return out, nil
}

func kindRank(k VerdictKind) int {
	for i, r := range []VerdictKind{Fits, MeasureAgain, FitsAfterCut, DoesNotFit} {
		if k == r {
			return i
		}
	}
	return 4
}

func round2(x float64) float64 { return math.Round(x*100) / 100 }
