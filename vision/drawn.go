package vision

import "math"

// A row of wires, folded into one spacing for each of its stretches, can be drawn:
// strips that look the same all along, the side face that each turns towards the
// camera's foot, as wide as its depth makes it there, and what lies beneath, all
// blurred. Where front and back stand less than a few pixels apart their edges run
// into each other, and no line can be laid through either; but what spacing, width
// and depth draw the row best can still be asked, and how well it tells them.

// drawing is what a row of wires is drawn from. Lengths are in spacings of the
// lattice that the row was folded by.
type drawing struct {
	stretch float64 // of the lattice: the strips' spacing is 1 + stretch
	place   float64 // of the strips' middle
	wide    float64
	depth   float64 // over the camera's height
	blur    float64 // standard deviation
	foot    float64 // the place where no side faces are seen, from the row's middle
}

// drawnRow is a folded row to be drawn.
type drawnRow struct {
	y [][arcBins]float64 // grey levels off the mean, the light evened
	// x are the places of the stretches from the middle of the row, half is half the
	// row's length.
	x    []float64
	half float64
	// all are the squares of y off their stretches' means, summed; squares those of y.
	all, squares float64
}

func newDrawnRow(f folded, at []float64, l lattice) drawnRow {
	r := drawnRow{
		y: make([][arcBins]float64, len(f)), x: make([]float64, len(f)),
		half: float64(l.count-1) / 2,
	}
	for i, g := range f.evened() {
		r.y[i] = g
		var mean float64
		for _, v := range g {
			mean += v / arcBins
		}
		for _, v := range r.y[i] {
			r.all += (v - mean) * (v - mean)
			r.squares += v * v
		}
		r.x[i] = (at[i] - l.middle()) / l.T
	}
	return r
}

// What a stretch is drawn with: what lies beneath, the strips, their side faces, and
// how the strips' tone falls off across them.
const (
	beneathTone = iota
	stripTone
	faceTone
	slopeTone
	curveTone
	tonesDrawn
	// past the foot the faces look the other way, and may be of another tone
	otherFace  = tonesDrawn
	tonesInAll = tonesDrawn + 1
)

// ownTone is how little the tones of one stretch differ from those of all, for the
// square of a difference costs so many times a bin's: light and what lies beneath
// change along a row, the shape of a wire does not. Stated; of 96 drawn rows (seed
// 4803) factors of 3 either way changed little.
var ownTone = [tonesDrawn]float64{beneathTone: 0.03, stripTone: 0.3, faceTone: 1, slopeTone: 10, curveTone: 10}

type toneMatrix [tonesInAll][tonesInAll]float64

// leaves is the sum of squares that a drawing leaves of the row, tones as they fit
// best.
func (r *drawnRow) leaves(d drawing) float64 {
	var all toneMatrix
	var rhs [tonesInAll]float64
	left := r.squares
	for i := range r.y {
		side := d.depth * (r.x[i] - d.foot)
		xx, xy := d.sums(d.place+d.stretch*r.x[i], side, &r.y[i])
		of := [tonesDrawn]int{0, 1, 2, 3, 4}
		if side < 0 {
			of[faceTone] = otherFace
		}
		var m [tonesDrawn][2*tonesDrawn + 1]float64
		// The stretch's own tones are eliminated, so that those of all remain.
		for p := range tonesDrawn {
			copy(m[p][:], xx[p][:])
			copy(m[p][tonesDrawn:], xx[p][:])
			m[p][2*tonesDrawn] = xy[p]
			m[p][p] += ownTone[p]
		}
		for p := range tonesDrawn {
			for q := range tonesDrawn {
				if q == p {
					continue
				}
				k := m[q][p] / m[p][p]
				for s := p; s < len(m[q]); s++ {
					m[q][s] -= k * m[p][s]
				}
			}
		}
		for p := range tonesDrawn {
			for s := tonesDrawn; s < len(m[p]); s++ {
				m[p][s] /= m[p][p]
			}
		}
		// With M = X'X + own, what remains of X'X is own·M⁻¹·X'X, and of X'y likewise.
		for p := range tonesDrawn {
			for q := range tonesDrawn {
				all[of[p]][of[q]] += ownTone[p] * m[p][tonesDrawn+q]
			}
			rhs[of[p]] += ownTone[p] * m[p][2*tonesDrawn]
			left -= xy[p] * m[p][2*tonesDrawn]
		}
	}
	return math.Max(left-all.explains(rhs), 0)
}

