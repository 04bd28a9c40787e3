package measure

import (
	"context"
	"fmt"
	"math"
	"slices"

	"dentcount/calib"
	"dentcount/fit"
	"dentcount/trade"
	"dentcount/vision"
)

// mayBeNoPart is the most that a reading is trusted with whose bands do not end as
// those of a part do, stand as far apart as the ruler's own marks, or are hardly coarser
// than the pixels. A stated prior, no source.
const mayBeNoPart = 0.5

// What to do about bands that may be no part's: say what it is, or show how they end.
const (
	sayWhich = "if it is a reed or a rigid heddle all the same, say which (--part reed)"
	showBars = "take the photo again so that the part's bars are seen; " + sayWhich
)

// noPart says why bands may be no reed's and no rigid heddle's, and what to do;
// empty where they end as those do. A person's word makes bands of any height a part.
func noPart(ruler calib.Ruler, b vision.Bands) (reason, advice string) {
	f := endsSeen(ruler, b)
	const unit = "; if the ruler was read in the wrong unit, say it (--unit in)"
	// Where bars are seen, a little less than parts are high may be the ruler's plane,
	// tilted; what a wrong unit makes of them is under 2.3 inches. In a row no longer than a
	// comb is it is more often teeth, whose free ends on a dark table look like a bar: of the
	// drawn photos between (judge, seeds 4626 to 4629) five show combs and one a reed.
	low := 0.0
	if b.RowIn() >= longestCombIn {
		low = 0.08
	}
	switch {
	case f.Teeth():
		return fmt.Sprintf("these look like the teeth of a comb: %.1f inches long and free at one end, where a reed has a bar", f.HighIn), sayWhich + unit
	case f.Short() > low:
		return fmt.Sprintf("what crosses the ruler is only %.1f inches high, lower than reeds are", f.HighIn), sayWhich + unit
	case f.Tall() > 0:
		return fmt.Sprintf("what crosses the ruler runs on over %.1f inches, higher than reeds are: ribbed cloth, perhaps", math.Floor(10*f.LeastIn)/10), sayWhich + unit
	case f.AslantRad-f.AslantU > mostAslantRad:
		return fmt.Sprintf("what crosses the ruler runs %.0f° off square to the lines it ends in, as wires do not", f.AslantRad*180/math.Pi),
			"take the photo again from nearer, sharp, and with more of the wires between ruler and bar"
	}
	return "", ""
}

// mostAslantRad is the most that wires and slots are off square to the bars they end in,
// as that is seen: of 247 drawn parts (seed 5122) one more was misread by a seventh and 0.22
// off, the next was 0.09 off. Moiré runs where the pixels let it (one drawn was 0.12 off),
// and bands whose lean was misread are misplaced.
const mostAslantRad = 0.11

// endless says that bands are not seen to end at either side. Of 2,600 drawn photos of
// seeds 4751, 4752 and 4801 five such ones with a spacing of no made size were answered
// with confidence: two of parts and three of corduroy.
func endless(f vision.Field) bool { return f.Ends == 0 && !f.Told }

// Bounds between wires and the ribs of a cloth: how far they wander, as a share of
// their spacing, and how alike they are all along. Of 69 drawn corduroys that were read
// (seeds 4801 to 4803 and 4931) one wanders less than ribsWander, which is as rough as
// 0.52; of 16 drawn reeds without ends that are read right one is beyond both.
const (
	wiresWander = 0.006
	ribsWander  = 0.008
	wiresAlike  = 0.92
	// Few wires seem to wander as far as this, most drawn corduroys do (seed 4931); bands
	// that do are a cloth's however alike they are, for where little of their length is seen
	// a cloth's are alike, too. Of 105 parts without ends that were answered (judge, seeds
	// 4626 to 4630) none wanders so far.
	plainlyWander = 0.02
)

// ribs says that bands may well be the ribs of a cloth: they are not seen to end, they
// wander, and they are rough along or wander plainly. Slots' walls make them seem to wander,
// too, so that slots are ribs only where it is not plain that they are slots.
func ribs(b vision.Bands) bool {
	f := b.Field
	return endless(f) && !plainSlots(b) && (f.Waves > plainlyWander || f.Waves > ribsWander && b.Coherence < wiresAlike)
}

// plainSlots says that it is plain that bands are slots: of 14 drawn rigid heddles without
// ends (seeds 4901 and 5001) it was, to 0.94 and more, of most to 0.99, and of 59 corduroys
// (seed 5439) to 0.95 at most.
func plainSlots(b vision.Bands) bool {
	const plain = 0.97
	return b.Kind == vision.RigidHeddle && b.KindProbability >= plain
}

