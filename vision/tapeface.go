package vision

import (
	"math"

	"dentcount/calib"
	"dentcount/photo"
)

// TapeFace is the marked face of a ruler or tape, straightened in its own plane:
// cell (row, col) lies at (First + col/PerUnit) units along the marked edge and
// row/PerUnit units across the face. NaN outside the picture.
type TapeFace struct {
	Unit    calib.Unit
	First   int // unit of column 0, counted as the Scale counts
	PerUnit int
	// Turned says that in this photo the units grow the other way round against
	// the face than in others: its columns run in the face's own direction.
	Turned     bool
	cols, rows int
	v          []float64
}

// How much of a face is compared, and how finely.
const (
	faceDepthIn   = 0.75 // across it, from the marked edge
	facePerInch   = 40
	faceMostShift = 2   // cells, that two photos' planes may disagree by
	faceLeastIn   = 1.0 // least overlap
	faceChanceIn  = 0.5 // so much unlike is added to every overlap: short ones are alike by chance
	faceSamples   = 3   // points each way of a cell, of which it is the mean: a mark is narrower than a cell
	faceSlip      = 0.3 // cells, that a mark may stand beside its place
)

// FaceOf straightens the face of the ruler in a photo.
func FaceOf(p photo.Plane, pl Plane) (TapeFace, bool) {
	s := pl.Scale
	unit := s.Unit.Inches()
	f := TapeFace{Unit: s.Unit, PerUnit: int(math.Round(facePerInch * unit))}
	a, b := s.In(s.Lo)/unit, s.In(s.Hi)/unit
	sign := 1.0
	if hand := (s.Frame.TX*s.Frame.NY - s.Frame.TY*s.Frame.NX) * math.Copysign(1, s.PxPerIn()); hand < 0 {
		sign, f.Turned = -1, true
		a, b = -a, -b
	}
	f.First = int(math.Floor(math.Min(a, b)))
	units := int(math.Ceil(math.Max(a, b))) - f.First
	f.cols = units * f.PerUnit
	f.rows = int(faceDepthIn / unit * float64(f.PerUnit))
	if units < 1 || f.cols < 8 {
		return f, false
	}
	f.v = make([]float64, f.cols*f.rows)
	cell := unit / float64(f.PerUnit)
	calib.SideBySide(f.cols, func(c int) {
		in := sign * (float64(f.First) + float64(c)/float64(f.PerUnit)) * unit
		for r := 0; r < f.rows; r++ {
			var sum float64
			for i := range faceSamples * faceSamples {
				u := (float64(i%faceSamples)+0.5)/faceSamples - 0.5
				w := (float64(i/faceSamples)+0.5)/faceSamples - 0.5
				x, y := pl.PointAt(in+u*cell, (float64(r)+0.5+w)*cell)
				sum += p.At(x, y)
			}
			f.v[r*f.cols+c] = sum / (faceSamples * faceSamples)
		}
	})
	f.flatten()
	return f, true
}

// flatten takes off slow changes of light.
func (f *TapeFace) flatten() {
	for r := 0; r < f.rows; r++ {
		row := f.v[r*f.cols : (r+1)*f.cols]
		mean := movingMean(row, f.PerUnit)
		for c := range row {
			row[c] -= mean[c]
		}
	}
}

// unitOf is the typical unit of one or more faces, the cells of each so many rows
// and columns on: rows × PerUnit.
func unitOf(faces []TapeFace, dr, dc []int) TapeFace {
	f := faces[0]
	u := TapeFace{Unit: f.Unit, PerUnit: f.PerUnit, cols: f.PerUnit, rows: f.rows, v: make([]float64, f.rows*f.PerUnit)}
	var same []float64
	for r := range u.rows {
		for k := range u.PerUnit {
			same = same[:0]
			for i, g := range faces {
				if y := r - dr[i]; y >= 0 && y < g.rows {
					for c := k - dc[i]; c < g.cols; c += g.PerUnit {
						if c >= 0 {
							same = append(same, g.v[y*g.cols+c])
						}
					}
				}
			}
			u.v[r*u.PerUnit+k] = medianOf(same)
		}
	}
	return u
}

