package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/skip2/go-qrcode"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/shelf"
)

// bench is a command run in this process, with hand-made answers in place of
// the measuring: these tests are about the command, not about the numbers.
type bench struct {
	*app
	out, err bytes.Buffer
}

func newBench(f measureFunc) *bench {
	b := &bench{}
	b.app = &app{stdin: strings.NewReader(""), stdout: &b.out, stderr: &b.err, getenv: func(string) string { return "" }, measure: f}
	return b
}

// answer is a plain answered result.
func answer() measure.Result {
	return measure.Result{
		Schema: 1, Status: measure.Answered, Part: "reed",
		Pitch: &measure.Pitch{DentsPerInch: 12.003, U: 0.01, DentsPer10CM: 47.256},
		Size:  &measure.Size{SizeChoice: measure.SizeChoice{Label: "12", System: "inch", DentsPerInch: 12, Confidence: 0.97}},
	}
}

func answering(status measure.Status) measureFunc {
	return func(context.Context, *photo.Photo, measure.Options) (measure.Result, error) {
		r := answer()
		r.Status = status
		return r, nil
	}
}

// photos makes n openable photos and returns their names.
func photos(t *testing.T, names ...string) []string {
	t.Helper()
	dir := t.TempDir()
	var out []string
	for _, name := range names {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, makeInput("black"), 0o644); err != nil {
			t.Fatal(err)
		}
		out = append(out, path)
	}
	return out
}

func TestExitStatus(t *testing.T) {
	good := photos(t, "good.jpg")[0]
	missing := filepath.Join(t.TempDir(), "missing.jpg")
	for _, c := range []struct {
		name string
		f    measureFunc
		args []string
		want int
	}{
		{"answered", answering(measure.Answered), []string{good}, 0},
		{"unsure", answering(measure.Unsure), []string{good}, 3},
		{"refused", answering(measure.Refused), []string{good}, 3},
		{"fault", answering(measure.Answered), []string{missing}, 1},
		{"fault before doubt", answering(measure.Unsure), []string{good, missing}, 1},
		{"fault with a good one", answering(measure.Answered), []string{missing, good}, 1},
		{"usage before fault", answering(measure.Answered), []string{missing, "--unit", "ell"}, 2},
	} {
		b := newBench(c.f)
		if got := b.run(context.Background(), append([]string{"measure"}, c.args...)); got != c.want {
			t.Errorf("%s: status %d, want %d\n%s%s", c.name, got, c.want, b.out.String(), b.err.String())
		}
	}
}

// A flaw of ours in one photo is a fault of that photo; the others are answered.
func TestOnePhotoNeverStopsTheOthers(t *testing.T) {
	files := photos(t, "a.jpg", "b.jpg", "c.jpg", "d.jpg")
	f := func(_ context.Context, p *photo.Photo, _ measure.Options) (measure.Result, error) {
		r := answer()
		switch filepath.Base(p.Name) {
		case "a.jpg":
			panic("index out of range")
		case "b.jpg":
			r.Pitch.DentsPerInch = math.NaN() // has no JSON form
		case "c.jpg":
			return r, errors.New("no memory")
		}
		return r, nil
	}
	debugDir := filepath.Join(t.TempDir(), "debug")
	b := newBench(f)
	if got := b.run(context.Background(), append([]string{"measure", "--json", "--debug-dir", debugDir}, files...)); got != statusFault {
		t.Errorf("status %d, want %d", got, statusFault)
	}
	lines := strings.Split(strings.TrimSpace(b.out.String()), "\n")
	if len(lines) != 4 {
		t.Fatalf("%d lines, want one a photo:\n%s", len(lines), b.out.String())
	}
	for i, want := range []string{"refused", "refused", "refused", "answered"} {
		var r measure.Result
		if err := json.Unmarshal([]byte(lines[i]), &r); err != nil {
			t.Fatalf("line %d: %v", i, err)
		}
		if string(r.Status) != want || r.Photo != files[i] {
			t.Errorf("line %d is %s %s, want %s %s", i, r.Photo, r.Status, files[i], want)
		}
	}
	if n := strings.Count(b.err.String(), "\n"); n != 3 {
		t.Errorf("%d lines on standard error, want 3:\n%s", n, b.err.String())
	}
	if stack, err := os.ReadFile(filepath.Join(debugDir, "001", "panic.txt")); err != nil || !strings.Contains(string(stack), "index out of range") {
		t.Errorf("the stack is not in the debug folder: %v", err)
	}
}

