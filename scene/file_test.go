package scene

import (
	"bytes"
	"encoding/json"
	"errors"
	"image"
	"image/jpeg"
	"math"
	"runtime"
	"testing"

	"github.com/bep/imagemeta"
)

// small is a quick scene with everything in it.
func small(seed uint64) Spec {
	return Random(seed, Ranges{AdverseShare: -1, YarnShare: 1, LongSidePx: Range{700, 800}, PxPerDent: Range{4.5, 20}})
}

func encoded(t *testing.T, s Spec) []byte {
	t.Helper()
	img, _ := drawn(t, s)
	b, err := Encode(s, img)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The same Spec gives the same bytes: again, on one core or many, and after a
// trip through JSON.
func TestSameSeedSameBytes(t *testing.T) {
	for seed := range uint64(3) {
		s := small(seed)
		first := encoded(t, s)
		if !bytes.Equal(first, encoded(t, small(seed))) {
			t.Errorf("seed %d: drawn twice, different bytes", seed)
		}
		old := runtime.GOMAXPROCS(1)
		one := encoded(t, s)
		runtime.GOMAXPROCS(5)
		five := encoded(t, s)
		runtime.GOMAXPROCS(old)
		if !bytes.Equal(first, one) || !bytes.Equal(first, five) {
			t.Errorf("seed %d: the number of cores changes the picture", seed)
		}
		j, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		var back Spec
		if err := json.Unmarshal(j, &back); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(first, encoded(t, back)) {
			t.Errorf("seed %d: the scene changes on its way through JSON", seed)
		}
	}
	if bytes.Equal(encoded(t, small(1)), encoded(t, small(2))) {
		t.Error("two seeds give the same picture")
	}
}

// What the EXIF block says, read by a library of others'.
func TestEXIFIsReadable(t *testing.T) {
	for _, c := range []struct {
		orientation, f35 int
	}{{1, 26}, {3, 0}, {6, 52}, {8, 24}} {
		s := plain(NoPart)
		s.Part = Part{Kind: NoPart}
		s.Width, s.Height = 160, 120
		s.File.Orientation, s.File.F35 = c.orientation, c.f35
		got := map[string]any{}
		_, err := imagemeta.Decode(imagemeta.Options{
			R: bytes.NewReader(encoded(t, s)), ImageFormat: imagemeta.JPEG, Sources: imagemeta.EXIF,
			HandleTag: func(ti imagemeta.TagInfo) error {
				got[ti.Tag] = ti.Value
				return nil
			},
			Warnf: func(format string, args ...any) { t.Errorf("warning: "+format, args...) },
		})
		if err != nil {
			t.Fatal(err)
		}
		if got["Orientation"] != uint16(c.orientation) {
			t.Errorf("orientation %v, want %d", got["Orientation"], c.orientation)
		}
		f, has := got["FocalLengthIn35mmFormat"]
		if has != (c.f35 > 0) || has && f != uint16(c.f35) {
			t.Errorf("focal length %v of %v, want %d", f, got, c.f35)
		}
	}
	s := plain(NoPart)
	s.Part = Part{Kind: NoPart}
	s.Width, s.Height = 160, 120
	s.File.NoEXIF = true
	if bytes.Contains(encoded(t, s), []byte("Exif")) {
		t.Error("there is an EXIF block where none was asked for")
	}
}

// upright turns a stored picture by the words of the EXIF standard (CIPA
// DC-008, Orientation): where the 0th row and the 0th column are seen.
func upright(img image.Image, orientation int) func(x, y int) (r, g, b uint32) {
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	return func(x, y int) (uint32, uint32, uint32) {
		row, col := y, x
		switch orientation {
		case 3: // 0th row at the bottom, 0th column on the right
			row, col = h-1-y, w-1-x
		case 6: // 0th row on the right, 0th column at the top
			row, col = h-1-x, y
		case 8: // 0th row on the left, 0th column at the bottom
			row, col = x, w-1-y
		}
		r, g, b, _ := img.At(col, row).RGBA()
		return r >> 8, g >> 8, b >> 8
	}
}

func TestStoredTurnedShownUpright(t *testing.T) {
	s := small(4)
	s.File.JPEGQuality = 100
	for _, o := range []int{1, 3, 6, 8} {
		s.File.Orientation, s.File.NoEXIF = o, false
		img, _ := drawn(t, s)
		b, err := Encode(s, img)
		if err != nil {
			t.Fatal(err)
		}
		stored, err := jpeg.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		if turned := o == 6 || o == 8; (stored.Bounds().Dx() == s.Width) == turned {
			t.Fatalf("orientation %d: stored %v for an upright %d × %d", o, stored.Bounds(), s.Width, s.Height)
		}
		at := upright(stored, o)
		var sum float64
		n := 0
		for y := 3; y < s.Height; y += 17 {
			for x := 2; x < s.Width; x += 13 {
				r, g, bl := at(x, y)
				wr, wg, wb, _ := img.At(x, y).RGBA()
				sum += math.Abs(float64(r)-float64(wr>>8)) + math.Abs(float64(g)-float64(wg>>8)) + math.Abs(float64(bl)-float64(wb>>8))
				n += 3
			}
		}
		if mean := sum / float64(n); mean > 2.5 {
			t.Errorf("orientation %d: upright it differs by %.1f steps on average", o, mean)
		}
	}
}

func TestTruthJSON(t *testing.T) {
	s := plain(Reed)
	s.File.F35 = 36
	s.File.Orientation = 6
	truth, err := TruthOf(s)
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(truth)
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal(b, &m); err != nil {
		t.Fatal(err)
	}
	for _, k := range []string{"file", "family", "expect", "case", "part", "label", "system", "dents_per_inch", "ruler", "units",
		"divisions", "ruler_thickness_mm", "camera_distance_mm", "tilt_deg", "roll_deg", "skew_deg", "k1", "blur_px", "f35",
		"orientation", "jpeg_quality", "marks", "px_per_inch", "px_per_dent", "missing", "bent", "size", "seed"} {
		if _, ok := m[k]; !ok {
			t.Errorf("truth has no %q", k)
		}
	}
	// At 150 mm with f = 1200 px an inch is 1200/150 · 25.4 px.
	if got := m["px_per_inch"].(float64); math.Abs(got-203.2) > 0.01 {
		t.Errorf("px_per_inch %g, want 203.2", got)
	}
	if got := m["px_per_dent"].(float64); math.Abs(got-20.32) > 0.001 {
		t.Errorf("px_per_dent %g, want 20.32", got)
	}
	if size := m["size"].([]any); size[0] != 1200.0 || size[1] != 800.0 {
		t.Errorf("size %v; want the upright photo's", size)
	}
	first := m["marks"].([]any)[0].(map[string]any)["first"].([]any)
	if len(first) != 2 || len(first[1].([]any)) != 2 {
		t.Errorf("a mark is %v, want [value, [x, y]]", first)
	}
	var back Truth
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatal(err)
	}
	if len(back.Marks) != 2 || back.Marks[0] != truth.Marks[0] {
		t.Errorf("marks come back as %+v", back.Marks)
	}
	if json.Unmarshal([]byte(`[1]`), new(Mark)) == nil || json.Unmarshal([]byte(`7`), new(Mark)) == nil {
		t.Error("half a mark is read without complaint")
	}
}

