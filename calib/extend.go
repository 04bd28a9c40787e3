package calib

import (
	"math"
	"sort"

	"dentcount/photo"
)

// Extended follows a scale's marks along its edge beyond the first and the last
// that were read, as far as there are more, and fits the map to all of them: a
// length reaches further than the stretch that was easy to read, and a map is
// worth little outside of its marks. A scale that cannot be followed comes back
// as it is. The inches count from the first whole unit in view, which may lie
// further out than before.
func (s Scale) Extended(p photo.Plane) Scale {
	if len(s.Marks) < 12 {
		return s
	}
	f := follower{p: p, s: s, step: s.Unit.Inches() / float64(s.Divisions)}
	f.marks = append([]Mark(nil), s.Marks...)
	sort.Slice(f.marks, func(i, j int) bool { return f.marks[i].Along < f.marks[j].Along })
	if !f.learn() {
		return s
	}
	had := len(f.marks)
	f.walk(1)
	f.walk(-1)
	if len(f.marks) < had+had/20+3 {
		return s
	}
	t, err := f.refit()
	if err != nil || t.ResidualIn > 2*s.ResidualIn+0.02*f.step {
		return s
	}
	return t
}

// ExtendedPastEdge is Extended also past where the edge itself was seen: beside what is as
// light as the ruler its marks are seen well, its edge hardly. It goes on by stretches, for
// a tape bends, and what is seen of the edge along one tells how the next one runs.
func (s Scale) ExtendedPastEdge(p photo.Plane) Scale {
	const (
		part, leastIn = 0.3, 1.5 // of a stretch: of what is read, and inches; stated, no source
		offPx         = 5        // how far the edge may lie from where it is foretold
	)
	for {
		f := s.Frame
		by := math.Max(part*(s.Hi-s.Lo), leastIn*math.Abs(s.PxPerIn()))
		f.Lo, f.Hi = f.Inside(p, math.Min(f.Lo, s.Lo-by), math.Max(f.Hi, s.Hi+by), 0, 0)
		next := s
		next.Frame, _ = traceEdge(p, f, offPx)
		next.Frame.Lo, next.Frame.Hi = f.Lo, f.Hi
		if next = next.Extended(p); len(next.Marks) <= len(s.Marks) {
			return s
		}
		s = next
	}
}

// follower walks along an edge from mark to mark.
type follower struct {
	p       photo.Plane
	s       Scale
	step    float64 // inches from mark to mark
	marks   []Mark  // by along
	course  []float64
	typical float64 // contrast of the marks read
	like    float64 // and their likeness to their mean course
}

// courseBins is how many places of the picture between two marks are compared.
const courseBins = 16

// window is the picture beside the edge about a place: the mean over the depth
// at which every mark shows, one step wide.
func (f *follower) window(along, stepPx float64) []float64 {
	perIn := stepPx / f.step
	deep := math.Max(3, math.Min(0.05*perIn, 12))
	v := make([]float64, courseBins)
	for i := range v {
		a := along + ((float64(i)+0.5)/courseBins-0.5)*stepPx
		n := 0.0
		for d := 1.0; d <= deep; d++ {
			x, y := f.s.Frame.Point(a+f.s.ShearAt(a)*d, d)
			v[i] += f.p.At(x, y)
			n++
		}
		v[i] /= n
	}
	return v
}

// likeness is the correlation of a window with the marks' course, and contrast
// its standard deviation.
func likeness(v, course []float64) (like, contrast float64) {
	var mv, mc, vv, cc, vc float64
	n := float64(len(v))
	for i := range v {
		mv += v[i] / n
		mc += course[i] / n
	}
	for i := range v {
		vv += (v[i] - mv) * (v[i] - mv)
		cc += (course[i] - mc) * (course[i] - mc)
		vc += (v[i] - mv) * (course[i] - mc)
	}
	if !(vv > 0) || !(cc > 0) {
		return 0, 0
	}
	return vc / math.Sqrt(vv*cc), math.Sqrt(vv / n)
}

// learn takes the typical course of a mark from those that were read.
func (f *follower) learn() bool {
	f.course = make([]float64, courseBins)
	n := 0.0
	stepAt := func(along float64) float64 { return f.step / math.Abs(f.s.InPerPx(along)) }
	for _, m := range f.marks {
		v := f.window(m.Along, stepAt(m.Along))
		if v[0] != v[0] || v[courseBins-1] != v[courseBins-1] {
			continue
		}
		for i := range v {
			f.course[i] += v[i]
		}
		n++
	}
	if n < 8 {
		return false
	}
	var likes, contrasts []float64
	for _, m := range f.marks {
		l, c := likeness(f.window(m.Along, stepAt(m.Along)), f.course)
		likes, contrasts = append(likes, l), append(contrasts, c)
	}
	f.like, f.typical = median(likes), median(contrasts)
	return f.like > 0.6 && f.typical > 1.5
}

