package scene

import (
	"math"
	"math/rand/v2"
	"strconv"
)

// Size is one made dent size.
type Size struct {
	Label        string  `json:"label"`
	System       string  `json:"system"` // "inch" or "metric"
	DentsPerInch float64 `json:"dents_per_inch"`
}

func inchSize(n float64) Size {
	return Size{strconv.FormatFloat(n, 'f', -1, 64), "inch", n}
}

// metricSize is n dents in 10 cm, which is 4 in less the odd 1.6 mm.
func metricSize(n int) Size {
	return Size{strconv.Itoa(n) + "/10", "metric", float64(n) * MMPerInch / 100}
}

// Sizes lists the sizes that practice photos show: common practice, no source.
func Sizes(kind PartKind) []Size {
	inch := []float64{4, 5, 6, 7, 8, 9, 10, 12, 12.5, 14, 15, 16, 18, 20, 22, 24}
	metric := []int{20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 80, 90, 100}
	if kind == RigidHeddle {
		inch = []float64{5, 7.5, 8, 10, 12, 12.5, 15}
		metric = []int{20, 30, 40, 50, 60}
	}
	var out []Size
	for _, n := range inch {
		out = append(out, inchSize(n))
	}
	for _, n := range metric {
		out = append(out, metricSize(n))
	}
	return out
}

// offSize picks a pitch that nobody sells: at least 1 % from every whole and
// half count per inch and every multiple of five in 10 cm.
func offSize(rng *rand.Rand, lo, hi float64) float64 {
	for {
		d := lo * math.Pow(hi/lo, rng.Float64())
		near := math.Abs(d/(math.Round(2*d)/2) - 1)
		m := d / (5 * MMPerInch / 100)
		near = math.Min(near, math.Abs(m/math.Round(m)-1))
		if near >= 0.01 {
			return d
		}
	}
}
