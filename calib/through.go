package calib

import (
	"errors"
	"math"
	"slices"
	"sort"

	"dentcount/photo"
)

// Transparent rulers are read along the edges at which something changes along the
// wires, after those were taken off.

// through reads transparent rulers along the edges that look like theirs.
func (h *hunt) through() (ruler read, clear bool, err error) {
	veil, err := veilEdges(h.py, defaultVeil())
	if err != nil {
		return ruler, false, err
	}
	if err := h.add(veil, leastVeil); err != nil {
		return ruler, false, err
	}
	sides := h.veilSides(veil)
	h.clear = sides
	all := sides
	for len(sides) > 0 && !clear {
		n := min(veilBatch, len(sides))
		reads, err := h.readThrough(sides[:n])
		if err != nil {
			return ruler, false, err
		}
		sides = sides[n:]
		ruler, clear = h.took(reads)
	}
	if clear {
		// its own other sides
		sides = slices.DeleteFunc(sides, func(c candidate) bool { return !ruler.mayCarry(c) })
	} else if sides, err = h.veiledSides(all, clearlyHeld, mostUnder, mostVeiled); err != nil {
		return ruler, false, err
	} else {
		h.clear = append(slices.Clone(all), sides...)
	}
	reads, err := h.readThrough(sides)
	if best, found := h.took(reads); !clear {
		ruler, clear = best, found
	}
	return ruler, clear, err
}

// veilBatch is how many sides are cleared of wires before it is asked whether one of
// them is a ruler's beyond doubt.
const veilBatch = 12

// throughAll reads transparent rulers where none was found: on the sides that are left on
// which wires go on, fainter or not, then on all sides in the photo's colours.
func (h *hunt) throughAll(colours photo.HalfColours) (ruler read, clear bool, err error) {
	left, err := h.veiledSides(h.clear, leastVeil, mostUnderClear, mostSidesLeft)
	if err != nil {
		return ruler, false, err
	}
	reads, err := h.readThrough(left)
	if err != nil {
		return ruler, false, err
	}
	ruler, clear = h.took(reads)
	if slices.ContainsFunc(reads, func(q *read) bool { return q.alone() }) {
		return ruler, clear, nil
	}
	reads, err = h.readTinted(append(slices.Clone(h.clear), left...), colours)
	ruler, clear = h.took(reads)
	return ruler, clear, err
}

// veiledSides are the likeliest sides of other edges than those of the given ones on
// which the wires beside them go on, so strongly at most, as they do under a transparent
// ruler whose edge is seen well enough not to be looked for along the wires.
func (h *hunt) veiledSides(but []candidate, leastHeld, strongest float64, most int) ([]candidate, error) {
	var cands []candidate
	for _, c := range h.all {
		same := func(o candidate) bool { return o.frame == c.frame }
		if c.held >= leastHeld && !slices.ContainsFunc(but, same) && !slices.ContainsFunc(cands, same) {
			cands = append(cands, c)
		}
	}
	veiled, errs := make([]bool, len(cands)), make([]error, len(cands))
	SideBySide(len(cands), func(i int) {
		f := scaleFrame(cands[i].frame, h.py.work.k)
		wires, ok, err := wiresBeside(h.py.work.Plane, f)
		if errs[i] = err; ok && err == nil {
			under := wiresUnder(h.py.work.Plane, f, wires)
			veiled[i] = under >= leastUnder && under <= strongest
		}
	})
	var out []candidate
	for i, c := range cands {
		if veiled[i] && len(out) < most {
			out = append(out, c)
		}
	}
	return out, errors.Join(errs...)
}

// veilSides are the sides of the edges that were traced along the given ones, in their
// order, mostVeilSides at most.
func (h *hunt) veilSides(veil []segment) []candidate {
	k := h.py.work.k
	frames := make([]Frame, len(veil))
	SideBySide(len(veil), func(i int) { frames[i], _ = traceEdge(h.py.work.Plane, newFrame(veil[i].scaled(k)), traceReach) })
	var out []candidate
	for _, v := range frames {
		for _, c := range h.all {
			f := scaleFrame(c.frame, k)
			along := sameEdge([]Frame{v}, f) || sameEdge([]Frame{f}, v)
			if along && len(out) < mostVeilSides && !slices.ContainsFunc(out, func(o candidate) bool { return o.frame == c.frame }) {
				out = append(out, c)
			}
		}
	}
	return out
}

