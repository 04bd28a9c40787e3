package scene

import (
	"errors"
	"fmt"
	"math"
)

// MMPerInch is the inch in millimetres, exact since the international yard and
// pound agreement of 1959.
const MMPerInch = 25.4

// RGB is a colour in linear light, 1 being a white sheet in plain light.
type RGB [3]float64

// dim is the colour k times as bright.
func dim(c RGB, k float64) RGB { return RGB{c[0] * k, c[1] * k, c[2] * k} }

// Spec describes one practice photo completely. It survives a round trip
// through JSON, and Draw depends on nothing else.
type Spec struct {
	// Seed feeds the small irregularities: wire scatter, textures, noise.
	Seed uint64 `json:"seed"`
	// Case names what kind of photo this is; Expect what a good reader does with it.
	Case   string `json:"case"`
	Expect Expect `json:"expect"`
	// Width and Height are the upright photo's, in pixels.
	Width  int `json:"width"`
	Height int `json:"height"`

	Part    Part     `json:"part"`
	Table   Table    `json:"table"`
	Rulers  []Ruler  `json:"rulers"` // the first is the one Truth speaks of
	Strands []Strand `json:"strands"`
	Light   Light    `json:"light"`
	Camera  Camera   `json:"camera"`
	Sensor  Sensor   `json:"sensor"`
	File    File     `json:"file"`
}

// Expect says what a good reader does with a photo.
type Expect string

// The three expectations.
const (
	ExpectAnswer         Expect = "answer"
	ExpectRefuse         Expect = "refuse"
	ExpectRefuseOrUnsure Expect = "refuse-or-unsure"
)

// PartKind is what lies under the ruler.
type PartKind string

// The kinds of part. Comb, corduroy and board are there to be refused.
const (
	NoPart      PartKind = "none"
	Reed        PartKind = "reed"
	RigidHeddle PartKind = "rigid-heddle"
	Comb        PartKind = "comb"
	Corduroy    PartKind = "corduroy"
	Board       PartKind = "board"
)

// Part is the reed, heddle or other thing under the ruler.
//
// Band k (a wire; in a heddle a slot where k is even, a hole where it is odd)
// has its centre at X0MM + k·pitch, moved by its scatter, for k in [0, Bands).
type Part struct {
	Kind         PartKind `json:"kind"`
	Label        string   `json:"label"`  // made size, or "none"
	System       string   `json:"system"` // "inch", "metric" or "off"
	DentsPerInch float64  `json:"dents_per_inch"`
	X0MM         float64  `json:"x0_mm"`
	Bands        int      `json:"bands"`
	// YLowMM and YHighMM are where the wires, or the slots, leave the baulks.
	YLowMM  float64 `json:"y_low_mm"`
	YHighMM float64 `json:"y_high_mm"`
	// DepthMM is a wire's or panel's extent from front to back.
	DepthMM float64 `json:"depth_mm"`
	// WireFraction is a wire's thickness over the pitch.
	WireFraction float64 `json:"wire_fraction"`
	// FrontRound is the radius of a wire's front corners over half its
	// thickness: 0 a sharp flat strip, 1 a full round.
	FrontRound float64 `json:"front_round"`
	// Scatter is the standard deviation of a band's place over the pitch.
	Scatter float64 `json:"scatter"`
	// TwistDeg is the standard deviation of a wire's turn about its own length.
	TwistDeg float64 `json:"twist_deg"`
	Missing  []int   `json:"missing"`
	Bends    []Bend  `json:"bends"`

	// Slots and holes of a rigid heddle; widths over the pitch.
	SlotFraction float64 `json:"slot_fraction"`
	HoleFraction float64 `json:"hole_fraction"`
	HoleLengthMM float64 `json:"hole_length_mm"`
	HoleYMM      float64 `json:"hole_y_mm"`
	RoundHoles   bool    `json:"round_holes"`
	BevelMM      float64 `json:"bevel_mm"` // broken edge along slots and holes

	Finish Finish `json:"finish"`
	Baulk  Baulk  `json:"baulk"`
	Caps   Caps   `json:"caps"`
}

