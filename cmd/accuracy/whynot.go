package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"dentcount/calib"
	"dentcount/fit"
	"dentcount/photo"
	"dentcount/scene"
)

// marksTruth is what is known of the rulers in a photo.
type marksTruth struct {
	File      string             `json:"file"`
	Expect    scene.Expect       `json:"expect"`
	Ruler     string             `json:"ruler"`
	RulerLook string             `json:"ruler_look"`
	Marks     []scene.ScaleMarks `json:"marks"`
}

// whyNot says of each photo in the folders at which stage the search for its
// ruler loses it.
func whyNot(ctx context.Context, f flags, stdout io.Writer) error {
	for _, dir := range f.dirs {
		b, err := os.ReadFile(filepath.Join(dir, "truth.json"))
		if err != nil {
			return fmt.Errorf("%w: give a folder of photos with their truth", err)
		}
		var ts []marksTruth
		if err := json.Unmarshal(b, &ts); err != nil {
			return fmt.Errorf("%s: %w", filepath.Join(dir, "truth.json"), err)
		}
		for _, t := range ts {
			if !strings.Contains(t.File, f.only) || t.Expect != scene.ExpectAnswer {
				continue
			}
			p, err := photo.Limits{GrayOnly: true}.Open(filepath.Join(dir, t.File))
			if err != nil {
				return err
			}
			g, err := p.Gray()
			if err != nil {
				p.Close()
				return err
			}
			colours, err := p.HalfColours()
			focal := fit.FocalPx(p.Focal35, g.W, g.H)
			p.Close()
			if err != nil {
				return err
			}
			fmt.Fprintf(stdout, "%s: %s, %s\n", t.File, t.RulerLook, t.Ruler)
			for _, m := range t.Marks {
				const corner = 0.5 // truths count from the first pixel's corner
				k := calib.KnownScale{
					X0: m.First.At[0] - corner, Y0: m.First.At[1] - corner, X1: m.Last.At[0] - corner, Y1: m.Last.At[1] - corner,
					Units: m.Last.Value - m.First.Value, Unit: calib.Unit(m.Unit), Divisions: m.Divisions,
				}
				if k.Units < 1 {
					continue
				}
				said, err := calib.WhyNot(ctx, g, k, calib.Options{FocalPx: focal, Colours: colours})
				if err != nil {
					return err
				}
				fmt.Fprintf(stdout, "  %s/%d: %s\n", m.Unit, m.Divisions, said)
			}
		}
	}
	return nil
}
