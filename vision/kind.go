package vision

import (
	"math"
	"math/cmplx"

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
	cues        []Cue
}

const (
	finestSlots = 8.0 // per inch
	// turnsStated is the probability of a rigid heddle where its slots and holes are
	// seen in turn: of 15 drawn photos that were read so, 12 showed one.
	turnsStated = 0.8
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
func kindOf(p photo.Plane, s calib.Scale, l lean, t tone, ppi float64, a *arcs, told Kind) kindRead {
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
			k = coarseKind(p, s, l, t, ppi, a, under)
		// The edge lies in the zone of holes: beyond it the tone halves.
		case halves(under, ppi):
			k.kind, k.probability = RigidHeddle, turnsStated
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
func coarseKind(p photo.Plane, s calib.Scale, l lean, t tone, ppi float64, a *arcs, under []window) kindRead {
	mid := (s.Lo + s.Hi) / 2
	skew := l.at(mid) - s.ShearAt(mid)
	var clearest, middle float64
	look := func(ws []window, under bool) {
		h, m := searchHoles(ws, under, skew, ppi)
		clearest, middle = math.Max(clearest, h), math.Max(middle, m)
	}
	look(under, true)
	for _, b := range beyond(p, s, ppi) {
		look(tonesOf(p, s, b, reachIn, l, t, ppi), false)
	}
	cues := kindCues(a, clearest, middle, t.PerInch)
	if clearest < halvesHidden && halves(under, ppi) {
		return turnsOrWires(cues)
	}
	return slotsOrWires(cues)
}

// halves tells whether the bands are slots and holes in turn: in the rows that
// both cross, the tone of half the frequency is missing; in the rows of slots
// alone it is as strong as the tone itself, for a slot is narrow. Wires that
// differ from each other carry that tone, too, but from baulk to baulk.
func halves(windows []window, ppi float64) bool {
	yes := 0
	for _, w := range windows {
		if both, alone := turns(w.tonal(), ppi); both >= 3 && alone >= 4 {
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
		if a := math.Max(cmplx.Abs(z.one), z.half); level == 0 {
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
		one := cmplx.Abs(rows[i-1].one) + cmplx.Abs(rows[i].one) + cmplx.Abs(rows[i+1].one)
		half := rows[i-1].half + rows[i].half + rows[i+1].half
		runBoth, runAlone = runBoth+1, runAlone+1
		if half > without*one {
			runBoth = 0
		}
		if half < with*one {
			runAlone = 0
		}
		both, alone = max(both, runBoth), max(alone, runAlone)
	}
	return both, alone
}
