package measure

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"dentcount/calib"
	"dentcount/fit"
	"dentcount/trade"
	"dentcount/vision"
)

// Feature is one doubt of a reading, by name: 0 where there is none, and the
// more the larger. What [IsOpen] is a share of 1.
type Feature struct {
	Name  string
	Value float64
}

// featuresOf lists what the chance of a right reading is reckoned from. Each
// counts from where photos show that it begins to matter, so that no strength in
// one thing makes up for a doubt in another; and each is bounded, so that a
// photo unlike all others does not fall out of the model. kind is the probability of
// the bands' kind (ofKind).
func featuresOf(ruler calib.Ruler, b vision.Bands, p fit.Pitch, kind float64) []Feature {
	s, ends := ruler.Scale, endsSeen(ruler, b)
	if b.RowIn() >= longestCombIn && b.Field.LeastIn >= vision.LowestIn && !mayBeCM(ruler) {
		ends.Free = 0 // as low and as free as a comb's, but as high as a reed's, and more of them in a row
	}
	step := s.Unit.Inches() / math.Max(1, float64(s.Divisions))
	return []Feature{
		// What calib and vision think of their own reading. Of drawn photos (ranges fit)
		// the unit was right on 84 of 95 where it was said to be with 0.5 to 0.92, the
		// kind on 78 of 88.
		{openPrefix + "unit", leavesOpen(ruler.UnitProbability)},
		{openPrefix + "part", leavesOpen(kind)},
		{"ruler odds", lacks(ruler.Odds/20, 2, 2)},
		// How much was seen, and how clearly.
		{"few bands", lacks(math.Log(float64(len(b.Row))/30), 0, 1.5)},
		{"faint bands", lacks(math.Log(b.Contrast/20), 0.5, 2)},
		{"pixels a band", lacks(math.Log(b.PxPerBand/9), 0, 1.2)},
		{"runs along", lacks(b.Coherence, 0.95, 0.5)},
		{"reach", lacks(b.ReachPx/math.Max(s.PxPerIn(), 1), 0.4, 0.4)},
		// How well it hangs together.
		{"mark scatter", exceeds(s.ResidualIn/step, 0.03, 0.1)},
		// Bands as far apart as the slots of a heddle may be those of one.
		{"coarse reed", yes(b.Kind == vision.Reed && b.DentsIfHeddle == 2)},
		// Whether they end as those of a part do: in bars, as far apart as parts are
		// high. Else it is none, or the ruler counts in another unit.
		{"ends unseen", lacks(float64(b.Field.Ends)/2, 1, 1)},
		{"ends free", freeEnds(ends, mayBeCM(ruler))},
		{"short bands", exceeds(4*ends.Short(), 0, 1)},
		{"tall bands", exceeds(4*ends.Tall(), 0, 1)},
		// Wires are straight, and so smooth that they look the same all along.
		{"wavy bands", wavy(b)},
	}
}

// wavy is how clearly bands without ends wander as no wires do, 0…1.
func wavy(b vision.Bands) float64 {
	// From where wires do to where most drawn corduroys do.
	if b.Kind != vision.Reed || !endless(b.Field) || math.IsNaN(b.Field.Waves) {
		return 0
	}
	return exceeds((b.Field.Waves-wiresWander)/(plainlyWander-wiresWander), 0, 1)
}

// freeEnds is how clearly bands end in nothing at one side and are as short as
// the teeth of combs, 0…1; none where a person says what they are. On a table as
// light as its bar a reed may seem to end in nothing, too. Where the inches may be
// centimetres, what is as high as a reed may be short.
func freeEnds(f vision.Field, mayBeCM bool) float64 {
	if f.Told {
		return 0
	}
	least := f.LeastIn
	if mayBeCM {
		least *= calib.CM.Inches()
	}
	return f.Free * toothLike(least)
}