// explains is b·A⁻¹·b of the normal equations A·x = b.
func (a toneMatrix) explains(b [tonesInAll]float64) float64 {
	const least = 1e-3 // a tone that no stretch shows
	var sum float64
	for p := range tonesInAll {
		a[p][p] += least
		sum += b[p] * b[p] / a[p][p]
		for q := p + 1; q < tonesInAll; q++ {
			k := a[q][p] / a[p][p]
			for s := p; s < tonesInAll; s++ {
				a[q][s] -= k * a[p][s]
			}
			b[q] -= k * b[p]
		}
	}
	return sum
}

// sums are the sums over the bins of a stretch of the products of its tones, and of
// those with y, where the strips' middle lies at c and their side faces are so wide,
// before the strip where side is positive.
func (d drawing) sums(c, side float64, y *[arcBins]float64) (xx [tonesDrawn][tonesDrawn]float64, xy [tonesDrawn]float64) {
	var strip stripBins
	var face [arcBins]float64
	a, b := c-d.wide/2, c+d.wide/2
	free := 1 - d.wide // the next strip hides the rest of a face
	blurredBox(a, b, d.blur, func(bin int, at, v float64) { strip.add(bin, (at-c)/(d.wide/2), v) })
	onFace := func(bin int, _, v float64) { face[bin] += v }
	if side > 0 {
		blurredBox(a-math.Min(side, free), a, d.blur, onFace)
	} else {
		blurredBox(b, b+math.Min(-side, free), d.blur, onFace)
	}
	for j, v := range y {
		xy[beneathTone] += v
		var x [tonesDrawn]float64
		if x[faceTone] = face[j]; x[faceTone] != 0 {
			xy[faceTone] += face[j] * v
			xx[beneathTone][faceTone] += face[j]
			xx[faceTone][faceTone] += face[j] * face[j]
		}
		if strip.even[j] == 0 {
			continue
		}
		x[stripTone], x[slopeTone], x[curveTone] = strip.even[j], strip.slope[j], strip.curve[j]
		for _, p := range [...]int{stripTone, slopeTone, curveTone} {
			xy[p] += x[p] * v
			xx[beneathTone][p] += x[p]
			xx[p][stripTone] += x[p] * x[stripTone]
			xx[p][faceTone] += x[p] * x[faceTone]
		}
		xx[slopeTone][slopeTone] += x[slopeTone] * x[slopeTone]
		xx[slopeTone][curveTone] += x[slopeTone] * x[curveTone]
		xx[curveTone][curveTone] += x[curveTone] * x[curveTone]
	}
	xx[beneathTone][beneathTone] = arcBins
	for _, p := range [...]int{stripTone, faceTone, slopeTone, curveTone} {
		xx[p][beneathTone] = xx[beneathTone][p]
	}
	for _, p := range [...]int{slopeTone, curveTone} {
		xx[stripTone][p], xx[faceTone][p] = xx[p][stripTone], xx[p][faceTone]
	}
	xx[faceTone][stripTone], xx[curveTone][slopeTone] = xx[stripTone][faceTone], xx[slopeTone][curveTone]
	return xx, xy
}

// binAt is the middle of a bin, in spacings; a spacing reaches from -½ to ½.
func binAt(j int) float64 { return (float64(j)+0.5)/arcBins - 0.5 }

// stripBins are a spacing's bins of the strips: how much of each is strip, and that
// times the slope and the curve of the tone across it. Where the blur draws two strips
// out into one bin it holds the sum of both: a tone taken from the nearer one alone
// would jump where they are equally near, and the drawing's cost with it.
type stripBins struct{ even, slope, curve [arcBins]float64 }

// add adds so much of a strip to a bin that lies at t from its middle, in halves of its
// width.
func (s *stripBins) add(bin int, t, much float64) {
	t = math.Min(math.Max(t, -1.5), 1.5) // what the blur draws out
	s.even[bin] += much
	s.slope[bin] += much * t
	s.curve[bin] += much * (t*t - 1.0/3)
}

// blurredBox tells add how much of each bin lies between a and b, over and over by
// spacings, and where the bin is, seen from a and b. It is blurred by a parabola, which
// a Gaussian hardly differs from.
func blurredBox(a, b, blur float64, add func(bin int, at, much float64)) {
	if b <= a {
		return
	}
	reach := math.Sqrt(5) * blur // of the parabola with that standard deviation
	upTo := func(t float64) float64 {
		switch t /= reach; {
		case t <= -1:
			return 0
		case t >= 1:
			return 1
		default:
			return 0.5 + 0.75*t - 0.25*t*t*t
		}
	}
	lo := int(math.Floor((a + 0.5 - reach) * arcBins))
	hi := int(math.Ceil((b + 0.5 + reach) * arcBins))
	k := ((lo % arcBins) + arcBins) % arcBins
	for j := lo; j < hi; j++ {
		x := binAt(j)
		add(k, x, upTo(x-a)-upTo(x-b))
		if k++; k == arcBins {
			k = 0
		}
	}
}
