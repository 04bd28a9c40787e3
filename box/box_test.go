package box

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"gocv.io/x/gocv"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
	"dentcount/shelf"
	"dentcount/trade"
)

var bg = context.Background()

func TestMain(m *testing.M) {
	// This test binary is also the process that the kill test kills.
	if dir := os.Getenv("BOX_TEST_FOLDER"); dir != "" {
		s, err := shelf.Open(bg, os.Getenv("BOX_TEST_SHELF"), shelf.Settings{})
		if err == nil {
			_, err = Sort(bg, s, dir, Options{Recursive: true, Jobs: 2, Measure: slowly(readColour, 2*time.Millisecond), Version: "1",
				Progress: func(st Step) { fmt.Println(st.Done) }})
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// The practice photos of these tests are plain pictures whose colour says what
// the measuring, a stand-in for the real one, is to answer: blue is the number
// of the size, green how sure (200 answered, 100 unsure, 0 refused, 50 a
// fault, 25 a panic). The measuring itself is tested where it is.
const (
	answered, unsure, refused, faulty, panics = 200, 100, 0, 50, 25
)

func writePhoto(t testing.TB, path string, size, how, salt int) {
	t.Helper()
	m := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(float64(size), float64(how), float64(salt%256), 0), 120, 160, gocv.MatTypeCV8UC3)
	defer m.Close()
	savePNG(t, path, m)
}

func savePNG(t testing.TB, path string, m gocv.Mat) {
	t.Helper()
	buf, err := gocv.IMEncode(gocv.PNGFileExt, m)
	if err != nil {
		t.Fatal(err)
	}
	defer buf.Close()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, bytes.Clone(buf.GetBytes()), 0o644); err != nil {
		t.Fatal(err)
	}
}

var reedSizes = trade.Sizes(trade.PartReed)

func readColour(ctx context.Context, p *photo.Photo, _ measure.Options) (measure.Result, error) {
	v := p.Pixels.GetVecbAt(0, 0)
	r := measure.Result{Schema: 1, Photo: p.Name, Part: "reed", Warnings: []string{}, TookMS: rand.Int64N(1000)}
	m := reedSizes[int(v[0])%len(reedSizes)]
	conf := 0.99
	switch int(v[1]) {
	case faulty:
		return r, errors.New("the disk of the camera is on fire")
	case panics:
		panic("a flaw")
	case refused:
		r.Status, r.Reason, r.Advice, r.Part = measure.Refused, "no ruler was found", "lay a ruler across the wires", ""
		return r, ctx.Err()
	case unsure:
		r.Status, r.Reason, r.Advice, conf = measure.Unsure, "two sizes are possible", "tell how thick the ruler is", 0.6
	default:
		r.Status = measure.Answered
	}
	r.Pitch = &measure.Pitch{DentsPerInch: m.PerInch * 1.0002, U: 0.003, DentsPer10CM: m.PerInch * 1.0002 / 0.254}
	r.Size = &measure.Size{SizeChoice: measure.SizeChoice{Label: m.Label, System: m.System, DentsPerInch: m.PerInch, Confidence: conf}}
	r.Ruler = &measure.Ruler{Unit: "in", Divisions: 16, PxPerInch: 100, Marks: []measure.Mark{{Value: 0, At: measure.Point{500, 700}}, {Value: 4, At: measure.Point{900, 700}}}}
	r.Evidence = &measure.Evidence{SizePx: [2]int{p.Pixels.Cols(), p.Pixels.Rows()}}
	return r, ctx.Err()
}

type measureFunc = func(context.Context, *photo.Photo, measure.Options) (measure.Result, error)

func slowly(f measureFunc, d time.Duration) measureFunc {
	return func(ctx context.Context, p *photo.Photo, o measure.Options) (measure.Result, error) {
		time.Sleep(d)
		return f(ctx, p, o)
	}
}

func openShelf(t testing.TB) *shelf.Shelf {
	t.Helper()
	return openShelfAt(t, filepath.Join(t.TempDir(), "shelf.db"))
}

func openShelfAt(t testing.TB, path string) *shelf.Shelf {
	t.Helper()
	s, err := shelf.Open(bg, path, shelf.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func sorted(t testing.TB, s *shelf.Shelf, dir string, opt Options) Outcome {
	t.Helper()
	if opt.Measure == nil {
		opt.Measure = readColour
	}
	if opt.Version == "" {
		opt.Version = "1"
	}
	out, err := Sort(bg, s, dir, opt)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func asCSV(t testing.TB, sheet report.Sheet) string {
	t.Helper()
	var b bytes.Buffer
	if err := report.SheetCSV(&b, sheet, shelf.EscapeCell); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// brief says a sheet as STATE SIZE: photos, a row after the other.
func brief(sheet report.Sheet) string {
	var out []string
	for _, r := range sheet.Rows {
		var names []string
		for _, p := range r.Photos {
			names = append(names, p.Name)
		}
		out = append(out, strings.TrimSpace(r.State+" "+r.Label)+": "+strings.Join(names, " "))
	}
	return strings.Join(out, "\n")
}

func TestSortABox(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	writePhoto(t, at("reed-07-1.png"), 10, answered, 1)
	writePhoto(t, at("reed-07-2.png"), 10, answered, 2)
	writePhoto(t, at("b.png"), 12, unsure, 1)
	writePhoto(t, at("c.png"), 3, refused, 1)
	writePhoto(t, at("d1.png"), 10, answered, 3)
	writePhoto(t, at("d2.png"), 11, answered, 4)
	writePhoto(t, at("9-1.png"), 12, answered, 5) // two photos that do not agree
	writePhoto(t, at("9-2.png"), 14, answered, 6)
	writePhoto(t, at("fault.png"), 0, faulty, 1)
	writePhoto(t, at("panic.png"), 0, panics, 1)
	b, _ := os.ReadFile(at("b.png"))
	os.WriteFile(at("copy of b.png"), b, 0o644)
	os.WriteFile(at("torn.jpg"), []byte{0xff, 0xd8, 0xff}, 0o644)
	os.WriteFile(at("notes.txt"), []byte("x"), 0o644)
	os.WriteFile(at(".hidden.png"), b, 0o644)
	writePhoto(t, at("sub/deep/e.png"), 2, answered, 1)
	os.Mkdir(at("folder.jpg"), 0o755)

	s := openShelf(t)
	var steps []Step
	out := sorted(t, s, dir, Options{Progress: func(st Step) { steps = append(steps, st) }})
	l := func(i int) string { return reedSizes[i].Label }
	want := strings.Join([]string{
		"fault: fault.png", "fault: panic.png", "fault: torn.jpg",
		"refused: c.png",
		"unsure " + l(12) + ": 9-1.png 9-2.png",
		"unsure " + l(12) + ": b.png",
		"answered " + l(10) + ": d1.png",
		"answered " + l(10) + ": reed-07-1.png reed-07-2.png",
		"answered " + l(11) + ": d2.png",
	}, "\n")
	if got := brief(out.Sheet); got != want {
		t.Errorf("the sheet:\n%s\nwant\n%s", got, want)
	}
	if out.Photos != 12 || out.Faults != 3 || out.Twins != 1 || out.Known != 0 || len(steps) != 12 {
		t.Errorf("%d photos, %d faults, %d twins, %d known, %d steps", out.Photos, out.Faults, out.Twins, out.Known, len(steps))
	}
	for i, st := range steps {
		if st.Done != i+1 || st.Total != 12 || (st.Err == nil) != (st.Says != "") {
			t.Errorf("step %d: %+v", i, st)
		}
	}
	disagree := out.Sheet.Rows[4]
	if !strings.Contains(disagree.Doubt, "9-1.png") || !strings.Contains(disagree.Doubt, l(14)) || disagree.Advice == "" {
		t.Errorf("%+v", disagree)
	}
	if r := out.Sheet.Rows[2]; r.Doubt == "" || r.Advice == "" {
		t.Errorf("a torn photo without advice: %+v", r)
	}
	for _, r := range out.Sheet.Rows[3:] {
		for _, p := range r.Photos {
			if jpg, err := p.Picture(); err != nil || !bytes.HasPrefix(jpg, []byte{0xff, 0xd8}) {
				t.Errorf("%s has no picture: %v", p.Name, err)
			}
		}
	}

	// Again: nothing is measured twice, the faults are tried again, and the
	// table is the same to the byte.
	var measured atomic.Int32
	again := sorted(t, s, dir, Options{Measure: func(ctx context.Context, p *photo.Photo, o measure.Options) (measure.Result, error) {
		measured.Add(1)
		return readColour(ctx, p, o)
	}})
	if n := measured.Load(); n != 2 { // fault.png and panic.png
		t.Errorf("%d photos were measured again", n)
	}
	if again.Known != 8 || asCSV(t, again.Sheet) != asCSV(t, out.Sheet) {
		t.Errorf("%d known; the table differs:\n%s\n%s", again.Known, asCSV(t, again.Sheet), asCSV(t, out.Sheet))
	}

	// A person's word, another grouping and the sub-folders.
	id, err := shelf.ParseID(out.Sheet.Rows[5].ID)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Settle(bg, shelf.Decision{Part: id, Field: shelf.FieldSize, Size: shelf.Size{Label: "12", System: "inch", PerInch: 12}}); err != nil {
		t.Fatal(err)
	}
	all := brief(sorted(t, s, dir, Options{Recursive: true, Group: Apart}).Sheet)
	for _, line := range []string{"settled 12: b.png", "answered " + l(10) + ": reed-07-2.png", "answered " + l(2) + ": sub/deep/e.png"} {
		if !strings.Contains(all, line) {
			t.Errorf("%q is missing in\n%s", line, all)
		}
	}
}

func TestFactsAndVersionMeasureAgain(t *testing.T) {
	dir := t.TempDir()
	writePhoto(t, filepath.Join(dir, "a.png"), 5, answered, 1)
	s := openShelf(t)
	for i, opt := range []Options{{}, {Version: "2"}, {Version: "2", Facts: measure.Options{RulerThicknessMM: 1.5}}, {Version: "2", Facts: measure.Options{Part: measure.Reed, Unit: "in"}}} {
		if out := sorted(t, s, dir, opt); out.Known != 0 {
			t.Errorf("%d: another measuring was taken for done", i)
		}
		if out := sorted(t, s, dir, opt); out.Known != 1 {
			t.Errorf("%d: the same measuring was done again", i)
		}
	}
	// A folder for debugging says nothing about the answer.
	if out := sorted(t, s, dir, Options{Facts: measure.Options{DebugDir: t.TempDir()}}); out.Known != 1 {
		t.Error("a debug folder made it another measuring")
	}
}

func TestMovedAndRenamedPhotosStayTheSamePart(t *testing.T) {
	dir := t.TempDir()
	writePhoto(t, filepath.Join(dir, "7-1.png"), 5, answered, 1)
	writePhoto(t, filepath.Join(dir, "7-2.png"), 5, answered, 2)
	s := openShelf(t)
	id := sorted(t, s, dir, Options{}).Sheet.Rows[0].ID
	os.Mkdir(filepath.Join(dir, "moved"), 0o755)
	os.Rename(filepath.Join(dir, "7-1.png"), filepath.Join(dir, "moved", "8-1.png"))
	os.Rename(filepath.Join(dir, "7-2.png"), filepath.Join(dir, "moved", "8-2.png"))
	out := sorted(t, s, dir, Options{Recursive: true})
	if len(out.Sheet.Rows) != 1 || out.Sheet.Rows[0].ID != id || out.Known != 2 || out.Sheet.Rows[0].Photos[0].Name != filepath.Join("moved", "8-1.png") {
		t.Errorf("%s, known %d, was %s", brief(out.Sheet), out.Known, id)
	}
}

func TestOddNames(t *testing.T) {
	dir := t.TempDir()
	names := []string{"-rf.png", "--help.png", "a b.png", "line\nbreak.png", "тест.png", "日本.png", "e\u0301.png", "<script>.png", "=1+1.png", "\x1b[31m.png", "bad\xff.png", "'.png", "%s%d.png", " lead.png", "UPPER.PNG"}
	for i, n := range names {
		writePhoto(t, filepath.Join(dir, n), i, answered, i)
	}
	s := openShelf(t)
	out := sorted(t, s, dir, Options{Group: Apart})
	if out.Photos != len(names) || out.Faults != 0 || len(out.Sheet.Rows) != len(names) {
		t.Fatalf("%d photos, %d faults:\n%s", out.Photos, out.Faults, brief(out.Sheet))
	}
	if again := sorted(t, s, dir, Options{Group: Apart}); again.Known != len(names) {
		t.Errorf("%d known", again.Known)
	}
	var b bytes.Buffer
	if err := s.ExportJSON(bg, &b); err != nil {
		t.Fatal(err)
	}
	if _, err := openShelf(t).ImportJSON(bg, &b); err != nil {
		t.Errorf("a shelf with such names cannot be moved: %v", err)
	}
}

func TestLinks(t *testing.T) {
	dir := t.TempDir()
	writePhoto(t, filepath.Join(dir, "sub/a.png"), 1, answered, 1)
	writePhoto(t, filepath.Join(dir, "sub/b.png"), 2, answered, 2)
	elsewhere := t.TempDir()
	writePhoto(t, filepath.Join(elsewhere, "c.png"), 3, answered, 3)
	for link, to := range map[string]string{
		"sub/loop": "..", "sub/self": ".", "up": dir, "twice": "sub", "there": elsewhere,
		"a link.png": "sub/a.png", "dead.png": "nowhere.png", "round.png": "round.png", "dead": "nowhere",
	} {
		if err := os.Symlink(to, filepath.Join(dir, link)); err != nil {
			t.Fatal(err)
		}
	}
	out := sorted(t, openShelf(t), dir, Options{Recursive: true})
	// a.png is there under two names, and is one photo.
	if len(out.Sheet.Rows) != 3 || out.Twins != 1 || out.Faults != 0 || len(out.Skipped) != 2 {
		t.Errorf("%d rows, %d twins, %d faults, skipped %v\n%s", len(out.Sheet.Rows), out.Twins, out.Faults, out.Skipped, brief(out.Sheet))
	}
}

func TestBadFolders(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "a.png")
	writePhoto(t, file, 1, answered, 1)
	for _, bad := range []string{filepath.Join(dir, "nope"), file, "\x00"} {
		if _, err := Sort(bg, openShelf(t), bad, Options{Measure: readColour, Version: "1"}); err == nil {
			t.Errorf("%q was sorted", bad)
		}
	}
	if out := sorted(t, openShelf(t), t.TempDir(), Options{}); out.Photos != 0 || len(out.Sheet.Rows) != 0 {
		t.Errorf("%+v", out)
	}
}

func TestStoppedAndGoneOn(t *testing.T) {
	dir := t.TempDir()
	for i := range 30 {
		writePhoto(t, filepath.Join(dir, fmt.Sprintf("r%02d-1.png", i)), i, answered, i)
	}
	s := openShelf(t)
	ctx, cancel := context.WithCancel(bg)
	var count sync.Map
	counting := func(ctx context.Context, p *photo.Photo, o measure.Options) (measure.Result, error) {
		r, err := readColour(ctx, p, o)
		if err == nil {
			n, _ := count.LoadOrStore(p.Name, new(atomic.Int32))
			n.(*atomic.Int32).Add(1)
		}
		return r, err
	}
	out, err := Sort(ctx, s, dir, Options{Measure: counting, Version: "1", Progress: func(st Step) {
		if st.Done == 10 {
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) || out.Photos != 30 {
		t.Fatalf("%v, %+v", err, out)
	}
	end := sorted(t, s, dir, Options{Measure: counting})
	if end.Known < 10 || len(end.Sheet.Rows) != 30 {
		t.Errorf("%d known, %d rows", end.Known, len(end.Sheet.Rows))
	}
	twice := 0
	count.Range(func(_, n any) bool {
		if n.(*atomic.Int32).Load() > 1 {
			twice++
		}
		return true
	})
	// What was under way at the stop may be done again, and no more than that.
	if twice > 2 {
		t.Errorf("%d photos were measured twice", twice)
	}
}

// However many jobs there are, no more pixels are decoded at a time than there
// is room for; a photo that is larger than all of it is worked on alone.
func TestPixelsAtATime(t *testing.T) {
	dir := t.TempDir()
	for i := range 12 {
		writePhoto(t, filepath.Join(dir, fmt.Sprintf("%d.png", i)), i, answered, i) // 160 x 120
	}
	var now, most, want atomic.Int32
	watched := func(ctx context.Context, p *photo.Photo, o measure.Options) (measure.Result, error) {
		n := now.Add(1)
		defer now.Add(-1)
		for m := most.Load(); n > m && !most.CompareAndSwap(m, n); m = most.Load() {
		}
		// The others come as far as they are let.
		for range 200 {
			if most.Load() >= want.Load() {
				break
			}
			time.Sleep(5 * time.Millisecond)
		}
		time.Sleep(2 * time.Millisecond)
		return readColour(ctx, p, o)
	}
	for _, x := range []struct {
		perJob int64
		want   int32
	}{{160 * 120 / 2, 2}, {1, 1}, {160 * 120, 4}, {0, 4}} {
		most.Store(0)
		want.Store(x.want)
		out := sorted(t, openShelf(t), dir, Options{Jobs: 4, PixelsPerJob: x.perJob, Measure: watched})
		if got := most.Load(); got != x.want || len(out.Sheet.Rows) != 12 || out.Faults != 0 {
			t.Errorf("%d pixels a job: %d photos at a time, want %d; %d rows", x.perJob, got, x.want, len(out.Sheet.Rows))
		}
	}
}

func TestShelfThatFailsStopsTheRun(t *testing.T) {
	dir := t.TempDir()
	for i := range 5 {
		writePhoto(t, filepath.Join(dir, fmt.Sprintf("%d.png", i)), i, answered, i)
	}
	s := openShelf(t)
	s.Close()
	if _, err := Sort(bg, s, dir, Options{Measure: readColour, Version: "1"}); err == nil {
		t.Error("a closed shelf went unnoticed")
	}
}
