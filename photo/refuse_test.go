package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"gocv.io/x/gocv"
	"golang.org/x/sys/unix"
)

// checkRefusal fails unless err is an *Error of the kind wanted that says, in
// one line, what is wrong and what to do.
func checkRefusal(t *testing.T, name string, err, kind error) {
	t.Helper()
	if err == nil {
		t.Errorf("%s: opened", name)
		return
	}
	var e *Error
	if !errors.As(err, &e) {
		t.Errorf("%s: error of type %T: %v", name, err, err)
		return
	}
	if !errors.Is(err, kind) {
		t.Errorf("%s: got %q (cause %v), want kind %q", name, err, e.Cause, kind)
	}
	for part, text := range map[string]string{"problem": e.Problem, "advice": e.Advice} {
		if text == "" || !strings.HasSuffix(text, ".") {
			t.Errorf("%s: %s %q is no sentence", name, part, text)
		}
	}
	if strings.ContainsAny(err.Error(), "\n\r") {
		t.Errorf("%s: more than one line: %q", name, err)
	}
}

func write(t *testing.T, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestOpen(t *testing.T) {
	data := encodeJPEG(t, card(1))
	for _, name := range []string{"reed.jpg", "a reed.png", "-reed", "résumé 筘.jpg", "two\nlines.jpg"} {
		path := write(t, name, data)
		p, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		if p.Name != path || p.Format != "jpeg" {
			t.Errorf("name %q, format %q", p.Name, p.Format)
		}
		checkCard(t, p.Pixels, 4)
		if err := p.Close(); err != nil {
			t.Error(err)
		}
		if err := p.Close(); err != nil {
			t.Errorf("closed a second time: %v", err)
		}
	}
	var none *Photo
	if err := none.Close(); err != nil {
		t.Errorf("no photo closed: %v", err)
	}
}

func TestRead(t *testing.T) {
	p, err := Read("-", bytes.NewReader(encodePNG(t, card(1))))
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if p.Name != "-" {
		t.Errorf("name %q", p.Name)
	}
	checkCard(t, p.Pixels, 0)

	_, err = Read("-", io.MultiReader(bytes.NewReader([]byte("\xff\xd8\xff")), broken{}))
	checkRefusal(t, "broken stream", err, ErrUnreadable)
	if !errors.Is(err, errBroken) || !strings.HasPrefix(err.Error(), "standard input: ") {
		t.Errorf("got %q", err)
	}
}

// Standard input is read for the name "-".
func TestOpenStandardInput(t *testing.T) {
	f, err := os.Open(write(t, "reed.jpg", encodeJPEG(t, card(1))))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	defer func(old *os.File) { os.Stdin = old }(os.Stdin)
	os.Stdin = f
	p, err := Open("-")
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	checkCard(t, p.Pixels, 4)
}

type broken struct{}

var errBroken = errors.New("the line broke")

func (broken) Read([]byte) (int, error) { return 0, errBroken }

// What is not a photo, or not one that can be opened, by its contents.
func TestDecodeRefuses(t *testing.T) {
	le := binary.LittleEndian
	for _, c := range []struct {
		name string
		data []byte
		kind error
		says string
	}{
		{"empty.jpg", nil, ErrEmpty, "empty"},
		{"text.jpg", []byte("not a photo at all, só no\nphoto\n"), ErrUnsupported, "text"},
		{"one byte.jpg", []byte{0xff}, ErrUnsupported, Supported},
		{"binary.jpg", []byte{0, 1, 2, 3, 0xfe, 0xff}, ErrUnsupported, Supported},
		{"picture.gif", []byte("GIF89a\x80\x00\x80\x00"), ErrUnsupported, "GIF"},
		{"picture.bmp", []byte("BM\x00\x00\x00\x00\x00\x00"), ErrUnsupported, "BMP"},
		{"paper.pdf", []byte("%PDF-1.7\n%\xe2\xe3"), ErrUnsupported, "PDF"},
		{"box.zip", []byte("PK\x03\x04\x14\x00"), ErrUnsupported, "ZIP"},
		{"film.mov", []byte("\x00\x00\x00\x14ftypqt  \x00\x00\x02\x00qt  "), ErrUnsupported, "film"},
		{"picture.avif", []byte("\x00\x00\x00\x18ftypmif1\x00\x00\x00\x00avifmif1"), ErrUnsupported, "AVIF"},
		{"big.tif", []byte("II+\x00\x08\x00\x00\x00\x10\x00\x00\x00"), ErrUnsupported, "BigTIFF"},
		{"raw.dng", append([]byte("II*\x00\x08\x00\x00\x00"),
			ifd(le, []ifdEntry{{tagDNGVersion, 1, 4, []byte{1, 4, 0, 0}}})...), ErrUnsupported, "raw"},
		{"raw with preview.tif", append([]byte("II*\x00\x08\x00\x00\x00"),
			ifd(le, []ifdEntry{long(le, tagNewSubfileType, 1)})...), ErrUnsupported, "raw"},
		{"1x1.png", encodePNG(t, noise(1, 1)), ErrTooSmall, "1 × 1"},
		{"63 high.jpg", encodeJPEG(t, noise(640, 63)), ErrTooSmall, "640 × 63"},
		{"header.jpg", jpegSize(t, 60000, 60000), ErrTooManyPx, "60000 × 60000"},
		{"header.png", pngSize(60000, 60000), ErrTooManyPx, "60000 × 60000"},
		{"long header.png", pngSize(64, 1_200_000), ErrTooManyPx, "64 × 1200000"},
		{"no width.jpg", jpegSize(t, 0, 60000), ErrDamaged, "damaged"},
		{"largest header.png", pngSize(1<<31-1, 1<<31-1), ErrUnsupported, "PNG"},
		{"header.webp", webpWith(encodeWebP(t, card(1)), nil, 40000, 40000), ErrTooManyPx, "40000 × 40000"},
		{"header.tif", tiffSize(60000, 60000), ErrTooManyPx, "60000 × 60000"},
		{"header.heic", heicSize(60000, 60000), ErrTooManyPx, "60000 × 60000"},
		{"narrow.heic", heicSize(127, 4000), ErrTooSmall, "127 × 4000"},
		{"nothing in it.heic", cardHEIC[:be32(cardHEIC)], ErrDamaged, "damaged"},
		{"only the ends.jpg", []byte("\xff\xd8\xff\xd9"), ErrDamaged, "damaged"},
		{"pixels lost.png", pngDamaged(t), ErrDamaged, "damaged"},
		{"pixels lost.heic", heicEmptied(), ErrDamaged, "damaged"},
	} {
		t.Run(c.name, func(t *testing.T) {
			before := allocated()
			p, err := Decode(c.name, c.data)
			if after := allocated(); after-before > 32<<20 {
				t.Errorf("%d MiB were taken for a refusal", (after-before)>>20)
			}
			if err == nil {
				p.Close()
			}
			checkRefusal(t, c.name, err, c.kind)
			if err != nil && !strings.Contains(err.Error(), c.says) {
				t.Errorf("%q does not say %q", err, c.says)
			}
		})
	}
}

// allocated is what Go has ever allocated, in bytes. What OpenCV takes is not
// in it; that a picture of 60,000 × 60,000 never reaches OpenCV shows in the
// error's kind, since OpenCV would have failed on it with another.
func allocated() uint64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.TotalAlloc
}

