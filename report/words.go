package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"dentcount/measure"
)

// Printable returns s as one line that is safe on a terminal: control
// characters, line breaks, invisible and direction-changing characters and
// invalid UTF-8 are written as Go escapes. Ordinary text is unchanged.
func Printable(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, s[i])
		case unicode.IsPrint(r):
			b.WriteRune(r)
		default:
			q := strconv.QuoteRuneToASCII(r)
			b.WriteString(q[1 : len(q)-1])
		}
		i += n
	}
	return b.String()
}

// Sentences joins the parts that are not empty into sentences: each ends with
// a full stop and begins with a capital, but for the first, which may follow a
// name and a colon and is left as it is.
func Sentences(parts ...string) string {
	var out []string
	for _, p := range parts {
		p = strings.TrimSpace(p)
		if p == "" {
			continue
		}
		if len(out) > 0 {
			p = upperFirst(p)
		}
		if !strings.ContainsAny(p[len(p)-1:], ".?!") {
			p += "."
		}
		out = append(out, p)
	}
	return strings.Join(out, " ")
}

// Inches writes a length as a weaver reads it off a ruler: whole inches and
// the nearest sixteenth, reduced ("6", "3 1/4", "15/16"). Not finite: "?".
func Inches(in float64) string { return fraction(in, 16) }

// fraction is x to the nearest 1/den, reduced; den is a power of two.
func fraction(x float64, den int64) string {
	if math.IsNaN(x) || math.Abs(x) > 1e9 {
		return "?"
	}
	n := int64(math.Round(math.Abs(x) * float64(den)))
	sign := ""
	if x < 0 && n > 0 {
		sign = "-"
	}
	whole, part := n/den, n%den
	for part > 0 && part%2 == 0 && den%2 == 0 {
		part, den = part/2, den/2
	}
	switch {
	case part == 0:
		return fmt.Sprintf("%s%d", sign, whole)
	case whole == 0:
		return fmt.Sprintf("%s%d/%d", sign, part, den)
	}
	return fmt.Sprintf("%s%d %d/%d", sign, whole, part, den)
}

// InWords is an answer cut into the pieces that the text, the picture and the
// page put in their own order. Each is without a full stop at its end but for
// Do, which is whole sentences.
type InWords struct {
	Head   string // the answer: "10-dent reed", "not sure: 40/10 or 10", "can't tell: the photo is black"
	Detail string // the measure behind it; empty for a refusal
	Sure   string // how sure: "sure: 98 in 100"; empty for the others
	Why    string // why it is not sure; empty for the others
	Do     string // what to do; empty for a sure answer without advice
}

// How to take a photo that can be measured, for a refusal that names no remedy.
const retakeAdvice = "Lay a ruler flat across the wires, take the photo again from straight above in even light."

// Words puts r's answer in a weaver's words.
func Words(r measure.Result) InWords {
	switch r.Status {
	case measure.Answered:
		w := InWords{Head: sizedPart(r), Detail: perInchWords(r), Do: upperFirst(Sentences(r.Advice))}
		if r.Size != nil {
			w.Sure = "sure: " + Odds(r.Size.Confidence)
		}
		return w
	case measure.Unsure:
		w := InWords{Head: "not sure", Detail: perInchWords(r), Why: strings.TrimRight(r.Reason, ". "), Do: upperFirst(Sentences(r.Advice))}
		if choices := choiceWords(r.Size); choices != "" {
			w.Head = "not sure: " + choices
		}
		if w.Do == "" {
			w.Do = retakeAdvice
		}
		return w
	}
	w := InWords{Head: "can't tell", Do: upperFirst(Sentences(r.Advice))}
	if r.Reason != "" {
		w.Head = "can't tell: " + strings.TrimRight(r.Reason, ". ")
	}
	if w.Do == "" {
		w.Do = retakeAdvice
	}
	return w
}

// PartName is a part as one calls it: "reed", "rigid heddle"; "part" where unknown.
func PartName(part string) string {
	if part == "" {
		return "part"
	}
	return strings.ReplaceAll(part, "-", " ")
}

