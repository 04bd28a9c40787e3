package trade

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"
)

// MetresPerKG is what one yard per pound is in metres per kilogram: 0.9144 m
// and 0.45359237 kg, both exact (international yard and pound agreement, 1959).
const MetresPerKG = 0.9144 / 0.45359237

// Yarn is a yarn by its length for its weight.
type Yarn struct {
	YardsPerPound float64
	// Soft says that it is spun woollen: lofty, and thicker than a firm yarn of
	// the same weight.
	Soft   bool
	Words  string // as it is read back: "8/2 cotton"
	Source string // of the count; empty for a plain length and weight
}

// Tex is the yarn's weight in grams of a kilometre (ISO 1144).
func (y Yarn) Tex() float64 { return 1e6 / (y.YardsPerPound * MetresPerKG) }

type yarnCount struct {
	names         []string
	yardsPerPound float64
	soft          bool
	source        string
}

var yarnCounts = sync.OnceValue(func() []yarnCount {
	t := mustTable("yarn_counts.csv", "id", "names", "yards_per_pound", "soft")
	var out []yarnCount
	for i := range t.rows {
		out = append(out, yarnCount{strings.Split(t.text(i, "names"), ";"), t.mustNumber(i, "yards_per_pound"), t.text(i, "soft") == "1", t.text(i, "source")})
	}
	return out
})

// The yarns that are taken for possible, in yards per pound: a rope, and
// a single filament of silk.
const minYardsPerPound, maxYardsPerPound = 30, 500_000

var (
	yarnLength = regexp.MustCompile(`^([0-9.,]+) ?(yds?|yards?|m|metres?|meters?) ?(?:/|per|in|to the|to) ?([0-9.,]*) ?(lbs?|pounds?|oz|ounces?|kg|g|grams?)$`)
	yarnYPP    = regexp.MustCompile(`^([0-9.,]+) ?ypp$`)
	yarnTex    = regexp.MustCompile(`^(?:r ?)?([0-9.,]+) ?(tex|dtex|den|denier)(?: ?x ?([0-9]+))?$|^(tex|dtex|den|denier) ?([0-9.,]+)(?: ?x ?([0-9]+))?$`)
	yarnPlied  = regexp.MustCompile(`^([0-9.,]+)(?: ?/ ?([0-9.,]+))?$`)
)

// ParseYarn reads a yarn as it is written on its label: a length and a weight
// ("3360 yd/lb", "6700 m/kg", "200 m/50 g"), tex, dtex or denier ("60 tex",
// "30 tex x 2"), or a count with its system ("8/2 cotton", "20/2 worsted",
// "16/1 linen", "Nm 28/2"). Of the two numbers of a plied yarn the larger is
// taken for the count, for both orders are written. A count without a system
// is a [Question].
func ParseYarn(s string) (Yarn, error) {
	shown := shorten(s)
	text := plainForm(s)
	switch {
	case text == "" || len(s) > 100:
		return Yarn{}, fmt.Errorf("%q is no yarn: write it like %s", shown, yarnForms)
	case strings.HasPrefix(text, "-"):
		return Yarn{}, fmt.Errorf("%q is negative: a yarn has some length to its weight", shown)
	}
	if m := yarnLength.FindStringSubmatch(text); m != nil {
		return lengthYarn(shown, m[1], m[2], m[3], m[4])
	}
	if m := yarnYPP.FindStringSubmatch(text); m != nil {
		return lengthYarn(shown, m[1], "yd", "", "lb")
	}
	if m := yarnTex.FindStringSubmatch(text); m != nil {
		return texYarn(shown, m[1]+m[5], m[2]+m[4], m[3]+m[6])
	}
	for _, c := range yarnCounts() {
		for _, name := range c.names {
			number, ok := strings.CutSuffix(text, name)
			if !ok {
				number, ok = strings.CutPrefix(text, name)
			}
			if !ok {
				continue
			}
			if m := yarnPlied.FindStringSubmatch(strings.TrimSpace(number)); m != nil {
				return countYarn(shown, m[1], m[2], c)
			}
		}
	}
	switch {
	case yarnPlied.MatchString(text):
		return Yarn{}, Question{Problem: fmt.Sprintf("%q says no system", shown), Ask: "which count is it: cotton, linen, worsted, woollen run or Nm? Write it like 8/2 cotton"}
	case strings.Contains(text, "wool"):
		return Yarn{}, Question{Problem: fmt.Sprintf("%q: wool is counted in several ways", shown), Ask: "is it worsted, woollen run, woollen cut or Nm? Yards per pound or metres per kilogram always do"}
	}
	return Yarn{}, fmt.Errorf("%q is no yarn: write it like %s", shown, yarnForms)
}

