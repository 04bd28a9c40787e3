package box

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"

	"golang.org/x/sync/errgroup"
	"golang.org/x/sync/semaphore"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/report"
	"dentcount/shelf"
)

// Options says how a folder is sorted.
type Options struct {
	// Recursive takes the photos of all sub-folders, too.
	Recursive bool
	// Group says which photos without a tag show one part; "" means ByName.
	Group GroupBy
	// Jobs is how many photos are worked on at once; 0 means one for each core.
	Jobs int
	// PixelsPerJob bounds the memory: together no more than Jobs times as many
	// pixels are decoded at a time, but for a single photo that is larger. 0
	// means 16 million, a photo of today's phones.
	PixelsPerJob int64
	// Measure is the measuring, measure.Photo. Version names it: a photo that
	// was measured by the same version with the same facts is done.
	Measure func(context.Context, *photo.Photo, measure.Options) (measure.Result, error)
	Version string
	// Facts are what the caller tells of all photos.
	Facts measure.Options
	// Progress, where not nil, is called after each photo, never by two
	// goroutines at once.
	Progress func(Step)
}

func (o Options) pixelsPerJob() int64 {
	if o.PixelsPerJob > 0 {
		return o.PixelsPerJob
	}
	return 16_000_000
}

// Step is one photo that was dealt with.
type Step struct {
	Done, Total int
	Name        string // from the folder on
	Says        string // what was measured, in words; empty for a fault
	Status      measure.Status
	Known       bool  // it was measured in an earlier run
	Err         error // a fault: the photo could not be read or measured
}

// Outcome is what a sorted folder came to.
type Outcome struct {
	Sheet   report.Sheet
	Photos  int       // photo files in the folder
	Known   int       // of these, measured in an earlier run
	Twins   int       // of these, copies of another one, to the byte
	Faults  int       // of these, not readable
	Skipped []Skipped // other things that could not be looked at
}

// Sort measures every photo of a folder, keeps what was measured on the
// shelf, and gives the sheet of the parts that the folder shows. A photo that
// cannot be read is a row of the sheet and stops nothing. An error is a fault
// of the folder or of the shelf, or ctx.Err() where ctx was cancelled; what
// was measured until then is kept, and the next call goes on from there.
func Sort(ctx context.Context, s *shelf.Shelf, folder string, opt Options) (Outcome, error) {
	files, skipped, err := scan(folder, opt.Recursive)
	if err != nil {
		return Outcome{}, err
	}
	out := Outcome{Photos: len(files), Skipped: skipped}
	keepMemoryLow()
	w := &worker{shelf: s, opt: opt, version: factsVersion(opt.Version, opt.Facts)}
	done, err := w.all(ctx, files)
	if err != nil {
		return out, err
	}
	return out, finish(ctx, s, folder, opt, files, done, &out)
}

// factsVersion is the version of the measuring together with what it was told:
// another ruler thickness makes another measurement.
func factsVersion(version string, facts measure.Options) string {
	var parts []string
	add := func(name, value string) {
		if value != "" && value != "0" {
			parts = append(parts, name+"="+value)
		}
	}
	num := func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
	add("part", string(facts.Part))
	add("unit", facts.Unit)
	add("thickness-mm", num(facts.RulerThicknessMM))
	add("distance-mm", num(facts.CameraDistanceMM))
	add("hand", handDigest(facts.Hand))
	if len(parts) == 0 {
		return version
	}
	return version + " " + strings.Join(parts, " ")
}

// worked is what came of one photo file: no more than the end needs, for a
// folder may hold many. The rest is on the shelf.
type worked struct {
	sha256 string
	tag    shelf.ID
	kind   string
	status measure.Status
	says   string
	known  bool
	err    error
}

func workedFrom(m shelf.Measurement, sha256 string, tag shelf.ID, known bool) worked {
	return worked{sha256: sha256, tag: tag, kind: m.Kind, status: measure.Status(m.Status), says: Says(m), known: known}
}

type worker struct {
	shelf   *shelf.Shelf
	opt     Options
	version string

	// pixels counts those that are decoded at the time, room how many may be.
	pixels *semaphore.Weighted
	room   int64

	mu   sync.Mutex
	done int
}

