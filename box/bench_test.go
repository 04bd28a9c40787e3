package box

import (
	"image"
	"testing"

	"gocv.io/x/gocv"

	"dentcount/measure"
	"dentcount/photo"
	"dentcount/shelf"
)

// What a sorted photo costs beside its measuring: the look for a tag and the
// small annotated picture, for 12 megapixels.
func BenchmarkBesideMeasuring(b *testing.B) {
	m := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(90, 120, 140, 0), 3000, 4000, gocv.MatTypeCV8UC3)
	gocv.RandN(&m, gocv.NewScalar(120, 120, 120, 0), gocv.NewScalar(20, 20, 20, 0))
	p := &photo.Photo{Pixels: m}
	defer p.Close()
	b.Run("tag=none", func(b *testing.B) {
		for b.Loop() {
			findTag(p)
		}
	})
	drawTag(b, &m, shelf.Tag{ID: shelf.DerivedID("b", 0), SideMM: 21}, 200, image.Pt(2000, 1500), 20)
	b.Run("tag=there", func(b *testing.B) {
		for b.Loop() {
			if _, ok := findTag(p); !ok {
				b.Fatal("not found")
			}
		}
	})
	b.Run("picture", func(b *testing.B) {
		for b.Loop() {
			if _, err := toShelf(p, measure.Result{Status: measure.Refused, Reason: "x", Advice: "y"}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
