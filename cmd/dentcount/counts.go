package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"dentcount/report"
	"dentcount/trade"
)

func newCountsCmd(a *app) *cobra.Command {
	var measured string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "counts [NUMBER [COUNT]]",
		Short: "Convert the older counts stamped on reeds into dents per inch, and back",
		Long: `counts converts between dents per inch, dents per 10 cm and the older counts that
still stand on old reeds.

  counts                   the counts there are, and where they are described
  counts SIZE              what a size is called in each of them
  counts NUMBER COUNT      what a number of one count is in dents per inch, and in all others
  counts NUMBER --measured SIZE
                           what a number stamped on a reed can mean, which measures SIZE`,
		Example: `  dentcount counts 40/10
  dentcount counts 40 beers-36-in
  dentcount counts 40 --measured 22.2`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 2 {
				return usagef("one number at a time: %q is too much", args[2])
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if measured != "" {
				if len(args) != 1 {
					return usagef("--measured goes with the one number that is stamped on the reed").withHint("dentcount counts 40 --measured 22.2")
				}
				return a.tellStamp(args[0], measured, asJSON)
			}
			if len(args) == 0 {
				return a.listCounts(asJSON)
			}
			return a.tellCounts(args, asJSON)
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&measured, "measured", "", "the dent `SIZE` the reed measures: 22.2, 40/10")
	fl.BoolVar(&asJSON, "json", false, "as a JSON object")
	return cmd
}

// countJSON is one count for scripts; number is left out where none was asked for.
type countJSON struct {
	ID            string  `json:"id"`
	Name          string  `json:"name"`
	Number        float64 `json:"number,omitempty"`
	DentsPerInch  float64 `json:"dents_per_inch,omitempty"`
	DentsPerUnit  float64 `json:"dents_per_unit"`
	OverIn        float64 `json:"over_in"`
	Source        string  `json:"source"`
	Note          string  `json:"note,omitempty"`
	StandardScore float64 `json:"z,omitempty"`
}

func countLine(c trade.Count) countJSON {
	return countJSON{ID: c.ID, Name: c.Name, DentsPerUnit: c.DentsPerUnit, OverIn: c.OverIn, Source: c.Source, Note: c.Note}
}

// countsJSON is the answer for scripts.
type countsJSON struct {
	Schema       int         `json:"schema"`
	DentsPerInch float64     `json:"dents_per_inch,omitempty"`
	DentsPer10CM float64     `json:"dents_per_10cm,omitempty"`
	Nearest      []string    `json:"nearest,omitempty"` // made sizes of reeds within 1 %
	Counts       []countJSON `json:"counts"`
}

func (a *app) countsJSON(out countsJSON) error {
	out.Schema = 1
	if out.Counts == nil {
		out.Counts = []countJSON{}
	}
	enc := json.NewEncoder(a.answers())
	enc.SetEscapeHTML(false)
	return enc.Encode(out)
}

func (a *app) listCounts(asJSON bool) error {
	var out countsJSON
	w := tabwriter.NewWriter(a.answers(), 0, 0, 2, ' ', 0)
	for _, c := range trade.Counts() {
		out.Counts = append(out.Counts, countLine(c))
		if !asJSON {
			fmt.Fprintf(w, "%s\t%s\t%s\n", c.ID, c.Name, c.Source)
		}
	}
	if asJSON {
		return a.countsJSON(out)
	}
	return w.Flush()
}

// nearestMade are the sizes reeds are made in that lie within 1 % of a pitch,
// the nearest first.
func nearestMade(perInch float64) (labels []string) {
	for _, m := range trade.Near(trade.Sizes(trade.PartReed), perInch, 0.01) {
		labels = append(labels, m.Label)
	}
	return labels
}

// tellCounts says what a size, or a number of one count, is in all of them.
func (a *app) tellCounts(args []string, asJSON bool) error {
	var perInch float64
	said := strings.TrimSpace(args[0])
	if len(args) == 2 {
		c, err := trade.CountByID(args[1])
		if err != nil {
			return usagef("%v", err)
		}
		n, err := trade.ParseNumber(args[0])
		if err != nil {
			return usagef("%v", err)
		}
		if perInch, err = trade.CheckPerInch(args[0], c.PerInch(n)); err != nil {
			return usagef("as %s, %v", c.Name, err)
		}
		said += ", " + c.Name
	} else {
		m, err := trade.ParseSize(args[0])
		if err != nil {
			return usagef("%v", err)
		}
		perInch = m.PerInch
	}
	out := countsJSON{DentsPerInch: perInch, DentsPer10CM: perInch * 100 / trade.MMPerInch, Nearest: nearestMade(perInch)}
	for _, n := range trade.InAllCounts(perInch) {
		l := countLine(n.Count)
		l.Number = n.Number
		out.Counts = append(out.Counts, l)
	}
	if asJSON {
		return a.countsJSON(out)
	}
	a.answerf("%s: %.4g dents per inch, %.4g per 10 cm%s\n", report.Printable(said), perInch, out.DentsPer10CM, madeWords(out.Nearest))
	w := tabwriter.NewWriter(a.answers(), 0, 0, 2, ' ', 0)
	for _, n := range out.Counts {
		fmt.Fprintf(w, "  %.4g\t%s\n", n.Number, n.Name)
	}
	return w.Flush()
}

func madeWords(nearest []string) string {
	if len(nearest) == 0 {
		return "; no reed of that size is made today"
	}
	return "; made today within 1 in 100: " + strings.Join(nearest, ", ")
}

// stampRelU is how well a size said by a person is taken to be measured,
// relative: a count over some inches by hand.
const stampRelU = 0.005

// tellStamp says what a number on a reed can mean that measures so much.
func (a *app) tellStamp(stamp, measured string, asJSON bool) error {
	n, err := trade.ParseNumber(stamp)
	if err != nil {
		return usagef("%v", err)
	}
	m, err := trade.ParseSize(measured)
	if err != nil {
		return usagef("--measured: %v", err)
	}
	out := countsJSON{DentsPerInch: m.PerInch, DentsPer10CM: m.PerInch * 100 / trade.MMPerInch, Nearest: nearestMade(m.PerInch)}
	for _, r := range trade.ReadStamp(n, m.PerInch, stampRelU) {
		l := countLine(r.Count)
		l.Number, l.DentsPerInch, l.StandardScore = n, r.PerInch, r.Z
		out.Counts = append(out.Counts, l)
	}
	if len(out.Counts) == 0 {
		a.doubt()
	}
	if asJSON {
		return a.countsJSON(out)
	}
	shown := report.Printable(strings.TrimSpace(stamp))
	if len(out.Counts) == 0 {
		a.answerf("A %s on a reed of %.4g dents per inch agrees with no count: the stamp is another thing, or one of the two was misread.\n", shown, m.PerInch)
		return nil
	}
	a.answerf("A %s on a reed of %.4g dents per inch can be:\n", shown, m.PerInch)
	w := tabwriter.NewWriter(a.answers(), 0, 0, 2, ' ', 0)
	for _, c := range out.Counts {
		fmt.Fprintf(w, "  %s\t%.4g dents per inch\t(%s)\n", c.Name, c.DentsPerInch, c.Source)
	}
	return w.Flush()
}
