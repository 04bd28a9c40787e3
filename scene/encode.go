package scene

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/jpeg"
)

// Encode stores an upright picture as a phone would: turned to the sensor's
// own position, as JPEG, with EXIF saying how to turn it back.
func Encode(spec Spec, img *image.YCbCr) ([]byte, error) {
	q := spec.File.JPEGQuality
	if q < 1 || q > 100 {
		return nil, bad("its JPEG quality is %d; give 1 to 100", q)
	}
	stored := img
	switch spec.File.Orientation {
	case 1:
	case 3, 6, 8:
		stored = turn(img, spec.File.Orientation)
	default:
		return nil, bad("its EXIF orientation is %d; give 1, 3, 6 or 8", spec.File.Orientation)
	}
	var buf bytes.Buffer
	buf.Grow(img.Rect.Dx() * img.Rect.Dy() / 2)
	if err := jpeg.Encode(&buf, stored, &jpeg.Options{Quality: q}); err != nil {
		return nil, fmt.Errorf("scene: the photo cannot be encoded: %w", err)
	}
	b := buf.Bytes()
	if spec.File.NoEXIF {
		return b, nil
	}
	// The APP1 segment goes right after the two bytes of SOI (Exif 2.32, 4.5.4).
	app1 := exifSegment(spec)
	out := make([]byte, 0, len(b)+len(app1))
	out = append(out, b[:2]...)
	out = append(out, app1...)
	return append(out, b[2:]...), nil
}

// turn gives the stored picture which EXIF orientation 3, 6 or 8 turns upright.
func turn(img *image.YCbCr, orientation int) *image.YCbCr {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	ow, oh := w, h
	if orientation != 3 {
		ow, oh = h, w
	}
	out := image.NewYCbCr(image.Rect(0, 0, ow, oh), image.YCbCrSubsampleRatio420)
	turnPlane(img.Y, img.YStride, w, h, out.Y, out.YStride, orientation)
	cw, ch := (w+1)/2, (h+1)/2
	turnPlane(img.Cb, img.CStride, cw, ch, out.Cb, out.CStride, orientation)
	turnPlane(img.Cr, img.CStride, cw, ch, out.Cr, out.CStride, orientation)
	return out
}

func turnPlane(in []uint8, inStride, w, h int, out []uint8, outStride, orientation int) {
	const block = 32 // keeps both sides of a quarter turn in the cache
	for y0 := 0; y0 < h; y0 += block {
		for x0 := 0; x0 < w; x0 += block {
			for y := y0; y < min(h, y0+block); y++ {
				row := in[y*inStride:]
				for x := x0; x < min(w, x0+block); x++ {
					switch orientation {
					case 3:
						out[(h-1-y)*outStride+w-1-x] = row[x]
					case 6: // shown turned clockwise, so stored turned the other way
						out[(w-1-x)*outStride+y] = row[x]
					case 8:
						out[x*outStride+h-1-y] = row[x]
					}
				}
			}
		}
	}
}

// EXIF tags and types (CIPA DC-008, TIFF 6.0).
const (
	tagOrientation   = 0x0112
	tagSoftware      = 0x0131
	tagExifIFD       = 0x8769
	tagExifVersion   = 0x9000
	tagFocalLength35 = 0xa405

	typeASCII     = 2
	typeShort     = 3
	typeLong      = 4
	typeUndefined = 7
)

type exifEntry struct {
	tag, typ uint16
	count    uint32
	value    [4]byte
}

// exifSegment is an APP1 segment with the orientation and, where the scene
// tells it, the 35 mm-equivalent focal length.
func exifSegment(spec Spec) []byte {
	le := binary.LittleEndian
	short := func(tag uint16, v int) exifEntry {
		e := exifEntry{tag: tag, typ: typeShort, count: 1}
		le.PutUint16(e.value[:], uint16(v))
		return e
	}
	const software = "practice photo\x00"
	const header = 8
	ifd0 := []exifEntry{
		short(tagOrientation, spec.File.Orientation),
		{tag: tagSoftware, typ: typeASCII, count: uint32(len(software))},
		{tag: tagExifIFD, typ: typeLong, count: 1},
	}
	ifdSize := func(n int) int { return 2 + 12*n + 4 }
	textAt := header + ifdSize(len(ifd0))
	subAt := textAt + len(software) + len(software)%2
	le.PutUint32(ifd0[1].value[:], uint32(textAt))
	le.PutUint32(ifd0[2].value[:], uint32(subAt))
	sub := []exifEntry{{tag: tagExifVersion, typ: typeUndefined, count: 4, value: [4]byte{'0', '2', '3', '2'}}}
	if spec.File.F35 > 0 {
		sub = append(sub, short(tagFocalLength35, spec.File.F35))
	}

	tiff := []byte{'I', 'I', 42, 0}
	tiff = le.AppendUint32(tiff, header)
	put := func(list []exifEntry) {
		tiff = le.AppendUint16(tiff, uint16(len(list)))
		for _, e := range list {
			tiff = le.AppendUint16(tiff, e.tag)
			tiff = le.AppendUint16(tiff, e.typ)
			tiff = le.AppendUint32(tiff, e.count)
			tiff = append(tiff, e.value[:]...)
		}
		tiff = le.AppendUint32(tiff, 0)
	}
	put(ifd0)
	tiff = append(tiff, software...)
	if len(software)%2 == 1 {
		tiff = append(tiff, 0)
	}
	put(sub)

	seg := []byte{0xff, 0xe1}
	seg = binary.BigEndian.AppendUint16(seg, uint16(2+6+len(tiff)))
	seg = append(seg, "Exif\x00\x00"...)
	return append(seg, tiff...)
}
