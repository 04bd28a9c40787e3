package vision

import (
	"math"
	"sort"

	"dentcount/calib"
)

// signal is a profile on an even grid of the ruler's inches: value i lies at
// u0 + i·du. NaN where nothing was seen.
type signal struct {
	u0, du float64
	v      []float64
}

func (g signal) at(u float64) float64 {
	x := (u - g.u0) / g.du
	j := int(math.Floor(x))
	if j < 0 || j+1 >= len(g.v) {
		return math.NaN()
	}
	return g.v[j] + (g.v[j+1]-g.v[j])*(x-float64(j))
}

// onRuler carries a profile along the edge to an even grid of ruler inches.
func onRuler(prof []float64, lo float64, s calib.Scale, ppi float64) signal {
	return evenly(prof, lo, s.In(s.Lo), s.In(s.Hi), s, ppi)
}

// evenly carries a profile along the edge, which begins at lo px, to an even grid of
// ruler inches from u0 to u1.
func evenly(prof []float64, lo, u0, u1 float64, s calib.Scale, ppi float64) signal {
	du := 1 / (1.5 * ppi)
	n := int((u1-u0)/du) + 1
	g := signal{u0: u0, du: du, v: make([]float64, max(n, 0))}
	for i := range g.v {
		x := s.Along(u0+float64(i)*du) - lo
		j := int(math.Floor(x))
		if j < 0 || j+1 >= len(prof) {
			g.v[i] = math.NaN()
			continue
		}
		g.v[i] = prof[j] + (prof[j+1]-prof[j])*(x-float64(j))
	}
	return g
}

// highPassPlain takes the moving mean over ±half inches off and leaves the
// contrast as it is.
func (g signal) highPassPlain(half float64) signal {
	m := movingMean(g.v, max(1, int(half/g.du)))
	o := signal{u0: g.u0, du: g.du, v: make([]float64, len(g.v))}
	for i, v := range g.v {
		o.v[i] = v - m[i]
	}
	return o
}

// highPass takes the moving mean over ±half inches off, and evens the contrast
// so that a patch of glare does not outweigh the rest.
func (g signal) highPass(half float64) signal {
	o := g.highPassPlain(half)
	sq := make([]float64, len(o.v))
	var all float64
	cnt := 0
	for i, v := range o.v {
		sq[i] = v * v
		if sq[i] == sq[i] {
			all += sq[i]
			cnt++
		}
	}
	if cnt == 0 {
		return o
	}
	all = math.Sqrt(all / float64(cnt))
	local := movingMean(sq, 2*max(1, int(half/g.du)))
	for i := range o.v {
		o.v[i] /= math.Sqrt(local[i]) + 0.3*all + 1e-6
	}
	return o
}

func movingMean(v []float64, k int) []float64 {
	n := len(v)
	sum := make([]float64, n+1)
	cnt := make([]int, n+1)
	for i, x := range v {
		sum[i+1], cnt[i+1] = sum[i], cnt[i]
		if x == x {
			sum[i+1] += x
			cnt[i+1]++
		}
	}
	out := make([]float64, n)
	for i := range v {
		a, b := max(0, i-k), min(n, i+k+1)
		if c := cnt[b] - cnt[a]; c > 0 {
			out[i] = (sum[b] - sum[a]) / float64(c)
		} else {
			out[i] = math.NaN()
		}
	}
	return out
}

// rms is that of a signal about its mean between two places; NaN where it was not
// seen.
func (g signal) rms(from, to float64) float64 {
	var sum, sq, n float64
	for i := max(0, int(math.Ceil((from-g.u0)/g.du))); i < len(g.v) && g.u0+float64(i)*g.du <= to; i++ {
		if v := g.v[i]; v == v {
			sum, sq, n = sum+v, sq+v*v, n+1
		}
	}
	return math.Sqrt(math.Max(sq/n-sum/n*(sum/n), 0))
}

func smoothAt(v []float64, j int) float64 {
	n := len(v)
	return (v[(j-2+n)%n] + v[(j-1+n)%n] + v[j] + v[(j+1)%n] + v[(j+2)%n]) / 5
}

func medianOf(v []float64) float64 {
	c := make([]float64, 0, len(v))
	for _, x := range v {
		if x == x {
			c = append(c, x)
		}
	}
	if len(c) == 0 {
		return math.NaN()
	}
	sort.Float64s(c)
	return c[len(c)/2]
}
