package report

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"unicode"
	"unicode/utf8"
)

// jpegQuality keeps letters of the overlay clean at a few hundred kilobytes.
const jpegQuality = 88

// overlaySuffix ends the name of every overlay before its number and extension.
const overlaySuffix = "-dentcount"

// OverlayWriter writes overlays into one folder, which it makes when the first
// one is written. It never writes over a photo, nor over any file but an older
// overlay of the same photo; an overlay carries its photo's digest in a JPEG
// comment, and is told by it.
type OverlayWriter struct {
	dir    string
	inputs []string
}

// NewOverlayWriter is a writer into dir. inputs are the names of the photos of
// the call: files that are not to be written over in any case.
func NewOverlayWriter(dir string, inputs []string) *OverlayWriter {
	return &OverlayWriter{dir: dir, inputs: inputs}
}

// Write stores img as the overlay of the photo of the given name and SHA-256
// (hex) and returns the path. The file appears whole or not at all.
func (o *OverlayWriter) Write(img image.Image, photoName, sha256 string) (path string, err error) {
	note := "dentcount overlay of sha256:" + sha256
	data, err := jpegWithComment(img, note)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(o.dir, 0o777); err != nil {
		return "", fmt.Errorf("the folder for overlays cannot be made: %w", err)
	}
	tmp, err := writeTemp(o.dir, data)
	if err != nil {
		return "", err
	}
	defer os.Remove(tmp) // a second name for the file by then, or what is left of a failure

	base := overlayBase(photoName)
	for n := 1; n < 10000; n++ {
		name := base + overlaySuffix
		if n > 1 {
			name += fmt.Sprintf("-%d", n)
		}
		path = filepath.Join(o.dir, name+".jpg")
		done, err := o.place(tmp, path, note)
		if err != nil {
			return "", fmt.Errorf("the overlay cannot be stored: %w", err)
		}
		if done {
			return path, nil
		}
	}
	return "", fmt.Errorf("%s holds ten thousand overlays of photos named %q; give another folder", o.dir, base)
}

// place gives tmp the name path if that is free or holds an older overlay of
// the same photo. It reports whether it did.
func (o *OverlayWriter) place(tmp, path, note string) (bool, error) {
	old, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		// A link fails where a rename would write over a file that came into
		// being just now.
		err := os.Link(tmp, path)
		if err == nil {
			return true, nil
		}
		if errors.Is(err, fs.ErrExist) {
			return false, nil
		}
		// A file system without links.
		return true, os.Rename(tmp, path)
	case err != nil:
		return false, err
	case !old.Mode().IsRegular() || o.isInput(old) || !hasComment(path, note):
		return false, nil
	}
	return true, os.Rename(tmp, path)
}

func (o *OverlayWriter) isInput(f fs.FileInfo) bool {
	for _, name := range o.inputs {
		if in, err := os.Stat(name); err == nil && os.SameFile(in, f) {
			return true
		}
	}
	return false
}

// writeTemp writes data to a new file in dir, down to the disk.
func writeTemp(dir string, data []byte) (string, error) {
	f, err := os.CreateTemp(dir, ".dentcount-*.tmp")
	if err != nil {
		return "", fmt.Errorf("the overlay cannot be written: %w", err)
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Chmod(0o644)
	}
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		os.Remove(f.Name())
		return "", fmt.Errorf("the overlay cannot be written: %w", err)
	}
	return f.Name(), nil
}

// jpegWithComment is img as JPEG with a COM segment (ITU-T T.81, B.2.4.5)
// right after the start of image.
func jpegWithComment(img image.Image, note string) ([]byte, error) {
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: jpegQuality}); err != nil {
		return nil, fmt.Errorf("report: encoding the overlay: %w", err)
	}
	plain := buf.Bytes()
	out := append(make([]byte, 0, len(plain)+len(note)+4), plain[:2]...)
	out = append(out, commentSegment(note)...)
	return append(out, plain[2:]...), nil
}

func commentSegment(note string) []byte {
	seg := binary.BigEndian.AppendUint16([]byte{0xFF, 0xFE}, uint16(len(note)+2))
	return append(seg, note...)
}

// hasComment says whether the file begins as jpegWithComment begins.
func hasComment(path, note string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	want := append([]byte{0xFF, 0xD8}, commentSegment(note)...)
	got := make([]byte, len(want))
	_, err = io.ReadFull(f, got)
	return err == nil && bytes.Equal(got, want)
}

// overlayBase is a photo's name without folder and extension, fit to be a file
// name anywhere: no control or separating characters, no dot or dash in front,
// no more than 80 bytes.
func overlayBase(photoName string) string {
	if photoName == "-" {
		return "stdin"
	}
	base := filepath.Base(photoName)
	base = strings.TrimSuffix(base, filepath.Ext(base))
	base = strings.Map(func(r rune) rune {
		if r == utf8.RuneError || !unicode.IsPrint(r) || strings.ContainsRune(`/\<>:"|?*`, r) {
			return '_'
		}
		return r
	}, base)
	base = strings.TrimLeft(base, ".- ")
	for len(base) > 80 {
		_, n := utf8.DecodeLastRuneInString(base)
		base = base[:len(base)-n]
	}
	base = strings.TrimRight(base, ". ")
	if strings.Trim(base, "_") == "" {
		return "photo"
	}
	return base
}
