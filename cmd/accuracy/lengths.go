package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"dentcount/measure"
	"dentcount/photo"
)

// lengthTruth is a photo of a length with known truth.
type lengthTruth struct {
	File         string        `json:"file"`
	Family       string        `json:"family"`
	What         measure.What  `json:"what"`
	LengthIn     float64       `json:"length_in"`
	Nominal      any           `json:"nominal"` // 8.5 or "8.5 in"
	ThicknessMM  float64       `json:"ruler_thickness_mm"`
	MarksAboveMM *float64      `json:"marks_above_ends_mm"`
	Others       []lengthTruth `json:"other_lengths"`
}

// lengthRow is one length of one photo, with the heights told or not.
type lengthRow struct {
	truth lengthTruth
	got   measure.LengthResult
}

// reportLengths measures the photos of family "length" in the folders and
// prints how right they are, with the height of the marks told and not told.
func reportLengths(ctx context.Context, f flags, stdout io.Writer) error {
	for _, told := range []bool{true, false} {
		if f.told && !told {
			continue
		}
		var rows []lengthRow
		for _, dir := range f.dirs {
			r, err := measureLengths(ctx, dir, f.only, told)
			if err != nil {
				return err
			}
			rows = append(rows, r...)
		}
		heading := "== lengths, height of the marks told"
		if !told {
			heading = "== lengths, height of the marks not told"
		}
		fmt.Fprintln(stdout, heading)
		if f.verbose {
			for _, r := range rows {
				fmt.Fprintln(stdout, r)
			}
		}
		summarizeLengths(stdout, rows)
	}
	return nil
}

func measureLengths(ctx context.Context, dir, only string, told bool) ([]lengthRow, error) {
	b, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		return nil, fmt.Errorf("%w: give a folder of photos with their truth", err)
	}
	var ts []lengthTruth
	if err := json.Unmarshal(b, &ts); err != nil {
		return nil, fmt.Errorf("%s: %w", filepath.Join(dir, "truth.json"), err)
	}
	var out []lengthRow
	for _, t := range ts {
		if t.Family != "length" || !strings.Contains(t.File, only) {
			continue
		}
		p, err := photo.Open(filepath.Join(dir, t.File))
		if err != nil {
			return nil, err
		}
		asked := []lengthTruth{t}
		for _, o := range t.Others {
			same := t
			same.What, same.LengthIn, same.Nominal = o.What, o.LengthIn, nil
			asked = append(asked, same)
		}
		for _, q := range asked {
			opt := measure.LengthOptions{What: q.What}
			if told {
				opt.MarksAboveMM = q.MarksAboveMM
				if q.MarksAboveMM == nil {
					opt.RulerThicknessMM = q.ThicknessMM
				}
			}
			r, err := measure.Length(ctx, p, opt)
			if err != nil {
				p.Close()
				return nil, fmt.Errorf("%s: %w", t.File, err)
			}
			out = append(out, lengthRow{q, r})
		}
		p.Close()
	}
	return out, nil
}

// right is within the larger of 1/16 in and half a percent.
func (r lengthRow) right() bool {
	return r.got.Length != nil && math.Abs(r.got.Length.In-r.truth.LengthIn) <= math.Max(1.0/16, 0.005*r.truth.LengthIn)
}

// nominalIn is the true made size in inches; 0 where there is none.
func (t lengthTruth) nominalIn() float64 {
	switch v := t.Nominal.(type) {
	case float64:
		return v
	case string:
		x, _ := strconv.ParseFloat(strings.TrimSuffix(v, " in"), 64)
		return x
	}
	return 0
}

func (r lengthRow) String() string {
	s := fmt.Sprintf("%-22s %-16s %-8s", r.truth.File, r.truth.What, r.got.Status)
	if r.got.Length == nil {
		return s + " " + r.got.Reason
	}
	e := r.got.Length.In - r.truth.LengthIn
	s += fmt.Sprintf(" %8.3f truth %8.3f  error %+.3f in %+.2f %%  u %.3f  confidence %.3f", r.got.Length.In, r.truth.LengthIn, e, 100*e/r.truth.LengthIn, r.got.Length.U, r.got.Confidence)
	if !r.right() {
		s += "  OUT"
	}
	return s
}

func summarizeLengths(w io.Writer, rows []lengthRow) {
	var errs []float64
	right, answered, sizes, sizesRight, confidentWrong, covered := 0, 0, 0, 0, 0, 0
	for _, r := range rows {
		if r.got.Status == measure.Answered {
			answered++
		}
		if r.right() {
			right++
		}
		if r.got.Length != nil {
			e := math.Abs(r.got.Length.In - r.truth.LengthIn)
			errs = append(errs, 100*e/r.truth.LengthIn)
			if e <= 2*r.got.Length.U {
				covered++
			}
			if !r.right() && r.got.Confidence >= 0.9 {
				confidentWrong++
			}
		}
		if n := r.truth.nominalIn(); n > 0 {
			sizes++
			switch {
			case r.got.Nominal == nil:
			case math.Abs(r.got.Nominal.In-n) < 1e-6 && r.got.Nominal.Label != "none":
				sizesRight++
			case r.got.Nominal.Confidence >= 0.9:
				confidentWrong++
			}
		}
	}
	slices.Sort(errs)
	fmt.Fprintf(w, "%d lengths: %d answered, %d within the larger of 1/16 in and 0.5 %%, wrong with confidence 0.9 or more: %d\n", len(rows), answered, right, confidentWrong)
	if n := len(errs); n > 0 {
		fmt.Fprintf(w, "error of the measured ones: median %.2f %%, largest %.2f %%; truth within 2 u: %d of %d\n", errs[n/2], errs[n-1], covered, n)
	}
	fmt.Fprintf(w, "made sizes of heddles right: %d of %d\n", sizesRight, sizes)
}
