package box

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/skip2/go-qrcode"
	"gocv.io/x/gocv"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
	"dentcount/scene"
	"dentcount/shelf"
)

// The tag as report prints it, millimetres.
const (
	printedW, printedH = 132.0, 32.0
	printDPI           = 600 // a common printer's
)

// printedTag is an id tag as it comes out of the printer: the PDF that
// dentcount label blank makes, drawn by poppler, cut out along its line.
func printedTag(t testing.TB, tag shelf.ID) gocv.Mat {
	t.Helper()
	if _, err := exec.LookPath("pdftoppm"); err != nil {
		t.Skip("pdftoppm is not installed (apt-get install poppler-utils, or make setup)")
	}
	paper, err := report.ParsePaper(fmt.Sprintf("%gx%g", printedW+20, printedH+30))
	if err != nil {
		t.Fatal(err)
	}
	var pdf bytes.Buffer
	if err := report.TagsPDF(&pdf, []report.Tag{{ID: tag.String(), QR: func(side int) string { return shelf.Tag{ID: tag, SideMM: side, Ruled: true}.Text() }}}, paper); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "tag.pdf")
	if err := os.WriteFile(file, pdf.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("pdftoppm", "-singlefile", "-png", "-r", fmt.Sprint(printDPI), file, file).CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm: %v %s", err, out)
	}
	page := gocv.IMRead(file+".png", gocv.IMReadColor)
	defer page.Close()
	// The tag is the rectangle that the cut line draws: the first and the last
	// row and column with ink below the line that says how to print.
	grey := gocv.NewMat()
	defer grey.Close()
	gocv.CvtColor(page, &grey, gocv.ColorBGRToGray)
	px := func(mm float64) int { return int(math.Round(mm / 25.4 * printDPI)) }
	lo, hi := image.Pt(grey.Cols(), grey.Rows()), image.Pt(0, 0)
	ink := grey.ToBytes()
	for y := px(17); y < grey.Rows(); y++ {
		for x, v := range ink[y*grey.Cols() : (y+1)*grey.Cols()] {
			if v < 200 {
				lo, hi = image.Pt(min(lo.X, x), min(lo.Y, y)), image.Pt(max(hi.X, x+1), max(hi.Y, y+1))
			}
		}
	}
	cut := image.Rectangle{Min: lo, Max: hi}
	if dx, dy := cut.Dx()-px(printedW), cut.Dy()-px(printedH); dx < 0 || dx > 14 || dy < 0 || dy > 14 {
		t.Fatalf("the tag on the page is %v px, want %d x %d", cut, px(printedW), px(printedH))
	}
	view := page.Region(cut)
	defer view.Close()
	return view.Clone()
}

// layTag lays a printed tag into a drawn scene, in the plane of the wires,
// printed smaller or larger where print is not 1.
func layTag(pic *gocv.Mat, s tagScene, tag gocv.Mat, print float64) {
	var from, to []gocv.Point2f
	for i, c := range tagCorners(tag, s.x, s.y, s.turnDeg, print) {
		px, py, _ := s.Project(c[0], c[1], 0.1)
		from = append(from, gocv.Point2f{X: float32([]int{0, tag.Cols(), tag.Cols(), 0}[i]) - 0.5, Y: float32([]int{0, 0, tag.Rows(), tag.Rows()}[i]) - 0.5})
		to = append(to, gocv.Point2f{X: float32(px - 0.5), Y: float32(py - 0.5)})
	}
	src, dst := gocv.NewPoint2fVectorFromPoints(from), gocv.NewPoint2fVectorFromPoints(to)
	defer src.Close()
	defer dst.Close()
	h := gocv.GetPerspectiveTransform2f(src, dst)
	defer h.Close()
	// The paper is no whiter than the table may be, and as sharp and as noisy
	// as the photo.
	perPx := float64(tag.Cols()) / math.Hypot(float64(to[1].X-to[0].X), float64(to[1].Y-to[0].Y))
	soft := gocv.NewMat()
	defer soft.Close()
	tag.ConvertToWithParams(&soft, gocv.MatTypeCV8UC3, 0.75, 20)
	blur := perPx * math.Hypot(s.Sensor.BlurPx, 0.4)
	gocv.GaussianBlur(soft, &soft, image.Pt(0, 0), blur, blur, gocv.BorderReplicate)
	gocv.WarpPerspectiveWithParams(soft, pic, h, image.Pt(pic.Cols(), pic.Rows()), gocv.InterpolationLinear, gocv.BorderTransparent, color.RGBA{})
}

