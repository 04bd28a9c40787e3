package measure

import (
	"context"
	"sync"

	"dentcount/calib"
	"dentcount/fit"
	"dentcount/photo"
)

// Kept is what measuring looks at of one photo, in Go's own memory: its brightness,
// one byte a pixel; its colours at half the size, or the file they are in where it was
// opened without them, for coarse bands, which may be those of a reed or of a rigid heddle;
// else nothing of EXIF but the focal length. A photo that is mended by hand is read from
// it again and again; the ruler is looked for once. It may be read from several goroutines
// at once.
type Kept struct {
	name    string
	gray    photo.Plane
	colours photo.HalfColours
	focal35 float64

	mu     sync.Mutex
	rulers map[calib.Unit]foundRuler // by the unit that was told
}

type foundRuler struct {
	ruler calib.Ruler
	found bool
}

// Keep takes what measuring needs out of p, which can be closed afterwards.
func Keep(p *photo.Photo) (*Kept, error) {
	g, err := p.Gray()
	if err != nil {
		return nil, err
	}
	c, err := p.HalfColours()
	if err != nil {
		return nil, err
	}
	return &Kept{name: p.Name, gray: g, colours: c, focal35: p.Focal35, rulers: map[calib.Unit]foundRuler{}}, nil
}

// Bytes is how much memory the pixels take.
func (k *Kept) Bytes() int64 { return int64(len(k.gray.Pix)) + k.colours.Bytes() }

// SizePx is the width and the height of the upright photo.
func (k *Kept) SizePx() (w, h int) { return k.gray.W, k.gray.H }

// ruler finds the ruler, or remembers it.
func (k *Kept) ruler(ctx context.Context, unit calib.Unit) (calib.Ruler, bool, error) {
	k.mu.Lock()
	known, ok := k.rulers[unit]
	k.mu.Unlock()
	if ok {
		return known.ruler, known.found, nil
	}
	r, found, err := calib.FindRuler(ctx, k.gray, k.rulerOptions(unit, nil))
	if err != nil {
		return r, false, err
	}
	k.mu.Lock()
	k.rulers[unit] = foundRuler{r, found}
	k.mu.Unlock()
	return r, found, nil
}

func (k *Kept) rulerOptions(unit calib.Unit, notOn *calib.Ruler) calib.Options {
	return calib.Options{Unit: unit, FocalPx: fit.FocalPx(k.focal35, k.gray.W, k.gray.H), NotOn: notOn, Colours: k.colours}
}
