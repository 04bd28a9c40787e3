package measure

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dentcount/photo"
	"dentcount/scene"
	"dentcount/trade"
	"dentcount/vision"
)

// knownLength is one photo of testdata/lengths; its geometry is exact by
// construction (this project's own ray-traced renders).
type knownLength struct {
	File        string  `json:"file"`
	What        What    `json:"what"`
	LengthIn    float64 `json:"length_in"`
	Ends        []Point `json:"ends"`
	Nominal     float64 `json:"nominal"`
	EyeIn       float64 `json:"eye_in"`
	ThicknessMM float64 `json:"ruler_thickness_mm"`
}

func knownLengths(t *testing.T) []knownLength {
	t.Helper()
	b, err := os.ReadFile("../testdata/lengths/truth.json")
	if err != nil {
		t.Fatal(err)
	}
	var ks []knownLength
	if err := json.Unmarshal(b, &ks); err != nil {
		t.Fatal(err)
	}
	if len(ks) < 3 {
		t.Fatalf("testdata/lengths/truth.json knows %d photos, want at least 3", len(ks))
	}
	return ks
}

// TestLengthsTruth finds the ends in the photos of testdata/lengths, and takes
// them as set by hand, and holds both against their truth.
func TestLengthsTruth(t *testing.T) {
	for _, k := range knownLengths(t) {
		p, err := photo.Open(filepath.Join("../testdata/lengths", k.File))
		if err != nil {
			t.Fatal(err)
		}
		for _, hand := range []bool{false, true} {
			opt := LengthOptions{What: k.What, RulerThicknessMM: k.ThicknessMM}
			if hand {
				opt.Ends = &[2]Point{k.Ends[0], k.Ends[1]}
			}
			r, err := Length(context.Background(), p, opt)
			if err != nil {
				t.Fatalf("%s: %v", k.File, err)
			}
			name := fmt.Sprintf("%s, ends by hand %v", k.File, hand)
			if r.Status != Answered || r.Length == nil {
				t.Errorf("%s: %s %s", name, r.Status, r.Reason)
				continue
			}
			if e := math.Abs(r.Length.In - k.LengthIn); e > goalOf(k.LengthIn) || e > 3*r.Length.U {
				t.Errorf("%s: %.4f ± %.4f in, truth %.4f", name, r.Length.In, r.Length.U, k.LengthIn)
			}
			if k.Nominal > 0 && (r.Nominal == nil || r.Nominal.In != k.Nominal) {
				t.Errorf("%s: nominal %+v, truth %g", name, r.Nominal, k.Nominal)
			}
			if !hand && k.EyeIn > 0 && (r.Eye == nil || math.Abs(r.Eye.In-k.EyeIn) > 1.0/8) {
				t.Errorf("%s: eye %+v, truth %g", name, r.Eye, k.EyeIn)
			}
			var sum float64
			for _, l := range r.Budget {
				sum += l.RelativeU * l.RelativeU
			}
			if got := math.Sqrt(sum) * r.Length.In; math.Abs(got/r.Length.U-1) > 1e-9 {
				t.Errorf("%s: the budget adds up to %g, u is %g", name, got, r.Length.U)
			}
		}
		p.Close()
	}
}

// The bank card of ISO/IEC 7810 (ID-1: 85.60 mm by 53.98 mm) lying on the wires
// of practice photos, its corners set by hand.
func TestBankCardInAPracticePhoto(t *testing.T) {
	ranges := scene.DefaultRanges()
	ranges.AdverseShare = -1
	ranges.DistanceMM = scene.Range{280, 500}
	ranges.MinSpanIn = 4
	measured := 0
	for seed := uint64(1); seed < 30 && measured < 3; seed++ {
		spec := scene.Random(seed, ranges)
		corners := [][2]float64{{-trade.CardLongMM / 2, 8}, {trade.CardLongMM / 2, 8}, {trade.CardLongMM / 2, 8 + trade.CardShortMM}}
		var at []Point
		for _, c := range corners {
			x, y, ahead := spec.Project(c[0], c[1], 0)
			if ahead && x > 0 && y > 0 && x < float64(spec.Width) && y < float64(spec.Height) {
				at = append(at, Point{x, y})
			}
		}
		if len(at) < 2 || at[0] == at[1] {
			continue // the card does not lie in this photo
		}
		jpeg, truth, err := scene.Photo(spec)
		if err != nil {
			t.Fatal(err)
		}
		p, err := photo.Read("card.jpg", bytes.NewReader(jpeg))
		if err != nil {
			t.Fatal(err)
		}
		thick := truth.RulerThicknessMM
		r, err := Length(context.Background(), p, LengthOptions{
			What: ReedLength, Ends: &[2]Point{at[0], at[1]}, MarksAboveMM: &thick,
		})
		p.Close()
		if err != nil {
			t.Fatal(err)
		}
		if r.Length == nil {
			continue // the ruler was not read: another test's business
		}
		measured++
		if e := math.Abs(r.Length.MM - trade.CardLongMM); e > 0.005*trade.CardLongMM || e > 4*r.Length.U*25.4 {
			t.Errorf("seed %d: the card measures %.2f ± %.2f mm, it is %.2f", seed, r.Length.MM, r.Length.U*25.4, trade.CardLongMM)
		}
	}
	if measured < 3 {
		t.Errorf("only %d cards measured", measured)
	}
}