// thirds says that something stands out the most at a third of the bands' spacing or finer, as
// slots with holes halfway between them seldom do where those holes are not seen: of ribs of
// which every third was counted (judge, seed 4636) it was plain to 0.98 that they are slots.
func thirds(b vision.Bands) bool {
	const third, half = 1.0 / 3, 1.0 / 2
	return b.FinestPx < (third+half)/2*b.PxPerBand && !b.HolesPlain()
}

// plainHoles says that slots with holes between them are seen so plainly that they cannot be
// the ribs of a cloth, even if they seem to run on past the part: a table's pattern or its
// bars' own may look like it. Of some 130 drawn cloths, rulers alone and moirés (judge, seeds
// 4612 to 4616; fit, four seeds) none shows such holes, and of 16 rigid heddles that seem to
// run on 10 do. Slots and holes that were counted in turn are plain where they are plain slots.
func plainHoles(ruler calib.Ruler, b vision.Bands) bool {
	return noComb(ruler, b) && (b.HolesPlain() || b.DentsPerBand == 1)
}

// noComb says that it is plain that bands are slots with holes between them, as combs have
// none, on a ruler whose unit is sure: then ends that seem too near, or free, are misread.
// Of 94 combs that were read on drawn photos (ranges fit, eleven seeds from 4751 to 5501) none
// was taken for a rigid heddle, and of 20 rigid heddles that seemed to be one, or to end in
// nothing, all whose slots are plain were read right.
func noComb(ruler calib.Ruler, b vision.Bands) bool {
	return plainSlots(b) && (ruler.Scale.Divisions != tenths || ruler.UnitProbability >= unitSure)
}

// endsSeen is how bands end, as far as that may count against their being a part's: how high
// they are is not known where another ruler lies across them, whose edge may be what they
// seem to end in. On bars that are wound with cord the turns may look like plain slots
// that run on: three drawn rigid heddles that seemed too high by no more than their bars (judge,
// seeds 4626 and 4627) were read right.
func endsSeen(ruler calib.Ruler, b vision.Bands) vision.Field {
	const barsIn = 1.5 // both of them (common practice, no source)
	f := b.Field
	if noComb(ruler, b) {
		f.HighIn, f.Free = 0, 0
		if ruler.UnitProbability >= unitSure {
			f.LeastIn = math.Max(math.Min(f.LeastIn, vision.HighestIn), f.LeastIn-barsIn)
		}
	}
	if plainHoles(ruler, b) {
		f.LeastIn = math.Min(f.LeastIn, vision.HighestIn)
	}
	if ruler.Other != nil || f.Covered {
		f.HighIn = 0
	}
	return f
}

// plainWires says that bands are as straight and as smooth as no cloth's ribs are.
func plainWires(b vision.Bands) bool {
	return b.Kind == vision.Reed && b.Field.Waves < wiresWander && b.Coherence >= wiresAlike
}

// folded says whether bands stand as far apart as the moiré of wires of a made size: pixels
// take P samples an inch, and f wires an inch, finer than two pixels, come back as P - f
// (Shannon 1949). Only photos from so far that an inch has hardly more pixels than the finest
// reed has wires, 30, can show such.
func folded(b vision.Bands) bool {
	const near = 0.01 // of P, which perspective changes along a row
	pxPerInch := b.PxPerBand * b.PerInch
	return slices.ContainsFunc(trade.Sizes(trade.PartReed), func(s trade.MadeSize) bool {
		return math.Abs(pxPerInch-b.PerInch-s.PerInch) < near*pxPerInch
	})
}

