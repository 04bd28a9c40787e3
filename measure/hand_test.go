package measure

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"dentcount/calib"
	"dentcount/photo"
)

// ruled is a photo whose ruler's marks are known by its construction: on each
// scale the first and the last whole unit in view.
type ruled struct {
	File         string  `json:"file"`
	DentsPerInch float64 `json:"dents_per_inch"`
	ThicknessMM  float64 `json:"ruler_thickness_mm"`
	Marks        []struct {
		Unit  string    `json:"unit"`
		First knownMark `json:"first"`
		Last  knownMark `json:"last"`
	} `json:"marks"`
}

// knownMark is written [value, [x, y]].
type knownMark struct {
	value float64
	at    Point
}

func (m *knownMark) UnmarshalJSON(b []byte) error {
	pair := [2]any{&m.value, &m.at}
	return json.Unmarshal(b, &pair)
}

func keptPhoto(t *testing.T, file string) (*Kept, ruled) {
	t.Helper()
	b, err := os.ReadFile("../testdata/images/truth.json")
	if err != nil {
		t.Fatal(err)
	}
	var all []ruled
	if err := json.Unmarshal(b, &all); err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(all, func(r ruled) bool { return r.File == file })
	if i < 0 {
		t.Fatalf("truth.json does not know %s", file)
	}
	if k := keptPhotos[file]; k != nil {
		return k, all[i]
	}
	p, err := photo.Open("../testdata/images/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	k, err := Keep(p)
	if err != nil {
		t.Fatal(err)
	}
	keptPhotos[file] = k
	return k, all[i]
}

// keptPhotos saves the tests below from looking for one ruler again and again.
var keptPhotos = map[string]*Kept{}

// scale is the truth's two points of a scale and their distance in inches.
func (r ruled) scale(t *testing.T, unit string) Hand {
	t.Helper()
	for _, m := range r.Marks {
		if m.Unit == unit && m.First.value != m.Last.value {
			return Hand{ScaleAt: [2]Point{m.First.at, m.Last.at}, ScaleIn: math.Abs(m.Last.value-m.First.value) * calib.Unit(unit).Inches()}
		}
	}
	t.Fatalf("%s: the truth knows no marks in %s", r.File, unit)
	return Hand{}
}

func answerBy(t *testing.T, k *Kept, opt Options) Result {
	t.Helper()
	read, err := k.Read(context.Background(), opt)
	if err != nil {
		t.Fatal(err)
	}
	return read.Answer(opt)
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got/want-1) <= rel) {
		t.Errorf("%s: %.5g, want %.5g within %.2g %%", what, got, want, 100*rel)
	}
}

// Two points set where the marks are known to be give the pitch that is known,
// whether the ruler was found or not.
func TestScaleByHandTruth(t *testing.T) {
	for _, c := range []struct {
		file, unit string
		lost       bool // as if no ruler had been found
	}{
		{"reed-10-025.jpg", "in", false},
		{"reed-10-025.jpg", "in", true},
		{"reed-10-033.jpg", "cm", true},
		{"rigid-heddle-10-013.jpg", "in", true},
	} {
		k, truth := keptPhoto(t, c.file)
		if c.lost {
			k = &Kept{name: k.name, gray: k.gray, focal35: k.focal35, rulers: map[calib.Unit]foundRuler{"": {}}}
		}
		opt := Options{RulerThicknessMM: truth.ThicknessMM, Hand: truth.scale(t, c.unit)}
		r := answerBy(t, k, opt)
		if r.Pitch == nil {
			t.Errorf("%s, lost %v: %s: %s", c.file, c.lost, r.Status, r.Reason)
			continue
		}
		near(t, c.file, r.Pitch.DentsPerInch, truth.DentsPerInch, 0.006)
		if math.Abs(r.Pitch.DentsPerInch-truth.DentsPerInch) > 4*r.Pitch.U {
			t.Errorf("%s: %.4f ± %.4f, truth %.4f", c.file, r.Pitch.DentsPerInch, r.Pitch.U, truth.DentsPerInch)
		}
		if !slices.Equal(r.ByHand, []string{ByThickness, ByScale}) {
			t.Errorf("%s: by hand %q", c.file, r.ByHand)
		}
		noted := slices.ContainsFunc(r.Budget, func(b BudgetLine) bool { return strings.Contains(b.Note, "by hand") && b.RelativeU > 0 })
		if !noted {
			t.Errorf("%s: no line of the budget is for the points: %+v", c.file, r.Budget)
		}
	}
}

