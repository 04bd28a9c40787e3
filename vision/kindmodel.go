package vision

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// Cue is one thing that tells the slots of a rigid heddle from the wires of a
// reed, bounded, so that none decides alone.
type Cue struct {
	Name  string
	Value float64
}

// holesClear is the cue of how clearly a zone of holes is seen: 0 where none is.
const holesClear = "holes clear"

// HolesSeen says whether a zone of holes was seen between the bands, as none but a rigid
// heddle's slots have; where bands are as close as no slots are it was not looked for.
func (b Bands) HolesSeen() bool {
	return b.holesClearer(0)
}

// holesClearer says whether the cue of a zone of holes was taken and is over so much.
func (b Bands) holesClearer(than float64) bool {
	return slices.ContainsFunc(b.KindCues, func(c Cue) bool { return c.Name == holesClear && c.Value > than })
}

// HolesPlain says whether a zone of holes was seen so clearly that nothing else looks like
// it: of 1,998 drawn reeds with bands as coarse as slots (judge, seeds 4612 to 4616; fit, four
// seeds) two show one as clear, of some 140 cloths, boards and rulers alone none.
func (b Bands) HolesPlain() bool {
	const plain = 2.4 - chanceHoles
	return b.holesClearer(plain)
}

// chanceHoles is up to how clear holes marks and chance look like, and glints that change along
// wires nearly do: of 1,512 drawn reeds (fit, seeds 5701, 5707 and 5803; judge, seeds
// 4612 to 4615) 71 had more than 0.8 and 8 more than this, of 3,945 rigid heddles 3,302 and 3,251.
const chanceHoles = 1.4

// kindCues are what tells of bands as coarse as slots what they are. a are their
// arcs, nil where none are told; holes is the clearness of the clearest zone of
// holes, 0 where there is none; seen what is seen of the part's middle. Arcs that are
// not told count as 0, as all their cues do that say nothing.
func kindCues(a *arcs, holes float64, seen middle, perInch float64) []Cue {
	const clearest, usualPerInch = 3.3, 5.0
	const shortestHoleIn = 0.2 // common practice, no source
	var read float64
	var arc arcs
	if a != nil {
		read, arc = 1, *a
	}
	out := []Cue{
		{holesClear, bound(holes, chanceHoles, clearest) - chanceHoles},
		{"middle plain", bound(seen.plain, 0, 1)},
		{"no room for holes", bound(1-seen.roomIn/shortestHoleIn, 0, 1)},
		{"bands an inch", bound(math.Log(perInch/usualPerInch), -0.6, 0.6)},
		{"arcs told", read},
	}
	for _, c := range arc.cues() {
		if a == nil || math.IsNaN(c.Value) {
			c.Value = 0
		}
		out = append(out, c)
	}
	return out
}

// kindCSV is the model: made by cmd/accuracy -fit-kind-into from drawn scenes. Its
// first lines say which.
//
//go:embed kind.csv
var kindCSV string

// kindWeights is a logistic model: the log odds of slots are bias plus the cues
// times their weights. Nothing is surer than ceiling.
type kindWeights struct {
	bias, ceiling float64
	by            map[string]float64
}

var kindModel = sync.OnceValue(func() kindWeights {
	w, err := parseKindWeights(kindCSV)
	if err != nil {
		panic("vision: kind.csv: " + err.Error()) // a flaw of the build
	}
	return w
})

func parseKindWeights(text string) (kindWeights, error) {
	w := kindWeights{by: map[string]float64{}}
	r := csv.NewReader(strings.NewReader(text))
	r.Comment, r.FieldsPerRecord = '#', 2
	rows, err := r.ReadAll()
	if err != nil {
		return w, err
	}
	for i, row := range rows {
		if i == 0 {
			continue // cue, weight
		}
		by, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			return w, err
		}
		if math.IsNaN(by) || math.IsInf(by, 0) {
			return w, fmt.Errorf("%s weighs %v", row[0], by)
		}
		switch row[0] {
		case "bias":
			w.bias = by
		case "ceiling":
			w.ceiling = by
		default:
			w.by[row[0]] = by
		}
	}
	if !(w.ceiling > 0.5 && w.ceiling < 1) {
		return w, fmt.Errorf("a ceiling of %g is no probability of the likelier kind", w.ceiling)
	}
	return w, nil
}

// mostAgainst is how much is heeded at most of what speaks against slots that are told
// otherwise, in log odds. Stated: so much leaves the part unsure, be it what it may.
const mostAgainst = 2.0

// odds is the logarithm of the odds that the bands are slots. The arcs are all read from one
// row, and go wrong together where it is faint: where holes are seen they say no more against
// slots than mostAgainst. Of 1,894 drawn parts with holes so clear (judge, seeds 4623 and
// 4625 to 4628; fit, seeds 5813 and 5814) one is a reed, of which the middle is seen to be plain.
func (w kindWeights) odds(cues []Cue) float64 {
	const holesAre = halvesHidden - chanceHoles
	z, byArcs, holes := w.bias, 0.0, false
	for _, c := range cues {
		holes = holes || c.Name == holesClear && c.Value >= holesAre
		if slices.Contains(arcCueNames(), c.Name) {
			byArcs += w.by[c.Name] * c.Value
		} else {
			z += w.by[c.Name] * c.Value
		}
	}
	if holes {
		byArcs = math.Max(byArcs, -mostAgainst)
	}
	return z + byArcs
}

// arcCueNames are the cues that arcs give.
var arcCueNames = sync.OnceValue(func() (names []string) {
	for _, c := range (arcs{}).cues() {
		names = append(names, c.Name)
	}
	return names
})

// slotsOrWires is what bands as coarse as slots are by their cues.
func slotsOrWires(cues []Cue) kindRead {
	// Below sureAt a person is told of the other reading.
	const sureAt = 0.88
	k := kindRead{kind: Reed, ifHeddle: 2, cues: cues}
	w := kindModel()
	odds := w.odds(cues)
	if odds > 0 {
		k.kind = RigidHeddle
	}
	k.probability = math.Min(1/(1+math.Exp(-math.Abs(odds))), w.ceiling)
	k.holesHidden = k.probability < sureAt
	return k
}

// turnsOrWires is what bands are beyond which the tone halves: the edge lies in
// the zone of holes, and slots and holes cross it in turn. The tone halves, if less
// often, where wires differ by turns; then the arcs may say so. But the cues tell
// slots from wires: where slots and holes stand in turn they mean little, and say no
// more against than mostAgainst.
//
// steady says that slots keep step all along, as surely as where they stand closer.
func turnsOrWires(cues []Cue, steady bool) kindRead {
	// Of 18 drawn parts seen in turn (seeds 5701 to 5803, 4610 to 4614), all of them rigid
	// heddles, the odds by the cues were -0.9 and more for seventeen, -6.8 for one.
	stated := turnsStated
	if steady {
		stated = plainly
	}
	odds := math.Log(stated/(1-stated)) + bound(kindModel().odds(cues), -mostAgainst, 0)
	return kindRead{kind: RigidHeddle, ifHeddle: 1, cues: cues, probability: 1 / (1 + math.Exp(-odds))}
}