// jpegSize is the card's JPEG with another size in its header.
func jpegSize(t *testing.T, w, h int) []byte {
	b := encodeJPEG(t, card(1))
	i := bytes.Index(b, []byte{0xff, 0xc0})
	binary.BigEndian.PutUint16(b[i+5:], uint16(h))
	binary.BigEndian.PutUint16(b[i+7:], uint16(w))
	return b
}

func pngSize(w, h int) []byte {
	ihdr := binary.BigEndian.AppendUint32(nil, uint32(w))
	ihdr = binary.BigEndian.AppendUint32(ihdr, uint32(h))
	ihdr = append(ihdr, 8, 2, 0, 0, 0)
	b := append([]byte("\x89PNG\r\n\x1a\n"), pngChunk("IHDR", ihdr)...)
	b = append(b, pngChunk("IDAT", []byte{0x78, 0x9c, 3, 0, 0, 0, 0, 1})...)
	return append(b, pngChunk("IEND", nil)...)
}

// pngDamaged is a PNG whose compressed data were changed on the way.
func pngDamaged(t *testing.T) []byte {
	b := encodePNG(t, noise(200, 100))
	return zeroed(b, len(b)/2)
}

// heicEmptied is the card's HEIC without its coded data.
func heicEmptied() []byte {
	b := bytes.Clone(cardHEIC)
	clear(b[bytes.Index(b, []byte("mdat"))+4:])
	return b
}

// zeroed is data with 40 bytes from at on lost.
func zeroed(data []byte, at int) []byte {
	b := bytes.Clone(data)
	clear(b[at : at+40])
	return b
}

