package photo

import (
	"encoding/binary"
	"testing"
)

// A photo's colours at half its size are those of the photo, turned alike, whether it
// was opened with them or without, and after it was closed, too.
func TestHalfColours(t *testing.T) {
	check := func(name string, p *Photo, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		h, err := p.HalfColours()
		if err != nil {
			t.Fatal(err)
		}
		p.Close()
		c, ok, err := h.Planes()
		if err != nil || !ok || h.Bytes() == 0 {
			t.Fatalf("%s: %v, %v, %d bytes", name, ok, err, h.Bytes())
		}
		if c.R.W != (cardW+1)/2 || c.R.H != (cardH+1)/2 {
			t.Fatalf("%s: %d x %d px", name, c.R.W, c.R.H)
		}
		whole, ok, err := h.Sized(cardW, cardH)
		if err != nil || !ok || whole.R.W != cardW || whole.R.H != cardH {
			t.Fatalf("%s: %v, %v, %d x %d px of the whole", name, ok, err, whole.R.W, whole.R.H)
		}
		for _, at := range [][2]int{{cardW / 10, cardH / 12}, {cardW * 2 / 5, cardH / 4}, {cardW * 3 / 4, cardH / 4}, {cardW / 4, cardH * 3 / 4}, {cardW * 3 / 4, cardH * 3 / 4}} {
			want := cardAt(at[0], at[1])
			i := at[1]/2*c.R.W + at[0]/2
			j := at[1]*cardW + at[0]
			for _, ch := range [][2]uint8{{c.R.Pix[i], want.R}, {c.G.Pix[i], want.G}, {c.B.Pix[i], want.B},
				{whole.R.Pix[j], want.R}, {whole.G.Pix[j], want.G}, {whole.B.Pix[j], want.B}} {
				if d := int(ch[0]) - int(ch[1]); d < -12 || d > 12 {
					t.Errorf("%s at %v: %d, want %d", name, at, ch[0], ch[1])
				}
			}
		}
	}
	for o := 1; o <= 8; o++ {
		data := jpegWith(encodeJPEG(t, card(o)), exifBlock(binary.LittleEndian, exifTags{orientation: o}))
		p, err := Limits{GrayOnly: true}.Decode("grey", data)
		check("grey only", p, err)
		p, err = Decode("all", data)
		check("all colours", p, err)
	}
	p, err := Limits{GrayOnly: true}.Decode("png", encodePNG(t, card(1)))
	check("png", p, err)

	if _, ok, err := (HalfColours{}).Planes(); ok || err != nil {
		t.Errorf("no photo: %v, %v", ok, err)
	}
	if _, ok, err := (HalfColours{}).Sized(8, 6); ok || err != nil {
		t.Errorf("no photo in another size: %v, %v", ok, err)
	}
}
