package vision

import (
	"math"

	"dentcount/calib"
)

// What is seen between the wires of a reed, where the camera looks straight down, is
// what is seen beyond its bars: the table, somewhat in the part's shade. Between the
// slots of a rigid heddle it is the panel, and the table in the slots.

// groundAt is the grey level of what lies beyond the bars, at a place along the ruler
// and at depths where it is seen.
type groundAt struct {
	along, level float64 // px, grey levels
	depths       []float64
}

// ground is the grey level beyond the bars in each window of which it is seen.
func (m fieldMap) ground(sides []fieldSide) []groundAt {
	const lookIn, leastIn, shadeIn = 0.8, 0.3, 0.15
	type beyond struct {
		o    fieldSide
		from int // zones from the bands' ends
	}
	var ends []beyond
	for _, o := range sides {
		if o.ends {
			ends = append(ends, beyond{o, m.barEnds(o) + inZones(shadeIn)})
		}
	}
	var out []groundAt
	for j := range m.zones {
		var v, depths []float64
		for _, e := range ends {
			for x := e.from; x < e.from+inZones(lookIn); x++ {
				if z := m.past(e.o, j, x); z != nil {
					v, depths = append(v, z.mean), append(depths, z.depth)
				}
			}
		}
		if len(v) >= inZones(leastIn) {
			out = append(out, groundAt{m.along[j], medianOf(v), depths})
		}
	}
	return out
}

// pastEnds are the grey levels of so many zones past the bands' ends, of all windows
// together; fewer where most of them see no more.
func (m fieldMap) pastEnds(o fieldSide, zones int) (levels []float64) {
	for x := range zones {
		var v []float64
		for _, j := range o.wins {
			if z := m.past(o, j, x); z != nil {
				v = append(v, z.mean)
			}
		}
		if 2*len(v) < len(o.wins) {
			break
		}
		levels = append(levels, medianOf(v))
	}
	return levels
}

// past is the zone of window j that lies x zones past the bands' ends, nil where that is
// outside the picture.
func (m fieldMap) past(o fieldSide, j, x int) *zone {
	i := int(math.Round(o.place+o.slope*float64(j))) + o.dir*x
	if i < 0 || i >= len(m.zones[j]) {
		return nil
	}
	return m.zones[j][i]
}

// barEnds is how many zones past the bands' ends the bar ends: where the grey level
// changes the most. Where a bar is of the ground's tone it does not matter.
func (m fieldMap) barEnds(o fieldSide) int {
	const narrowIn, barIn, wide = 0.2, 1.1, 3
	prof := m.pastEnds(o, inZones(barIn)+wide)
	at, most := 0, -1.0
	for x := inZones(narrowIn); x+wide <= len(prof); x++ {
		if d := math.Abs(prof[x] + prof[x+1] + prof[x+2] - prof[x-1] - prof[x-2] - prof[x-3]); d > most {
			at, most = x, d
		}
	}
	return at
}

// groundNear is the ground nearest to a place; ok is false where none is seen.
func groundNear(g []groundAt, along float64) (at groundAt, ok bool) {
	near := math.Inf(1)
	for _, x := range g {
		if d := math.Abs(x.along - along); d < near {
			near, at = d, x
		}
	}
	return at, len(g) > 0
}

// straightDown is the stretch of the row that lies nearest to the camera's foot, where it
// looks through the part the most straight, and the ground nearest to it; ok is false where
// there is none.
func (a arcs) straightDown(g []groundAt, s calib.Scale, footIn float64) (at arcLevel, ground groundAt, ok bool) {
	for i, l := range a.levels {
		if i == 0 || math.Abs(l.at-footIn) < math.Abs(at.at-footIn) {
			at = l
		}
	}
	ground, ok = groundNear(g, s.Along(at.at))
	return at, ground, ok && len(a.levels) > 0
}

// overGround compares the arcs with the ground where the camera looks through the part
// the most straight. In an opening the ground is seen, in the part's shade or hidden by
// walls, and nothing adds to its light; what is solid may be of any tone. It is how much
// lighter than the ground the wide arc is, less how much the narrow one is, in nepers of
// light; NaN where no ground is seen.
func (a arcs) overGround(g []groundAt, s calib.Scale, footIn float64) float64 {
	// Of 104 drawn parts (seed 5123) the slots of rigid heddles were -1.6 to 0 nepers over
	// the ground and their bars -1.4 to 1.7; what is between the wires of reeds -1.0 to 0
	// and the wires -1.7 to 2.0 (5 % and 95 %).
	const lightest, most = 0.05, 0.8
	// sRGB's tone curve (IEC 61966-2-1) is about a power; black is never quite that.
	const power, veil = 2.2, 6
	at, ground, ok := a.straightDown(g, s, footIn)
	if !ok {
		return math.NaN()
	}
	over := func(grey float64) float64 {
		return bound(power*math.Log((grey+veil)/(ground.level+veil))-lightest, 0, most)
	}
	return over(at.wide) - over(at.narrow)
}
