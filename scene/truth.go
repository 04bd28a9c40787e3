package scene

import (
	"encoding/json"
	"fmt"
	"math"
)

// Truth is what is known about a practice photo. Its JSON is one object of a
// truth.json list.
type Truth struct {
	File   string `json:"file"`
	Family string `json:"family"` // "dent"
	Expect Expect `json:"expect"`
	Case   string `json:"case"`

	Part   string `json:"part"`
	Label  string `json:"label"`
	System string `json:"system"`
	// DentsPerInch is exact at the plane of the wires; null without dents.
	DentsPerInch *float64 `json:"dents_per_inch"`
	// VisibleFit is the least-squares pitch through the bands that meet the
	// ruler in view, their scatter included: what a perfect reader would find.
	VisibleFit    *float64 `json:"dents_per_inch_visible_fit"`
	VisibleDents  int      `json:"visible_dents_along_ruler"`
	JitterOfPitch float64  `json:"jitter_of_pitch"`
	Missing       int      `json:"missing"`
	Bent          int      `json:"bent"`
	DepthMM       float64  `json:"depth_mm"`

	Ruler               string       `json:"ruler"`
	RulerLook           string       `json:"ruler_look"`
	Units               []string     `json:"units"`
	Divisions           []int        `json:"divisions"`
	DivisionsFirstUnits []*[2]int    `json:"divisions_first_units"`
	RulerThicknessMM    float64      `json:"ruler_thickness_mm"`
	RulerSpanIn         float64      `json:"ruler_span_in"`
	RulerScaleError     float64      `json:"ruler_scale_error"`
	MarkScatterMM       float64      `json:"mark_scatter_mm"`
	SkewDeg             float64      `json:"skew_deg"`
	Marks               []ScaleMarks `json:"marks"`

	// CameraDistanceMM is along the optical axis to the plane of the wires,
	// CameraHeightMM square to that plane: the D of the parallax t/(D-t).
	CameraDistanceMM float64    `json:"camera_distance_mm"`
	CameraHeightMM   float64    `json:"camera_height_mm"`
	TiltDeg          [2]float64 `json:"tilt_deg"`
	RollDeg          float64    `json:"roll_deg"`
	K1               float64    `json:"k1"`
	BlurPx           float64    `json:"blur_px"`
	// F35 is what EXIF says, or null; F35True and F35Convention what held.
	F35           *int    `json:"f35"`
	F35True       float64 `json:"f35_true"`
	F35Convention string  `json:"f35_convention"`
	Orientation   int     `json:"orientation"`
	JPEGQuality   int     `json:"jpeg_quality"`
	Background    string  `json:"background"`

	// PxPerInch is at the plane of the wires, along the dents, at the middle
	// of the ruler's edge in view (the photo's aim without one).
	PxPerInch float64  `json:"px_per_inch"`
	PxPerDent *float64 `json:"px_per_dent"`
	// Foot is the photo's point that the camera stands over, where no wire
	// shows a side. It may lie outside the frame.
	Foot [2]float64 `json:"foot"`
	Size [2]int     `json:"size"` // width, height of the upright photo
	Seed uint64     `json:"seed"`
}

// ScaleMarks are the first and last whole-unit marks of one scale in view.
type ScaleMarks struct {
	Unit      string `json:"unit"`
	Divisions int    `json:"divisions"`
	Edge      string `json:"edge"` // "low" or "high": the ruler's q = 0 or q = width
	First     Mark   `json:"first"`
	Last      Mark   `json:"last"`
}

// Mark is a whole-unit mark where it meets the ruler's edge. Its JSON is
// [value, [x, y]].
type Mark struct {
	Value float64
	At    [2]float64
}

// MarshalJSON writes [value, [x, y]].
func (m Mark) MarshalJSON() ([]byte, error) {
	return json.Marshal([]any{m.Value, m.At})
}

// UnmarshalJSON reads [value, [x, y]].
func (m *Mark) UnmarshalJSON(b []byte) error {
	var parts []json.RawMessage
	if err := json.Unmarshal(b, &parts); err != nil {
		return err
	}
	if len(parts) != 2 {
		return fmt.Errorf("scene: a mark is [value, [x, y]], not %s", b)
	}
	if err := json.Unmarshal(parts[0], &m.Value); err != nil {
		return err
	}
	return json.Unmarshal(parts[1], &m.At)
}

