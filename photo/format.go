package photo

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/bep/imagemeta"
	"golang.org/x/image/tiff"
	"golang.org/x/image/webp"
)

// format is a file format that can be opened; its text is Photo.Format.
type format string

const (
	formatJPEG format = "jpeg"
	formatPNG  format = "png"
	formatWebP format = "webp"
	formatHEIC format = "heic"
	formatTIFF format = "tiff"
)

// Supported names the formats that can be opened, for messages and help.
const Supported = "JPEG, PNG, WebP, HEIC or TIFF"

// sniff tells the format by the first bytes, never by the file's name.
func sniff(name string, data []byte) (format, error) {
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xd8\xff")):
		return formatJPEG, nil
	case bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")):
		return formatPNG, nil
	case len(data) >= 12 && string(data[:4]) == "RIFF" && string(data[8:12]) == "WEBP":
		return formatWebP, nil
	case bytes.HasPrefix(data, []byte("II*\x00")), bytes.HasPrefix(data, []byte("MM\x00*")):
		if rawTIFF(data) {
			return "", unsupported(name, "this is a raw photo, as cameras store it before developing it.", nil)
		}
		return formatTIFF, nil
	case isBMFF(data):
		what := brandKind(data)
		if what == "" {
			return formatHEIC, nil
		}
		return "", unsupported(name, "this is "+what+".", nil)
	}
	return "", unsupported(name, "this is "+describeOther(data)+".", nil)
}

func unsupported(name, problem string, cause error) error {
	return &Error{Name: name, Kind: ErrUnsupported, Problem: problem, Cause: cause,
		Advice: "Give a photo as " + Supported + "."}
}

// isBMFF tells the box format that HEIC shares with films (ISO/IEC 14496-12).
func isBMFF(data []byte) bool { return len(data) >= 16 && string(data[4:8]) == "ftyp" }

// brandKind says what a box file is by the brands in its first box; "" means
// a HEIC photo (ISO/IEC 23008-12, annex B).
func brandKind(data []byte) string {
	end := min(int(be32(data)), len(data), 256)
	var brands []string
	for i := 8; i+4 <= end; i += 4 {
		if i != 12 { // that one is the version
			brands = append(brands, string(data[i:i+4]))
		}
	}
	has := func(prefixes ...string) bool {
		for _, b := range brands {
			for _, p := range prefixes {
				if strings.HasPrefix(b, p) {
					return true
				}
			}
		}
		return false
	}
	switch {
	case has("hei", "hev"):
		return ""
	case has("avi"):
		return "an AVIF picture"
	case has("crx"):
		return "a raw photo, as cameras store it before developing it"
	case has("mif1", "msf1"):
		return "" // let the decoder say whether it can
	default:
		return "a film, not a photo"
	}
}

// describeOther names what was given instead of a photo, as well as its first
// bytes tell.
func describeOther(data []byte) string {
	for _, k := range []struct{ magic, what string }{
		{"GIF8", "a GIF picture"},
		{"BM", "a BMP picture"},
		{"%PDF", "a PDF document"},
		{"PK\x03\x04", "a ZIP archive or an office document"},
		{"II+\x00", "a BigTIFF picture"},
		{"MM\x00+", "a BigTIFF picture"},
		{"\xff\x0a", "a JPEG XL picture"},
		{"\x00\x00\x00\x0cJXL ", "a JPEG XL picture"},
		{"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture"},
		{"\xff\x4f\xff\x51", "a JPEG 2000 picture"},
		{"FUJIFILM", "a raw photo, as cameras store it before developing it"},
	} {
		if bytes.HasPrefix(data, []byte(k.magic)) {
			return k.what
		}
	}
	if isText(data) {
		return "text, not a photo"
	}
	return "not a photo in a format that is known here"
}

func isText(data []byte) bool {
	head := data[:min(len(data), 1024)]
	for i := 0; i < utf8.UTFMax && len(head) < len(data) && !utf8.Valid(head); i++ {
		head = head[:len(head)-1] // the cut may lie inside a letter
	}
	control := func(r rune) bool { return unicode.IsControl(r) && !unicode.IsSpace(r) }
	return utf8.Valid(head) && !bytes.ContainsFunc(head, control)
}

