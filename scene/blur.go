package scene

import "math"

// Three 13-bit values of linear light sit in one word, 21 bits apart, so that
// a filter with weights out of 256 does all three at once: 8191·256 < 2²¹.
const (
	packedWhite = 4095 // a sensor's full white; the rest is headroom for the lens blur
	packedMax   = 8191
	packedLane  = 21
	packedMask  = packedMax | packedMax<<packedLane | packedMax<<(2*packedLane)
	packedOnes  = 1 | 1<<packedLane | 1<<(2*packedLane)
)

func pack(r, g, b float64) uint64 {
	return lane(r) | lane(g)<<packedLane | lane(b)<<(2*packedLane)
}

func lane(v float64) uint64 {
	i := int64(v)
	if uint64(i) > packedMax {
		if v < 0 {
			return 0
		}
		return packedMax
	}
	return uint64(i)
}

// plane is a picture of packed pixels with pad more on every side.
type plane struct {
	pix          []uint64
	stride, rows int
	pad          int
}

func newPlane(w, h, pad int) plane {
	p := plane{stride: w + 2*pad, rows: h + 2*pad, pad: pad}
	p.pix = make([]uint64, p.stride*p.rows)
	return p
}

func (p *plane) row(r int) []uint64 { return p.pix[r*p.stride:][:p.stride] }

// kernel is a Gaussian blur: a short kernel with whole weights out of 256,
// then, for strong blurs, binomial passes with wide steps.
type kernel struct {
	w     []uint64 // w[0] in the middle, w[i] at ±i
	steps []int    // of the binomial passes [1 4 6 4 1]/16, each of variance step²
}

func newKernel(sigma float64) kernel {
	var k kernel
	if sigma <= 0 {
		return kernel{w: []uint64{256}}
	}
	base := math.Min(sigma, 2)
	have, rest := base*base, sigma*sigma-base*base
	for rest >= 1 {
		// A step wider than what is already blurred would leave a comb.
		s := int(math.Min(1.5*math.Sqrt(have), math.Sqrt(rest)))
		k.steps = append(k.steps, s)
		have += float64(s * s)
		rest -= float64(s * s)
	}
	k.w = gaussWeights(base*base + rest)
	return k
}

// gaussWeights are whole weights, 256 together, of the given variance as
// nearly as whole numbers allow.
func gaussWeights(variance float64) []uint64 {
	n := int(math.Ceil(3.2*math.Sqrt(variance))) + 1
	f := make([]float64, n+1)
	// Below half a pixel a sampled Gaussian has too small a variance; make
	// the three middle weights right instead.
	if variance < 0.2 {
		a := math.Round(128 * variance)
		return []uint64{uint64(256 - 2*a), uint64(a)}
	}
	sum := 0.0
	for i := range f {
		f[i] = math.Exp(-float64(i*i) / (2 * variance))
		sum += f[i]
		if i > 0 {
			sum += f[i]
		}
	}
	w := make([]uint64, n+1)
	left := uint64(256)
	v := 0.0
	for i := n; i > 0; i-- {
		w[i] = uint64(math.Round(256 * f[i] / sum))
		left -= 2 * w[i]
		v += 2 * float64(w[i]) * float64(i*i)
	}
	w[0] = left
	// Move pairs between the middle and ±1, 2 variance units each, to mend rounding.
	for v-256*variance > 1 && w[1] > 0 {
		w[1]--
		w[0] += 2
		v -= 2
	}
	for 256*variance-v > 1 && w[0] > 2 {
		w[1]++
		w[0] -= 2
		v += 2
	}
	for len(w) > 1 && w[len(w)-1] == 0 {
		w = w[:len(w)-1]
	}
	return w
}

// padFor is how far beyond the frame pixels are needed for a blur.
func padFor(sigma float64) int {
	k := newKernel(sigma)
	n := len(k.w) - 1
	for _, s := range k.steps {
		n += 2 * s
	}
	return n
}

