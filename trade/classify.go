package trade

import (
	"math"
	"sort"
)

// HeddleChoice is one made size with the probability that it is the one.
type HeddleChoice struct {
	Label      string  // with its unit: "10 1/2 in", "280 mm"; or "none"
	In         float64 // the size in inches; of "none" the measure itself
	Confidence float64
}

// HeddleAnswer is what to order for a measured heddle, or the question that
// comes first. Label is "none" where no made size agrees with the measure,
// and empty where there is nothing to go by.
type HeddleAnswer struct {
	HeddleChoice
	Others   []HeddleChoice // what else it could be, the likeliest first
	Reason   string
	Question string
	Cautions []string
}

// trusted is the confidence from which a heddle answer stands without a question.
const trusted = 0.9

// candidate is one made size: where a measure of it falls, and how widely.
type candidate struct {
	label  string
	sizeIn float64 // what it is called
	atIn   float64 // where its measure lies
	weight float64
}

// noneShare is how often a measured thing is taken to be none of the made
// sizes, anywhere over noneSpanIn inches: stated priors.
const (
	noneShare  = 0.05
	noneSpanIn = 16.0
)

// classify gives the posterior over made sizes, the likeliest first, "none"
// among them: Gaussian about each size with the measure's uncertainty and the
// spread of the sizes themselves, against a flat density for none of them.
func classify(x Length, spreadIn float64, cands []candidate) []HeddleChoice {
	sd := math.Hypot(x.u(), spreadIn)
	var total float64
	for _, c := range cands {
		total += c.weight
	}
	out := []HeddleChoice{{Label: "none", In: x.In, Confidence: noneShare / noneSpanIn}}
	sum := out[0].Confidence
	for _, c := range cands {
		z := (x.In - c.atIn) / sd
		p := (1 - noneShare) * c.weight / total * math.Exp(-z*z/2) / (sd * math.Sqrt(2*math.Pi))
		sum += p
		at := -1
		for i := range out {
			if out[i].Label == c.label {
				at = i
			}
		}
		if at < 0 {
			out = append(out, HeddleChoice{Label: c.label, In: c.sizeIn, Confidence: p})
			continue
		}
		out[at].Confidence += p // the same size, measured another way
	}
	for i := range out {
		out[i].Confidence /= sum
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Confidence > out[j].Confidence })
	return out
}

// answerFrom takes the likeliest choice and keeps the others worth naming.
func answerFrom(choices []HeddleChoice) HeddleAnswer {
	a := HeddleAnswer{HeddleChoice: choices[0]}
	for _, c := range choices[1:] {
		if c.Confidence >= 0.005 {
			a.Others = append(a.Others, c)
		}
	}
	return a
}
