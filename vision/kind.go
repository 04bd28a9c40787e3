package vision

import (
	"math"
	"sort"

	"dentcount/calib"
	"dentcount/photo"
)

// kindRead is what kind of part the bands belong to.
type kindRead struct {
	kind         Kind
	probability  float64
	dentsPerBand int // how many dents one spacing stands for
	// holesHidden says that the bands are as coarse as slots and that the ruler
	// may lie on the holes between them.
	holesHidden bool
}

// slotsOrWires is what bands as coarse as slots are by the logarithm of the
// odds that they are slots, where the ruler may lie on the holes between them.
func slotsOrWires(odds float64) kindRead {
	// Nothing is surer than the share of a set's photos that was told right where
	// the odds were highest; below sureAt a person is told of the other reading.
	const surest, sureAt = 0.98, 0.88
	k := kindRead{kind: Reed, dentsPerBand: 1}
	if odds > 0 {
		k = kindRead{kind: RigidHeddle, dentsPerBand: 2}
	}
	k.probability = math.Min(1/(1+math.Exp(-math.Abs(odds))), surest)
	k.holesHidden = k.probability < sureAt
	return k
}

// kindOf tells a reed from a rigid heddle. Across a reed the bands are the same
// from baulk to baulk. In a rigid heddle the slots run the whole height, and in
// the zone in its middle holes stand half-way between them: there, and only
// there, the pattern's frequency doubles. t is the tone of the bands, slots what
// arcs.slotOdds says of them.
//
// Rigid heddles are made up to 15 dents per inch (common practice, no source),
// so slots stand no closer than finestSlots.
func kindOf(p photo.Plane, s calib.Scale, l lean, t tone, ppi, slots float64, told Kind) kindRead {
	// Stated, no source: plainly where nothing speaks against the kind, against
	// where a person says another than the photo shows.
	const plainly, against = 0.97, 0.9
	k := kindRead{kind: Reed, probability: plainly, dentsPerBand: 1}
	if t.PerInch <= 2*finestSlots {
		deepest := reachIn
		if t.PerInch > finestSlots {
			deepest = 0 // halves looks before the marked edge only
		}
		under := tonesOf(p, s, stretch{s.Frame, s.Lo, s.Hi}, deepest, l, t, ppi)
		switch {
		case t.PerInch <= finestSlots:
			k = coarseKind(p, s, l, t, ppi, slots, under)
		// The edge lies in the zone of holes: beyond it the tone halves.
		case halves(under, ppi):
			k.kind, k.probability = RigidHeddle, 0.98
		}
	}
	switch {
	case told == "":
		return k
	case told == k.kind:
		k.probability = math.Max(k.probability, plainly)
		return k
	case told == Reed:
		return kindRead{kind: Reed, probability: against, dentsPerBand: 1}
	case t.PerInch <= finestSlots:
		return kindRead{kind: RigidHeddle, probability: against, dentsPerBand: 2}
	}
	return kindRead{kind: RigidHeddle, probability: 0.6, dentsPerBand: 1}
}

// coarseKind is kindOf for bands no closer together than slots may be. under are
// the windows along the ruler.
func coarseKind(p photo.Plane, s calib.Scale, l lean, t tone, ppi, slots float64, under [][]zone) kindRead {
	holes := agreed(under, ppi, true)
	free := 0 // windows that show the part from baulk to baulk, beside the ruler's ends
	for _, b := range beyond(p, s, ppi) {
		windows := tonesOf(p, s, b, reachIn, l, t, ppi)
		holes = math.Max(holes, agreed(windows, ppi, false))
		for _, w := range windows {
			c := clear(w)
			if len(c) > 0 && c[len(c)-1].depth-c[0].depth > 1.5*ppi {
				free++
			}
		}
	}
	switch {
	// The tone is that of slots alone; in one zone, and only there, it doubles.
	case holes >= clearHoles:
		return kindRead{kind: RigidHeddle, probability: 0.99, dentsPerBand: 2}
	case halves(under, ppi):
		return kindRead{kind: RigidHeddle, probability: 0.98, dentsPerBand: 1}
	}
	// What hints at holes adds to what the arcs tell, and so does that none are seen
	// where they would be: weights by the share of reeds among 258 scenes of seeds
	// 6101 and 6102 in which no holes were clear.
	const hint, smallHint, mostSmall, noneOffRuler = 0.35, 1.2, 3, -0.5
	slots += hint*holes + smallHint*math.Min(smallHoles(under, ppi), mostSmall)
	if free >= 2 || !middleHidden(under, ppi) {
		slots += noneOffRuler
	}
	return slotsOrWires(slots)
}

