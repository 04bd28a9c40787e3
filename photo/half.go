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

// Sized are the channels in another size, of those of the whole photo where they are not
// held; ok is false where there are none.
func (h HalfColours) Sized(wPx, hPx int) (c Colour, ok bool, err error) {
	if c = h.held; h.of != nil {
		if c, err = h.of.colours(gocv.IMReadColor); err != nil {
			return Colour{}, false, err
		}
	}
	if len(c.G.Pix) == 0 {
		return Colour{}, false, nil
	}
	how := gocv.InterpolationLinear
	if 2*wPx <= c.G.W {
		how = gocv.InterpolationArea
	}
	for _, p := range []*Plane{&c.B, &c.G, &c.R} {
		if *p, err = p.sized(wPx, hPx, how); err != nil {
			return Colour{}, false, err
		}
	}
	return c, true, nil
}

// Planes are the channels; ok is false where there are none.
func (h HalfColours) Planes() (c Colour, ok bool, err error) {
	if h.of == nil {
		return h.held, len(h.held.G.Pix) > 0, nil
	}
	c, err = h.of.colours(gocv.IMReadReducedColor2)
	return c, err == nil, err
}

// colours decodes the channels.
func (e *encoded) colours(how gocv.IMReadFlag) (Colour, error) {
	m, err := e.pixels(how)
	if err != nil {
		return Colour{}, err
	}
	defer m.Close()
	return coloursOf(m)
}

// pixels decodes the picture in colour and turns it upright; the caller closes it.
func (e *encoded) pixels(how gocv.IMReadFlag) (gocv.Mat, error) {
	m, err := decodeOpenCV(e.data, how, gocv.MatTypeCV8UC3)
	if err != nil {
		return gocv.Mat{}, err
	}
	return upright(m, e.orientation), nil
}
