package trade

import (
	"fmt"
	"math"
	"sync"
)

// The ID-1 card of ISO/IEC 7810 (the size of a bank card), a length most
// people carry with them.
const (
	CardLongMM  = 85.60
	CardShortMM = 53.98
)

// RulerClass is an accuracy class of Directive 2014/32/EU, Annex X (MI-008):
// "I", "II" or "III". Rules and tapes sold for trade carry it in an oval.
type RulerClass string

// The accuracy classes.
const (
	ClassI   RulerClass = "I"
	ClassII  RulerClass = "II"
	ClassIII RulerClass = "III"
)

type rulerLimits struct{ a, b, c float64 }

var rulerTable = sync.OnceValue(func() map[RulerClass]rulerLimits {
	t := mustTable("ruler_classes.csv", "class", "a_mm", "b_mm_per_m", "c_mm")
	m := map[RulerClass]rulerLimits{}
	for i := range t.rows {
		m[RulerClass(t.text(i, "class"))] = rulerLimits{
			a: t.mustNumber(i, "a_mm"), b: t.mustNumber(i, "b_mm_per_m"), c: t.mustNumber(i, "c_mm"),
		}
	}
	return m
})

// RulerToleranceMM is the largest error, in millimetres either way, permitted
// of a class II rule between two of its marks lengthMM apart:
// 0.3 + 0.2 L, L being the length in metres rounded up to the next whole
// metre (Directive 2014/32/EU, Annex X, MI-008, Table 1). The sign of
// lengthMM does not matter; zero counts as no metre at all.
func RulerToleranceMM(lengthMM float64) float64 {
	t, err := RulerClassToleranceMM(ClassII, lengthMM, false)
	if err != nil {
		panic("trade: " + err.Error()) // class II is in the embedded table
	}
	return t
}

// RulerClassToleranceMM is [RulerToleranceMM] for any class. fromEndFace says
// that the length starts at the rule's own end face (or a tape's hook) rather
// than at a mark, which adds the constant c of the same table.
func RulerClassToleranceMM(class RulerClass, lengthMM float64, fromEndFace bool) (float64, error) {
	lim, ok := rulerTable()[class]
	if !ok {
		return 0, fmt.Errorf("no accuracy class %q: it is I, II or III, in an oval on the rule", class)
	}
	tol := lim.a + lim.b*math.Ceil(math.Abs(lengthMM)/1000)
	if fromEndFace {
		tol += lim.c
	}
	return tol, nil
}

// RulerUMM is the standard uncertainty, in millimetres, that a class II rule
// adds to a length: its tolerance taken as rectangular (JCGM 100:2008, 4.3.7).
func RulerUMM(lengthMM float64) float64 { return RulerToleranceMM(lengthMM) / math.Sqrt(3) }