// Bend is one bent wire: a bulge, or a lean along its whole length.
type Bend struct {
	Index    int     `json:"index"`
	ByMM     float64 `json:"by_mm"`
	AtYMM    float64 `json:"at_y_mm"`
	LengthMM float64 `json:"length_mm"`
	Lean     bool    `json:"lean"`
}

// Finish is the look of wires or of a panel.
type Finish struct {
	Colour  RGB     `json:"colour"`
	Varies  float64 `json:"varies"`    // from wire to wire, standard deviation
	Gloss   float64 `json:"gloss"`     // strength of the highlight
	RoughX  float64 `json:"rough_x"`   // width of the highlight across a wire, radians
	RoughY  float64 `json:"rough_y"`   // its extent along the wire, as a slope
	Rust    float64 `json:"rust"`      // share of the surface, 0 to 1
	Texture string  `json:"texture"`   // "plain", "wood" or "speckle"
	GapAO   float64 `json:"gap_light"` // how much light reaches the depth between wires, 0 to 1
}

// Baulk is the long bar at top and bottom; in a heddle, the frame's bars.
type Baulk struct {
	WidthMM  float64 `json:"width_mm"`
	AboveMM  float64 `json:"above_mm"` // front over z = 0
	Round    float64 `json:"round"`    // 0 a box, 1 half-round
	Colour   RGB     `json:"colour"`
	Gloss    float64 `json:"gloss"`
	Texture  string  `json:"texture"` // "plain", "wood", "speckle" or "cord"
	LowOnly  bool    `json:"low_only"`
	CordTilt float64 `json:"cord_tilt"`
}

// Caps are the end pieces.
type Caps struct {
	Low     bool    `json:"low"`  // before the first band
	High    bool    `json:"high"` // after the last one
	WidthMM float64 `json:"width_mm"`
	Colour  RGB     `json:"colour"`
}

// Table is what everything lies on, the plane z = -BelowMM.
type Table struct {
	BelowMM  float64 `json:"below_mm"`
	Pattern  string  `json:"pattern"` // "plain", "wood", "weave", "speckle", "grid", "corduroy"
	A        RGB     `json:"a"`
	B        RGB     `json:"b"`
	ScaleMM  float64 `json:"scale_mm"`
	AngleDeg float64 `json:"angle_deg"`
	Shadow   float64 `json:"shadow"` // strength of the part's shadow on it, 0 to 1
}

// Ruler is a rule or tape. Its own frame has s along and q across it, from its
// corner; the face is s in [0, LengthMM], q in [0, WidthMM].
type Ruler struct {
	Kind string `json:"kind"` // the scales in short: "in16", "mm", "in16+mm" …
	Look string `json:"look"` // "white", "yellow", "wood", "steel", "black", "transparent" …
	// XMM, YMM is where (s, q) = (MidMM, 0) lies; AngleDeg turns s from x.
	XMM      float64 `json:"x_mm"`
	YMM      float64 `json:"y_mm"`
	MidMM    float64 `json:"mid_mm"`
	AngleDeg float64 `json:"angle_deg"`
	LengthMM float64 `json:"length_mm"`
	WidthMM  float64 `json:"width_mm"`
	// BaseMM is the height of the underside, ThicknessMM of the face over it.
	BaseMM      float64 `json:"base_mm"`
	ThicknessMM float64 `json:"thickness_mm"`
	// CurvePerMM bends a soft tape in its own plane: one over the radius of
	// its middle line, positive towards +q. The middle line keeps its length.
	CurvePerMM float64 `json:"curve_per_mm"`
	// ScaleError is the ruler's own error: marks stand (1 + ScaleError) apart.
	ScaleError float64 `json:"scale_error"`
	// MarkScatterMM is the standard deviation of a mark's place.
	MarkScatterMM float64 `json:"mark_scatter_mm"`
	Scales        []Scale `json:"scales"`

	Face     RGB     `json:"face"`
	Side     RGB     `json:"side"`
	Ink      RGB     `json:"ink"`
	Texture  string  `json:"texture"` // "plain", "wood", "brushed", "speckle"
	Contrast float64 `json:"contrast"`
	See      float64 `json:"see_through"` // 0 opaque, 1 clear
	Wear     float64 `json:"wear"`        // share of the print worn off
	Gloss    float64 `json:"gloss"`
	Font     int     `json:"font"`
	Shadow   float64 `json:"shadow"`
}

