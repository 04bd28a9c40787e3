package photo

import "fmt"

// Limits bound what is opened. They are checked before pixels are decoded:
// the file's size before it is read as a whole, the picture's on its header.
// The zero value means the defaults.
type Limits struct {
	// MaxBytes is the largest file, in bytes; 0 means DefaultMaxBytes.
	MaxBytes int64
	// MaxPixels is the largest picture, width times height; 0 means DefaultMaxPixels.
	MaxPixels int64
	// MinSidePx is the shortest side a picture may have; 0 means DefaultMinSidePx.
	MinSidePx int
	// Admit, where not nil, is asked after the header was read and before the
	// pixels are decoded, with their number. It may wait, for other photos to be
	// closed, say; its error is returned as it is.
	Admit func(pixels int64) error
	// GrayOnly leaves the colours out where that is faster: a JPEG holds its
	// brightness apart from its colours, and decoding that alone takes a third to
	// a half of the time. For who measures and draws nothing.
	GrayOnly bool
}

// The defaults of Limits.
const (
	DefaultMaxBytes  = 64 << 20    // 64 MiB
	DefaultMaxPixels = 100_000_000 // 100 megapixels
	DefaultMinSidePx = 64          // no ruler can be read in less
)

// maxSidePx is the longest side that is decoded whatever the limits say. JPEG
// itself ends at 65,535; OpenCV aborts the process, and does not fail, past
// 2^20.
const maxSidePx = 65_535

func (l Limits) filled() Limits {
	if l.MaxBytes <= 0 {
		l.MaxBytes = DefaultMaxBytes
	}
	if l.MaxPixels <= 0 {
		l.MaxPixels = DefaultMaxPixels
	}
	if l.MinSidePx <= 0 {
		l.MinSidePx = DefaultMinSidePx
	}
	return l
}

// checkBytes says whether a file of n bytes may be read.
func (l Limits) checkBytes(name string, n int64) error {
	if n <= l.MaxBytes {
		return nil
	}
	return &Error{Name: name, Kind: ErrFileTooBig,
		Problem: fmt.Sprintf("the file is larger than %s.", bytesText(l.MaxBytes)),
		Advice:  "Save the photo as a JPEG, without making it smaller, and give that."}
}

// checkSize says whether a picture of w × h pixels may be decoded.
func (l Limits) checkSize(name string, w, h int) error {
	switch {
	case w < 1 || h < 1:
		return damaged(name, fmt.Errorf("header says %d × %d px", w, h))
	case int64(w)*int64(h) > l.MaxPixels || w > maxSidePx || h > maxSidePx:
		return &Error{Name: name, Kind: ErrTooManyPx,
			Problem: fmt.Sprintf("the photo says it is %d × %d pixels, more than %s are not opened.",
				w, h, pixelsText(l.MaxPixels)),
			Advice: "Give the photo as the camera took it, or a smaller copy."}
	case min(w, h) < l.MinSidePx:
		return &Error{Name: name, Kind: ErrTooSmall,
			Problem: fmt.Sprintf("the photo is only %d × %d pixels, too small to measure on.", w, h),
			Advice:  "Give the photo itself, not a thumbnail or a preview of it."}
	}
	return nil
}

func bytesText(n int64) string {
	if n >= 1<<20 {
		return fmt.Sprintf("%.4g MiB", float64(n)/(1<<20))
	}
	return fmt.Sprintf("%d bytes", n)
}

func pixelsText(n int64) string {
	if n >= 1_000_000 {
		return fmt.Sprintf("%.4g megapixels", float64(n)/1e6)
	}
	return fmt.Sprintf("%d pixels", n)
}