// header is what is known of a picture before its pixels are decoded.
type header struct {
	widthPx, heightPx int
	// viaGo is set for the kinds that Go's decoders read and OpenCV would
	// read wrongly: transparency (OpenCV shows what lies under it) and CMYK
	// (OpenCV takes every CMYK JPEG for an inverted one).
	viaGo bool
}

func (f format) header(data []byte) (header, error) {
	var cfg image.Config
	var err error
	viaGo := false
	r := bytes.NewReader(data)
	switch f {
	case formatJPEG:
		cfg, err = jpeg.DecodeConfig(r)
		viaGo = cfg.ColorModel == color.CMYKModel
	case formatPNG:
		cfg, err = png.DecodeConfig(r)
		viaGo = pngTransparent(data)
	case formatWebP:
		cfg, err = webp.DecodeConfig(r)
		viaGo = cfg.ColorModel == color.NYCbCrAModel || cfg.ColorModel == color.NRGBAModel
	case formatTIFF:
		cfg, err = tiff.DecodeConfig(r)
		viaGo = tiffTransparent(data)
	case formatHEIC:
		cfg, err = heicConfig(data)
		viaGo = true
	default:
		err = fmt.Errorf("no reader for format %q", string(f))
	}
	return header{cfg.Width, cfg.Height, viaGo}, err
}

// How a HEIC container names an alpha plane (ISO/IEC 23008-12, 6.9 and annex
// B); depth maps and the like have other names.
const (
	auxAlpha     = "urn:mpeg:mpegB:cicp:systems:auxiliary:alpha"
	auxAlphaHEVC = "urn:mpeg:hevc:2015:auxid:1\x00"
)

// errSeeThrough is returned for a HEIC with an alpha plane, which the decoder
// drops: what lies under the transparent parts would be measured.
var errSeeThrough = errors.New("a HEIC with transparent parts")

// heicConfig reads the size from the container's description. It is not left
// to heic.DecodeConfig, which looks at the first 32 KiB of a file only and
// gives up where a block of EXIF lies behind them, as in most large photos.
// No image in the container, be it a tile or a preview, is larger than the
// size that is returned, or that size is returned.
func heicConfig(data []byte) (image.Config, error) {
	res, err := imagemeta.Decode(imagemeta.Options{
		R:           newPatientReader(data),
		ImageFormat: imagemeta.HEIF,
		Sources:     imagemeta.CONFIG,
	})
	if err != nil {
		return image.Config{}, err
	}
	cfg := image.Config{Width: res.ImageConfig.Width, Height: res.ImageConfig.Height}
	boxes, err := bmffBoxes(data)
	if err != nil {
		return image.Config{}, err
	}
	for _, b := range boxes {
		if b.kind != "meta" {
			continue
		}
		if bytes.Contains(b.bytes, []byte(auxAlpha)) || bytes.Contains(b.bytes, []byte(auxAlphaHEVC)) {
			return image.Config{}, errSeeThrough
		}
		for rest := b.bytes; ; {
			// An image spatial extents box: version and flags, width, height.
			_, after, found := bytes.Cut(rest, []byte("ispe"))
			if !found {
				break
			}
			if len(after) >= 12 {
				w, h := int(be32(after[4:])), int(be32(after[8:]))
				if w*h > cfg.Width*cfg.Height {
					cfg.Width, cfg.Height = w, h
				}
			}
			rest = after
		}
	}
	return cfg, nil
}

// decoderError turns what a decoder said of a header or of pixels into words.
// Most often the file is cut short.
func decoderError(name string, f format, data []byte, err error) error {
	if errors.Is(f.whole(data), errCut) {
		return truncated(name)
	}
	var jpegKind jpeg.UnsupportedError
	var pngKind png.UnsupportedError
	var tiffKind tiff.UnsupportedError
	if errors.As(err, &jpegKind) || errors.As(err, &pngKind) || errors.As(err, &tiffKind) ||
		errors.Is(err, errSeeThrough) {
		return &Error{Name: name, Kind: ErrUnsupported, Cause: err,
			Problem: fmt.Sprintf("this kind of %s is not supported.", strings.ToUpper(string(f))),
			Advice:  "Save the photo as a plain JPEG, without making it smaller, and give that."}
	}
	return damaged(name, err)
}
