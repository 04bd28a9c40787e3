package trade

import (
	"fmt"
	"math"
	"sort"
	"strings"
	"sync"
)

// Count is a way of numbering reeds: so many units of DentsPerUnit dents in
// the length OverIn. A reed numbered n has n × DentsPerUnit / OverIn dents per
// inch.
type Count struct {
	ID           string  // "dents-per-2-in", "beers-36-in" …
	Name         string  // in words
	DentsPerUnit float64 // 1, 20 for a beer, 19, 100
	OverIn       float64 // inches
	Source       string
	Note         string
}

// PerInch is the dents per inch of a reed that carries this number.
func (c Count) PerInch(number float64) float64 { return number * c.DentsPerUnit / c.OverIn }

// Number is what a reed of so many dents per inch is called in this count.
func (c Count) Number(perInch float64) float64 { return perInch * c.OverIn / c.DentsPerUnit }

var countTable = sync.OnceValue(func() []Count {
	t := mustTable("old_counts.csv", "id", "name", "dents_per_unit", "over", "unit", "note")
	var out []Count
	for i := range t.rows {
		out = append(out, Count{
			ID: t.text(i, "id"), Name: t.text(i, "name"),
			DentsPerUnit: t.mustNumber(i, "dents_per_unit"),
			OverIn:       t.mustNumber(i, "over") * t.mustUnitIn(i, "unit"),
			Source:       t.text(i, "source"), Note: t.text(i, "note"),
		})
	}
	return out
})

// Counts gives every count of the table, in its order, the caller's own slice.
func Counts() []Count { return append([]Count(nil), countTable()...) }

// CountByID finds a count by its id.
func CountByID(id string) (Count, error) {
	var ids []string
	for _, c := range countTable() {
		if c.ID == id {
			return c, nil
		}
		ids = append(ids, c.ID)
	}
	return Count{}, fmt.Errorf("no reed count %q; there are %s", shorten(id), strings.Join(ids, ", "))
}

// Convert turns a number of one count into the number of another.
func Convert(number float64, from, to Count) float64 { return to.Number(from.PerInch(number)) }

// CountNumber is what a pitch is called in one count.
type CountNumber struct {
	Count  Count
	Number float64
	// OffRel is how far the pitch lies from the nearest whole number of the
	// count, relative; a stamped reed carries a whole number, or a half.
	OffRel float64
}

// InAllCounts gives the number of a pitch in every count of the table, in the
// table's order. A pitch that is not positive gives nothing.
func InAllCounts(perInch float64) []CountNumber {
	if !(perInch > 0) || math.IsInf(perInch, 0) {
		return nil
	}
	var out []CountNumber
	for _, c := range countTable() {
		n := c.Number(perInch)
		out = append(out, CountNumber{Count: c, Number: n, OffRel: (n - math.Max(1, math.Round(n))) / n})
	}
	return out
}

// StampReading is a count under which the number stamped on a reed agrees
// with its measured pitch.
type StampReading struct {
	Count   Count
	PerInch float64 // what the stamp says under this count
	Z       float64 // distance from the measurement in combined standard deviations
}

// oldTolRel is how closely an old reed is taken to hold its stamp, one
// standard deviation, relative: three times a new one's (a stated prior).
const oldTolRel = 0.003

// ReadStamp tells what a number stamped on an old reed can mean, given the
// measured dents per inch and its relative standard uncertainty: every count
// that agrees within three combined standard deviations, the nearest first.
// An empty answer means that the stamp is not the reed's count, or that one
// of the two was misread.
func ReadStamp(stamp, perInch, relU float64) []StampReading {
	if !(stamp > 0) || !(perInch > 0) {
		return nil
	}
	sd := math.Hypot(oldTolRel, relU)
	var out []StampReading
	for _, c := range countTable() {
		p := c.PerInch(stamp)
		if z := math.Abs(math.Log(p/perInch)) / sd; z <= 3 {
			out = append(out, StampReading{Count: c, PerInch: p, Z: z})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Z < out[j].Z })
	return out
}
