package vision

import (
	"math"
	"slices"

	"dentcount/calib"
	"dentcount/photo"
)

// Field is how far a row of bands runs across the ruler and what it ends in. The
// wires of a reed and the slots of a rigid heddle end in a bar at either side, as
// far apart as parts are high. The teeth of a comb are short and end in nothing at
// one side; the ribs of a cloth run on to the picture's edge.
type Field struct {
	// Ends says at how many of their two sides the bands are seen to end, all of
	// them in one line.
	Ends int
	// HighIn is from the one end to the other in inches, where Ends is 2, else 0.
	HighIn float64
	// LeastIn is over how many inches bands are seen, at least.
	LeastIn float64
	// Free is how clearly they end in nothing at one side, 0…1: past their end the
	// same ground goes on, without the other edge that a bar has.
	Free float64
	// Waves is how far bands that are not seen to end wander off straight lines, as a
	// share of their spacing; NaN where too little of them is seen. Where an end is
	// seen nobody asks, and it is 0.
	Waves float64
	// AslantRad is how far from square the bands run to the lines they end in, in
	// radians; 0 where no such line is seen. AslantU is by how much that may be off: that line
	// may be turned, and so may the marks that tell what square is.
	AslantRad, AslantU float64
	// Covered: beside the ruler that was read something else as wide lies across them,
	// or they are seen through it.
	Covered bool
	// Told: a person says that it is a part, whatever its bands look like.
	Told bool
}

// Heights between which the bands of a part end at either side: between the bars
// of the lowest reeds, and with the slots of the highest rigid heddles, some to
// spare (common practice, no source).
const (
	LowestIn  = 2.5
	HighestIn = 7.5
)

// Short is how far below the lowest of parts the bands end, as a share of it, 0
// where they are not, or not seen, to end at both sides.
func (f Field) Short() float64 {
	if f.Told || f.HighIn == 0 {
		return 0
	}
	return math.Max(0, 1-f.HighIn/LowestIn)
}

// Tall is how far beyond the highest of parts the bands run on, as a share of it.
func (f Field) Tall() float64 {
	if f.Told {
		return 0
	}
	return math.Max(0, f.LeastIn/HighestIn-1)
}

// Teeth says that the bands can hardly be but the teeth of a comb: as short, some to spare
// for the ruler's plane, which may be tilted, and free at one side.
func (f Field) Teeth() bool {
	const longIn = 1.04 * LowestIn
	return !f.Told && f.HighIn > 0 && f.HighIn < longIn && f.EndsFreely()
}

// EndsFreely says that the bands more likely end in nothing at one side than not.
func (f Field) EndsFreely() bool { return f.Free >= 0.5 }

// What a field of bands is looked at through; in inches.
const (
	fieldReachIn = 5.0  // on either side of the marked edge
	fieldFarIn   = 8.5  // where bands are seen as far: what is no part is taller in all
	fieldZoneIn  = 0.03 // from zone to zone
	fieldStartIn = 0.12 // bands that come out behind a ruler are seen this far
	fieldGapIn   = 0.25 // yarn across the bands, and glare, hide no more
	RulerWideIn  = 2.2  // the widest rulers (common practice, no source)
)

// inZones is inches in zones, rounded up.
func inZones(in float64) int { return int(math.Ceil(in/fieldZoneIn - 1e-9)) }

// fieldOf follows a row of bands of tone t from the marked edge outward, and those
// behind the ruler in step with them.
func fieldOf(p photo.Plane, s calib.Scale, l lean, row []Band, t tone, ppi float64) (f Field, g []groundAt) {
	// Where the row is: the ruler may be longer than the part.
	a, b := row[0].Along, row[len(row)-1].Along
	along := stretch{s.Frame, math.Min(a, b), math.Max(a, b)}
	m := mapField(p, s, along, l, t, ppi, fieldReachIn)
	sides := m.sides()
	if slices.ContainsFunc(sides, func(o fieldSide) bool { return o.atIn > fieldReachIn-fieldGapIn }) {
		m = mapField(p, s, along, l, t, ppi, fieldFarIn)
		sides = m.sides()
	}
	if len(sides) == 0 {
		return f, nil
	}
	f.AslantRad, f.AslantU = m.aslant(sides, l.at((a+b)/2)-s.ShearAt((a+b)/2))
	if f.AslantRad > 0 {
		f.AslantU = math.Hypot(f.AslantU, 2*s.ShearU)
	}
	for _, o := range sides {
		f.LeastIn += o.atIn
		f.Covered = f.Covered || o.covered
		if o.ends {
			f.Ends++
		}
	}
	f.Covered = f.Covered || m.veiled()
	f.Free = m.freeEnd(sides, f.Ends)
	if f.Ends == 0 {
		f.Waves = m.waves(sides)
	}
	if f.Ends == 2 {
		f.HighIn = f.LeastIn
	}
	return f, m.ground(sides)
}

