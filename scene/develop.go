package scene

import (
	"image"
	"math"
)

// Luma is carried in sixteenths of an 8-bit step until it is rounded.
const lumaOne = 16

// develop turns blurred light into the stored picture: tone curve, noise,
// halved colour, sharpening.
func develop(spec Spec, p plane, k kernel) *image.YCbCr {
	w, h := spec.Width, spec.Height
	sn := spec.Sensor
	img := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	tone := toneTable(sn)
	luma := make([]int16, w*h)
	ns := newNoise(spec)
	inParallel((h+1)/2, func(lo, hi int) {
		l0, l1 := make([]uint64, w), make([]uint64, w)
		for r := lo; r < hi; r++ {
			y0, y1 := 2*r, min(2*r+1, h-1)
			k.down(&p, y0, l0)
			k.down(&p, y1, l1)
			cb, cr := img.Cb[r*img.CStride:], img.Cr[r*img.CStride:]
			a, b := luma[y0*w:][:w], luma[y1*w:][:w]
			for x := 0; x < w; x += 2 {
				x1 := min(x+1, w-1)
				u0, v0 := toLuma(tone, l0[x], &a[x])
				u1, v1 := toLuma(tone, l0[x1], &a[x1])
				u2, v2 := toLuma(tone, l1[x], &b[x])
				u3, v3 := toLuma(tone, l1[x1], &b[x1])
				nb, nr := ns.chroma(x>>1, r)
				cb[x>>1] = byteOf((u0+u1+u2+u3)/4 + nb + 128*lumaOne)
				cr[x>>1] = byteOf((v0+v1+v2+v3)/4 + nr + 128*lumaOne)
			}
			ns.luma(a, y0)
			if y1 > y0 {
				ns.luma(b, y1)
			}
		}
	})
	sharpen(luma, w, h, sn.Sharpen, sn.SharpenRadius, img)
	return img
}

// toneTable maps 13-bit linear light to sixteenths of 8-bit sRGB.
func toneTable(sn Sensor) *[packedMax + 1]int16 {
	t := new([packedMax + 1]int16)
	k := sn.Shoulder
	if k <= 0 || k > 1 {
		k = 1
	}
	for i := range t {
		t[i] = int16(math.Round(255 * lumaOne * sn.tone(float64(i)/packedWhite, k)))
	}
	return t
}

// tone is the display value, 0 to 1, of linear light.
func (sn Sensor) tone(v, shoulder float64) float64 {
	if v > shoulder {
		if shoulder >= 1 {
			v = 1
		} else {
			v = shoulder + (1-shoulder)*(1-math.Exp(-(v-shoulder)/(1-shoulder)))
		}
	}
	g := srgb(v)
	return clamp(g+sn.Contrast*g*(1-g)*(2*g-1), 0, 1)
}

