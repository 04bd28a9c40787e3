package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"dentcount/report"
	"dentcount/shelf"
	"dentcount/trade"
)

// settFlag is a sett in ends per inch; "8/cm" and "80/10cm" are taken, too.
type settFlag float64

func (f *settFlag) String() string { return orNothing(float64(*f)) }
func (f *settFlag) Type() string   { return "sett" }
func (f *settFlag) Set(s string) error {
	x, ok := perInch(s, "epi")
	if !ok || x > 1000 {
		return fmt.Errorf("%q is no sett: say ends per inch, such as 20, or 8/cm", s)
	}
	*f = settFlag(x)
	return nil
}

// wrapsFlag is how often a yarn goes round an inch of ruler.
type wrapsFlag float64

func (f *wrapsFlag) String() string { return orNothing(float64(*f)) }
func (f *wrapsFlag) Type() string   { return "wraps" }
func (f *wrapsFlag) Set(s string) error {
	x, ok := perInch(s, "wpi")
	if !ok {
		return fmt.Errorf("%q is no number of wraps: count them over an inch, such as 24, or 9/cm", s)
	}
	*f = wrapsFlag(x)
	return nil
}

func orNothing(x float64) string {
	if x == 0 {
		return ""
	}
	return strconv.FormatFloat(x, 'g', 6, 64)
}

// perInch reads a density: a plain number is per inch, or a unit says.
func perInch(s, short string) (float64, bool) {
	text := strings.ReplaceAll(strings.ToLower(strings.TrimSpace(s)), " ", "")
	k := 1.0
	for _, u := range []struct {
		suffix string
		k      float64
	}{{"/10cm", 0.254}, {"per10cm", 0.254}, {"/cm", 2.54}, {"percm", 2.54}, {"/in", 1}, {"perinch", 1}, {short, 1}} {
		if t, ok := strings.CutSuffix(text, u.suffix); ok {
			text, k = t, u.k
			break
		}
	}
	x, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	return x * k, err == nil && x > 0 && !math.IsInf(x, 0)
}

// weaveFlag and yarnFlag read as trade does.
type weaveFlag trade.Weave

func (f *weaveFlag) String() string { return f.Name }
func (f *weaveFlag) Type() string   { return "weave" }
func (f *weaveFlag) Set(s string) error {
	w, err := trade.ParseWeave(s)
	*f = weaveFlag(w)
	return err
}

type yarnFlag trade.Yarn

func (f *yarnFlag) String() string { return f.Words }
func (f *yarnFlag) Type() string   { return "yarn" }
func (f *yarnFlag) Set(s string) error {
	y, err := trade.ParseYarn(s)
	*f = yarnFlag(y)
	return err
}

// settFlags are the flags of the sett command.
type settFlags struct {
	sett  settFlag
	wraps wrapsFlag
	yarn  yarnFlag
	weave weaveFlag
	cloth string
	soft  bool
	width lengthFlag
	part  string
	mine  bool
	limit int
	json  bool
}