// RulerMark is one printed mark of a ruler and where its middle meets the edge.
type RulerMark struct {
	Value    float64 // in the scale's unit
	Rank     int     // 0 a whole unit, then its parts
	LengthMM float64
	WidthMM  float64
	// XMM, YMM, ZMM is the mark's middle at the ruler's edge, its own error included.
	XMM, YMM, ZMM float64
}

// RulerMarks lists the marks of scale `scale` of ruler `ruler` in order of
// value. It is empty where there is no such scale.
func (s Spec) RulerMarks(ruler, scale int) []RulerMark {
	if ruler < 0 || ruler >= len(s.Rulers) || scale < 0 || scale >= len(s.Rulers[ruler].Scales) {
		return nil
	}
	r := s.Rulers[ruler]
	u := bareRule(r)
	l := newLadder(r, r.Scales[scale], nil, s.Seed+uint64(ruler)*104729+uint64(scale)*7919)
	fine := int(math.Round(math.Abs(l.unit / l.step)))
	var out []RulerMark
	for i, at := range l.at {
		if l.length[i] == 0 || at < 0 || at > r.LengthMM {
			continue
		}
		x, y := u.place(at, u.edgeQ(l.Scale))
		out = append(out, RulerMark{
			Value: float64(l.from+i) / float64(fine), Rank: rank(l.from+i, fine),
			LengthMM: float64(l.length[i]), WidthMM: 2 * float64(l.half[i]),
			XMM: x, YMM: y, ZMM: u.top,
		})
	}
	return out
}

func round(v float64, digits int) float64 {
	k := math.Pow(10, float64(digits))
	return math.Round(v*k) / k
}

// inFrame says whether the photo's point lies in the picture.
func (s Spec) inFrame(px, py float64) bool {
	return px >= 0 && py >= 0 && px < float64(s.Width) && py < float64(s.Height)
}

// edgeInView is the part of the first ruler's first scale's edge that is in
// the frame, as the range of s; ok is false where none is.
func (d *drawing) edgeInView() (s0, s1 float64, ok bool) {
	if len(d.rules) == 0 || len(d.rules[0].Scales) == 0 {
		return 0, 0, false
	}
	u := d.rules[0]
	q := u.edgeQ(u.Scales[0])
	s0, s1 = math.Inf(1), math.Inf(-1)
	const n = 400
	for i := 0; i <= n; i++ {
		s := u.LengthMM * float64(i) / n
		x, y := u.place(s, q)
		px, py, depth := d.v.project(x, y, u.top)
		if depth > 0 && d.spec.inFrame(px, py) {
			s0, s1 = math.Min(s0, s), math.Max(s1, s)
		}
	}
	return s0, s1, s1 > s0
}

// onPart says whether the part has dents at (x, y).
func (d *drawing) onPart(x, y float64) bool {
	p := d.spec.Part
	return p.hasBands() && y > p.YLowMM && y < p.YHighMM &&
		x > p.X0MM-0.5*p.PitchMM() && x < p.X0MM+(float64(p.Bands)-0.5)*p.PitchMM()
}