// A tilted camera stretches the scale; the bands tell by how much.
func TestScaleByHandFollowsTheTilt(t *testing.T) {
	k, truth := keptPhoto(t, "reed-10-025.jpg")
	seen, found, err := k.ruler(context.Background(), "")
	if err != nil || !found {
		t.Fatal(found, err)
	}
	h := truth.scale(t, "in")
	s, err := k.scaleThrough(context.Background(), photoPx(h.ScaleAt[0]), photoPx(h.ScaleAt[1]), Options{Hand: h})
	if err != nil {
		t.Fatal(err)
	}
	// The same place read on both scales, from the hand's first point on.
	for _, f := range []float64{0.25, 0.5, 0.75} {
		x, y := s.Frame.Point(s.Lo+f*(s.Hi-s.Lo), 0)
		a, _ := seen.Scale.Frame.Locate(x, y)
		p0 := photoPx(h.ScaleAt[0])
		a0, _ := seen.Scale.Frame.Locate(p0[0], p0[1])
		byMarks := math.Abs(seen.Scale.In(a) - seen.Scale.In(a0))
		if byHand := s.In(s.Lo + f*(s.Hi-s.Lo)); math.Abs(byHand-byMarks) > 0.05 {
			t.Errorf("at %.2f of the scale: %.3f in by hand, %.3f in by the marks", f, byHand, byMarks)
		}
	}
}

// A person who says centimetres where inches were read is believed, and the
// disagreement of other distances is told.
func TestScaleByHandAgainstTheMarks(t *testing.T) {
	k, truth := keptPhoto(t, "reed-10-025.jpg")
	plain := answerBy(t, k, Options{RulerThicknessMM: truth.ThicknessMM})
	h := truth.scale(t, "in")
	h.ScaleIn /= 2.54
	r := answerBy(t, k, Options{RulerThicknessMM: truth.ThicknessMM, Hand: h})
	near(t, "2.54 times the pitch", r.Pitch.DentsPerInch, 2.54*plain.Pitch.DentsPerInch, 0.03)
	if plain.Ruler.Unit != "in" || r.Ruler.Unit != "cm" || disagrees(r) {
		t.Errorf("unit %q then %q, warnings %q", plain.Ruler.Unit, r.Ruler.Unit, r.Warnings)
	}
	h.ScaleIn = truth.scale(t, "in").ScaleIn - 1
	r = answerBy(t, k, Options{Hand: h})
	if !disagrees(r) {
		t.Errorf("nothing is said of a distance that disagrees with the marks: %q", r.Warnings)
	}
}

func disagrees(r Result) bool {
	return slices.ContainsFunc(r.Warnings, func(w string) bool { return strings.Contains(w, "by the ruler's marks") })
}

func stateOf(r Result, index int) BandState {
	for _, b := range r.Evidence.Bands {
		if b.Index == index {
			return b.State
		}
	}
	return ""
}

