package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"dentcount/scene"
)

// practiceFlags are the flags of the practice command.
type practiceFlags struct {
	seed   uint64
	n      int
	out    string
	cases  []string
	longPx int
	force  bool
}

// maxPractice bounds one call, so that a slip of the finger does not fill a disk.
const maxPractice = 10000

func newPracticeCmd(a *app) *cobra.Command {
	f := practiceFlags{seed: 1, n: 12, longPx: 2000}
	cmd := &cobra.Command{
		Use:   "practice --out DIR",
		Short: "Make practice photos with known truth",
		Long: `practice draws photos of made-up reeds and rigid heddles with a ruler on them, as
a phone would take them, and writes the truth about each to truth.json beside
them. Measure them to see what makes a photo easy or hard to read, before you
take your own.

Most of them can be answered; about one in three goes wrong on purpose. With
--case all show one thing:
` + caseList(),
		Example: `  dentcount practice --out practice
  dentcount practice --case glare --case hard-blur --n 6 --out trouble
  dentcount measure practice/*.jpg`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := f.check(); err != nil {
				return err
			}
			return a.practice(cmd.Context(), f)
		},
	}
	flags := cmd.Flags()
	flags.Uint64Var(&f.seed, "seed", f.seed, "the same `N` gives the same photos")
	flags.IntVar(&f.n, "n", f.n, "how many photos")
	flags.StringVar(&f.out, "out", "", "write the photos and truth.json into `DIR`")
	flags.StringArrayVar(&f.cases, "case", nil, "show only this `NAME`; may be given more than once")
	flags.IntVar(&f.longPx, "size", f.longPx, "long side of the photos in pixels")
	flags.BoolVar(&f.force, "force", false, "overwrite photos and truth.json that are there already")
	return cmd
}

func caseList() string {
	var b strings.Builder
	for _, name := range scene.CaseNames() {
		fmt.Fprintf(&b, "  %-13s %s\n", name, scene.CaseAbout(name))
	}
	return strings.TrimRight(b.String(), "\n")
}

func (f practiceFlags) check() error {
	switch {
	case f.out == "":
		return usagef("say where the photos go").withHint("dentcount practice --out practice")
	case f.n < 1 || f.n > maxPractice:
		return usagef("--n %d: give a number from 1 to %d", f.n, maxPractice)
	case f.longPx < 800 || f.longPx > 8000:
		return usagef("--size %d: give 800 to 8000 pixels", f.longPx)
	}
	for _, c := range f.cases {
		if !slices.Contains(scene.CaseNames(), c) {
			return usagef("there is no case %q", c).withHint("choose from %s", strings.Join(scene.CaseNames(), ", "))
		}
	}
	return nil
}

// spec describes photo i.
func (f practiceFlags) spec(i int) scene.Spec {
	r := scene.Ranges{AdverseShare: 0.35, LongSidePx: scene.Range{float64(f.longPx), float64(f.longPx)}}
	if len(f.cases) > 0 {
		r.AdverseShare, r.Cases = 1, f.cases
	}
	// Seeds of different calls do not run into each other.
	return scene.Random(f.seed*maxPractice+uint64(i), r)
}

// photoName is the file of photo i.
func (f practiceFlags) photoName(i int) string {
	return fmt.Sprintf("practice-%d-%04d.jpg", f.seed, i+1)
}

const truthName = "truth.json"

// practice writes all photos and their truth, or nothing: they are gathered
// in a folder of their own first and moved when all are there.
func (a *app) practice(ctx context.Context, f practiceFlags) error {
	names := []string{truthName}
	for i := range f.n {
		names = append(names, f.photoName(i))
	}
	if err := os.MkdirAll(f.out, 0o777); err != nil {
		return fmt.Errorf("%s cannot be made a folder for the photos (%w); choose another --out", f.out, pathless(err))
	}
	if !f.force {
		for _, name := range names {
			path := filepath.Join(f.out, name)
			if _, err := os.Lstat(path); err == nil {
				return fmt.Errorf("%s is there already and was left alone; choose another --out, or overwrite it with --force", path)
			}
		}
	}
	tmp, err := os.MkdirTemp(f.out, ".practice-")
	if err != nil {
		return fmt.Errorf("nothing can be written into %s (%w); choose another --out", f.out, pathless(err))
	}
	defer os.RemoveAll(tmp)
	truths, err := a.drawPractice(ctx, f, tmp)
	if err != nil {
		return err
	}
	b, err := json.MarshalIndent(truths, "", " ")
	if err != nil {
		return err
	}
	if err := writePractice(filepath.Join(tmp, truthName), append(b, '\n')); err != nil {
		return err
	}
	// The truth goes last: where it lies, its photos lie too.
	slices.Reverse(names)
	for _, name := range names {
		if err := os.Rename(filepath.Join(tmp, name), filepath.Join(f.out, name)); err != nil {
			return fmt.Errorf("%s could not be put in its place (%w); look into that folder, then run it again with --force", filepath.Join(f.out, name), pathless(err))
		}
	}
	for _, t := range truths {
		a.answerf("%s\n", practiceLine(f, t))
	}
	a.hint("dentcount measure %s", filepath.Join(f.out, fmt.Sprintf("practice-%d-*.jpg", f.seed)))
	return nil
}

func (a *app) drawPractice(ctx context.Context, f practiceFlags, dir string) ([]scene.Truth, error) {
	bar := progressbar.DefaultSilent(int64(f.n))
	if a.progress() {
		bar = progressbar.NewOptions(f.n, progressbar.OptionSetWriter(a.stderr), progressbar.OptionSetDescription("drawing"),
			progressbar.OptionShowCount(), progressbar.OptionClearOnFinish())
	}
	truths := make([]scene.Truth, f.n)
	err := scene.Photos(ctx, f.n, f.spec, func(i int, jpeg []byte, t scene.Truth) error {
		t.File = f.photoName(i)
		truths[i] = t
		if err := writePractice(filepath.Join(dir, t.File), jpeg); err != nil {
			return err
		}
		return bar.Add(1)
	})
	if err != nil {
		return nil, err
	}
	return truths, bar.Finish()
}

func writePractice(path string, b []byte) error {
	if err := os.WriteFile(path, b, 0o666); err != nil {
		return fmt.Errorf("a practice photo could not be written (%w); free some space or choose another --out", pathless(err))
	}
	return nil
}

// pathless is err without the path the system put before it, for messages
// which name a better one.
func pathless(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	var l *os.LinkError
	if errors.As(err, &l) {
		return l.Err
	}
	return err
}

// practiceLine says what a photo shows and what a good reader does with it.
func practiceLine(f practiceFlags, t scene.Truth) string {
	what := t.Part
	switch {
	case t.Part == string(scene.NoPart):
		what = "no reed"
	case t.Label != "none":
		what += " " + t.Label
		if t.System == "inch" {
			what += " per inch"
		}
	case t.DentsPerInch != nil:
		what += fmt.Sprintf(", %.2f per inch, no made size", *t.DentsPerInch)
	}
	do := map[scene.Expect]string{
		scene.ExpectAnswer:         "to be answered",
		scene.ExpectRefuse:         "to be refused",
		scene.ExpectRefuseOrUnsure: "to be refused, or unsure",
	}[t.Expect]
	return fmt.Sprintf("%s: %s; %s; %s", filepath.Join(f.out, t.File), what, scene.CaseAbout(t.Case), do)
}