// mostVeilSides is how many sides of edges are cleared of wires at most, mostVeiled how
// many others if none of those is a ruler's, mostSidesLeft how many more if nothing else
// is, mostOwnSides how many on a ruler that was found.
const mostVeilSides, mostVeiled, mostSidesLeft, mostOwnSides = 32, 16, 48, 12

// readOwnThrough reads the ruler of a ladder as a transparent one where the wires seem
// to run on under it: fine marks among wires, and those on its other edge, may have been
// missed or taken for every second one.
func (h *hunt) readOwnThrough(r read) error {
	k := h.py.work.k
	f := scaleFrame(r.from.frame, k)
	wires, ok, err := wiresBeside(h.py.work.Plane, f)
	if err != nil || !ok || r.through {
		return err
	}
	if under := wiresUnder(h.py.work.Plane, f, wires); under < leastUnder || under > mostUnder {
		return nil
	}
	plain := slices.Clone(h.reads) // their marks are read at full size
	var sides []candidate
	for _, c := range h.all {
		known := slices.ContainsFunc(sides, func(o candidate) bool { return o.frame == c.frame }) ||
			slices.ContainsFunc(plain, func(o read) bool { return o.whole() && o.facing(c) })
		if !known && len(sides) < mostOwnSides && c.held >= leastAcross && r.mayCarry(c) {
			sides = append(sides, c)
		}
	}
	reads, err := h.readThrough(sides)
	for _, q := range reads {
		// What is left of wires makes rows, too: they fit no scale beside the ruler's own.
		if r.beyondDoubt() && q.odds(0) < r.odds(0) && !r.mayStandBeside(q.ladder.periodPx) {
			continue
		}
		if !slices.ContainsFunc(plain, func(o read) bool { return o.alone() && q.sameRow(o) }) {
			h.reads = append(h.reads, *q)
		}
	}
	return err
}

// whole says whether a row of marks is a ruler's beyond doubt and has nothing between
// its marks, so that no finer row was missed.
func (r read) whole() bool { return r.plain() && r.beyondDoubt() }

// facing says whether an edge may carry no other marks on its ruler than those of a
// ladder: it faces the same way and lies as near.
func (r read) facing(c candidate) bool {
	x, y := c.frame.Point((c.frame.Lo+c.frame.Hi)/2, 0)
	_, depth := r.scale.Frame.Locate(x, y)
	return c.frame.NX*r.scale.Frame.NX+c.frame.NY*r.scale.Frame.NY > 0 && math.Abs(depth) < ownEdge*r.widthPx()
}

// sameRow says whether r is o's own row of marks, however it is understood.
func (r read) sameRow(o read) bool {
	x, y := r.from.frame.Point((r.scale.Lo+r.scale.Hi)/2, 0)
	_, depth := o.from.frame.Locate(x, y)
	return math.Abs(depth) < o.ladder.periodPx && math.Abs(r.ladder.periodPx/o.ladder.periodPx-1) < 0.02
}

// mostCombs is how many combs of such a side are read at most: what is left of
// wires is often stronger than fine marks.
const mostCombs = 6

// readThrough reads the ladders of transparent rulers on sides of edges, with the
// wires taken off.
func (h *hunt) readThrough(sides []candidate) ([]*read, error) {
	if len(sides) == 0 {
		return nil, nil
	}
	slots := make([][]*read, len(sides))
	errs := make([]error, len(sides))
	sharp := h.sharpWork()
	SideBySide(len(sides), func(i int) { slots[i], errs[i] = readSideThrough(h.py.work, sharp, sides[i]) })
	return slices.Concat(slots...), errors.Join(errs...)
}

// What is looked at of a side: the wires beside it, as autocorrelation all along the
// edge, how strongly they show on its inner side, of what they are beside it, and the
// comb of marks there. Of the transparent rulers of drawn scenes these lay from 0.18 to
// 0.97, 0.36 to 0.79 and 0.2 to 0.8; four of five other sides fail by the first two.
const (
	leastWiresBeside      = 0.12
	leastUnder, mostUnder = 0.2, 0.95
	// Under clear ones wires may look as strong as beside them, in other light stronger.
	mostUnderClear   = 3
	noneUnder        = 0.05 // holes between slots make another comb of what goes on
	leastCombThrough = 0.14
)

