package box

import (
	"image"
	"math"
	"slices"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/mat"

	"dentcount/measure"
)

// vec is a point in pixels, counted from the centre of the first one, or a
// place on the tag.
type vec struct{ x, y float64 }

func (a vec) to(b vec) float64 { return math.Hypot(a.x-b.x, a.y-b.y) }

// tagModules is how many modules a side of a tag's QR symbol has (ISO/IEC
// 18004, version 1; shelf.Tag.Text fits it).
const tagModules = 21

// tagPlane is the map from the plane of a tag to the photo:
//
//	x = (h0·X + h1·Y + h2) / (h6·X + h7·Y + 1)
//	y = (h3·X + h4·Y + h5) / (h6·X + h7·Y + 1)
//
// the projective image of a plane (Hartley & Zisserman 2004, §2.3). X runs to
// the right and Y down the symbol, from its middle, in halves of its side; x
// and y are pixels from mid, in units of px. cov is the covariance of h.
type tagPlane struct {
	h      [8]float64
	cov    *mat.Dense
	mid    vec
	px     float64
	halfIn float64 // half the printed side of the symbol, inches
	light  float64 // luma of its paper
}

func (t *tagPlane) toPhoto(p vec) vec {
	h := &t.h
	w := h[6]*p.x + h[7]*p.y + 1
	return vec{t.mid.x + t.px*(h[0]*p.x+h[1]*p.y+h[2])/w, t.mid.y + t.px*(h[3]*p.x+h[4]*p.y+h[5])/w}
}

// toTag is the inverse of toPhoto.
func (t *tagPlane) toTag(p vec) vec {
	u, v := (p.x-t.mid.x)/t.px, (p.y-t.mid.y)/t.px
	h := &t.h
	a, b, c := h[0]-u*h[6], h[1]-u*h[7], u-h[2]
	d, e, f := h[3]-v*h[6], h[4]-v*h[7], v-h[5]
	det := a*e - b*d
	return vec{(c*e - b*f) / det, (a*f - c*d) / det}
}

// inches is the distance of two points of the photo if they lie in the plane
// of the tag, with its standard uncertainty.
func (t *tagPlane) inches(a, b vec) (in, u float64) {
	in = t.toTag(a).to(t.toTag(b)) * t.halfIn
	g := mat.NewVecDense(8, nil)
	for i := range t.h {
		const step = 1e-5
		moved := *t
		moved.h[i] += step
		g.SetVec(i, (moved.toTag(a).to(moved.toTag(b))*t.halfIn-in)/step)
	}
	return in, math.Sqrt(math.Max(0, mat.Inner(g, t.cov, g)))
}

// perRuler compares the tag's inch with that of a ruler, on the stretch of the
// ruler that is nearest to the tag: 1.01 says that the ruler's inch is a
// hundredth longer. relU is its relative standard uncertainty as far as the
// reading of the tag goes. ok is false where the ruler shows no two whole units.
func (t *tagPlane) perRuler(r *measure.Ruler) (ratio, relU float64, ok bool) {
	unitIn := 1.0
	if r.Unit == "cm" {
		unitIn = 1 / 2.54
	}
	marks := slices.Clone(r.Marks)
	at := func(m measure.Mark) vec { return vec{m.At[0] - 0.5, m.At[1] - 0.5} } // the contract's points count from the corner
	slices.SortStableFunc(marks, func(a, b measure.Mark) int {
		switch da, db := at(a).to(t.mid), at(b).to(t.mid); {
		case da < db:
			return -1
		case da > db:
			return 1
		}
		return 0
	})
	// The nearest marks that are two inches apart, or as far as there are.
	const enoughIn = 2
	var lo, hi measure.Mark
	for i, m := range marks {
		if i == 0 || m.Value < lo.Value {
			lo = m
		}
		if i == 0 || m.Value > hi.Value {
			hi = m
		}
		if (hi.Value-lo.Value)*unitIn >= enoughIn {
			break
		}
	}
	said := (hi.Value - lo.Value) * unitIn
	if !(said > 0) {
		return 0, 0, false
	}
	in, u := t.inches(at(lo), at(hi))
	if !(in > 0) || math.IsNaN(u) {
		return 0, 0, false
	}
	return in / said, u / in, true
}

// registerTag finds the plane of a tag in the photo's luma from the middles of
// its finder patterns, at the bottom left, the top left and the top right. Its
// points are where four modules meet like the squares of a chessboard: what
// blurs or fattens the print moves these to neither side. nil where there are
// too few of them.
func registerTag(grey gocv.Mat, finders [3]vec, sideIn float64) *tagPlane {
	// The middle of a finder pattern is 3.5 modules from two sides.
	const k = 1 - 2*3.5/tagModules
	bl, tl, tr := finders[0], finders[1], finders[2]
	t := &tagPlane{mid: vec{(bl.x + tr.x) / 2, (bl.y + tr.y) / 2}, px: (bl.to(tl) + tl.to(tr)) / 4 / k, halfIn: sideIn / 2}
	if !(t.px > tagModules) { // two pixels a module
		return nil
	}
	t.h = [8]float64{
		(tr.x - tl.x) / 2 / k / t.px, (bl.x - tl.x) / 2 / k / t.px, 0,
		(tr.y - tl.y) / 2 / k / t.px, (bl.y - tl.y) / 2 / k / t.px, 0,
	}
	// Twice: the far corner of a tag seen at an angle is off its place by as
	// much as half a module before the first.
	for range 2 {
		if !t.refine(grey) {
			return nil
		}
	}
	return t
}

