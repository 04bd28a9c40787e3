package measure

// What names the length that is asked for.
type What string

// The lengths that can be asked for.
const (
	ReedLength    What = "reed-length"     // outer face of one end cap to that of the other
	SleyWidth     What = "sley-width"      // middle of the first wire to the middle of the last
	ReedHeight    What = "reed-height"     // outer edge of one baulk to that of the other
	HeddleBarSpan What = "heddle-bar-span" // outer edge of one heddle bar to that of the other
	StringHeddle  What = "string-heddle"   // middle of one end knot to the middle of the other
	HeddleWidth   What = "heddle-width"    // rigid heddle: outer edge of the first slot to that of the last
	WireHeddle    What = "wire-heddle"     // a wire heddle itself, end to end
)

// Lengths lists every What, in the order they are told to people.
func Lengths() []What {
	return []What{ReedLength, SleyWidth, ReedHeight, HeddleBarSpan, StringHeddle, HeddleWidth, WireHeddle}
}

// LengthOptions are the facts a person adds to a photo of a length.
type LengthOptions struct {
	// What is asked for; it must be one of Lengths.
	What What
	// Ends are the two ends as a person set them; nil: found in the photo.
	Ends *[2]Point
	// RulerThicknessMM is the height of the ruler's marked face above what it
	// lies on; 0: not told (a stated prior is used).
	RulerThicknessMM float64
	// MarksAboveMM is how far the marks lie above the two ends, nearer to the
	// camera; negative: below them. nil: reckoned from the thickness and from
	// where the ruler lies.
	MarksAboveMM *float64
	// CameraDistanceMM is the distance from the camera to the ruler; 0: from
	// EXIF focal length and scale, else a stated prior.
	CameraDistanceMM float64
	// Unit, when not empty, is the ruler's unit said by a person: "in" or "cm".
	Unit string
	// DebugDir, when not empty, gets a stages.json with times and counts.
	DebugDir string
}

// LengthValue is a measured length. U is its standard uncertainty in inches
// (k = 1, JCGM 100).
type LengthValue struct {
	In float64 `json:"in"`
	U  float64 `json:"u"`
	MM float64 `json:"mm"`
}

func lengthValue(in, u float64) LengthValue { return LengthValue{In: in, U: u, MM: in * 25.4} }

// NominalChoice is a made size with the probability that it is the one.
type NominalChoice struct {
	Label      string  `json:"label"`
	In         float64 `json:"in"`
	Confidence float64 `json:"confidence"`
}

// Nominal is the made size a length stands for, and what else it could be.
type Nominal struct {
	NominalChoice
	Others []NominalChoice `json:"others"`
}

// LengthResult is the answer about one length. Its JSON form is part of the
// contract: fields are added, never renamed. Points are the contract's.
type LengthResult struct {
	Schema int    `json:"schema"`
	Photo  string `json:"photo"`
	Status Status `json:"status"`
	Reason string `json:"reason"`
	Advice string `json:"advice"`
	What   What   `json:"what"`

	Length *LengthValue `json:"length,omitempty"`
	// Confidence is the probability that Length is right to the larger of
	// 1/16 in and half a percent.
	Confidence float64      `json:"confidence"`
	Ends       []Point      `json:"ends,omitempty"`
	EndsByHand bool         `json:"ends_by_hand,omitempty"`
	Eye        *LengthValue `json:"eye,omitempty"` // string heddle
	Wires      int          `json:"wires,omitempty"`
	Ruler      *Ruler       `json:"ruler,omitempty"`
	Nominal    *Nominal     `json:"nominal,omitempty"`
	Budget     []BudgetLine `json:"budget,omitempty"` // relative to the length
	Warnings   []string     `json:"warnings"`
	TookMS     int64        `json:"took_ms"`

	// Joined are the photos of a length that was put together from several; the
	// first end lies in the first of them, the second in the last.
	Joined []Joint `json:"joined,omitempty"`

	// Evidence is what the overlay draws; it is not part of the JSON.
	Evidence *Evidence `json:"-"`
}