// Scale is one row of marks along an edge of a ruler.
type Scale struct {
	Unit      string `json:"unit"` // "in" or "cm"
	Divisions int    `json:"divisions"`
	// FineUnits first units carry FineDivisions instead.
	FineUnits     int  `json:"fine_units"`
	FineDivisions int  `json:"fine_divisions"`
	HighEdge      bool `json:"high_edge"` // at q = WidthMM instead of q = 0
	// Value v stands at s = ZeroMM + v·unit, minus where Reverse is set.
	ZeroMM  float64 `json:"zero_mm"`
	Reverse bool    `json:"reverse"`
	First   int     `json:"first"` // first and last whole unit that is printed
	Last    int     `json:"last"`
	// LengthsMM are a mark's lengths by rank: unit, half, quarter … or unit,
	// five, tenth.
	LengthsMM []float64 `json:"lengths_mm"`
	// WidthMM is a mark's width; UnitWidthMM of the whole units' marks.
	WidthMM     float64 `json:"width_mm"`
	UnitWidthMM float64 `json:"unit_width_mm"`
	GapMM       float64 `json:"gap_mm"` // from the edge to where marks begin
	DigitMM     float64 `json:"digit_mm"`
	DigitAtMM   float64 `json:"digit_at_mm"`    // from the edge to the digits' near side
	DigitTurn   int     `json:"digit_turn"`     // quarter turns from reading along +s
	DigitShift  float64 `json:"digit_shift_mm"` // along s, from the mark to the digits' middle
	DigitEvery  int     `json:"digit_every"`    // units between numbers
}

// Strand is a yarn, a thread of lint or a finger: a rounded line in space.
type Strand struct {
	Kind     string       `json:"kind"`   // "yarn", "lint" or "finger"
	Points   [][3]float64 `json:"points"` // a smooth line through these, mm
	RadiusMM float64      `json:"radius_mm"`
	Colour   RGB          `json:"colour"`
	Over     bool         `json:"over"` // over the ruler, else under it
}

// Light is where light comes from.
type Light struct {
	// SlopeX and SlopeY point to the main light: its direction is (SlopeX, SlopeY, 1).
	SlopeX  float64 `json:"slope_x"`
	SlopeY  float64 `json:"slope_y"`
	Ambient float64 `json:"ambient"` // share of light from everywhere, 0 to 1
	GradX   float64 `json:"grad_x"`  // change of brightness over 100 mm
	GradY   float64 `json:"grad_y"`
	// A soft shadow, of a hand or a phone, darkens by Shade beyond a line at
	// ShadeAtMM from the aim, square to ShadeDeg, SoftMM wide.
	Shade     float64 `json:"shade"`
	ShadeAtMM float64 `json:"shade_at_mm"`
	ShadeDeg  float64 `json:"shade_deg"`
	SoftMM    float64 `json:"soft_mm"`
}