// aslant is how far from square the bands run to the lines they end in: the less of
// both sides, since behind one of them yarn may lie or another part. skew is the tangent
// of the bands to the ruler's perpendicular. u is by how much that line may be turned: a
// line through the ends of a few windows leaves the more open.
func (m fieldMap) aslant(sides []fieldSide, skew float64) (rad, u float64) {
	const fewest = 4 // windows
	rad = math.Inf(1)
	for _, o := range sides {
		if n := len(o.wins); o.ends && n >= fewest {
			if a := math.Abs(math.Atan(skew + o.slope/m.windowZones)); a < rad {
				rad, u = a, onLineZones/(float64(o.wins[n-1]-o.wins[0])*m.windowZones)
			}
		}
	}
	if math.IsInf(rad, 1) {
		return 0, 0
	}
	return rad, u
}

// fieldSide is where bands are seen last on one side of the ruler.
type fieldSide struct {
	dir  int
	ends bool // the picture goes on there and all the bands end in one line
	// whole: the row as a whole told that, not its windows one by one.
	whole bool
	// steep is what share of the bands' strength is lost within a few zones there, where
	// whole.
	steep float64
	atIn  float64 // how far from the marked edge they are seen
	// covered: something as wide as a ruler lies across them; they end at it in one
	// line and come out behind it.
	covered bool
	// The line: place + slope·window, in zones; wins are the windows on it.
	place, slope float64
	wins         []int
}

// Bands end, or something lies across them, where most windows show it, but for those
// that end past the part or are hidden, and in one line.
const (
	fewestWindows = 2
	mostWindows   = 0.6
	onLineZones   = 0.08 / fieldZoneIn
	partWindows   = 4 // at least, where the picture's edge cuts most of a row off
)

func mostOf(windows []int, of int) bool {
	return len(windows) >= fewestWindows && float64(len(windows)) >= mostWindows*float64(of)
}

// track is the zone in which the bands of a window are seen last; framed says that the
// picture, or what is looked at, ends there.
type track struct {
	window, zone int
	framed       bool
}

// tracks follows the bands of every window away from the marked edge. covered says that
// something lies across most of them, passed that they were followed on past it: it has
// two straight edges, while a table's pattern is in step with bands here and there.
func (m fieldMap) tracks(dir int) (all []track, covered, passed bool) {
	var under, wins []int // those that something lies across, of all, and their windows
	var from, to []float64
	var starts map[int]int
	if dir > 0 {
		starts = m.behindAll()
	}
	for j := range m.zones {
		if !m.clear(j) {
			continue
		}
		start := m.edge - 2
		if dir > 0 {
			var come bool
			if start, come = starts[j]; !come {
				continue
			}
		}
		last, framed := m.follow(j, start, dir)
		if out, comes := m.comesOut(j, last, dir); comes {
			under, wins = append(under, len(all)), append(wins, j)
			from, to = append(from, float64(last)), append(to, float64(out))
		}
		all = append(all, track{j, last, framed})
	}
	// Of second rulers all windows show both edges in a line, of tables with a pattern two
	// thirds (two drawn ones, seeds 5201 and 5231).
	const straight = 0.8
	for _, edge := range [2][]float64{from, to} {
		if _, _, on := endLine(wins, edge, onLineZones); float64(len(on)) < straight*float64(len(under)) {
			return all, false, false
		}
	}
	covered = mostOf(under, len(all))
	if len(under) > 2*fewestWindows {
		passed = true
		for k, i := range under {
			all[i].zone, all[i].framed = m.follow(wins[k], int(to[k]), dir)
		}
	}
	return all, covered, passed
}

// side follows the bands away from the marked edge on its outer side (dir -1), or
// those that come out behind the ruler (1). ok is false where none are seen.
func (m fieldMap) side(dir int) (o fieldSide, ok bool) {
	o.dir = dir
	tracks, covered, passed := m.tracks(dir)
	if len(tracks) < fewestWindows {
		return o, false
	}
	o.covered = covered
	var wins []int
	var last, all []float64
	for _, t := range tracks {
		all = append(all, math.Abs(float64(t.zone-m.edge))*fieldZoneIn)
		if !t.framed {
			wins, last = append(wins, t.window), append(last, float64(t.zone))
		}
	}
	o.atIn = medianOf(all)
	if mostOf(wins, len(all)) {
		o.slope, o.place, o.wins = endLine(wins, last, onLineZones)
		// Under what lies across them bands do not end.
		o.ends = (passed || !covered) && mostOf(o.wins, len(wins))
		if !o.ends && !covered && len(wins) == len(all) {
			o.endsAtBar(wins, last, m.edge)
		}
	} else if !covered && len(wins) >= partWindows {
		o.endsInPart(tracks, wins, last, m.edge)
	}
	return o, true
}