// tagCorners are the corners of a tag in the world of a scene, mm, in the
// order top left, top right, bottom right, bottom left as it is read.
func tagCorners(tag gocv.Mat, x, y, turnDeg, print float64) [4][2]float64 {
	sin, cos := math.Sincos(turnDeg * math.Pi / 180)
	w, h := float64(tag.Cols())/printDPI*25.4*print/2, float64(tag.Rows())/printDPI*25.4*print/2
	var out [4][2]float64
	for i, c := range [4][2]float64{{-w, h}, {w, h}, {w, -h}, {-w, -h}} { // y runs up in the world
		out[i] = [2]float64{x + cos*c[0] - sin*c[1], y + sin*c[0] + cos*c[1]}
	}
	return out
}

// tagScene is a drawn reed or heddle with a ruler, and a place for a tag there.
type tagScene struct {
	scene.Spec
	x, y, turnDeg float64
}

// roomForTag makes a scene and looks for a place beside the ruler for a tag
// printed that large; ok is false where the frame has none.
func roomForTag(seed uint64, tag gocv.Mat, print float64) (s tagScene, ok bool) {
	s.Spec = scene.Random(seed, scene.Ranges{AdverseShare: -1, OffShare: -1, PxPerDent: scene.Range{9, 22}, LongSidePx: scene.Range{2400, 2400}, BlurPx: scene.Range{0.4, 0.9}})
	r := rand.New(rand.NewPCG(seed, 7))
	for range 200 {
		s.x, s.y = s.Camera.AimXMM+(r.Float64()-0.5)*200, s.Camera.AimYMM+(r.Float64()-0.5)*200
		s.turnDeg = s.Rulers[0].AngleDeg + (r.Float64()-0.5)*30
		if clear(s.Spec, tagCorners(tag, s.x, s.y, s.turnDeg, print)) {
			return s, true
		}
	}
	return s, false
}

// photo draws the scene without a tag.
func (s tagScene) photo(t testing.TB) *photo.Photo {
	t.Helper()
	jpeg, _, err := scene.Photo(s.Spec)
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "x.jpg")
	if err := os.WriteFile(name, jpeg, 0o644); err != nil {
		t.Fatal(err)
	}
	p, err := photo.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// clear says whether a tag lies in the frame, beside the rulers and within
// 60 mm of the first one.
func clear(s scene.Spec, corners [4][2]float64) bool {
	near := false
	for i, c := range corners {
		px, py, ahead := s.Project(c[0], c[1], 0)
		if !ahead || px < 5 || py < 5 || px > float64(s.Width-5) || py > float64(s.Height-5) {
			return false
		}
		d := corners[(i+1)%4]
		for n, r := range s.Rulers {
			sin, cos := math.Sincos(r.AngleDeg * math.Pi / 180)
			for k := range 20 {
				f := float64(k) / 20
				dx, dy := c[0]+(d[0]-c[0])*f-r.XMM, c[1]+(d[1]-c[1])*f-r.YMM
				q := -sin*dx + cos*dy
				if q > -6 && q < r.WidthMM+6 {
					return false
				}
				near = near || n == 0 && q > -60 && q < r.WidthMM+60
			}
		}
	}
	return near
}

