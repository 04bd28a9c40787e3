package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"

	"dentcount/measure"
)

// JSON writes r as one line of NDJSON, in the form scripts rely on. Numbers
// are rounded to what their meaning can carry: pixels to 0.01, lengths to
// 0.001 in, pitches to 0.0001 per inch, uncertainties to three figures.
// Confidences are rounded down, so that none is printed as more than it is.
// Lists are never null. A number that is not finite is an error, and then
// nothing is written.
func JSON(w io.Writer, r measure.Result) error {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(rounded(r)); err != nil {
		return fmt.Errorf("report: the result of %q has no JSON form: %w", r.Photo, err)
	}
	_, err := w.Write(buf.Bytes())
	return err
}

// rounded is a deep copy of r with its numbers rounded and its lists not nil.
func rounded(r measure.Result) measure.Result {
	if r.Warnings == nil {
		r.Warnings = []string{}
	}
	if r.Ruler != nil {
		v := *r.Ruler
		v.PxPerInch = decimals(v.PxPerInch, 2)
		v.SpanIn = decimals(v.SpanIn, 3)
		v.TiltDeg = decimals(v.TiltDeg, 2)
		marks := make([]measure.Mark, len(v.Marks))
		for i, m := range v.Marks {
			marks[i] = measure.Mark{
				Value: decimals(m.Value, 4),
				At:    measure.Point{decimals(m.At[0], 2), decimals(m.At[1], 2)},
			}
		}
		v.Marks = marks
		r.Ruler = &v
	}
	if r.Count != nil {
		v := *r.Count
		v.OverIn = decimals(v.OverIn, 3)
		v.InOneInch = measure.Range{Min: decimals(v.InOneInch.Min, 2), Max: decimals(v.InOneInch.Max, 2)}
		r.Count = &v
	}
	if r.Pitch != nil {
		v := *r.Pitch
		v.DentsPerInch = decimals(v.DentsPerInch, 4)
		v.U = figures(v.U, 3)
		v.DentsPer10CM = decimals(v.DentsPer10CM, 3)
		v.K95, v.DoF = decimals(v.K95, 3), decimals(v.DoF, 1)
		if v.Interval95 != nil {
			v.Interval95 = &measure.Range{Min: decimals(v.Interval95.Min, 4), Max: decimals(v.Interval95.Max, 4)}
		}
		r.Pitch = &v
	}
	if r.Size != nil {
		v := measure.Size{SizeChoice: roundedChoice(r.Size.SizeChoice)}
		v.Others = make([]measure.SizeChoice, len(r.Size.Others))
		for i, o := range r.Size.Others {
			v.Others[i] = roundedChoice(o)
		}
		r.Size = &v
	}
	if r.Combined != nil {
		v := *r.Combined
		v.ChiSquare, v.Chance, v.Widened = decimals(v.ChiSquare, 3), figures(v.Chance, 3), decimals(v.Widened, 2)
		v.RulerThicknessMM, v.RulerThicknessUMM = decimals(v.RulerThicknessMM, 3), figures(v.RulerThicknessUMM, 3)
		v.Photos, v.LeftOut = append([]string{}, v.Photos...), append([]string{}, v.LeftOut...)
		r.Combined = &v
	}
	budget := make([]measure.BudgetLine, len(r.Budget))
	for i, b := range r.Budget {
		b.RelativeU, b.DoF = figures(b.RelativeU, 3), decimals(b.DoF, 1)
		budget[i] = b
	}
	r.Budget = budget
	return r
}

func roundedChoice(c measure.SizeChoice) measure.SizeChoice {
	c.DentsPerInch = decimals(c.DentsPerInch, 4)
	c.Confidence = downTo(c.Confidence, 4)
	return c
}

// decimals rounds x to n decimal places. What is not finite stays so.
func decimals(x float64, n int) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	return parsed(strconv.FormatFloat(x, 'f', n, 64))
}

// figures rounds x to n significant figures.
func figures(x float64, n int) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	return parsed(strconv.FormatFloat(x, 'e', n-1, 64))
}

// downTo rounds x toward zero to n decimal places. What was meant as 0.95
// stays 0.95, though a float64 cannot hold it exactly.
func downTo(x float64, n int) float64 {
	scale := math.Pow(10, float64(n))
	return decimals(math.Floor(x*scale+1e-6)/scale, n)
}

// parsed reads back what FormatFloat wrote; minus zero becomes zero.
func parsed(s string) float64 {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return math.NaN()
	}
	if x == 0 {
		return 0
	}
	return x
}