func newSettCmd(a *app) *cobra.Command {
	var f settFlags
	var sf shelfFlag
	f.weave.Set("plain")
	cmd := &cobra.Command{
		Use:   "sett --yarn YARN | --wraps N | --sett SETT",
		Short: "From yarn to ends per inch, to the reed and its sleying",
		Long: `sett estimates the ends per inch for a yarn, and lists the reeds that give them and
how they are sleyed. Tell the yarn by its label (--yarn), by the wraps that lie side
by side in an inch of ruler (--wraps), or the sett itself where you know it (--sett).

The estimate is a rule of thumb for a cloth with the same yarn both ways. Weave a
sample before you wind a long warp.`,
		Example: `  dentcount sett --yarn "8/2 cotton"
  dentcount sett --yarn "200 m/50 g" --weave twill --width 60cm
  dentcount sett --wraps 24 --mine
  dentcount sett --sett 20 --part rigid-heddle`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			answer, err := f.estimate()
			if err != nil {
				return err
			}
			sizes, err := f.sizes(cmd, a, &sf)
			if err != nil {
				return err
			}
			if answer.Estimated {
				answer.reeds = trade.ReedsNear(answer.Sett, estimateWithin, sizes)
			} else {
				answer.reeds = trade.ReedsFor(answer.Sett, sizes)
			}
			if f.json {
				return a.jsonLine(answer.forScripts())
			}
			return a.tellSett(answer, f)
		},
	}
	fl := cmd.Flags()
	fl.Var(&f.yarn, "yarn", "the `YARN` by its label: 8/2 cotton, Nm 28/2, 60 tex, 3360 yd/lb, 200 m/50 g")
	fl.Var(&f.wraps, "wraps", "`N` wraps in an inch, or per cm as in 9/cm")
	fl.Var(&f.sett, "sett", "ends per inch, `SETT`, or per cm as in 8/cm: no estimate")
	fl.Var(&f.weave, "weave", "the `WEAVE`: plain, twill, or how the twill goes, such as 2/1")
	fl.StringVar(&f.cloth, "cloth", "usual", "how close the `CLOTH` is to be: loose, usual or firm")
	fl.BoolVar(&f.soft, "soft", false, "the yarn is soft spun, as woollen is")
	fl.Var(&f.width, "width", "how wide the warp is to be in the reed, `LENGTH`: tells the number of ends")
	fl.StringVar(&f.part, "part", trade.PartReed, "what it is sleyed in, `PART`: reed or rigid-heddle")
	fl.BoolVar(&f.mine, "mine", false, "only sizes that are on the shelf")
	fl.IntVar(&f.limit, "limit", 8, "at most so many reeds; 0 for all")
	fl.BoolVar(&f.json, "json", false, "as a JSON object")
	sf.addTo(cmd)
	return cmd
}

// estimateWithin is how near, in percent, a reed must come to an estimated
// sett: no rule of thumb is better.
const estimateWithin = 10

// settAnswer is what is said of a sett.
type settAnswer struct {
	Sett, Loose, Firm float64 // the last two 0 where it was told
	Estimated         bool
	Yarn              trade.Yarn
	Weave             trade.Weave
	Rule, Source      string
	Diameters         float64
	Ends              int // 0 without a width
	reeds             []trade.ReedChoice
}

func (f *settFlags) estimate() (settAnswer, error) {
	given := 0
	for _, is := range []bool{f.sett != 0, f.wraps != 0, f.yarn.Words != ""} {
		if is {
			given++
		}
	}
	switch {
	case given == 0:
		return settAnswer{}, usagef("say the yarn, its wraps per inch, or the sett").withHint(`dentcount sett --yarn "8/2 cotton"; dentcount sett --wraps 24; dentcount sett --sett 20`)
	case given > 1:
		return settAnswer{}, usagef("--yarn, --wraps and --sett: give one of the three")
	case f.part != trade.PartReed && f.part != trade.PartRigidHeddle:
		return settAnswer{}, usagef("--part %s: say reed or rigid-heddle", f.part)
	case f.cloth != "loose" && f.cloth != "usual" && f.cloth != "firm":
		return settAnswer{}, usagef("--cloth %s: say loose, usual or firm", f.cloth)
	case f.soft && f.yarn.Words == "":
		return settAnswer{}, usagef("--soft goes with --yarn: wraps are counted on the yarn itself")
	case f.limit < 0:
		return settAnswer{}, usagef("--limit %d: say how many, or 0 for all", f.limit)
	}
	out := settAnswer{Weave: trade.Weave(f.weave)}
	var est trade.SettEstimate
	var err error
	switch {
	case f.sett != 0:
		out.Sett = float64(f.sett)
	case f.wraps != 0:
		est, err = trade.SettOfWraps(float64(f.wraps), out.Weave)
	default:
		out.Yarn = trade.Yarn(f.yarn)
		out.Yarn.Soft = out.Yarn.Soft || f.soft
		est, err = trade.SettOfYarn(out.Yarn, out.Weave)
	}
	if err != nil {
		return out, usagef("%v", err)
	}
	if f.sett == 0 {
		out.Estimated, out.Loose, out.Firm, out.Diameters, out.Rule, out.Source = true, est.Loose, est.Firm, est.Diameters, est.Rule, est.Source
		out.Sett = map[string]float64{"loose": est.Loose, "usual": est.Sett, "firm": est.Firm}[f.cloth]
		// No weaver winds part of an end to the inch, but in the coarsest yarns.
		if out.Sett >= 10 {
			out.Sett = math.Round(out.Sett)
		} else {
			out.Sett = math.Round(out.Sett*2) / 2
		}
	}
	if f.width > 0 {
		out.Ends = trade.EndsFor(float64(f.width), out.Sett)
	}
	return out, nil
}

