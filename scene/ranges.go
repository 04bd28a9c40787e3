package scene

// Range is an interval a number is drawn from, uniformly unless said otherwise.
type Range [2]float64

// Ranges say what Random may choose from. The zero value of each field means
// the one of DefaultRanges; so a caller changes a few and leaves the others.
// To pin a number, give it twice; to pin one to nothing, give a tiny range.
type Ranges struct {
	// AdverseShare is the part of the photos that show a case on purpose;
	// Cases the ones to draw from, all where empty. A negative share: none.
	AdverseShare float64  `json:"adverse_share"`
	Cases        []string `json:"cases"`
	// HeddleShare is the part of rigid heddles among the others; negative for none.
	HeddleShare float64 `json:"heddle_share"`
	// OffShare is the part of the sizes that nobody makes, MetricShare that
	// of the metric ones among the others; negative for none.
	OffShare    float64 `json:"off_share"`
	MetricShare float64 `json:"metric_share"`
	// Labels, where not empty, keeps the made sizes to these.
	Labels []string `json:"labels"`
	// SizeTolerance is the standard deviation of a made size about its label,
	// relative, cut at three of them.
	SizeTolerance float64 `json:"size_tolerance"`

	LongSidePx   Range   `json:"long_side_px"`
	PxPerDent    Range   `json:"px_per_dent"` // logarithmic
	DistanceMM   Range   `json:"distance_mm"` // photos outside are not taken
	F35          Range   `json:"f35"`
	F35Error     Range   `json:"f35_error"`      // true over stated, less one
	F35Share     float64 `json:"f35_share"`      // photos whose EXIF tells the focal length
	TurnedShare  float64 `json:"turned_share"`   // photos stored turned
	DiagonalPart float64 `json:"diagonal_share"` // f35 meant by the diagonal
	TiltDeg      Range   `json:"tilt_deg"`       // lean of the axis, any way
	K1           Range   `json:"k1"`
	BlurPx       Range   `json:"blur_px"` // logarithmic
	Noise        Range   `json:"noise"`   // standard deviation at white, logarithmic
	Sharpen      Range   `json:"sharpen"`
	Exposure     Range   `json:"exposure"`
	JPEGQuality  Range   `json:"jpeg_quality"`

	RulerThicknessMM Range    `json:"ruler_thickness_mm"`
	SkewDeg          Range    `json:"skew_deg"`
	RulerKinds       []string `json:"ruler_kinds"`
	RulerLooks       []string `json:"ruler_looks"`
	RulerScaleError  Range    `json:"ruler_scale_error"`
	MarkScatterMM    Range    `json:"mark_scatter_mm"`
	Wear             Range    `json:"wear"`
	// MinSpanIn is the least of the ruler in view across the part, inches.
	MinSpanIn float64 `json:"min_span_in"`

	DepthMM      Range `json:"depth_mm"`
	WireFraction Range `json:"wire_fraction"`
	Scatter      Range `json:"scatter"` // of the pitch, logarithmic
	TwistDeg     Range `json:"twist_deg"`
	// MissingShare and BentShare are the parts of the reeds with such wires,
	// RustShare that with rust, YarnShare that of photos with yarn or lint.
	MissingShare float64  `json:"missing_share"`
	BentShare    float64  `json:"bent_share"`
	RustShare    float64  `json:"rust_share"`
	YarnShare    float64  `json:"yarn_share"`
	Tables       []string `json:"tables"`
}