// all works through the files, some at a time.
func (w *worker) all(ctx context.Context, files []found) ([]worked, error) {
	jobs := w.opt.Jobs
	if jobs < 1 {
		jobs = runtime.GOMAXPROCS(0)
	}
	w.room = int64(jobs) * w.opt.pixelsPerJob()
	w.pixels = semaphore.NewWeighted(w.room)
	out := make([]worked, len(files))
	g, gctx := errgroup.WithContext(ctx)
	g.SetLimit(jobs)
	for i, f := range files {
		if gctx.Err() != nil {
			break
		}
		g.Go(func() error {
			res, err := w.one(gctx, f)
			if err != nil {
				return err // the shelf itself failed, or ctx has ended
			}
			out[i] = res
			w.tell(f, res, len(files))
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return out, err
	}
	return out, ctx.Err()
}

func (w *worker) tell(f found, res worked, total int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.done++
	if w.opt.Progress == nil {
		return
	}
	w.opt.Progress(Step{Done: w.done, Total: total, Name: f.rel, Says: res.says, Status: res.status, Known: res.known, Err: res.err})
}

// one deals with one photo. A fault of the photo is in worked; the error is a
// fault of the shelf or the end of ctx.
func (w *worker) one(ctx context.Context, f found) (worked, error) {
	if err := ctx.Err(); err != nil {
		return worked{}, err
	}
	if sum, err := digest(f.path); err == nil {
		res, ok, err := w.lookUp(ctx, f, sum)
		if ok || err != nil {
			return res, err
		}
	} // else opening it says better what is wrong
	var taken int64
	p, err := photo.Limits{Admit: func(pixels int64) error {
		n := min(pixels, w.room) // one that is larger than all the room has it for itself
		if err := w.pixels.Acquire(ctx, n); err != nil {
			return err
		}
		taken = n
		return nil
	}}.Open(f.path)
	defer func() { w.pixels.Release(taken) }()
	if ctx.Err() != nil {
		p.Close()
		return worked{}, ctx.Err()
	}
	if err != nil {
		return worked{err: err}, nil
	}
	defer p.Close()
	tag := ReadTag(p)
	r, err := tag.Measure(p, func() (measure.Result, error) { return w.measure(ctx, p) })
	if ctx.Err() != nil {
		return worked{}, ctx.Err()
	}
	if err != nil {
		return worked{err: err}, nil
	}
	r.Photo = p.Name
	m, err := toShelf(p, r)
	if err != nil {
		return worked{err: err}, nil
	}
	m.Version = w.version
	ph := shelf.Photo{SHA256: p.SHA256, Path: storedPath(f.path), Tag: tag.ID()}
	if info, err := os.Stat(f.path); err == nil {
		ph.Bytes = info.Size()
	}
	if _, err := w.shelf.Record(ctx, ph, m); err != nil {
		return worked{}, err
	}
	return workedFrom(m, p.SHA256, tag.ID(), false), nil
}

// lookUp finds a photo that was measured before, and notes where it is now.
func (w *worker) lookUp(ctx context.Context, f found, sum string) (worked, bool, error) {
	m, ok, err := w.shelf.Measured(ctx, sum, shelf.WhatDentSize, w.version)
	if err != nil || !ok {
		return worked{}, false, err
	}
	ph, _, err := w.shelf.Photo(ctx, sum)
	if err != nil {
		return worked{}, false, err
	}
	if stored := storedPath(f.path); ph.Path != stored {
		if err := w.shelf.SeePhoto(ctx, shelf.Photo{SHA256: sum, Path: stored, Bytes: ph.Bytes}); err != nil {
			return worked{}, false, err
		}
	}
	return workedFrom(m, sum, ph.Tag, true), true, nil
}

// measure measures one photo; a flaw of ours that panics is a fault of this
// photo and does not take the others with it.
func (w *worker) measure(ctx context.Context, p *photo.Photo) (r measure.Result, err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("dentcount itself failed on this photo (%v); try dentcount measure --debug-dir DIR on it and report what is in DIR", v)
		}
	}()
	return w.opt.Measure(ctx, p, w.opt.Facts)
}

// maxHashBytes is the size over which no photo is read at all; opening it says so.
const maxHashBytes = 256 << 20

func digest(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	if !info.Mode().IsRegular() || info.Size() > maxHashBytes {
		return "", errors.New("not a photo's file")
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// toShelf puts a result into the form the shelf keeps, with its evidence and a
// small annotated picture.
func toShelf(p *photo.Photo, r measure.Result) (shelf.Measurement, error) {
	m := shelf.Measurement{What: shelf.WhatDentSize, Status: string(r.Status), Kind: r.Part, Reason: valid(r.Reason), Advice: valid(r.Advice)}
	if r.Size != nil {
		m.Size = shelf.Size{Label: r.Size.Label, System: r.Size.System, PerInch: r.Size.DentsPerInch}
		m.Confidence = r.Size.Confidence
	}
	if r.Pitch != nil {
		// What was measured, not what is made: the label says that.
		m.Size.PerInch, m.U = r.Pitch.DentsPerInch, r.Pitch.U
	}
	r.Photo = valid(r.Photo)
	var err error
	var b bytes.Buffer
	if err := report.JSON(&b, r); err != nil {
		return m, err
	}
	m.Result = b.Bytes()
	if r.Evidence != nil {
		if m.Evidence, err = json.Marshal(r.Evidence); err != nil {
			return m, fmt.Errorf("the evidence of %q has no JSON form: %w", r.Photo, err)
		}
	}
	img, err := report.Overlay(p, r)
	if err != nil {
		return m, err
	}
	m.Picture, err = smallJPEG(img)
	return m, err
}

// Says puts what was measured into a few words.
func Says(m shelf.Measurement) string {
	if m.What != shelf.WhatDentSize {
		var l measure.LengthResult
		if json.Unmarshal(m.Result, &l) == nil && l.Status != "" {
			return report.LengthWords(l).Head
		}
	}
	var r measure.Result
	if json.Unmarshal(m.Result, &r) == nil && r.Status != "" {
		return report.Words(r).Head
	}
	if m.LengthIn > 0 {
		return report.Inches(m.LengthIn) + " in"
	}
	return ""
}

// storedPath is where a photo lies, as text that the shelf takes: absolute,
// and bytes that are no text escaped.
func storedPath(path string) string {
	if abs, err := filepath.Abs(path); err == nil {
		path = abs
	}
	return valid(path)
}

// valid escapes bytes that are not UTF-8.
func valid(s string) string {
	if utf8.ValidString(s) {
		return s
	}
	var b strings.Builder
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		if r == utf8.RuneError && n == 1 {
			fmt.Fprintf(&b, `\x%02x`, s[i])
		} else {
			b.WriteString(s[i : i+n])
		}
		i += n
	}
	return b.String()
}
