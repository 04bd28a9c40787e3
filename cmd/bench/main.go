// Command bench measures what an answer costs beside decoding its photo:
// `bench PHOTO-OR-DIR...`. For each photo it prints how long OpenCV takes to
// decode the JPEG, how long the whole way from the file's bytes to the answer
// takes, their ratio, and the most memory the way needed over the size of the
// decoded picture. Both are timed by turns in one run, so that what else the
// machine does falls on both alike; each time is the median of its turns.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"runtime/pprof"
	"slices"
	"strings"
	"time"

	"gocv.io/x/gocv"

	"dentcount/measure"
	"dentcount/photo"
)

func main() {
	if err := run(os.Args[1:], os.Stdout); err != nil {
		if !errors.Is(err, flag.ErrHelp) {
			fmt.Fprintln(os.Stderr, "bench:", err)
		}
		os.Exit(1)
	}
}

func run(args []string, w io.Writer) error {
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	turns := flags.Int("turns", 5, "times each photo is decoded and measured")
	profile := flags.String("cpuprofile", "", "write a CPU profile of the measuring to this file")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if *turns < 1 {
		return fmt.Errorf("-turns %d: give 1 or more", *turns)
	}
	files, err := jpegs(flags.Args())
	if err != nil {
		return err
	}
	if *profile != "" {
		f, err := os.Create(*profile)
		if err != nil {
			return err
		}
		defer f.Close()
		if err := pprof.StartCPUProfile(f); err != nil {
			return err
		}
		defer pprof.StopCPUProfile()
	}
	fmt.Fprintf(w, "%-32s %5s %9s %10s %6s %8s %7s\n", "photo", "MP", "decode ms", "measure ms", "ratio", "CPU ms", "memory")
	var costs []cost
	for _, f := range files {
		c, err := costOf(f, *turns)
		if err != nil {
			return err
		}
		fmt.Fprintln(w, c)
		costs = append(costs, c)
	}
	summary(w, "all photos", costs)
	var large []cost
	for _, c := range costs {
		if c.megapixels > 11.5 {
			large = append(large, c)
		}
	}
	summary(w, "12 megapixels and more", large)
	return nil
}

// jpegs lists the JPEG files named, and those in the folders named.
func jpegs(args []string) ([]string, error) {
	var out []string
	for _, a := range args {
		info, err := os.Stat(a)
		if err != nil {
			return nil, err
		}
		if !info.IsDir() {
			out = append(out, a)
			continue
		}
		entries, err := os.ReadDir(a)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if ext := strings.ToLower(filepath.Ext(e.Name())); ext == ".jpg" || ext == ".jpeg" {
				out = append(out, filepath.Join(a, e.Name()))
			}
		}
	}
	if len(out) == 0 {
		return nil, errors.New("no JPEG photos; name some, or a folder that has them")
	}
	return out, nil
}

// cost is what one photo costs; times are medians.
type cost struct {
	name            string
	megapixels      float64
	decode, measure time.Duration // wall clock
	cpu             time.Duration // of the measuring, all cores; 0 where the system does not tell
	// memory is the most memory the measuring added to the process over the
	// decoded picture's size; 0 where the system does not tell.
	memory float64
}

func (c cost) ratio() float64 { return float64(c.measure) / float64(c.decode) }

func (c cost) String() string {
	return fmt.Sprintf("%-32s %5.1f %9.1f %10.1f %6.2f %8.0f %7.2f", tail(c.name, 32), c.megapixels,
		ms(c.decode), ms(c.measure), c.ratio(), ms(c.cpu), c.memory)
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

// tail is the end of a name, at most n bytes of it.
func tail(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return "…" + s[len(s)-n+len("…"):]
}

func costOf(file string, turns int) (cost, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return cost{}, err
	}
	c := cost{name: file}
	var decode, whole, cpu []time.Duration
	for range turns {
		start := time.Now()
		m, err := gocv.IMDecode(data, gocv.IMReadColor)
		if err != nil {
			return cost{}, fmt.Errorf("%s: %w", file, err)
		}
		decode = append(decode, time.Since(start))
		decoded := m.Rows() * m.Cols() * m.Channels()
		c.megapixels = float64(m.Rows()*m.Cols()) / 1e6
		m.Close()
		if decoded == 0 {
			return cost{}, fmt.Errorf("%s: OpenCV cannot decode this file", file)
		}
		debug.FreeOSMemory()
		base := resetPeak()
		cpuStart := cpuTime()
		start = time.Now()
		p, err := photo.Limits{GrayOnly: true}.Decode(file, data)
		if err != nil {
			return cost{}, err
		}
		_, err = measure.Photo(context.Background(), p, measure.Options{})
		whole = append(whole, time.Since(start))
		cpu = append(cpu, cpuTime()-cpuStart)
		c.memory = max(c.memory, float64(peak()-base)/float64(decoded))
		p.Close()
		if err != nil {
			return cost{}, fmt.Errorf("%s: %w", file, err)
		}
	}
	c.decode, c.measure, c.cpu = middle(decode), middle(whole), middle(cpu)
	return c, nil
}

// middle is the median; of an even number the upper one.
func middle[T ~int64 | ~float64](v []T) T {
	s := slices.Sorted(slices.Values(v))
	return s[len(s)/2]
}

func summary(w io.Writer, what string, costs []cost) {
	if len(costs) == 0 {
		return
	}
	var ratios, memory []float64
	for _, c := range costs {
		ratios, memory = append(ratios, c.ratio()), append(memory, c.memory)
	}
	fmt.Fprintf(w, "%s (%d): measuring over decoding: median %.2f, worst %.2f; memory over the decoded picture: median %.2f, worst %.2f\n",
		what, len(costs), middle(ratios), slices.Max(ratios), middle(memory), slices.Max(memory))
}
