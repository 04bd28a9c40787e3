package vision

import (
	"math"

	"dentcount/calib"
	"dentcount/photo"
)

// TapeFace is the marked face of a ruler or tape, straightened in its own plane:
// cell (row, col) lies at (First + col/PerUnit) units along the marked edge and
// row/PerUnit units across the face. What repeats from unit to unit (the marks)
// is taken off; figures, blemishes and dirt remain, by which one stretch of a
// tape is told from all others. NaN outside the picture.
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
	calib.SideBySide(f.cols, func(c int) {
		in := sign * (float64(f.First) + float64(c)/float64(f.PerUnit)) * unit
		for r := 0; r < f.rows; r++ {
			x, y := pl.PointAt(in, (float64(r)+0.5)/float64(f.PerUnit)*unit)
			f.v[r*f.cols+c] = p.At(x, y)
		}
	})
	f.keepUnlike()
	return f, true
}

// keepUnlike takes off what repeats from unit to unit, and slow changes of light.
func (f *TapeFace) keepUnlike() {
	for r := 0; r < f.rows; r++ {
		row := f.v[r*f.cols : (r+1)*f.cols]
		mean := movingMean(row, f.PerUnit)
		for c := range row {
			row[c] -= mean[c]
		}
		for k := 0; k < f.PerUnit; k++ {
			var same []float64
			for c := k; c < f.cols; c += f.PerUnit {
				same = append(same, row[c])
			}
			m := medianOf(same)
			for c := k; c < f.cols; c += f.PerUnit {
				row[c] -= m
			}
		}
	}
}

// FaceMatch is how two photos of one tape lie against each other.
type FaceMatch struct {
	// Units is what is to be added to a reading of the second photo's scale, in
	// the face's own direction, to make it one of the first's.
	Units int
	// Like is the correlation of what both show there, -1…1, and Rival that at
	// the next likely place.
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
	likes := make([]float64, hi-lo+1)
	calib.SideBySide(len(likes), func(i int) {
		by := (b.First + lo + i - a.First) * a.PerUnit
		likes[i] = -1
		for dr := -faceMostShift; dr <= faceMostShift; dr++ {
			for dc := -faceMostShift; dc <= faceMostShift; dc++ {
				likes[i] = math.Max(likes[i], faceLikeness(a, b, by+dc, dr))
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
// rows, over all cells that both show.
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
	if n < a.PerUnit*a.rows || !(aa*bb > 0) {
		return -1
	}
	return ab / math.Sqrt(aa*bb)
}
