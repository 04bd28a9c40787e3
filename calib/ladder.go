package calib

import (
	"math"
	"sort"

	"dentcount/photo"
)

// rung is one place of the ladder's lattice: a mark, or a gap where one was
// expected.
type rung struct {
	n      int     // whole number of lattice steps from the first
	along  float64 // px, at the tick line
	resp   float64 // strength of the mark, grey levels
	found  bool
	length float64 // px, how far the mark runs into the ruler
	ink    float64 // how much is printed past the marks' ends hereabouts, as slopes; NaN unknown
	tone   float64 // the same as how much more of the marks' tone it is than most places; NaN unknown
}

// ladder is an equally spaced row of marks along an edge.
type ladder struct {
	frame    Frame
	rungs    []rung
	periodPx float64 // typical spacing
	readPx   float64 // the same in px of the picture that was read, whatever scaled says; 0 unknown
	dark     bool    // marks darker than the ruler
	shear    [2]float64
	shearU   float64    // standard uncertainty of the lean in the middle of the marks; 0 unknown
	base     [2]float64 // depths at which every mark is seen, px
	maxDepth float64
	stepPx   float64 // between the depths at which marks are looked at
	filled   float64 // share of lattice places with a mark
	contrast float64 // typical strength, grey levels
	inkWidth float64 // of a mark, in spacings; NaN unknown
	inkShare float64 // the same if ink is black, see measureInkShare; NaN unknown
	thin     bool    // marks stand so near each other that the strokes of figures are thin
	figure   float64 // how tall figures are, in spacings; NaN unknown
	outside  float64 // contrast just outside of the edge, in parts of that at the base
	between  float64 // contrast of what stands halfway between the marks, likewise
	alike    int     // how many marks' lengths were measured as one, see measureFolded
}

// shearAt is the marks' lean, along px per depth px, at a position.
func (l ladder) shearAt(along float64) float64 { return l.shear[0] + l.shear[1]*along/1000 }

// readLadder reads every mark along the frame, starting from a comb seen there.
// ok is false where no ladder stands.
func readLadder(p photo.Plane, f Frame, c comb) (l ladder, ok bool) {
	T := c.periodPx
	lo, hi := f.Inside(p, f.Lo-4*T, f.Hi+4*T, 0, 2)
	if hi-lo < 6*T {
		return l, false
	}
	near := math.Min(math.Max(3*T+8, 16), 160)
	s := sampleStrip(p, f, lo, hi, -2, near, math.Max(1, near/50))
	if s.cols == 0 {
		return l, false
	}
	best := math.Inf(-1)
	for _, base := range basesOf(s, c) {
		if ok && best > clearScore {
			break
		}
		if q, score, fine := readBase(p, f, s, c, base); fine && (!ok || score > best) {
			l, ok, best = q, true, score
		}
	}
	return l, ok
}

// basesOf are the depths at which marks are looked for: those at which their comb is
// strongest and, where these lie nearer to the edge than it was seen, so that it may
// be what bleeds over the edge, or deeper, so that it may be figures, those at which
// it was.
func basesOf(s strip, c comb) [][2]float64 {
	out := [][2]float64{combDepths(s, c)}
	if out[0][1] <= c.depth[0] || out[0][0] >= c.depth[1] {
		out = append(out, [2]float64{c.depth[0], math.Max(c.depth[1], c.depth[0]+1)})
	}
	return out
}

// readBase is what is read of a comb's marks where they are looked for between two
// depths in a strip along the frame, and the score of its best reading.
func readBase(p photo.Plane, f Frame, s strip, c comb, base [2]float64) (l ladder, best float64, ok bool) {
	T := c.periodPx
	lo, hi := s.lo, s.lo+float64(s.cols-1)
	prof := s.profile(base[0], base[1])
	var tracks [2]tracked
	for i, dark := range [2]bool{true, false} {
		tracks[i].dark = dark
		r := markResponse(prof, T, dark)
		if len(c.teeth) > 0 {
			tracks[i].rungs, tracks[i].quality = trackTeeth(r, lo, c.teeth, dark)
		} else {
			tracks[i].rungs, tracks[i].quality = track(r, lo, c.center, T)
		}
	}
	if tracks[1].quality > tracks[0].quality {
		tracks[0], tracks[1] = tracks[1], tracks[0]
	}
	// Between fine marks the blank ruler looks like marks, too: which of the two
	// they are, their lengths tell.
	best = math.Inf(-1)
	for _, t := range tracks {
		if t.quality < leastRival*tracks[0].quality || ok && (best > clearScore || T > fineMarksPx) {
			break
		}
		q := ladder{frame: f, base: base, rungs: steadied(t.rungs, prof, lo, T, t.dark), dark: t.dark}
		score, fine := q.measure(p, lo, hi, T)
		if fine && (!ok || score > best) {
			l, ok, best = q, true, score
		}
	}
	return l, best, ok
}

// tracked is a lattice that was followed as dark or as light marks.
type tracked struct {
	rungs   []rung
	dark    bool
	quality float64
}