// unlike is the face less what repeats from unit to unit (the marks); figures,
// blemishes and dirt remain, by which one stretch of a tape is told from all
// others. A mark that stands a little beside its place, by the lens or by the
// tape's plane, leaves a rest that is alike in every photo and tells no unit from
// another: of every cell so much is taken off as such a slip can leave. u is the
// typical unit, on which the face's cells lie so many rows and columns on.
func (f TapeFace) unlike(u TapeFace, dr, dc int) TapeFace {
	slip := make([]float64, len(u.v)) // by the range of the unit, here and beside
	for r := range u.rows {
		for k := range u.PerUnit {
			lo, hi := math.Inf(1), math.Inf(-1)
			for i := max(0, r-1); i <= min(u.rows-1, r+1); i++ {
				for j := k - 1; j <= k+1; j++ {
					if v := u.v[i*u.PerUnit+(j+u.PerUnit)%u.PerUnit]; v == v {
						lo, hi = math.Min(lo, v), math.Max(hi, v)
					}
				}
			}
			slip[r*u.PerUnit+k] = faceSlip * math.Max(0, hi-lo)
		}
	}
	o := f
	o.v = make([]float64, len(f.v))
	for i := range o.v {
		r, k := i/f.cols+dr, ((i%f.cols+dc)%u.PerUnit+u.PerUnit)%u.PerUnit
		if r < 0 || r >= u.rows {
			o.v[i] = math.NaN()
			continue
		}
		d := f.v[i] - u.v[r*u.PerUnit+k]
		o.v[i] = math.Copysign(math.Max(0, math.Abs(d)-slip[r*u.PerUnit+k]), d)
	}
	return o
}

// slipOf is how many rows and columns on the marks of b lie on those of a.
func slipOf(a, b TapeFace) (dr, dc int) {
	ua, ub := unitOf([]TapeFace{a}, []int{0}, []int{0}), unitOf([]TapeFace{b}, []int{0}, []int{0})
	best := math.Inf(-1)
	for r := -faceMostShift; r <= faceMostShift; r++ {
		for c := -faceMostShift; c <= faceMostShift; c++ {
			if v := faceLikeness(ua, ub, c, r); v > best {
				best, dr, dc = v, r, c
			}
		}
	}
	return dr, dc
}

// FaceMatch is how two photos of one tape lie against each other.
type FaceMatch struct {
	// Units is what is to be added to a reading of the second photo's scale, in
	// the face's own direction, to make it one of the first's.
	Units int
	// Like is the correlation of what both show there, -1…1, less where that is
	// little, and Rival that at the next likely place.
	Like, Rival float64
}

// MatchFaces finds where the second photo's stretch of the tape lies on the
// first's: of all whole units that which makes what both show most alike. ok is
// false where the two scales are of different units, or nowhere overlap enough.
func MatchFaces(a, b TapeFace) (m FaceMatch, ok bool) {
	if a.Unit != b.Unit || a.PerUnit != b.PerUnit {
		return m, false
	}
	least := int(math.Ceil(faceLeastIn / a.Unit.Inches()))
	// column c of b stands at column c + (b.First + units - a.First)·PerUnit of a
	lo := a.First - b.First - b.cols/b.PerUnit + least
	hi := a.First - b.First + a.cols/a.PerUnit - least
	if hi < lo {
		return m, false
	}
	// What both have in every unit is taken off both alike: by itself each would
	// lose the figures that happen to repeat in it.
	dr, dc := slipOf(a, b)
	u := unitOf([]TapeFace{a, b}, []int{0, dr}, []int{0, dc})
	a, b = a.unlike(u, 0, 0), b.unlike(u, dr, dc)
	likes := make([]float64, hi-lo+1)
	calib.SideBySide(len(likes), func(i int) {
		by := (b.First + lo + i - a.First) * a.PerUnit
		likes[i] = -1
		for r := dr - 1; r <= dr+1; r++ {
			for c := dc - 1; c <= dc+1; c++ {
				likes[i] = math.Max(likes[i], faceLikeness(a, b, by+c, r))
			}
		}
	})
	m.Like, m.Rival = -1, -1
	for i, v := range likes {
		if v > m.Like {
			m.Rival = m.Like
			m.Like, m.Units = v, lo+i
		} else if v > m.Rival {
			m.Rival = v
		}
	}
	return m, true
}

// faceLikeness is the correlation of b with a, b moved by so many columns and
// rows, over all cells that both show, less where these are few.
func faceLikeness(a, b TapeFace, cols, rows int) float64 {
	var ab, aa, bb float64
	n := 0
	for r := max(0, -rows); r < b.rows && r+rows < a.rows; r++ {
		ra, rb := a.v[(r+rows)*a.cols:(r+rows+1)*a.cols], b.v[r*b.cols:(r+1)*b.cols]
		for c := max(0, -cols); c < b.cols && c+cols < a.cols; c++ {
			x, y := ra[c+cols], rb[c]
			if x == x && y == y {
				ab += x * y
				aa += x * x
				bb += y * y
				n++
			}
		}
	}
	if 2*n < a.PerUnit*a.rows || !(aa*bb > 0) { // half a unit
		return -1
	}
	in := float64(n) / float64(a.rows*facePerInch)
	return ab / math.Sqrt(aa*bb) * in / (in + faceChanceIn)
}
