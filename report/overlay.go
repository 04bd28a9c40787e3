package report

import (
	"errors"
	"fmt"
	"image"
	"image/draw"
	"math"

	"github.com/disintegration/imaging"
	"gocv.io/x/gocv"

	"dentcount/measure"
	"dentcount/photo"
)

// Sizes of an overlay in pixels.
const (
	overlayMaxPx    = 2000 // long side of the photo in it
	overlayMinPx    = 1000 // a smaller photo is enlarged toward this ...
	overlayMaxGrow  = 4    // ... but by no more than this
	overlayMinWidth = 720  // a narrower photo gets empty ground at its sides ...
	overlayMinShare = 0.36 // ... and one less high than this share of the width, above and below
)

// Overlay draws the evidence of r into a copy of p: the ruler's marks with
// their values, one inch as a bracket, each counted place with a shape for
// what it turned out to be, and the answer in a strip below. The photo is
// reduced to 2000 px on its long side. A result without evidence gives the
// photo and the strip.
//
// Points of r are the contract's: upright photo, from the corner of the first
// pixel. It is an error if p is closed or if r is the result of a photo of
// another size. p is not changed.
func Overlay(p *photo.Photo, r measure.Result) (image.Image, error) {
	return overlay(p, r, Words(r), (*drawing).evidence)
}

// overlay draws by draw what r has evidence of, and words in the strip.
func overlay(p *photo.Photo, r measure.Result, words InWords, drawIn func(*drawing) error) (image.Image, error) {
	shown, k, err := shrunk(p)
	if err != nil {
		return nil, err
	}
	ev := r.Evidence
	if ev != nil && ev.SizePx != [2]int{} && ev.SizePx != [2]int{p.Pixels.Cols(), p.Pixels.Rows()} {
		return nil, fmt.Errorf("report: the result is of a photo of %d×%d px, this one has %d×%d",
			ev.SizePx[0], ev.SizePx[1], p.Pixels.Cols(), p.Pixels.Rows())
	}

	w := max(shown.Bounds().Dx(), overlayMinWidth)
	// The strip's height follows from the width; a canvas of that width lays it out.
	ruling, err := newCanvas(image.NewRGBA(image.Rect(0, 0, w, 1)))
	if err != nil {
		return nil, err
	}
	s, err := layStrip(ruling, r, words)
	if err != nil {
		return nil, err
	}
	ground := image.Rect(0, 0, w, max(shown.Bounds().Dy(), int(overlayMinShare*float64(w))))
	corner := ground.Size().Sub(shown.Bounds().Size()).Div(2)
	at := image.Rectangle{Min: corner, Max: corner.Add(shown.Bounds().Size())}
	c, err := newCanvas(image.NewRGBA(image.Rect(0, 0, w, ground.Max.Y+int(s.height))))
	if err != nil {
		return nil, err
	}
	c.box(stripBack, c.img.Bounds())
	draw.Draw(c.img, at, shown, shown.Bounds().Min, draw.Src)
	if ev != nil {
		d := drawing{canvas: c, r: r, ground: ground, at: at, k: k}
		if err := drawIn(&d); err != nil {
			return nil, err
		}
	}
	return c.img, s.draw(c, ground.Max.Y)
}

// Thumbnail is img reduced to at most maxPx on its long side; it is never
// enlarged. maxPx below 1 counts as 1.
func Thumbnail(img image.Image, maxPx int) image.Image {
	return imaging.Fit(img, max(maxPx, 1), max(maxPx, 1), imaging.Lanczos)
}

// shrunk is the photo at the overlay's size and the factor k from the photo's
// pixels to it. OpenCV reduces large photos, an order faster than a filter in Go.
func shrunk(p *photo.Photo) (image.Image, float64, error) {
	if p == nil || p.Pixels.Ptr() == nil || p.Pixels.Empty() {
		return nil, 0, errors.New("report: no overlay without an open photo")
	}
	long := max(p.Pixels.Cols(), p.Pixels.Rows())
	k := 1.0
	switch {
	case long > overlayMaxPx:
		k = overlayMaxPx / float64(long)
	case long < overlayMinPx:
		k = math.Min(overlayMinPx/float64(long), overlayMaxGrow)
	}
	size := image.Pt(max(1, int(math.Round(float64(p.Pixels.Cols())*k))), max(1, int(math.Round(float64(p.Pixels.Rows())*k))))
	if k >= 1 {
		img, err := p.Pixels.ToImage()
		if err != nil {
			return nil, 0, fmt.Errorf("report: copying the photo: %w", err)
		}
		if k == 1 {
			return img, k, nil
		}
		return imaging.Resize(img, size.X, size.Y, imaging.CatmullRom), k, nil
	}
	small := gocv.NewMat()
	defer small.Close()
	gocv.Resize(p.Pixels, &small, size, 0, 0, gocv.InterpolationArea)
	img, err := small.ToImage()
	if err != nil {
		return nil, 0, fmt.Errorf("report: copying the reduced photo: %w", err)
	}
	return img, k, nil
}