func TestCancelStops(t *testing.T) {
	files := photos(t, "a.jpg", "b.jpg", "c.jpg")
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	n := 0
	b := newBench(func(ctx context.Context, _ *photo.Photo, _ measure.Options) (measure.Result, error) {
		if n++; n == 2 {
			cancel()
			return measure.Result{}, ctx.Err()
		}
		return answer(), nil
	})
	overlays := filepath.Join(t.TempDir(), "seen")
	if got := b.run(ctx, append([]string{"measure", "--overlay", overlays}, files...)); got != statusFault {
		t.Errorf("status %d, want %d", got, statusFault)
	}
	if n != 2 {
		t.Errorf("%d photos were taken up, want 2", n)
	}
	if !strings.HasPrefix(b.out.String(), files[0]+": a 12-dent reed") || strings.Contains(b.out.String(), files[1]) {
		t.Errorf("standard output:\n%s", b.out.String())
	}
	if !strings.Contains(b.err.String(), "stopped") {
		t.Errorf("standard error does not say that it was stopped: %s", b.err.String())
	}
	if got, _ := os.ReadDir(overlays); len(got) != 1 {
		t.Errorf("%d files among the overlays, want the one of the finished photo", len(got))
	}
}

// Waiting for standard input can be stopped too.
func TestCancelWhileReadingStdin(t *testing.T) {
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	ctx, cancel := context.WithCancel(context.Background())
	b := newBench(answering(measure.Answered))
	b.stdin = r
	done := make(chan int)
	go func() { done <- b.run(ctx, []string{"measure", "-"}) }()
	cancel()
	if got := <-done; got != statusFault {
		t.Errorf("status %d, want %d", got, statusFault)
	}
}

// Every write to /dev/full fails with ENOSPC.
func TestFullDiskIsAFault(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("no /dev/full here: ", err)
	}
	defer full.Close()
	for _, args := range [][]string{{"measure"}, {"measure", "--json"}} {
		b := newBench(answering(measure.Answered))
		b.stdout = full
		if got := b.run(context.Background(), append(args, photos(t, "a.jpg", "b.jpg")...)); got != statusFault {
			t.Errorf("%v: status %d, want %d", args, got, statusFault)
		}
		if msg := b.err.String(); strings.Count(msg, "\n") != 1 || !strings.Contains(msg, "could not be written out") {
			t.Errorf("%v: standard error: %s", args, msg)
		}
	}
}

func TestFlagsReachTheMeasuring(t *testing.T) {
	var got measure.Options
	b := newBench(func(_ context.Context, _ *photo.Photo, opt measure.Options) (measure.Result, error) {
		got = opt
		return answer(), nil
	})
	args := []string{"measure", "--part", "rigid-heddle", "--unit", "cm", "--ruler-thickness", "1.5mm", "--camera-distance", "310", "--debug-dir", "dbg"}
	if status := b.run(context.Background(), append(args, photos(t, "a.jpg")...)); status != 0 {
		t.Fatalf("status %d: %s", status, b.err.String())
	}
	if got.Part != measure.RigidHeddle || got.Unit != "cm" || got.RulerThicknessMM != 1.5 || got.CameraDistanceMM != 310 || got.DebugDir != "dbg" {
		t.Errorf("options %+v", got)
	}
}

// A photo is measured on the same pixels whether a picture of the answer is wanted or not.
func TestOverlayDoesNotChangeWhatIsMeasured(t *testing.T) {
	file := filepath.Join("..", "..", "testdata", "images", "reed-10-025.jpg")
	var seen []photo.Plane
	b := newBench(func(_ context.Context, p *photo.Photo, _ measure.Options) (measure.Result, error) {
		g, err := p.Gray()
		seen = append(seen, g)
		return answer(), err
	})
	dir := t.TempDir()
	for _, args := range [][]string{{"measure", file}, {"measure", "--overlay", dir, file}} {
		if status := b.run(context.Background(), args); status != 0 {
			t.Fatalf("%v: status %d: %s", args, status, b.err.String())
		}
	}
	if len(seen) != 2 || !bytes.Equal(seen[0].Pix, seen[1].Pix) {
		t.Error("other pixels are measured with --overlay")
	}
	made, err := filepath.Glob(filepath.Join(dir, "*.jpg"))
	if err != nil || len(made) != 1 {
		t.Fatalf("overlays %v, %v", made, err)
	}
	p, err := photo.Open(made[0])
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	c, err := p.Colour()
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Equal(c.R.Pix, c.B.Pix) {
		t.Error("the overlay has no colours")
	}
}

