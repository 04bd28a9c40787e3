package photo

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"image/png"

	"github.com/gen2brain/heic"
	"gocv.io/x/gocv"
	"golang.org/x/image/tiff"
)

// decodePixels decodes a picture once and turns it upright. The result is as
// Photo.Pixels says; the caller closes it.
func decodePixels(f format, h header, orientation int, data []byte, grayOnly bool) (gocv.Mat, error) {
	var m gocv.Mat
	var err error
	switch {
	case h.viaGo:
		m, err = decodeGo(f, data)
	case grayOnly && f == formatJPEG:
		m, err = decodeOpenCV(data, gocv.IMReadGrayScale, gocv.MatTypeCV8UC1)
	default:
		m, err = decodeOpenCV(data, gocv.IMReadColor, gocv.MatTypeCV8UC3)
	}
	if err != nil {
		return gocv.Mat{}, err
	}
	if err := checkDecoded(m, f, h); err != nil {
		m.Close()
		return gocv.Mat{}, err
	}
	switch {
	case f == formatHEIC:
		orientation = 1 // libheif has turned it by irot and imir, which alone count
	case f == formatTIFF && !h.viaGo:
		orientation = 1 // OpenCV turns a TIFF whatever flag it is given
	}
	return upright(m, orientation), nil
}

// checkDecoded makes sure that the picture is the one its header announced and
// whose size was found within the limits.
func checkDecoded(m gocv.Mat, f format, h header) error {
	w, ht := m.Cols(), m.Rows()
	ok := w == h.widthPx && ht == h.heightPx
	switch f {
	case formatTIFF: // may have been turned already
		ok = ok || w == h.heightPx && ht == h.widthPx
	case formatHEIC: // may have been turned, or cropped by its container
		ok = w*ht <= h.widthPx*h.heightPx
	}
	if !ok {
		return fmt.Errorf("the header says %d × %d px, the picture is %d × %d", h.widthPx, h.heightPx, w, ht)
	}
	return nil
}

var errOpenCV = errors.New("OpenCV could not decode it")

func decodeOpenCV(data []byte, how gocv.IMReadFlag, want gocv.MatType) (gocv.Mat, error) {
	m, err := gocv.IMDecode(data, how|gocv.IMReadIgnoreOrientation)
	if err != nil {
		return gocv.Mat{}, err
	}
	if m.Empty() || m.Type() != want {
		m.Close()
		return gocv.Mat{}, errOpenCV
	}
	return m, nil
}

func decodeGo(f format, data []byte) (gocv.Mat, error) {
	var img image.Image
	var err error
	r := bytes.NewReader(data)
	switch f {
	case formatJPEG:
		img, err = jpeg.Decode(r)
	case formatPNG:
		img, err = png.Decode(r)
	case formatWebP:
		// Not by x/image, which takes the narrow-range colours of WebP for
		// full-range ones and shows white as gray.
		img, err = decodeAlphaOpenCV(data)
	case formatTIFF:
		img, err = tiff.Decode(r)
	case formatHEIC:
		img, err = heic.Decode(r)
	default:
		err = fmt.Errorf("no decoder for format %q", string(f))
	}
	if err != nil {
		return gocv.Mat{}, err
	}
	return flatten(img)
}

// decodeAlphaOpenCV decodes a picture that has alpha beside its colours.
func decodeAlphaOpenCV(data []byte) (image.Image, error) {
	m, err := gocv.IMDecode(data, gocv.IMReadUnchanged)
	if err != nil {
		return nil, err
	}
	defer m.Close()
	switch {
	case m.Empty():
		return nil, errOpenCV
	case m.Type() == gocv.MatTypeCV8UC3: // none after all
		gocv.CvtColor(m, &m, gocv.ColorBGRToRGBA)
	case m.Type() == gocv.MatTypeCV8UC4:
		gocv.CvtColor(m, &m, gocv.ColorBGRAToRGBA)
	default:
		return nil, fmt.Errorf("OpenCV made a Mat of type %v of it", m.Type())
	}
	return &image.NRGBA{
		Pix:    m.ToBytes(),
		Stride: 4 * m.Cols(),
		Rect:   image.Rect(0, 0, m.Cols(), m.Rows()),
	}, nil
}

// flatten lays img on white and gives it as BGR; the caller closes the Mat.
// It goes by bands of rows, so that no second full-size copy is held.
func flatten(img image.Image) (gocv.Mat, error) {
	const bandRows = 64
	b := img.Bounds()
	bgr := gocv.NewMatWithSize(b.Dy(), b.Dx(), gocv.MatTypeCV8UC3)
	band := image.NewRGBA(image.Rect(0, 0, b.Dx(), min(bandRows, b.Dy())))
	for y := 0; y < b.Dy(); y += bandRows {
		rows := min(bandRows, b.Dy()-y)
		to := image.Rect(0, 0, b.Dx(), rows)
		draw.Draw(band, to, image.White, image.Point{}, draw.Src)
		draw.Draw(band, to, img, image.Pt(b.Min.X, b.Min.Y+y), draw.Over)
		if err := putBand(&bgr, y, rows, band.Pix[:rows*band.Stride]); err != nil {
			bgr.Close()
			return gocv.Mat{}, err
		}
	}
	return bgr, nil
}

// putBand writes rows of RGBA bytes into bgr from row y on.
func putBand(bgr *gocv.Mat, y, rows int, rgba []byte) error {
	src, err := gocv.NewMatFromBytes(rows, bgr.Cols(), gocv.MatTypeCV8UC4, rgba)
	if err != nil {
		return err
	}
	defer src.Close()
	dst := bgr.Region(image.Rect(0, y, bgr.Cols(), y+rows))
	defer dst.Close()
	gocv.CvtColor(src, &dst, gocv.ColorRGBAToBGR)
	return nil
}

// upright turns m by an EXIF orientation. It takes m over: either m itself is
// returned, or m is closed and its turned copy returned.
func upright(m gocv.Mat, orientation int) gocv.Mat {
	if orientation <= 1 || orientation > 8 {
		return m
	}
	defer m.Close()
	out := gocv.NewMat()
	// Each case says where the stored first row and first column belong
	// (TIFF 6.0, Orientation).
	switch orientation {
	case 2: // top, right
		gocv.Flip(m, &out, 1)
	case 3: // bottom, right
		gocv.Rotate(m, &out, gocv.Rotate180Clockwise)
	case 4: // bottom, left
		gocv.Flip(m, &out, 0)
	case 5: // left, top
		gocv.Transpose(m, &out)
	case 6: // right, top
		gocv.Rotate(m, &out, gocv.Rotate90Clockwise)
	case 7: // right, bottom
		gocv.Transpose(m, &out)
		gocv.Flip(out, &out, -1)
	case 8: // left, bottom
		gocv.Rotate(m, &out, gocv.Rotate90CounterClockwise)
	}
	return out
}