// zone is the strength of the bands' tone at one distance from the edge: at its
// frequency, at twice it, and at half of it.
type zone struct{ depth, f1, f2, half float64 }

// doubled is how far the double frequency stands over the single one, in nepers.
func (z zone) doubled() float64 { return math.Log((z.f2 + 1e-9) / (z.f1 + 1e-9)) }

const (
	finestSlots = 8.0  // per inch
	clearHoles  = 10.0 // nepers, summed over the rows of a zone, in a window
)

// agreed is how clearly the windows of a strip show a zone of holes, together:
// the row of holes runs through all of them at nearly one depth, where a
// crossing thread, a bent wire or a highlight doubles the tone of one or two.
func agreed(windows [][]zone, ppi float64, underRuler bool) float64 {
	const driftIn, alone = 0.3, 2.5
	type found struct{ score, depth float64 }
	var best found
	all := make([]found, len(windows))
	for i, w := range windows {
		all[i].score, all[i].depth = holeZone(w, ppi, underRuler)
		if all[i].score > best.score {
			best = all[i]
		}
	}
	var at []float64
	seen := 0
	for i, w := range windows {
		visible := false
		for _, z := range clear(w) {
			visible = visible || math.Abs(z.depth-best.depth) < 0.1*ppi && z.f1+z.f2 > 1.5*z.half
		}
		if visible {
			seen++
		}
		if all[i].score > 0 && math.Abs(all[i].depth-best.depth) < driftIn*ppi {
			at = append(at, all[i].score)
		}
	}
	switch {
	case 2*len(at) < seen:
		return 0
	case len(at) < 2:
		return best.score / alone
	}
	return medianOf(at)
}

// clear keeps the zones in which the bands stand out: not the table, not the
// baulks, not the ruler's plain middle.
func clear(zones []zone) []zone {
	var top float64
	for _, z := range zones {
		top = math.Max(top, math.Max(z.f1, math.Max(z.f2, z.half)))
	}
	var out []zone
	for _, z := range zones {
		if math.Max(z.f1, math.Max(z.f2, z.half)) >= 0.25*top {
			out = append(out, z)
		}
	}
	return out
}

// middleHidden says whether the ruler covers the middle of the part, where a
// rigid heddle's holes are.
func middleHidden(windows [][]zone, ppi float64) bool {
	hidden := 0
	for _, w := range windows {
		// the bands' reach on the side of the marked edge, and on the other
		var near, far, ruler float64
		for _, z := range w {
			if z.f1 < z.f2 && z.f1 < z.half {
				continue
			}
			if z.depth < 0 {
				near = math.Min(near, z.depth)
			} else if !onRulerMarks(z.depth, ppi) {
				far = math.Max(far, z.depth)
			}
		}
		for _, z := range w {
			if z.depth > 0.1*ppi && (ruler == 0 || z.depth < ruler) && z.f1 > z.f2 && z.f1 > z.half {
				ruler = z.depth
			}
		}
		const holesIn = 0.25 // half the height of the zone of holes
		if mid := (near + far) / 2; mid > -holesIn*ppi && mid < math.Max(ruler, 0.5*ppi)+holesIn*ppi {
			hidden++
		}
	}
	return 2*hidden >= len(windows)
}

// stretch is a part of the ruler's line past the ruler's ends.
type stretch struct {
	frame  calib.Frame
	lo, hi float64
}