// drawTag lays an id tag of ours into a picture, turned and seen slightly from
// the side. pxPerInch is the scale it has there.
func drawTag(t testing.TB, m *gocv.Mat, tag shelf.Tag, pxPerInch float64, at image.Point, turnDeg float64) {
	t.Helper()
	code, err := qrcode.New(tag.Text(), qrcode.Medium)
	if err != nil {
		t.Fatal(err)
	}
	code.DisableBorder = true
	const px = 12 // a module
	rows := code.Bitmap()
	side := (len(rows) + 8) * px
	flat := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(235, 235, 235, 0), side, side, gocv.MatTypeCV8UC3)
	defer flat.Close()
	for y, row := range rows {
		for x, dark := range row {
			if dark {
				gocv.Rectangle(&flat, image.Rect((x+4)*px, (y+4)*px, (x+5)*px, (y+5)*px), color.RGBA{30, 30, 30, 0}, -1)
			}
		}
	}
	k := pxPerInch / 25.4 * float64(tag.SideMM) / float64(len(rows)*px)
	warp := gocv.GetRotationMatrix2D(image.Pt(side/2, side/2), turnDeg, k)
	defer warp.Close()
	warp.SetDoubleAt(0, 2, warp.GetDoubleAt(0, 2)+float64(at.X)-float64(side)/2)
	warp.SetDoubleAt(1, 2, warp.GetDoubleAt(1, 2)+float64(at.Y)-float64(side)/2)
	laid, mask := gocv.NewMat(), gocv.NewMat()
	defer laid.Close()
	defer mask.Close()
	white := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(255, 255, 255, 0), side, side, gocv.MatTypeCV8UC1)
	defer white.Close()
	gocv.WarpAffine(flat, &laid, warp, image.Pt(m.Cols(), m.Rows()))
	gocv.WarpAffine(white, &mask, warp, image.Pt(m.Cols(), m.Rows()))
	laid.CopyToWithMask(m, mask)
	gocv.GaussianBlur(*m, m, image.Pt(0, 0), 1, 1, gocv.BorderDefault)
}

func TestTagsNameTheParts(t *testing.T) {
	dir := t.TempDir()
	draw := func(name string, salt int, tag shelf.Tag, pxPerInch, turn float64) {
		m := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(8, answered, float64(salt), 0), 900, 1200, gocv.MatTypeCV8UC3)
		defer m.Close()
		drawTag(t, &m, tag, pxPerInch, image.Pt(700, 450), turn)
		savePNG(t, filepath.Join(dir, name), m)
	}
	a := shelf.Tag{ID: shelf.DerivedID("tag a", 0), SideMM: 21, Ruled: true}
	b := shelf.Tag{ID: shelf.DerivedID("tag b", 0), SideMM: 21, Ruled: true}
	c := shelf.Tag{ID: shelf.DerivedID("tag c", 0)}
	// readColour takes the ruler for 100 px per inch.
	draw("x.png", 1, a, 101, 3)
	draw("y.png", 2, a, 99, 200)
	draw("z.png", 3, b, 254, 40) // a centimetre taken for an inch
	m := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(8, answered, 9, 0), 900, 1200, gocv.MatTypeCV8UC3)
	defer m.Close()
	sized := c
	sized.SideMM = 21
	drawTag(t, &m, sized, 180, image.Pt(500, 500), 90)
	savePNG(t, filepath.Join(dir, "w.png"), m)

	s := openShelf(t)
	out := sorted(t, s, dir, Options{})
	rows := map[string]report.SheetRow{}
	for _, r := range out.Sheet.Rows {
		rows[r.ID] = r
	}
	if r := rows[a.ID.String()]; len(r.Photos) != 2 || r.State != report.RowAnswered {
		t.Errorf("%+v", r)
	}
	if r := rows[b.ID.String()]; r.State != report.RowUnsure || !strings.Contains(r.Doubt, "printed scale of the id tag differ by 15") || !strings.Contains(r.Advice, "100 mm") {
		t.Errorf("%+v", r)
	}
	if r := rows[c.ID.String()]; r.State != report.RowUnsure || !strings.Contains(r.Doubt, "QR code on the label") {
		t.Errorf("%+v", r)
	}
	if len(rows) != 3 {
		t.Errorf("%s", brief(out.Sheet))
	}
	// Known photos keep their tags.
	if again := sorted(t, s, dir, Options{}); again.Known != 4 || asCSV(t, again.Sheet) != asCSV(t, out.Sheet) {
		t.Errorf("known %d\n%s", again.Known, brief(again.Sheet))
	}
}

