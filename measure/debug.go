package measure

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// debug collects what each stage found and how long it took, for --debug-dir.
type debug struct {
	dir    string
	last   time.Time
	stages []stage
}

type stage struct {
	Stage  string         `json:"stage"`
	TookMS float64        `json:"took_ms"`
	Found  map[string]any `json:"found"`
}

func newDebug(dir string) *debug { return &debug{dir: dir, last: time.Now()} }

func (d *debug) lap(name string, found map[string]any) {
	now := time.Now()
	d.stages = append(d.stages, stage{name, float64(now.Sub(d.last).Microseconds()) / 1000, found})
	d.last = now
}

// write leaves stages.json in the debug folder, where one was asked for.
func (d *debug) write() error {
	if d.dir == "" {
		return nil
	}
	b, err := json.MarshalIndent(d.stages, "", "  ")
	if err != nil {
		return fmt.Errorf("stages.json: %w", err)
	}
	if err := os.MkdirAll(d.dir, 0o755); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(d.dir, "stages.json"), append(b, '\n'), 0o644)
}