// sizes are those that are made, or those on the shelf.
func (f *settFlags) sizes(cmd *cobra.Command, a *app, sf *shelfFlag) ([]trade.MadeSize, error) {
	if !f.mine {
		return trade.Sizes(f.part), nil
	}
	s, err := sf.openThere(cmd.Context(), a)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	owned, err := s.Sizes(cmd.Context(), shelf.Query{Kind: f.part})
	if err != nil {
		return nil, err
	}
	var out []trade.MadeSize
	for _, o := range owned {
		m, err := trade.ParseSize(o.Label)
		if err != nil || m.System != o.System {
			m = trade.MadeSize{Label: o.Label, System: o.System, PerInch: o.PerInch}
		}
		out = append(out, m)
	}
	return out, nil
}

func (a *app) tellSett(x settAnswer, f settFlags) error {
	say := func(format string, args ...any) { a.answerf("%s\n", report.Printable(fmt.Sprintf(format, args...))) }
	if x.Yarn.Words != "" {
		say("%s: %.0f yd/lb (%.0f m/kg, %.0f tex); %.0f yarns lie side by side in an inch", x.Yarn.Words, x.Yarn.YardsPerPound, x.Yarn.YardsPerPound*trade.MetresPerKG, x.Yarn.Tex(), x.Diameters)
	}
	sett := fmt.Sprintf("%s ends per inch (%.0f in 10 cm)", plainNumber(x.Sett), x.Sett/0.254)
	if x.Estimated {
		say("Sett for %s, %s cloth: about %s; loose %s, firm %s", x.Weave.Name, f.cloth, sett, plainNumber(math.Round(x.Loose)), plainNumber(math.Round(x.Firm)))
		say("By rule of thumb (%s): weave a sample first", x.Rule)
	} else {
		say("Sett: %s", sett)
	}
	if x.Ends > 0 {
		say("A warp %s wide in the %s: %d ends", trade.FormatLength(float64(f.width)), report.PartName(f.part), x.Ends)
	}
	many := map[string]string{trade.PartReed: "Reeds", trade.PartRigidHeddle: "Rigid heddles"}[f.part]
	if len(x.reeds) == 0 {
		if f.mine {
			say("No %s of a size that gives it is on the shelf; without --mine the sizes that are made are listed", report.PartName(f.part))
		} else {
			say("No %s that is made gives it in a regular sleying", report.PartName(f.part))
		}
		return a.writeErr
	}
	shown := x.reeds
	if f.limit > 0 {
		shown = shown[:min(f.limit, len(shown))]
	}
	if f.mine {
		many += " on the shelf"
	}
	say("%s, the simplest first:", many)
	w := tabwriter.NewWriter(a.answers(), 0, 0, 2, ' ', 0)
	cautions := newOnce()
	for _, c := range shown {
		fmt.Fprintf(w, "  %s\tsleyed %s\tgives %s ends per inch\t%s\n", report.Printable(sizeInWords(c.Size)), c.Sleying, plainNumber(c.Sleying.EndsPerInch), offInWords(c.Sleying))
		cautions.add(c.Cautions)
	}
	w.Flush()
	for _, c := range cautions.all {
		say("Mind: %s", report.Sentences(c))
	}
	if len(shown) < len(x.reeds) {
		a.note("%d of %d are shown; --limit 0 shows all", len(shown), len(x.reeds))
	}
	if f.mine && f.part == trade.PartReed {
		a.hint("dentcount shelf for --loom NAME --sett %s says which of them go into a loom", plainNumber(x.Sett))
	}
	return a.writeErr
}

