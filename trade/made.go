package trade

import (
	"math"
	"sort"
	"strconv"
	"strings"
	"sync"
)

// The parts [Sizes] knows by name.
const (
	PartReed        = "reed"
	PartRigidHeddle = "rigid-heddle"
)

// The systems of made sizes.
const (
	SystemInch   = "inch"   // label is the number of dents per inch: 10, 7.5
	SystemMetric = "metric" // label is dents per 10 cm: 40/10
)

// MadeSize is a dent size that is made and can be ordered.
type MadeSize struct {
	Label   string  // "10", "7.5", "40/10"
	System  string  // SystemInch or SystemMetric
	PerInch float64 // dents per inch; N/10 is N × 0.254 exactly
	// Weight is how common the size is: the weights of the sizes of one part
	// add up to 1. A stated prior. 0 for a size that is in no table.
	Weight float64
	// TolRel is the standard deviation of the actual pitch of a made part
	// against its label, relative. A stated prior.
	TolRel float64
	Source string
}

// Sizes gives the sizes in which a part is made, from coarse to fine. Any
// other part than reed and rigid-heddle, the empty one too, gives both: each
// part is then as likely as the other, and a label that both have is one row.
// The slice is the caller's own.
func Sizes(part string) []MadeSize {
	var s []MadeSize
	switch part {
	case PartReed:
		s = reedSizes()
	case PartRigidHeddle:
		s = rigidSizes()
	default:
		s = allSizes()
	}
	return append([]MadeSize(nil), s...)
}

var (
	reedSizes  = sync.OnceValue(func() []MadeSize { return loadSizes("reed_sizes.csv") })
	rigidSizes = sync.OnceValue(func() []MadeSize { return loadSizes("rigid_heddle_sizes.csv") })
	allSizes   = sync.OnceValue(func() []MadeSize { return union(reedSizes(), rigidSizes()) })
)

func loadSizes(name string) []MadeSize {
	t := mustTable(name, "label", "system", "weight", "tol_rel")
	var out []MadeSize
	var sum float64
	for i := range t.rows {
		label, system := t.text(i, "label"), t.text(i, "system")
		var per float64
		if system == SystemMetric {
			n, err := strconv.ParseFloat(strings.TrimSuffix(label, "/10"), 64)
			if err != nil {
				panic("trade: " + name + ": bad metric label " + label)
			}
			per = n * MMPerInch / 100
		} else {
			per = t.mustNumber(i, "label")
		}
		m := MadeSize{
			Label: label, System: system, PerInch: per,
			Weight: t.mustNumber(i, "weight"), TolRel: t.mustNumber(i, "tol_rel"),
			Source: t.text(i, "source"),
		}
		sum += m.Weight
		out = append(out, m)
	}
	for i := range out {
		out[i].Weight /= sum
	}
	sortSizes(out)
	return out
}

// union joins the sizes of two parts that are equally likely.
func union(a, b []MadeSize) []MadeSize {
	var out []MadeSize
	at := map[string]int{}
	for _, s := range append(append([]MadeSize(nil), a...), b...) {
		half := s.Weight / 2
		i, ok := at[s.System+" "+s.Label]
		if !ok {
			s.Weight = half
			at[s.System+" "+s.Label] = len(out)
			out = append(out, s)
			continue
		}
		out[i].Weight += half
		out[i].TolRel = math.Max(out[i].TolRel, s.TolRel)
		if out[i].Source != s.Source {
			out[i].Source += "; " + s.Source
		}
	}
	sortSizes(out)
	return out
}

func sortSizes(s []MadeSize) {
	sort.SliceStable(s, func(i, j int) bool {
		if s[i].PerInch != s[j].PerInch {
			return s[i].PerInch < s[j].PerInch
		}
		return s[i].System < s[j].System
	})
}

// Near gives those of the sizes whose dents per inch lie within rel (relative)
// of perInch, the nearest first. Nothing near gives nothing.
func Near(sizes []MadeSize, perInch, rel float64) []MadeSize {
	var out []MadeSize
	off := func(s MadeSize) float64 { return math.Abs(s.PerInch/perInch - 1) }
	if !(perInch > 0) {
		return nil
	}
	for _, s := range sizes {
		if off(s) <= rel {
			out = append(out, s)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return off(out[i]) < off(out[j]) })
	return out
}

// Indistinct tells whether two sizes lie so close that the makers' own
// tolerances hide the difference: within two standard deviations of it. No
// photo can tell such a pair, only the label or the maker can, and no cloth
// shows it: 14 and 55/10 are 0.2 % apart.
func Indistinct(a, b MadeSize) bool {
	if !(a.PerInch > 0) || !(b.PerInch > 0) {
		return false
	}
	return math.Abs(math.Log(a.PerInch/b.PerInch)) < 2*math.Hypot(a.TolRel, b.TolRel)
}

// OffRel is how far from a made size, relative, a part must be to be of none: a
// part that is nearer is that size, worn or made a little off. Half a dent in a
// hundred, five of the makers' standard deviations, is what no order asks for
// and no cloth shows (common practice, no source).
const OffRel = 0.005

// Span is a range of the logarithm of dents per inch.
type Span struct{ Lo, Hi float64 }

// Between gives the ranges that are farther than [OffRel] from each of the
// sizes, from coarse to fine, and how wide they are together from coarsest to
// finest (dents per inch); the first and the last have no bound.
func Between(sizes []MadeSize, coarsest, finest float64) (off []Span, width float64) {
	centres := make([]float64, len(sizes))
	for i, m := range sizes {
		centres[i] = math.Log(m.PerInch)
	}
	sort.Float64s(centres)
	lo := math.Inf(-1)
	add := func(hi float64) {
		if hi <= lo {
			return
		}
		off = append(off, Span{lo, hi})
		width += math.Max(0, math.Min(hi, math.Log(finest))-math.Max(lo, math.Log(coarsest)))
	}
	for _, c := range centres {
		add(c - OffRel)
		lo = c + OffRel
	}
	add(math.Inf(1))
	return off, width
}
