package calib

import (
	"math"
	"slices"
	"sort"
)

// Of a ruler among wires the numbers are the hardest to see, and lie deeper than marks are
// looked for. Where the row of marks is known and only how many of them make a unit is not,
// they are looked at again, with the wires taken off as deep as numbers stand.

// readNumbers looks at the numbers of the rows that were read, and gives their readings
// what they tell of the unit; of those that lie on wires alone, where they were not seen
// as well as they can be.
func (h *hunt) readNumbers() error {
	const mostRows = 3
	var rows []*read
	order := make([]int, len(h.reads))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return h.reads[order[a]].worth() > h.reads[order[b]].worth() })
	for _, i := range order {
		q := &h.reads[i]
		known := slices.ContainsFunc(rows, func(o *read) bool { return q.sameRow(*o) })
		if q.alone() && !known && len(rows) < mostRows && q.unitOpen() {
			rows = append(rows, q)
		}
	}
	if len(rows) == 0 {
		return nil
	}
	sharp, errs := h.sharpWork(), make([]error, len(rows))
	SideBySide(len(rows), func(i int) { errs[i] = rows[i].readNumbers(h.py.work, sharp) })
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// unitOpen says whether its numbers may still decide how many marks make a unit.
func (r read) unitOpen() bool {
	best := r.readings[0]
	return best.numbers < mostOfNumbers && slices.ContainsFunc(r.readings, func(o reading) bool {
		return o.divisions != best.divisions && o.score > best.score-mostOfNumbers
	})
}

// readNumbers measures what is printed past the marks of a row, with the wires that run on
// under it taken off in several ways, and adds to its readings what the plainest tells.
func (r *read) readNumbers(work level, sharp sharpView) error {
	const rowsApartPx, mostPx = 2, 420
	f := scaleFrame(r.from.frame, work.k)
	wires, ok, err := wiresBeside(work.Plane, f)
	if err != nil || !ok || wiresUnder(work.Plane, f, wires) < noneUnder {
		return err
	}
	l := r.ladder.scaled(work.k)
	rd := r.readings[0]
	lengths, long := make([]float64, len(l.rungs)), []float64(nil)
	for i, g := range l.rungs {
		if lengths[i] = g.length; g.n >= rd.lo && g.n <= rd.hi && g.length > 0 && g.length < deepest*l.maxDepth {
			long = append(long, g.length)
		}
	}
	if len(long) < fewestForInk {
		return nil
	}
	s := defaultClearing()
	s.Deep = int(math.Min(numbersDeep*longMarks(long), mostPx))
	ways, _ := waysThrough(sharp, f, wires.periodPx, s)
	l.maxDepth = float64(s.Deep)
	odds := map[int]float64{} // by the divisions of a unit
	for _, way := range ways {
		l.frame = way.frame
		st := sampleStrip(way.Plane, way.frame, way.frame.Lo, way.frame.Hi, 0, l.maxDepth, rowsApartPx)
		l.inkWithin(st, rd.lo, rd.hi, lengths)
		for _, o := range r.readings {
			odds[o.divisions] = math.Max(odds[o.divisions], numbersOdds(l.rungs, o.divisions))
		}
	}
	for k := range r.readings {
		o := &r.readings[k]
		more := math.Max(odds[o.divisions]-o.numbers, 0)
		o.numbers, o.score = o.numbers+more, o.score+more
	}
	sort.SliceStable(r.readings, func(a, b int) bool { return r.readings[a].score > r.readings[b].score })
	if scale, err := fitScale(r.ladder, r.readings[0]); err == nil {
		r.scale = scale
	}
	return nil
}