// Camera is a pinhole with a radial distortion.
type Camera struct {
	// F35 is the true 35 mm-equivalent focal length and Convention how it is
	// meant: "width" (focal length over the long side, times 36 mm) or
	// "diagonal" (over the diagonal, times 43.27 mm).
	F35        float64 `json:"f35"`
	Convention string  `json:"convention"`
	// DistanceMM is along the optical axis, from the pinhole to z = 0, which
	// the axis meets at (AimXMM, AimYMM).
	DistanceMM float64 `json:"distance_mm"`
	AimXMM     float64 `json:"aim_x_mm"`
	AimYMM     float64 `json:"aim_y_mm"`
	// TiltDeg leans the axis: [0] along the wires, about x; [1] along the
	// dents, about y. RollDeg then turns the camera clockwise about its axis.
	TiltDeg [2]float64 `json:"tilt_deg"`
	RollDeg float64    `json:"roll_deg"`
	// K1 is the relative radial shift at the corner; at most 2 % either way.
	K1 float64 `json:"k1"`
}

// Sensor is everything between the lens and the file's pixels.
type Sensor struct {
	BlurPx    float64 `json:"blur_px"` // standard deviation of the Gaussian lens blur
	Fill      float64 `json:"fill"`    // width of a pixel's sensitive square, 0 to 1; 0 means 1
	Exposure  float64 `json:"exposure"`
	Balance   RGB     `json:"balance"`  // gains of red, green, blue
	Contrast  float64 `json:"contrast"` // of the tone curve: 0 plain sRGB
	Shoulder  float64 `json:"shoulder"` // where highlights begin to be rolled off; 0 or 1: hard clipping
	Vignette  float64 `json:"vignette"` // darkening at the corner
	Veil      float64 `json:"veil"`     // stray light, added everywhere
	ReadNoise float64 `json:"read_noise"`
	ShotNoise float64 `json:"shot_noise"`
	// ChromaNoise is the standard deviation of the colour channels, 8-bit steps.
	ChromaNoise   float64 `json:"chroma_noise"`
	Sharpen       float64 `json:"sharpen"`
	SharpenRadius int     `json:"sharpen_radius"` // 1 or 2 pixels
	Glare         []Glare `json:"glare"`
}

// Glare is a patch of reflected light, an ellipse in the photo.
type Glare struct {
	// X and Y are the middle, RX and RY the radii, in pixels.
	X        float64 `json:"x"`
	Y        float64 `json:"y"`
	RX       float64 `json:"rx"`
	RY       float64 `json:"ry"`
	AngleDeg float64 `json:"angle_deg"`
	Strength float64 `json:"strength"`
	// OnRuler keeps it to the rulers' faces, where a little spills elsewhere.
	OnRuler bool `json:"on_ruler"`
}

// File is how the photo is stored.
type File struct {
	Orientation int `json:"orientation"` // EXIF: 1, 3, 6 or 8
	JPEGQuality int `json:"jpeg_quality"`
	// F35 is written as EXIF FocalLengthIn35mmFilm; 0 writes none.
	F35 int `json:"f35"`
	// NoEXIF leaves the whole block away; needs Orientation 1 and F35 0.
	NoEXIF bool `json:"no_exif"`
}

// ErrSpec is wrapped by every error about a Spec that cannot be drawn.
var ErrSpec = errors.New("scene: this scene cannot be drawn")

// maxPixels bounds a picture's size, to keep a wrong Spec from eating memory.
const maxPixels = 100e6

// maxMarks bounds the marks of one scale and the bands of one part.
const maxMarks = 100000

func bad(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrSpec, fmt.Sprintf(format, args...))
}

// PitchMM is the distance between the middles of two neighbouring dents; 0
// where the part has none.
func (p Part) PitchMM() float64 {
	if p.DentsPerInch <= 0 {
		return 0
	}
	return MMPerInch / p.DentsPerInch
}

// hasBands says whether the part carries dents, or teeth.
func (p Part) hasBands() bool {
	return p.Kind == Reed || p.Kind == RigidHeddle || p.Kind == Comb
}

// FocalPx is the focal length in pixels for a photo of the given size.
func (c Camera) FocalPx(width, height int) float64 {
	if c.Convention == "diagonal" {
		return c.F35 / 43.27 * math.Hypot(float64(width), float64(height))
	}
	return c.F35 / 36 * float64(max(width, height))
}