func tiffSize(w, h int) []byte {
	b := tiffCard(binary.LittleEndian, 8, exifTags{})
	binary.LittleEndian.PutUint32(b[10+8:], uint32(w))
	binary.LittleEndian.PutUint32(b[10+12+8:], uint32(h))
	return b
}

func heicSize(w, h int) []byte {
	b := bytes.Clone(cardHEIC)
	i := bytes.Index(b, []byte("ispe"))
	binary.BigEndian.PutUint32(b[i+8:], uint32(w))
	binary.BigEndian.PutUint32(b[i+12:], uint32(h))
	return b
}

// A file that was cut anywhere is refused as cut short; what a camera appends
// behind the picture does not matter.
func TestCutShort(t *testing.T) {
	exif := exifBlock(binary.BigEndian, exifTags{orientation: 6, focal35: 26})
	preview := encodeJPEG(t, noise(80, 64)) // has an end marker of its own
	for name, data := range map[string][]byte{
		"jpeg":             jpegWith(encodeJPEG(t, noise(320, 200)), append(bytes.Clone(exif), preview...)),
		"jpeg progressive": encodeCV(t, ".jpg", noise(320, 200), gocv.IMWriteJpegProgressive, 1),
		"png":              encodePNG(t, noise(320, 200)),
		"webp":             encodeWebP(t, noise(320, 200)),
		"tiff":             tiffCard(binary.LittleEndian, 8, exifTags{}),
		"heic":             cardHEIC,
	} {
		p := mustDecode(t, data) // whole, it opens
		for _, part := range []float64{0.05, 0.3, 0.5, 0.8, 0.99} {
			cut := data[:int(part*float64(len(data)))]
			_, err := Decode(name, cut)
			checkRefusal(t, fmt.Sprintf("%s cut at %g", name, part), err, ErrTruncated)
		}
		_, err := Decode(name, data[:len(data)-1])
		checkRefusal(t, name+" without its last byte", err, ErrTruncated)

		if name == "jpeg" || name == "png" {
			more := append(bytes.Clone(data), make([]byte, 3000)...)
			q := mustDecode(t, more)
			if q.Pixels.Cols() != p.Pixels.Cols() {
				t.Errorf("%s: what follows the picture changes it", name)
			}
		}
	}
	// A download that was given its full length and then broke off.
	whole := encodeJPEG(t, noise(320, 200))
	holed := bytes.Clone(whole)
	clear(holed[len(holed)/2:])
	_, err := Decode("holed", holed)
	checkRefusal(t, "holed", err, ErrTruncated)
}

// Damage to a PNG is found by its checksums, before a decoder sees it and
// complains on standard error in words of its own.
func TestPNGChecksum(t *testing.T) {
	if err := formatPNG.whole(encodePNG(t, noise(200, 100))); err != nil {
		t.Error(err)
	}
	if err := formatPNG.whole(pngDamaged(t)); err == nil || errors.Is(err, errCut) {
		t.Errorf("damaged: %v", err)
	}
}

func TestFileRefused(t *testing.T) {
	dir := t.TempDir()
	photoFile := write(t, "reed.jpg", encodeJPEG(t, card(1)))
	fifo := filepath.Join(dir, "pipe.jpg")
	if err := syscall.Mkfifo(fifo, 0o600); err != nil {
		t.Fatal(err)
	}
	loop := filepath.Join(dir, "loop.jpg")
	if err := os.Symlink(loop, loop); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		path  string
		kind  error
		cause error
		says  string
	}{
		{filepath.Join(dir, "none.jpg"), ErrUnreadable, fs.ErrNotExist, "no such file"},
		{"", ErrUnreadable, fs.ErrNotExist, "no name"},
		{dir, ErrNotAFile, nil, "folder"},
		{fifo, ErrNotAFile, nil, "pipe"},
		{os.DevNull, ErrNotAFile, nil, "device"},
		{loop, ErrUnreadable, syscall.ELOOP, "leads back to itself"},
		{filepath.Join(photoFile, "reed.jpg"), ErrUnreadable, syscall.ENOTDIR, "not a folder"},
		{filepath.Join(dir, strings.Repeat("long", 100)), ErrUnreadable, syscall.ENAMETOOLONG, "too long"},
		{write(t, "empty.jpg", nil), ErrEmpty, nil, "empty"},
	} {
		_, err := Open(c.path)
		checkRefusal(t, c.path, err, c.kind)
		if c.cause != nil && !errors.Is(err, c.cause) {
			t.Errorf("%s: the cause %v is not kept", c.path, c.cause)
		}
		if err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q does not say %q", err, c.says)
		}
	}
}