// Odds says a probability as a count of cases in a hundred, never more than it is.
func Odds(p float64) string {
	switch {
	case math.IsNaN(p):
		return "not known"
	case p >= 0.995:
		return "more than 99 in 100"
	case p < 0.01:
		return "less than 1 in 100"
	}
	return fmt.Sprintf("%d in 100", int(math.Floor(p*100+1e-6)))
}

// sizedPart names the part with its size: "10-dent reed", "40/10 rigid heddle".
func sizedPart(r measure.Result) string {
	part := PartName(r.Part)
	if r.Size == nil {
		return part
	}
	s := r.Size.SizeChoice
	switch s.System {
	case "inch":
		return s.Label + "-dent " + part
	case "metric":
		return s.Label + " " + part
	case "none":
		return part + " of no made size"
	}
	return fmt.Sprintf("%s, %s in %s", part, s.Label, s.System)
}

// sizeMeans spells a size out in dents: "40 dents in 10 cm, 10.16 per inch".
func sizeMeans(s measure.SizeChoice) string {
	perInch := number(s.DentsPerInch, 2)
	switch s.System {
	case "metric":
		return fmt.Sprintf("%s dents in 10 cm, %s per inch", number(s.DentsPerInch*per10CM, 1), perInch)
	case "none":
		return "no size made comes this close"
	}
	return perInch + " dents per inch"
}

// per10CM turns a count per inch into one per 10 cm; an inch is 25.4 mm exactly
// (international yard and pound agreement, 1959).
const per10CM = 100 / 25.4

// choiceWords lists what a size could be, likeliest first: "40/10 (64 in 100) or 10 (35 in 100)".
func choiceWords(s *measure.Size) string {
	if s == nil || s.Label == "" {
		return ""
	}
	out := []string{choiceWord(s.SizeChoice)}
	for _, o := range s.Others {
		if o.Confidence < 0.05 || len(out) == 3 {
			break
		}
		out = append(out, choiceWord(o))
	}
	if len(out) == 1 {
		return "perhaps " + out[0]
	}
	return strings.Join(out[:len(out)-1], ", ") + " or " + out[len(out)-1]
}

func choiceWord(s measure.SizeChoice) string {
	label := s.Label
	switch s.System {
	case "inch", "metric":
	case "none":
		label = "no made size"
	default:
		label += " in " + s.System
	}
	return fmt.Sprintf("%s (%s)", label, Odds(s.Confidence))
}

// perInchWords is the measured pitch with the half-width of its 95 % interval,
// in the system of the size.
func perInchWords(r measure.Result) string {
	if r.Pitch == nil {
		return ""
	}
	p := r.Pitch
	inch := pm(p.DentsPerInch, p.Half95()) + " dents per inch"
	if r.Size != nil && r.Size.System == "metric" && p.DentsPerInch > 0 {
		return pm(p.DentsPer10CM, p.Half95()*per10CM) + " dents in 10 cm (" + number(p.DentsPerInch, 2) + " per inch)"
	}
	return inch
}

// pm writes value ± half with as many decimals as half has to say: two figures
// of it where the first is 1 or 2, else one.
func pm(value, half float64) string {
	if !(half > 0) || math.IsInf(half, 0) {
		return number(value, 3)
	}
	n := -int(math.Floor(math.Log10(half)))
	if half*math.Pow(10, float64(n)) < 3 {
		n++
	}
	n = min(max(n, 0), 4)
	// The half-width is rounded up: an interval is never printed narrower than it is.
	scale := math.Pow(10, float64(n))
	half = math.Ceil(half*scale-1e-6) / scale
	return strconv.FormatFloat(value, 'f', n, 64) + " ± " + strconv.FormatFloat(half, 'f', n, 64)
}

// number is x with at most n decimals, zeros at its end left out.
func number(x float64, n int) string {
	s := strconv.FormatFloat(x, 'f', n, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

func joinNotEmpty(sep string, parts ...string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, sep)
}

// upperFirst makes the first letter a capital.
func upperFirst(s string) string {
	if s == "" {
		return ""
	}
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// withArticle puts "a" or "an" before a sized part: 8, 80, 11 and 18 are
// spoken with a vowel first.
func withArticle(s string) string {
	number := s[:len(s)-len(strings.TrimLeft(s, "0123456789"))]
	if strings.HasPrefix(number, "8") || number == "11" || number == "18" {
		return "an " + s
	}
	return "a " + s
}