func (d *drawing) truth() Truth {
	s := d.spec
	p := s.Part
	t := Truth{
		Family: "dent", Expect: s.Expect, Case: s.Case,
		Part: string(p.Kind), Label: p.Label, System: p.System,
		JitterOfPitch: p.Scatter, Missing: len(p.Missing), Bent: len(p.Bends), DepthMM: p.DepthMM,
		Units: []string{}, Divisions: []int{}, DivisionsFirstUnits: []*[2]int{}, Marks: []ScaleMarks{},
		CameraDistanceMM: round(s.Camera.DistanceMM, 3), CameraHeightMM: round(d.v.cz, 3),
		TiltDeg: s.Camera.TiltDeg, RollDeg: s.Camera.RollDeg, K1: s.Camera.K1, BlurPx: s.Sensor.BlurPx,
		F35True: s.Camera.F35, F35Convention: s.Camera.Convention,
		Orientation: s.File.Orientation, JPEGQuality: s.File.JPEGQuality, Background: s.Table.Pattern,
		Size: [2]int{s.Width, s.Height}, Seed: s.Seed,
	}
	if s.File.F35 > 0 {
		f := s.File.F35
		t.F35 = &f
	}
	fx, fy, _ := d.v.project(d.v.cx, d.v.cy, 0)
	t.Foot = [2]float64{round(fx, 2), round(fy, 2)}
	ax, ay := s.Camera.AimXMM, s.Camera.AimYMM
	if len(d.rules) > 0 {
		r := s.Rulers[0]
		t.Ruler, t.RulerLook = r.Kind, r.Look
		t.RulerThicknessMM, t.RulerScaleError, t.MarkScatterMM = r.ThicknessMM, r.ScaleError, r.MarkScatterMM
		t.SkewDeg = round(math.Remainder(r.AngleDeg, 180), 4)
		for _, sc := range r.Scales {
			t.Units = append(t.Units, sc.Unit)
			t.Divisions = append(t.Divisions, sc.Divisions)
			var f *[2]int
			if sc.FineUnits > 0 {
				f = &[2]int{sc.FineDivisions, sc.FineUnits}
			}
			t.DivisionsFirstUnits = append(t.DivisionsFirstUnits, f)
		}
		t.Marks = d.marks()
		if s0, s1, ok := d.edgeInView(); ok {
			t.RulerSpanIn = round((s1-s0)/MMPerInch, 3)
			ax, ay = d.rules[0].place((s0+s1)/2, d.rules[0].edgeQ(r.Scales[0]))
			if p.hasBands() {
				t.VisibleDents, t.VisibleFit = d.visible(s0, s1)
			}
		}
	}
	t.PxPerInch = round(d.pxPerMM(ax, ay)*MMPerInch, 3)
	if p.hasBands() {
		dpi := p.DentsPerInch
		t.DentsPerInch = &dpi
		ppd := round(d.pxPerMM(ax, ay)*p.PitchMM(), 3)
		t.PxPerDent = &ppd
	}
	return t
}

// pxPerMM is the photo's scale along x at (x, y, 0).
func (d *drawing) pxPerMM(x, y float64) float64 {
	const h = 0.5
	ax, ay, _ := d.v.project(x-h, y, 0)
	bx, by, _ := d.v.project(x+h, y, 0)
	return math.Hypot(bx-ax, by-ay) / (2 * h)
}

// marks finds the first and last whole units of each scale of the first ruler
// that are in view.
func (d *drawing) marks() []ScaleMarks {
	out := []ScaleMarks{}
	for i, sc := range d.spec.Rulers[0].Scales {
		m := ScaleMarks{Unit: sc.Unit, Divisions: sc.Divisions, Edge: "low"}
		if sc.HighEdge {
			m.Edge = "high"
		}
		found := false
		for _, k := range d.spec.RulerMarks(0, i) {
			if k.Rank != 0 {
				continue
			}
			px, py, depth := d.v.project(k.XMM, k.YMM, k.ZMM)
			if depth <= 0 || !d.spec.inFrame(px, py) {
				continue
			}
			mk := Mark{k.Value, [2]float64{round(px, 2), round(py, 2)}}
			if !found {
				m.First, found = mk, true
			}
			m.Last = mk
		}
		if found {
			out = append(out, m)
		}
	}
	return out
}

// visible counts the dents that cross the ruler's edge between s0 and s1, and
// fits a line through their places.
func (d *drawing) visible(s0, s1 float64) (int, *float64) {
	u := d.rules[0]
	q := u.edgeQ(u.Scales[0])
	var n, sk, sx, skk, skx float64
	lo, hi := math.Inf(1), math.Inf(-1)
	const steps = 200
	for i := 0; i <= steps; i++ {
		x, y := u.place(s0+(s1-s0)*float64(i)/steps, q)
		if d.onPart(x, y) {
			lo, hi = math.Min(lo, x), math.Max(hi, x)
		}
	}
	for _, b := range d.spec.Bands() {
		if b.XMM < lo || b.XMM > hi || b.Missing || b.Bent {
			continue
		}
		k := float64(b.Index)
		n++
		sk += k
		sx += b.XMM
		skk += k * k
		skx += k * b.XMM
	}
	if n < 3 {
		return int(n), nil
	}
	fit := MMPerInch / ((n*skx - sk*sx) / (n*skk - sk*sk))
	return int(n), &fit
}
