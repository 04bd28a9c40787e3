package main

import (
	"encoding/json"
	"math"
	"slices"

	"dentcount/judge"
	"dentcount/measure"
	"dentcount/scene"
)

// truth is what is known of one photo; its JSON is that of a truth.json.
type truth struct {
	File         string   `json:"file"`
	Family       string   `json:"family"`
	Expect       string   `json:"expect"`
	Case         string   `json:"case"`
	Part         string   `json:"part"`
	Label        string   `json:"label"`
	System       string   `json:"system"`
	DentsPerInch float64  `json:"dents_per_inch"`
	Units        []string `json:"units"`
	Ruler        string   `json:"ruler"`
	RulerLook    string   `json:"ruler_look"`
	ThicknessMM  float64  `json:"ruler_thickness_mm"`
	DistanceMM   float64  `json:"camera_distance_mm"`
	// HeightMM is square to the wires' plane; 0 where only DistanceMM is known.
	HeightMM float64  `json:"camera_height_mm"`
	Focal35  *float64 `json:"f35"`
	PxPerIn  float64  `json:"px_per_inch"`
	Missing  int      `json:"missing"`
	Bent     int      `json:"bent"`
	SpanIn   float64  `json:"ruler_span_in"`
	// VisibleFit is the least-squares pitch through the bands in view, of which
	// there are VisibleDents, Scatter their standard deviation over the pitch; 0
	// where not known.
	VisibleFit   float64 `json:"dents_per_inch_visible_fit"`
	VisibleDents int     `json:"visible_dents_along_ruler"`
	Scatter      float64 `json:"jitter_of_pitch"`
	// MarkScatterMM is that of the marks; the scales' divisions per unit are in
	// the order of Units.
	MarkScatterMM float64 `json:"mark_scatter_mm"`
	Divisions     []int   `json:"divisions"`
	Seed          uint64  `json:"seed"`
}

// truthOf is what the accuracy report keeps of a scene's truth.
func truthOf(t scene.Truth) (truth, error) {
	var out truth
	b, err := json.Marshal(t)
	if err != nil {
		return out, err
	}
	return out, json.Unmarshal(b, &out)
}

// heightMM is the camera's height above the wires.
func (t truth) heightMM() float64 {
	if t.HeightMM > 0 {
		return t.HeightMM
	}
	return t.DistanceMM
}

// pxPerDent is the spacing of the dents in the photo.
func (t truth) pxPerDent() float64 { return t.PxPerIn / t.DentsPerInch }

// cramerRao is the floor of the relative standard deviation of the pitch that
// the scatter of the bands and of the first scale's marks in view leaves; NaN
// where it is not known.
func (t truth) cramerRao() float64 {
	if t.Scatter == 0 || t.VisibleDents < 5 || len(t.Units) == 0 || len(t.Divisions) == 0 || t.Divisions[0] == 0 {
		return math.NaN()
	}
	stepMM := 10.0
	if t.Units[0] == "in" {
		stepMM = scene.MMPerInch
	}
	stepMM /= float64(t.Divisions[0])
	marks := int(t.SpanIn*scene.MMPerInch/stepMM) + 1
	return math.Hypot(judge.PitchFloor(t.Scatter, t.VisibleDents), judge.PitchFloor(t.MarkScatterMM/stepMM, marks))
}

// outcome is one answer, as far as it is judged.
type outcome struct {
	Status     measure.Status `json:"status"`
	Reason     string         `json:"reason,omitempty"`
	Part       string         `json:"part,omitempty"`
	Label      string         `json:"label,omitempty"`
	Confidence float64        `json:"confidence,omitempty"`
	Next       string         `json:"next,omitempty"` // the second likeliest size
	NextP      float64        `json:"next_p,omitempty"`
	PerInch    float64        `json:"dents_per_inch,omitempty"`
	U          float64        `json:"u,omitempty"`
	Lo95       float64        `json:"lo95,omitempty"` // the 95 % interval of PerInch
	Hi95       float64        `json:"hi95,omitempty"`
	Unit       string         `json:"unit,omitempty"`
	// Budget is the relative standard uncertainty by source.
	Budget map[string]float64 `json:"budget,omitempty"`
	// ReadRight is the chance that it was read right, reckoned from Features.
	ReadRight float64            `json:"read_right,omitempty"`
	Features  map[string]float64 `json:"features,omitempty"`
}

func outcomeOf(r measure.Result) outcome {
	o := outcome{Status: r.Status, Reason: r.Reason, Part: r.Part}
	if r.Ruler != nil {
		o.Unit = r.Ruler.Unit
	}
	if r.Size != nil {
		o.Label, o.Confidence = r.Size.Label, r.Size.Confidence
		if len(r.Size.Others) > 0 {
			o.Next, o.NextP = r.Size.Others[0].Label, r.Size.Others[0].Confidence
		}
	}
	if r.Pitch != nil {
		o.PerInch, o.U = r.Pitch.DentsPerInch, r.Pitch.U
		if iv := r.Pitch.Interval95; iv != nil {
			o.Lo95, o.Hi95 = iv.Min, iv.Max
		}
	}
	if r.Pitch != nil && r.Evidence != nil {
		o.ReadRight, o.Features = r.Evidence.ReadRight, map[string]float64{}
		for _, f := range r.Evidence.Features {
			o.Features[f.Name] = f.Value
		}
	}
	for _, l := range r.Budget {
		if o.Budget == nil {
			o.Budget = map[string]float64{}
		}
		o.Budget[l.Source] = l.RelativeU
	}
	return o
}

// sample is one photo measured once and answered twice: with the ruler's
// thickness told, and not.
type sample struct {
	Index   int     `json:"index"` // in its folder or set
	Truth   truth   `json:"truth"`
	Told    outcome `json:"told"`
	NotTold outcome `json:"not_told"`
	TookMS  int64   `json:"took_ms"`
	// BandsPerInch and KindCues are what told slots from wires; empty where
	// nothing had to.
	BandsPerInch float64            `json:"bands_per_inch,omitempty"`
	KindCues     map[string]float64 `json:"kind_cues,omitempty"`
}

// row is one answer beside the truth.
type row struct {
	truth
	got    outcome
	index  int
	tookMS int64
}

// rowsOf are the answers of one kind.
func rowsOf(samples []sample, told bool) []row {
	rows := make([]row, len(samples))
	for i, s := range samples {
		o := s.NotTold
		if told {
			o = s.Told
		}
		rows[i] = row{s.Truth, o, s.Index, s.TookMS}
	}
	return rows
}

// answerable says whether a person could tell the size from the photo.
func (r row) answerable() bool { return r.Expect == string(scene.ExpectAnswer) }

// claims says whether a size was named at all, surely or not.
func (r row) claims() bool { return r.got.Label != "" }

// right says whether the size that was named, and the part, are the true ones.
// What is no part of a loom is never right.
func (r row) right() bool {
	return r.claims() && r.got.Label == r.Label && r.got.Part == r.Part
}

func (r row) unitRight() bool { return slices.Contains(r.Units, r.got.Unit) }

// readRight says whether the photo was read right: part and unit, and the pitch
// within what its budget allows.
func (r row) readRight() bool {
	return r.got.Part == r.Part && r.unitRight() && math.Abs(r.got.PerInch-r.DentsPerInch) <= farOff*r.got.U
}

// rel is the relative error of dents per inch; NaN where none is given or known.
func (r row) rel() float64 {
	if r.got.PerInch == 0 || r.DentsPerInch == 0 {
		return math.NaN()
	}
	return r.got.PerInch/r.DentsPerInch - 1
}
