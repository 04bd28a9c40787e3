package box

import (
	"image"
	"math"

	"github.com/makiuchi-d/gozxing"
	zxqr "github.com/makiuchi-d/gozxing/qrcode"
	"gocv.io/x/gocv"

	"dentcount/photo"
	"dentcount/shelf"
)

// tagLongPx is the long side to which a photo is reduced before its QR code is
// looked for: at a foot of scene in view a module of 1 mm is still six pixels.
const tagLongPx = 2000

// seenTag is an id tag in a picture.
type seenTag struct {
	shelf.Tag
	// pxPerInch is the scale at the tag, in pixels of the photo, from the
	// distance of the finder patterns; 0 where the tag does not tell its size.
	pxPerInch float64
}

// findTag looks for an id tag of ours. Not finding one is no error.
func findTag(p *photo.Photo) (tag seenTag, ok bool) {
	// The decoder is meant for clean pictures of codes; a photo that it trips
	// over has no tag, and is measured all the same.
	defer func() {
		if recover() != nil {
			tag, ok = seenTag{}, false
		}
	}()
	grey := gocv.NewMat()
	defer grey.Close()
	k := math.Min(1, tagLongPx/float64(max(p.BGR.Cols(), p.BGR.Rows())))
	if k < 1 {
		small := gocv.NewMat()
		defer small.Close()
		gocv.Resize(p.BGR, &small, image.Point{}, k, k, gocv.InterpolationArea)
		gocv.CvtColor(small, &grey, gocv.ColorBGRToGray)
	} else {
		gocv.CvtColor(p.BGR, &grey, gocv.ColorBGRToGray)
	}
	img, err := grey.ToImage()
	if err != nil {
		return seenTag{}, false
	}
	bmp, err := gozxing.NewBinaryBitmapFromImage(img)
	if err != nil {
		return seenTag{}, false
	}
	res, err := zxqr.NewQRCodeReader().Decode(bmp, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
	if err != nil {
		return seenTag{}, false
	}
	t, ok := shelf.ParseTag(res.GetText())
	if !ok {
		return seenTag{}, false
	}
	tag.Tag = t
	if pts := res.GetResultPoints(); t.SideMM > 0 && len(pts) >= 3 {
		// The middles of the finder patterns at the bottom left, top left and
		// top right: 14 of the symbol's 21 modules apart each (ISO/IEC 18004,
		// version 1). The mean of the two is good enough for a check.
		d := func(a, b gozxing.ResultPoint) float64 { return math.Hypot(a.GetX()-b.GetX(), a.GetY()-b.GetY()) }
		px := (d(pts[0], pts[1]) + d(pts[1], pts[2])) / 2 / k
		tag.pxPerInch = px / (14.0 / 21 * float64(t.SideMM)) * 25.4
	}
	return tag, true
}
