package vision

import (
	"context"

	"dentcount/photo"
)

// EndsOf names what the ends are looked for of.
type EndsOf string

// What has ends.
const (
	EndsOfReed        EndsOf = "reed"         // outer faces of the end caps
	EndsOfSley        EndsOf = "sley"         // middles of the first and the last wire
	EndsOfHeight      EndsOf = "reed-height"  // outer edges of the baulks
	EndsOfBars        EndsOf = "heddle-bars"  // outer edges of two heddle bars
	EndsOfString      EndsOf = "string"       // the knots of a string heddle
	EndsOfRigidHeddle EndsOf = "rigid-heddle" // outer edges of its first and last slot
	EndsOfWire        EndsOf = "wire"         // the ends of one wire heddle
)

// Ends are the two ends of a thing found in a photo.
type Ends struct {
	At [2][2]float64 // OpenCV pixels
	// LengthIn is the distance between the ends square to them, in the plane of
	// the ruler's face; UIn the standard uncertainty of finding them there.
	LengthIn, UIn float64
	// Probability that the right things were taken for the ends.
	Probability float64
	// UnderRuler says whether the ruler lies on the thing, not beside it.
	UnderRuler bool
	// Plane is that of the ruler's face, bettered by parallel lines of the part.
	Plane Plane
	// Eye is the pair of ends of a string heddle's eye, where EyeIn > 0.
	Eye         [2][2]float64
	EyeIn, EyeU float64
	// SpacingIn is the spacing of the wires or slots in the plane of the ruler's
	// face, SpacingU its standard uncertainty; 0: not told. DentsPerSpacing is
	// how many dents it stands for: one of a reed, two from slot to slot.
	SpacingIn, SpacingU, DentsPerSpacing float64
	// FieldIn is how far the wires or slots are seen along their own direction, in
	// the plane of the ruler's face; 0: not told. Where UnderRuler, the ruler may
	// hide more of them.
	FieldIn float64
	// Wires is how many wires or slots stand between the ends, 0: not counted.
	Wires int
}

// FindEnds looks for the ends. found is false where there are none to be seen;
// positions are OpenCV
// pixels of img.
func FindEnds(ctx context.Context, img photo.Colour, pl Plane, of EndsOf) (e Ends, found bool, err error) {
	if err := ctx.Err(); err != nil {
		return e, false, err
	}
	switch of {
	case EndsOfHeight:
		e, found = findHeight(img, pl)
	case EndsOfRigidHeddle:
		e, found = findSlots(img, pl)
	case EndsOfWire:
		e, found = findWire(img, pl)
	case EndsOfBars:
		e, found = findBars(img, pl)
	case EndsOfReed:
		e, found = findReedEnds(img, pl)
	case EndsOfSley:
		e, found = findSley(img, pl)
	case EndsOfString:
		e, found = findString(img, pl)
	}
	if found && e.Plane.G == 0 {
		e.Plane = pl
	}
	return e, found, ctx.Err()
}
