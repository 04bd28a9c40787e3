package main

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/jpeg"
	"image/png"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain lets the scripts run this test binary as dentcount.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"dentcount": main})
}

// TestScript runs testdata/script/*.txtar: the command as a user meets it.
// Beside testscript's own commands there are
//
//	exits N PROGRAM ARG...   the program ends with exactly that status
//	mkphoto KIND FILE        makes an input, see makeInput
//
// stdout and stderr then look at what the program of exits wrote.
func TestScript(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits":   scriptExits,
			"mkphoto": scriptMakePhoto,
		},
	})
}

func scriptExits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits N PROGRAM ARG...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%s did not run: %v", args[1], err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}

func scriptMakePhoto(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: mkphoto KIND FILE")
	}
	data := makeInput(args[0])
	if data == nil {
		ts.Fatalf("mkphoto: no kind %q", args[0])
	}
	// A name with a line break or a bell in it is written \n, \a in the script.
	name, err := strconv.Unquote(`"` + args[1] + `"`)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(name), data, 0o666))
}

// makeInput is the file of a photo with something about it, or nil for an
// unknown kind.
func makeInput(kind string) []byte {
	switch kind {
	case "black": // 640 × 480, every pixel black
		return asJPEG(image.NewGray(image.Rect(0, 0, 640, 480)))
	case "grey": // the same in grey
		img := image.NewGray(image.Rect(0, 0, 640, 480))
		for i := range img.Pix {
			img.Pix[i] = 90
		}
		return asJPEG(img)
	case "tiny": // 1 × 1
		return asJPEG(image.NewGray(image.Rect(0, 0, 1, 1)))
	case "truncated": // a photo with texture, cut in the middle
		whole := asJPEG(texture(640, 480))
		return whole[:len(whole)/2]
	case "huge": // a PNG whose header says 60000 × 60000
		return hugePNG()
	case "empty":
		return []byte{}
	case "bars", "string", "reed-length": // a length with its tape: 8 1/2 in over the bars, 10.6 in knot to knot, a reed of 27.19 in
		b, err := os.ReadFile("../../testdata/lengths/" + map[string]string{"bars": "bars-8_5-064.jpg", "string": "string-10_6-024.jpg", "reed-length": "reed-27-012.jpg"}[kind])
		if err != nil {
			panic(err)
		}
		return b
	case "joined-1", "joined-2": // heddle bars in two photos along one tape
		b, err := os.ReadFile("../../testdata/joined/bars" + strings.TrimPrefix(kind, "joined") + ".jpg")
		if err != nil {
			panic(err)
		}
		return b
	}
	return nil
}

func texture(w, h int) image.Image {
	img := image.NewGray(image.Rect(0, 0, w, h))
	for i := range img.Pix {
		img.Pix[i] = byte(i*i/7 ^ i>>3)
	}
	return img
}

func asJPEG(img image.Image) []byte {
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, nil); err != nil {
		panic(err) // encoding to memory
	}
	return buf.Bytes()
}

// hugePNG is a small valid PNG with the size in its IHDR replaced, and the
// chunk's CRC made right again (ISO/IEC 15948, 11.2.2).
func hugePNG() []byte {
	var buf bytes.Buffer
	if err := png.Encode(&buf, image.NewGray(image.Rect(0, 0, 8, 8))); err != nil {
		panic(err)
	}
	b := buf.Bytes()
	binary.BigEndian.PutUint32(b[16:], 60000)
	binary.BigEndian.PutUint32(b[20:], 60000)
	binary.BigEndian.PutUint32(b[29:], crc32.ChecksumIEEE(b[12:29]))
	return b
}

// lockedWriter lets a test read what a command writes meanwhile.
type lockedWriter struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (w *lockedWriter) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.Write(p)
}

func (w *lockedWriter) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.String()
}
