// Command accuracy measures photos with known truth and prints how right the
// answers are: `accuracy DIR...`, each DIR with photos and a truth.json.
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strings"

	"dentcount/measure"
	"dentcount/photo"
)

// truth is what is known of one photo.
type truth struct {
	File         string   `json:"file"`
	Family       string   `json:"family"`
	Expect       string   `json:"expect"`
	Part         string   `json:"part"`
	Label        string   `json:"label"`
	DentsPerInch float64  `json:"dents_per_inch"`
	Units        []string `json:"units"`
	ThicknessMM  float64  `json:"ruler_thickness_mm"`
	DistanceMM   float64  `json:"camera_distance_mm"`
	Focal35      *float64 `json:"f35"`
	Missing      int      `json:"missing"`
	Bent         int      `json:"bent"`
}

// row is one photo measured one way.
type row struct {
	truth
	got measure.Result
	rel float64 // relative error of dents per inch; NaN where none was given
}

func main() {
	verbose := flag.Bool("v", false, "a line a photo")
	only := flag.String("only", "", "only files whose name contains this")
	toldOnly := flag.Bool("told", false, "only with the thickness told")
	flag.Parse()
	for _, told := range []bool{true, false} {
		if *toldOnly && !told {
			continue
		}
		var rows []row
		for _, dir := range flag.Args() {
			rs, err := run(dir, *only, told)
			if err != nil {
				fmt.Fprintln(os.Stderr, "accuracy:", err)
				os.Exit(1)
			}
			rows = append(rows, rs...)
		}
		if told {
			fmt.Println("== ruler's thickness told")
		} else {
			fmt.Println("== ruler's thickness not told")
		}
		if *verbose {
			for _, r := range rows {
				fmt.Println(line(r))
			}
		}
		summary(rows)
	}
}

func run(dir, only string, told bool) ([]row, error) {
	b, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		return nil, err
	}
	var ts []truth
	if err := json.Unmarshal(b, &ts); err != nil {
		return nil, fmt.Errorf("%s: %w", dir, err)
	}
	var out []row
	for _, t := range ts {
		if t.Family != "dent" || !strings.Contains(t.File, only) {
			continue
		}
		p, err := photo.Open(filepath.Join(dir, t.File))
		if err != nil {
			return nil, err
		}
		var opt measure.Options
		if told {
			opt.RulerThicknessMM = t.ThicknessMM
		}
		r, err := measure.Photo(context.Background(), p, opt)
		p.Close()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", t.File, err)
		}
		w := row{truth: t, got: r, rel: math.NaN()}
		if r.Pitch != nil && t.DentsPerInch > 0 {
			w.rel = r.Pitch.DentsPerInch/t.DentsPerInch - 1
		}
		out = append(out, w)
	}
	return out, nil
}

// right says whether an answer's size is the true one.
func (r row) right() bool { return r.got.Size != nil && r.got.Size.Label == r.Label }

func (r row) unitRight() bool {
	if r.got.Ruler == nil {
		return false
	}
	for _, u := range r.Units {
		if u == r.got.Ruler.Unit {
			return true
		}
	}
	return false
}

func line(r row) string {
	s := fmt.Sprintf("%-14s %-17s %-13s %6s %7.3f | %-8s", r.File, r.Expect, r.Part, r.Label, r.DentsPerInch, r.got.Status)
	if r.got.Size != nil {
		ok := "WRONG"
		if r.right() {
			ok = "right"
		}
		s += fmt.Sprintf(" %-13s %6s p=%.3f %s dpi %.3f ±%.3f err %+.3f%% px/dent %.1f", r.got.Part, r.got.Size.Label, r.got.Size.Confidence, ok,
			r.got.Pitch.DentsPerInch, r.got.Pitch.U, 100*r.rel, r.got.Ruler.PxPerInch/r.got.Pitch.DentsPerInch)
		if !r.unitRight() {
			s += " UNIT " + r.got.Ruler.Unit
		}
	}
	if r.got.Reason != "" {
		s += " (" + r.got.Reason + ")"
	}
	return fmt.Sprintf("%s %d ms", s, r.got.TookMS)
}

func summary(rows []row) {
	var answerable, answeredRight, answered, wrong, confidentWrong, confident, unitWrong, refusable, refusedRight int
	var abs []float64
	for _, r := range rows {
		switch r.Expect {
		case "answer":
			answerable++
			if r.got.Status == measure.Answered {
				answered++
				if r.right() {
					answeredRight++
				} else {
					wrong++
				}
				if !r.unitRight() {
					unitWrong++
				}
			}
			if !math.IsNaN(r.rel) {
				abs = append(abs, math.Abs(r.rel))
			}
		default:
			refusable++
			if r.got.Status == measure.Refused || (r.Expect == "refuse-or-unsure" && r.got.Status == measure.Unsure) {
				refusedRight++
			}
		}
		if r.got.Size != nil && r.got.Size.Confidence >= 0.9 {
			confident++
			if r.Expect != "answer" || !r.right() {
				confidentWrong++
			}
		}
	}
	fmt.Printf("answer scenes %d: answered %d, right %d (%.0f %%), wrong %d; unit wrong %d\n", answerable, answered, answeredRight, 100*float64(answeredRight)/math.Max(1, float64(answerable)), wrong, unitWrong)
	fmt.Printf("refuse scenes %d: right %d\n", refusable, refusedRight)
	fmt.Printf("confidence >= 0.9: %d, of them wrong %d\n", confident, confidentWrong)
	if len(abs) > 0 {
		sort.Float64s(abs)
		q := func(p float64) float64 { return 100 * abs[min(len(abs)-1, int(p*float64(len(abs))))] }
		fmt.Printf("pitch error of %d measured: median %.3f %%, 90th %.3f %%, 95th %.3f %%\n", len(abs), q(.5), q(.9), q(.95))
	}
}