// trueRuler is the first scale of a scene's first ruler as a perfect reader
// finds it in the photo.
func trueRuler(s scene.Spec) *measure.Ruler {
	r := &measure.Ruler{Unit: s.Rulers[0].Scales[0].Unit}
	for _, m := range s.RulerMarks(0, 0) {
		px, py, ahead := s.Project(m.XMM, m.YMM, m.ZMM)
		if m.Rank == 0 && ahead && px > 0 && py > 0 && px < float64(s.Width) && py < float64(s.Height) {
			r.Marks = append(r.Marks, measure.Mark{Value: m.Value, At: measure.Point{px, py}})
		}
	}
	return r
}

// The tag's scale against a ruler read perfectly, in drawn photos with tilt,
// roll and distortion: it is within its uncertainty of what geometry says, and
// a tag printed "to fit the page" is found out.
func TestTagScaleInPhotos(t *testing.T) {
	tag := printedTag(t, shelf.DerivedID("probe", 0))
	defer tag.Close()
	n, off := 0, 0
	for seed := uint64(1); n < 6; seed++ {
		if seed > 60 {
			t.Fatalf("only %d of 60 scenes have room for a tag", n)
		}
		s, ok := roomForTag(seed, tag, 1.06)
		if truth, err := scene.TruthOf(s.Spec); err != nil {
			t.Fatal(err)
		} else if !ok || truth.PxPerInch < 90 {
			continue // a module of the tag is hardly three pixels
		}
		n++
		ruler := trueRuler(s.Spec)
		bare := s.photo(t)
		defer bare.Close()
		for _, print := range []float64{1, 0.94, 1.06} {
			p := &photo.Photo{Pixels: bare.Pixels.Clone()}
			layTag(&p.Pixels, s, tag, print)
			seen, found := findTag(p)
			p.Close()
			if !found || seen.plane == nil {
				t.Errorf("seed %d: the tag was not found", seed)
				continue
			}
			ratio, u, ok := seen.plane.perRuler(ruler)
			// A ruler over the wires looks larger by its height over the camera's distance.
			want := (1 + s.Rulers[0].ThicknessMM/s.Camera.DistanceMM) / print
			if !ok || math.Abs(ratio/want-1) > 0.005+3*u {
				t.Errorf("seed %d, printed at %.0f %%: ratio %.4f ± %.4f, want %.4f", seed, 100*print, ratio, u, want)
			}
			r := measure.Result{Status: measure.Answered, Order: "reed, 12", Ruler: ruler, Size: &measure.Size{SizeChoice: measure.SizeChoice{Label: "12", Confidence: 0.97}}}
			compareScales(&r, seen)
			switch {
			case print == 1 && r.Status != measure.Answered:
				t.Errorf("seed %d: a true tag was taken for a false one: %s", seed, r.Reason)
			case print != 1 && r.Status == measure.Unsure:
				off++
				if r.Order != "" || r.Size.Confidence > 0.5 || r.Reason == "" || r.Advice == "" {
					t.Errorf("seed %d: unsure, and yet %+v", seed, r)
				}
			}
		}
	}
	// A tag seen small leaves more than 6 % open and lets it pass.
	if off < 9 {
		t.Errorf("%d of 12 badly printed tags were found out", off)
	}
}

