// Package measure is the pipeline as one call: a photo in, an answer out.
package measure

// Status says how far a photo could be answered.
type Status string

// The three states of an answer.
const (
	Answered Status = "answered" // measured, and the size is trusted
	Unsure   Status = "unsure"   // measured, but the size is not certain
	Refused  Status = "refused"  // nothing could be measured; Reason and Advice say why and what to do
)

// Point is a point of the upright photo in pixels, x right, y down, counted
// from the top-left CORNER of the top-left pixel (the contract's convention).
type Point [2]float64

// Result is the answer for one photo. Its JSON form is the stable contract:
// fields are added, never renamed. Lengths are inches unless named otherwise.
type Result struct {
	Schema   int          `json:"schema"`
	Photo    string       `json:"photo"`
	Status   Status       `json:"status"`
	Reason   string       `json:"reason"`
	Advice   string       `json:"advice"`
	Part     string       `json:"part"`
	Ruler    *Ruler       `json:"ruler,omitempty"`
	Count    *Count       `json:"count,omitempty"`
	Pitch    *Pitch       `json:"pitch,omitempty"`
	Size     *Size        `json:"size,omitempty"`
	Budget   []BudgetLine `json:"budget,omitempty"`
	Order    string       `json:"order,omitempty"`
	Warnings []string     `json:"warnings"`
	TookMS   int64        `json:"took_ms"`
	// Combined is there in the answer for several photos of one part together,
	// and in no other.
	Combined *Combined `json:"combined,omitempty"`
	// ByHand names what a person set, in the order of the By… constants; the
	// rest was read in the photo.
	ByHand []string `json:"by_hand,omitempty"`

	// Evidence is what the overlay and the page draw; it is not part of the
	// contract's JSON.
	Evidence *Evidence `json:"-"`
}

// What a person can have set.
const (
	ByPart      = "part"
	ByUnit      = "unit"
	ByThickness = "ruler-thickness"
	ByDistance  = "camera-distance"
	ByScale     = "scale" // two points of the ruler and their distance
	ByBands     = "bands" // bands counted in or left out
)

// Ruler is the scale that was read.
type Ruler struct {
	Unit       string  `json:"unit"`      // "in" or "cm"
	Divisions  int     `json:"divisions"` // marks per unit
	PxPerInch  float64 `json:"px_per_inch"`
	SpanIn     float64 `json:"span_in"`
	TiltDeg    float64 `json:"tilt_deg"` // of the ruler's direction against the photo's horizontal
	Marks      []Mark  `json:"marks"`
	SecondUnit string  `json:"second_unit,omitempty"` // the other scale on the ruler, where it was read and agrees
}

// Mark is a whole-unit mark of the scale, on the tick line.
type Mark struct {
	Value float64 `json:"value"` // in the scale's own unit, from the first mark found
	At    Point   `json:"at"`
}

// Count is what a person with a finger and a ruler would have found.
type Count struct {
	Dents     int     `json:"dents"`
	OverIn    float64 `json:"over_in"`
	InOneInch Range   `json:"in_one_inch"`
	Missing   int     `json:"missing"`
	Bent      int     `json:"bent"`
}

// Range is a closed interval.
type Range struct {
	Min float64 `json:"min"`
	Max float64 `json:"max"`
}

// Pitch is the measured dents per inch at the plane of the wires.
type Pitch struct {
	DentsPerInch float64 `json:"dents_per_inch"`
	U            float64 `json:"u"` // standard uncertainty (k = 1, JCGM 100) of DentsPerInch
	DentsPer10CM float64 `json:"dents_per_10cm"`
	// K95 times U is half of an interval that holds the truth in 95 of 100 cases
	// (Student's t for the effective degrees of freedom DoF; DoF is 0 where those
	// are past counting). Interval95 is that interval with its true shape: where
	// the ruler's thickness is not told it need not lie evenly about DentsPerInch.
	K95        float64 `json:"k95,omitempty"`
	DoF        float64 `json:"dof,omitempty"`
	Interval95 *Range  `json:"interval_95,omitempty"`
}

// Half95 is half of the 95 % interval about DentsPerInch; with k = 2 where no
// factor was worked out.
func (p Pitch) Half95() float64 {
	if p.K95 > 0 {
		return p.K95 * p.U
	}
	return 2 * p.U
}

// SizeChoice is one made size with the probability that it is the true one.
type SizeChoice struct {
	Label        string  `json:"label"`
	System       string  `json:"system"` // "inch", "metric", a trade count by its name, or "none"
	DentsPerInch float64 `json:"dents_per_inch"`
	Confidence   float64 `json:"confidence"`
}

// Size is the dent size that is believed, and what else it could be.
type Size struct {
	SizeChoice
	Others []SizeChoice `json:"others"`
}

// BudgetLine is one source of uncertainty of the pitch.
type BudgetLine struct {
	Source    string  `json:"source"`
	RelativeU float64 `json:"relative_u"` // standard uncertainty relative to the pitch
	// DoF is its degrees of freedom; 0 where it is not in doubt itself.
	DoF  float64 `json:"dof,omitempty"`
	Note string  `json:"note,omitempty"`
}

// BandState says what a counted place along the ruler turned out to be.
type BandState string

// What a place along the ruler can be.
const (
	BandGood    BandState = "good"     // counted and used for the pitch
	BandBent    BandState = "bent"     // counted, off its place, left out of the fit
	BandMissing BandState = "missing"  // a place with no wire
	BandHidden  BandState = "hidden"   // covered by yarn, glare or a label
	BandByHand  BandState = "by-hand"  // counted in by a person
	BandLeftOut BandState = "left-out" // left out by a person
)

// Band is one reed wire (or one slot or hole of a rigid heddle) at the ruler's edge.
type Band struct {
	Index   int       `json:"index"`  // whole number of dents from the first band
	At      Point     `json:"at"`     // on the tick line
	Toward  Point     `json:"toward"` // a second point of the band, away from the ruler
	AlongIn float64   `json:"along_in"`
	Kind    string    `json:"kind"` // "wire", "slot", "hole"
	State   BandState `json:"state"`
}

// Evidence is the geometry behind an answer, for pictures and for mending by hand.
type Evidence struct {
	TickLine []Point `json:"tick_line"` // along the marked edge, first point at the scale's start
	Marks    []Mark  `json:"marks"`     // every mark read, value in the scale's unit
	OneInch  []Point `json:"one_inch"`  // two points of the tick line one inch apart
	Bands    []Band  `json:"bands"`
	SizePx   [2]int  `json:"size_px"` // width, height of the upright photo
	// ReadRight is the chance that the photo was read right at all, reckoned from
	// Features; the confidence is that times what the pitch says of the sizes.
	ReadRight float64   `json:"read_right"`
	Features  []Feature `json:"features"`
}