func TestColourOnlyOnATerminal(t *testing.T) {
	b := newBench(answering(measure.Answered))
	b.run(context.Background(), append([]string{"measure"}, photos(t, "a.jpg")...))
	if strings.Contains(b.out.String(), "\x1b") {
		t.Errorf("colour in what is no terminal: %q", b.out.String())
	}
}

// Wrong calls: status 2, an empty standard output, and words that help.
// A photo that was not answered and shows an id tag is measured again with the
// tag covered.
func TestTagIsCoveredAtTheSecondTry(t *testing.T) {
	tag, err := qrcode.Encode(shelf.Tag{ID: shelf.DerivedID("measured", 0), SideMM: 21, Ruled: true}.Text(), qrcode.Medium, 500)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "tag.png")
	if err := os.WriteFile(file, tag, 0o644); err != nil {
		t.Fatal(err)
	}
	for first, wantCalls := range map[measure.Status]int{measure.Refused: 2, measure.Unsure: 2, measure.Answered: 1} {
		calls := 0
		b := newBench(func(_ context.Context, p *photo.Photo, _ measure.Options) (measure.Result, error) {
			calls++
			light := 0
			for y := range p.Pixels.Rows() {
				if p.Pixels.GetVecbAt(y, p.Pixels.Cols()/2)[0] > 200 {
					light++
				}
			}
			r := answer()
			if r.Status = first; light == p.Pixels.Rows() {
				r.Status, r.Ruler = measure.Answered, &measure.Ruler{Unit: "in"}
			}
			return r, nil
		})
		if got := b.run(context.Background(), []string{"measure", file}); got != statusOK || calls != wantCalls {
			t.Errorf("%s: status %d after %d calls, want %d\n%s%s", first, got, calls, wantCalls, b.out.String(), b.err.String())
		}
	}
}

func TestWrongUsage(t *testing.T) {
	file := photos(t, "reed.jpg")[0]
	for _, c := range []struct {
		args string // the photo stands for @
		want string
	}{
		{"mesure @", "unknown command"},
		{"measure --frobnicate @", "unknown flag: --frobnicate"},
		{"measure - -", "standard input can be read once"},
		{"measure --json --explain @", "explain json"},
		{"measure --ruler-thickness -1 @", "give millimetres from 0.01 to 30, such as 1.5"},
		{"measure --ruler-thickness 0 @", "paper scale is about 0.1"},
		{"measure --ruler-thickness NaN @", "give millimetres"},
		{"measure --ruler-thickness +Inf @", "give millimetres"},
		{"measure --ruler-thickness 30.1 @", "give millimetres"},
		{"measure --ruler-thickness 1,5 @", "give millimetres"},
		{"measure --ruler-thickness 1.5in @", "give millimetres"},
		{"measure --ruler-thickness thin @", "give millimetres"},
		{"measure --camera-distance 29 @", "give millimetres from 30 to 10000, such as 300"},
		{"measure --camera-distance -300 @", "give millimetres"},
		{"measure --camera-distance 1e9 @", "give millimetres"},
		{"measure --unit ft @", "give in or cm"},
		{"measure --part loom @", "give reed or rigid-heddle"},
		{"measure --debug-dir @ @", "is a file, not a folder"},
		{"measure --overlay= @", "name of the folder is empty"},
		{"version now", "unknown command"},
	} {
		b := newBench(func(context.Context, *photo.Photo, measure.Options) (measure.Result, error) {
			t.Errorf("%s: measured all the same", c.args)
			return answer(), nil
		})
		args := strings.Fields(strings.ReplaceAll(c.args, "@", file))
		if got := b.run(context.Background(), args); got != statusUsage {
			t.Errorf("%s: status %d, want %d", c.args, got, statusUsage)
		}
		if b.out.Len() > 0 {
			t.Errorf("%s: standard output: %s", c.args, b.out.String())
		}
		if !strings.Contains(b.err.String(), c.want) {
			t.Errorf("%s: standard error says %q, want %q in it", c.args, b.err.String(), c.want)
		}
	}
	b := newBench(answering(measure.Answered))
	if got := b.run(context.Background(), []string{"measure", ""}); got != statusUsage || !strings.Contains(b.err.String(), "empty name") {
		t.Errorf("an empty name: status %d, %s", got, b.err.String())
	}
}
