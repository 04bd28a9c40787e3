package vision

import (
	"math"

	"dentcount/calib"
)

// Mend counts in the bands nearest to the places add and leaves out those
// nearest to drop (inches on the ruler's scale s), and fits the line through
// the bands anew. unused is how many places could not be followed: they lie
// between two bands, or no band is near.
//
// A band that is counted in and was measured close by keeps its measured
// place; else it takes the place it was given. The correction for the depth of
// the wires, where it was told, stays as it was: it follows from all edges and
// not from the row.
func (b *Bands) Mend(s calib.Scale, add, drop []float64) (unused int) {
	if len(b.Row) == 0 || !(b.MiddlePerInch > 0) {
		return len(add) + len(drop)
	}
	row := append([]Band(nil), b.Row...)
	spacing := 1 / b.MiddlePerInch
	origin := startOf(row, spacing)
	for _, in := range drop {
		if i := nearest(row, in); math.Abs(row[i].In-in) <= spacing/2 {
			row[i].State, row[i].ByHand = LeftOut, true
		} else {
			unused++
		}
	}
	// How far from its even place a band can lie and still be that band, and how
	// near to a measured one a finger means just that one.
	const stray, same = 0.3, 0.25
	for _, in := range add {
		k := int(math.Round((in - origin) / spacing))
		first, last := row[0].Index, row[len(row)-1].Index
		if math.Abs(in-origin-float64(k)*spacing) > stray*spacing || k < first-len(row) || k > last+len(row) {
			unused++
			continue
		}
		row = reachTo(row, k, origin, spacing, s)
		x := &row[k-row[0].Index]
		if x.State == Good && !x.ByHand {
			continue // counted already
		}
		if x.State == Missing || math.Abs(x.In-in) > same*spacing {
			x.In, x.Along = in, s.Along(in)
		}
		x.State, x.ByHand = Good, true
	}
	for i, base := 0, row[0].Index; i < len(row); i++ {
		row[i].Index -= base
	}
	b.Row = row
	b.refit(spacing)
	return unused
}

// startOf is the place of the band of index 0 on the line through the good ones.
func startOf(row []Band, spacing float64) float64 {
	var off []float64
	for _, x := range row {
		if x.State == Good {
			off = append(off, x.In-float64(x.Index)*spacing)
		}
	}
	if len(off) == 0 {
		return row[0].In - float64(row[0].Index)*spacing
	}
	return medianOf(off)
}

func nearest(row []Band, in float64) int {
	best := 0
	for i := range row {
		if math.Abs(row[i].In-in) < math.Abs(row[best].In-in) {
			best = i
		}
	}
	return best
}

// reachTo extends the row with missing places up to the index k.
func reachTo(row []Band, k int, origin, spacing float64, s calib.Scale) []Band {
	empty := func(i int) Band {
		in := origin + float64(i)*spacing
		return Band{Index: i, In: in, Along: s.Along(in), State: Missing}
	}
	for k < row[0].Index {
		row = append([]Band{empty(row[0].Index - 1)}, row...)
	}
	for k > row[len(row)-1].Index {
		row = append(row, empty(row[len(row)-1].Index+1))
	}
	return row
}

// refit brings the pitch to the row as it is now.
func (b *Bands) refit(spacing float64) {
	place := make([]float64, len(b.Row))
	match := make([]float64, len(b.Row))
	good := 0
	for i, x := range b.Row {
		place[i], match[i] = math.NaN(), 1
		if x.State == Good {
			place[i] = x.In
			good++
		}
	}
	if good < 3 {
		return // too few for a line; whoever asks for a pitch is told so
	}
	_, slope, sd, uSlope := robustLine(place, match, spacing)
	middle := 1 / slope
	relU := uSlope / slope
	if b.DepthTold {
		b.PerInch *= middle / b.MiddlePerInch
		relU = math.Max(relU, b.U/b.PerInch)
	} else {
		b.PerInch = middle
	}
	b.MiddlePerInch, b.ScatterIn, b.U = middle, sd, relU*b.PerInch
}
