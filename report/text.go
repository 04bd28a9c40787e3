package report

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"dentcount/measure"
	"dentcount/photo"
)

// Style is how Text looks. The zero value is plain.
type Style struct {
	// Colour adds ANSI colours to the first line. The words carry the meaning
	// without them.
	Colour bool
}

// Text writes r for a person: the answer first, at most five lines. A refusal
// is one line. The photo's name comes first, made printable.
func Text(w io.Writer, r measure.Result, style Style) error {
	words := Words(r)
	name := photo.DisplayName(r.Photo)
	if r.Combined != nil {
		name = "all together"
	}
	var lines []string
	switch r.Status {
	case measure.Answered:
		lines = append(lines, name+": "+style.paint(r.Status, answerLine(r)))
		lines = appendLabelled(lines, "Order", r.Order)
		lines = appendLabelled(lines, "Counted", countWords(r))
		lines = appendLabelled(lines, "Photos", combinedWords(r.Combined))
		lines = appendLabelled(lines, "Measured", measuredWords(r))
		lines = appendLabelled(lines, "Note", strings.Join(notesOf(r, words.Do), "; "))
	case measure.Unsure:
		lines = append(lines, name+": "+style.paint(r.Status, words.Head+".")+" "+Printable(words.Do))
		lines = appendLabelled(lines, "Why", words.Why)
		lines = appendLabelled(lines, "Counted", countWords(r))
		lines = appendLabelled(lines, "Photos", combinedWords(r.Combined))
		lines = appendLabelled(lines, "Measured", words.Detail)
		lines = appendLabelled(lines, "Note", strings.Join(r.Warnings, "; "))
	default:
		lines = append(lines, name+": "+style.paint(r.Status, words.Head+".")+" "+Printable(words.Do))
	}
	_, err := io.WriteString(w, strings.Join(lines, "\n")+"\n")
	return err
}