// The depths in px on both sides of an edge between which wires are looked at.
const besideFar, besideNear, underFar = 28, 6, 40

// wiresBeside is the strongest comb of wires beside an edge; ok is false where none
// stand there.
func wiresBeside(p photo.Plane, f Frame) (wires comb, ok bool, err error) {
	lo, hi := f.Inside(p, f.Lo, f.Hi, -besideFar, underFar)
	if hi-lo < 96 {
		return wires, false, nil
	}
	st := sampleStrip(p, f, lo, hi, -besideFar, -besideNear, 1)
	const middle = (besideFar + besideNear) / 2
	profs := [][]float64{st.profile(-besideFar, -middle), st.profile(-middle, -besideNear)}
	for i := range profs {
		profs[i] = alikeStrong(profs[i])
	}
	combs, err := findCombs(profs, lo, combSearch{window: 256, minPeriodPx: 3})
	for _, c := range slices.Concat(combs...) {
		if c.strength > wires.strength {
			wires = c
		}
	}
	return wires, wires.strength >= leastWiresBeside*math.Max(1, (hi-lo)/128), err
}

// alikeStrong is a profile across wires with what stands out of it cut off, so that of
// wires some of which are rusty and some not each counts as much.
func alikeStrong(prof []float64) []float64 {
	const half, most = 24, 0.7 // px on either side that are taken as of one tone; of the typical depth
	out := highPass(prof, half)
	var size []float64
	for _, v := range out {
		if v == v {
			size = append(size, math.Abs(v))
		}
	}
	if len(size) == 0 {
		return out
	}
	limit := most * median(size)
	for i, v := range out {
		if v == v {
			out[i] = min(max(v, -limit), limit)
		}
	}
	return out
}

// wiresUnder is how strong the wires beside an edge show on its inner side, in parts of
// what they are beside it.
func wiresUnder(p photo.Plane, f Frame, wires comb) float64 {
	T := wires.periodPx
	half := math.Max(6*T, 40)
	lo, hi := math.Max(wires.center-half, f.Lo), math.Min(wires.center+half, f.Hi)
	return rowsContrast(p, f, lo, hi, besideNear, underFar, T) / math.Max(rowsContrast(p, f, lo, hi, -besideFar, -besideNear, T), 1e-9)
}

// wiresGoingOn are the wires beside an edge that are seen on its inner side, too; ok is
// false where there are none.
func wiresGoingOn(p photo.Plane, f Frame) (wires comb, ok bool, err error) {
	wires, ok, err = wiresBeside(p, f)
	return wires, err == nil && ok && !(wiresUnder(p, f, wires) < noneUnder), err
}

// readSideThrough reads the ladders on one side of an edge, with the wires beside it
// taken off, and what is left of them farther inside.
func readSideThrough(work level, sharp sharpPlane, c candidate) ([]*read, error) {
	f := scaleFrame(c.frame, work.k)
	wires, ok, err := wiresGoingOn(work.Plane, f)
	if !ok {
		return nil, err
	}
	return readAllWays(work, sharp, c, wires.periodPx)
}

// readAllWays reads the ladders on one side of an edge with wires of spacing T taken off
// in all ways.
func readAllWays(work level, sharp sharpView, c candidate, T float64) ([]*read, error) {
	ways, _ := waysThrough(sharp, scaleFrame(c.frame, work.k), T, defaultClearing())
	var out []*read
	for _, way := range ways {
		reads, err := readCleared(work, c, way, T)
		if err != nil {
			return nil, err
		}
		out = append(out, reads...)
	}
	return out, nil
}

// waysThrough are the ways to take wires of spacing T off the inner side of an edge, none
// where too little of it is in the picture: as they are beside it, and as they are farther
// inside. left is what the former leaves, see clearWires.
func waysThrough(sharp sharpView, f Frame, T float64, s clearing) (ways []cleared, left float64) {
	cl, left, ok := clearWires(sharp, f, T, s)
	if !ok {
		return nil, 0
	}
	if left > mostLeft {
		cl = cl.undone()
	} else {
		ways = append(ways, cl)
	}
	for _, d := range beyondMarks() {
		ways = append(ways, cl.beyond(d))
	}
	return ways, left
}

