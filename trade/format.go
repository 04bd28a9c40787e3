package trade

import (
	"fmt"
	"math"
	"strconv"
)

// FormatIn writes inches to the nearest 1/denominator, reduced: 27.49 to
// sixteenths is "27 1/2 in". A denominator under 1 is taken as 1. What is not
// a number is written as "?".
func FormatIn(x float64, denominator int) string {
	t := fractionText(x, denominator)
	if t == "?" {
		return t
	}
	return t + " in"
}

// fractionText is FormatIn without the unit.
func fractionText(x float64, denominator int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) || math.Abs(x) > 1e9 {
		return "?"
	}
	d := int64(max(denominator, 1))
	n := int64(math.Round(math.Abs(x) * float64(d)))
	sign := ""
	if x < 0 && n > 0 {
		sign = "-"
	}
	whole, rest := n/d, n%d
	if rest == 0 {
		return sign + strconv.FormatInt(whole, 10)
	}
	g := gcd(int(rest), int(d))
	frac := fmt.Sprintf("%d/%d", rest/int64(g), d/int64(g))
	if whole == 0 {
		return sign + frac
	}
	return fmt.Sprintf("%s%d %s", sign, whole, frac)
}

// FormatLength writes a length in both systems: "27 1/2 in (69.9 cm)", to the
// nearest sixteenth of an inch and millimetre.
func FormatLength(xIn float64) string {
	in := FormatIn(xIn, 16)
	if in == "?" {
		return in
	}
	return fmt.Sprintf("%s (%s)", in, FormatMetric(xIn))
}

// FormatMetric writes inches as centimetres to the nearest millimetre, or as
// millimetres to the nearest tenth where it is under 10 cm.
func FormatMetric(xIn float64) string {
	mm := xIn * MMPerInch
	if math.Abs(mm) < 100 {
		return strconv.FormatFloat(math.Round(mm*10)/10, 'f', 1, 64) + " mm"
	}
	return strconv.FormatFloat(math.Round(mm)/10, 'f', 1, 64) + " cm"
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
