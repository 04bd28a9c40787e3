package main

import (
	"math"

	"dentcount/judge"
	"dentcount/trade"
)

// noneShare is the prior share of parts of no made size that the perfect reader
// has in mind; the sets draw about that many.
const noneShare = 0.1

// floor is what a perfect reader says of the photos that could be answered.
type floor struct {
	// plain and withSizes are the relative errors of the pitch without and with
	// the made sizes in mind, absolute.
	plain, withSizes []float64
	// decided are the photos of which a size is named with 0.95 or more.
	decided      []row
	decidedRight int
	n            int
}

// floorOf takes the photos that could be answered. Told, the perfect reader
// knows the bands in view and their scatter is all that is left; not told, he
// knows their mean pitch and not the thickness.
func floorOf(rows []row, told bool) floor {
	var f floor
	for _, r := range rows {
		if !r.answerable() || r.DentsPerInch == 0 || r.heightMM() == 0 {
			continue
		}
		seen := r.DentsPerInch
		if r.VisibleFit > 0 {
			seen = r.VisibleFit
		}
		reader := judge.Reader{ThinMM: thinMM, ThickMM: thickMM, NoneShare: noneShare}
		if told {
			reader.ThinMM, reader.ThickMM = r.ThicknessMM, r.ThicknessMM
		}
		if r.Scatter > 0 && r.VisibleDents > 2 {
			reader.ReadRelU = judge.PitchFloor(r.Scatter, r.VisibleDents)
		}
		v := reader.Read(seen, r.ThicknessMM, r.heightMM(), trade.Sizes(r.Part))
		f.n++
		f.plain = append(f.plain, math.Abs(v.PlainPerInch/r.DentsPerInch-1))
		f.withSizes = append(f.withSizes, math.Abs(v.PerInch/r.DentsPerInch-1))
		if v.P >= decidedAt {
			f.decided = append(f.decided, r)
			if v.Label == r.Label {
				f.decidedRight++
			}
		}
	}
	return f
}

// decidedAt is the confidence from which the perfect reader's word is counted.
const decidedAt = 0.95
