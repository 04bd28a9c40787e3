package vision

import (
	"context"
	"math"
	"sort"

	"dentcount/photo"
)

// Shot is one of several photos taken along one tape. A place at x inches of its
// own scale lies at Sign·x + ShiftIn inches of a tape that all shots share.
type Shot struct {
	Img           photo.Colour
	Plane         Plane
	Sign, ShiftIn float64
}

// on carries a reading of the shot's own scale to the shared tape.
func (s Shot) on(in float64) float64 { return s.Sign*in + s.ShiftIn }

// high says whether the side toward dir on the shared tape is that of more
// inches on the shot's own scale.
func (s Shot) high(dir float64) bool { return dir*s.Sign > 0 }

// FindJoinedEnds looks for the two ends of a thing in two shots: one end in each,
// on the side that looks away from the other. dir is +1 where the second shot
// lies at more inches of the shared tape than the first, -1 where at fewer. found
// says for which shots an end was found.
func FindJoinedEnds(ctx context.Context, shots [2]Shot, dir float64, of EndsOf) (e [2]OneEnd, found [2]bool, err error) {
	switch of {
	case EndsOfBars:
		return findJoinedPair(ctx, shots, dir, barsMinApartIn, barsMaxApartIn)
	case EndsOfHeight:
		return findJoinedPair(ctx, shots, dir, baulksMinApartIn, baulksMaxApartIn)
	}
	for i, s := range shots {
		high := s.high(dir)
		if i == 0 {
			high = !high
		}
		if of == EndsOfString || of == EndsOfWire {
			e[i], found[i] = findThreadEnd(s.Img, s.Plane, of, high)
			err = ctx.Err()
		} else {
			e[i], found[i], err = FindOneEnd(ctx, s.Img, s.Plane, of, high)
		}
		if err != nil {
			return e, found, err
		}
	}
	return e, found, nil
}

// findJoinedPair finds two flat bars of one make, one in each shot, their outer
// edges between least and most inches apart on the shared tape.
func findJoinedPair(ctx context.Context, shots [2]Shot, dir, least, most float64) (e [2]OneEnd, found [2]bool, err error) {
	var sides [2]pairSide
	for i, s := range shots {
		out := dir // away from the other shot
		if i == 0 {
			out = -dir
		}
		sides[i] = stripesOn(s, out)
		found[i] = len(sides[i].stripes) > 0
		if err := ctx.Err(); err != nil {
			return e, found, err
		}
	}
	if !found[0] || !found[1] {
		return e, found, nil
	}
	// Lines that lean alike in two photos lean alike in numbers only where both
	// frames have the same hand.
	mirrored := sides[0].hand() != sides[1].hand()
	at := func(i int, s stripe) float64 { return shots[i].on(shots[i].Plane.Scale.In(s.outer.along)) }
	const apart = 0.03 // inches: less is the same pair of edges
	var best [2]stripe
	bestScore, second := 0.0, 0.0
	for _, l := range sides[0].stripes {
		for _, r := range sides[1].stripes {
			if gap := dir * (at(1, r) - at(0, l)); gap < least || gap > most {
				continue
			}
			turned := r
			if mirrored {
				turned.outer.extra = -turned.outer.extra
			}
			score := likeBars(l, turned, 0)
			same := bestScore > 0 && math.Abs(at(0, l)-at(0, best[0])) < apart && math.Abs(at(1, r)-at(1, best[1])) < apart
			if score > bestScore {
				if !same {
					second = bestScore
				}
				bestScore, best = score, [2]stripe{l, r}
			} else if score > second && !same {
				second = score
			}
		}
	}
	if bestScore < leastPair {
		return e, [2]bool{}, nil
	}
	p := math.Sqrt(bestScore / (bestScore + 0.3*second)) // the pair's, shared out
	for i := range e {
		e[i] = sides[i].q.endAt(best[i].outer)
		e[i].Probability, e[i].UnderRuler = p, true
	}
	return e, found, nil
}

// pairSide are the stripes in one shot that may be a bar's face, its outer edge
// on the side asked for.
type pairSide struct {
	q       patch
	stripes []stripe
}

// hand is +1 where the frame's normal lies to the left of its direction.
func (p pairSide) hand() float64 {
	f := p.q.plane.Scale.Frame
	return math.Copysign(1, f.TX*f.NY-f.TY*f.NX)
}

// stripesOn are a shot's stripes with their outer edge toward out on the shared
// tape.
func stripesOn(s Shot, out float64) pairSide {
	q, lines := pairLines(s.Img, s.Plane)
	if q.cols == 0 {
		return pairSide{}
	}
	faces := faceCache{patch: q, prof: map[int][3][]float64{}}
	inward := -out * s.Sign * math.Copysign(1, s.Plane.Scale.PxPerIn())
	return pairSide{q, faces.stripes(lines, inward)}
}

// endAt is the end that one edge makes, shown at the middle of the patch.
func (q patch) endAt(l edgeLine) OneEnd {
	s := q.plane.Scale
	mid := (q.d0 + q.depth(q.rows-1)) / 2
	x, y := s.Frame.Point(l.along+(q.leanAt(l.along)+l.extra)*mid, mid)
	return OneEnd{
		At: [2]float64{x, y}, AlongIn: s.In(l.along), UIn: l.u * math.Abs(s.InPerPx(l.along)),
		Skew: q.skew(l.extra, l.along), Plane: q.plane,
	}
}

// How a thread or a wire ends, in inches: bare ground follows its knot, and the
// thread goes on from there to the inside.
const (
	bareBeyondIn = 0.3
	leastBare    = 0.5 // share of it
	threadGoesIn = 1.5
)

