// Command accuracy measures photos with known truth and prints how right the
// answers are, with the ruler's thickness told and not told.
//
//	accuracy [flags] DIR...          folders with photos and a truth.json
//	accuracy -scenes N -seed S ...   scenes drawn in memory
//	accuracy -from FILE              what an earlier run with -raw FILE measured
//	accuracy -seed S -draw I         one scene of a set as JPEG, with its truth
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"

	"dentcount/measure"
	"dentcount/scene"
)

type flags struct {
	verbose  bool
	only     string
	told     bool
	set      sceneSet
	raw      string
	from     string
	html     string
	at       indexList
	samePart int
	fitInto  string
	kindInto string
	draw     int
	drawInto string
	lengths  bool
	whyNot   bool
	dirs     []string
}

func main() {
	f := flags{}
	flag.BoolVar(&f.verbose, "v", false, "a line a photo")
	flag.StringVar(&f.only, "only", "", "only files whose name contains this")
	flag.BoolVar(&f.told, "told", false, "only with the thickness told")
	flag.IntVar(&f.set.Scenes, "scenes", 0, "draw and measure this many scenes")
	flag.Uint64Var(&f.set.Seed, "seed", 1, "the same seed draws the same scenes")
	flag.Float64Var(&f.set.Adverse, "adverse", 0.15, "share of scenes that go wrong on purpose")
	flag.StringVar(&f.set.Ranges, "ranges", "fit", "what the scenes vary in: fit or judge")
	flag.StringVar(&f.raw, "raw", "", "keep what was measured in this file (NDJSON); a sweep over scenes goes on from what it holds")
	flag.StringVar(&f.from, "from", "", "measure nothing: report what this file holds")
	flag.StringVar(&f.html, "html", "", "write a page with plots to this file")
	flag.Var(&f.at, "at", "only the scenes of these indices, such as 5,13,27")
	flag.IntVar(&f.samePart, "same-part", 0, "photograph each part this many times and measure the photos together")
	flag.StringVar(&f.fitInto, "fit-into", "", "fit the chance of a right reading to the scenes and write it to this file (measure/confidence.csv)")
	flag.StringVar(&f.kindInto, "fit-kind-into", "", "fit what tells slots from wires to the photos and write it to this file (vision/kind.csv)")
	flag.IntVar(&f.draw, "draw", -1, "draw only the scene of this index")
	flag.StringVar(&f.drawInto, "into", ".", "folder for -draw")
	flag.BoolVar(&f.lengths, "lengths", false, "the photos of lengths in the folders, not those of dent sizes")
	flag.BoolVar(&f.whyNot, "whynot", false, "say of each photo in the folders where the search for its ruler loses it")
	flag.Parse()
	f.dirs = flag.Args()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, f, os.Stdout, os.Stderr); err != nil {
		fmt.Fprintln(os.Stderr, "accuracy:", err)
		stop()
		os.Exit(1)
	}
}

func run(ctx context.Context, f flags, stdout, stderr io.Writer) error {
	if f.draw >= 0 {
		return drawScene(f.set, f.draw, f.samePart, f.drawInto, stdout)
	}
	if f.whyNot {
		return whyNot(ctx, f, stdout)
	}
	if f.lengths {
		return reportLengths(ctx, f, stdout)
	}
	if f.samePart > 1 {
		return sweepSeries(ctx, f, stdout, stderr)
	}
	title, samples, err := gather(ctx, f, stderr)
	if err != nil {
		return err
	}
	if f.only != "" {
		var kept []sample
		for _, s := range samples {
			if strings.Contains(s.Truth.File, f.only) {
				kept = append(kept, s)
			}
		}
		samples = kept
	}
	if f.fitInto != "" {
		return fitModel(title, samples, f.fitInto, stdout)
	}
	if f.kindInto != "" {
		return fitKindModel(title, samples, f.kindInto, stdout)
	}
	fmt.Fprintln(stdout, title)
	for _, told := range []bool{true, false} {
		if f.told && !told {
			continue
		}
		heading := "== ruler's thickness told"
		if !told {
			heading = "== ruler's thickness not told"
		}
		fmt.Fprintln(stdout, heading)
		rows := rowsOf(samples, told)
		if f.verbose {
			for _, r := range rows {
				fmt.Fprintln(stdout, line(r))
			}
		}
		report(stdout, rows, told)
	}
	if f.html == "" {
		return nil
	}
	if err := writePage(f.html, title, samples); err != nil {
		return err
	}
	fmt.Fprintln(stdout, "page with plots:", f.html)
	return nil
}

