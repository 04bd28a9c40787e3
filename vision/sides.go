package vision

import (
	"math"
	"slices"
	"sort"

	"dentcount/calib"
)

// family is the edges that may lie on one line: of one sign (0: any), on one side
// of the camera's foot (0: both, else below or above it along the ruler).
type family struct {
	sign, side int
	footIn     float64
}

func (f family) has(e edge) bool {
	if f.sign != 0 && e.rising != (f.sign > 0) {
		return false
	}
	return f.side == 0 || (e.in < f.footIn) == (f.side < 0)
}

func (f family) of(edges []edge) []edge {
	if f == (family{}) {
		return edges
	}
	var out []edge
	for _, e := range edges {
		if f.has(e) {
			out = append(out, e)
		}
	}
	return out
}

// anyEdge is the one family of all edges.
var anyEdge = []family{{}}

// facesOf are the edges of the faces of wires or bars that look away from the
// camera's foot if what is solid is brighter than what is seen between, else of
// those that look towards it: at those, edges rise on one side of the foot and
// fall on the other.
func facesOf(bright bool, footIn float64) []family {
	up := 1
	if !bright {
		up = -1
	}
	return []family{{sign: up, side: -1, footIn: footIn}, {sign: -up, side: 1, footIn: footIn}}
}

// planesOfFaces lists the planes that carry the lines of families, one line in
// each, strongest first.
func planesOfFaces(edges []edge, l lattice, fams []family) []wirePlane {
	parts := make([][]edge, len(fams))
	for i, f := range fams {
		parts[i] = f.of(edges)
	}
	return peaks(l, func(stretch float64) float64 {
		var sum float64
		for i, f := range fams {
			top := 0.0
			for _, v := range signSupport(parts[i], l, stretch, f.sign > 0) {
				top = math.Max(top, v)
			}
			sum += top
		}
		return sum
	})
}

// peaks are the local maxima of a support over the stretch, strongest first.
func peaks(l lattice, of func(stretch float64) float64) []wirePlane {
	es := stretches(l.count)
	top := make([]float64, len(es))
	for i, e := range es {
		top[i] = of(e)
	}
	smooth := make([]float64, len(es))
	for i := range top {
		a, b := top[max(0, i-1)], top[min(len(top)-1, i+1)]
		smooth[i] = (a + 2*top[i] + b) / 4
	}
	var out []wirePlane
	for i := 1; i+1 < len(es); i++ {
		if smooth[i] >= smooth[i-1] && smooth[i] > smooth[i+1] {
			out = append(out, wirePlane{es[i], smooth[i]})
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].support > out[j].support })
	return out
}

// foremost is the front-most of the planes that are about as strong as the
// strongest: of edges near each other, a highlight's or a shadow's beside the
// face's own, the deeper ones are no front.
func foremost(planes []wirePlane, perMM float64) wirePlane {
	const asStrong, nearMM = 0.8, 3.0
	best := planes[0]
	for _, p := range planes[1:] {
		gap := p.stretch - planes[0].stretch
		if p.support >= asStrong*planes[0].support && gap < nearMM*perMM && p.stretch > best.stretch {
			best = p
		}
	}
	return best
}