// mostLeft is how much of what is seen near an edge may be left without the wires, in
// parts of its square, if those run on under it.
const mostLeft = 0.7

// beyondMarks are depths in px of the work level between which there may be nothing
// but wires: marks are 3 to 14 mm long and rulers 15 to 40 mm wide (common practice,
// no source), in pictures of 40 to 100 px to the inch and of 100 to 250.
func beyondMarks() [2][2]int { return [2][2]int{{45, 160}, {20, 70}} }

// readCleared reads the ladders in a strip with wires of spacing T taken off.
func readCleared(work level, c candidate, cl cleared, T float64) ([]*read, error) {
	lo, hi := cl.frame.Lo, cl.frame.Hi
	st := sampleStrip(cl.Plane, cl.frame, lo, hi, 0, combsDeep, 1)
	combs, err := combsLeft(st, lo, T)
	if err != nil {
		return nil, err
	}
	combs = append(unitCombs(st, lo, combs), combs...)
	var out []*read
	for _, cb := range differing(combs, mostCombs) {
		if cb.strength < leastCombThrough*math.Max(1, (hi-lo)/512) {
			continue
		}
		for _, row := range rowsOf(cl.Plane, cl.frame, cb) {
			row.l.frame = scaleFrame(c.frame, work.k)
			from := candidate{frame: c.frame, held: c.held, comb: scaleComb(row.cb, 1/work.k), weight: c.weight}
			if q := understand(from, row.l.scaled(1/work.k)); q != nil {
				q.through = true
				out = append(out, q)
			}
		}
	}
	return out, nil
}

// combRow is a ladder that was read from a comb.
type combRow struct {
	cb comb
	l  ladder
}

// rowsOf are the ladders that a comb in a strip from which wires were taken stands for. Where
// something is seen between the marks, but less than marks are, it may be what is left of
// wires or fainter marks, which were taken off in part with wires that lie on them: such a
// row is read at half its spacing, too, and the lengths tell which of the two it is.
func rowsOf(p photo.Plane, f Frame, cb comb) []combRow {
	l, ok := readLadder(p, f, cb)
	for ok && l.between > everySecond {
		if cb, ok = cb.halved(l.periodPx); ok {
			l, ok = readLadder(p, f, cb)
		}
	}
	if at, blank := l.everySecondBlank(); ok && blank {
		cb = cb.doubled(l.periodPx, at)
		l, ok = readLadder(p, f, cb)
	}
	if !ok {
		return nil
	}
	rows := []combRow{{cb, l}}
	if half, fine := cb.halved(l.periodPx); fine && !l.nothingBetween() {
		if m, ok := readLadder(p, f, half); ok {
			rows = append(rows, combRow{half, m})
		}
	}
	return rows
}

// combsLeft are the combs in a strip from which wires of spacing T were taken, the
// strongest first; those of finer marks are looked for a second time with all that
// is as wide as the wires taken off, for what is left of them may drown marks.
func combsLeft(st strip, lo, T float64) ([]comb, error) {
	all, err := combsIn(st, lo)
	if err != nil {
		return nil, err
	}
	fine := st
	fine.v = make([]float32, 0, len(st.v))
	for r := range st.rows {
		fine.v = append(fine.v, highPass32(st.v[r*st.cols:(r+1)*st.cols], int(math.Max(2, T/4)))...)
	}
	more, err := combsIn(fine, lo)
	if err != nil {
		return nil, err
	}
	for _, c := range more {
		if c.periodPx < 0.6*T {
			all = append(all, c)
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].strength > all[j].strength })
	return all, nil
}

// differing are the first n combs of differing spacing.
func differing(combs []comb, n int) []comb {
	var out []comb
	for _, c := range combs {
		fresh := true
		for _, o := range out {
			fresh = fresh && math.Abs(c.periodPx/o.periodPx-1) > 0.1
		}
		if fresh && len(out) < n {
			out = append(out, c)
		}
	}
	return out
}
