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

// Where marks stand near each other in the picture the strokes of figures are too thin to
// be seen as black as they are, so that marks, whose ink is weighed against theirs, seem
// wider than they are; how much of the face is covered by ink that is black tells more.
const (
	// thinStrokesPx is the spacing under which that is so: of 40 drawn rulers of tenths
	// (seed 5222, 35 to 120 px an inch) eight were taken for millimetres, those that
	// showed the width of their lines at 6 to 9 px a mark.
	thinStrokesPx = 12
	// blackInk is the probability that ink is black, as it nearly always is, and neither
	// worn nor faint: that of four of 31 drawn millimetre scales was.
	blackInk = 0.85
	// faintestInk is how black other ink is at least. Stated, no source.
	faintestInk = 0.15
)

// inkLikelihood is the log likelihood of the marks' width if they are read so, up
// to a constant; 0 where it is not known.
func (r read) inkLikelihood(rd reading) float64 {
	stepMM := rd.unit.Inches() * 25.4 / float64(rd.divisions)
	like := func(w float64) float64 { return math.Exp(typical{lineMM, lineSpread}.against(w * stepMM)) }
	w, share := r.ladder.inkWidth, r.ladder.inkShare
	odd := oddLine
	if r.through || r.ladder.thin {
		odd = oddThrough
	}
	if share > 0 {
		// as wide as black ink would be, or anything up to what it seems to be
		if !(w > 0) {
			w = share / faintestInk
		}
		w = math.Max(w, share)
		const parts = 16
		var any float64
		for i := range parts {
			any += like(share*math.Pow(w/share, (float64(i)+0.5)/parts)) / parts
		}
		return math.Log(blackInk*like(share) + (1-blackInk)*any + oddLine)
	}
	if !(w > 0) {
		return 0
	}
	return math.Log(like(w) + odd)
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

// measureInkShare is how wide the marks of a reading by tens are, in spacings, if their
// ink is black: the share of the face that they cover, which is what the light of the rows
// in which all of them stand lacks to that of the face right past the short ones' ends.
// Blur does not change it. NaN where marks are light, for how light they are is not known,
// or where too little is seen.
func (l ladder) measureInkShare(s strip, rd reading) float64 {
	// Numbers are wide and stand at whole units, the shadows of longer marks beside them.
	const fewest, clear, clearPx, deep = 12, 1.15, 1, 0.6
	short := func(n int) bool {
		p := mod(n-rd.phase, 10)
		return p > 1 && p < 9 && (p < 4 || p > 6)
	}
	if !l.dark {
		return math.NaN()
	}
	var lengths []float64
	for _, g := range l.rungs {
		if g.n >= rd.lo && g.n <= rd.hi && g.found && g.length > 0 && short(g.n) {
			lengths = append(lengths, g.length)
		}
	}
	if len(lengths) < fewest {
		return math.NaN()
	}
	s = s.inLight()
	end := median(lengths)
	marks := [2]float64{l.base[0], math.Max(math.Min(l.base[1], 0.8*end), l.base[0]+s.step)}
	face := [2]float64{clear*end + clearPx, clear*end + clearPx + math.Max(2, deep*l.periodPx)}
	var shares []float64
	for i := 1; i+1 < len(l.rungs); i++ {
		g := l.rungs[i]
		if g.n < rd.lo || g.n > rd.hi || !g.found || !short(g.n) {
			continue
		}
		from, to := (l.rungs[i-1].along+g.along)/2, (g.along+l.rungs[i+1].along)/2
		if lit := l.meanLight(s, from, to, face); lit > 0 {
			shares = append(shares, 1-l.meanLight(s, from, to, marks)/lit)
		}
	}
	if len(shares) < fewest {
		return math.NaN()
	}
	return median(shares)
}

// meanLight is the mean of a strip between two places along the edge and two depths,
// sheared as the marks are.
func (l ladder) meanLight(s strip, from, to float64, depths [2]float64) float64 {
	const parts = 8
	var sum, n float64
	for r := 0; r < s.rows; r++ {
		d := s.d0 + float64(r)*s.step
		if d < depths[0]-1e-9 || d > depths[1] {
			continue
		}
		row := s.v[r*s.cols : (r+1)*s.cols]
		for i := range parts {
			at := from + (to-from)*(float64(i)+0.5)/parts
			if v := between(row, at-s.lo+l.shearAt(at)*d); v == v {
				sum, n = sum+v, n+1
			}
		}
	}
	return sum / n
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
