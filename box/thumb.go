package box

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"math"

	"gocv.io/x/gocv"
)

// The small annotated pictures that are kept: large enough to see the marks on
// a phone, some tens of kilobytes each.
const (
	thumbPx      = 640
	thumbQuality = 80
)

// smallJPEG reduces a picture and packs it as JPEG. OpenCV does both an order
// of magnitude faster than the filters and the encoder in Go.
func smallJPEG(img image.Image) ([]byte, error) {
	size := img.Bounds().Size()
	rgba, ok := img.(*image.RGBA)
	if !ok || rgba.Stride != 4*size.X || rgba.Rect.Min != (image.Point{}) {
		rgba = image.NewRGBA(image.Rectangle{Max: size})
		draw.Draw(rgba, rgba.Rect, img, img.Bounds().Min, draw.Src)
	}
	full, err := gocv.NewMatFromBytes(size.Y, size.X, gocv.MatTypeCV8UC4, rgba.Pix)
	if err != nil {
		return nil, fmt.Errorf("the small picture: %w", err)
	}
	defer full.Close()
	bgr := gocv.NewMat()
	defer bgr.Close()
	gocv.CvtColor(full, &bgr, gocv.ColorRGBAToBGR)
	if k := float64(thumbPx) / float64(max(size.X, size.Y)); k < 1 {
		small := image.Pt(max(1, int(math.Round(float64(size.X)*k))), max(1, int(math.Round(float64(size.Y)*k))))
		gocv.Resize(bgr, &bgr, small, 0, 0, gocv.InterpolationArea)
	}
	buf, err := gocv.IMEncodeWithParams(gocv.JPEGFileExt, bgr, []int{gocv.IMWriteJpegQuality, thumbQuality})
	if err != nil {
		return nil, fmt.Errorf("the small picture: %w", err)
	}
	defer buf.Close()
	return bytes.Clone(buf.GetBytes()), nil
}