// Check says what is wrong with a Spec, or nil. Draw calls it first.
func (s Spec) Check() error {
	if s.Width < 16 || s.Height < 16 || s.Width%2 != 0 || s.Height%2 != 0 || float64(s.Width)*float64(s.Height) > maxPixels {
		return bad("its size is %d × %d; give even numbers, at least 16 × 16 and at most 100 megapixels", s.Width, s.Height)
	}
	c := s.Camera
	if !(c.F35 >= 5 && c.F35 <= 1000) || !(c.DistanceMM >= 20 && c.DistanceMM <= 1e5) {
		return bad("the camera has f35 %g mm at %g mm; give 5 to 1000 mm at 20 mm to 100 m", c.F35, c.DistanceMM)
	}
	if !(math.Abs(c.TiltDeg[0]) <= 45 && math.Abs(c.TiltDeg[1]) <= 45) || !(math.Abs(c.K1) <= 0.02) || !(math.Abs(c.RollDeg) <= 1e4) {
		return bad("tilt %v°, roll %g° or k1 %g is out of range (45°, any turn, 0.02)", c.TiltDeg, c.RollDeg, c.K1)
	}
	if p := s.Part; p.hasBands() {
		if !(p.DentsPerInch >= 0.5 && p.DentsPerInch <= 200) || p.Bands < 1 || p.Bands > maxMarks {
			return bad("the part has %g dents per inch and %d bands; give 0.5 to 200 and 1 to %d", p.DentsPerInch, p.Bands, maxMarks)
		}
		if !(p.DepthMM >= 0 && p.DepthMM <= 50) || !(p.YHighMM > p.YLowMM) {
			return bad("the part is %g mm deep from y = %g to %g mm; give 0 to 50 mm and a high end above the low one", p.DepthMM, p.YLowMM, p.YHighMM)
		}
	}
	if !(s.Table.BelowMM > 0) {
		return bad("the table is %g mm below the wires; give more than 0", s.Table.BelowMM)
	}
	for _, r := range s.Rulers {
		if !(r.LengthMM > 0 && r.WidthMM > 0 && r.ThicknessMM >= 0 && r.ThicknessMM < 100) || !(math.Abs(r.CurvePerMM)*r.LengthMM < 1) {
			return bad("a ruler is %g × %g × %g mm, bent by %g per mm; give sizes above 0 and less than one radian of bend", r.LengthMM, r.WidthMM, r.ThicknessMM, r.CurvePerMM)
		}
		for _, sc := range r.Scales {
			if sc.Unit != "in" && sc.Unit != "cm" {
				return bad("a scale is in %q; give in or cm", sc.Unit)
			}
			if sc.Divisions < 1 || sc.Divisions > 100 || sc.FineDivisions < 0 || sc.FineDivisions > 100 || sc.Last < sc.First || sc.Last-sc.First > maxMarks/100 || len(sc.LengthsMM) == 0 {
				return bad("a scale has %d divisions from %d to %d with %d mark lengths; give 1 to 100, a last unit past the first, and at least one length", sc.Divisions, sc.First, sc.Last, len(sc.LengthsMM))
			}
		}
	}
	if b := s.Sensor.BlurPx; !(b >= 0 && b <= 60) || !(s.Sensor.Exposure > 0) {
		return bad("blur is %g px and exposure %g; give 0 to 60 px and more than 0", b, s.Sensor.Exposure)
	}
	switch s.File.Orientation {
	case 1, 3, 6, 8:
	default:
		return bad("its EXIF orientation is %d; give 1, 3, 6 or 8", s.File.Orientation)
	}
	if s.File.NoEXIF && (s.File.Orientation != 1 || s.File.F35 != 0) {
		return bad("it has no EXIF block yet an orientation or a focal length to write in it")
	}
	return nil
}