// gather measures, or loads, what is to be reported on.
func gather(ctx context.Context, f flags, stderr io.Writer) (title string, samples []sample, err error) {
	switch {
	case f.from != "":
		set, samples, err := loadRecord(f.from)
		return set.String(), samples, err
	case f.set.Scenes != 0 || len(f.at) > 0:
		samples, err := sweep(ctx, f, stderr)
		return f.set.String(), samples, err
	case len(f.dirs) == 0:
		return "", nil, fmt.Errorf("name a folder with photos and a truth.json, or give -scenes N")
	}
	for _, dir := range f.dirs {
		s, err := measureFolder(ctx, dir, f.only)
		if err != nil {
			return "", nil, err
		}
		for i := range s {
			s[i].Index = len(samples) + i // over all folders
		}
		samples = append(samples, s...)
	}
	if f.raw != "" {
		if err := writeRecord(f.raw, samples); err != nil {
			return "", nil, err
		}
	}
	return fmt.Sprintf("photos of %s, measuring %s", strings.Join(f.dirs, ", "), measure.Version), samples, nil
}

func (s sceneSet) String() string {
	return fmt.Sprintf("%d scenes, ranges %s, seed %d, adverse share %g, measuring %s", s.Scenes, s.Ranges, s.Seed, s.Adverse, measure.Version)
}

// sweep measures a set of scenes.
func sweep(ctx context.Context, f flags, stderr io.Writer) ([]sample, error) {
	if len(f.at) > 0 {
		if f.raw != "" {
			return nil, fmt.Errorf("-at measures a few scenes to look at; without -raw")
		}
		f.set.Scenes = slices.Max(f.at) + 1
	}
	if err := f.set.check(); err != nil {
		return nil, err
	}
	rec, err := openRecord(f.raw, f.set)
	if err != nil {
		return nil, err
	}
	defer rec.close()
	bar := progress(f.set.Scenes, "scenes", stderr)
	bar.Add(len(rec.samples))
	samples, err := measureScenes(ctx, f.set, f.at, rec, func() { bar.Add(1) })
	if err != nil {
		return nil, err
	}
	bar.Finish()
	return samples, rec.close()
}

// drawScene writes one scene of a set and its truth, or n photos of its part.
func drawScene(set sceneSet, i, n int, dir string, stdout io.Writer) error {
	set.Scenes = max(1, i+1)
	if err := set.check(); err != nil {
		return err
	}
	spec, err := set.spec(i)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	opt, err := rangesNamed(set.Ranges)
	if err != nil {
		return err
	}
	for k, spec := range takesOf(spec, opt, max(1, n)) {
		name := fmt.Sprintf("%s-%d-%d", set.Ranges, set.Seed, i)
		if n > 1 {
			name += fmt.Sprintf("-%c", 'a'+k)
		}
		jpeg, t, err := scene.Photo(spec)
		if err != nil {
			return err
		}
		t.File = name + ".jpg"
		b, err := json.MarshalIndent(t, "", " ")
		if err != nil {
			return err
		}
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path+".jpg", jpeg, 0o666); err != nil {
			return err
		}
		if err := os.WriteFile(path+".json", append(b, '\n'), 0o666); err != nil {
			return err
		}
		if _, err = fmt.Fprintf(stdout, "%s.jpg\n%s\n", path, b); err != nil {
			return err
		}
	}
	return nil
}

// progress is a bar on a terminal and nothing elsewhere.
func progress(n int, what string, stderr io.Writer) *progressbar.ProgressBar {
	if file, ok := stderr.(*os.File); ok && term.IsTerminal(int(file.Fd())) {
		return progressbar.NewOptions(n, progressbar.OptionSetWriter(stderr), progressbar.OptionSetDescription(what),
			progressbar.OptionShowCount(), progressbar.OptionClearOnFinish())
	}
	return progressbar.DefaultSilent(int64(n))
}

// sweepSeries measures the parts of a set several times each.
func sweepSeries(ctx context.Context, f flags, stdout, stderr io.Writer) error {
	if err := f.set.check(); err != nil {
		return err
	}
	bar := progress(f.set.Scenes*f.samePart, "photos", stderr)
	all, err := measureSeries(ctx, f.set, f.samePart, func() { bar.Add(1) })
	if err != nil {
		return err
	}
	bar.Finish()
	fmt.Fprintf(stdout, "%s; up to %d photos of each part\n", f.set, f.samePart)
	if f.verbose {
		for _, s := range all {
			fmt.Fprintln(stdout, lineOf(s))
		}
	}
	reportSeries(stdout, all)
	return nil
}

// indexList is a flag of indices with commas between.
type indexList []int

func (l *indexList) String() string { return fmt.Sprint([]int(*l)) }

// Set implements flag.Value.
func (l *indexList) Set(s string) error {
	for part := range strings.SplitSeq(s, ",") {
		i, err := strconv.Atoi(strings.TrimSpace(part))
		if err != nil || i < 0 || i >= maxScenes {
			return fmt.Errorf("give indices from 0, such as 5,13,27")
		}
		*l = append(*l, i)
	}
	return nil
}
