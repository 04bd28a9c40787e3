package measure

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"dentcount/fit"
	"dentcount/vision"
)

// Combined is what several photos of one part say about each other.
type Combined struct {
	Photos  []string `json:"photos"`   // that were combined
	LeftOut []string `json:"left_out"` // in which nothing could be measured
	// Agree says whether they go together as far as chance allows.
	Agree bool `json:"agree"`
	// ChiSquare over DegreesOfFreedom tells how far they agree; Chance is how
	// often photos of one part would agree no better.
	ChiSquare        float64 `json:"chi_square"`
	DegreesOfFreedom int     `json:"dof"`
	Chance           float64 `json:"chance"`
	// Odd are photos that show something else than those that were combined.
	Odd []string `json:"odd,omitempty"`
	// Widened is by how much the uncertainty was widened because the photos
	// scatter more than their own uncertainties say; 1 where they do not.
	Widened float64 `json:"widened"`
	// RulerThicknessMM is the height of the marked face above the wires with its
	// standard uncertainty: as told, or as far as the photos tell it together.
	RulerThicknessMM  float64 `json:"ruler_thickness_mm"`
	RulerThicknessUMM float64 `json:"ruler_thickness_u_mm"`
}

// commonMisreading is the part of the chance of a misreading that comes back in
// every photo of a part, the ruler and the part being the same. A stated prior.
const commonMisreading = 0.5

// SamePart answers photos of one part, under one ruler, together: by their
// uncertainties, of which those that they share are not made smaller. Photos
// from different distances tell how far the ruler lies above the wires. Where
// some show another pitch, those that go together and were read most surely are
// combined, and the size is unsure unless the odd ones could hardly be read. Those
// in which nothing can be measured are left out. Both are named in the warnings;
// with no photo left the answer is a refusal. Result.Photo is all their names.
func SamePart(readings []Reading, opt Options) Result {
	var names []string
	for _, r := range readings {
		names = append(names, r.name)
	}
	c := &Combined{Photos: []string{}, LeftOut: []string{}, Agree: true, Chance: 1, Widened: 1}
	out := Result{Schema: 1, Photo: strings.Join(names, " + "), Warnings: []string{}, Combined: c}
	var all []taken
	why := ""
	for _, r := range readings {
		t, no := r.take(opt)
		if no != "" {
			c.LeftOut = append(c.LeftOut, r.name)
			out.Warnings = append(out.Warnings, fmt.Sprintf("%s left out: %s", r.name, no))
			why = ": " + no
			continue
		}
		all = append(all, t)
	}
	in, odd := together(all)
	var takes []fit.Take
	for _, t := range in {
		takes = append(takes, t.Take)
		c.Photos = append(c.Photos, t.name)
	}
	pitch, accord, err := fit.SamePart(takes)
	if err != nil {
		out.Status, out.Reason = Refused, "none of the photos can be measured"+why
		out.Advice = "take them again, each from straight above, the marked edge across clean wires"
		return out
	}
	c.ChiSquare, c.DegreesOfFreedom, c.Chance, c.Widened = accord.Chi2, accord.DoF, accord.P, accord.Widened
	c.RulerThicknessMM, c.RulerThicknessUMM = accord.ThicknessMM, accord.ThicknessUMM
	c.Agree = accord.P >= fit.DisagreeAt
	kind := in[0].bands.Kind
	choices := sizesOf(kind, pitch, allRight(in))
	surest := 0.0 // what hides the kind in one photo may hide it in all
	for _, t := range in {
		surest = math.Max(surest, ofKind(t.bands, pitch))
	}
	fit.AtMost(choices, surest)
	out.size(kind, pitch, choices, opt)
	for _, t := range odd {
		c.Odd = append(c.Odd, t.name)
		c.Agree = c.Agree && t.right < hardlyRead
		out.Warnings = append(out.Warnings, fmt.Sprintf("%s shows %.2f dents per inch and was not combined", t.name, t.Pitch.PerInch))
	}
	if !c.Agree {
		out.disagree(in, odd)
	}
	return out
}

// taken is a photo that was measured.
type taken struct {
	fit.Take
	name  string
	bands vision.Bands
	right float64 // the chance that it was read right
}

// take measures what was read; no says why it cannot be.
func (r Reading) take(opt Options) (t taken, no string) {
	if r.no {
		return t, r.base.Reason
	}
	v := r.viewWith(opt)
	pitch, err := fit.FindPitch(r.ruler.Scale, r.bands, v)
	if err != nil {
		return t, err.Error()
	}
	return taken{fit.Take{Pitch: pitch, View: v}, r.name, r.bands, believe(r.ruler, r.bands, pitch).right}, ""
}

// hardlyRead is the chance of a right reading under which a photo that shows
// something else casts no doubt on the others.
const hardlyRead = 0.5

// together are the photos that show one part and were read most surely, the
// surest first, and the others.
func together(all []taken) (in, odd []taken) {
	best := -1.0
	for _, a := range all {
		var with, without []taken
		var sure float64
		for _, b := range all {
			if b.bands.Kind == a.bands.Kind && fit.Accordant(a.Take, b.Take) {
				with = append(with, b)
				sure += b.right
			} else {
				without = append(without, b)
			}
		}
		if sure > best {
			best, in, odd = sure, with, without
		}
	}
	sort.SliceStable(in, func(i, j int) bool { return in[i].right > in[j].right })
	return in, odd
}

// allRight is the chance that photos which agree were read right: each makes a
// misreading of another kind less likely. The surest comes first.
func allRight(in []taken) float64 {
	others := 1.0
	for _, t := range in[1:] {
		others *= 1 - t.right
	}
	if len(in) == 1 {
		return in[0].right
	}
	return 1 - (1-in[0].right)*(commonMisreading+(1-commonMisreading)*others)
}

// disagree makes the answer unsure and says what stands against what.
func (r *Result) disagree(in, odd []taken) {
	r.Status, r.Order = Unsure, ""
	a, b := in[0], in[len(in)-1]
	if len(odd) > 0 {
		b = odd[0]
	}
	r.Reason = fmt.Sprintf("the photos do not agree: %s shows a %s of %.2f dents per inch, %s a %s of %.2f",
		a.name, partWord(a.bands.Kind), a.Pitch.PerInch, b.name, partWord(b.bands.Kind), b.Pitch.PerInch)
	r.Advice = "look whether all of them show the same part under the same ruler, and take the odd one again"
	// What was said of the size holds for photos that agree.
	k := math.Min(1, doubtful/math.Max(r.Size.Confidence, doubtful))
	r.Size.Confidence *= k
	for i := range r.Size.Others {
		r.Size.Others[i].Confidence *= k
	}
}

// doubtful is the most that is said of a size on which photos do not agree.
const doubtful = 0.5

func partWord(k vision.Kind) string {
	if k == vision.RigidHeddle {
		return "rigid heddle"
	}
	return "reed"
}