// A ruler t above what is measured shows its marks large by D/(D-t), D the
// camera's distance: similar triangles.
func TestLiftIsSimilarTriangles(t *testing.T) {
	above := 3.0
	l := liftFrom(LengthOptions{What: HeddleBarSpan, MarksAboveMM: &above}, true, 300, 0.02)
	if got, want := math.Exp(l.ln), 300.0/297; math.Abs(got-want) > 1e-12 {
		t.Errorf("3 mm at 300 mm: factor %.6f, want %.6f", got, want)
	}
	below := -6.0
	l = liftFrom(LengthOptions{What: ReedLength, MarksAboveMM: &below}, false, 300, 0.02)
	if got, want := math.Exp(l.ln), 300.0/306; math.Abs(got-want) > 1e-12 {
		t.Errorf("6 mm below at 300 mm: factor %.6f, want %.6f", got, want)
	}
	if told, not := l.u, liftFrom(LengthOptions{What: ReedLength}, false, 300, 0.02).u; not < 10*told {
		t.Errorf("a height that is not told is known to %.2f mm, a told one to %.2f mm", not, told)
	}
}

func TestLengthRefusals(t *testing.T) {
	p := open(t, "no-ruler.jpg")
	defer p.Close()
	r, err := Length(context.Background(), p, LengthOptions{What: ReedLength})
	if err != nil || r.Status != Refused || r.Length != nil || r.Reason == "" || r.Advice == "" {
		t.Errorf("no ruler: %+v, %v", r, err)
	}
	for name, opt := range map[string]LengthOptions{
		"unknown length": {What: "girth"},
		"no length":      {},
		"end outside":    {What: ReedLength, Ends: &[2]Point{{-3, 5}, {50, 60}}},
		"not a number":   {What: ReedLength, Ends: &[2]Point{{math.NaN(), 5}, {50, 60}}},
		"one point":      {What: ReedLength, Ends: &[2]Point{{50, 60}, {50, 60}}},
	} {
		if _, err := Length(context.Background(), p, opt); !errors.Is(err, ErrLengthOptions) {
			t.Errorf("%s: error %v", name, err)
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Length(ctx, p, LengthOptions{What: ReedLength}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	// a reed's photo has no heddle bars in it
	q := open(t, "reed-10-025.jpg")
	defer q.Close()
	if r, err := Length(context.Background(), q, LengthOptions{What: StringHeddle}); err != nil || r.Status != Refused || !strings.Contains(r.Advice, "--ends") {
		t.Errorf("no string heddle in it: %s %q %q, %v", r.Status, r.Reason, r.Advice, err)
	}
}

func open(t *testing.T, name string) *photo.Photo {
	t.Helper()
	p, err := photo.Open(filepath.Join("../testdata/images", name))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// A ruler read at twice its spacing makes a 12-dent reed, whose wires are some
// 4 1/2 in high between its baulks, look like a 24-dent one half as high. Reeds
// are made of both dents; of such a height hardly (common practice, no source).
func TestScaleHeldAgainstTheReedsHeight(t *testing.T) {
	right := func(k float64) float64 {
		e := vision.Ends{SpacingIn: k / 12, SpacingU: k / 12 * 0.0005, DentsPerSpacing: 1, FieldIn: k * 4.5}
		return liftFrom(LengthOptions{What: ReedLength, RulerThicknessMM: 0.5}, false, 500, 0.02).heightBySize(ReedLength, e).scaleRight
	}
	if p := right(1); p < 0.95 {
		t.Errorf("a reed as they are made: scale right with %.2f", p)
	}
	if p := right(0.5); p > 0.5 {
		t.Errorf("half as high and twice as fine: scale right with %.2f", p)
	}
	if p := right(2); p > 0.5 {
		t.Errorf("twice as high and half as fine: scale right with %.2f", p)
	}
}

// A reed whose wires are seen 2.1 in high above the ruler that lies on it is a reed of
// more than 4 in whose scale was read at half its spacing, rather than one that low.
func TestSeenLikelihood(t *testing.T) {
	for _, under := range []bool{false, true} {
		if low, twice := seenLikelihood(2.1, under), seenLikelihood(4.2, under); twice < 5*low {
			t.Errorf("under the ruler %v: 2.1 in %.3f, 4.2 in %.3f", under, low, twice)
		}
	}
	// what the ruler may hide makes a low field less odd
	if seenLikelihood(3, true)/seenLikelihood(4, true) < seenLikelihood(3, false)/seenLikelihood(4, false) {
		t.Error("a ruler on the reed hides nothing")
	}
}