// endsAtBar looks at bands of which some windows show what is wound about a bar, in step with
// them, and the others the bar itself: the ones end in one line and the others in another, no
// farther from it than a bar is wide. The bands end in the nearer one.
func (o *fieldSide) endsAtBar(wins []int, last []float64, edge int) {
	// Nearly all windows; of a weave that goes on past the wires some end anywhere.
	const most = 0.9
	one := likeliestLine(wins, last, onLineZones)
	var rest []int
	var at []float64
	for k, j := range wins {
		if !slices.Contains(one.wins, j) {
			rest, at = append(rest, j), append(at, last[k])
		}
	}
	two := likeliestLine(rest, at, onLineZones)
	first, final := float64(wins[0]), float64(wins[len(wins)-1])
	mid := (first + final) / 2
	apart := float64(o.dir) * (two.at(mid) - one.at(mid))
	turned := math.Abs((two.slope - one.slope) * (final - first))
	switch {
	case len(two.wins) < partWindows || float64(len(one.wins)+len(two.wins)) < most*float64(len(wins)):
		return
	case math.Abs(apart)*fieldZoneIn > barIn || turned > 2*onLineZones:
		return
	}
	if apart < 0 {
		one = two
	}
	o.ends, o.slope, o.place, o.wins = true, one.slope, one.place, one.wins
	o.atIn = math.Abs(one.at(mid)-float64(edge)) * fieldZoneIn
}

// lineOfEnds is place + slope·window, in zones, and the windows in which it is met.
type lineOfEnds struct {
	slope, place float64
	wins         []int
}

func (l lineOfEnds) at(window float64) float64 { return l.place + l.slope*window }

// likeliestLine is endLine of those depths at which something is met in windows, both in
// zones, that lie on one line through two of them, of which it is met in the most windows.
func likeliestLine(wins []int, at []float64, near float64) lineOfEnds {
	var most []int
	var there []float64
	for a := range wins {
		for b := a + 1; b < len(wins); b++ {
			slope := (at[b] - at[a]) / float64(wins[b]-wins[a])
			var on []int
			var depths []float64
			for k, j := range wins {
				if math.Abs(at[k]-at[a]-slope*float64(j-wins[a])) <= near {
					on, depths = append(on, j), append(depths, at[k])
				}
			}
			if len(on) > len(most) {
				most, there = on, depths
			}
		}
	}
	var l lineOfEnds
	l.slope, l.place, l.wins = endLine(most, there, near)
	return l
}

// endsInPart looks at bands of which the picture shows some to their end and cuts the
// others off, as it does where a bar leaves it aslant: those that it shows end in one
// line, and it cuts off the others before that.
func (o *fieldSide) endsInPart(tracks []track, wins []int, last []float64, edge int) {
	slope, place, on := endLine(wins, last, onLineZones)
	if len(on) < len(wins) {
		return
	}
	for _, t := range tracks {
		if t.framed && float64(o.dir)*(float64(t.zone)-place-slope*float64(t.window)) > onLineZones {
			return
		}
	}
	o.slope, o.place, o.wins, o.ends = slope, place, on, true
	o.atIn = math.Abs(medianOf(last)-float64(edge)) * fieldZoneIn
}

// sides are the outer side and, where the bands come out behind the ruler, the other
// one; none where the outer one shows no bands.
func (m fieldMap) sides() []fieldSide {
	before, ok := m.sideOrWhole(-1)
	if !ok {
		return nil
	}
	if behind, ok := m.sideOrWhole(1); ok {
		return []fieldSide{before, behind}
	}
	return []fieldSide{before}
}

// sideOrWhole is side, but for where the windows do not end in one line one by one and
// the row does as a whole.
func (m fieldMap) sideOrWhole(dir int) (o fieldSide, ok bool) {
	o, ok = m.side(dir)
	if ok && (o.ends || o.covered) {
		return o, true
	}
	// Where most windows show bands far beyond, they are not believed to end, but all at
	// once: as fine a weave as the wires goes on in each window, yet in no step with them.
	const beyondIn, atOnce = 0.5, 0.8
	if w, ends := m.wholeEnd(dir); ends && (o.atIn < w.atIn+beyondIn || w.steep > atOnce) {
		return w, true
	}
	return o, ok
}

// endLine is the line through most of the depths at which something is met in
// windows, both in zones, and the windows in which it is met on the line.
func endLine(wins []int, at []float64, near float64) (slope, place float64, on []int) {
	var slopes, places []float64
	for a := range wins {
		for b := a + 1; b < len(wins); b++ {
			slopes = append(slopes, (at[b]-at[a])/float64(wins[b]-wins[a]))
		}
	}
	slope = medianOf(slopes)
	for k, j := range wins {
		places = append(places, at[k]-slope*float64(j))
	}
	place = medianOf(places)
	for k, j := range wins {
		if math.Abs(places[k]-place) <= near {
			on = append(on, j)
		}
	}
	return slope, place, on
}