// beyond are the stretches before the first mark and past the last one, where
// nothing lies on the part: straight on from the edge, to the picture's end or
// as far as the lean can be trusted.
func beyond(p photo.Plane, s calib.Scale, ppi float64) []stretch {
	const farIn, leastIn = 6.0, 0.4
	var out []stretch
	for _, e := range [2]struct{ at, dir float64 }{{s.Lo, -1}, {s.Hi, 1}} {
		x0, y0 := s.Frame.Point(e.at, 0)
		x1, y1 := s.Frame.Point(e.at-e.dir*0.5*ppi, 0)
		dx, dy := e.dir*(x0-x1), e.dir*(y0-y1)
		n := math.Hypot(dx, dy)
		f := calib.Frame{TX: dx / n, TY: dy / n, NX: s.Frame.NX, NY: s.Frame.NY, Half: s.Frame.Half}
		f.X, f.Y = x0-e.at*f.TX, y0-e.at*f.TY
		// past the ruler's own end, which lies a little behind its last mark
		a, b := e.at+e.dir*0.3*ppi, e.at+e.dir*farIn*ppi
		lo, hi := f.Inside(p, math.Min(a, b), math.Max(a, b), 0, 0)
		if hi-lo > leastIn*ppi {
			out = append(out, stretch{f, lo, hi})
		}
	}
	return out
}

// onRulerMarks says whether a depth may still be the ruler's own marks, whose
// tones mean nothing for the bands: a ruler is up to two inches wide.
func onRulerMarks(depth, ppi float64) bool { return depth > -0.05*ppi && depth < 2*ppi }

// holeZone is how clearly a window shows a stretch of depths where openings stand
// half-way between the usual ones: how far the double frequency stands over what
// is usual in the window, summed over the zone's rows; 0 where there is
// none. depth is the zone's middle. underRuler says that the ruler lies in the
// window.
func holeZone(window []zone, ppi float64, underRuler bool) (score, depth float64) {
	var zones []zone
	plain := 0
	usable := false
	for _, z := range clear(window) {
		if underRuler && z.depth > -0.04*ppi {
			// Past the ruler's far edge, wherever it is, bands are bands again
			// when a few rows in a row are.
			if onRulerMarks(z.depth, ppi) && !usable {
				if z.f1 > z.f2 && z.f1 > 2*z.half && z.depth > 0.1*ppi {
					plain++
				} else {
					plain = 0
				}
				usable = plain >= 4
				continue
			}
		}
		zones = append(zones, z)
	}
	if len(zones) < 8 {
		return 0, 0
	}
	q := make([]float64, len(zones))
	for i, z := range zones {
		q[i] = z.doubled()
	}
	sorted := append([]float64(nil), q...)
	sort.Float64s(sorted)
	usual := sorted[len(sorted)/4]
	var f1 []float64
	for i, z := range zones {
		if q[i] < usual+0.4 && z.half < 0.5*z.f1 {
			f1 = append(f1, z.f1)
		}
	}
	if len(f1) < 4 || usual > 0.3 {
		return 0, 0 // nothing plain to compare with
	}
	level := medianOf(f1)
	const stands, fewestRows, longestIn, border = 0.9, 3, 0.9, 3
	inZone := func(i int) bool {
		return q[i]-usual > stands && zones[i].f2 > 0.3*level && zones[i].f1 < 0.8*level
	}
	next := func(i, j int) bool { return math.Abs(zones[i].depth-zones[j].depth) < 0.08*ppi }
	// Both ends of a zone of holes are plain bands, or the ruler: a highlight
	// that splits the wires runs on to the baulk.
	ends := func(i, dir int) bool {
		for n := 0; n < border; n++ {
			j := i + dir
			if j < 0 || j >= len(zones) || !next(i, j) {
				return underRuler && zones[i].depth < 0 && zones[i].depth > -0.1*ppi && dir > 0
			}
			if q[j]-usual > stands {
				return false
			}
			i = j
		}
		return true
	}
	for i := 0; i < len(zones); i++ {
		if !inZone(i) {
			continue
		}
		from, sum := i, 0.0
		for ; i < len(zones) && inZone(i) && (i == from || next(i-1, i)); i++ {
			sum += math.Min(q[i]-usual, 2.5)
		}
		i--
		if i-from+1 >= fewestRows && zones[i].depth-zones[from].depth < longestIn*ppi && ends(from, -1) && ends(i, 1) && sum > score {
			score, depth = sum, (zones[from].depth+zones[i].depth)/2
		}
	}
	return score, depth
}

