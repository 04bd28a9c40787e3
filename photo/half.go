package photo

import (
	"image"

	"gocv.io/x/gocv"
)

// HalfColours are a photo's channels at half its size, for what needs them of few
// photos only: a point x of the photo lies at (x+0.5)/2-0.5 of theirs, to a pixel.
// They do not need the Photo, which may be closed. The zero value has none.
type HalfColours struct {
	held Colour
	of   *encoded
}

// HalfColours gives the photo's channels at half its size. Where the photo was opened
// without its colours they are decoded when they are asked for; JPEG holds them at
// that size mostly.
func (p *Photo) HalfColours() (HalfColours, error) {
	if p.again != nil {
		return HalfColours{of: p.again}, nil
	}
	half := gocv.NewMat()
	defer half.Close()
	gocv.Resize(p.Pixels, &half, image.Pt((p.Pixels.Cols()+1)/2, (p.Pixels.Rows()+1)/2), 0, 0, gocv.InterpolationArea)
	c, err := coloursOf(half)
	return HalfColours{held: c}, err
}

// Bytes is how much memory they take.
func (h HalfColours) Bytes() int64 {
	if h.of != nil {
		return int64(len(h.of.data))
	}
	return 3 * int64(len(h.held.G.Pix))
}

// Planes are the channels; ok is false where there are none.
func (h HalfColours) Planes() (c Colour, ok bool, err error) {
	if h.of == nil {
		return h.held, len(h.held.G.Pix) > 0, nil
	}
	m, err := decodeOpenCV(h.of.data, gocv.IMReadReducedColor2, gocv.MatTypeCV8UC3)
	if err != nil {
		return Colour{}, false, err
	}
	m = upright(m, h.of.orientation)
	defer m.Close()
	c, err = coloursOf(m)
	return c, err == nil, err
}