// findThreadEnd finds the end of one string heddle or wire heddle on the side of
// more inches (high) or of fewer; its other end may lie outside the picture.
func findThreadEnd(img photo.Colour, pl Plane, of EndsOf, high bool) (OneEnd, bool) {
	q, ppi := threadPatch(img, pl)
	if q.cols == 0 {
		return OneEnd{}, false
	}
	out := -1
	if high == (pl.Scale.PxPerIn() > 0) {
		out = 1
	}
	var best OneEnd
	bestScore := 0.0
	for _, t := range q.threadLines(ppi, 8) {
		rb := q.straighten(t, ppi)
		var at, score float64
		var eye Ends
		if of == EndsOfString {
			at, score, eye = rb.stringEnd(ppi, out)
		} else {
			at, score = rb.wireEnd(ppi, out)
		}
		if score*t.score <= bestScore {
			continue
		}
		bestScore = score * t.score
		e := rb.endsAt(at, at-float64(out)*ppi)
		best = OneEnd{At: e.At[0], UIn: 0.025, Probability: math.Min(0.97, 0.5+0.5*score), Plane: pl,
			EyeIn: eye.EyeIn, EyeU: eye.EyeU, Eye: eye.Eye}
		best.AlongIn, best.AcrossIn = pl.In(best.At[0], best.At[1])
	}
	return best, bestScore > 0
}

// bareFrom is the share of a stretch beyond column c, toward out, that shows
// nothing on the axis nor a strand on either side. ok is false where the stretch
// leaves the picture.
func (rb ribbon) bareFrom(xs []cross, c float64, out int, ppi float64) (bare float64, ok bool) {
	n := int(bareBeyondIn * ppi)
	seen := 0
	for i := 1; i <= n; i++ {
		k := int(c) + out*i
		if k < 0 || k >= len(xs) || !rb.inPicture(k) {
			return 0, false
		}
		if !xs[k].on && !xs[k].split {
			seen++
		}
	}
	return float64(seen) / float64(n), true
}

// inPicture says whether the picture shows the axis at a column.
func (rb ribbon) inPicture(c int) bool {
	q := rb.patch
	r := int(math.Round((rb.line.at(float64(c), float64(q.cols-1)/2) - q.d0) / q.step))
	if r < 0 || r >= q.rows {
		return false
	}
	v := q.ch[0][r*q.cols+c]
	return v == v
}

// stringEnd looks for the outermost knot of a string heddle toward out: thread
// on its inner side, bare ground beyond. score is how much it looks like one,
// 0…1. eye is the heddle's eye where both its knots are in the picture, too.
func (rb ribbon) stringEnd(ppi float64, out int) (at, score float64, eye Ends) {
	xs := rb.crosses(ppi)
	wide := typicalWidth(xs)
	if wide == 0 || wide*rb.patch.step > threadMaxWideIn*ppi {
		return 0, 0, eye
	}
	ks := knots(xs, wide, ppi)
	for _, k := range ks {
		bare, ok := rb.bareFrom(xs, k.at+float64(out)*knotMaxIn/2*ppi, out, ppi)
		if !ok {
			continue
		}
		seen := 0
		n := int(threadGoesIn * ppi)
		for i := 1; i <= n; i++ {
			if c := int(k.at) - out*i; c >= 0 && c < len(xs) && (xs[c].on || xs[c].split) {
				seen++
			}
		}
		goes := float64(seen) / float64(n)
		if goes < 0.65 || bare < leastBare {
			continue
		}
		if v := math.Pow(goes, 1.5) * bare * math.Min(1, (k.thick-1)/0.5); v > score {
			at, score = k.at, v
		}
	}
	if score == 0 {
		return 0, 0, eye
	}
	s := rb.patch.plane.Scale
	widest := 0.0
	for b := range ks {
		for c := b + 1; c < len(ks); c++ {
			in := math.Abs(s.In(rb.patch.lo+ks[c].at) - s.In(rb.patch.lo+ks[b].at))
			if in < eyeMinIn || in > eyeMaxIn {
				continue
			}
			split := 0
			for k := int(ks[b].at); k < int(ks[c].at); k++ {
				if xs[k].split {
					split++
				}
			}
			if open := float64(split) / (ks[c].at - ks[b].at); open > 0.3 && open > widest {
				widest = open
				from, to := eyeOf(xs, int(ks[b].at), int(ks[c].at), wide)
				e := rb.endsAt(from, to)
				eye.Eye, eye.EyeIn, eye.EyeU = e.At, e.LengthIn, 0.06
			}
		}
	}
	return at, score, eye
}

// typicalWidth is the median width of the thread on the axis, in rows; 0 where
// there is hardly any.
func typicalWidth(xs []cross) float64 {
	var wides []float64
	for _, x := range xs {
		if x.on {
			wides = append(wides, x.wide)
		}
	}
	if len(wides) < 40 {
		return 0
	}
	sort.Float64s(wides)
	return wides[len(wides)/2]
}

// wireEnd is the end of the longest stretch of wire toward out. score is the
// share of it that is seen; 0 where it leaves the picture there.
func (rb ribbon) wireEnd(ppi float64, out int) (at, score float64) {
	a, b, filled := rb.longestRun(ppi)
	if filled < leastFilled || float64(b-a) < threadGoesIn*ppi {
		return 0, 0
	}
	at = float64(a) - 0.5
	if out > 0 {
		at = float64(b) + 0.5
	}
	if bare, ok := rb.bareFrom(rb.crosses(ppi), at, out, ppi); !ok || bare < leastBare {
		return 0, 0
	}
	return at, filled
}
