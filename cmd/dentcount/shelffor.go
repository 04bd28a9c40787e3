package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"dentcount/box"
	"dentcount/report"
	"dentcount/trade"
)

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
			s, l, err := f.openLoom(cmd.Context(), a, loom)
			if err != nil {
				return err
			}
			defer s.Close()
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
	ID string `json:"id"`
	sleyingJSON
	Fit      string   `json:"fit"`
	UsableIn float64  `json:"usable_in"`
	Reason   string   `json:"reason"`
	Question string   `json:"question"`
	Cautions []string `json:"cautions"`
}

func (a *app) servicesJSON(found []trade.Service) error {
	for _, x := range found {
		if err := a.jsonLine(serviceJSON{ID: x.Reed.ID, sleyingJSON: sleyingForScripts(x.Reed.Size, x.Sleying),
			Fit: string(x.Verdict.Kind), UsableIn: round4(x.Verdict.UsableIn), Reason: x.Reason, Question: x.Verdict.Question, Cautions: append([]string{}, x.Cautions...)}); err != nil {
			return err
		}
	}
	return nil
}