// sizeInWords is a size in a list; one that is in no table by its dents.
func sizeInWords(m trade.MadeSize) string {
	if m.System == trade.SystemInch || m.System == trade.SystemMetric {
		return m.Label
	}
	return plainNumber(m.PerInch) + " per inch"
}

// offInWords says how far a sleying is from the sett.
func offInWords(s trade.Sleying) string {
	pct := math.Abs(s.ErrPercent)
	switch {
	case s.Exact():
		return "just that"
	case s.ErrPercent > 0:
		return fmt.Sprintf("%.1f %% closer", pct)
	}
	return fmt.Sprintf("%.1f %% more open", pct)
}

// once keeps texts in their order, each one time.
type once struct {
	seen map[string]bool
	all  []string
}

func newOnce() *once { return &once{seen: map[string]bool{}} }

func (o *once) add(texts []string) {
	for _, t := range texts {
		if !o.seen[t] {
			o.seen[t] = true
			o.all = append(o.all, t)
		}
	}
}

// settJSON is the stable form of an answer.
type settJSON struct {
	EndsPerInch float64        `json:"ends_per_inch"`
	EndsPer10CM float64        `json:"ends_per_10cm"`
	Estimated   bool           `json:"estimated"`
	Loose       float64        `json:"loose"` // ends per inch; 0 where the sett was told
	Firm        float64        `json:"firm"`
	Weave       string         `json:"weave"`
	Rule        string         `json:"rule"`
	Source      string         `json:"source"`
	YardsPerLB  float64        `json:"yards_per_pound"` // 0 where no yarn was told
	Tex         float64        `json:"tex"`
	Ends        int            `json:"ends"` // 0 without a width
	Reeds       []settReedJSON `json:"reeds"`
}

type settReedJSON struct {
	sleyingJSON
	Cautions []string `json:"cautions"`
}

func (x settAnswer) forScripts() settJSON {
	j := settJSON{EndsPerInch: round4(x.Sett), EndsPer10CM: round4(x.Sett / 0.254), Estimated: x.Estimated, Loose: round4(x.Loose), Firm: round4(x.Firm),
		Weave: x.Weave.Name, Rule: x.Rule, Source: x.Source, YardsPerLB: round4(x.Yarn.YardsPerPound), Ends: x.Ends, Reeds: []settReedJSON{}}
	if x.Yarn.YardsPerPound > 0 {
		j.Tex = round4(x.Yarn.Tex())
	}
	for _, c := range x.reeds {
		j.Reeds = append(j.Reeds, settReedJSON{sleyingForScripts(c.Size, c.Sleying), append([]string{}, c.Cautions...)})
	}
	return j
}

// sleyingJSON is a reed and how it is sleyed.
type sleyingJSON struct {
	Size         string  `json:"size"`
	System       string  `json:"system"`
	DentsPerInch float64 `json:"dents_per_inch"`
	Sleying      []int   `json:"sleying"` // ends in each dent of the repeat
	EndsPerInch  float64 `json:"ends_per_inch"`
	ErrPercent   float64 `json:"err_percent"`
}

func sleyingForScripts(m trade.MadeSize, s trade.Sleying) sleyingJSON {
	return sleyingJSON{Size: m.Label, System: m.System, DentsPerInch: round4(m.PerInch), Sleying: s.Pattern, EndsPerInch: round4(s.EndsPerInch), ErrPercent: round4(s.ErrPercent)}
}

func round4(x float64) float64 { return math.Round(x*1e4) / 1e4 }