// DefaultRanges are what a phone in a weaver's hand gives.
func DefaultRanges() Ranges {
	return Ranges{
		AdverseShare: 0.15, HeddleShare: 0.3, OffShare: 0.12, MetricShare: 0.45, SizeTolerance: 0.001,
		LongSidePx: Range{1800, 2600}, PxPerDent: Range{4.5, 36}, DistanceMM: Range{130, 900},
		F35: Range{24, 56}, F35Error: Range{-0.012, 0.012}, F35Share: 0.65, TurnedShare: 0.45, DiagonalPart: 0.5,
		TiltDeg: Range{0, 14}, K1: Range{-0.005, 0.005},
		BlurPx: Range{0.4, 1.4}, Noise: Range{0.004, 0.03}, Sharpen: Range{0, 0.9},
		Exposure: Range{0.65, 1.25}, JPEGQuality: Range{70, 95},
		RulerThicknessMM: Range{0.15, 3.2}, SkewDeg: Range{-3.5, 3.5},
		RulerKinds:      []string{"in8", "in16", "in32", "in10", "mm", "in16+mm", "in32+mm", "in8+mm", "in10+mm", "in16+in32", "mm+mm"},
		RulerLooks:      []string{"white", "yellow", "wood", "steel", "black", "transparent", "tape", "steel-tape", "soft-tape", "colour"},
		RulerScaleError: Range{-0.0002, 0.0002},
		MarkScatterMM:   Range{0, 0.025}, Wear: Range{0, 0.35}, MinSpanIn: 1.7,
		DepthMM: Range{2.5, 4}, WireFraction: Range{0.20, 0.45}, Scatter: Range{0.002, 0.03}, TwistDeg: Range{0, 1.6},
		MissingShare: 0.2, BentShare: 0.25, RustShare: 0.25, YarnShare: 0.2,
		Tables: []string{"plain", "wood", "weave", "speckle", "grid", "far"},
	}
}

// filled is r with the zero fields from DefaultRanges.
func (r Ranges) filled() Ranges {
	d := DefaultRanges()
	share := func(v *float64, def float64) {
		switch {
		case *v == 0:
			*v = def
		case *v < 0:
			*v = 0
		}
	}
	span := func(v *Range, def Range) {
		if *v == (Range{}) {
			*v = def
		}
	}
	names := func(v *[]string, def []string) {
		if len(*v) == 0 {
			*v = def
		}
	}
	share(&r.AdverseShare, d.AdverseShare)
	share(&r.HeddleShare, d.HeddleShare)
	share(&r.OffShare, d.OffShare)
	share(&r.MetricShare, d.MetricShare)
	share(&r.SizeTolerance, d.SizeTolerance)
	share(&r.F35Share, d.F35Share)
	share(&r.TurnedShare, d.TurnedShare)
	share(&r.DiagonalPart, d.DiagonalPart)
	share(&r.MinSpanIn, d.MinSpanIn)
	share(&r.MissingShare, d.MissingShare)
	share(&r.BentShare, d.BentShare)
	share(&r.RustShare, d.RustShare)
	share(&r.YarnShare, d.YarnShare)
	span(&r.LongSidePx, d.LongSidePx)
	span(&r.PxPerDent, d.PxPerDent)
	span(&r.DistanceMM, d.DistanceMM)
	span(&r.F35, d.F35)
	span(&r.F35Error, d.F35Error)
	span(&r.TiltDeg, d.TiltDeg)
	span(&r.K1, d.K1)
	span(&r.BlurPx, d.BlurPx)
	span(&r.Noise, d.Noise)
	span(&r.Sharpen, d.Sharpen)
	span(&r.Exposure, d.Exposure)
	span(&r.JPEGQuality, d.JPEGQuality)
	span(&r.RulerThicknessMM, d.RulerThicknessMM)
	span(&r.SkewDeg, d.SkewDeg)
	span(&r.RulerScaleError, d.RulerScaleError)
	span(&r.MarkScatterMM, d.MarkScatterMM)
	span(&r.Wear, d.Wear)
	span(&r.DepthMM, d.DepthMM)
	span(&r.WireFraction, d.WireFraction)
	span(&r.Scatter, d.Scatter)
	span(&r.TwistDeg, d.TwistDeg)
	names(&r.RulerKinds, d.RulerKinds)
	names(&r.RulerLooks, d.RulerLooks)
	names(&r.Tables, d.Tables)
	return r
}
