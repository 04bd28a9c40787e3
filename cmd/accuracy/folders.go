package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"dentcount/measure"
	"dentcount/photo"
)

// measureFolder measures the photos of a folder that its truth.json knows and
// whose names contain only.
func measureFolder(ctx context.Context, dir, only string) ([]sample, error) {
	b, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		return nil, fmt.Errorf("%w: give a folder of photos with their truth", err)
	}
	var ts []truth
	if err := json.Unmarshal(b, &ts); err != nil {
		return nil, fmt.Errorf("%s: %w", filepath.Join(dir, "truth.json"), err)
	}
	var out []sample
	for i, t := range ts {
		if t.Family != "dent" || !strings.Contains(t.File, only) {
			continue
		}
		p, err := photo.Limits{GrayOnly: true}.Open(filepath.Join(dir, t.File))
		if err != nil {
			return nil, err
		}
		s, err := measureBoth(ctx, p, t)
		p.Close()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", t.File, err)
		}
		s.Index = i
		out = append(out, s)
	}
	return out, nil
}

// measureBoth reads a photo once and answers it with the ruler's thickness told
// and not told.
func measureBoth(ctx context.Context, p *photo.Photo, t truth) (sample, error) {
	start := time.Now()
	read, err := measure.Read(ctx, p, measure.Options{})
	if err != nil {
		return sample{}, err
	}
	s := sample{Truth: t, NotTold: outcomeOf(read.Answer(measure.Options{}))}
	s.Told = outcomeOf(read.Answer(measure.Options{RulerThicknessMM: t.ThicknessMM}))
	perInch, cues := read.BandCues()
	s.BandsPerInch = perInch
	for _, c := range cues {
		if s.KindCues == nil {
			s.KindCues = map[string]float64{}
		}
		s.KindCues[c.Name] = c.Value
	}
	s.TookMS = time.Since(start).Milliseconds()
	return s, nil
}
