package calib

import (
	"math"
	"sort"
)

// A ruler's face has one tone: marks and figures cover less than half of any row
// that runs along the edge, so that the row's median is the face's own, and what
// lies beyond the far edge has another, or is rougher. The face ends where both
// leave for good.

const (
	widestSteps = 46.0 // the widest ruler, in millimetres if marks are millimetres
	leastWide   = 1.6  // a ruler is wider than its marks are long, by this factor at least
	// toneWindows is how many stretches of the edge are looked at by themselves;
	// leastTone of them must see the far edge, and half of those within toneAlike of
	// the middle one. The grey levels and shares below were set on 85 drawn rulers.
	toneWindows, leastTone, toneAlike = 9, 3, 0.08
	// leaveGrey is how far a row's median lies from the face's where the face has
	// ended, and roughTimes how many times as rough the row is, roughGrey more than
	// that; stayShare is the share of the rows behind that are no face either.
	leaveGrey, roughTimes, roughGrey, stayShare = 9.0, 2.0, 8.0, 0.85
	// figures is how tall figures are at most, in lengths of the long marks (common
	// practice, no source).
	figures = 1.6
)

// faceByTone measures how wide the ruler under a scale is, in px of the photo, by
// the tone of its face. ok is false where no far edge is seen, or not at one depth.
func faceByTone(work level, q read) (px float64, ok bool) {
	s := q.scale
	f := scaleFrame(s.Frame, work.k)
	step := q.ladder.periodPx * work.k
	across := math.Max(1, step/8)
	long := longest(q) * work.k
	lo, hi := f.Inside(work.Plane, s.Lo*work.k, s.Hi*work.k, 0, leastWide*long+4)
	if long <= 0 || hi-lo < 3*8*step {
		return 0, false
	}
	st := sampleStrip(work.Plane, f, lo, hi, 0, widestSteps*step, across)
	n := st.cols / toneWindows
	var widths []float64
	for w := range toneWindows {
		if d, seen := st.faceEnd(w*n, (w+1)*n, long, step); seen {
			widths = append(widths, d)
		}
	}
	if len(widths) < leastTone {
		return 0, false
	}
	sort.Float64s(widths)
	mid := widths[len(widths)/2]
	alike := 0
	for _, v := range widths {
		if math.Abs(v/mid-1) < toneAlike {
			alike++
		}
	}
	return mid / work.k, 2*alike > len(widths) && alike >= leastTone
}

// faceEnd is the depth at which the face ends between two columns; seen is false
// where it does not before the strip or the picture does. long is the length of
// the long marks, step their spacing, both px.
func (s strip) faceEnd(c0, c1 int, long, step float64) (depth float64, seen bool) {
	var mid, rough []float64
	for r := 0; r < s.rows; r++ {
		m, q, ok := spreadOf(s.v[r*s.cols+c0 : r*s.cols+c1])
		if !ok {
			break
		}
		mid, rough = append(mid, m), append(rough, q)
	}
	row := func(d float64) int { return int(d / s.step) }
	// At the marks themselves blur makes ink of the face; past them, as far as the
	// narrowest ruler reaches, the face shows.
	from, to := row(0.8*long), row(leastWide*long)
	if to-from < 2 || to >= len(mid) {
		return 0, false
	}
	tone, grain := median(mid[from:to]), median(rough[from:to])
	// Rows of figures are rough, too, but no deeper than figures are tall, and keep
	// the face's tone.
	sameTone := func(r int) bool { return math.Abs(mid[r]-tone) < leaveGrey }
	smooth := func(r int) bool { return rough[r] < roughTimes*grain+roughGrey }
	leaves := func(r int, is func(int) bool, deep float64) bool {
		behind := max(3, row(deep))
		if r+behind >= len(mid) {
			return false
		}
		off := 0
		for j := r; j < r+behind; j++ {
			if !is(j) {
				off++
			}
		}
		return float64(off) >= stayShare*float64(behind)
	}
	for r := to; r < len(mid); r++ {
		if sameTone(r) && smooth(r) {
			// light falls off along a face
			tone += 0.15 * (mid[r] - tone)
			continue
		}
		if leaves(r, sameTone, 1.5*step) || leaves(r, smooth, figures*long) {
			return s.d0 + float64(r)*s.step, true
		}
	}
	return 0, false
}

// spreadOf is the median of grey levels and the distance between their quartiles;
// ok is false where a part of them lies outside the picture.
func spreadOf(v []float32) (mid, spread float64, ok bool) {
	c := make([]float64, 0, len(v))
	for _, x := range v {
		if x == x {
			c = append(c, float64(x))
		}
	}
	if len(c) < 8 || 10*len(c) < 9*len(v) {
		return 0, 0, false
	}
	sort.Float64s(c)
	return c[len(c)/2], c[3*len(c)/4] - c[len(c)/4], true
}