// A file one may not read. Root may read everything, so as root the file is
// opened with the rights of nobody, on a thread that ends with the test.
func TestNoPermission(t *testing.T) {
	path := write(t, "reed.jpg", encodeJPEG(t, card(1)))
	if err := os.Chmod(path, 0); err != nil {
		t.Fatal(err)
	}
	for dir := filepath.Dir(path); dir != os.TempDir() && dir != "/"; dir = filepath.Dir(dir) {
		if err := os.Chmod(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	result := make(chan error)
	go func() {
		if os.Geteuid() == 0 {
			runtime.LockOSThread() // and never unlocked
			if _, err := unix.SetfsuidRetUid(65534); err != nil {
				result <- err
				return
			}
		}
		_, err := Open(path)
		result <- err
	}()
	err := <-result
	checkRefusal(t, "no permission", err, ErrUnreadable)
	if !errors.Is(err, fs.ErrPermission) {
		t.Errorf("the cause is not kept: %v", err)
	}
	if err != nil && !strings.Contains(err.Error(), "not allowed") {
		t.Errorf("got %q", err)
	}
}

func TestLimits(t *testing.T) {
	data := encodeJPEG(t, card(1))
	n := int64(len(data))
	for _, c := range []struct {
		name string
		l    Limits
		kind error
	}{
		{"none given", Limits{}, nil},
		{"bytes just enough", Limits{MaxBytes: n}, nil},
		{"one byte too many", Limits{MaxBytes: n - 1}, ErrFileTooBig},
		{"pixels just enough", Limits{MaxPixels: cardW * cardH}, nil},
		{"one pixel too many", Limits{MaxPixels: cardW*cardH - 1}, ErrTooManyPx},
		{"side just enough", Limits{MinSidePx: cardH}, nil},
		{"side too small", Limits{MinSidePx: cardH + 1}, ErrTooSmall},
	} {
		path := write(t, "reed.jpg", data)
		for way, open := range map[string]func() (*Photo, error){
			"Decode": func() (*Photo, error) { return c.l.Decode("reed", data) },
			"Read":   func() (*Photo, error) { return c.l.Read("reed", bytes.NewReader(data)) },
			"Open":   func() (*Photo, error) { return c.l.Open(path) },
		} {
			p, err := open()
			if err == nil {
				p.Close()
			}
			if c.kind != nil {
				checkRefusal(t, c.name+", "+way, err, c.kind)
			} else if err != nil {
				t.Errorf("%s, %s: %v", c.name, way, err)
			}
		}
	}
}

// The defaults are 64 MiB, whether the file has a size or streams without an
// end, and a file over them is not read.
func TestFileTooBig(t *testing.T) {
	path := write(t, "large.jpg", encodeJPEG(t, card(1)))
	if err := os.Truncate(path, 64<<20+1); err != nil {
		t.Fatal(err)
	}
	before := allocated()
	_, err := Open(path)
	checkRefusal(t, "large file", err, ErrFileTooBig)
	if took := allocated() - before; took > 1<<20 {
		t.Errorf("%d bytes were allocated for a file that must not be read", took)
	}
	if err != nil && !strings.Contains(err.Error(), "64 MiB") {
		t.Errorf("%q does not say the limit", err)
	}
	count := &endless{}
	_, err = Limits{MaxBytes: 1 << 20}.Read("-", count)
	checkRefusal(t, "endless stream", err, ErrFileTooBig)
	if count.n > 1<<20+1 {
		t.Errorf("%d bytes were read", count.n)
	}
}

type endless struct{ n int }

func (e *endless) Read(p []byte) (int, error) { e.n += len(p); return len(p), nil }

// A hundred megapixels are the default limit, exactly.
func TestPixelLimit(t *testing.T) {
	l := Limits{}.filled()
	if err := l.checkSize("x", 10_000, 10_000); err != nil {
		t.Error(err)
	}
	checkRefusal(t, "one row more", l.checkSize("x", 10_000, 10_001), ErrTooManyPx)
}

func TestDisplayName(t *testing.T) {
	for name, want := range map[string]string{
		"reed.jpg":     "reed.jpg",
		"a reed é.jpg": "a reed é.jpg",
		"-":            "standard input",
		"":             `""`,
		"a\nb.jpg":     `"a\nb.jpg"`,
		"\x1b[31mred":  `"\x1b[31mred"`,
		"bad\xffutf8":  `"bad\xffutf8"`,
	} {
		if got := DisplayName(name); got != want {
			t.Errorf("%q is shown as %s, want %s", name, got, want)
		}
	}
}
