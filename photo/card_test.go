package photo

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"testing"

	"gocv.io/x/gocv"
)

// The test card: four quarters of different colours and a white block in the
// top left corner, so that none of the eight ways to turn it looks like another.
const cardW, cardH = 320, 192

var (
	cardRed    = color.NRGBA{200, 40, 30, 255}
	cardGreen  = color.NRGBA{30, 160, 60, 255}
	cardBlue   = color.NRGBA{40, 60, 190, 255}
	cardYellow = color.NRGBA{230, 200, 40, 255}
	cardWhite  = color.NRGBA{255, 255, 255, 255}
)

// cardPoints lie well inside the fields.
var cardPoints = []image.Point{{16, 12}, {100, 48}, {240, 48}, {80, 144}, {240, 144}, {cardW - 12, cardH - 12}}

func cardAt(x, y int) color.NRGBA {
	switch {
	case x < cardW/5 && y < cardH/6:
		return cardWhite
	case x < cardW/2 && y < cardH/2:
		return cardRed
	case y < cardH/2:
		return cardGreen
	case x < cardW/2:
		return cardBlue
	}
	return cardYellow
}

// card is the card as a camera stores it that was held so that EXIF says the
// orientation o.
func card(o int) *image.NRGBA {
	w, h := cardW, cardH
	if o >= 5 {
		w, h = h, w
	}
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	for sy := range h {
		for sx := range w {
			x, y := whereShown(o, sx, sy)
			m.SetNRGBA(sx, sy, cardAt(x, y))
		}
	}
	return m
}

// whereShown is the place in the upright card of a stored pixel, by the table
// of the Orientation tag in TIFF 6.0 and CIPA DC-008: "the 0th row is the
// visual … of the image, the 0th column the visual …".
func whereShown(o, sx, sy int) (x, y int) {
	right, bottom := cardW-1, cardH-1
	switch o {
	case 1: // row: top, column: left
		return sx, sy
	case 2: // top, right
		return right - sx, sy
	case 3: // bottom, right
		return right - sx, bottom - sy
	case 4: // bottom, left
		return sx, bottom - sy
	case 5: // left, top
		return sy, sx
	case 6: // right, top
		return right - sy, sx
	case 7: // right, bottom
		return right - sy, bottom - sx
	case 8: // left, bottom
		return sy, bottom - sx
	}
	panic("no such orientation")
}

// checkCard fails unless m shows the card upright; each channel may be off by tol.
func checkCard(t *testing.T, m gocv.Mat, tol int) {
	t.Helper()
	checkPixels(t, m, tol, func(x, y int) color.NRGBA { return cardAt(x, y) })
}

// checkPixels compares well inside the card's fields, where coding leaves no ripple.
func checkPixels(t *testing.T, m gocv.Mat, tol int, want func(x, y int) color.NRGBA) {
	t.Helper()
	if m.Cols() != cardW || m.Rows() != cardH || m.Type() != gocv.MatTypeCV8UC3 {
		t.Fatalf("got %d × %d of type %v, want %d × %d of CV8UC3", m.Cols(), m.Rows(), m.Type(), cardW, cardH)
	}
	for _, p := range cardPoints {
		v := m.GetVecbAt(p.Y, p.X)
		w := want(p.X, p.Y)
		off := max(absInt(int(v[2])-int(w.R)), absInt(int(v[1])-int(w.G)), absInt(int(v[0])-int(w.B)))
		if off > tol {
			t.Errorf("at %v: R, G, B is %d, %d, %d, want %d, %d, %d to ±%d", p, v[2], v[1], v[0], w.R, w.G, w.B, tol)
		}
	}
}

func absInt(n int) int { return max(n, -n) }

