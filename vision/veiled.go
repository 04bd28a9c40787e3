package vision

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// A transparent ruler that lies across the bands shows them fainter between two straight
// edges, and says nothing else of itself where its marks are too fine to be read.

// veiled says that something as wide as a ruler, through which bands are seen fainter,
// lies across most of them on the outer side.
func (m fieldMap) veiled() bool {
	// Both edges are met in a line by most windows; grain and light are not.
	const straight, onLineIn = 0.7, 0.12
	var wins []int
	var from, to []float64
	n := 0
	for j := range m.zones {
		if !m.clear(j) {
			continue
		}
		n++
		if a, b, ok := m.veil(j); ok {
			wins = append(wins, j)
			from, to = append(from, float64(a)), append(to, float64(b))
		}
	}
	if n < partWindows {
		return false
	}
	for _, edge := range [2][]float64{from, to} {
		if _, _, on := endLine(wins, edge, onLineIn/fieldZoneIn); float64(len(on)) < straight*float64(n) {
			return false
		}
	}
	return true
}

// veil is between which zones, from the marked edge outward, the bands of a window are the
// most plainly fainter than on both sides, all within a few zones of the edges.
func (m fieldMap) veil(j int) (from, to int, ok bool) {
	const (
		narrowIn = rulerNarrowIn - 0.05 // some to spare, as either edge is found within a few zones
		fainter  = 0.12                 // of the logarithm of the strength, at either edge
		beside   = 5                    // zones on either side of an edge, and between
		gap      = 1
	)
	var s []float64
	for i := m.edge - inZones(besideNearIn); i >= 0; i-- {
		z := m.zones[j][i]
		if z == nil || !m.banded(j, i) {
			break
		}
		s = append(s, math.Log(z.strength()))
	}
	step := make([]float64, len(s)) // how much fainter it grows past a zone
	for x := beside + gap; x+beside+gap < len(s); x++ {
		step[x] = stat.Mean(s[x-gap-beside:x-gap], nil) - stat.Mean(s[x+gap+1:x+gap+1+beside], nil)
	}
	best := fainter
	for a := range step {
		if step[a] < best {
			continue
		}
		for b := a + inZones(narrowIn); b < min(len(step), a+inZones(RulerWideIn)); b++ {
			if least := math.Min(step[a], -step[b]); least > best {
				best, from, to, ok = least, a, b, true
			}
		}
	}
	return from, to, ok
}