// refine fits the map to the crossings that are found where it says.
func (t *tagPlane) refine(grey gocv.Mat) bool {
	lo, hi := t.mid, t.mid
	for _, c := range []vec{{-1, -1}, {-1, 1}, {1, -1}, {1, 1}} {
		p := t.toPhoto(c)
		lo = vec{math.Min(lo.x, p.x), math.Min(lo.y, p.y)}
		hi = vec{math.Max(hi.x, p.x), math.Max(hi.y, p.y)}
	}
	module := 2 * t.px / tagModules // px
	r := image.Rect(int(lo.x-2*module), int(lo.y-2*module), int(hi.x+2*module)+1, int(hi.y+2*module)+1).Intersect(image.Rect(0, 0, grey.Cols(), grey.Rows()))
	if r.Dx() < tagModules || r.Dy() < tagModules {
		return false
	}
	view := grey.Region(r)
	defer view.Close()
	ideal := t.crossings(view, r.Min)
	if len(ideal) < minCrossings {
		return false
	}
	found := gocv.NewMatWithSize(len(ideal), 1, gocv.MatTypeCV32FC2)
	defer found.Close()
	xy, err := found.DataPtrFloat32()
	if err != nil {
		return false
	}
	for i, p := range ideal {
		q := t.toPhoto(p)
		xy[2*i], xy[2*i+1] = float32(q.x-float64(r.Min.X)), float32(q.y-float64(r.Min.Y))
	}
	win := max(2, int(0.45*module))
	gocv.CornerSubPix(view, &found, image.Pt(win, win), image.Pt(-1, -1), gocv.NewTermCriteria(gocv.Count+gocv.EPS, 30, 0.005))
	seen := make([]vec, len(ideal))
	for i := range ideal {
		seen[i] = vec{float64(xy[2*i]) + float64(r.Min.X), float64(xy[2*i+1]) + float64(r.Min.Y)}
	}
	return t.fit(ideal, seen, 0.3*module)
}

// minCrossings is how many crossings a tag must show: a symbol has about fifty.
const minCrossings = 12

// crossings lists the places on the tag where two dark modules meet two light
// ones corner to corner. view is the part of the photo from offset on.
func (t *tagPlane) crossings(view gocv.Mat, offset image.Point) []vec {
	var lum [tagModules][tagModules]float64
	all := make([]float64, 0, tagModules*tagModules)
	place := func(i, j float64) vec { return vec{i/tagModules*2 - 1, j/tagModules*2 - 1} } // column, row
	for j := range tagModules {
		for i := range tagModules {
			p := t.toPhoto(place(float64(i)+0.5, float64(j)+0.5))
			x, y := int(math.Round(p.x))-offset.X, int(math.Round(p.y))-offset.Y
			if x < 0 || y < 0 || x >= view.Cols() || y >= view.Rows() {
				return nil
			}
			lum[j][i] = float64(view.GetUCharAt(y, x))
			all = append(all, lum[j][i])
		}
	}
	slices.Sort(all)
	dark, light := all[len(all)/10], all[len(all)*9/10]
	t.light = light
	var out []vec
	for j := 1; j < tagModules; j++ {
		for i := 1; i < tagModules; i++ {
			a, b, c, d := lum[j-1][i-1], lum[j-1][i], lum[j][i-1], lum[j][i]
			if gap := max(min(a, d)-max(b, c), min(b, c)-max(a, d)); gap > 0.4*(light-dark) {
				out = append(out, place(float64(i), float64(j)))
			}
		}
	}
	return out
}

// fit sets the map by least squares, leaving out points that are further off
// than tol pixels, first against the map as it was, then against the new one.
func (t *tagPlane) fit(ideal, seen []vec, tol float64) bool {
	for round, limit := range []float64{2 * tol, tol} {
		var a []float64
		var b []float64
		for i, p := range ideal {
			if seen[i].to(t.toPhoto(p)) > limit {
				continue
			}
			w := 1.0
			if round > 0 { // of the errors in the photo, not of these times the denominator
				w = 1 / (t.h[6]*p.x + t.h[7]*p.y + 1)
			}
			x, y := (seen[i].x-t.mid.x)/t.px, (seen[i].y-t.mid.y)/t.px
			a = append(a, w*p.x, w*p.y, w, 0, 0, 0, -w*x*p.x, -w*x*p.y)
			a = append(a, 0, 0, 0, w*p.x, w*p.y, w, -w*y*p.x, -w*y*p.y)
			b = append(b, w*x, w*y)
		}
		n := len(b)
		if n < 2*minCrossings {
			return false
		}
		A, B := mat.NewDense(n, 8, a), mat.NewVecDense(n, b)
		var h, res mat.VecDense
		if err := h.SolveVec(A, B); err != nil {
			return false
		}
		for i := range t.h {
			t.h[i] = h.AtVec(i)
		}
		res.MulVec(A, &h)
		res.SubVec(&res, B)
		// No place is read better than to a twentieth of a pixel.
		s := math.Max(mat.Norm(&res, 2)/math.Sqrt(float64(n-8)), 0.05/t.px)
		var ata, cov mat.Dense
		ata.Mul(A.T(), A)
		if err := cov.Inverse(&ata); err != nil {
			return false
		}
		cov.Scale(s*s, &cov)
		t.cov = &cov
	}
	return true
}