// srgb is the sRGB transfer function, IEC 61966-2-1.
func srgb(v float64) float64 {
	if v <= 0.0031308 {
		return 12.92 * v
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// toLuma splits a packed pixel into luma, stored, and the two colour
// differences of JPEG (ITU-R BT.601), without their offset.
func toLuma(tone *[packedMax + 1]int16, p uint64, y *int16) (cb, cr int32) {
	r := int32(tone[p&packedMax])
	g := int32(tone[p>>packedLane&packedMax])
	b := int32(tone[p>>(2*packedLane)&packedMax])
	*y = int16((19595*r + 38470*g + 7471*b + 1<<15) >> 16)
	return (-11056*r - 21712*g + 32768*b) >> 16, (32768*r - 27440*g - 5328*b) >> 16
}

func byteOf(v int32) uint8 {
	v = (v + lumaOne/2) / lumaOne
	return uint8(max(0, min(255, v)))
}

// grain is the noise of one photo: a tile of standard normal grain and how
// strong it is at each brightness.
type grain struct {
	tile     []int16 // 1/256 of a standard deviation
	strength [256]int32
	chromaBy int32
}

const (
	grainBits = 9
	grainMask = 1<<grainBits - 1
)

func newNoise(spec Spec) *grain {
	sn := spec.Sensor
	g := &grain{chromaBy: int32(sn.ChromaNoise * lumaOne)}
	any := sn.ChromaNoise > 0
	for i := range g.strength {
		// Noise arises in linear light; the tone curve stretches it.
		v := math.Max(0.0005, inverseSRGB((float64(i)+0.5)/256))
		sd := math.Sqrt(sn.ReadNoise*sn.ReadNoise + sn.ShotNoise*v)
		slope := (srgb(v*1.01) - srgb(v*0.99)) / (0.02 * v)
		g.strength[i] = int32(sd * slope * 255 * lumaOne)
		any = any || g.strength[i] > 0
	}
	if !any {
		return g
	}
	rng := stream(spec.Seed, forNoise)
	const n = 1 << grainBits
	white := make([]float32, n*n)
	for i := range white {
		white[i] = float32(rng.NormFloat64())
	}
	// A phone's own noise filter leaves neighbouring pixels alike.
	g.tile = make([]int16, n*n)
	for y := range n {
		for x := range n {
			at := func(dx, dy int) float32 { return white[((y+dy)&grainMask)<<grainBits|(x+dx)&grainMask] }
			v := at(0, 0) + 0.35*(at(1, 0)+at(-1, 0)+at(0, 1)+at(0, -1))
			g.tile[y<<grainBits|x] = int16(256 * 0.819 * v)
		}
	}
	return g
}

func inverseSRGB(g float64) float64 {
	if g <= 0.04045 {
		return g / 12.92
	}
	return math.Pow((g+0.055)/1.055, 2.4)
}

func (g *grain) luma(line []int16, y int) {
	if g.tile == nil {
		return
	}
	for x0 := 0; x0 < len(line); x0 += 1 << grainBits {
		// Each block of the tile is taken from elsewhere, so that no column repeats.
		b := x0 >> grainBits
		row := g.tile[(y+b*197)&grainMask<<grainBits:][:1<<grainBits]
		off := y >> grainBits * 271
		part := line[x0:min(len(line), x0+1<<grainBits)]
		for i, v := range part {
			s := g.strength[max(0, min(255, int(v)/lumaOne))]
			part[i] = v + int16(int32(row[(i+off)&grainMask])*s>>8)
		}
	}
}

func (g *grain) chroma(x, y int) (cb, cr int32) {
	if g.chromaBy == 0 {
		return 0, 0
	}
	i := (y+131)&grainMask<<grainBits | (x+57)&grainMask
	j := (y+400)&grainMask<<grainBits | (x+301)&grainMask
	return int32(g.tile[i]) * g.chromaBy >> 8, int32(g.tile[j]) * g.chromaBy >> 8
}

// sharpen adds by times what a small binomial blur takes away, and rounds.
func sharpen(luma []int16, w, h int, by float64, radius int, img *image.YCbCr) {
	amount := int32(math.Round(by * 256))
	inParallel(h, func(lo, hi int) {
		sums := make([]int32, w+4)
		for y := lo; y < hi; y++ {
			out := img.Y[y*img.YStride:][:w]
			mid := luma[y*w:][:w]
			if amount == 0 {
				for x, v := range mid {
					out[x] = byteOf(int32(v))
				}
				continue
			}
			line := func(i int) []int16 { return luma[max(0, min(h-1, y+i))*w:][:w] }
			a, b := line(-1), line(1)
			in := sums[2 : w+2]
			if radius >= 2 {
				c, d := line(-2), line(2)
				for x := range in {
					in[x] = int32(c[x]) + int32(d[x]) + 4*(int32(a[x])+int32(b[x])) + 6*int32(mid[x])
				}
			} else {
				for x := range in {
					in[x] = 4 * (int32(a[x]) + int32(b[x]) + 2*int32(mid[x]))
				}
			}
			sums[1], sums[0] = in[0], in[0]
			sums[w+2], sums[w+3] = in[w-1], in[w-1]
			for x, v := range mid {
				s := sums[x:][:5]
				var m int32
				if radius >= 2 {
					m = (s[0] + s[4] + 4*(s[1]+s[3]) + 6*s[2]) >> 8
				} else {
					m = (s[1] + s[3] + 2*s[2]) >> 6
				}
				out[x] = byteOf(int32(v) + amount*(int32(v)-m)>>8)
			}
		}
	})
}
