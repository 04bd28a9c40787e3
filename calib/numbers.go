package calib

import (
	"cmp"
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
	reads := make([]*read, len(h.reads))
	for i := range reads {
		reads[i] = &h.reads[i]
	}
	slices.SortStableFunc(reads, func(a, b *read) int { return cmp.Compare(b.worth(), a.worth()) })
	var rows []*read
	for _, q := range reads {
		known := slices.ContainsFunc(rows, func(o *read) bool { return q.sameRow(*o) })
		if q.alone() && !known && len(rows) < mostRows && q.unitOpen() {
			rows = append(rows, q)
		}
	}
	work := h.py.work
	var onWires []*read
	var spacings []float64
	for _, q := range rows {
		wires, ok, err := wiresGoingOn(work.Plane, scaleFrame(q.from.frame, work.k))
		if err != nil {
			return err
		}
		if ok {
			onWires, spacings = append(onWires, q), append(spacings, wires.periodPx)
		}
	}
	if len(onWires) == 0 {
		return nil
	}
	sharp := h.sharpWork()
	SideBySide(len(onWires), func(i int) { onWires[i].readNumbers(work, sharp, spacings[i]) })
	return nil
}

// unitOpen says whether its numbers may still decide how many marks make a unit.
func (r read) unitOpen() bool {
	best := r.readings[0]
	return best.numbers < mostOfNumbers && slices.ContainsFunc(r.readings, func(o reading) bool {
		return o.divisions != best.divisions && o.score > best.score-mostOfNumbers
	})
}

// readNumbers measures what is printed past the marks of a row, with the wires of spacing T
// that run on under it taken off in several ways, and adds to its readings what the plainest
// tells.
func (r *read) readNumbers(work level, sharp sharpView, T float64) {
	const rowsApartPx, mostPx = 2, 420
	l := r.ladder.scaled(work.k)
	rd := r.readings[0]
	lengths, within := make([]float64, len(l.rungs)), []float64(nil)
	for i, g := range l.rungs {
		if lengths[i] = g.length; g.n >= rd.lo && g.n <= rd.hi {
			within = append(within, g.length)
		}
	}
	long := l.ended(within)
	if len(long) < fewestForInk {
		return
	}
	s := defaultClearing()
	s.Deep = int(math.Min(numbersDeep*longMarks(long), mostPx))
	ways, _ := waysThrough(sharp, scaleFrame(r.from.frame, work.k), T, s)
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
}
