package trade

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// MMPerInch is exact: 1 in = 25.4 mm (international yard and pound agreement, 1959).
const MMPerInch = 25.4

// Question is an error that asks: the input could be right, but it cannot be
// used before a person says more.
type Question struct {
	Problem string // what stands in the way
	Ask     string // the question, one sentence
}

// Error gives the problem and the question in one line.
func (q Question) Error() string {
	switch {
	case q.Problem == "":
		return q.Ask
	case q.Ask == "":
		return q.Problem
	}
	return q.Problem + ": " + q.Ask
}

// AsQuestion tells whether an error is a [Question], and gives it.
func AsQuestion(err error) (Question, bool) {
	var q Question
	ok := errors.As(err, &q)
	return q, ok
}

// Length is a measured length in inches with its standard uncertainty
// (k = 1, JCGM 100:2008). U = 0 means: not said; the rules then take it as a
// length read by hand with a rule, see [HandReadingU]. In = 0 means: not known.
type Length struct {
	In float64 `json:"in"`
	U  float64 `json:"u"`
}

// Known tells whether the length holds a usable value.
func (l Length) Known() bool { return l.In > 0 && !math.IsInf(l.In, 0) }

// u is the standard uncertainty the rules work with.
func (l Length) u() float64 {
	if l.U > 0 {
		return l.U
	}
	return HandReadingU(l.In)
}

// String writes the length in inches as a person reads it: "29.4 ± 0.1 in",
// the ± being two standard uncertainties (about 95 %), or the nearest
// sixteenth where no uncertainty was given.
func (l Length) String() string {
	if l.U <= 0 {
		return FormatIn(l.In, 16)
	}
	pm := 2 * l.U
	decimals := 3
	switch {
	case pm >= 0.095:
		decimals = 1
	case pm >= 0.0095:
		decimals = 2
	}
	return fmt.Sprintf("%.*f ± %.*f in", decimals, l.In, decimals, pm)
}

// HandReadingU is the standard uncertainty, in inches, of a length read by
// hand with a rule or tape divided in sixteenths: each end is read to the
// nearest mark, so within a thirty-second (rectangular, JCGM 100:2008,
// 4.3.7), and the rule itself is within class II (see [RulerToleranceMM]).
func HandReadingU(lengthIn float64) float64 {
	reading := 1.0 / 32 * math.Sqrt(2.0/3)
	return math.Hypot(reading, RulerUMM(lengthIn*MMPerInch)/MMPerInch)
}

// sure is the probability from which a rule gives its answer without a
// question, and unlikely the one below which it says no.
const (
	sure     = 0.975
	unlikely = 1 - sure
)

// normalCDF is the probability that a standard normal variable is below z.
func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// joinWords joins the parts that are not empty with a space.
func joinWords(parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, " ")
}

// joinQuestions joins two questions, either of them empty perhaps.
func joinQuestions(a, b string) string {
	if a != "" && b != "" && !strings.HasSuffix(a, "?") {
		a += ";"
	}
	return joinWords(a, b)
}
