package calib

import "dentcount/photo"

// pyramid is a photo at full size, half, a quarter …: what is read at each
// costs alike whatever the photo's size, and a mark is averaged over its width
// rather than met by a sample.
type pyramid []level

// level is the photo reduced: lengths by k, a power of two. A point x of the
// photo lies at (x+0.5)·k-0.5.
type level struct {
	photo.Plane
	k float64
}

// Long side of the smallest level, and of the one that ladders are sought on.
const (
	leastSide = 900
	workSide  = 3000
)

// readPx is the mark spacing that is enough for reading: the level is taken at
// which marks are this far apart or a little more. Lengths are measured to a
// hundredth of the deepest mark looked for, 18 spacings: a pixel at this size.
const readPx = 9

func newPyramid(p photo.Plane) (pyramid, error) {
	py := pyramid{{p, 1}}
	for {
		last := py[len(py)-1]
		long := max(last.W, last.H)
		if long/2 < leastSide {
			return py, nil
		}
		half, _, err := last.Shrink((long + 1) / 2)
		if err != nil {
			return nil, err
		}
		py = append(py, level{half, last.k / 2})
	}
}

// work is the level on which ladders are sought.
func (py pyramid) work() level {
	for _, l := range py {
		if max(l.W, l.H) <= workSide {
			return l
		}
	}
	return py[len(py)-1]
}

// forSpacing is the level on which marks of a spacing, in px of the photo, are read.
func (py pyramid) forSpacing(px float64) level {
	best := py[0]
	for _, l := range py {
		if px*l.k >= readPx {
			best = l
		}
	}
	return best
}
