package measure

// Part is the kind of thing that is measured.
type Part string

// The parts the main job knows. The empty Part means: tell it from the photo.
const (
	Reed        Part = "reed"
	RigidHeddle Part = "rigid-heddle"
)

// Options are the facts a person adds to a photo. The zero value means: nothing told.
type Options struct {
	// Part is what is photographed; empty: told from the photo.
	Part Part
	// RulerThicknessMM is the height of the ruler's marked face above the
	// wires it lies on; 0: not told (a stated prior is used).
	RulerThicknessMM float64
	// CameraDistanceMM is the distance from the camera to the ruler; 0: from
	// EXIF focal length and scale, else a stated prior.
	CameraDistanceMM float64
	// WithoutSideFace leaves the ruler's side face in the photo unheeded, to judge
	// what heeding it gains.
	WithoutSideFace bool
	// Unit, when not empty, is the ruler's unit said by a person: "in" or "cm".
	Unit string
	// Hand holds what a person set by hand on the picture.
	Hand Hand
	// DebugDir, when not empty, gets numbered pictures of each stage and a
	// stages.json with times and counts.
	DebugDir string
}

// Hand is what a person mended on the picture. The zero value changes nothing.
type Hand struct {
	// ScaleAt are two points on the ruler's edge; ScaleIn is the distance
	// between them in inches. Used where ScaleIn > 0.
	ScaleAt [2]Point
	ScaleIn float64
	// AddBands and DropBands are points near a band to count in, or to leave out.
	AddBands, DropBands []Point
}

// none says that nothing was set by hand.
func (h Hand) none() bool {
	return h.ScaleIn <= 0 && len(h.AddBands) == 0 && len(h.DropBands) == 0
}