// mayBeCM says that a ruler's inches are not so sure that they cannot be centimetres.
func mayBeCM(r calib.Ruler) bool {
	return r.Scale.Unit == calib.Inch && r.Scale.Divisions == tenths && r.UnitProbability < unitSure
}

// unitSure is from where on tenths of an inch are no centimetres, and from where on a size may
// be nearly certain: a stated one. A drawn comb (seed 5435) was given 0.984 in inches, a reed
// twice as fine as it was read 0.98 (judge's seed 4623); of 411 sure answers to drawn photos
// (fit, seed 5813) 7 are less sure of the unit.
const unitSure = 0.99

// openPrefix begins the names of features that say which share a probability leaves
// open: so much is lost of the chance of a right reading, times a weight from -1 to 0.
const openPrefix = "open "

// IsOpen tells the features that are shares left open.
func IsOpen(name string) bool { return strings.HasPrefix(name, openPrefix) }

// leavesOpen is the share that a probability leaves to something else, 0…1; none
// from so much on as is told of readings beyond doubt.
func leavesOpen(p float64) float64 {
	const beyondDoubt = 0.97
	return lacks(p/beyondDoubt, 1, 1)
}

// lacks is by how much v falls short of enough, most at most; what is no number
// lacks the most.
func lacks(v, enough, most float64) float64 {
	if math.IsNaN(v) {
		return most
	}
	return math.Min(math.Max(enough-v, 0), most)
}

// exceeds is by how much v lies over usual, most at most; what is no number
// exceeds it the most.
func exceeds(v, usual, most float64) float64 { return lacks(-v, -usual, most) }

func yes(is bool) float64 {
	if is {
		return 1
	}
	return 0
}

// ofKind is the probability that the part is of the kind it was taken for; 1 where a
// person says so.
func ofKind(b vision.Bands, p fit.Pitch) float64 {
	if b.Field.Told {
		return 1
	}
	reeds, heddles := trade.Sizes(trade.PartReed), trade.Sizes(trade.PartRigidHeddle)
	if b.Kind == vision.Reed {
		return fit.OfKind(p, reeds, b.KindProbability, fit.OtherKind{Sizes: heddles, Times: float64(max(b.DentsIfHeddle, 1))})
	}
	others := []fit.OtherKind{{Sizes: reeds, Times: 1 / float64(b.DentsPerBand)}}
	if coarse := len(b.KindCues) > 0; coarse && b.DentsPerBand == 1 {
		// what was taken for slots and holes in turn may be slots alone
		others = append(others, fit.OtherKind{Sizes: heddles, Times: 2})
	}
	return fit.OfKind(p, heddles, b.KindProbability, others...)
}

// likeItsMarks says whether the bands stand exactly as far apart, on the plane of
// the ruler, as a scale's fine marks do, or as marks twice as fine: then they may
// be those marks, which a line a little inside the edge shows on both sides. Wires
// lie under the ruler, so that wires as far apart as its marks look closer; and
// few reeds are as fine as that.
func likeItsMarks(ruler calib.Ruler, b vision.Bands) bool {
	const finePerInch, sameRel = 20.0, 0.0005
	if b.Field.LeastIn > vision.RulerWideIn {
		return false
	}
	scales := []calib.Scale{ruler.Scale}
	if ruler.Second != nil {
		scales = append(scales, *ruler.Second)
	}
	for _, s := range scales {
		for _, finer := range [2]float64{1, 2} {
			marks := finer * float64(s.Divisions) / s.Unit.Inches()
			if marks >= finePerInch && math.Abs(b.PerInch/marks-1) < math.Max(sameRel, 2*b.U/b.PerInch) {
				return true
			}
		}
	}
	return false
}

// faint says that little speaks for the marks being a ruler's and that they do not tell
// their unit plainly, either: on a piece of a ruler that the picture cuts off they hardly can.
func faint(ruler calib.Ruler) bool {
	const plain = 0.9 // a stated one
	return ruler.Faint() && ruler.UnitProbability < plain
}

