package fit

import (
	"math"
	"slices"
	"sort"

	"dentcount/trade"
)

// Choice is a size with the probability that it is the true one.
type Choice struct {
	Label, System string
	PerInch       float64
	P             float64
}

// None is the label where the pitch fits no made size.
const None = "none"

// noneShare is the prior share of parts of no made size: worn, bespoke or of an
// older count. A stated prior, no source. They are spread evenly in the logarithm
// of their dents from offCoarsest to offFinest per inch, but for what is so near a
// made size that it is that one ([trade.OffRel]).
const noneShare, offCoarsest, offFinest = 0.08, 3.0, 30.0

// wrongFront is about the share of readings that followed another plane of the wires than
// their front ([Pitch.FrontRelU]).
const wrongFront = 0.004

// misses are how far readings lie off, in parts of what their budget says, as normal
// distributions: together they are, within 5 % as far as four times that and within 15 % as far
// as seven times, Student's t of four degrees of freedom and a scale of 0.7. A budget adds up what
// may be amiss and mostly is not, and knows nothing of what was misread a little. Of 579 drawn
// photos whose unit and bands were read right (fit, seeds 5813, 5814 and 5821) that is the
// likeliest of such distributions, by 26 of log odds before a normal one with a fiftieth of four
// times its width; of 11,641 others, to which nothing was fitted (judge, seeds 4626 to 4631), by
// 505.
func misses() [4]struct{ share, times float64 } {
	return [4]struct{ share, times float64 }{{0.381, 0.53}, {0.503, 0.91}, {0.110, 1.75}, {0.006, 4.27}}
}

// loose is the share of parts that are made loosely, by the factor looseTimes: the
// makers' tolerances are stated priors themselves. Without it a part of 14 that is
// 0.27 % coarse would be a 55/10 beyond doubt, which no photo can tell
// ([trade.Indistinct]). A stated prior, no source.
const loose, looseTimes = 0.2, 2

// Where the pitch of a photo that was misread falls: half and twice a made size
// are often made sizes, too, as are some others by chance; else anywhere between
// 3 and 60 per inch, evenly in its logarithm. The share is from 67 misread
// ones of 360 drawn scenes.
const (
	misreadOnMade = 0.5
	misreadSpread = 3.0 // ln(60/3)
)

// FindSize weighs the made sizes against a pitch. readRight is the probability
// that the photo was read right at all (unit, octave, part). What the
// probabilities leave over is the chance of a misreading: small where the pitch
// is that of a made size, on which a misreading seldom falls, and larger where it
// is that of none. The likeliest comes first; the list is never empty.
func FindSize(p Pitch, sizes []trade.MadeSize, readRight float64) []Choice {
	var out []Choice
	var made float64
	for _, m := range sizes {
		w := (1 - noneShare) * m.Weight * p.like(m, 1)
		made += w
		out = append(out, Choice{m.Label, m.System, m.PerInch, w})
	}
	off, width := trade.Between(sizes, offCoarsest, offFinest)
	var w float64
	for _, l := range p.Lift {
		for _, o := range misses() {
			w += noneShare / width * o.share * within(off, math.Log(p.Read)+l, o.times*p.ReadRelU) / float64(len(p.Lift))
		}
	}
	out = append(out, Choice{None, "none", p.PerInch, w})
	misread := misreadOnMade*made + (1-misreadOnMade)/misreadSpread
	total := readRight*(made+w) + (1-readRight)*misread
	for i := range out {
		out[i].P *= readRight / total
	}
	likeliestFirst(out)
	byPriorAlone(out, sizes)
	likeliestFirst(out)
	return out
}

func likeliestFirst(choices []Choice) {
	sort.SliceStable(choices, func(i, j int) bool { return choices[i].P > choices[j].P })
}

// mostByPrior is the most that a size is trusted with against another one that a stated
// prior alone tells it from, on which no near certainty can rest: how true makers are, or
// how common the sizes are. Of 173 drawn parts of 14 and 55/10 (seeds 4901, 5001 and 5201)
// what was given 0.93 and more was right on 16 of 17.
const mostByPrior = 0.94

// byPriorAlone keeps the first of choices to that.
func byPriorAlone(choices []Choice, sizes []trade.MadeSize) {
	first := &choices[0]
	for i := range choices[1:] {
		if c := &choices[i+1]; Indistinct(*first, *c, sizes) || asLikelyIfAsCommon(*first, *c, sizes) {
			over := math.Max(0, first.P-mostByPrior*(first.P+c.P))
			first.P, c.P = first.P-over, c.P+over
		}
	}
}

