package photo

import (
	"bytes"
	"encoding/binary"
	"image"
	"testing"
	"time"
)

func focalOf(t *testing.T, data []byte) float64 {
	t.Helper()
	return mustDecode(t, data).Focal35
}

// The focal length is read as told, and a value that no lens has is not taken.
func TestFocalLength(t *testing.T) {
	plain := encodeJPEG(t, card(1))
	for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
		for told, want := range map[int]float64{0: 0, 1: 0, 13: 13, 26: 26, 300: 300, 65535: 0} {
			if got := focalOf(t, jpegWith(plain, exifBlock(order, exifTags{focal35: told}))); got != want {
				t.Errorf("%d mm told, %v read, want %v", told, got, want)
			}
		}
	}
	if got := focalOf(t, plain); got != 0 {
		t.Errorf("no EXIF, and a focal length of %v", got)
	}
}

// A photo that was only made smaller keeps its angle of view, one that was
// cropped to another shape does not. Phones and programs differ in whether
// they swap the stored sides of a photo that is held upright.
func TestFocalLengthOfCropped(t *testing.T) {
	for _, c := range []struct {
		name string
		tags exifTags
		want float64
	}{
		{"as taken", exifTags{focal35: 26, widthPx: cardW, heightPx: cardH}, 26},
		{"made smaller", exifTags{focal35: 26, widthPx: 10 * cardW, heightPx: 10 * cardH}, 26},
		{"made smaller and rounded", exifTags{focal35: 26, widthPx: 10*cardW + 7, heightPx: 10 * cardH}, 26},
		{"turned", exifTags{focal35: 26, orientation: 6, widthPx: cardH, heightPx: cardW}, 26},
		{"turned, sides swapped", exifTags{focal35: 26, orientation: 6, widthPx: cardW, heightPx: cardH}, 26},
		{"cropped", exifTags{focal35: 26, widthPx: 4000, heightPx: 3000}, 0},
	} {
		data := jpegWith(encodeJPEG(t, card(max(c.tags.orientation, 1))), exifBlock(binary.BigEndian, c.tags))
		if got := focalOf(t, data); got != c.want {
			t.Errorf("%s: focal length %v, want %v", c.name, got, c.want)
		}
	}
}

// WebP pads chunks of odd length; EXIF behind such a one is still found, with
// or without the preamble that some programs leave in it.
func TestEXIFBehindOddChunk(t *testing.T) {
	plain := encodeWebP(t, card(1))
	odd := append([]byte("JUNK\x03\x00\x00\x00abc\x00"), plain[12:]...)
	file := append(bytes.Clone(plain[:12]), odd...)
	exif := exifBlock(binary.LittleEndian, exifTags{focal35: 26})
	for _, block := range [][]byte{exif, append([]byte("Exif\x00\x00"), exif...)} {
		if got := focalOf(t, webpWith(file, block, cardW, cardH)); got != 26 {
			t.Errorf("focal length %v, want 26", got)
		}
	}
}

// No block of EXIF, however broken, keeps a photo from being opened.
func TestBrokenEXIF(t *testing.T) {
	le := binary.LittleEndian
	good := exifBlock(le, exifTags{orientation: 1, focal35: 26, widthPx: cardW, heightPx: cardH})
	blocks := [][]byte{nil, []byte("garbage"), []byte("II*\x00"), []byte("II*\x00\xff\xff\xff\xff")}
	for n := range good {
		blocks = append(blocks, good[:n]) // cut anywhere
		bad := bytes.Clone(good)
		bad[n] = 0xff // wrong anywhere
		blocks = append(blocks, bad)
	}
	// A directory that names itself as the Exif directory.
	circle := append([]byte("II*\x00\x08\x00\x00\x00"), ifd(le, []ifdEntry{long(le, 0x8769, 8)})...)
	blocks = append(blocks, circle)

	jpegFile, pngFile := encodeJPEG(t, card(1)), encodePNG(t, card(1))
	webpFile := encodeWebP(t, card(1))
	for i, b := range blocks {
		for name, data := range map[string][]byte{
			"jpeg": jpegWith(jpegFile, b),
			"png":  pngWith(pngFile, b),
			"webp": webpWith(webpFile, b, cardW, cardH),
		} {
			p, err := Decode(name, data)
			if err != nil {
				t.Fatalf("%s, block %d: %v", name, i, err)
			}
			p.Close()
		}
	}
}

// Boxes that lead back to themselves end, and soon.
func TestMetaEnds(t *testing.T) {
	be := binary.BigEndian
	// An empty box, then one with a 64-bit size that is −8 when taken as
	// signed: its end is the start of the box before it.
	back := append([]byte{0, 0, 0, 8}, "free"...)
	back = append(append(back, 0, 0, 0, 1), "free"...)
	back = be.AppendUint64(back, ^uint64(0)-7)
	data := append(bytes.Clone(cardHEIC[:be32(cardHEIC)]), back...)
	start := time.Now()
	readMeta(formatHEIC, data)
	if _, err := Decode("circle", data); err == nil {
		t.Error("opened")
	}
	if d := time.Since(start); d > 5*time.Second {
		t.Errorf("took %v", d)
	}
}

func FuzzDecode(f *testing.F) {
	small := image.NewNRGBA(image.Rect(0, 0, 70, 66))
	copy(small.Pix, noise(70, 66).Pix)
	exif := exifBlock(binary.LittleEndian, exifTags{orientation: 6, focal35: 26})
	for _, seed := range [][]byte{
		nil,
		jpegWith(encodeJPEG(f, small), exif),
		pngWith(encodePNG(f, small), exif),
		webpWith(encodeWebP(f, small), exif, 70, 66),
		tiffCard(binary.BigEndian, 8, exifTags{orientation: 3})[:1000],
		tiffBilevel(),
		cmykJPEG,
		cardHEIC,
		[]byte("text"),
	} {
		f.Add(seed)
	}
	// Small limits, so that a header that asks for a million pixels costs no time.
	l := Limits{MaxPixels: 100_000, MaxBytes: 100_000}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := l.Decode("fuzz", data)
		if err != nil {
			checkRefusal(t, "fuzz", err, err)
			return
		}
		defer p.Close()
		if n := p.Pixels.Cols() * p.Pixels.Rows(); n < 64*64 || n > 100_000 {
			t.Errorf("%d × %d px came through the limits", p.Pixels.Cols(), p.Pixels.Rows())
		}
	})
}