// moreBetween says that wires were left out: between those that were counted others
// stand, and here and there where one should stand none does. Rust hides wires by chance,
// and may hide mostly every second one. Of 92 drawn photos of reeds (fit, seeds 5702 and
// 5706) 91 had 6 bands between or less in 100 places, and the one that was halved had 34.
// From near wires show their sides, which are bright here and dark there and look like more,
// but all wires are seen; in a heddle's row holes stand between, which are seen then. Of a
// reed of which every second wire was taken for a slot (5805-490) they were not.
func moreBetween(b vision.Bands) bool {
	const few, share = 3, 0.12
	least := math.Max(few, share*float64(len(b.Row)))
	off := gaps(b, func(s vision.State) bool { return s != vision.Good })
	return !b.HolesSeen() && float64(b.Strays) >= least && float64(off) >= least
}

// gaps is at how many places of a row bands are of a state. Those with none that was
// counted between them are one: what lies across a row, as a hand, yarn or glare, hides
// side by side what it hides, while bands that were miscounted are missed here and there.
func gaps(b vision.Bands, of func(vision.State) bool) (n int) {
	open := false
	for _, x := range b.Row {
		switch {
		case x.State == vision.Good:
			open = false
		case of(x.State) && !open:
			open = true
			n++
		}
	}
	return n
}

// faintest is the least contrast of bands that grain hardly has. A stated bound.
const faintest = 10

// uneven says that what was counted hardly stands out and does not stand evenly: a board's
// grain may, or moiré. Of some 8,000 photos drawn to be answered (fit, seed 5803; judge,
// seeds 4612 to 4614) none that was read right was so unsure and so faint; a board and a
// moiré were. The bounds are set between.
func uneven(b vision.Bands) bool {
	const evenU = 0.005
	return b.Contrast < faintest && b.U > evenU*b.PerInch
}

// lacking is how many bands are missing where they are missing at too many places to be
// broken wires: rust may hide as many, or the row may be that of every second wire that it
// left bright. Of 110 drawn photos of reeds (fit, seeds 5701, 5702 and 5706), rusty ones,
// some with wires missing, none lacked more than 5 in 100; of two that were halved 7 (5702)
// and 12 (5711). Of some 200 of rigid heddles (fit, seeds 5803 and 5804) one lacked more than
// one slot, 8 in 100 (5803-497), and one that was doubled (long tape) 14. The shares are set
// between. Of seven drawn parts that lacked more, side by side where a hand, yarn or glare
// lay across them (judge, seeds 4613 to 4616; fit, 5803), all were read right.
func lacking(b vision.Bands) int {
	const few, heddles = 3, 0.1
	share := 0.08
	if b.Kind == vision.RigidHeddle {
		share = heddles
	}
	at := gaps(b, func(s vision.State) bool { return s == vision.Missing })
	if at < few || float64(at) <= share*float64(len(b.Row)) {
		return 0
	}
	return b.Of(vision.Missing)
}

// confidenceCSV is the model: made by cmd/accuracy -fit-into from drawn scenes.
// Its first lines say which.
//
//go:embed confidence.csv
var confidenceCSV string

// weights is a logistic model: the log odds of a right reading are bias, which
// is what they are without a doubt, plus the features times their weights, none
// of which is over 0; what is left open is taken off. Nothing is surer than ceiling.
type weights struct {
	bias, ceiling float64
	by            map[string]float64
}

var confidence = sync.OnceValue(func() weights {
	w, err := parseWeights(confidenceCSV)
	if err != nil {
		panic("measure: confidence.csv: " + err.Error()) // a flaw of the build
	}
	return w
})