// walk follows the marks in one direction (+1: growing along).
func (f *follower) walk(dir float64) {
	const (
		mostMisses  = 10   // digits, glare, dirt
		leastLike   = 0.7  // of the typical likeness
		leastMarked = 0.25 // of the typical contrast
		search      = 0.25 // of a step
	)
	inward := func(k int) Mark { // the k-th from the end
		if dir > 0 {
			return f.marks[len(f.marks)-1-k]
		}
		return f.marks[k]
	}
	up := math.Copysign(1, f.s.InPerPx(inward(0).Along)) * dir // inches grow this way
	var fresh []Mark
	recent := []bool{}
	last := inward(0)
	misses := 0
	for k := 1; misses <= mostMisses; k++ {
		in := last.In + up*float64(k)*f.step
		// the spacing hereabouts from the marks behind, which follows the
		// perspective better than a map reaching out of its marks
		at, stepPx, ok := f.ahead(fresh, inward, dir, in)
		if !ok || at < f.s.Frame.Lo-stepPx || at > f.s.Frame.Hi+stepPx {
			break
		}
		best, bestAt, contrast := -1.0, at, 0.0
		for d := -search; d <= search; d += 0.04 {
			v := f.window(at+d*stepPx, stepPx)
			if l, c := likeness(v, f.course); l > best {
				best, bestAt, contrast = l, at+d*stepPx, c
			}
		}
		if best < leastLike*f.like || contrast < leastMarked*f.typical {
			misses++
			recent = append(recent, false)
			continue
		}
		misses = 0
		recent = append(recent, true)
		fresh = append(fresh, Mark{Along: bestAt, In: in})
	}
	// chance finds one now and then where there are none: what is kept ends where
	// marks stand close together
	for len(fresh) > 0 && !f.dense(recent, len(fresh)) {
		for len(recent) > 0 && !recent[len(recent)-1] {
			recent = recent[:len(recent)-1]
		}
		if len(recent) > 0 {
			recent = recent[:len(recent)-1]
		}
		fresh = fresh[:len(fresh)-1]
	}
	f.marks = append(f.marks, fresh...)
	sort.Slice(f.marks, func(i, j int) bool { return f.marks[i].Along < f.marks[j].Along })
}

// dense says whether of the last eight places up to the last find most are marks.
func (f *follower) dense(recent []bool, found int) bool {
	end := len(recent)
	for end > 0 && !recent[end-1] {
		end--
	}
	n, hits := 0, 0
	for i := end - 1; i >= 0 && n < 8; i-- {
		n++
		if recent[i] {
			hits++
		}
	}
	return 4*hits >= 3*n
}

// ahead is where the mark of an inch reading is expected, by a straight line
// through the marks behind it, and the spacing there.
func (f *follower) ahead(fresh []Mark, inward func(int) Mark, dir, in float64) (at, stepPx float64, ok bool) {
	const behind = 24
	var xs, ys []float64
	for i := len(fresh) - 1; i >= 0 && len(xs) < behind; i-- {
		xs, ys = append(xs, fresh[i].In), append(ys, fresh[i].Along)
	}
	for k := 0; k < len(f.marks) && len(xs) < behind; k++ {
		m := inward(k)
		xs, ys = append(xs, m.In), append(ys, m.Along)
	}
	if len(xs) < 8 {
		return 0, 0, false
	}
	a, b := straightLine(xs, ys)
	return a + b*in, math.Abs(b) * f.step, b != 0 && !math.IsNaN(a+b)
}

// refit fits the map to all marks.
func (f *follower) refit() (Scale, error) {
	l := ladder{frame: f.s.Frame, shear: f.s.Shear, shearU: f.s.ShearU}
	// rungs count up the way inches do
	least := math.Inf(1)
	for _, m := range f.marks {
		least = math.Min(least, m.In)
	}
	units := int(math.Ceil(math.Max(0, -least)/f.s.Unit.Inches())) + 1
	shift := units * f.s.Divisions
	rd := reading{unit: f.s.Unit, divisions: f.s.Divisions, phase: 0, lo: 0}
	for _, m := range f.marks {
		n := int(math.Round(m.In/f.step)) + shift
		l.rungs = append(l.rungs, rung{n: n, along: m.Along, found: true})
		rd.hi = max(rd.hi, n)
	}
	return fitScale(l, rd)
}
