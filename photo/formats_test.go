package photo

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"testing"

	"gocv.io/x/gocv"
	"golang.org/x/image/tiff"
)

var (
	//go:embed testdata/card.heic
	cardHEIC []byte
	//go:embed testdata/alpha.heic
	alphaHEIC []byte
	//go:embed testdata/cmyk.jpg
	cmykJPEG []byte
)

// as is the card in another kind of picture.
func as(dst draw.Image) image.Image {
	draw.Draw(dst, dst.Bounds(), card(1), image.Point{}, draw.Src)
	return dst
}

func cardGray(x, y int) color.NRGBA {
	g := color.GrayModel.Convert(cardAt(x, y)).(color.Gray).Y
	return color.NRGBA{g, g, g, 255}
}

// tiffCompression is OpenCV's IMWRITE_TIFF_COMPRESSION, which gocv does not
// name; 5 is LZW.
const tiffCompression = 259

var cardRect = image.Rect(0, 0, cardW, cardH)

// cardAlpha is the card with the lower half see-through by half.
func cardAlpha() *image.NRGBA {
	m := card(1)
	for y := cardH / 2; y < cardH; y++ {
		for x := range cardW {
			c := m.NRGBAAt(x, y)
			c.A = 128
			m.SetNRGBA(x, y, c)
		}
	}
	return m
}

func cardOnWhite(x, y int) color.NRGBA {
	c := cardAt(x, y)
	if y >= cardH/2 {
		for _, v := range []*uint8{&c.R, &c.G, &c.B} {
			*v = uint8((int(*v)*128 + 255*127) / 255)
		}
	}
	return c
}

func cardPalette() color.Palette {
	return color.Palette{cardRed, cardGreen, cardBlue, cardYellow, cardWhite}
}

// cardBilevel is the card in black and white, by the gray levels' middle.
func cardBilevel(x, y int) color.NRGBA {
	if cardGray(x, y).R >= 128 {
		return color.NRGBA{255, 255, 255, 255}
	}
	return color.NRGBA{0, 0, 0, 255}
}

func bilevelCard() *image.Paletted {
	m := image.NewPaletted(cardRect, color.Palette{color.Black, color.White})
	for y := range cardH {
		for x := range cardW {
			m.SetColorIndex(x, y, cardBilevel(x, y).R/255)
		}
	}
	return m
}

