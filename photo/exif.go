package photo

import (
	"bytes"
	"errors"
	"math"
	"strings"

	"github.com/bep/imagemeta"
)

// meta is what EXIF says and the measuring wants; zero where it says nothing.
// Place and time are never read.
type meta struct {
	orientation       int     // 1 to 8 (CIPA DC-008, Orientation); 1 where not told
	focal35MM         float64 // FocalLengthIn35mmFilm
	widthPx, heightPx float64 // PixelXDimension, PixelYDimension, as stored
}

// What is a plausible 35 mm-equivalent focal length; outside it the tag holds
// nonsense.
const minFocal35MM, maxFocal35MM = 4, 2000

// readMeta reads EXIF. A block that is broken or missing is no error: what
// can be read of it is used, the rest is taken as not told.
func readMeta(f format, data []byte) meta {
	m := meta{orientation: 1}
	opt := imagemeta.Options{
		Sources:         imagemeta.EXIF,
		ShouldHandleTag: wantedTag,
		HandleTag: func(t imagemeta.TagInfo) error {
			v := number(t.Value)
			switch t.Tag {
			case "Orientation":
				if 1 <= v && v <= 8 {
					m.orientation = int(v)
				}
			case "FocalLengthIn35mmFormat":
				if minFocal35MM <= v && v <= maxFocal35MM {
					m.focal35MM = v
				}
			case "ExifImageWidth":
				m.widthPx = v
			case "ExifImageHeight":
				m.heightPx = v
			}
			return nil
		},
	}
	switch f {
	case formatJPEG:
		opt.ImageFormat = imagemeta.JPEG
	case formatPNG:
		opt.ImageFormat = imagemeta.PNG
	case formatTIFF:
		opt.ImageFormat = imagemeta.TIFF
	case formatHEIC:
		opt.ImageFormat = imagemeta.HEIF
	case formatWebP:
		// The block is cut out here: imagemeta does not step over the
		// padding byte of an odd chunk before it.
		opt.ImageFormat = imagemeta.TIFF
		data = webpEXIF(data)
	}
	opt.R = newPatientReader(data)
	_, _ = imagemeta.Decode(opt) // an error is a broken block
	return m
}

func wantedTag(t imagemeta.TagInfo) bool {
	switch t.Tag {
	case "Orientation":
		return t.Namespace == "IFD0" // the preview has one of its own
	case "FocalLengthIn35mmFormat", "ExifImageWidth", "ExifImageHeight":
		return strings.HasPrefix(t.Namespace, "IFD0")
	}
	return false
}

// focal35 is the focal length to be used for an upright photo of w × h px, 0
// where it is not known. A photo whose shape is not the one EXIF speaks of was
// cropped, and its angle of view is no longer the lens's.
func (m meta) focal35(w, h int) float64 {
	if m.widthPx > 0 && m.heightPx > 0 {
		// Upright against upright: some programs swap the two when they turn
		// a photo and some don't, so sides are compared by length.
		told := math.Max(m.widthPx, m.heightPx) / math.Min(m.widthPx, m.heightPx)
		real := float64(max(w, h)) / float64(min(w, h))
		if math.Abs(told/real-1) > 0.01 {
			return 0
		}
	}
	return m.focal35MM
}

// webpEXIF is the EXIF block of a WebP file, without the preamble some
// programs leave before it.
func webpEXIF(data []byte) []byte {
	chunks, _ := webpChunks(data)
	for _, c := range chunks {
		if c.kind == "EXIF" {
			return bytes.TrimPrefix(c.bytes, []byte("Exif\x00\x00"))
		}
	}
	return nil
}

// number is a tag's value as a number, 0 where it is none.
func number(v any) float64 {
	switch v := v.(type) {
	case uint8:
		return float64(v)
	case uint16:
		return float64(v)
	case uint32:
		return float64(v)
	case int32:
		return float64(v)
	case float32:
		return float64(v)
	case float64:
		return v
	case interface{ Float64() float64 }: // a rational
		return v.Float64()
	}
	return 0
}

// maxMetaReads is how often a file may be read or sought in for its EXIF; the
// largest PNG within the limits asks for a third of it.
const maxMetaReads = 100_000

var errPatience = errors.New("too many reads for one EXIF block")

// patientReader ends the reading of a file made so that its boxes or
// directories lead round in a circle.
type patientReader struct {
	*bytes.Reader
	left int
}

func newPatientReader(data []byte) *patientReader {
	return &patientReader{Reader: bytes.NewReader(data), left: maxMetaReads}
}

func (r *patientReader) Read(p []byte) (int, error) {
	if r.left--; r.left < 0 {
		return 0, errPatience
	}
	return r.Reader.Read(p)
}

func (r *patientReader) Seek(offset int64, whence int) (int64, error) {
	if r.left--; r.left < 0 {
		return 0, errPatience
	}
	return r.Reader.Seek(offset, whence)
}
