package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
)

// errCut is returned by whole for a file whose end is missing.
var errCut = errors.New("the file ends before the picture does")

// whole says whether all of a file is there, by its structure alone and
// without decoding a pixel. Decoders are not asked, because they fill what is
// missing: libjpeg with grey, libtiff with black.
func (f format) whole(data []byte) error {
	switch f {
	case formatJPEG:
		return jpegWhole(data)
	case formatPNG:
		chunks, err := pngChunks(data)
		for _, c := range chunks {
			// A chunk that names itself in capitals is needed for the picture.
			if err == nil && 'A' <= c.kind[0] && c.kind[0] <= 'Z' && crc32.ChecksumIEEE(c.bytes) != c.crc {
				err = fmt.Errorf("chunk %q was changed on the way", c.kind)
			}
		}
		return err
	case formatWebP:
		_, err := webpChunks(data)
		return err
	case formatHEIC:
		_, err := bmffBoxes(data)
		return err
	case formatTIFF:
		return tiffWhole(data)
	}
	return nil
}

// jpegWhole walks the marker segments (ITU-T T.81, annex B) to the
// end-of-image marker. Segments are skipped by their lengths, so that the
// preview inside an EXIF block does not count, and what cameras append after
// the picture is not looked at.
func jpegWhole(data []byte) error {
	const (
		soi, eoi, sos, tem = 0xd8, 0xd9, 0xda, 0x01
		rst0, rst7         = 0xd0, 0xd7
	)
	scans := 0
	for i := 2; ; {
		// Coded data, too, is passed over here: in it 0xff is followed by 0x00.
		n := bytes.IndexByte(data[i:], 0xff)
		if n < 0 || i+n+1 >= len(data) {
			return errCut
		}
		i += n + 1
		marker := data[i]
		switch {
		case marker == 0xff: // a fill byte; the next one may be the marker
			continue
		case marker == 0, marker == soi, marker == tem, rst0 <= marker && marker <= rst7:
			i++
			continue
		case marker == eoi:
			if scans == 0 {
				return errors.New("no picture before the end-of-image marker")
			}
			return nil
		}
		if i+3 > len(data) {
			return errCut
		}
		length := int(binary.BigEndian.Uint16(data[i+1:]))
		if length < 2 {
			return fmt.Errorf("segment %#x of length %d", marker, length)
		}
		if marker == sos {
			scans++
		}
		if i += 1 + length; i > len(data) {
			return errCut
		}
	}
}

// chunk is one part of a PNG, WebP or HEIC file.
type chunk struct {
	kind  string
	bytes []byte // WebP: the contents; PNG: the kind, then the contents; HEIC: the whole box
	crc   uint32 // PNG: of bytes, as the file has it
}

// pngChunks walks the chunks to IEND (ISO/IEC 15948, 5.3).
func pngChunks(data []byte) ([]chunk, error) {
	var out []chunk
	for i := 8; ; {
		if len(data)-i < 12 {
			return out, errCut
		}
		n := int64(be32(data[i:]))
		if n > int64(len(data)-i-12) {
			return out, errCut
		}
		end := i + 8 + int(n)
		c := chunk{string(data[i+4 : i+8]), data[i+4 : end], be32(data[end:])}
		out = append(out, c)
		if c.kind == "IEND" {
			return out, nil
		}
		i = end + 4
	}
}

// pngTransparent says whether a PNG can have see-through pixels: its colour
// type has alpha, or it names a transparent colour.
func pngTransparent(data []byte) bool {
	chunks, _ := pngChunks(data)
	for _, c := range chunks {
		switch {
		case c.kind == "IHDR" && len(c.bytes) >= 14 && c.bytes[13]&4 != 0:
			return true
		case c.kind == "tRNS":
			return true
		case c.kind == "IDAT":
			return false
		}
	}
	return false
}

// webpChunks walks the chunks of the RIFF container (RFC 9649, 2.3).
func webpChunks(data []byte) ([]chunk, error) {
	var out []chunk
	if len(data) < 12 {
		return out, errCut
	}
	end := int64(binary.LittleEndian.Uint32(data[4:])) + 8
	if end > int64(len(data)) {
		return out, errCut
	}
	for i := int64(12); i+8 <= end; {
		n := int64(binary.LittleEndian.Uint32(data[i+4:]))
		if i+8+n > end {
			return out, errCut
		}
		out = append(out, chunk{kind: string(data[i : i+4]), bytes: data[i+8 : i+8+n]})
		i += 8 + n + n%2
	}
	return out, nil
}

// bmffBoxes walks the outermost boxes (ISO/IEC 14496-12, 4.2).
func bmffBoxes(data []byte) ([]chunk, error) {
	var out []chunk
	for len(data) > 0 {
		if len(data) < 8 {
			return out, errCut
		}
		head, n := uint64(8), uint64(be32(data))
		switch n {
		case 0: // to the end of the file
			n = uint64(len(data))
		case 1:
			if len(data) < 16 {
				return out, errCut
			}
			head, n = 16, binary.BigEndian.Uint64(data[8:])
		}
		if n < head {
			return out, fmt.Errorf("box %q of %d bytes", data[4:8], n)
		}
		if n > uint64(len(data)) {
			return out, errCut
		}
		out = append(out, chunk{kind: string(data[4:8]), bytes: data[:n]})
		data = data[n:]
	}
	return out, nil
}

func be32(b []byte) uint32 {
	if len(b) < 4 {
		return 0
	}
	return binary.BigEndian.Uint32(b)
}
