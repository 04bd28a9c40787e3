package measure

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"time"

	"dentcount/calib"
	"dentcount/photo"
)

// debug collects what each stage found and how long it took, for --debug-dir.
type debug struct {
	dir      string
	last     time.Time
	stages   []stage
	pictures []named
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

// picture numbers a picture of a stage, to be written with the others. make is
// called only where pictures are asked for.
func (d *debug) picture(name string, make func() image.Image) {
	if d.dir != "" {
		d.pictures = append(d.pictures, named{fmt.Sprintf("%d-%s.png", len(d.pictures)+1, name), make()})
	}
}

type named struct {
	file string
	img  image.Image
}

// onPhoto is the photo, in grey and at most 1600 px wide, with the edge that was
// taken for the ruler's and the marks read on it.
func onPhoto(g photo.Plane, s calib.Scale) image.Image {
	const most = 1600
	k := math.Min(1, float64(most)/float64(max(g.W, g.H)))
	img := image.NewNRGBA(image.Rect(0, 0, int(k*float64(g.W)), int(k*float64(g.H))))
	for y := range img.Rect.Dy() {
		for x := range img.Rect.Dx() {
			v := uint8(g.At(math.Min(float64(x)/k, float64(g.W-2)), math.Min(float64(y)/k, float64(g.H-2))))
			img.SetNRGBA(x, y, color.NRGBA{v, v, v, 255})
		}
	}
	dot := func(along, depth float64, c color.NRGBA) {
		x, y := s.Frame.Point(along, depth)
		img.SetNRGBA(int(k*x), int(k*y), c)
	}
	edge, mark, whole := color.NRGBA{0, 170, 255, 255}, color.NRGBA{255, 210, 0, 255}, color.NRGBA{255, 60, 60, 255}
	for a := s.Lo; a <= s.Hi; a += 0.5 / k {
		dot(a, 0, edge)
	}
	for _, m := range s.Marks {
		c, long := mark, 8.0
		if m.Whole {
			c, long = whole, 20
		}
		for d := 0.0; d < long; d += 0.5 {
			dot(m.Along, d/k, c)
		}
	}
	return img
}

// write leaves the pictures and stages.json in the debug folder, where one was asked for.
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
	for _, p := range d.pictures {
		var buf bytes.Buffer
		if err := png.Encode(&buf, p.img); err != nil {
			return fmt.Errorf("%s: %w", p.file, err)
		}
		if err := os.WriteFile(filepath.Join(d.dir, p.file), buf.Bytes(), 0o644); err != nil {
			return err
		}
	}
	return os.WriteFile(filepath.Join(d.dir, "stages.json"), append(b, '\n'), 0o644)
}