// Explain writes the uncertainty budget of r line by line in words, the
// largest share first. Nothing was measured: nothing is written.
func Explain(w io.Writer, r measure.Result) error {
	if r.Pitch == nil || len(r.Budget) == 0 {
		return nil
	}
	var b strings.Builder
	p := r.Pitch
	fmt.Fprintf(&b, "  How sure the %s dents per inch are, source by source (one standard uncertainty each):\n",
		number(p.DentsPerInch, 3))
	var sum float64
	for _, l := range r.Budget {
		sum += l.RelativeU * l.RelativeU
	}
	for _, l := range sortedBudget(r.Budget) {
		fmt.Fprintf(&b, "    %s: %s, %s dents per inch, %s of the whole",
			Printable(l.Source), percent(l.RelativeU), number(figures(l.RelativeU*p.DentsPerInch, 2), 5), share(l.RelativeU*l.RelativeU, sum))
		if l.Note != "" {
			b.WriteString(" (" + Printable(strings.TrimRight(l.Note, ".")) + ")")
		}
		b.WriteString("\n")
	}
	rel := p.U / p.DentsPerInch
	fmt.Fprintf(&b, "    All together: %s, %s dents per inch. In 95 of 100 cases the true pitch lies within %s%s.\n",
		percent(rel), number(figures(p.U, 2), 5), pm(p.DentsPerInch, p.Half95()), factorWords(*p))
	if lean := leanWords(*p); lean != "" {
		b.WriteString("    " + lean + "\n")
	}
	if added := math.Sqrt(sum); math.Abs(added-rel) > 0.05*rel {
		fmt.Fprintf(&b, "    (The lines alone add up, as the root of their squares, to %s; some of them hang together.)\n", percent(added))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// factorWords says where the factor of the 95 % interval comes from.
func factorWords(p measure.Pitch) string {
	switch {
	case p.K95 == 0:
		return ""
	case p.DoF == 0:
		return fmt.Sprintf(" (%s times that)", number(p.K95, 2))
	}
	return fmt.Sprintf(" (%s times that: Student's t with %d degrees of freedom)", number(p.K95, 2), int(p.DoF))
}

// leanWords says the 95 % interval where it does not lie evenly about the
// pitch; empty where it does.
func leanWords(p measure.Pitch) string {
	iv := p.Interval95
	if iv == nil || !(p.U > 0) || math.Abs((iv.Min+iv.Max)/2-p.DentsPerInch) < 0.2*p.U {
		return ""
	}
	return fmt.Sprintf("It does not lie evenly: 95 of 100 fall between %s and %s.", number(iv.Min, 3), number(iv.Max, 3))
}

// answerLine is the whole first line of a sure answer, after the name.
func answerLine(r measure.Result) string {
	head := sizedPart(r)
	if r.Size == nil {
		return withArticle(head) + "."
	}
	if r.Size.System == "none" && r.Pitch != nil {
		return fmt.Sprintf("a %s of %s dents per inch; no size made has that. Sure: %s.",
			PartName(r.Part), number(r.Pitch.DentsPerInch, 2), Odds(r.Size.Confidence))
	}
	return fmt.Sprintf("%s (%s). Sure: %s.", withArticle(head), sizeMeans(r.Size.SizeChoice), Odds(r.Size.Confidence))
}

// countWords is what a finger and the ruler would have found.
func countWords(r measure.Result) string {
	c := r.Count
	if c == nil {
		return ""
	}
	s := fmt.Sprintf("%s over %s", plural(c.Dents, "dent"), lengthOnRuler(r))
	if c.InOneInch.Max > 0 {
		s += fmt.Sprintf("; one inch holds %s", rangeWords(c.InOneInch))
	}
	if c.Bent > 0 {
		s += fmt.Sprintf("; %d bent", c.Bent)
	}
	if c.Missing > 0 {
		s += fmt.Sprintf("; %d missing", c.Missing)
	}
	return s
}

// combinedWords says how photos of one part go together; empty without them.
func combinedWords(c *measure.Combined) string {
	if c == nil || len(c.Photos) == 0 {
		return ""
	}
	s := plural(len(c.Photos), "photo")
	switch {
	case len(c.Odd) > 0:
		s += fmt.Sprintf(" used; %d of another size", len(c.Odd))
	case len(c.Photos) == 1:
		s += " used"
	case !c.Agree:
		s += " that do not go together"
	default:
		s += " that agree"
	}
	if c.RulerThicknessUMM > 0 && c.RulerThicknessUMM < 0.5*c.RulerThicknessMM {
		s += fmt.Sprintf("; by their distances the ruler's face lies %s mm above the wires", pm(c.RulerThicknessMM, 2*c.RulerThicknessUMM))
	}
	return s
}

// lengthOnRuler is the length counted over, in the ruler's own unit.
func lengthOnRuler(r measure.Result) string {
	if r.Ruler != nil && r.Ruler.Unit == "cm" {
		return number(r.Count.OverIn*2.54, 1) + " cm of the ruler"
	}
	return Inches(r.Count.OverIn) + " in of the ruler"
}

func rangeWords(x measure.Range) string {
	lo, hi := fraction(x.Min, 2), fraction(x.Max, 2)
	if lo == hi {
		return lo
	}
	return lo + " to " + hi
}

// measuredWords is the pitch and what else the size could be.
func measuredWords(r measure.Result) string {
	s := perInchWords(r)
	if s == "" || r.Size == nil || len(r.Size.Others) == 0 {
		return s
	}
	return s + "; next likeliest " + choiceWord(r.Size.Others[0])
}

func notesOf(r measure.Result, do string) []string {
	notes := append([]string(nil), r.Warnings...)
	if do != "" {
		notes = append(notes, strings.TrimRight(do, "."))
	}
	return notes
}

func appendLabelled(lines []string, label, text string) []string {
	text = strings.TrimSpace(text)
	if text == "" {
		return lines
	}
	return append(lines, "  "+label+": "+Printable(text))
}

// paint colours s where style asks for it. 1 is bold, 33 and 31 are the
// terminal's own yellow and red (ECMA-48 SGR).
func (style Style) paint(status measure.Status, s string) string {
	s = Printable(s)
	if !style.Colour {
		return s
	}
	code := "1"
	switch status {
	case measure.Unsure:
		code = "1;33"
	case measure.Refused:
		code = "1;31"
	}
	return "\x1b[" + code + "m" + s + "\x1b[0m"
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

func percent(x float64) string { return number(figures(100*x, 2), 4) + " %" }

func share(part, whole float64) string {
	if !(whole > 0) {
		return "no part"
	}
	p := 100 * part / whole
	if p < 1 {
		return "less than 1 %"
	}
	return fmt.Sprintf("%.0f %%", p)
}

// sortedBudget is the budget, largest share first; equal ones keep their order.
func sortedBudget(lines []measure.BudgetLine) []measure.BudgetLine {
	out := slices.Clone(lines)
	slices.SortStableFunc(out, func(a, b measure.BudgetLine) int { return cmp.Compare(b.RelativeU, a.RelativeU) })
	return out
}