// averaged is the windows' mean by depth, where two of them or more show bands.
func averaged(windows [][]zone) []zone {
	n := map[float64]float64{}
	sum := map[float64]zone{}
	for _, w := range windows {
		for _, z := range w {
			n[z.depth]++
			s := sum[z.depth]
			sum[z.depth] = zone{z.depth, s.f1 + z.f1, s.f2 + z.f2, s.half + z.half}
		}
	}
	var out []zone
	for d, s := range sum {
		if k := n[d]; k >= 2 {
			out = append(out, zone{d, s.f1 / k, s.f2 / k, s.half / k})
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].depth < out[j].depth })
	return out
}

// smallHoles is how clearly the windows together show a short row of holes: a
// hole may be no taller than a row or two, and all windows together then tell
// what none does alone. What the double frequency gains and the single one
// loses against the rows around, in nepers summed over the zone.
func smallHoles(windows [][]zone, ppi float64) float64 {
	zones := clear(averaged(windows))
	run, sum, best, usual := 0, 0.0, 0.0, 0
	seenUsual, plain := false, 0 // plain: usual depths in a row
	for i, z := range zones {
		if z.depth > -0.05*ppi && z.depth < 0.1*ppi {
			seenUsual, plain = false, 0 // a ruler may hide what lies between
			continue
		}
		// what is usual hereabouts: light and highlights change along a wire
		var f1, f2 []float64
		for j := max(0, i-14); j <= min(len(zones)-1, i+14); j++ {
			f1 = append(f1, zones[j].f1)
			f2 = append(f2, zones[j].f2)
		}
		u1, u2 := medianOf(f1), medianOf(f2)
		gain := math.Log(z.f2/u2+1e-9) - math.Log(z.f1/u1+1e-9)
		switch {
		case z.f2 > 1.06*u2 && z.f1 < 0.95*u1 && gain > 0.12 && z.f2 > 0.3*u1:
			if !onRulerMarks(z.depth, ppi) || seenUsual {
				run++
				sum += math.Min(gain, 1.5)
				if run >= 2 {
					best = math.Max(best, sum)
				}
			}
		default:
			run, sum = 0, 0
			if z.f1 > 0.8*u1 && z.half < 0.3*z.f1 {
				usual++
				plain++
				seenUsual = seenUsual || plain >= 4
			} else {
				plain = 0
			}
		}
	}
	if usual < 4 {
		return 0
	}
	return best
}

// halves tells whether the bands are slots and holes in turn: in the rows that
// both cross, the tone of half the frequency is missing; in the rows of slots
// alone it is as strong as the tone itself, for a slot is narrow. Wires that
// differ from each other carry that tone, too, but from baulk to baulk.
func halves(windows [][]zone, ppi float64) bool {
	yes := 0
	for _, w := range windows {
		if both, alone := turns(w, ppi); both >= 3 && alone >= 4 {
			yes++
		}
	}
	return yes >= 2 && 2*yes > len(windows)
}

// turns is how many rows in a row, walking away from the marked edge to the
// part's end, show slots with holes between them, and how many slots alone.
func turns(w []zone, ppi float64) (both, alone int) {
	var rows []zone
	level := 0.0
	for i := len(w) - 1; i >= 0; i-- {
		z := w[i]
		if z.depth > -0.04*ppi {
			continue
		}
		if n := len(rows); n > 0 && rows[n-1].depth-z.depth > 0.1*ppi {
			break // past the part's end
		}
		if a := math.Max(z.f1, z.half); level == 0 {
			level = a
		} else if a < 0.3*level {
			break
		}
		rows = append(rows, z)
	}
	const without, with = 0.4, 0.65 // of the tone
	runBoth, runAlone := 0, 0
	for i := 1; i+1 < len(rows); i++ {
		// the mean of three rows: one alone is noisy
		f1 := rows[i-1].f1 + rows[i].f1 + rows[i+1].f1
		half := rows[i-1].half + rows[i].half + rows[i+1].half
		runBoth, runAlone = runBoth+1, runAlone+1
		if half > without*f1 {
			runBoth = 0
		}
		if half < with*f1 {
			runAlone = 0
		}
		both, alone = max(both, runBoth), max(alone, runAlone)
	}
	return both, alone
}