// Wrong descriptions are told, not drawn, and never panic.
func TestWrongSpecs(t *testing.T) {
	nan := math.NaN()
	for name, edit := range map[string]func(*Spec){
		"no size":         func(s *Spec) { s.Width = 0 },
		"odd size":        func(s *Spec) { s.Width = 1201 },
		"huge":            func(s *Spec) { s.Width, s.Height = 60000, 60000 },
		"no lens":         func(s *Spec) { s.Camera.F35 = 0 },
		"NaN distance":    func(s *Spec) { s.Camera.DistanceMM = nan },
		"NaN tilt":        func(s *Spec) { s.Camera.TiltDeg[0] = nan },
		"NaN roll":        func(s *Spec) { s.Camera.RollDeg = nan },
		"horizon":         func(s *Spec) { s.Camera.TiltDeg, s.Camera.F35 = [2]float64{45, 45}, 10 },
		"camera inside":   func(s *Spec) { s.Camera.DistanceMM, s.Rulers[0].ThicknessMM = 25, 20 },
		"no dents":        func(s *Spec) { s.Part.DentsPerInch = 0 },
		"too many dents":  func(s *Spec) { s.Part.Bands = 1 << 30 },
		"upside down":     func(s *Spec) { s.Part.YHighMM = s.Part.YLowMM - 1 },
		"table above":     func(s *Spec) { s.Table.BelowMM = -1 },
		"no ruler width":  func(s *Spec) { s.Rulers[0].WidthMM = 0 },
		"unknown unit":    func(s *Spec) { s.Rulers[0].Scales[0].Unit = "furlong" },
		"no divisions":    func(s *Spec) { s.Rulers[0].Scales[0].Divisions = 0 },
		"no mark lengths": func(s *Spec) { s.Rulers[0].Scales[0].LengthsMM = nil },
		"endless scale":   func(s *Spec) { s.Rulers[0].Scales[0].Last = 1 << 40 },
		"unknown font":    func(s *Spec) { s.Rulers[0].Font = 99 },
		"blur":            func(s *Spec) { s.Sensor.BlurPx = 1e9 },
		"no exposure":     func(s *Spec) { s.Sensor.Exposure = 0 },
		"orientation":     func(s *Spec) { s.File.Orientation = 5 },
		"turned, no EXIF": func(s *Spec) { s.File.Orientation, s.File.NoEXIF = 6, true },
	} {
		s := plain(Reed)
		edit(&s)
		if _, _, err := Draw(s); !errors.Is(err, ErrSpec) {
			t.Errorf("%s: error %v, want ErrSpec", name, err)
		}
	}
	s := plain(Reed)
	img, _ := drawn(t, s)
	s.File.JPEGQuality = 0
	if _, err := Encode(s, img); !errors.Is(err, ErrSpec) {
		t.Errorf("quality 0: error %v", err)
	}
}
