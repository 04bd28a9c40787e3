package scene

import (
	"fmt"
	"image"
	"math"
	"strconv"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomedium"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// fonts are the faces a ruler's digits may be printed in, by Ruler.Font.
var fonts = [][]byte{goregular.TTF, gobold.TTF, gomedium.TTF, gomono.TTF}

const (
	glyphPx     = 64 // height of a glyph's cell at the finest level
	glyphDigit  = 46 // height of a digit in it
	glyphLevels = 5
	glyphChars  = "0123456789cmin"
)

// glyphs holds coverage pictures of the characters printed on rulers, each at
// several sizes, each half the one before.
type glyphs struct {
	advance [len(glyphChars)]float64 // over a digit's height
	level   [glyphLevels][len(glyphChars)][]float32
}

func newGlyphs(which int) (*glyphs, error) {
	if which < 0 || which >= len(fonts) {
		return nil, bad("a ruler asks for font %d; give 0 to %d", which, len(fonts)-1)
	}
	f, err := opentype.Parse(fonts[which])
	if err != nil {
		return nil, fmt.Errorf("scene: the built-in font %d cannot be read: %w", which, err)
	}
	// Digits of these faces are 0.72 of the size high.
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: glyphDigit / 0.72, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		return nil, fmt.Errorf("scene: the built-in font %d cannot be set: %w", which, err)
	}
	defer face.Close()
	g := new(glyphs)
	for i, ch := range glyphChars {
		img := image.NewAlpha(image.Rect(0, 0, glyphPx, glyphPx))
		adv, _ := face.GlyphAdvance(ch)
		d := font.Drawer{Dst: img, Src: image.Opaque, Face: face}
		d.Dot = fixed.Point26_6{X: fixed.I(glyphPx)/2 - adv/2, Y: fixed.I((glyphPx + glyphDigit) / 2)}
		d.DrawString(string(ch))
		g.advance[i] = float64(adv) / 64 / glyphDigit
		base := make([]float32, glyphPx*glyphPx)
		for j, a := range img.Pix {
			base[j] = float32(a) / 255
		}
		g.level[0][i] = base
		for l, n := 1, glyphPx/2; l < glyphLevels; l, n = l+1, n/2 {
			up := g.level[l-1][i]
			down := make([]float32, n*n)
			for y := range n {
				for x := range n {
					down[y*n+x] = (up[2*y*2*n+2*x] + up[2*y*2*n+2*x+1] + up[(2*y+1)*2*n+2*x] + up[(2*y+1)*2*n+2*x+1]) / 4
				}
			}
			g.level[l][i] = down
		}
	}
	return g, nil
}

// sample is the coverage of character i at (u, v), both over a digit's height,
// from the middle of the character's cell, v up; w is the filter's width.
func (g *glyphs) sample(i int, u, v, w float64) float64 {
	l := 0
	for t := w * glyphDigit; t > 1.5 && l < glyphLevels-1; t /= 2 {
		l++
	}
	n := glyphPx >> l
	k := float64(glyphDigit) / float64(int(1)<<l)
	x, y := u*k+float64(n)/2-0.5, -v*k+float64(n)/2-0.5
	fx, fy := math.Floor(x), math.Floor(y)
	ix, iy := int(fx), int(fy)
	if ix < 0 || iy < 0 || ix >= n-1 || iy >= n-1 {
		return 0
	}
	a := float32(x - fx)
	p := g.level[l][i][iy*n+ix:]
	top := p[0] + (p[1]-p[0])*a
	bot := p[n] + (p[n+1]-p[n])*a
	return float64(top + (bot-top)*float32(y-fy))
}

// word is a printed number or unit: its characters and its width.
type word struct {
	chars []uint8
	width float64 // over a digit's height
}

func (g *glyphs) word(text string) word {
	var w word
	for _, ch := range text {
		for i, c := range glyphChars {
			if c == ch {
				w.chars = append(w.chars, uint8(i))
				w.width += g.advance[i]
			}
		}
	}
	return w
}

func (g *glyphs) number(n int) word { return g.word(strconv.Itoa(n)) }

// at is the word's coverage at (u, v) from its middle, over a digit's height.
func (g *glyphs) at(w word, u, v, filter float64) float64 {
	if math.Abs(v) > 0.5+filter || math.Abs(u) > w.width/2+filter {
		return 0
	}
	left := -w.width / 2
	c := 0.0
	for _, ch := range w.chars {
		adv := g.advance[ch]
		if u > left-filter && u < left+adv+filter {
			c = max(c, g.sample(int(ch), u-left-adv/2, v, filter))
		}
		left += adv
	}
	return c
}