// asLikelyIfAsCommon says that a size would not be trusted more than by a prior against
// another one if both were made as often.
func asLikelyIfAsCommon(first, c Choice, sizes []trade.MadeSize) bool {
	i, k := indexOf(first, sizes), indexOf(c, sizes)
	if i < 0 || k < 0 {
		return false
	}
	a, b := first.P/sizes[i].Weight, c.P/sizes[k].Weight
	return a < mostByPrior*(a+b)
}

// indexOf is where a choice stands among sizes, -1 where it is none of them.
func indexOf(c Choice, sizes []trade.MadeSize) int {
	return slices.IndexFunc(sizes, func(m trade.MadeSize) bool { return m.Label == c.Label })
}

// Indistinct says whether two choices are sizes of these that lie so close that the
// makers' tolerances hide the difference ([trade.Indistinct]).
func Indistinct(a, b Choice, sizes []trade.MadeSize) bool {
	i, k := indexOf(a, sizes), indexOf(b, sizes)
	return i >= 0 && k >= 0 && trade.Indistinct(sizes[i], sizes[k])
}

// like is the density with which so many times the pitch is read where size m lies,
// over the logarithm of the pitch.
func (p Pitch) like(m trade.MadeSize, times float64) float64 {
	ln := math.Log(p.Read * times / m.PerInch)
	var sum float64
	for _, made := range [2]struct{ share, tol float64 }{{1 - loose, m.TolRel}, {loose, looseTimes * m.TolRel}} {
		front := math.Hypot(math.Hypot(p.ReadRelU, made.tol), p.FrontRelU)
		read := misses()
		for i, o := range read {
			read[i].times = math.Hypot(o.times*p.ReadRelU, made.tol)
		}
		for _, l := range p.Lift {
			for _, o := range read {
				sum += made.share * (1 - wrongFront) * o.share * normal(ln+l, o.times)
			}
			sum += made.share * wrongFront * normal(ln+l, front)
		}
	}
	return sum / float64(len(p.Lift))
}

// Density is that with which so many times the pitch is read of parts of these sizes, over
// its logarithm, however common each of them is: where a reading is held against another one
// the photo tells which, and how common what is read is among parts was heeded there.
func (p Pitch) Density(sizes []trade.MadeSize, times float64) float64 {
	// So many sizes of each kind are made in which the two are mistaken for each other.
	const alike = 12
	d := noneShare / math.Log(offFinest/offCoarsest)
	for _, m := range sizes {
		d += (1 - noneShare) / alike * p.like(m, times)
	}
	return d
}

// OtherKind is what bands may be instead of what the photo shows: the sizes made of it,
// and how many times as large the pitch would be.
type OtherKind struct {
	Sizes []trade.MadeSize
	Times float64
}

// OfKind is the probability that bands are of the kind which the photo shows with
// probability shows, after a look at the sizes: one of the kinds may be made and another
// not. What they may be instead is equally likely beforehand. Kinds are mistaken for each
// other by twice or half the pitch, and most made sizes of the one are made of the other,
// too: unlike other misreadings it seldom falls between sizes.
func OfKind(p Pitch, sizes []trade.MadeSize, shows float64, others ...OtherKind) float64 {
	this, other := shows*p.Density(sizes, 1), 0.0
	for _, o := range others {
		other += (1 - shows) / float64(len(others)) * p.Density(o.Sizes, o.Times)
	}
	return this / (this + other)
}

// AtMost lowers the probabilities of choices in proportion, so that they add up to p
// at most.
func AtMost(choices []Choice, p float64) {
	var sum float64
	for _, c := range choices {
		sum += c.P
	}
	for i := range choices {
		choices[i].P *= math.Min(1, p/sum)
	}
}

// Within says whether one of these sizes other than that of a choice lies within so many
// times [Pitch.ReadRelU] of the pitch: what a thickness that was not told leaves open is
// weighed as it is, and is as large as it is said to be.
func (p Pitch) Within(times float64, sizes []trade.MadeSize, but Choice) bool {
	return slices.ContainsFunc(sizes, func(m trade.MadeSize) bool {
		return m.Label != but.Label && math.Abs(math.Log(p.PerInch/m.PerInch)) < times*p.ReadRelU
	})
}

// normal is the density of the normal distribution about 0.
func normal(x, sd float64) float64 {
	return math.Exp(-x*x/(2*sd*sd)) / (sd * math.Sqrt(2*math.Pi))
}

// within is how likely it is that what was read as at, with standard uncertainty
// u, lies in one of the ranges.
func within(ranges []trade.Span, at, u float64) float64 {
	var sum float64
	for _, r := range ranges {
		sum += (math.Erf((r.Hi-at)/u/math.Sqrt2) - math.Erf((r.Lo-at)/u/math.Sqrt2)) / 2
	}
	return sum
}
