package photo

import (
	"encoding/binary"
	"fmt"
)

// Tags of TIFF 6.0 (and DNGVersion of the DNG specification) that are looked at.
const (
	tagNewSubfileType  = 0x00fe
	tagStripOffsets    = 0x0111
	tagStripByteCounts = 0x0117
	tagTileOffsets     = 0x0144
	tagTileByteCounts  = 0x0145
	tagExtraSamples    = 0x0152
	tagDNGVersion      = 0xc612
)

// tiffDir is the first directory of a TIFF file: the whole numbers in it.
type tiffDir struct {
	data    []byte
	order   binary.ByteOrder
	entries map[uint16][]byte // the 12 bytes of each
}

// readTIFFDir reads the first directory. An entry or a value that lies past
// the end of data is errCut.
func readTIFFDir(data []byte) (tiffDir, error) {
	d := tiffDir{data: data, order: binary.LittleEndian, entries: map[uint16][]byte{}}
	if len(data) < 8 {
		return d, errCut
	}
	if data[0] == 'M' {
		d.order = binary.BigEndian
	}
	at := int64(d.order.Uint32(data[4:]))
	if at < 8 {
		return d, fmt.Errorf("first directory at byte %d", at)
	}
	if at+2 > int64(len(data)) {
		return d, errCut
	}
	n := int64(d.order.Uint16(data[at:]))
	if at+2+12*n > int64(len(data)) {
		return d, errCut
	}
	for i := range n {
		e := data[at+2+12*i:][:12]
		d.entries[d.order.Uint16(e)] = e
	}
	return d, nil
}

// values are the whole numbers of a tag, nil where it is not there or is not
// of whole numbers.
func (d tiffDir) values(tag uint16) ([]uint32, error) {
	e, ok := d.entries[tag]
	if !ok {
		return nil, nil
	}
	var size int64
	switch d.order.Uint16(e[2:]) {
	case 1: // BYTE
		size = 1
	case 3: // SHORT
		size = 2
	case 4: // LONG
		size = 4
	default:
		return nil, nil
	}
	count := int64(d.order.Uint32(e[4:]))
	raw := e[8:12]
	if size*count > 4 {
		at := int64(d.order.Uint32(e[8:]))
		if at+size*count > int64(len(d.data)) {
			return nil, errCut
		}
		raw = d.data[at : at+size*count]
	}
	out := make([]uint32, count)
	for i := range out {
		b := raw[int64(i)*size:]
		switch size {
		case 1:
			out[i] = uint32(b[0])
		case 2:
			out[i] = uint32(d.order.Uint16(b))
		case 4:
			out[i] = d.order.Uint32(b)
		}
	}
	return out, nil
}

// first is the first value of a tag, 0 where there is none.
func (d tiffDir) first(tag uint16) uint32 {
	if v, err := d.values(tag); err == nil && len(v) > 0 {
		return v[0]
	}
	return 0
}

// tiffWhole says whether every strip or tile of the first picture is there.
func tiffWhole(data []byte) error {
	d, err := readTIFFDir(data)
	if err != nil {
		return err
	}
	pieces := 0
	for _, tags := range [][2]uint16{{tagStripOffsets, tagStripByteCounts}, {tagTileOffsets, tagTileByteCounts}} {
		offsets, err := d.values(tags[0])
		if err != nil {
			return err
		}
		counts, err := d.values(tags[1])
		if err != nil {
			return err
		}
		for i := range min(len(offsets), len(counts)) {
			if int64(offsets[i])+int64(counts[i]) > int64(len(data)) {
				return errCut
			}
			pieces++
		}
	}
	if pieces == 0 {
		return fmt.Errorf("no strip or tile in the first directory")
	}
	return nil
}

// tiffTransparent says whether the first picture has an alpha channel.
func tiffTransparent(data []byte) bool {
	d, err := readTIFFDir(data)
	if err != nil {
		return false
	}
	extra := d.first(tagExtraSamples)
	return extra == 1 || extra == 2
}

// rawTIFF tells a camera's raw file, which is a TIFF whose first picture is a
// small preview: measuring on that would pass a thumbnail off as the photo.
func rawTIFF(data []byte) bool {
	if len(data) >= 10 && string(data[8:10]) == "CR" {
		return true
	}
	d, err := readTIFFDir(data)
	if err != nil {
		return false
	}
	return d.entries[tagDNGVersion] != nil || d.first(tagNewSubfileType)&1 != 0
}
