package photo

import (
	"encoding/binary"
	"fmt"
	"testing"

	"gocv.io/x/gocv"
)

// Every format that carries EXIF comes out upright for each of the eight
// orientations of CIPA DC-008, in both byte orders, and never turned twice.
func TestOrientations(t *testing.T) {
	orders := map[string]binary.AppendByteOrder{"II": binary.LittleEndian, "MM": binary.BigEndian}
	for o := 1; o <= 8; o++ {
		stored := card(o)
		w, h := stored.Rect.Dx(), stored.Rect.Dy()
		for mark, order := range orders {
			exif := exifBlock(order, exifTags{orientation: o, focal35: 26})
			for _, f := range []struct {
				name   string
				format string
				data   []byte
				tol    int
			}{
				{"jpeg", "jpeg", jpegWith(encodeJPEG(t, stored), exif), 4},
				{"png", "png", pngWith(encodePNG(t, stored), exif), 0},
				{"webp", "webp", webpWith(encodeWebP(t, stored), exif, w, h), 12},
				{"tiff8", "tiff", tiffCard(order, 8, exifTags{orientation: o, focal35: 26}), 0},
				{"tiff16", "tiff", tiffCard(order, 16, exifTags{orientation: o, focal35: 26}), 0},
			} {
				t.Run(fmt.Sprintf("%s/%d/%s", f.name, o, mark), func(t *testing.T) {
					p := mustDecode(t, f.data)
					if p.Format != f.format {
						t.Errorf("format %q", p.Format)
					}
					if p.Focal35 != 26 {
						t.Errorf("focal length %v, want 26", p.Focal35)
					}
					checkCard(t, p.Pixels, f.tol)
				})
			}
		}
	}
}

// The same eight against OpenCV's own reading of the tag in a JPEG, which is
// another implementation of the standard than ours.
func TestOrientationsAgainstOpenCV(t *testing.T) {
	for o := 1; o <= 8; o++ {
		data := jpegWith(encodeJPEG(t, card(o)), exifBlock(binary.LittleEndian, exifTags{orientation: o}))
		p := mustDecode(t, data)
		cv, err := gocv.IMDecode(data, gocv.IMReadColor)
		if err != nil {
			t.Fatal(err)
		}
		if cv.Cols() != p.Pixels.Cols() || cv.Rows() != p.Pixels.Rows() || gocv.NormWithMats(cv, p.Pixels, gocv.NormL1) != 0 {
			t.Errorf("orientation %d: OpenCV shows another picture", o)
		}
		cv.Close()
	}
}

// An orientation outside 1 to 8, one in the preview's directory only, or none
// leaves the picture as it is stored.
func TestOrientationNotTold(t *testing.T) {
	plain := encodeJPEG(t, card(1))
	for _, o := range []int{0, 9, 65535} {
		checkCard(t, mustDecode(t, jpegWith(plain, exifBlock(binary.LittleEndian, exifTags{orientation: o}))).Pixels, 4)
	}
	le := binary.LittleEndian
	b := append([]byte("II*\x00"), 8, 0, 0, 0)
	b = append(b, ifd(le, []ifdEntry{short(le, 0x0100, cardW)})...)
	le.PutUint32(b[len(b)-4:], uint32(len(b)))
	b = append(b, ifd(le, []ifdEntry{short(le, 0x0112, 6)})...)
	checkCard(t, mustDecode(t, jpegWith(plain, b)).Pixels, 4)
}

// The brightness decoded alone is that of the colours, turned alike, but for
// their rounding; there are no colours then, and asking for them is an error.
func TestGrayOnly(t *testing.T) {
	for o := 1; o <= 8; o++ {
		data := jpegWith(encodeJPEG(t, card(o)), exifBlock(binary.LittleEndian, exifTags{orientation: o, focal35: 26}))
		p, err := Limits{GrayOnly: true}.Decode("card", data)
		if err != nil {
			t.Fatal(err)
		}
		defer p.Close()
		gray, err := p.Gray()
		if err != nil {
			t.Fatal(err)
		}
		want, err := mustDecode(t, data).Gray()
		if err != nil {
			t.Fatal(err)
		}
		if gray.W != want.W || gray.H != want.H || p.Focal35 != 26 {
			t.Fatalf("orientation %d: %d x %d px, %v mm; want %d x %d, 26", o, gray.W, gray.H, p.Focal35, want.W, want.H)
		}
		sum := 0
		for i, v := range gray.Pix {
			sum += max(int(v)-int(want.Pix[i]), int(want.Pix[i])-int(v))
		}
		if mean := float64(sum) / float64(len(gray.Pix)); mean > 1 {
			t.Errorf("orientation %d: %.2f grey levels off in the mean", o, mean)
		}
		if _, err := p.Colour(); err == nil {
			t.Error("colours of a photo opened without them")
		}
		c, err := p.InColour()
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		checkCard(t, c.Pixels, 4)
		if c.Name != p.Name || c.Focal35 != p.Focal35 || c.SHA256 != p.SHA256 {
			t.Errorf("orientation %d: in colour it is %+v, was %+v", o, c, p)
		}
	}
	p, err := Limits{GrayOnly: true}.Decode("card", encodePNG(t, card(1)))
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	checkCard(t, p.Pixels, 0) // nothing to be gained: as ever
	c, err := p.InColour()
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	checkCard(t, c.Pixels, 0) // its own
}
