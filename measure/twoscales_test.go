package measure

import (
	"bytes"
	"context"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"dentcount/calib"
	"dentcount/photo"
	"dentcount/scene"
)

// 25.4 mm = 1 in exactly (international yard and pound agreement, 1959): on a
// ruler that carries both, seen from straight above, the two scales are read each
// by itself and have to agree on how many pixels an inch is.
func TestTwoScalesOfOneRuler(t *testing.T) {
	ranges := scene.DefaultRanges()
	ranges.AdverseShare = -1
	ranges.MinSpanIn = 4
	both := 0
	for seed := uint64(1); seed < 60 && both < 3; seed++ {
		spec := scene.Random(seed, ranges)
		units := map[string]bool{}
		for _, s := range spec.Rulers[0].Scales {
			units[string(s.Unit)] = true
		}
		if len(units) < 2 {
			continue
		}
		spec.Camera.TiltDeg, spec.Camera.K1 = [2]float64{}, 0
		jpeg, _, err := scene.Photo(spec)
		if err != nil {
			t.Fatal(err)
		}
		p, err := photo.Read("both.jpg", bytes.NewReader(jpeg))
		if err != nil {
			t.Fatal(err)
		}
		g, err := p.Gray()
		p.Close()
		if err != nil {
			t.Fatal(err)
		}
		r, found, err := calib.FindRuler(context.Background(), g, calib.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if !found || r.Second == nil || r.Second.Unit == r.Scale.Unit {
			continue
		}
		both++
		a := r.Scale.InPerPx((r.Scale.Lo + r.Scale.Hi) / 2)
		b := r.Second.InPerPx((r.Second.Lo + r.Second.Hi) / 2)
		if math.Abs(a/b-1) > 0.003 {
			t.Errorf("seed %d: an inch is %.2f px on the %s scale and %.2f px on the %s scale", seed, 1/a, r.Scale.Unit, 1/b, r.Second.Unit)
		}
	}
	if both < 3 {
		t.Errorf("both scales were read on %d rulers, want 3", both)
	}
}

// The debug folder holds a picture of every stage.
func TestDebugPictures(t *testing.T) {
	ks := knownPhotos(t)
	i := slices.IndexFunc(ks, func(k known) bool { return k.Expect == "answer" })
	p, err := photo.Open("../testdata/images/" + ks[i].File)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	dir := filepath.Join(t.TempDir(), "debug")
	if _, err := Photo(context.Background(), p, Options{DebugDir: dir}); err != nil {
		t.Fatal(err)
	}
	for _, f := range []string{"1-ruler.png", "2-beside.png", "3-folded.png"} {
		in, err := os.Open(filepath.Join(dir, f))
		if err != nil {
			t.Fatal(err)
		}
		defer in.Close()
		if img, err := png.Decode(in); err != nil || img.Bounds().Dx() < 100 {
			t.Errorf("%s: %v", f, err)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "stages.json")); err != nil {
		t.Error(err)
	}
}