func encodeTIFF(t *testing.T, m image.Image, c tiff.CompressionType) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := tiff.Encode(&b, m, &tiff.Options{Compression: c}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Every kind of picture that is opened shows the card, in its colours.
func TestKinds(t *testing.T) {
	var grayJPEG bytes.Buffer
	if err := jpeg.Encode(&grayJPEG, as(image.NewGray(cardRect)), &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	for _, k := range []struct {
		name   string
		data   []byte
		format string
		want   func(x, y int) color.NRGBA
		tol    int
	}{
		{"jpeg", encodeJPEG(t, card(1)), "jpeg", cardAt, 4},
		{"jpeg gray", grayJPEG.Bytes(), "jpeg", cardGray, 4},
		{"jpeg progressive", encodeCV(t, ".jpg", card(1), gocv.IMWriteJpegProgressive, 1), "jpeg", cardAt, 4},
		{"jpeg CMYK", cmykJPEG, "jpeg", cardAt, 6},
		{"png", encodePNG(t, card(1)), "png", cardAt, 0},
		{"png 16 bit", encodePNG(t, as(image.NewNRGBA64(cardRect))), "png", cardAt, 0},
		{"png gray", encodePNG(t, as(image.NewGray(cardRect))), "png", cardGray, 1},
		{"png gray 16 bit", encodePNG(t, as(image.NewGray16(cardRect))), "png", cardGray, 1},
		{"png palette", encodePNG(t, as(image.NewPaletted(cardRect, cardPalette()))), "png", cardAt, 0},
		{"png 1 bit", encodePNG(t, bilevelCard()), "png", cardBilevel, 0},
		{"png alpha", encodePNG(t, cardAlpha()), "png", cardOnWhite, 1},
		{"png transparent colour", pngKeyed(t, cardRed), "png", cardRedGone, 0},
		{"webp", encodeWebP(t, card(1)), "webp", cardAt, 12},
		{"webp lossless", encodeCV(t, ".webp", card(1), gocv.IMWriteWebpQuality, 101), "webp", cardAt, 0},
		{"webp alpha", encodeWebPAlpha(t, 95), "webp", cardOnWhite, 12},
		{"webp lossless alpha", encodeWebPAlpha(t, 101), "webp", cardOnWhite, 1},
		{"tiff", tiffCard(binary.LittleEndian, 8, exifTags{}), "tiff", cardAt, 0},
		{"tiff big-endian", tiffCard(binary.BigEndian, 8, exifTags{}), "tiff", cardAt, 0},
		{"tiff 16 bit", tiffCard(binary.LittleEndian, 16, exifTags{}), "tiff", cardAt, 0},
		{"tiff deflate", encodeTIFF(t, as(image.NewRGBA(cardRect)), tiff.Deflate), "tiff", cardAt, 0},
		{"tiff gray", encodeTIFF(t, as(image.NewGray(cardRect)), tiff.Uncompressed), "tiff", cardGray, 1},
		{"tiff gray 16 bit", encodeTIFF(t, as(image.NewGray16(cardRect)), tiff.Uncompressed), "tiff", cardGray, 1},
		{"tiff alpha", encodeTIFF(t, cardAlpha(), tiff.Deflate), "tiff", cardOnWhite, 1},
		{"tiff alpha premultiplied", encodeTIFF(t, premultiplied(), tiff.Deflate), "tiff", cardOnWhite, 2},
		{"tiff lzw by OpenCV", encodeCV(t, ".tiff", card(1), tiffCompression, 5), "tiff", cardAt, 0},
		{"tiff 1 bit", tiffBilevel(), "tiff", cardBilevel, 0},
		{"heic", cardHEIC, "heic", cardAt, 12},
	} {
		t.Run(k.name, func(t *testing.T) {
			p := mustDecode(t, k.data)
			if p.Format != k.format {
				t.Errorf("format %q, want %q", p.Format, k.format)
			}
			if want := fmt.Sprintf("%x", sha256.Sum256(k.data)); p.SHA256 != want {
				t.Errorf("SHA256 %q, want %q", p.SHA256, want)
			}
			checkPixels(t, p.Pixels, k.tol, k.want)
		})
	}
}

// pngKeyed is the card as an RGB PNG without alpha in which one colour is
// named transparent.
func pngKeyed(t *testing.T, c color.NRGBA) []byte {
	opaque := encodePNG(t, card(1))
	const afterIHDR = 8 + 12 + 13
	key := pngChunk("tRNS", []byte{0, c.R, 0, c.G, 0, c.B})
	return append(append(bytes.Clone(opaque[:afterIHDR]), key...), opaque[afterIHDR:]...)
}

// encodeWebPAlpha is cardAlpha as WebP; a quality over 100 means lossless.
func encodeWebPAlpha(t *testing.T, quality int) []byte {
	t.Helper()
	m := cardAlpha()
	rgba, err := gocv.NewMatFromBytes(cardH, cardW, gocv.MatTypeCV8UC4, m.Pix)
	if err != nil {
		t.Fatal(err)
	}
	defer rgba.Close()
	bgra := gocv.NewMat()
	defer bgra.Close()
	gocv.CvtColor(rgba, &bgra, gocv.ColorBGRAToRGBA)
	buf, err := gocv.IMEncodeWithParams(".webp", bgra, []int{gocv.IMWriteWebpQuality, quality})
	if err != nil {
		t.Fatal(err)
	}
	defer buf.Close()
	return bytes.Clone(buf.GetBytes())
}

func cardRedGone(x, y int) color.NRGBA {
	if c := cardAt(x, y); c != cardRed {
		return c
	}
	return color.NRGBA{255, 255, 255, 255}
}

func premultiplied() *image.RGBA {
	m := image.NewRGBA(cardRect)
	draw.Draw(m, cardRect, cardAlpha(), image.Point{}, draw.Src)
	return m
}

// tiffBilevel is the card in black and white as an uncompressed TIFF of one
// bit a pixel, white being zero as on a fax.
func tiffBilevel() []byte {
	le := binary.LittleEndian
	b := append([]byte("II*\x00"), 8, 0, 0, 0)
	const entries = 8
	at := 8 + 2 + 12*entries + 4
	b = append(b, ifd(le, []ifdEntry{
		long(le, 0x0100, cardW),
		long(le, 0x0101, cardH),
		short(le, 0x0102, 1),
		short(le, 0x0103, 1),
		short(le, 0x0106, 0), // white is zero
		long(le, tagStripOffsets, at),
		long(le, 0x0116, cardH),
		long(le, tagStripByteCounts, cardW/8*cardH),
	})...)
	for y := range cardH {
		for x := 0; x < cardW; x += 8 {
			var bits uint8
			for i := range 8 {
				bits = bits<<1 | (1 - cardBilevel(x+i, y).R/255)
			}
			b = append(b, bits)
		}
	}
	return b
}

// The kinds that cannot be shown rightly are refused by name, not shown wrongly.
func TestKindsNotSupported(t *testing.T) {
	adobe := bytes.Index(cmykJPEG, []byte("\xff\xee"))
	if adobe < 0 {
		t.Fatal("testdata/cmyk.jpg has no Adobe segment to take away")
	}
	length := int(binary.BigEndian.Uint16(cmykJPEG[adobe+2:]))
	for name, data := range map[string][]byte{
		"heic with alpha":            alphaHEIC,
		"CMYK jpeg not said how":     append(bytes.Clone(cmykJPEG[:adobe]), cmykJPEG[adobe+2+length:]...),
		"tiff of floating point":     tiffPatched(0x0153, 3, 3),
		"tiff CMYK":                  tiffPatched(0x0106, 3, 5),
		"jpeg with arithmetic coder": jpegPatched(t, 0xc9),
		"lossless jpeg":              jpegPatched(t, 0xc3),
	} {
		_, err := Decode(name, data)
		checkRefusal(t, name, err, ErrUnsupported)
	}
}

// tiffPatched is the card's TIFF with another value for tag; a tag that is not
// there takes the place of the last one, the pointer to EXIF.
func tiffPatched(tag, typ uint16, v uint32) []byte {
	b := tiffCard(binary.LittleEndian, 8, exifTags{})
	le := binary.LittleEndian
	n := int(le.Uint16(b[8:]))
	for i := range n {
		e := b[10+12*i:]
		if t := le.Uint16(e); t == tag || i == n-1 {
			le.PutUint16(e, tag)
			le.PutUint16(e[2:], typ)
			le.PutUint32(e[4:], 1)
			le.PutUint32(e[8:], v)
			break
		}
	}
	return b
}

// jpegPatched is the card's JPEG with another start-of-frame marker.
func jpegPatched(t *testing.T, sof byte) []byte {
	b := encodeJPEG(t, card(1))
	i := bytes.Index(b, []byte{0xff, 0xc0})
	b[i+1] = sof
	return b
}

// A header that lies about the size is found out, and the pixels let go.
func TestHeaderLies(t *testing.T) {
	exif := exifBlock(binary.LittleEndian, exifTags{focal35: 26})
	lying := webpWith(encodeWebP(t, card(1)), exif, cardW-2, cardH)
	_, err := Decode("lying", lying)
	checkRefusal(t, "lying", err, ErrDamaged)
	var e *Error
	if errors.As(err, &e) && e.Cause == nil {
		t.Error("no cause is kept")
	}
}

// A picture is let through only when it has the size that was checked.
func TestCheckDecoded(t *testing.T) {
	m := gocv.NewMatWithSize(200, 300, gocv.MatTypeCV8UC3)
	defer m.Close()
	for _, c := range []struct {
		f    format
		w, h int
		ok   bool
	}{
		{formatJPEG, 300, 200, true},
		{formatJPEG, 200, 300, false},
		{formatJPEG, 301, 200, false},
		{formatPNG, 300, 100, false},
		{formatTIFF, 300, 200, true},
		{formatTIFF, 200, 300, true}, // turned by its decoder
		{formatTIFF, 200, 301, false},
		{formatHEIC, 200, 300, true},
		{formatHEIC, 400, 300, true}, // cropped by its container
		{formatHEIC, 299, 200, false},
	} {
		if err := checkDecoded(m, c.f, header{widthPx: c.w, heightPx: c.h}); (err == nil) != c.ok {
			t.Errorf("%s of 300 × 200 px under a header of %d × %d: %v", c.f, c.w, c.h, err)
		}
	}
}