const (
	// fineMarksPx is the spacing under which marks and the blanks between them are
	// about equally wide in the picture.
	fineMarksPx = 8
	// leastRival is how much of the better one's quality the other must have to be
	// looked at, clearScore the score of a reading from which on it is not.
	leastRival = 0.6
	clearScore = 25
)

// measure measures the marks that were tracked between lo and hi, at about T
// apart, and says the score of their best reading; ok is false where they are no
// ladder.
func (l *ladder) measure(p photo.Plane, lo, hi, T float64) (score float64, ok bool) {
	if len(l.rungs) < 10 {
		return 0, false
	}
	l.summarise()
	if l.filled < 0.55 || l.contrast < leastContrast || l.unevenness() > mostUneven {
		return 0, false
	}
	l.readPx = l.periodPx
	l.maxDepth = math.Max(math.Min(18*T, deepestMarksPx), 24)
	a0, a1 := l.rungs[0].along-T, l.rungs[len(l.rungs)-1].along+T
	// The base must hold a row: by what marks are like there it is told where they end.
	l.stepPx = math.Max(1, min(l.maxDepth/100, 0.1*T, l.base[1]-l.base[0]))
	step := l.stepPx
	out := 2 + step*math.Ceil(math.Max(2, 0.6*T-2)/step)
	s := sampleStrip(p, l.frame, math.Max(lo, math.Floor(a0)), math.Min(hi, a1), -out, l.maxDepth, step)
	l.findShear(s)
	ways := l.measureLengths(s)
	first, last := l.markedStretch(ways[0])
	l.inkWithin(s, first, last, ways[0])
	score = l.chooseLengths(s, ways)
	l.inkWidth, l.inkShare, l.figure = math.NaN(), math.NaN(), math.NaN()
	l.thin = l.periodPx < thinStrokesPx
	// of what is no ruler nothing more is asked
	var readings []reading
	if score > 0 {
		readings = decode(*l)
		lo, hi := readings[0].lo, readings[0].hi
		if known := lo == first && hi == last; !known && l.inkWithin(s, lo, hi, ways[0]) {
			readings = decode(*l)
			score = bestScore(readings)
		}
	}
	if score > 0 {
		l.inkWidth = l.measureInkWidth(s, ways[0])
		if rd := readings[0]; rd.byTen() {
			if l.thin {
				l.inkShare = l.measureInkShare(s, rd)
			}
			l.figure = l.measureFigures(s, rd)
		}
	}
	from, to := l.rungs[0].n, l.rungs[len(l.rungs)-1].n
	if len(readings) > 0 {
		from, to = readings[0].lo, readings[0].hi
	}
	l.outside, l.between = l.seenOutside(s, from, to), l.seenBetween(s, from, to)
	return score, true
}

// What is no row of marks, told before its marks are measured. The faintest and
// most uneven ladders read on practice photos had a contrast of 5 grey levels
// and lay 0.08 spacings off; noise lies about a grey level and 0.1 to 0.2.
const (
	leastContrast = 1.5
	mostUneven    = 0.13
)

// deepestMarksPx is how deep marks and what is printed past them are followed at most.
const deepestMarksPx = 330

// unevenness is how far a mark typically lies from the middle between its
// neighbours, in spacings; 0 where no three marks stand in a row.
func (l *ladder) unevenness() float64 {
	var off []float64
	for i := 1; i+1 < len(l.rungs); i++ {
		a, b, c := l.rungs[i-1], l.rungs[i], l.rungs[i+1]
		if a.found && b.found && c.found {
			off = append(off, math.Abs(b.along-(a.along+c.along)/2)/l.periodPx)
		}
	}
	if len(off) == 0 {
		return 0
	}
	return median(off)
}

// usualLength is how far most marks run into the ruler, px; infinite where none was
// measured.
func (l ladder) usualLength() float64 {
	var px []float64
	for _, r := range l.rungs {
		if r.found && r.length > 0 {
			px = append(px, r.length)
		}
	}
	if len(px) == 0 {
		return math.Inf(1)
	}
	return median(px)
}

// nearer is for every rung how much larger things are seen there than in the middle
// of the ladder, from the marks' spacing: along a plane that recedes lengths across
// go by the root of it.
func (l ladder) nearer() []float64 {
	const reach, fewest, most = 12, 6, 1.25
	out := make([]float64, len(l.rungs))
	xs, ys := make([]float64, 0, 2*reach+1), make([]float64, 0, 2*reach+1)
	for i := range l.rungs {
		xs, ys = xs[:0], ys[:0]
		for j := max(0, i-reach); j <= min(len(l.rungs)-1, i+reach); j++ {
			if l.rungs[j].found {
				xs, ys = append(xs, float64(l.rungs[j].n)), append(ys, l.rungs[j].along)
			}
		}
		out[i] = 1
		if len(xs) >= fewest {
			_, spacing := straightLine(xs, ys)
			out[i] = min(max(math.Sqrt(math.Max(spacing/l.periodPx, 0)), 1/most), most)
		}
	}
	return out
}

