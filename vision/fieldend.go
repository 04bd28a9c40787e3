package vision

import (
	"math"
	"math/cmplx"
	"sort"
)

// In a window of an inch or so a table's pattern, twine that is wound about a bar from
// wire to wire, or rust may pass for bands, or hide them. All windows together tell:
// past the bar nothing is in step with the wires from end to end of the row. The ribs
// of a cloth lose their step slowly, where they do.

// wholeRow is the row of bands beside the edge, window by window: the phase of its
// tone, as a unit, and how strong that is.
type wholeRow struct {
	m    fieldMap
	wins []int
	unit []complex128
	size []float64
}

func (m fieldMap) wholeRow() wholeRow {
	w := wholeRow{m: m}
	for j := range m.zones {
		if !m.clear(j) {
			continue
		}
		sum, n := m.besideEdge(j)
		if n > 0 && sum != 0 {
			w.wins, w.unit = append(w.wins, j), append(w.unit, sum/complex(cmplx.Abs(sum), 0))
			w.size = append(w.size, cmplx.Abs(sum)/float64(n))
		}
	}
	return w
}

// strength is that of the bands of all windows together, at each zone away from the
// edge, in lines of a slope in zones a window: 1 as it is beside the edge. A turn of all
// of them by the same is none, for side faces turn them, and winding about a bar does;
// nor is it where their double takes the place of their tone, as it does where holes
// stand between slots. NaN where less than most of the row is in the picture.
func (w wholeRow) strength(dir int, slope float64) []float64 {
	const most = 0.6
	var all float64
	for _, s := range w.size {
		all += s
	}
	// Behind the marked edge lies the ruler.
	from := 2
	if dir > 0 {
		from = inZones(rulerNarrowIn)
	}
	out := make([]float64, w.m.edge)
	mid := float64(len(w.m.zones)-1) / 2
	for x := range out {
		var one, two complex128
		var size float64
		for k, j := range w.wins {
			i := w.m.edge + dir*x + int(math.Round(slope*(float64(j)-mid)))
			if dir*(i-w.m.edge) < from || i < 0 || i >= len(w.m.zones[j]) || w.m.zones[j][i] == nil {
				continue
			}
			z := w.m.zones[j][i]
			one += z.one * cmplx.Conj(w.unit[k])
			two += z.two * cmplx.Conj(w.unit[k]*w.unit[k])
			size += w.size[k]
		}
		if out[x] = math.NaN(); size > 0 && size >= most*all {
			out[x] = math.Hypot(cmplx.Abs(one), cmplx.Abs(two)) / size
		}
	}
	return out
}

// wholeEnd is where the whole row ends at once on one side of the ruler; ok is false
// where it does not, or where that is not seen.
func (m fieldMap) wholeEnd(dir int) (o fieldSide, ok bool) {
	// So far may the ends run aslant to the ruler: as far as it may be askew, and some
	// for the ruler's plane, which may be tilted.
	const aslant, tries = 0.2, 12
	w := m.wholeRow()
	if len(w.wins) < 2 {
		return o, false
	}
	o = fieldSide{dir: dir, wins: w.wins, whole: true}
	for t := range 2*tries + 1 {
		slope := aslant * float64((t+1)/2) / tries * m.windowZones
		if t%2 > 0 {
			slope = -slope
		}
		// The steeper, the more the line is that of the ends.
		if x, steep := fallForGood(w.strength(dir, slope)); steep > o.steep {
			o.steep, ok = steep, true
			o.place, o.slope = float64(m.edge+dir*x)-slope*float64(len(m.zones)-1)/2, slope
			o.atIn = float64(x) * fieldZoneIn
		}
	}
	o.ends = ok
	return o, ok
}

// barIn is how wide bars are at most, with what is wound about them.
const barIn = 1.3

// fallForGood is the zone at which a row's strength falls for good, and by what share of
// it within a few zones; 0 where it does not.
func fallForGood(s []float64) (at int, steep float64) {
	// Past the bar lies ground of which at least groundIn has to be seen.
	const groundIn, plateauIn = 0.25, 0.3
	// Stated shares of the strength before, by the drawn reeds of seeds 4801 to 4803:
	// twine about bars has up to half of it, bare ground a tenth, tables with a pattern
	// here and there a quarter.
	const present, nothing, little = 0.4, 0.15, 0.3
	plateau, ground, bar := inZones(plateauIn), inZones(groundIn), inZones(barIn)
	const blur = 2      // zones
	most := 1 - present // so far the farthest fall
	for x := plateau; x+blur+ground <= len(s); x++ {
		if math.IsNaN(s[x-plateau]) || math.IsNaN(s[x+blur+ground-1]) {
			continue
		}
		before := medianOf(s[x-plateau : x])
		fall := 1 - medianOf(s[x+blur:x+blur+ground])/before
		if !(before >= present && fall > most) {
			continue
		}
		// Somewhere in what follows there is nothing, and nowhere are bands.
		empty, again := false, false
		for y := x + blur; y+ground <= len(s) && !math.IsNaN(s[y+ground-1]); y++ {
			v := append([]float64(nil), s[y:y+ground]...)
			sort.Float64s(v)
			empty = empty || y <= x+bar && v[ground/2] <= nothing*before && v[ground-1] <= little*before
			again = again || v[ground/2] > (1-present)*before
		}
		if empty && !again {
			// half-way down
			for most, at = fall, x; s[at] > before*(1-fall/2); at++ {
			}
			steep = (s[at-blur] - s[at+blur]) / before
		}
	}
	return at, steep
}