func mustDecode(t *testing.T, data []byte) *Photo {
	t.Helper()
	p, err := Decode("card", data)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

func encodeJPEG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func encodePNG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// encodeCV encodes an opaque picture by OpenCV: ".webp", ".jpg", ".tiff" …
func encodeCV(t testing.TB, ext gocv.FileExt, m image.Image, params ...int) []byte {
	t.Helper()
	mat, err := flatten(m)
	if err != nil {
		t.Fatal(err)
	}
	defer mat.Close()
	buf, err := gocv.IMEncodeWithParams(ext, mat, params)
	if err != nil {
		t.Fatal(err)
	}
	defer buf.Close()
	return bytes.Clone(buf.GetBytes())
}

func encodeWebP(t testing.TB, m image.Image) []byte {
	return encodeCV(t, ".webp", m, gocv.IMWriteWebpQuality, 95)
}

// exifTags are the tags a test writes; zero values are left out.
type exifTags struct {
	orientation, focal35, widthPx, heightPx int
}

type ifdEntry struct {
	tag, typ uint16
	count    uint32
	value    []byte // at most 4 bytes, or the offset of the value
}

func short(order binary.AppendByteOrder, tag uint16, v int) ifdEntry {
	return ifdEntry{tag, 3, 1, order.AppendUint16(nil, uint16(v))}
}

func long(order binary.AppendByteOrder, tag uint16, v int) ifdEntry {
	return ifdEntry{tag, 4, 1, order.AppendUint32(nil, uint32(v))}
}

// ifd is one directory of a TIFF file, with no directory after it. The
// entries must come sorted by tag.
func ifd(order binary.AppendByteOrder, entries []ifdEntry) []byte {
	b := order.AppendUint16(nil, uint16(len(entries)))
	for _, e := range entries {
		b = order.AppendUint16(b, e.tag)
		b = order.AppendUint16(b, e.typ)
		b = order.AppendUint32(b, e.count)
		b = append(b, append(e.value, make([]byte, 4-len(e.value))...)...)
	}
	return append(b, 0, 0, 0, 0)
}

// exifSubIFD is the Exif directory with the tags that belong there.
func (x exifTags) exifSubIFD(order binary.AppendByteOrder) []byte {
	var e []ifdEntry
	if x.widthPx > 0 {
		e = append(e, long(order, 0xa002, x.widthPx), long(order, 0xa003, x.heightPx))
	}
	if x.focal35 > 0 {
		e = append(e, short(order, 0xa405, x.focal35))
	}
	return ifd(order, e)
}

// exifBlock is an EXIF block, from its byte order mark on.
func exifBlock(order binary.AppendByteOrder, x exifTags) []byte {
	b := []byte("II")
	if order == binary.AppendByteOrder(binary.BigEndian) {
		b = []byte("MM")
	}
	b = order.AppendUint16(b, 42)
	b = order.AppendUint32(b, 8)
	var e []ifdEntry
	if x.orientation > 0 {
		e = append(e, short(order, 0x0112, x.orientation))
	}
	after := 8 + 2 + 12*(len(e)+1) + 4
	e = append(e, long(order, 0x8769, after))
	return append(append(b, ifd(order, e)...), x.exifSubIFD(order)...)
}

// jpegWith puts an EXIF block into a JPEG, as its first segment.
func jpegWith(jpegFile, exif []byte) []byte {
	b := []byte{0xff, 0xd8, 0xff, 0xe1}
	b = binary.BigEndian.AppendUint16(b, uint16(2+6+len(exif)))
	b = append(append(b, "Exif\x00\x00"...), exif...)
	return append(b, jpegFile[2:]...)
}

// pngWith puts an EXIF block into a PNG, after its first chunk.
func pngWith(pngFile, exif []byte) []byte {
	const afterIHDR = 8 + 12 + 13
	b := bytes.Clone(pngFile[:afterIHDR])
	return append(append(b, pngChunk("eXIf", exif)...), pngFile[afterIHDR:]...)
}

func pngChunk(kind string, data []byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	b = append(append(b, kind...), data...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

// webpWith turns a simple WebP into an extended one with an EXIF block
// (RFC 9649, 2.7).
func webpWith(webpFile, exif []byte, w, h int) []byte {
	le := binary.LittleEndian
	body := append([]byte("WEBPVP8X"), 10, 0, 0, 0, 1<<3, 0, 0, 0)
	body = append(body, byte(w-1), byte((w-1)>>8), 0, byte(h-1), byte((h-1)>>8), 0)
	body = append(body, webpFile[12:]...)
	body = append(body, "EXIF"...)
	body = le.AppendUint32(body, uint32(len(exif)))
	body = append(body, exif...)
	if len(exif)%2 == 1 {
		body = append(body, 0)
	}
	return append(le.AppendUint32([]byte("RIFF"), uint32(len(body))), body...)
}

// tiffCard is the card as an uncompressed RGB TIFF of 8 or 16 bits a sample,
// the directory before the pixels, in two strips.
func tiffCard(order binary.AppendByteOrder, bits int, x exifTags) []byte {
	m := card(max(x.orientation, 1))
	w, h := m.Rect.Dx(), m.Rect.Dy()
	b := []byte("II")
	if order == binary.AppendByteOrder(binary.BigEndian) {
		b = []byte("MM")
	}
	b = order.AppendUint16(b, 42)
	b = order.AppendUint32(b, 8)

	const entries = 12
	valuesAt := 8 + 2 + 12*entries + 4
	bitsAt, offsetsAt, countsAt, exifAt := valuesAt, valuesAt+6, valuesAt+14, valuesAt+22
	sub := x.exifSubIFD(order)
	pixelsAt := exifAt + len(sub)
	strip := w * h / 2 * 3 * bits / 8
	pointer := func(tag, typ uint16, n, at int) ifdEntry {
		return ifdEntry{tag, typ, uint32(n), order.AppendUint32(nil, uint32(at))}
	}
	b = append(b, ifd(order, []ifdEntry{
		long(order, 0x0100, w),
		long(order, 0x0101, h),
		pointer(0x0102, 3, 3, bitsAt),
		short(order, 0x0103, 1), // not compressed
		short(order, 0x0106, 2), // RGB
		pointer(tagStripOffsets, 4, 2, offsetsAt),
		short(order, 0x0112, max(x.orientation, 1)),
		short(order, 0x0115, 3),
		long(order, 0x0116, h/2),
		pointer(tagStripByteCounts, 4, 2, countsAt),
		short(order, 0x011c, 1),
		long(order, 0x8769, exifAt),
	})...)
	for range 3 {
		b = order.AppendUint16(b, uint16(bits))
	}
	for _, v := range []int{pixelsAt, pixelsAt + strip, strip, strip} {
		b = order.AppendUint32(b, uint32(v))
	}
	b = append(b, sub...)
	for y := range h {
		for px := range w {
			c := m.NRGBAAt(px, y)
			for _, v := range []uint8{c.R, c.G, c.B} {
				if bits == 16 {
					b = order.AppendUint16(b, uint16(v)*257)
				} else {
					b = append(b, v)
				}
			}
		}
	}
	return b
}

// noise is a picture that compresses badly, so that a file cut in the middle
// has lost pixels; it is the same on every run.
func noise(w, h int) *image.NRGBA {
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	state := uint32(1)
	for i := range m.Pix {
		state = state*1664525 + 1013904223
		m.Pix[i] = uint8(state >> 24)
		if i%4 == 3 {
			m.Pix[i] = math.MaxUint8
		}
	}
	return m
}