// ofNoSize says why bands of which c is the likeliest size may be no part's, and what to
// do: they stand as far apart as those of no made size, and much farther than any, or as the
// moiré of a made one would, or their ends are not seen, or they are not seen as far as parts
// are high, or free at one end and no longer than teeth, or a little lower, or as uneven as
// grain; empty else. From near a comb's teeth reach over the picture's edge: of 190
// drawn from 120 to 190 mm (seeds 5434 and 5435) both without another cue would have been
// answered, and of 133 parts (seed 5437) that are not seen as far one is a reed.
func ofNoSize(b vision.Bands, c fit.Choice) (reason, advice string) {
	// Of some 150 photos of parts, drawn by two renderers, two stand more unevenly, by 0.13
	// and 0.14 of their spacing, both of a made size; the bands of two drawn boards (seed
	// 5201) by 0.13. Of the boards that stand as unevenly (judge, seeds 4613 to 4616; fit, four
	// seeds) the strongest has a contrast of 7; of eleven reeds of no made size that do ten
	// have 13 and more, and both ends of all are seen.
	const mostUneven = 0.11
	// What is coarser than this times the coarsest made size is none (common practice, no
	// source: reeds of 4 an inch, a few of 3, are the coarsest, for rugs). Of the drawn photos
	// of judge's seeds 4611 to 4619 and fit's 5805 six were read so with 0.5 and more, all of
	// them wrong, and two would have been answered: one shows moiré.
	const coarser = 0.75
	switch {
	case c.Label != fit.None || b.Field.Told:
		return "", ""
	case c.PerInch < coarser*trade.Sizes(string(b.Kind))[0].PerInch:
		return fmt.Sprintf("no reed or heddle is made as coarse as what was counted, %.1f dents per inch: it may be an artefact of the pixels, or a pattern", c.PerInch),
			goNearer + "; " + sayWhich
	case folded(b):
		return "no reed or heddle is made with its spacing, and wires of a made size, too fine for so few pixels, would look like it: it may be their artefact",
			goNearer + "; " + sayWhich
	case endless(b.Field) && !plainWires(b) && !plainSlots(b):
		return "neither end of what crosses the ruler is seen, and no reed or heddle is made with its spacing: it may be ribbed cloth", showBars
	case b.Field.Ends == 1 && b.Field.EndsFreely() && !plainWires(b) && (!plainSlots(b) || thirds(b)):
		return "what crosses the ruler ends in no bar that is seen, and no reed or heddle is made with its spacing: it may be ribbed cloth", showBars
	case b.Kind == vision.Reed && b.Field.Ends < 2 && b.Field.LeastIn < vision.LowestIn && b.RowIn() < longestCombIn:
		return fmt.Sprintf("less than %.1f inches of what crosses the ruler are seen, not both of its ends, and no reed is made with its spacing: it may be a comb", vision.LowestIn), showBars
	case b.Kind == vision.Reed && b.Field.EndsFreely() && b.Field.HighIn > 0 && toothLike(b.Field.HighIn) > 0 && b.RowIn() < longestCombIn:
		return fmt.Sprintf("what crosses the ruler is %.1f inches high and seems to be free at one end, and no reed is made with its spacing: it may be a comb", b.Field.HighIn), showBars
	case b.Field.Short() > 0:
		return fmt.Sprintf("what crosses the ruler is only %.1f inches high, and no reed or heddle is made with its spacing: it may be a comb", b.Field.HighIn), showBars
	case b.ScatterIn*b.PerInch > mostUneven && (b.Field.Ends < 2 || b.Contrast < faintest):
		return "what crosses the ruler stands unevenly, and no reed or heddle is made with its spacing: it may be the grain of wood", showBars
	}
	return "", ""
}

// longestCombIn is what no comb's teeth reach along (common practice, no source).
const longestCombIn = 10.0

// highestReedIn is how high reeds are at most between their bars; the slots of rigid
// heddles are higher (common practice, no source).
const highestReedIn = 6.0

// likeHeight is how likely bands as high as these are seen to be are those of a part, if
// its inches are really so many times as long: 1 where parts are as high. A comb's teeth
// may be as low as they are, where mayBeComb.
func likeHeight(b vision.Bands, times float64, mayBeComb bool) float64 {
	f := b.Field
	// Heights are seen to a tenth or so, as the ruler's plane may tilt. Ends are
	// misread now and then. More bands that look low are a comb's; what seems to end in
	// nothing at one side most of all. All stated, no source.
	const doubt, combs, teeth = 0.1, 0.03, 0.5
	off := 0.0
	h := f.HighIn * times
	if h > 0 {
		off = math.Max(off, math.Log(vision.LowestIn/h))
	}
	highest := vision.HighestIn
	if b.Kind == vision.Reed {
		highest = highestReedIn
	}
	if l := f.LeastIn * times; l > 0 {
		off = math.Max(off, math.Log(l/highest))
	}
	least, free := endsMisread, 0.0
	if mayBeComb {
		least, free = combs, teeth*f.Free*toothLike(h)
	}
	return math.Max(least+(1-least)*math.Exp(-off*off/(2*doubt*doubt)), free)
}

// toothLike is how far what is so many inches high may be teeth, 1…0: they are up to 2.8
// inches long, some to spare for the ruler's plane, which may be tilted; from longest on
// none are (common practice, no source). Seen before it was set: a drawn comb that looked
// 2.54 inches high, reeds from 2.76 on.
func toothLike(highIn float64) float64 {
	const long, longest = 2.8, 3.4
	return math.Min(math.Max((longest-highIn)/(longest-long), 0), 1)
}

// tenths are the divisions that look alike of inches and of centimetres.
const tenths = 10