// frontBySides tells the front by the faces of wires and bars. A face that looks
// away from the camera's foot is hidden: only its front edge is seen, all along
// the row. A face that looks towards it is seen, with an edge at the front and
// one at the back, of which either may be the stronger. So of the two kinds of
// faces the one with the larger spacing lies at the front. A line through all
// edges of one sign, as one follows it without this, may run along the fronts on
// one side of the foot and along the backs on the other, and stand for a depth
// that is neither.
//
// strips are the edges at several depths; perMM is 1 mm over the camera's height,
// whole the support of all edges.
func frontBySides(edges, strips []edge, l lattice, footIn, perMM, whole float64) (o bySides) {
	// Planes nearer together are one; wires are not deeper than the last; and the
	// front shows some contrast, if less than the back.
	const sameMM, deepMM, share, ofWhole = 0.5, 7.0, 0.5, 0.6
	// A line through half a row tells its slope to this share of a spacing.
	const readable = 0.06
	const fewest = 4 // bands on each side of the foot
	half := float64(l.count) / 2
	below := math.Min(math.Max((footIn-l.first)/l.T, 0), 2*half)
	type kind struct {
		fams       []family
		best, fore wirePlane
	}
	var two []kind
	for _, bright := range []bool{true, false} {
		f := slices.DeleteFunc(facesOf(bright, footIn), func(f family) bool {
			return f.side < 0 && below < fewest || f.side > 0 && 2*half-below < fewest
		})
		ps := planesOfFaces(edges, l, f)
		if len(ps) == 0 {
			return o
		}
		two = append(two, kind{f, ps[0], foremost(ps, perMM)})
	}
	for i, k := range two {
		o.fitted[i] = fittedKind{plane: k.fore, fams: k.fams}
		f, ok := fitFront(edges, strips, l, k.fore, k.fams)
		if !ok {
			o.fitted = [2]fittedKind{}
			break
		}
		o.fitted[i].plane.stretch, o.fitted[i].uRel = f.spacingIn/l.T-1, f.uRel
	}
	if len(two[0].fams) < 2 {
		return o
	}
	front, back := two[0], two[1]
	o.seen = true
	o.apart = math.Abs(front.best.stretch - back.best.stretch)
	o.same = math.Max(sameMM*perMM, readable/half)
	if back.fore.stretch > front.fore.stretch {
		front, back = back, front
	}
	gap := front.fore.stretch - back.fore.stretch
	if gap > o.same && gap < deepMM*perMM && front.fore.support >= share*back.fore.support && front.fore.support >= ofWhole*whole {
		o.plane, o.fams, o.apart = front.fore, front.fams, gap/2
		return o
	}
	if o.apart < o.same {
		o.plane = wirePlane{(front.best.stretch + back.best.stretch) / 2, math.Min(front.best.support, back.best.support)}
	}
	return o
}

// bySides is what the two kinds of faces tell of the front.
type bySides struct {
	seen bool // the foot is under the row
	// fams are the edges that lie on the front's lines; nil where the two kinds say
	// the same, or neither stands out: then all edges may be used together.
	fams []family
	// plane is the front where fams tell it, or the plane of both where they are
	// one; without support where they are not.
	plane wirePlane
	// apart is how far the strongest planes of the two kinds lie apart, as far as
	// that leaves a doubt: half of it where one of them was chosen. same is how near
	// they may lie and count as one. Relative.
	apart, same float64
	// fitted are the two kinds, each fitted by itself; without support where one of
	// them could not be. They are told, too, where all the row lies on one side of
	// the foot.
	fitted [2]fittedKind
}

// fittedKind is the plane of one kind of faces by least squares, and its relative
// standard uncertainty.
type fittedKind struct {
	plane wirePlane
	fams  []family
	uRel  float64
}

// choose is the plane to fit the edges in, p being that of all edges together.
func (o bySides) choose(p wirePlane) (wirePlane, []family) {
	if o.fams != nil {
		return o.plane, o.fams
	}
	if o.plane.support > 0 && math.Abs(p.stretch-o.plane.stretch) > o.same {
		p = o.plane
	}
	return p, anyEdge
}

// before is the plane, if there is one, in which the faces tell the front to lie
// before the plane that all edges together were fitted in: nothing that is seen of
// a part lies before its front, so that edges which do are the front's, and those
// of all together are the front's and the back's in one, where the two are too near
// each other in the picture to be two lines. apart is how far behind the other
// kind lies. ok is false where the faces tell nothing else than all edges do.
//
// halfPx is half the row's length in the photo.
func (o bySides) before(stretch, perMM, halfPx float64) (p wirePlane, fams []family, apart float64, ok bool) {
	// Of 395 drawn photos (fit, seeds 4501, 4502, 4701 and 4731): kinds less than
	// apartMM from each other, or apartPx at the row's ends, lie on either side of the
	// front, by blur, by light and by highlights; below clearMM and clearPx nothing
	// is gained.
	const apartMM, apartPx, clearMM, clearPx, deepMM, share, sigmas = 0.8, 1.0, 0.3, 0.5, 5.0, 0.7, 2.0
	front, back := o.fitted[0], o.fitted[1]
	if back.plane.stretch > front.plane.stretch {
		front, back = back, front
	}
	gap, u := front.plane.stretch-back.plane.stretch, math.Hypot(front.uRel, back.uRel)
	if front.plane.support < share*back.plane.support || front.plane.support == 0 || gap > deepMM*perMM {
		return p, nil, 0, false
	}
	p, fams = front.plane, front.fams
	if gap < max(apartMM*perMM, apartPx/halfPx, sigmas*u) {
		p.stretch, fams = (front.plane.stretch+back.plane.stretch)/2, anyEdge
	}
	return p, fams, gap, p.stretch-stretch > max(clearMM*perMM, clearPx/halfPx, sigmas*u)
}

