package trade

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
)

// Sleying is a repeat of ends per dent: Pattern {1, 2} puts one end in a dent,
// two in the next, and again.
type Sleying struct {
	Pattern     []int
	EndsPerInch float64 // the sett it gives
	ErrPercent  float64 // against the sett asked for; positive: closer set
}

// String writes the repeat as weavers do: "1-2", "2-2-3".
func (s Sleying) String() string {
	parts := make([]string, len(s.Pattern))
	for i, n := range s.Pattern {
		parts[i] = strconv.Itoa(n)
	}
	return strings.Join(parts, "-")
}

// Exact tells whether it gives the sett itself.
func (s Sleying) Exact() bool { return math.Abs(s.ErrPercent) < 1e-6 }

// The bounds of what Sleyings lists: repeats a hand can keep, setts near
// enough not to matter in the cloth (stated choices).
const (
	maxRepeatDents = 8
	maxEndsPerDent = 8
	maxErrPercent  = 3.0
)

// Sleyings lists the regular repeats that give a sett (ends per inch) in a
// reed (dents per inch), the shortest repeat first. A longer repeat is listed
// only where it comes closer to the sett than every shorter one; the list
// ends at the sett itself or at eight dents a repeat. Ends are spread over
// the repeat as evenly as whole ends allow. Nothing within 3 % gives an empty
// list, and so do a sett or a reed that are not positive.
func Sleyings(sett, reedPerInch float64) []Sleying { return sleyings(sett, reedPerInch, maxErrPercent) }

// sleyings is Sleyings within some other percentage.
func sleyings(sett, reedPerInch, withinPercent float64) []Sleying {
	if !(sett > 0) || !(reedPerInch > 0) || math.IsInf(sett, 0) || math.IsInf(reedPerInch, 0) {
		return nil
	}
	ratio := sett / reedPerInch
	if ratio > maxEndsPerDent+1 {
		return nil
	}
	var out []Sleying
	best := math.Inf(1)
	for dents := 1; dents <= maxRepeatDents; dents++ {
		ends := int(math.Round(ratio * float64(dents)))
		if ends < 1 || ends > maxEndsPerDent*dents || gcd(ends, dents) != 1 {
			continue
		}
		got := reedPerInch * float64(ends) / float64(dents)
		pct := (got/sett - 1) * 100
		if math.Abs(pct) > withinPercent || math.Abs(pct) >= best-1e-9 {
			continue
		}
		best = math.Abs(pct)
		out = append(out, Sleying{Pattern: spread(ends, dents), EndsPerInch: got, ErrPercent: pct})
	}
	return out
}

// spread puts ends into dents as evenly as can be, and turns the repeat so
// that it starts with its smallest numbers: 5 in 3 is 1-2-2.
func spread(ends, dents int) []int {
	p := make([]int, dents)
	for i := range p {
		p[i] = (i+1)*ends/dents - i*ends/dents
	}
	best := p
	for k := 1; k < dents; k++ {
		turned := append(append([]int(nil), p[k:]...), p[:k]...)
		if lexLess(turned, best) {
			best = turned
		}
	}
	return best
}

func lexLess(a, b []int) bool {
	for i := range a {
		if a[i] != b[i] {
			return a[i] < b[i]
		}
	}
	return false
}

// ReedChoice is a reed that can give a sett, and how it is sleyed for it.
type ReedChoice struct {
	Size     MadeSize
	Sleying  Sleying
	Cautions []string
}

// goodErrPercent is how near to the sett the shortest repeat must come to be
// preferred to a longer one.
const goodErrPercent = 1.0

// bestSleying is the shortest repeat within 1 % of the sett, else the nearest.
func bestSleying(sett, perInch float64) (Sleying, bool) {
	list := Sleyings(sett, perInch)
	for _, s := range list {
		if math.Abs(s.ErrPercent) <= goodErrPercent {
			return s, true
		}
	}
	if len(list) == 0 {
		return Sleying{}, false
	}
	return list[len(list)-1], true
}

// ReedsFor lists the reeds that can give a sett, the best first: two ends in
// every dent, then one, then other even sleyings, then the repeats from short
// to long; the nearer to the sett and then the commoner reed first among
// equals.
func ReedsFor(sett float64, sizes []MadeSize) []ReedChoice {
	var out []ReedChoice
	for _, m := range sizes {
		if s, ok := bestSleying(sett, m.PerInch); ok {
			out = append(out, ReedChoice{Size: m, Sleying: s, Cautions: sleyCautions(s)})
		}
	}
	sortChoices(out)
	return out
}

// sortChoices puts the best first: the simplest sleying, the nearest sett, the
// commonest reed.
func sortChoices(out []ReedChoice) {
	sort.SliceStable(out, func(i, j int) bool {
		a, b := out[i], out[j]
		if ra, rb := sleyRank(a.Sleying), sleyRank(b.Sleying); ra != rb {
			return ra < rb
		}
		if ea, eb := math.Abs(a.Sleying.ErrPercent), math.Abs(b.Sleying.ErrPercent); math.Abs(ea-eb) > 1e-9 {
			return ea < eb
		}
		if a.Size.Weight != b.Size.Weight {
			return a.Size.Weight > b.Size.Weight
		}
		return a.Size.PerInch < b.Size.PerInch
	})
}

// sleyRank orders sleyings by how easy they are to keep and how little they
// show: small is good.
func sleyRank(s Sleying) int {
	most := 0
	for _, n := range s.Pattern {
		most = max(most, n)
	}
	if len(s.Pattern) == 1 {
		switch most {
		case 2:
			return 0
		case 1:
			return 1
		}
		return 10 * most // 3 in every dent and more
	}
	return 10*len(s.Pattern) + max(0, most-2)*10
}

func sleyCautions(s Sleying) []string {
	var out []string
	least, most := s.Pattern[0], s.Pattern[0]
	for _, n := range s.Pattern {
		least, most = min(least, n), max(most, n)
	}
	if most > 3 {
		out = append(out, fmt.Sprintf("%d ends in a dent crowd it: they may roll over each other and leave reed marks", most))
	}
	if least != most {
		out = append(out, "uneven sleying can show as faint stripes, in stiff yarns more than in wool; they often go in the first washing")
	}
	if least == 0 {
		out = append(out, "empty dents leave gaps on the loom: weave a sample first")
	}
	return out
}