// across blurs one line; beyond its ends the last pixel is repeated.
func (k *kernel) across(in, out []uint64) {
	r := len(k.w) - 1
	n := len(in)
	if r == 0 {
		copy(out, in)
		return
	}
	const half = 128 * packedOnes
	edge := func(x int) {
		acc := uint64(half) + k.w[0]*in[x]
		for i := 1; i <= r; i++ {
			acc += k.w[i] * (in[max(0, x-i)] + in[min(n-1, x+i)])
		}
		out[x] = acc >> 8 & packedMask
	}
	for x := 0; x < min(r, n); x++ {
		edge(x)
	}
	switch r {
	case 1:
		w0, w1 := k.w[0], k.w[1]
		for x := 1; x < n-1; x++ {
			out[x] = (half + w0*in[x] + w1*(in[x-1]+in[x+1])) >> 8 & packedMask
		}
	case 2:
		w0, w1, w2 := k.w[0], k.w[1], k.w[2]
		for x := 2; x < n-2; x++ {
			out[x] = (half + w0*in[x] + w1*(in[x-1]+in[x+1]) + w2*(in[x-2]+in[x+2])) >> 8 & packedMask
		}
	case 3:
		w0, w1, w2, w3 := k.w[0], k.w[1], k.w[2], k.w[3]
		for x := 3; x < n-3; x++ {
			out[x] = (half + w0*in[x] + w1*(in[x-1]+in[x+1]) + w2*(in[x-2]+in[x+2]) + w3*(in[x-3]+in[x+3])) >> 8 & packedMask
		}
	default:
		for x := r; x < n-r; x++ {
			acc := uint64(half) + k.w[0]*in[x]
			for i := 1; i <= r; i++ {
				acc += k.w[i] * (in[x-i] + in[x+i])
			}
			out[x] = acc >> 8 & packedMask
		}
	}
	for x := max(min(r, n), n-r); x < n; x++ {
		edge(x)
	}
}

// down blurs along columns: row y of the photo into out, len(out) pixels from
// the photo's left edge on.
func (k *kernel) down(p *plane, y int, out []uint64) {
	const half = 128 * packedOnes
	r := len(k.w) - 1
	line := func(i int) []uint64 { return p.row(y + p.pad + i)[p.pad:][:len(out)] }
	mid := line(0)
	w0 := k.w[0]
	if r == 0 {
		copy(out, mid)
		return
	}
	a, b := line(-1), line(1)
	w1 := k.w[1]
	if r == 1 {
		for x := range out {
			out[x] = (half + w0*mid[x] + w1*(a[x]+b[x])) >> 8 & packedMask
		}
		return
	}
	c, e := line(-2), line(2)
	w2 := k.w[2]
	if r == 2 {
		for x := range out {
			out[x] = (half + w0*mid[x] + w1*(a[x]+b[x]) + w2*(c[x]+e[x])) >> 8 & packedMask
		}
		return
	}
	for x := range out {
		out[x] = half + w0*mid[x] + w1*(a[x]+b[x]) + w2*(c[x]+e[x])
	}
	for i := 3; i <= r; i++ {
		a, b, w := line(-i), line(i), k.w[i]
		for x := range out {
			out[x] += w * (a[x] + b[x])
		}
	}
	for x := range out {
		out[x] = out[x] >> 8 & packedMask
	}
}

// spread runs the wide passes, over the whole plane.
func (k *kernel) spread(p plane) plane {
	if len(k.steps) == 0 {
		return p
	}
	const half = 8 * packedOnes
	q := plane{pix: make([]uint64, len(p.pix)), stride: p.stride, rows: p.rows, pad: p.pad}
	for _, s := range k.steps {
		inParallel(p.rows, func(lo, hi int) {
			n := p.stride
			for r := lo; r < hi; r++ {
				in, out := p.row(r), q.row(r)
				for x := range out {
					a, b := in[max(0, x-s)], in[min(n-1, x+s)]
					c, d := in[max(0, x-2*s)], in[min(n-1, x+2*s)]
					out[x] = (half + 6*in[x] + 4*(a+b) + c + d) >> 4 & packedMask
				}
			}
		})
		inParallel(p.rows, func(lo, hi int) {
			line := func(r int) []uint64 { return q.row(max(0, min(q.rows-1, r))) }
			for r := lo; r < hi; r++ {
				m, a, b, c, d := line(r), line(r-s), line(r+s), line(r-2*s), line(r+2*s)
				out := p.row(r)
				for x := range out {
					out[x] = (half + 6*m[x] + 4*(a[x]+b[x]) + c[x] + d[x]) >> 4 & packedMask
				}
			}
		})
	}
	return p
}
