package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"dentcount/box"
	"dentcount/report"
	"dentcount/trade"
)

// settFlag is a sett in ends per inch; "8/cm" and "80/10cm" are taken, too.
type settFlag float64

func (f *settFlag) String() string {
	if *f == 0 {
		return ""
	}
	return strconv.FormatFloat(float64(*f), 'g', 6, 64)
}
func (f *settFlag) Type() string { return "sett" }
func (f *settFlag) Set(s string) error {
	text := strings.ReplaceAll(strings.ToLower(strings.TrimSpace(s)), " ", "")
	k := 1.0
	for _, u := range []struct {
		suffix string
		k      float64
	}{{"/10cm", 0.254}, {"per10cm", 0.254}, {"/cm", 2.54}, {"percm", 2.54}, {"/in", 1}, {"perinch", 1}, {"epi", 1}} {
		if t, ok := strings.CutSuffix(text, u.suffix); ok {
			text, k = t, u.k
			break
		}
	}
	x, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil || !(x > 0) || x*k > 1000 || math.IsInf(x, 0) {
		return fmt.Errorf("%q is no sett: say ends per inch, such as 20, or 8/cm", s)
	}
	*f = settFlag(x * k)
	return nil
}

func newShelfForCmd(a *app, f *shelfFlag) *cobra.Command {
	var loom string
	var sett settFlag
	var width lengthFlag
	var limit int
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "for",
		Short: "Which of my reeds can serve a loom and a sett, and how they are sleyed",
		Example: `  dentcount shelf for --loom big-blue --sett 20
  dentcount shelf for --loom table --sett 8/cm --width 50cm`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case loom == "":
				return usagef("--loom is missing").withHint("dentcount shelf for --loom big-blue --sett 20; dentcount looms list shows the names")
			case sett == 0:
				return usagef("--sett is missing: how many ends per inch?").withHint("dentcount shelf for --loom %s --sett 20", loom)
			case limit < 0:
				return usagef("--limit %d: say how many, or 0 for all", limit)
			}
			s, err := f.openThere(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			l, err := s.Loom(cmd.Context(), loom)
			if err != nil {
				return err
			}
			found, doubtful, err := box.ReedsFor(cmd.Context(), s, l, float64(sett), float64(width))
			if err != nil {
				return err
			}
			if asJSON {
				return a.servicesJSON(found)
			}
			return a.tellServices(l, float64(sett), found, doubtful, limit)
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&loom, "loom", "", "the loom's `NAME`")
	fl.Var(&sett, "sett", "ends per inch, `SETT`, or per cm as in 8/cm")
	fl.Var(&width, "width", "how wide the warp is to be in the reed, `LENGTH` (default: as wide as the reed gives)")
	fl.IntVar(&limit, "limit", 50, "at most so many; 0 for all")
	fl.BoolVar(&asJSON, "json", false, "one JSON object a reed, one per line")
	return cmd
}

func (a *app) tellServices(l trade.Loom, sett float64, found []trade.Service, doubtful, limit int) error {
	if len(found) == 0 {
		a.answerf("No reed on the shelf serves %s at %s ends per inch.\n", report.Printable(l.Name), plainNumber(sett))
		var wants []string
		for i, c := range trade.ReedsFor(sett, trade.Sizes(trade.PartReed)) {
			if i == 3 {
				break
			}
			wants = append(wants, fmt.Sprintf("%s sleyed %s", c.Size.Label, c.Sleying))
		}
		if len(wants) > 0 {
			a.answerf("Reeds that would give it: %s.\n", strings.Join(wants, ", "))
		}
	}
	shown := len(found)
	if limit > 0 {
		shown = min(shown, limit)
	}
	// What holds for several reeds is said once, at the end.
	times := map[string]int{}
	var shared []string
	for _, x := range found[:shown] {
		for _, c := range x.Cautions {
			if times[c]++; times[c] == 2 {
				shared = append(shared, c)
			}
		}
	}
	for _, x := range found[:shown] {
		a.answerf("%s  %s\n", x.Reed.ID, report.Printable(report.Sentences(x.Reason)))
		if x.Verdict.Kind != trade.Fits && x.Verdict.Question != "" {
			a.answerf("           %s\n", report.Printable(report.Sentences(x.Verdict.Question)))
		}
		for _, c := range x.Cautions {
			if times[c] == 1 {
				a.answerf("           %s\n", report.Printable(report.Sentences(c)))
			}
		}
	}
	for _, c := range shared {
		a.answerf("%s\n", report.Printable("Mind: "+report.Sentences(c)))
	}
	if shown < len(found) {
		a.note("%d of %d are shown; --limit 0 shows all", shown, len(found))
	}
	if doubtful > 0 {
		a.note("reeds whose size is not settled were not looked at: %d; dentcount shelf list --doubtful shows them", doubtful)
	}
	return a.writeErr
}

func plainNumber(x float64) string { return strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64) }

// serviceJSON is the stable form of a reed that can serve.
type serviceJSON struct {
	ID           string   `json:"id"`
	Size         string   `json:"size"`
	System       string   `json:"system"`
	DentsPerInch float64  `json:"dents_per_inch"`
	Sleying      []int    `json:"sleying"` // ends in each dent of the repeat
	EndsPerInch  float64  `json:"ends_per_inch"`
	ErrPercent   float64  `json:"err_percent"`
	Fit          string   `json:"fit"`
	UsableIn     float64  `json:"usable_in"`
	Reason       string   `json:"reason"`
	Question     string   `json:"question"`
	Cautions     []string `json:"cautions"`
}

func (a *app) servicesJSON(found []trade.Service) error {
	enc := json.NewEncoder(a.answers())
	enc.SetEscapeHTML(false)
	round := func(x float64) float64 { return math.Round(x*1e4) / 1e4 }
	for _, x := range found {
		j := serviceJSON{ID: x.Reed.ID, Size: x.Reed.Size.Label, System: x.Reed.Size.System, DentsPerInch: round(x.Reed.Size.PerInch),
			Sleying: x.Sleying.Pattern, EndsPerInch: round(x.Sleying.EndsPerInch), ErrPercent: round(x.Sleying.ErrPercent),
			Fit: string(x.Verdict.Kind), UsableIn: round(x.Verdict.UsableIn), Reason: x.Reason, Question: x.Verdict.Question, Cautions: append([]string{}, x.Cautions...)}
		if err := enc.Encode(j); err != nil {
			return err
		}
	}
	return nil
}
