package photo

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"syscall"

	"golang.org/x/term"
)

// Open opens the photo at path with the default limits; the path "-" reads
// standard input. The error is an *Error. The caller closes the Photo.
func Open(path string) (*Photo, error) { return Limits{}.Open(path) }

// Read opens a photo that comes from r, with the default limits. The error is
// an *Error under the given name. The caller closes the Photo.
func Read(name string, r io.Reader) (*Photo, error) { return Limits{}.Read(name, r) }

// Decode opens the photo whose file is data, with the default limits. The
// error is an *Error under the given name. The caller closes the Photo. data
// is not kept.
func Decode(name string, data []byte) (*Photo, error) { return Limits{}.Decode(name, data) }

// Open is the function Open under these limits. A file over MaxBytes is not
// read, and what is not a regular file is not opened.
func (l Limits) Open(path string) (*Photo, error) {
	if path == "-" {
		if term.IsTerminal(int(os.Stdin.Fd())) {
			return nil, &Error{Name: path, Kind: ErrUnreadable,
				Problem: "nothing is sent to it.",
				Advice:  "Send a photo to it with < PHOTO, or give the photo's name instead of -."}
		}
		return l.Read(path, os.Stdin)
	}
	l = l.filled()
	// Looked at before it is opened: opening a pipe waits for a writer, and
	// opening some devices does something.
	info, err := os.Stat(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	if err := checkRegular(path, info.Mode()); err != nil {
		return nil, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	defer f.Close()
	if err := l.checkBytes(path, info.Size()); err != nil {
		return nil, err
	}
	return l.read(path, f, info.Size())
}

// Read is the function Read under these limits. It reads no more than one
// byte past MaxBytes.
func (l Limits) Read(name string, r io.Reader) (*Photo, error) {
	return l.filled().read(name, r, 0)
}

func (l Limits) read(name string, r io.Reader, sizeHint int64) (*Photo, error) {
	var buf bytes.Buffer
	buf.Grow(int(sizeHint) + bytes.MinRead)
	if _, err := buf.ReadFrom(io.LimitReader(r, l.MaxBytes+1)); err != nil {
		return nil, unreadable(name, err)
	}
	return l.Decode(name, buf.Bytes())
}

// Decode is the function Decode under these limits.
func (l Limits) Decode(name string, data []byte) (*Photo, error) {
	l = l.filled()
	if len(data) == 0 {
		return nil, &Error{Name: name, Kind: ErrEmpty,
			Problem: "the file is empty.",
			Advice:  "The copy or the download was not finished: send the photo again."}
	}
	if err := l.checkBytes(name, int64(len(data))); err != nil {
		return nil, err
	}
	format, err := sniff(name, data)
	if err != nil {
		return nil, err
	}
	h, err := format.header(data)
	if err != nil {
		return nil, decoderError(name, format, data, err)
	}
	if format == formatHEIC {
		// In a narrower picture heic puts the colours in the wrong places:
		// it does not know that libheif makes no plane narrower than 64.
		l.MinSidePx = max(l.MinSidePx, 2*64)
	}
	if err := l.checkSize(name, h.widthPx, h.heightPx); err != nil {
		return nil, err
	}
	if err := format.whole(data); err != nil {
		return nil, wholeError(name, err)
	}
	if l.Admit != nil {
		if err := l.Admit(int64(h.widthPx) * int64(h.heightPx)); err != nil {
			return nil, err
		}
	}
	meta := readMeta(format, data)
	pixels, err := decodePixels(format, h, meta.orientation, data, l.GrayOnly)
	if err != nil {
		return nil, decoderError(name, format, data, err)
	}
	sum := sha256.Sum256(data)
	p := &Photo{
		Name:    name,
		Pixels:  pixels,
		Format:  string(format),
		Focal35: meta.focal35(pixels.Cols(), pixels.Rows()),
		SHA256:  hex.EncodeToString(sum[:]),
	}
	if pixels.Channels() == 1 {
		p.again = &encoded{data, meta.orientation}
	}
	return p, nil
}

func checkRegular(name string, mode fs.FileMode) error {
	e := &Error{Name: name, Kind: ErrNotAFile}
	switch {
	case mode.IsRegular():
		return nil
	case mode.IsDir():
		e.Problem = "this is a folder, not a photo."
		e.Advice = "Give the photos in it, one by one or as FOLDER/*.jpg."
	case mode&fs.ModeNamedPipe != 0:
		e.Problem = "this is a pipe, not a file."
		e.Advice = "Send the photo to standard input and give - as its name."
	default:
		e.Problem = "this is a device or a socket, not a file."
		e.Advice = "Give the name of a photo, or - to read one from standard input."
	}
	return e
}

func unreadable(name string, err error) error {
	e := &Error{Name: name, Kind: ErrUnreadable, Cause: err}
	switch {
	case errors.Is(err, fs.ErrNotExist) && name == "":
		e.Problem = "no name is given."
		e.Advice = "Give the name of a photo."
	case errors.Is(err, fs.ErrNotExist):
		e.Problem = "there is no such file."
		e.Advice = "Check the name and the folder."
	case errors.Is(err, fs.ErrPermission):
		e.Problem = "you are not allowed to read this file."
		e.Advice = "Change its permissions, or copy the photo to a folder of your own."
	case errors.Is(err, syscall.ENOTDIR):
		e.Problem = "there is no such file: a part of this name is a file and not a folder."
		e.Advice = "Check the name and the folder."
	case errors.Is(err, syscall.ELOOP):
		e.Problem = "this is a link that leads back to itself."
		e.Advice = "Give the name of the photo itself."
	case errors.Is(err, syscall.ENAMETOOLONG):
		e.Problem = "this name is too long for a file."
		e.Advice = "Check the name and the folder."
	default:
		e.Problem = fmt.Sprintf("the file cannot be read (%v).", innermost(err))
		e.Advice = "Copy the photo to another place and give that copy."
	}
	return e
}

// innermost is what the system said, without the path around it.
func innermost(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	return err
}

func damaged(name string, cause error) error {
	return &Error{Name: name, Kind: ErrDamaged, Cause: cause,
		Problem: "the photo is damaged and cannot be opened.",
		Advice:  "Send or copy it again; if it opens elsewhere, save it from there as a JPEG."}
}

func truncated(name string) error {
	return &Error{Name: name, Kind: ErrTruncated,
		Problem: "the photo is cut short, the end of the file is missing.",
		Advice:  "Send or copy it again."}
}

// wholeError is the error for a file that format.whole found fault with.
func wholeError(name string, err error) error {
	if errors.Is(err, errCut) {
		return truncated(name)
	}
	return damaged(name, err)
}
