// Package photo opens a photograph safely: formats, limits checked on the
// header before anything is decoded, EXIF orientation and focal length.
//
// Who reads what:
//
//	JPEG, PNG, WebP, TIFF   OpenCV, once, to 8-bit BGR
//	  the rare kinds        Go's own decoders: anything with transparency,
//	                        which is laid on white, and CMYK JPEG
//	HEIC                    libheif as a Go module; it turns the picture by
//	                        the container's own irot and imir, and EXIF
//	                        orientation is not applied on top of that
//	EXIF                    bep/imagemeta, for every format
//
// A picture that is cut short is refused: a decoder would fill the missing
// part with grey, and grey bands can be counted too.
package photo

import "gocv.io/x/gocv"

// Photo is one decoded photograph, upright (EXIF orientation applied).
//
// Pixel convention: everywhere inside the project a pixel coordinate is
// OpenCV's, (0,0) being the CENTRE of the top-left pixel. The contract's
// points count from that pixel's top-left CORNER; package measure converts,
// in one place, when it fills a Result.
type Photo struct {
	Name string // as the user gave it; "-" for standard input
	// Pixels is the upright picture, closed by Close: CV_8UC3 in the order blue,
	// green, red; CV_8UC1, the luma, of a JPEG opened under Limits.GrayOnly.
	Pixels gocv.Mat
	Format string // "jpeg", "png", "webp", "heic", "tiff"
	// Focal35 is the EXIF 35 mm-equivalent focal length in millimetres; 0
	// where unknown. It is 0, too, where the photo was cropped to another
	// shape after it was taken, for then it no longer tells the angle of view.
	Focal35 float64
	// SHA256 is the hex digest of the file's bytes.
	SHA256 string

	again *encoded // where Pixels hold no colours
}

// encoded is a JPEG of which the luma alone was decoded.
type encoded struct {
	data        []byte
	orientation int
}

// InColour is the photo with its colours, which the caller closes: decoded now where it was
// opened without them, else a copy.
func (p *Photo) InColour() (*Photo, error) {
	q := *p
	q.again = nil
	if p.again == nil {
		q.Pixels = p.Pixels.Clone()
		return &q, nil
	}
	var err error
	if q.Pixels, err = p.again.pixels(gocv.IMReadColor); err != nil {
		return nil, decoderError(p.Name, formatJPEG, p.again.data, err)
	}
	return &q, nil
}

// Close frees the native pixels. It may be called more than once.
func (p *Photo) Close() error {
	if p == nil || p.Pixels.Ptr() == nil {
		return nil
	}
	err := p.Pixels.Close()
	p.Pixels = gocv.Mat{}
	return err
}
