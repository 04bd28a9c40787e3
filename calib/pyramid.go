package calib

import "dentcount/photo"

// pyramid is a photo at several sizes: halved and halved again for reading
// marks, so that a reading costs alike whatever the photo's size and a mark is
// averaged over its width rather than met by a sample; and one size on which
// edges and combs are sought.
type pyramid struct {
	levels []level // the photo itself, its half, its quarter …
	work   level
}

// level is the photo reduced: lengths by k. A point x of the photo lies at
// (x+0.5)·k-0.5.
type level struct {
	photo.Plane
	k float64
}

const (
	workSide  = 2400 // long side of the work level at most
	leastSide = 900  // and of the smallest of the halved ones at least
)

// readPx is the mark spacing that is enough for reading: the level is taken at
// which marks are this far apart, or up to twice as far.
const readPx = 9

func newPyramid(p photo.Plane) (pyramid, error) {
	py := pyramid{levels: []level{{p, 1}}}
	for {
		last := py.levels[len(py.levels)-1]
		long := max(last.W, last.H)
		if long/2 < leastSide {
			break
		}
		half, k, err := last.Shrink((long + 1) / 2)
		if err != nil {
			return pyramid{}, err
		}
		py.levels = append(py.levels, level{half, last.k * k})
	}
	var err error
	py.work, err = py.reduced(workSide)
	return py, err
}

// reduced is the photo with a long side of at most sidePx, made from the
// smallest level that is no smaller.
func (py pyramid) reduced(sidePx int) (level, error) {
	from := py.levels[0]
	for _, l := range py.levels {
		if max(l.W, l.H) >= sidePx {
			from = l
		}
	}
	small, k, err := from.Shrink(sidePx)
	return level{small, from.k * k}, err
}

// forSpacing is the level on which marks of a spacing, in px of the photo, are read.
func (py pyramid) forSpacing(px float64) level {
	best := py.levels[0]
	for _, l := range py.levels {
		if px*l.k >= readPx {
			best = l
		}
	}
	return best
}
