package photo

import (
	"errors"
	"fmt"
	"image"
	"math"

	"gocv.io/x/gocv"
)

// Plane is one channel of a picture in Go's own memory, row after row, no
// padding. Coordinates are OpenCV's: (0,0) is the centre of the first pixel.
type Plane struct {
	W, H int
	Pix  []uint8
}

// Gray returns the photo's luma (ITU-R BT.601 weights, as JPEG's own and OpenCV's
// BGR2GRAY) as a Plane. Decoded alone (Limits.GrayOnly) it may differ by a grey
// level from what is made of the colours, which were rounded in between.
func (p *Photo) Gray() (Plane, error) {
	if p.Pixels.Channels() == 1 {
		return planeOf(p.Pixels)
	}
	g := p.GrayMat()
	defer g.Close()
	return planeOf(g)
}

// GrayMat is Gray as a Mat of its own, which the caller closes.
func (p *Photo) GrayMat() gocv.Mat {
	if p.Pixels.Channels() == 1 {
		return p.Pixels.Clone()
	}
	g := gocv.NewMat()
	gocv.CvtColor(p.Pixels, &g, gocv.ColorBGRToGray)
	return g
}

func planeOf(g gocv.Mat) (Plane, error) {
	if g.Empty() || g.Type() != gocv.MatTypeCV8UC1 {
		return Plane{}, fmt.Errorf("photo: no 8-bit plane in this picture")
	}
	return Plane{W: g.Cols(), H: g.Rows(), Pix: g.ToBytes()}, nil
}

// Colour is a picture as three planes of one size.
type Colour struct{ B, G, R Plane }

// Colour returns the photo's channels as planes.
func (p *Photo) Colour() (Colour, error) {
	if p.Pixels.Channels() != 3 {
		return Colour{}, errors.New("photo: this one was opened without its colours")
	}
	return coloursOf(p.Pixels)
}

// coloursOf splits a picture of three channels.
func coloursOf(m gocv.Mat) (Colour, error) {
	ch := gocv.Split(m)
	var planes [3]Plane
	var err error
	for i := range ch {
		if i < 3 && err == nil {
			planes[i], err = planeOf(ch[i])
		}
		ch[i].Close()
	}
	return Colour{planes[0], planes[1], planes[2]}, err
}

// Shrink returns the plane reduced so that its long side is at most maxSidePx,
// and the factor by which lengths were multiplied (≤ 1). It is averaged over
// areas; by less than half it is interpolated, which is ten times as fast and
// skips no pixel.
// A point x of the full plane lies at (x+0.5)*k-0.5 of the reduced one.
func (p Plane) Shrink(maxSidePx int) (Plane, float64, error) {
	long := max(p.W, p.H)
	if long <= maxSidePx {
		return p, 1, nil
	}
	k := float64(maxSidePx) / float64(long)
	how := gocv.InterpolationArea
	if k > 0.5 {
		how = gocv.InterpolationLinear
	}
	out, err := p.sized(int(math.Round(float64(p.W)*k)), int(math.Round(float64(p.H)*k)), how)
	return out, k, err
}

// sized is the plane in another size.
func (p Plane) sized(w, h int, how gocv.InterpolationFlags) (Plane, error) {
	m, err := gocv.NewMatFromBytes(p.H, p.W, gocv.MatTypeCV8UC1, p.Pix)
	if err != nil {
		return Plane{}, fmt.Errorf("photo: %w", err)
	}
	defer m.Close()
	s := gocv.NewMat()
	defer s.Close()
	gocv.Resize(m, &s, image.Pt(w, h), 0, 0, how)
	return planeOf(s)
}

// At is the bilinear value at (x, y); outside the picture it is NaN.
func (p Plane) At(x, y float64) float64 {
	x0, y0 := int(math.Floor(x)), int(math.Floor(y))
	if x0 < 0 || y0 < 0 || x0+1 >= p.W || y0+1 >= p.H {
		return math.NaN()
	}
	fx, fy := x-float64(x0), y-float64(y0)
	i := y0*p.W + x0
	a, b := float64(p.Pix[i]), float64(p.Pix[i+1])
	c, d := float64(p.Pix[i+p.W]), float64(p.Pix[i+p.W+1])
	top := a + (b-a)*fx
	return top + ((c+(d-c)*fx)-top)*fy
}
