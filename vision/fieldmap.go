package vision

import (
	"math"
	"math/cmplx"

	"dentcount/calib"
	"dentcount/photo"
)

// fieldMap holds the bands' tones on both sides of the marked edge.
type fieldMap struct {
	zones   [][]*zone // window, depth; nil outside the picture
	level   []float64 // of each window: the strength of its tones beside the edge,
	share   []float64 // and the share of the contrast that a tone of bands carries at least
	typical float64   // level
	edge    int       // the marked edge's index
	// windowZones is from window to window, in zones.
	windowZones float64
	along       []float64 // of each window's middle, px
}

// mapField looks reachIn inches far on either side of the marked edge.
func mapField(p photo.Plane, s calib.Scale, along stretch, l lean, t tone, ppi, reachIn float64) fieldMap {
	// Windows short enough that ends that run aslant to the ruler are met at one depth.
	const windowIn, fewest = 1.0, 4
	spacings := math.Max(fewest, math.Min(windowSpacings, math.Floor(windowIn*t.PerInch)))
	m := fieldMap{edge: inZones(reachIn)}
	rows := make([][]window, 2*m.edge)
	step := rowPx(ppi)
	calib.SideBySide(len(rows), func(i int) {
		d := float64(i-m.edge) * fieldZoneIn * ppi
		st := beside(p, along.frame, along.lo, along.hi, d, d+step, step)
		if st.cols > 0 {
			rows[i] = windowTones(st.sheared(l, 0, st.rows, 1), ppi/t.PerInch, spacings, along.lo, d, s)
		}
	})
	for _, row := range rows {
		for len(m.zones) < len(row) {
			m.along = append(m.along, row[len(m.zones)].along)
			m.zones = append(m.zones, make([]*zone, len(rows)))
		}
	}
	for i, row := range rows {
		if len(row) > 1 {
			m.windowZones = (row[1].along - row[0].along) / (fieldZoneIn * ppi)
		}
		for j := range row {
			if len(row[j].zones) > 0 {
				m.zones[j][i] = &row[j].zones[0]
			}
		}
	}
	near := [2]int{m.edge - inZones(besideFarIn), m.edge - inZones(besideNearIn)}
	n := len(m.zones)
	m.level, m.share = make([]float64, n), make([]float64, n)
	for j := range m.level {
		strength, share := m.median(j, near, (*zone).strength), m.median(j, near, func(z *zone) float64 { return z.share })
		m.level[j], m.share[j] = strength, leastTonal(share)
	}
	m.typical = medianOf(m.level)
	return m
}

// median is that of a number of a window's zones between two of them; 0 where
// hardly any is seen.
func (m fieldMap) median(j int, between [2]int, of func(z *zone) float64) float64 {
	var v []float64
	for i := between[0]; i <= between[1]; i++ {
		if z := m.zones[j][i]; z != nil {
			v = append(v, of(z))
		}
	}
	if len(v) < 3 {
		return 0
	}
	return medianOf(v)
}

// banded says whether bands as clear as beside the edge are seen.
func (m fieldMap) banded(j, i int) bool {
	const least, most = 0.35, 3
	z := m.zones[j][i]
	return z != nil && z.share > 0 && z.share >= m.share[j] && z.strength() > least*m.level[j] && z.strength() < most*m.level[j]
}

// clear says whether a window's bands are seen beside the edge.
func (m fieldMap) clear(j int) bool {
	const faint, some = 1.0, 0.4 // grey levels; of the typical window
	return m.level[j] >= faint && m.level[j] >= some*m.typical
}

// comesOut says whether the bands of a window that were last seen in a zone come out
// again, in step, past something as wide as a ruler, and where they are seen there.
func (m fieldMap) comesOut(j, last, dir int) (at int, out bool) {
	const narrowIn = 0.35
	run := 0
	for d := inZones(narrowIn); d < inZones(RulerWideIn); d++ {
		i := last + dir*d
		if i < 0 || i >= len(m.zones[j]) {
			break
		}
		if run++; !m.banded(j, i) || !m.inStep(j, i, i+1) {
			run = 0
		}
		if run == inZones(fieldStartIn) {
			return i, true
		}
	}
	return last, false
}

