package vision

import (
	"math"
	"math/cmplx"
)

// waves is how far bands wander off straight lines, as a share of their spacing: the
// wires of a reed are straight, the ribs of a cloth are not quite. In each window the
// phase of the bands' tone is followed away from the marked edge. What a parabola
// leaves of it, which lenses and a lean that is a little off make of straight bands, is
// held against what it leaves in the next zone: noise is another in each and cancels,
// waves do not. NaN where too little of the bands is seen.
//
// Slots have walls, which show from anywhere to anywhere and turn the phase, too.
func (m fieldMap) waves(sides []fieldSide) float64 {
	const leastIn, fewest = 0.5, 2
	var squares []float64
	for j := range m.zones {
		var sum, n float64
		for _, o := range sides {
			at, turned := m.phases(j, o)
			if float64(len(at))*fieldZoneIn < leastIn {
				continue
			}
			rest := offParabola(at, turned)
			for k := 1; k < len(rest); k++ {
				sum += rest[k-1] * rest[k]
				n++
			}
		}
		if n > 0 {
			squares = append(squares, sum/n)
		}
	}
	if len(squares) < fewest {
		return math.NaN()
	}
	return math.Sqrt(math.Max(medianOf(squares), 0))
}

// phases are the phases of a window's tone in the zones of a side in which its bands
// are seen, in spacings.
func (m fieldMap) phases(j int, o fieldSide) (at, turned []float64) {
	start := m.edge - 2
	if o.dir > 0 {
		if start = m.behind(j); start < 0 {
			return nil, nil
		}
	}
	end, _ := m.follow(j, start, o.dir)
	var last complex128
	phase := 0.0
	for i := min(start, end); i <= max(start, end); i++ {
		if !m.banded(j, i) || m.zones[j][i].one == 0 {
			continue
		}
		z := m.zones[j][i].one
		if last != 0 {
			phase += cmplx.Phase(z*cmplx.Conj(last)) / (2 * math.Pi)
		}
		last = z
		at, turned = append(at, float64(i-m.edge)), append(turned, phase)
	}
	return at, turned
}

// offParabola is what the least-squares parabola leaves of y over x.
func offParabola(x, y []float64) []float64 {
	rest := append([]float64(nil), y...)
	takeOff := func(v, from []float64) {
		var vf, ff float64
		for i := range v {
			vf, ff = vf+v[i]*from[i], ff+from[i]*from[i]
		}
		if ff == 0 {
			return
		}
		for i := range v {
			v[i] -= vf / ff * from[i]
		}
	}
	// By powers made square to each other over the places, one after the other.
	mid := x[len(x)/2]
	var powers [][]float64
	for p := range 3 {
		b := make([]float64, len(x))
		for i := range b {
			b[i] = math.Pow(x[i]-mid, float64(p))
		}
		for _, o := range powers {
			takeOff(b, o)
		}
		takeOff(rest, b)
		powers = append(powers, b)
	}
	return rest
}
