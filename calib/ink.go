package calib

import (
	"math"
	"sort"
)

// Printed and engraved lines are about as wide on every ruler, whatever they
// count: in spacings a millimetre's is more than twice as wide as a tenth of an
// inch's. So where the picture shows how wide the marks are, they tell the unit.

// lineMM and lineSpread are the width of a ruler's lines and the spread of its
// logarithm: 0.12 to 0.4 mm (common practice, no source). oddLine is the share of
// rulers whose lines are any other width, or were measured wrongly, oddThrough that of
// those through which wires are seen: what is left of wires widens lines.
const (
	lineMM, lineSpread  = 0.22, 0.4
	oddLine, oddThrough = 0.03, 0.2
)

// inkLikelihood is the log likelihood of the marks' width if they are read so, up
// to a constant; 0 where it is not known.
func (r read) inkLikelihood(rd reading) float64 {
	w := r.ladder.inkWidth
	if !(w > 0) {
		return 0
	}
	stepMM := rd.unit.Inches() * 25.4 / float64(rd.divisions)
	odd := oddLine
	if r.through {
		odd = oddThrough
	}
	return math.Log(math.Exp(typical{lineMM, lineSpread}.against(w*stepMM)) + odd)
}

// measureInkWidth measures how wide the marks are, in their spacings: the ink
// across a mark over that of a place that is all ink. A lens's blur spreads light
// and takes none away, so that both are reckoned in light, not in grey levels.
// lengths are the marks' lengths by rung, 0 unknown. NaN where marks stand too near
// each other in the picture, or too little of them is seen.
func (l ladder) measureInkWidth(s strip, lengths []float64) float64 {
	// Under six pixels a mark's blur runs into the next one's.
	const leastSpacing, fewest, reach = 6, 30, 0.45
	if l.periodPx < leastSpacing {
		return math.NaN()
	}
	s = s.inLight()
	half := reach * l.periodPx
	n := int(2*half) + 1
	dx := 2 * half / float64(n)
	var widths, peaks, long []float64
	for i, g := range l.rungs {
		if !g.found || lengths[i] <= 0 || lengths[i] > deepest*l.maxDepth {
			continue
		}
		long = append(long, lengths[i])
		for r := 0; r < s.rows; r++ {
			d := s.d0 + float64(r)*s.step
			if d < l.base[0] || d > math.Min(l.base[1], 0.8*lengths[i]) {
				continue
			}
			row := s.v[r*s.cols : (r+1)*s.cols]
			c := g.along - s.lo + l.shearAt(g.along)*d
			blank := (between(row, c-half) + between(row, c+half)) / 2
			var sum, top float64
			for j := range n {
				v := l.ink(between(row, c-half+dx*(float64(j)+0.5)) - blank)
				sum += v * dx
				top = math.Max(top, v)
			}
			if sum == sum { // not NaN
				widths, peaks = append(widths, sum), append(peaks, top)
			}
		}
	}
	if len(widths) < fewest {
		return math.NaN()
	}
	sort.Float64s(long)
	black := math.Max(l.blackest(s, 2.2*long[len(long)*19/20]), quickSelect(peaks, len(peaks)*9/10))
	const faint = 4 // of 255 parts of white
	if black < faint {
		return math.NaN()
	}
	return median(widths) / black / l.periodPx
}

// inLight is the strip in light, 0 to 255, of grey levels: sRGB's curve is near a
// power of 2.2 (IEC 61966-2-1).
func (s strip) inLight() strip {
	var light [256]float32
	for i := range light {
		light[i] = float32(255 * math.Pow(float64(i)/255, 2.2))
	}
	out := s
	out.v = make([]float32, len(s.v))
	for i, v := range s.v {
		if out.v[i] = v; v == v {
			out.v[i] = light[min(max(int(v+0.5), 0), 255)]
		}
	}
	return out
}

// ink is a difference of light, positive towards the marks' tone.
func (l ladder) ink(v float64) float64 {
	if l.dark {
		return -v
	}
	return v
}

// blackest is how far the ink of marks and figures, down to a depth, stands off
// the face: that of the blackest hundredth of the strip.
func (l ladder) blackest(s strip, deep float64) float64 {
	v := make([]float64, 0, len(s.v))
	for r := 0; r < s.rows; r++ {
		if d := s.d0 + float64(r)*s.step; d < l.base[0] || d > deep {
			continue
		}
		for _, x := range s.v[r*s.cols : (r+1)*s.cols] {
			if x == x {
				v = append(v, l.ink(float64(x)))
			}
		}
	}
	if len(v) == 0 {
		return 0
	}
	return quickSelect(v, len(v)*99/100) - median(v)
}