// Bands are left out and counted in, are marked as such, and the pitch stays
// that of the other bands.
func TestBandsByHand(t *testing.T) {
	k, truth := keptPhoto(t, "reed-10-025.jpg")
	facts := Options{RulerThicknessMM: truth.ThicknessMM}
	plain := answerBy(t, k, facts)
	bands := plain.Evidence.Bands
	n := len(bands)

	out := facts
	out.Hand.DropBands = []Point{bands[0].At, bands[20].Toward, bands[n-1].At}
	r := answerBy(t, k, out)
	if len(r.Evidence.Bands) != n {
		t.Fatalf("%d bands, had %d: what is left out stays on the picture", len(r.Evidence.Bands), n)
	}
	for _, i := range []int{0, 20, n - 1} {
		if got := r.Evidence.Bands[i].State; got != BandLeftOut {
			t.Errorf("band %d is %s", i, got)
		}
	}
	if r.Count.Dents != plain.Count.Dents-2 {
		t.Errorf("%d dents after both ends were left out, had %d", r.Count.Dents, plain.Count.Dents)
	}
	near(t, "pitch without three", r.Pitch.DentsPerInch, plain.Pitch.DentsPerInch, 0.001)
	if !slices.Equal(r.ByHand, []string{ByThickness, ByBands}) {
		t.Errorf("by hand %q", r.ByHand)
	}

	bent := slices.IndexFunc(bands, func(b Band) bool { return b.State == BandBent })
	if bent < 0 {
		t.Fatal("the photo had bent wires")
	}
	in := facts
	in.Hand.AddBands = []Point{bands[bent].At}
	r = answerBy(t, k, in)
	if got := stateOf(r, bands[bent].Index); got != BandByHand || r.Count.Bent != plain.Count.Bent-1 {
		t.Errorf("the bent band is %s, %d bent of %d", got, r.Count.Bent, plain.Count.Bent)
	}

	// Halfway between two bands there is none.
	between := Point{(bands[50].At[0] + bands[51].At[0]) / 2, (bands[50].At[1] + bands[51].At[1]) / 2}
	in.Hand.AddBands = []Point{between}
	r = answerBy(t, k, in)
	if len(r.Evidence.Bands) != n || !slices.ContainsFunc(r.Warnings, func(w string) bool { return strings.HasPrefix(w, "1 tap was not used") }) {
		t.Errorf("%d bands, had %d; warnings %q", len(r.Evidence.Bands), n, r.Warnings)
	}
}

// A band set past the end of the row makes it longer.
func TestBandPastTheEnd(t *testing.T) {
	k, _ := keptPhoto(t, "reed-10-025.jpg")
	bands := answerBy(t, k, Options{}).Evidence.Bands
	n := len(bands)
	last, before := bands[n-1].At, bands[n-3].At
	var opt Options
	opt.Hand.DropBands = []Point{last}
	opt.Hand.AddBands = []Point{{last[0] + (last[0] - before[0]), last[1] + (last[1] - before[1])}}
	r := answerBy(t, k, opt)
	if got := len(r.Evidence.Bands); got != n+2 {
		t.Fatalf("%d bands, want %d", got, n+2)
	}
	states := []BandState{r.Evidence.Bands[n-1].State, r.Evidence.Bands[n].State, r.Evidence.Bands[n+1].State}
	if !slices.Equal(states, []BandState{BandLeftOut, BandMissing, BandByHand}) {
		t.Errorf("the last three are %q", states)
	}
}

// Everything left out is a refusal that says what to do, not a number.
func TestAllBandsLeftOut(t *testing.T) {
	k, _ := keptPhoto(t, "reed-10-025.jpg")
	var opt Options
	for _, b := range answerBy(t, k, Options{}).Evidence.Bands {
		opt.Hand.DropBands = append(opt.Hand.DropBands, b.At)
	}
	if r := answerBy(t, k, opt); r.Status != Refused || r.Advice == "" || r.Pitch != nil {
		t.Errorf("%s, pitch %v, %q", r.Status, r.Pitch, r.Advice)
	}
}

func TestHandThatCannotBe(t *testing.T) {
	k, truth := keptPhoto(t, "reed-10-025.jpg")
	good := truth.scale(t, "in")
	nan, inf := math.NaN(), math.Inf(1)
	for name, change := range map[string]func(*Hand){
		"negative distance":     func(h *Hand) { h.ScaleIn = -1 },
		"no number":             func(h *Hand) { h.ScaleIn = nan },
		"endless":               func(h *Hand) { h.ScaleIn = inf },
		"point outside":         func(h *Hand) { h.ScaleAt[1][0] = 1e6 },
		"point nowhere":         func(h *Hand) { h.ScaleAt[0][1] = nan },
		"one point twice":       func(h *Hand) { h.ScaleAt[1] = h.ScaleAt[0] },
		"band outside":          func(h *Hand) { h.AddBands = []Point{{-5, 3}} },
		"band left out nowhere": func(h *Hand) { h.DropBands = []Point{{nan, nan}} },
	} {
		h := good
		change(&h)
		if _, err := k.Read(context.Background(), Options{Hand: h}); !errors.Is(err, ErrHand) {
			t.Errorf("%s: %v, want a complaint about what was set by hand", name, err)
		}
	}
}