// doubtOfFront is the standard uncertainty of a front's stretch that is left to
// which plane its lines lie in. Of 256 drawn photos with fronts that had the
// support 0.7 one half lay within 0.05 mm, with 0.5 within 0.1 and with 0.35
// within 0.2; and where the two kinds of faces stood apart, the front was off by
// up to half of that.
func doubtOfFront(support, apart, perMM float64) float64 {
	const usualMM, usual, mostMM, mostApartMM = 0.04, 0.7, 1.5, 0.6
	weak := math.Min(usualMM*math.Pow(usual/math.Max(support, 0.1), 3), mostMM)
	return math.Hypot(weak*perMM, math.Min(apart/2, mostApartMM*perMM))
}

// unresolved is the standard uncertainty of a front's stretch that is left where
// the backs stand too near to the fronts in the picture to be told from them: what is
// seen as one edge may then lie anywhere between the two, evenly.
func unresolved(halfPx, perMM float64) float64 {
	return near(halfPx, perMM) * wireDeepMM * perMM / math.Sqrt(12)
}

// near is how near the backs stand to the fronts in the picture, 1 for on them and 0 for
// far enough to be told from them: at the ends of the row, halfPx from its middle, they are
// farthest apart.
func near(halfPx, perMM float64) float64 {
	const clearPx = 4.0
	return math.Max(0, 1-halfPx*wireDeepMM*perMM/clearPx)
}

// frontOf brings the pitch to the front of the wires, where their edges tell it.
func (b *Bands) frontOf(st strip, ln lean, sig signal, s calib.Scale, focalPx, footIn float64) {
	l := lattice{first: b.Row[0].In, T: 1 / b.MiddlePerInch, count: len(b.Row)}
	off := b.offPlaces(l)
	all := off.evened(edgesOf(sig, l.T, 0))
	ppi := s.PxPerIn()
	perMM := ppi / 25.4 / focalPx
	halfPx := b.RowIn() * ppi / 2
	planes := planesOf(all, l)
	p, _, _, ok := frontPlane(planes, perMM)
	if !ok {
		return
	}
	// The same edges at several depths say how the bands run, to the last bit.
	const parts, fewestRows = 4, 5
	var strips []edge
	n := max(1, min(parts, st.rows/fewestRows))
	for i := 0; i < n; i++ {
		r0, r1 := i*st.rows/n, (i+1)*st.rows/n
		part := onRuler(st.sheared(ln, r0, r1, 1), st.lo, s, ppi)
		strips = append(strips, off.evened(edgesOf(part, l.T, (st.depth(r0)+st.depth(r1-1))/2))...)
	}
	sides := frontBySides(all, strips, l, footIn, perMM, planes[0].support)
	p, fams := sides.choose(p)
	f, ok := fitFront(all, strips, l, p, fams)
	apart := sides.apart
	if ok && fams[0].side == 0 {
		q, faces, gap, told := sides.before(f.spacingIn/l.T-1, perMM, halfPx)
		if told {
			if g, fits := fitFront(all, strips, l, q, faces); fits {
				p, fams, f = q, faces, g
				apart = gap / 2
			}
		}
	}
	if !ok || math.Abs(f.spacingIn/l.T-1) > 0.045 || f.uRel > 0.004 || b.behind(f.spacingIn, perMM) {
		return
	}
	b.DepthTold, b.DepthBySides = true, fams[0].side != 0
	b.PerInch = 1 / f.spacingIn
	b.U = math.Hypot(math.Hypot(f.uRel, doubtOfFront(p.support, apart, perMM)), unresolved(halfPx, perMM)) * b.PerInch
}

// behind says whether what was taken for the fronts, so far apart, lies plainly behind the
// bands as a whole. Those are of front and back edges, and lie behind the front or in it: such
// a plane is one of chance, or of a shadow across the row, and the front was not told. The
// bands' own places are noisy, too; of 237 drawn parts (practice, seed 5812) five lie so far
// behind.
func (b Bands) behind(spacingIn, perMM float64) bool {
	const mostMM = 0.8
	return 1-spacingIn*b.MiddlePerInch > mostMM*perMM
}
