package photo

import (
	"bytes"
	"fmt"

	"gocv.io/x/gocv"
)

// JPEG packs the upright photo at its full size as a JPEG of the given quality
// (1 to 100). Nothing of the file it came from is in it: no EXIF, so neither
// place nor time nor camera.
func (p *Photo) JPEG(quality int) ([]byte, error) {
	buf, err := gocv.IMEncodeWithParams(gocv.JPEGFileExt, p.Pixels, []int{gocv.IMWriteJpegQuality, quality})
	if err != nil {
		return nil, fmt.Errorf("packing %s as JPEG: %w", DisplayName(p.Name), err)
	}
	defer buf.Close()
	return bytes.Clone(buf.GetBytes()), nil
}