// scaled is the ladder in px k times as fine.
func (l ladder) scaled(k float64) ladder {
	if k == 1 {
		return l
	}
	l.frame = scaleFrame(l.frame, k)
	l.rungs = append([]rung(nil), l.rungs...)
	for i := range l.rungs {
		l.rungs[i].along *= k
		l.rungs[i].length *= k
	}
	l.periodPx *= k
	l.shear[1] /= k
	l.base[0] *= k
	l.base[1] *= k
	l.maxDepth *= k
	l.stepPx *= k
	return l
}

// shiftTo is what has to be added to a rung's number in l to get its number in
// m, another reading of the same marks; same is false where they are not.
func (l ladder) shiftTo(m ladder) (shift int, same bool) {
	if math.Abs(m.periodPx/l.periodPx-1) > 0.02 {
		return 0, false
	}
	votes := map[int]int{}
	found, j := 0, 0
	for _, r := range l.rungs {
		if !r.found {
			continue
		}
		found++
		for j+1 < len(m.rungs) && math.Abs(m.rungs[j+1].along-r.along) < math.Abs(m.rungs[j].along-r.along) {
			j++
		}
		if q := m.rungs[j]; q.found && math.Abs(q.along-r.along) < 0.25*l.periodPx {
			votes[q.n-r.n]++
		}
	}
	for d, n := range votes {
		if 4*n > 3*found {
			return d, true
		}
	}
	return 0, false
}

// combDepths finds the depths at which the comb of period c.periodPx is
// strongest: from just inside the edge to about the length of the shortest marks.
func combDepths(s strip, c comb) [2]float64 {
	T := c.periodPx
	// Local demodulation at the comb's frequency in a window around its centre;
	// the period there is known to a few percent only, so a few are tried.
	half := math.Max(6*T, 60)
	a0 := max(0, int(c.center-half-s.lo))
	a1 := min(s.cols-1, int(c.center+half-s.lo))
	amp := make([]float64, s.rows)
	for _, k := range [5]float64{0.97, 0.985, 1, 1.015, 1.03} {
		s.addAmplitude(amp, a0, a1, T*k)
	}
	sm := boxSmooth(amp, 1)
	// Near where the comb was seen: at other depths what has about its period may
	// be wires that bleed over the edge, or what lies past the ruler's other edge.
	lo, hi := 0.6*c.depth[0], 1.4*c.depth[1]+1
	top, ti := 0.0, 0
	for r := 0; r < s.rows; r++ {
		if d := s.d0 + float64(r)*s.step; d < 0 || c.depth[1] > 0 && (d < lo || d > hi) {
			continue
		}
		if sm[r] > top {
			top, ti = sm[r], r
		}
	}
	r0, r1 := ti, ti
	for r0 > 0 && sm[r0-1] > 0.7*top && s.d0+float64(r0-1)*s.step >= 0.5 {
		r0--
	}
	for r1+1 < s.rows && sm[r1+1] > 0.7*top {
		r1++
	}
	d0, d1 := s.d0+float64(r0)*s.step, s.d0+float64(r1)*s.step
	if d1 < d0+1 {
		d1 = d0 + 1
	}
	return [2]float64{d0, d1}
}

// addAmplitude raises each row's amp to the amplitude of period T in it, between
// columns a0 and a1 under a Hann window (local demodulation).
func (s strip) addAmplitude(amp []float64, a0, a1 int, T float64) {
	n := a1 - a0 + 1
	if n < 3 {
		return
	}
	re, im := make([]float32, n), make([]float32, n)
	var sg float64
	// sine and cosine by turning a vector on; a few hundred turns lose nothing
	sn, cs := math.Sincos(2 * math.Pi / T)
	hs, hc := math.Sincos(2 * math.Pi / float64(n-1))
	x, y, u, v := 1.0, 0.0, 1.0, 0.0
	for i := range re {
		g := (1 - u) / 2
		re[i], im[i] = float32(g*x), float32(g*y)
		sg += g
		x, y = x*cs-y*sn, x*sn+y*cs
		u, v = u*hc-v*hs, u*hs+v*hc
	}
	for r := range amp {
		row := s.v[r*s.cols+a0 : r*s.cols+a1+1]
		var x, y float32
		for i, v := range row {
			if v == v {
				x += re[i] * v
				y += im[i] * v
			}
		}
		amp[r] = math.Max(amp[r], math.Hypot(float64(x), float64(y))/sg)
	}
}

func boxSmooth(v []float64, half int) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		n := 0
		for j := max(0, i-half); j <= min(len(v)-1, i+half); j++ {
			out[i] += v[j]
			n++
		}
		out[i] /= float64(n)
	}
	return out
}

// summarise fills the figures that tell whether this is a ladder at all.
func (l *ladder) summarise() {
	var resp []float64
	found := 0
	for _, r := range l.rungs {
		if r.found {
			found++
			resp = append(resp, r.resp)
		}
	}
	l.filled = float64(found) / float64(len(l.rungs))
	sort.Float64s(resp)
	l.contrast = resp[len(resp)/2]
	first, last := l.rungs[0], l.rungs[len(l.rungs)-1]
	l.periodPx = (last.along - first.along) / float64(last.n-first.n)
}
