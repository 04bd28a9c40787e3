package measure

import (
	"context"
	"math"

	"dentcount/fit"
	"dentcount/trade"
	"dentcount/vision"
)

// unitOpen is the least probability with which tenths are held against the sizes in the other
// unit, too: a stated one. Below it the marks leave nothing to be told by them.
const unitOpen = 0.03

// inOtherUnit is r in the other unit where tenths of an inch may be millimetres, or the
// other way round, and the photo leaves that open; nil else. What may be a comb's teeth or the
// ribs of a cloth is not looked at: in one of two units either may be as high as wires, and
// stand as those of a made size.
func (k *Kept) inOtherUnit(ctx context.Context, r Reading, opt Options) (*Reading, error) {
	open := 1 - r.ruler.UnitProbability
	if r.no || opt.Unit != "" || !r.hand.none() || r.ruler.Scale.Divisions != tenths || open < unitOpen || mayBeTeeth(r) || mayBeCloth(r.bands) {
		return nil, nil
	}
	ruler, b, found, err := k.bandsInOther(ctx, r.ruler, opt)
	if err != nil || !found {
		return nil, err
	}
	ruler.UnitProbability = open
	o := k.readingOf(Reading{name: r.name, view: r.view, dbg: r.dbg}, ruler, b, found)
	if o.no {
		return nil, nil
	}
	return &o, nil
}

// mayBeTeeth says that bands end as a comb's teeth do, in the shorter of the two units.
func mayBeTeeth(r Reading) bool {
	f := r.bands.Field
	_, times := otherUnit(r.ruler.Scale.Unit)
	return f.Free > 0 || f.HighIn > 0 && toothLike(f.HighIn*math.Min(1, times)) > 0
}

// mayBeCloth says that bands are not seen to end and are no plain slots.
func mayBeCloth(b vision.Bands) bool { return endless(b.Field) && !plainSlots(b) }

// inLikelierUnit is r or r.inOther, whichever is likelier by their marks and heights and by
// the sizes made: a part is seldom of no made size, and one that is of one in the one unit
// is so in the other by chance. How sure it may make a unit is bounded: what was read may be
// right in neither.
func (r Reading) inLikelierUnit(opt Options) Reading {
	const most = 0.98 // less than unitSure: no near certainty rests on it
	o := *r.inOther
	this, ok := r.likelihood(opt)
	other, ok2 := o.likelihood(opt)
	if !ok || !ok2 {
		return r
	}
	r.inOther = nil
	p := this / (this + other)
	// It never says more for the unit that was read than the marks do.
	r.ruler.UnitProbability = math.Min(r.ruler.UnitProbability, p)
	o.ruler.UnitProbability = math.Min(most, 1-p)
	if other > this {
		return o
	}
	return r
}

// likelihood is how likely a reading is, by its unit and the sizes that are made; ok is false
// where it has no pitch.
func (r Reading) likelihood(opt Options) (l float64, ok bool) {
	p, err := fit.FindPitch(r.ruler.Scale, r.bands, r.viewWith(opt))
	if err != nil {
		return 0, false
	}
	return r.ruler.UnitProbability * p.Density(trade.Sizes(string(r.bands.Kind)), 1), true
}
