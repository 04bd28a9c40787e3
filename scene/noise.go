package scene

import (
	"math/rand/v2"
)

// stream is an independent source of random numbers for one purpose of one
// scene, so that a change in one purpose leaves the others as they were.
func stream(seed, purpose uint64) *rand.Rand {
	return rand.New(rand.NewPCG(seed, purpose*0x9e3779b97f4a7c15+1))
}

// What streams are for.
const (
	forRandom = iota + 1
	forWires
	forTable
	forRuler
	forMarks
	forNoise
	forChroma
	forStrands
	forPart
	forRetake
)

const (
	tileSize = 256
	tileMask = tileSize - 1
	tileLast = tileSize*tileSize - 1
)

// tile is a square of smooth noise in [0, 1] that repeats without a seam.
type tile struct {
	v [tileSize * tileSize]float32
}

// newTile sums octaves of value noise, the first with `cells` cells across the
// tile (a power of two), each next one with twice as many and `fall` the height.
func newTile(rng *rand.Rand, cells, octaves int, fall float64) *tile {
	t := new(tile)
	height, total := 1.0, 0.0
	for ; octaves > 0 && cells <= tileSize; octaves-- {
		t.addOctave(rng, cells, float32(height))
		total += height
		height *= fall
		cells *= 2
	}
	// Sums of octaves bunch around one half; spread them again.
	inv := float32(1 / total)
	for i, v := range t.v {
		t.v[i] = clamp32((v*inv-0.5)*1.6+0.5, 0, 1)
	}
	return t
}

// grains are a scene's tiles, shared by all its surfaces, each of which looks
// at them from another place.
type grains struct {
	coarse *tile // big blotches
	mid    *tile
	fine   *tile
}

func newGrains(seed uint64) *grains {
	return &grains{
		coarse: newTile(stream(seed, forTable), 8, 4, 0.5),
		mid:    newTile(stream(seed, forRuler), 16, 5, 0.65),
		fine:   newTile(stream(seed, forTable+100), 64, 3, 0.7),
	}
}

func (t *tile) addOctave(rng *rand.Rand, cells int, height float32) {
	grid := make([]float32, cells*cells)
	for i := range grid {
		grid[i] = rng.Float32() * height
	}
	step := tileSize / cells
	ease := make([]float32, step)
	for i := range ease {
		f := float32(i) / float32(step)
		ease[i] = f * f * (3 - 2*f)
	}
	for y := range tileSize {
		gy, fy := y/step, ease[y%step]
		r0, r1 := grid[gy*cells:][:cells], grid[(gy+1)%cells*cells:][:cells]
		row := t.v[y*tileSize:][:tileSize]
		for gx := range cells {
			gx1 := (gx + 1) % cells
			a := r0[gx] + (r1[gx]-r0[gx])*fy
			b := r0[gx1] + (r1[gx1]-r0[gx1])*fy
			for i, f := range ease {
				row[gx*step+i] += a + (b-a)*f
			}
		}
	}
}

// tileFar, a multiple of the tile's size, makes coordinates positive, so that
// cutting off their fraction rounds down.
const tileFar = 1 << 24

// at is the noise at (x, y) in cells of the tile's own grid, smoothed between
// them, for |x| and |y| below tileFar.
func (t *tile) at(x, y float64) float64 {
	x, y = x+tileFar, y+tileFar
	ix, iy := int(x), int(y)
	u, v := float32(x-float64(ix)), float32(y-float64(iy))
	x0, x1 := ix&tileMask, (ix+1)&tileMask
	r0, r1 := (iy&tileMask)*tileSize, ((iy+1)&tileMask)*tileSize
	a, b := t.v[(r0+x0)&tileLast], t.v[(r1+x0)&tileLast]
	a += (t.v[(r0+x1)&tileLast] - a) * u
	b += (t.v[(r1+x1)&tileLast] - b) * u
	return float64(a + (b-a)*v)
}

// rough is the noise at the nearest cell: the quick choice where the grain is
// finer than a pixel.
func (t *tile) rough(x, y float64) float64 {
	ix, iy := int(x+tileFar), int(y+tileFar)
	return float64(t.v[(iy&tileMask*tileSize+ix&tileMask)&tileLast])
}

func clamp32(v, lo, hi float32) float32 { return max(lo, min(hi, v)) }

func clamp(v, lo, hi float64) float64 {
	if v < lo {
		return lo
	}
	if v > hi {
		return hi
	}
	return v
}

// smooth is 0 below a, 1 above b, and eased between.
func smooth(a, b, v float64) float64 {
	t := clamp((v-a)/(b-a), 0, 1)
	return t * t * (3 - 2*t)
}

// covered is the share of the interval of width w around x that lies in [a, b].
func covered(x, w, a, b float64) float64 {
	// Plain comparisons: max and min would also look for NaN and signed zero.
	lo, hi := x-w/2, x+w/2
	if lo < a {
		lo = a
	}
	if hi > b {
		hi = b
	}
	if hi <= lo {
		return 0
	}
	return (hi - lo) / w
}

// bump is 1 at 0 and falls off smoothly, like a Gaussian but cheaper.
func bump(t float64) float64 {
	d := 1 + 0.5*t*t
	return 1 / (d * d)
}

// rgb is RGB for the inner loops: unlike an array, the compiler keeps a small
// struct in registers.
type rgb struct{ r, g, b float64 }

func (c RGB) lin() rgb { return rgb{c[0], c[1], c[2]} }

func grey(v float64) rgb { return rgb{v, v, v} }

func mix(a, b rgb, t float64) rgb {
	return rgb{a.r + (b.r-a.r)*t, a.g + (b.g-a.g)*t, a.b + (b.b-a.b)*t}
}

func (c rgb) times(k float64) rgb { return rgb{c.r * k, c.g * k, c.b * k} }

func (c rgb) plus(d rgb) rgb { return rgb{c.r + d.r, c.g + d.g, c.b + d.b} }
