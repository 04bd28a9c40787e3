package vision

import (
	"image"
	"image/color"
	"math"

	"dentcount/calib"
	"dentcount/photo"
)

// Straightened is what lies beside the ruler, pulled straight along the edge:
// one column a pixel along, one row a pixel of depth from the far end (top) to a
// quarter inch inside the ruler (bottom). Where the edge runs is a black line,
// with a stroke upwards from it for every band, short for one that is not good.
func (b Bands) Straightened(p photo.Plane, s calib.Scale) *image.Gray {
	ppi := s.PxPerIn()
	far, inside := math.Max(b.ReachPx, 0.25*ppi), 0.25*ppi
	st := beside(p, s.Frame, math.Floor(s.Lo), s.Hi, -far, inside, 1)
	img := image.NewGray(image.Rect(0, 0, st.cols, st.rows))
	for r := range st.rows {
		for c, v := range st.row(r) {
			if v == v {
				img.SetGray(c, r, color.Gray{Y: uint8(v)})
			}
		}
	}
	edge := int(far)
	for c := range st.cols {
		img.SetGray(c, edge, color.Gray{})
	}
	for _, x := range b.Row {
		up := 0.15 * ppi
		if x.State != Good {
			up /= 3
		}
		for r := edge - int(up); r < edge; r++ {
			img.SetGray(int(x.Along-st.lo), max(r, 0), color.Gray{Y: 255})
		}
	}
	return img
}

// Folded is the profile beside the ruler cut into spacings that stand side by
// side: a column a band, from a spacing before its place (top) to one after it.
// The fronts of the wires are level, what lies behind them slopes. The grey
// levels are stretched to their range.
func (b Bands) Folded(p photo.Plane, s calib.Scale) *image.Gray {
	const perBand, rows = 6, 240
	ppi := s.PxPerIn()
	st := beside(p, s.Frame, math.Floor(s.Lo), s.Hi, -math.Max(b.ReachPx, 4), -math.Max(3, 0.025*ppi), 1)
	img := image.NewGray(image.Rect(0, 0, perBand*len(b.Row), rows))
	if st.cols == 0 || len(b.Row) == 0 || !(b.PerInch > 0) {
		return img
	}
	sig := onRuler(st.sheared(lean{b.Lean[0], b.Lean[1]}, 0, st.rows, 1), st.lo, s, ppi)
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range sig.v {
		if v == v {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	for i, x := range b.Row {
		place := b.Row[0].In + float64(x.Index)/b.PerInch
		for r := range rows {
			v := sig.at(place + (float64(r)/rows*2-1)/b.PerInch)
			if v != v || hi <= lo {
				continue
			}
			for c := range perBand {
				img.SetGray(i*perBand+c, r, color.Gray{Y: uint8(255 * (v - lo) / (hi - lo))})
			}
		}
	}
	return img
}
