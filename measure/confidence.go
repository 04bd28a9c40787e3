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
	"dentcount/vision"
)

// Feature is one thing that tells how surely a photo was read.
type Feature struct {
	Name  string
	Value float64
}

// featuresOf lists what the chance of a right reading is reckoned from. Each is
// bounded, so that a photo unlike all others cannot be sure for that.
func featuresOf(ruler calib.Ruler, b vision.Bands, p fit.Pitch) []Feature {
	s := ruler.Scale
	good := 0
	for _, x := range b.Row {
		if x.State == vision.Good {
			good++
		}
	}
	yes := func(is bool) float64 {
		if is {
			return 1
		}
		return 0
	}
	step := s.Unit.Inches() / math.Max(1, float64(s.Divisions))
	return []Feature{
		{"stated", logOdds(stated(ruler, b, p))},
		// What calib and vision think of their own reading.
		{"unit", logOdds(ruler.UnitProbability)},
		{"part", logOdds(b.KindProbability)},
		{"ruler odds", bounded(ruler.Odds/20, 4)},
		{"transparent", yes(ruler.Through)},
		// How much was seen, and how clearly.
		{"clean bands", float64(good) / math.Max(1, float64(countable(b.Row)))},
		{"bands", bounded(math.Log(float64(len(b.Row))/30), 1.5)},
		{"marks", bounded(math.Log(float64(len(s.Marks))/60), 1.5)},
		{"contrast", bounded(math.Log(b.Contrast/20), 1.5)},
		{"pixels a band", bounded(math.Log(b.PxPerBand/9), 1.2)},
		{"runs along", bounded(b.Coherence, 1)},
		{"reach", bounded(b.ReachPx/math.Max(s.PxPerIn(), 1), 2)},
		// How well it hangs together.
		{"band scatter", bounded(math.Log((b.ScatterIn*b.PerInch+1e-3)/0.02), 2)},
		{"mark scatter", bounded(s.ResidualIn/step, 0.2)},
		{"like marks", yes(likeItsMarks(ruler, b))},
		{"spectrum apart", bounded(math.Log1p(p.Agree), 2.5)},
		{"second scale", yes(ruler.Second != nil)},
		{"rigid heddle", yes(b.Kind == vision.RigidHeddle)},
		// Bands as far apart as the slots of a heddle may be those of one.
		{"coarse reed", yes(b.Kind == vision.Reed && p.PerInch <= coarsePerInch)},
		// Whether they end as those of a part do: in bars, as far apart as parts are
		// high. Else it is none, or the ruler counts in another unit.
		{"ends seen", float64(b.Field.Ends) / 2},
		{"ends free", freeEnds(b.Field)},
		{"short bands", bounded(4*b.Field.Short(), 1)},
		{"tall bands", bounded(4*b.Field.Tall(), 1)},
	}
}

// freeEnds is how clearly bands end in nothing at one side, unless a person says
// what they are.
func freeEnds(f vision.Field) float64 {
	if f.Told {
		return 0
	}
	return f.Free
}

// coarsePerInch is up to where a rigid heddle has its slots: 15 dents per inch
// are the finest it is made in, and every second one is a slot.
const coarsePerInch = 8.2

// stated is what the odds of a right reading look like to those who wrote the
// reading: each thing by itself, as a stated prior.
func stated(ruler calib.Ruler, b vision.Bands, p fit.Pitch) float64 {
	q := ruler.UnitProbability * b.KindProbability
	good := 0
	for _, x := range b.Row {
		if x.State == vision.Good {
			good++
		}
	}
	share := float64(good) / float64(countable(b.Row))
	q *= 0.995 / (1 + math.Exp(-14*(share-0.45)))
	q *= 1 / (1 + math.Exp(2*(p.Agree-5)))
	q *= 1 / (1 + math.Exp(-0.6*(b.Contrast-8)))
	q *= 1 / (1 + math.Exp(60*(b.ScatterIn*b.PerInch-0.14)))
	q *= 1 / (1 + math.Exp(-3*(b.PxPerBand-3.4)))
	q *= 1 / (1 + math.Exp(-14*(b.Coherence-0.55)))
	if likeItsMarks(ruler, b) {
		q *= 0.2
	}
	if b.Field.Short() > 0 || b.Field.Tall() > 0 {
		q *= 0.2
	}
	return q
}

// likeItsMarks says whether the bands stand exactly as far apart, on the plane of
// the ruler, as a scale's fine marks do, or as marks twice as fine: then they may
// be those marks, which a line a little inside the edge shows on both sides. Wires
// lie under the ruler, so that wires as far apart as its marks look closer; and
// few reeds are as fine as that.
func likeItsMarks(ruler calib.Ruler, b vision.Bands) bool {
	const finePerInch, sameRel = 20.0, 0.0005
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

// logOdds of a probability, between that of 1 and of 99.9 in a hundred.
func logOdds(p float64) float64 {
	p = math.Min(math.Max(p, 0.01), 0.999)
	return math.Log(p / (1 - p))
}

// bounded keeps v in ±most; what is no number counts as the worst.
func bounded(v, most float64) float64 {
	if math.IsNaN(v) {
		return -most
	}
	return math.Min(math.Max(v, -most), most)
}

// confidenceCSV is the model: made by cmd/accuracy -fit-into from drawn scenes.
// Its first lines say which.
//
//go:embed confidence.csv
var confidenceCSV string

// weights is a logistic model: the log odds of a right reading are bias plus
// the features, each less its mean, times their weights. Nothing is surer than
// ceiling.
type weights struct {
	bias, ceiling float64
	mean, by      map[string]float64
}

var confidence = sync.OnceValue(func() weights {
	w, err := parseWeights(confidenceCSV)
	if err != nil {
		panic("measure: confidence.csv: " + err.Error()) // a flaw of the build
	}
	return w
})

func parseWeights(text string) (weights, error) {
	w := weights{mean: map[string]float64{}, by: map[string]float64{}}
	r := csv.NewReader(strings.NewReader(text))
	r.Comment, r.FieldsPerRecord = '#', 3
	rows, err := r.ReadAll()
	if err != nil {
		return w, err
	}
	for i, row := range rows {
		if i == 0 {
			continue // feature, mean, weight
		}
		mean, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			return w, err
		}
		by, err := strconv.ParseFloat(row[2], 64)
		if err != nil {
			return w, err
		}
		switch row[0] {
		case "bias":
			w.bias = by
		case "ceiling":
			w.ceiling = by
		default:
			w.mean[row[0]], w.by[row[0]] = mean, by
		}
	}
	if !(w.ceiling > 0 && w.ceiling <= 1) {
		return w, fmt.Errorf("a ceiling of %g is no probability", w.ceiling)
	}
	return w, nil
}

// right is the chance that a photo with these features was read right.
func (w weights) right(fs []Feature) float64 {
	z := w.bias
	for _, f := range fs {
		z += w.by[f.Name] * (f.Value - w.mean[f.Name])
	}
	return w.ceiling / (1 + math.Exp(-z))
}

// readRight is the probability that unit, octave and part were read right and
// the pitch within its budget.
func readRight(ruler calib.Ruler, b vision.Bands, p fit.Pitch) float64 {
	q := confidence().right(featuresOf(ruler, b, p))
	if reason, _ := noPart(b.Field); reason != "" {
		q = math.Min(q, mayBeNoPart)
	}
	return q
}