// reachIn is how far on either side of the marked edge the tones are looked at.
const reachIn = 3.0

// tonesOf measures the tone in windows of eight spacings side by side along a
// stretch of the ruler's line, each in rows from reachIn before the marked edge
// to deepestIn behind it: the windows are short enough that a small error of
// lean, and a zone that runs aslant to the ruler, are harmless.
func tonesOf(p photo.Plane, s calib.Scale, along stretch, deepestIn float64, l lean, t tone, ppi float64) [][]zone {
	T := ppi / t.PerInch
	step := math.Max(1, 0.012*ppi)
	const rowsPerZone = 2
	var depths []float64
	for d := -reachIn * ppi; d < deepestIn*ppi; d += step * rowsPerZone {
		depths = append(depths, d)
	}
	rows := make([][]zone, len(depths))
	calib.SideBySide(len(depths), func(i int) {
		st := beside(p, along.frame, along.lo, along.hi, depths[i], depths[i]+step*(rowsPerZone-1), step)
		if st.cols > 0 {
			rows[i] = windowTones(st.sheared(l, 0, st.rows, 1), T, along.lo, s)
		}
	})
	var out [][]zone
	for i, d := range depths {
		for j, z := range rows[i] {
			if j >= len(out) {
				out = append(out, nil)
			}
			if z.f1 > 0 {
				z.depth = d
				out[j] = append(out[j], z)
			}
		}
	}
	return out
}

// windowTones averages the tone's strength over windows of eight spacings.
func windowTones(prof []float64, T, lo float64, s calib.Scale) []zone {
	w := int(math.Min(8*T, float64(len(prof))-1))
	if float64(w) < 3*T {
		return nil
	}
	var out []zone
	for a := 0; a+w < len(prof); a += w / 2 {
		out = append(out, windowTone(prof[a:a+w], T*s.InPerPx((s.Lo+s.Hi)/2)/s.InPerPx(lo+float64(a+w/2))))
	}
	return out
}

// windowTone is the tone in one window; local is the spacing there, which
// perspective stretches along the edge. The zero zone where no tone carries the
// contrast.
func windowTone(seg []float64, local float64) zone {
	var mean, sq float64
	for _, v := range seg {
		if v != v {
			return zone{}
		}
		mean += v
	}
	w := float64(len(seg))
	mean /= w
	// Under Hann's window, which advances by a rotation as the tones do.
	hann := make([]float64, len(seg))
	sn, cs := math.Sincos(math.Pi / w)
	re, im := math.Cos(math.Pi/2/w), math.Sin(math.Pi/2/w)
	for i, v := range seg {
		hann[i] = (v - mean) * im * im
		re, im = re*cs-im*sn, re*sn+im*cs
	}
	for _, v := range seg {
		sq += (v - mean) * (v - mean)
	}
	sd := math.Sqrt(sq / w)
	if sd < 1.2 {
		return zone{}
	}
	// Goertzel's recurrence: the amplitude at one frequency. Over eight spacings a
	// few per cent off cost nothing at the tone and below it, and a tenth above.
	amp := func(period float64, off ...float64) float64 {
		best := 0.0
		for _, k := range append(off, 1) {
			c := 2 * math.Cos(2*math.Pi/(period*k))
			var s1, s2 float64
			for _, v := range hann {
				s1, s2 = v+c*s1-s2, s1
			}
			best = math.Max(best, s1*s1+s2*s2-c*s1*s2)
		}
		return math.Sqrt(best) * 4 / w
	}
	z := zone{f1: amp(local), f2: amp(local/2, 0.97, 1.03), half: amp(local * 2)}
	if math.Max(z.f1, math.Max(z.f2, z.half)) < 0.5*sd {
		return zone{}
	}
	return z
}