func parseWeights(text string) (weights, error) {
	w := weights{by: map[string]float64{}}
	r := csv.NewReader(strings.NewReader(text))
	r.Comment, r.FieldsPerRecord = '#', 2
	rows, err := r.ReadAll()
	if err != nil {
		return w, err
	}
	for i, row := range rows {
		if i == 0 {
			continue // feature, weight
		}
		by, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			return w, err
		}
		switch row[0] {
		case "bias":
			w.bias = by
		case "ceiling":
			w.ceiling = by
		default:
			if by > 0 {
				return w, fmt.Errorf("%s: a doubt that speaks for a reading (%g)", row[0], by)
			}
			if IsOpen(row[0]) && by < -1 {
				return w, fmt.Errorf("%s: more is taken off than is open (%g)", row[0], by)
			}
			w.by[row[0]] = by
		}
	}
	if !(w.ceiling > 0 && w.ceiling <= 1) {
		return w, fmt.Errorf("a ceiling of %g is no probability", w.ceiling)
	}
	return w, nil
}

// right is the chance that a photo with these features was read right.
func (w weights) right(fs []Feature) float64 {
	z, closed := w.bias, w.ceiling
	for _, f := range fs {
		if IsOpen(f.Name) {
			closed *= 1 + w.by[f.Name]*f.Value
		} else {
			z += w.by[f.Name] * f.Value
		}
	}
	return closed / (1 + math.Exp(-z))
}

// belief is what is thought of a reading before its pitch is held against the sizes.
type belief struct {
	features []Feature
	// right is the probability that unit, octave and part were read right and the
	// pitch within its budget.
	right float64
	kind  float64 // that the part is of the kind it was taken for
	// scant: so little was seen, or the unit or the edge is so open, that no size is nearly
	// certain.
	scant bool
	// amiss: so much is amiss that it is not nearly certain that no made size fits.
	amiss bool
}

// nearlySure is the most that is said where something is missing that near certainty, 0.95
// and more, takes: hardly less than that. A stated one; of 1,432 sizes given with 0.935 to 0.94
// 1,422 were right (judge, seeds 4626 to 4631, when it was 0.94).
const nearlySure = 0.949

// scant says that few bands, few marks or no ends of the bands were seen, or that the bands
// hardly run along one line, as yarn and holes in turn leave them. Each is a witness
// against a way of misreading that the others do not tell of, and how often those happen
// where one is missing is known from few photos: near certainty is for what all of them
// bear out. The bound is a stated one: about one in eighteen sure answers to drawn photos
// (fit, seed 5803) lies over it by what is seen, and of 2,140 (judge, seed 4626) 36 more by how
// the bands run along; the one of those that was wrong was among the six that run the worst.
func scant(features []Feature) bool {
	const little = 0.8
	seen := map[string]float64{"few bands": 1, "ruler odds": 1, "ends unseen": 1, "reach": 3, "runs along": 2}
	var sum float64
	for _, f := range features {
		sum += seen[f.Name] * f.Value
	}
	return sum > little
}

// amiss says that something is to be said against a reading, be it what it may. That a made
// size fits is a witness, too: most misreadings fall between sizes. Of drawn photos (fit,
// seeds 5701 to 5805; judge, seeds 4612 to 4615) 4 of 815 were wrong that were answered with
// near certainty to be of no made size, 6 of 9,778 of the others, and of those 4, and four
// a little less sure, all lie over the bound, as half of the right ones do.
func amiss(features []Feature) bool {
	const little = 0.45
	var sum float64
	for _, f := range features {
		sum += f.Value
	}
	return sum > little
}

func believe(ruler calib.Ruler, b vision.Bands, p fit.Pitch) belief {
	o := belief{kind: ofKind(b, p)}
	o.features = featuresOf(ruler, b, p, o.kind)
	o.right = confidence().right(o.features)
	// Where an edge was not seen, how far a tape bends is not, either.
	o.scant, o.amiss = scant(o.features) || ruler.UnitProbability < unitSure || ruler.PastEdge, amiss(o.features)
	if reason, _ := misreading(ruler, b); reason != "" {
		o.right = math.Min(o.right, mayBeNoPart)
	}
	return o
}
