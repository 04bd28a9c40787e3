package vision

import (
	"math"
	"slices"
)

// Baulks are a quarter of an inch to an inch wide (common practice, no source); nearer to
// the end of the bands lies the shadow of what ends there. So much past the end is looked
// at, and so much has to be seen for bands to end in nothing.
const (
	shadowIn  = 0.2
	widestIn  = 1.3
	barLessIn = 0.9
)

// freeEnd is how clearly bands end in nothing at one of their sides, 0…1.
func (m fieldMap) freeEnd(sides []fieldSide, ends int) float64 {
	past := make([]pastEnd, len(sides))
	for i, o := range sides {
		// Twine about a bar, which makes windows disagree, makes its edge seem free; teeth
		// have another end.
		if o.ends && (!o.whole || ends == 2) {
			past[i] = m.pastEnd(o)
		}
	}
	most := 0.0
	for i, p := range past {
		seenIn := barLessIn
		if ends == 2 && past[1-i].barIn > 0 {
			// Both bars of a part are of one make; some to spare for the ruler's plane,
			// which may be tilted.
			const alike = 1.2
			seenIn = math.Min(seenIn, alike*past[1-i].barIn)
		}
		if p.seenIn >= seenIn {
			most = math.Max(most, p.free)
		}
	}
	return most
}

// pastEnd is what lies past an end of the bands.
type pastEnd struct {
	free   float64 // how clearly there is nothing, as far as is seen, 0…1
	seenIn float64 // so far from the end an edge would be seen
	barIn  float64 // how far away an edge is as plain as those of bars are; 0 for none
}

// pastEnd looks past an end of the bands: where they end in nothing the grey level changes
// but slowly, over more than a bar is wide, while a bar has another edge.
func (m fieldMap) pastEnd(o fieldSide) (p pastEnd) {
	const wide, gap = 3, 1 // zones on either side of an edge, and between
	const grey = 0.4       // levels of noise and rounding
	prof := m.pastEnds(o, inZones(widestIn+shadowIn)+1)
	mean := func(a int) float64 { return (prof[a] + prof[a+1] + prof[a+2]) / wide }
	var steps []float64
	const first = gap + wide // past the end of the bands itself
	for x := first; x+gap+wide <= len(prof); x++ {
		steps = append(steps, math.Abs(mean(x+gap)-mean(x-gap-wide+1)))
	}
	begin := inZones(shadowIn) - first
	if begin >= len(steps) {
		return p
	}
	// The shadow of what ends there may be soft and reach farther: its steps grow less and
	// less from the end on, while those of another edge grow before it.
	faded := 0
	for least := math.Inf(1); faded < len(steps) && steps[faded] <= grey+1.1*least; faded++ {
		least = math.Min(least, steps[faded])
	}
	faded = max(faded-1, begin)
	p.seenIn = float64(len(prof)) * fieldZoneIn
	most, usual := slices.Max(steps[faded:]), medianOf(steps[begin:])
	// By the drawn reeds and combs of seeds 4201 and 4203: the other edge of a bar
	// stands out by 5 times the usual change and more, or by 10 grey levels.
	const plainTimes = 6
	times := most / (usual + grey)
	p.free = bound(math.Min((plainTimes-times)/3, (10-slices.Max(steps[begin:]))/4), 0, 1)
	if times >= plainTimes {
		// A round bar is shaded near the bands, too.
		x := len(steps) - 1
		for steps[x] < most/2 {
			x--
		}
		p.barIn = float64(first+x) * fieldZoneIn
	}
	return p
}
