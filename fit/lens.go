package fit

import (
	"math"
	"sort"

	"dentcount/calib"
	"dentcount/trade"
	"dentcount/vision"
)

// heights is what is known of the camera's height above the ruler's face.
type heights struct {
	mm, relU float64
	own      float64 // the part of relU that is the photo's own and not the lens's
	// ln are equally likely values of the logarithm of the true height over mm.
	ln []float64
}

// cameraHeights reckons the camera's height from what a person told, else from
// how the plane lies before a lens of known or usual focal length.
func cameraHeights(s calib.Scale, b vision.Bands, v View) heights {
	const n = 9
	if v.DistanceMM > 0 {
		return heightsOf(v.DistanceMM, tiltSpread, n)
	}
	mm, _ := distance(v, s.PxPerIn())
	own := tiltSpread
	if b.HeightIn > 0 && b.FocalPx > 0 {
		f := v.Focal35
		if f <= 0 {
			f = focalMedian
		}
		mm = b.HeightIn * trade.MMPerInch * FocalPx(f, v.WidthPx, v.HeightPx) / b.FocalPx
		own = attitudeSpread
	}
	if v.Focal35 > 0 {
		h := heightsOf(mm, math.Hypot(focalKnownSpread, own), n)
		h.own = own
		return h
	}
	h := heights{mm: mm, own: own, ln: usualFocals(3*n, mm, lensLikelihood(b, v, mm))}
	_, sd := meanSD(h.ln)
	h.relU = math.Hypot(sd, own)
	return h
}

func heightsOf(mm, relU float64, n int) heights {
	h := heights{mm: mm, relU: relU, own: relU}
	for _, z := range normalQuantiles(n) {
		h.ln = append(h.ln, relU*z)
	}
	return h
}

// lensLikelihood is the likelihood of a focal length, as the logarithm over
// focalMedian, by what the photo shows; mm is the camera's height for focalMedian.
func lensLikelihood(b vision.Bands, v View, mm float64) func(ln float64) float64 {
	square, deep := squareLikelihood(b, v), deepLikelihood(b, mm)
	return func(ln float64) float64 { return square(ln) * deep(ln) }
}

// studentLikelihood is that of Student's t for three degrees of freedom: now and
// then what was seen is misread.
func studentLikelihood(z float64) float64 { return 1 / ((1 + z*z/3) * (1 + z*z/3)) }

// squareLikelihood tells the lens by how square to its edge the ruler's marks would
// stand through it: the same for all where that was not looked at.
func squareLikelihood(b vision.Bands, v View) func(ln float64) float64 {
	if len(b.Squares) == 0 || b.FocalPx <= 0 {
		return func(float64) float64 { return 1 }
	}
	base := math.Log(FocalPx(focalMedian, v.WidthPx, v.HeightPx) / b.FocalPx)
	sq, u := b.Squares, math.Hypot(squareU, squareScatter*b.SquareU)
	return func(ln float64) float64 {
		i := sort.Search(len(sq), func(i int) bool { return sq[i].LnFocal >= base+ln })
		i = min(max(i, 1), len(sq)-1)
		t := (base + ln - sq[i-1].LnFocal) / (sq[i].LnFocal - sq[i-1].LnFocal)
		t = math.Min(math.Max(t, 0), 1)
		return studentLikelihood((sq[i-1].Off + t*(sq[i].Off-sq[i-1].Off)) / u)
	}
}

// deepLikelihood tells the lens by how deep the wires would be, seen from the height
// that goes with it: the same for all where that was not seen.
func deepLikelihood(b vision.Bands, mm float64) func(ln float64) float64 {
	if b.Kind != vision.Reed || b.Deep.LnU <= 0 {
		return func(float64) float64 { return 1 }
	}
	base, u := math.Log(b.Deep.Rel*mm/seenDeepMM), math.Hypot(seenDeepSpread, b.Deep.LnU)
	return func(ln float64) float64 { return studentLikelihood((base + ln) / u) }
}

// usualFocals are n equally likely values of the logarithm of a lens's focal
// length over focalMedian, where EXIF does not tell: most photos are taken with
// a phone's main lens, the others with some zoom, and hardly any from very near
// or far. mm is the camera's height for focalMedian, which goes with the focal
// length; seen is the likelihood of what the photo itself tells, nil for nothing.
func usualFocals(n int, mm float64, seen func(ln float64) float64) []float64 {
	const fine = 400
	lo, hi := math.Log(zoomFrom/focalMedian)-0.2, math.Log(zoomTo/focalMedian)
	var cum [fine + 1]float64
	at := func(i int) float64 { return lo + (hi-lo)*float64(i)/fine }
	for i := range fine {
		ln := (at(i) + at(i+1)) / 2
		z := (ln - math.Log(mainLens/focalMedian)) / mainLensSpread
		w := (1 - zoomShare) * math.Exp(-z*z/2) / (mainLensSpread * math.Sqrt(2*math.Pi))
		if ln > math.Log(zoomFrom/focalMedian) {
			// evenly in mm
			w += zoomShare * math.Exp(ln) * focalMedian / (zoomTo - zoomFrom)
		}
		z = (ln + math.Log(mm/usualDistanceMM)) / usualDistanceSpread
		w *= math.Exp(-z * z / 2)
		if seen != nil {
			w *= seen(ln)
		}
		cum[i+1] = cum[i] + w
	}
	out := make([]float64, n)
	i := 0
	for k := range out {
		want := (float64(k) + 0.5) / float64(n) * cum[fine]
		for cum[i+1] < want {
			i++
		}
		out[k] = at(i) + (at(i+1)-at(i))*(want-cum[i])/(cum[i+1]-cum[i])
	}
	return out
}

// distance is the camera's distance from the ruler's face in mm and its relative
// standard uncertainty, from the px per inch there alone.
func distance(v View, pxPerInch float64) (mm, relU float64) {
	if v.DistanceMM > 0 {
		return v.DistanceMM, tiltSpread
	}
	f, spread := v.Focal35, focalKnownSpread
	if f <= 0 {
		f, spread = focalMedian, focalSpread
	}
	return FocalPx(f, v.WidthPx, v.HeightPx) / math.Abs(pxPerInch) * 25.4, math.Hypot(spread, tiltSpread)
}

// FocalPx is the focal length in pixels of a photo with this 35 mm equivalent:
// between the two ways of reckoning it (see focalKnownSpread). 0 for 0.
func FocalPx(focal35 float64, widthPx, heightPx int) float64 {
	w, h := float64(widthPx), float64(heightPx)
	byWidth := focal35 / 36 * math.Max(w, h)
	byDiagonal := focal35 / 43.2666 * math.Hypot(w, h)
	return math.Sqrt(byWidth * byDiagonal)
}