const yarnForms = "8/2 cotton, Nm 28/2, 60 tex, 3360 yd/lb or 200 m/50 g"

func lengthYarn(shown, length, lengthUnit, weight, weightUnit string) (Yarn, error) {
	l, w, ok := yarnNumbers(length, weight)
	if !ok {
		return Yarn{}, fmt.Errorf("%q: a length or a weight of nothing makes no yarn", shown)
	}
	yards := l
	if lengthUnit[0] == 'm' {
		yards = l / 0.9144
	}
	var pounds float64
	switch weightUnit[0] {
	case 'l', 'p':
		pounds = w
	case 'o':
		pounds = w / 16
	case 'k':
		pounds = w / 0.45359237
	default:
		pounds = w / 453.59237
	}
	return checkedYarn(Yarn{YardsPerPound: yards / pounds, Words: shown}, shown)
}

func texYarn(shown, number, unit, plies string) (Yarn, error) {
	v, n, ok := yarnNumbers(number, plies)
	if !ok {
		return Yarn{}, fmt.Errorf("%q: a weight of nothing makes no yarn", shown)
	}
	v *= n
	switch unit {
	case "dtex":
		v /= 10
	case "den", "denier":
		v /= 9
	}
	return checkedYarn(Yarn{YardsPerPound: 1e6 / v / MetresPerKG, Words: shown, Source: "ISO 1144: tex, grams to the kilometre"}, shown)
}

func countYarn(shown, a, b string, c yarnCount) (Yarn, error) {
	count, plies, ok := yarnNumbers(a, b)
	if !ok {
		return Yarn{}, fmt.Errorf("%q: a count or plies of nothing make no yarn", shown)
	}
	count, plies = math.Max(count, plies), math.Min(count, plies)
	if plies != math.Trunc(plies) || plies > 24 {
		return Yarn{}, fmt.Errorf("%q: %s plies are not possible: write the count and the plies, like 8/2 cotton", shown, inchLabel(plies))
	}
	return checkedYarn(Yarn{YardsPerPound: count / plies * c.yardsPerPound, Soft: c.soft, Words: shown, Source: c.source}, shown)
}

func checkedYarn(y Yarn, shown string) (Yarn, error) {
	if !(y.YardsPerPound >= minYardsPerPound && y.YardsPerPound <= maxYardsPerPound) {
		return Yarn{}, fmt.Errorf("%q comes to %.4g yards in a pound: check the number and the unit", shown, y.YardsPerPound)
	}
	return y, nil
}

// yarnNumbers reads two numbers, the second 1 where it is not there.
func yarnNumbers(a, b string) (x, y float64, ok bool) {
	x, ok = yarnNumber(a)
	if b == "" {
		return x, 1, ok
	}
	y, okB := yarnNumber(b)
	return x, y, ok && okB
}

// yarnNumber reads a plain positive number; a comma with three digits after it
// parts thousands, any other is a decimal one.
func yarnNumber(s string) (float64, bool) {
	if i := strings.IndexByte(s, ','); i >= 0 {
		if i+4 == len(s) && i > 0 && !strings.Contains(s, ".") {
			s = s[:i] + s[i+1:]
		} else {
			s = strings.Replace(s, ",", ".", 1)
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil && v > 0 && !math.IsInf(v, 0)
}