// A label is stuck on a baulk, nearer to the camera than the wires: what a tag
// must not differ by, it may.
func TestLabelMayLieHigher(t *testing.T) {
	m := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(90, 120, 140, 0), 900, 1200, gocv.MatTypeCV8UC3)
	p := &photo.Photo{Pixels: m}
	defer p.Close()
	drawTag(t, &m, shelf.Tag{ID: shelf.DerivedID("label", 0), SideMM: 21}, 208, image.Pt(500, 400), 5)
	seen, ok := findTag(p)
	if !ok || seen.plane == nil {
		t.Fatal("not found")
	}
	for _, x := range []struct {
		ruled     bool
		pxPerInch float64
		want      measure.Status
	}{{false, 198, measure.Answered}, {true, 198, measure.Unsure}, {false, 160, measure.Unsure}, {true, 208, measure.Answered}} {
		seen.Ruled = x.ruled
		r := measure.Result{Status: measure.Answered, Ruler: &measure.Ruler{Unit: "in", Marks: []measure.Mark{{Value: 0, At: measure.Point{400, 500}}, {Value: 2, At: measure.Point{400 + 2*x.pxPerInch, 500}}}}}
		if compareScales(&r, seen); r.Status != x.want {
			ratio, u, _ := seen.plane.perRuler(r.Ruler)
			t.Errorf("%+v: %s, %s (ratio %.3f ± %.3f)", x, r.Status, r.Reason, ratio, u)
		}
	}
	// Of what was not sure before, it is one note more.
	r := measure.Result{Status: measure.Refused, Reason: "no wires", Ruler: &measure.Ruler{Unit: "cm", Marks: []measure.Mark{{Value: 0, At: measure.Point{400, 500}}, {Value: 2, At: measure.Point{600, 500}}}}}
	if compareScales(&r, seen); r.Reason != "no wires" || len(r.Warnings) != 1 {
		t.Errorf("%+v", r)
	}
}

// A tag lies beside the ruler, and the photo is measured as without it; the
// scales on the tag's edges would be read otherwise. The picture is the same
// afterwards.
func TestTagIsCoveredWhileMeasuring(t *testing.T) {
	tag := printedTag(t, shelf.DerivedID("probe", 0))
	defer tag.Close()
	s, ok := roomForTag(3, tag, 1)
	if !ok {
		t.Fatal("the scene has no room for the tag")
	}
	p := s.photo(t)
	defer p.Close()
	layTag(&p.Pixels, s, tag, 1)
	before := p.Pixels.Clone()
	defer before.Close()
	seen, ok := findTag(p)
	if !ok || !seen.Ruled || seen.plane == nil {
		t.Fatalf("%+v, %v", seen, ok)
	}
	r, err := Tag{seen}.Measure(p, func() (measure.Result, error) { return measure.Photo(bg, p, measure.Options{}) })
	if err != nil {
		t.Fatal(err)
	}
	if r.Status != measure.Answered || r.Size.Label != s.Part.Label || r.Ruler.Unit != s.Rulers[0].Scales[0].Unit {
		t.Errorf("%s %+v by %+v, want %s", r.Status, r.Size, r.Ruler, s.Part.Label)
	}
	diff := gocv.NewMat()
	defer diff.Close()
	gocv.AbsDiff(before, p.Pixels, &diff)
	if sum := diff.Sum(); sum.Val1+sum.Val2+sum.Val3 != 0 {
		t.Error("the cover was left on the picture")
	}
}

// Where the tag is all there is to measure by, its own scale is the ruler.
func TestTagAsTheOnlyRuler(t *testing.T) {
	m := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(60, 60, 60, 0), 900, 1200, gocv.MatTypeCV8UC3)
	p := &photo.Photo{Pixels: m}
	defer p.Close()
	tag := shelf.Tag{ID: shelf.DerivedID("alone", 0), SideMM: 21, Ruled: true}
	drawTag(t, &m, tag, 120, image.Pt(300, 400), 5)
	seen, ok := findTag(p)
	if !ok || seen.plane == nil {
		t.Fatal("not found")
	}
	calls := 0
	r, err := Tag{seen}.Measure(p, func() (measure.Result, error) {
		calls++
		if v := p.Pixels.GetVecbAt(400, 600); v[0] == 60 && v[1] == 60 { // the tag reaches there, and is not drawn
			return measure.Result{Status: measure.Answered, Ruler: &measure.Ruler{Unit: "in"}}, nil
		}
		return measure.Result{Status: measure.Refused, Reason: "no ruler"}, nil
	})
	if err != nil || calls != 2 || r.Status != measure.Answered || len(r.Warnings) != 1 {
		t.Errorf("%d calls, %+v, %v", calls, r, err)
	}
}