// follow is the last zone of a window in which bands are seen, from start on;
// framed says that the picture, or what is looked at, ends there.
func (m fieldMap) follow(j, start, dir int) (last int, framed bool) {
	// Past a gap only what is in step with the bands is more of them: the grain of
	// a table is not. A gap of two zones is noise.
	const offFrameIn, blurIn = 0.1, 3.5 * fieldZoneIn
	last = start
	for i := start; i >= 0 && i < len(m.zones[j]) && m.zones[j][i] != nil; i += dir {
		gap := math.Abs(float64(i-last)) * fieldZoneIn
		if m.banded(j, i) && (gap <= blurIn || m.inStep(j, i, i+1)) {
			last = i
		} else if gap > fieldGapIn {
			return last, false
		}
	}
	next := last + dir*inZones(offFrameIn)
	return last, next < 0 || next >= len(m.zones[j]) || m.zones[j][next] == nil
}

// besideEdge is the tone of a window's bands before the marked edge, the sum of n zones.
func (m fieldMap) besideEdge(j int) (sum complex128, n int) {
	for i := m.edge - inZones(fieldGapIn); i < m.edge-1; i++ {
		if m.banded(j, i) {
			sum += m.zones[j][i].one
			n++
		}
	}
	return sum, n
}

// inStep says whether the bands of a window in zones lo ≤ i < hi are in step with
// those before the marked edge, as more of the same bands are and marks are not.
func (m fieldMap) inStep(j, lo, hi int) bool {
	before, _ := m.besideEdge(j)
	var here complex128
	for i := lo; i < hi; i++ {
		here += m.zones[j][i].one
	}
	const inStep = 0.5 // the cosine: within a sixth of a spacing
	return real(here*cmplx.Conj(before)) > inStep*cmplx.Abs(here)*cmplx.Abs(before)
}

// behind is where the bands come out behind the ruler in a window: the longest run
// of bands in step with those before its marked edge, all in all, as a rigid
// heddle's holes are not; -1 where there is none. What does not reach past the narrowest
// ruler is its marks.
func (m fieldMap) behind(j int) int {
	least, narrow := inZones(fieldStartIn), inZones(rulerNarrowIn)
	best, longest := -1, 0
	for i := m.edge + 2; i < m.edge+inZones(RulerWideIn); {
		k := i
		for k < len(m.zones[j]) && m.banded(j, k) {
			k++
		}
		if k-i >= least && k-i > longest && k > m.edge+narrow && m.inStep(j, i, k) {
			// The marks on the ruler's other side, which may run on into the bands, are no bands.
			for best = i; best+1 < k && !m.inStep(j, best, best+1); best++ {
			}
			longest = k - i
		}
		i = k + 1
	}
	return best
}

// behindAll is where the bands come out behind the ruler, by window; none where most of
// the windows that see as far show nothing of the kind: then it is marks, which are in
// step with the bands here and there, or a table.
func (m fieldMap) behindAll() map[int]int {
	starts := map[int]int{}
	var wins []int
	var at []float64
	for j := range m.zones {
		if !m.clear(j) {
			continue
		}
		if i := m.behind(j); i >= 0 {
			starts[j] = i
			wins, at = append(wins, j), append(at, float64(i))
		}
	}
	if len(wins) == 0 {
		return nil
	}
	seen := 0
	for j, end := 0, int(medianOf(at))+inZones(fieldStartIn); j < len(m.zones); j++ {
		if _, comes := starts[j]; comes || m.clear(j) && end < len(m.zones[j]) && m.zones[j][end] != nil {
			seen++
		}
	}
	if !mostOf(wins, seen) {
		return nil
	}
	return starts
}