// besideInUnit looks for bands beside a ruler beside which there are none in its own unit,
// where tenths of an inch may have been taken for millimetres or the other way round: slots
// that are coarse in one are coarser than any in the other.
func (k *Kept) besideInUnit(ctx context.Context, r calib.Ruler, opt Options) (calib.Ruler, vision.Bands, bool, error) {
	const beyondDoubt = 0.97 // a stated one; from there on the unit is not left open
	if opt.Unit != "" || r.Scale.Divisions != tenths || r.UnitProbability >= beyondDoubt {
		return r, vision.Bands{}, false, nil
	}
	r2, b, found, err := k.bandsInOther(ctx, r, opt)
	if err != nil || !found || askew(b) {
		return r, vision.Bands{}, false, err
	}
	return r2, b, true, nil
}

// bandsInOther are a ruler of tenths read in the other unit, and the bands beside it; found is
// false where it cannot be read so, or there are none.
func (k *Kept) bandsInOther(ctx context.Context, r calib.Ruler, opt Options) (o calib.Ruler, b vision.Bands, found bool, err error) {
	unit, _ := otherUnit(r.Scale.Unit)
	if o, found, err = r.InUnit(k.gray, unit); err != nil || !found {
		return o, b, false, err
	}
	b, found, err = vision.FindBands(ctx, k.gray, o.Scale, k.bandOptions(opt))
	return o, b, found, err
}

// otherUnit is the unit that tenths of one may be taken for, and how many times as long
// things are in it.
func otherUnit(u calib.Unit) (other calib.Unit, times float64) {
	if u == calib.Inch {
		return calib.CM, calib.CM.Inches() / calib.Inch.Inches()
	}
	return calib.Inch, calib.Inch.Inches() / calib.CM.Inches()
}

// heedTwofold is the probability that the inch is right of a ruler whose inches are halved
// again and again, given how high a reed is between its bars, or at least is: a mark of half
// an inch may have been taken for an inch's, or the other way round, so that all is twice as
// long as it seems or half. It never says more for the unit than the marks do.
func heedTwofold(p float64, b vision.Bands) float64 {
	if b.Kind != vision.Reed || b.Field.Told || b.Field.Covered {
		return p
	}
	// Reeds are some 3 to 5 inches high between their bars (common practice, no source).
	const usualIn, spread = 4.0, 0.22
	over := func(highIn float64) float64 { return math.Log(highIn/usualIn) / spread }
	like := func(times float64) float64 {
		if h := b.Field.HighIn; h > 0 {
			return math.Exp(-over(h*times) * over(h*times) / 2)
		}
		// What seems to run on past a bar is misread now and then.
		return endsMisread + (1-endsMisread)*math.Erfc(over(b.Field.LeastIn*times)/math.Sqrt2)/2
	}
	was, is := like(1)*p, math.Max(like(0.5), like(2))*(1-p)
	return math.Min(p, was/(was+is))
}

// endsMisread is how often the ends of bands are misread. A stated prior.
const endsMisread = 0.003

// heedHeight weighs by the height of the bands whether tenths of an inch were taken
// for millimetres, or the other way round: what is 4 inches high in one is 1.6 or
// 10 in the other. It gives the likelier reading, or this one where the ruler
// cannot be read in the other unit, with its probability.
func (k *Kept) heedHeight(ctx context.Context, r calib.Ruler, b vision.Bands, opt Options) (calib.Ruler, vision.Bands, error) {
	if opt.Unit != "" || b.Field.LeastIn == 0 {
		return r, b, nil
	}
	if r.Scale.Divisions != tenths {
		r.UnitProbability = heedTwofold(r.UnitProbability, b)
		return r, b, nil
	}
	_, times := otherUnit(r.Scale.Unit)
	was, is := likeHeight(b, 1, true)*r.UnitProbability, likeHeight(b, times, true)*(1-r.UnitProbability)
	r.UnitProbability = was / (was + is)
	if was >= is && b.Field.Short() == 0 {
		return r, b, nil
	}
	r2, b2, found, err := k.bandsInOther(ctx, r, opt)
	if err != nil || !found {
		return r, b, err
	}
	if plainSlots(b2) { // holes no comb has
		was *= likeHeight(b, 1, false) / likeHeight(b, 1, true)
		r.UnitProbability, r2.UnitProbability = was/(was+is), is/(was+is)
		if is > was {
			return r2, b2, nil
		}
	}
	// What ends in nothing at one side as far as can be told is a comb's teeth, and no
	// reed's for being higher.
	const plainlyFree = 0.5
	if was >= is || b2.Field.Free >= b.Field.Free && b.Field.Free > plainlyFree && toothLike(b.Field.HighIn) > 0 {
		return r, b, nil
	}
	return r2, b2, nil
}
