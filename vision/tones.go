package vision

import (
	"math"
	"math/cmplx"

	"dentcount/calib"
	"dentcount/photo"
)

// zone is the bands' tone at one depth, in one window of the row: at its own
// frequency (one), at twice it (two), and how strong at half of it, in grey
// levels. Phases count from the same place in all zones of a window, so that the
// square of one has the phase that two has where every spacing is alike.
type zone struct {
	depth    float64 // px from the marked edge, negative towards the wires beside it
	one, two complex128
	half     float64
	halfTone complex128 // of which half is the strength
	// beside is how strong the tone half-way between those of one and half is. Where every
	// second band looks like every second one there is none; where bands differ by chance it
	// is about as strong as half.
	beside float64
	mean   float64 // grey level
	// share is the strongest of the tones in standard deviations of the grey levels; 0
	// where those hardly differ.
	share float64
}

// From tonalShare of a zone's contrast on a tone carries it. What carries less of it
// beside the edge already, as narrow slots do, is no more than that farther off: asNear
// of it is enough there.
const tonalShare, asNear = 0.5, 0.7

// Between these depths bands are seen beside the edge, clear of the ruler's shadow and of
// their ends.
const besideNearIn, besideFarIn = 0.03, 0.4

// leastTonal is the share from which on a tone carries the contrast where it carries
// the share near beside the edge.
func leastTonal(near float64) float64 { return math.Min(tonalShare, asNear*near) }

// window is eight spacings side by side, in zones by depth.
type window struct {
	along   float64 // px, its middle
	spacing float64 // px there, which perspective stretches along the edge
	zones   []zone
}

// tonal are the zones of which a tone carries the contrast.
func (w window) tonal(ppi float64) []zone {
	var near []float64
	for _, z := range w.zones {
		if z.depth > -besideFarIn*ppi && z.depth < -besideNearIn*ppi {
			near = append(near, z.share)
		}
	}
	if len(near) == 0 {
		return nil
	}
	least := leastTonal(medianOf(near))
	var out []zone
	for _, z := range w.zones {
		if z.share > 0 && z.share >= least {
			out = append(out, z)
		}
	}
	return out
}

// stretch is a part of the ruler's line.
type stretch struct {
	frame  calib.Frame
	lo, hi float64
}

// beyond are the stretches before the first mark and past the last one, where
// nothing lies on the part: straight on from the edge, to the picture's end or
// as far as the lean can be trusted.
func beyond(p photo.Plane, s calib.Scale, ppi float64) []stretch {
	const farIn, leastIn = 6.0, 0.4
	var out []stretch
	for _, e := range [2]struct{ at, dir float64 }{{s.Lo, -1}, {s.Hi, 1}} {
		x0, y0 := s.Frame.Point(e.at, 0)
		x1, y1 := s.Frame.Point(e.at-e.dir*0.5*ppi, 0)
		dx, dy := e.dir*(x0-x1), e.dir*(y0-y1)
		n := math.Hypot(dx, dy)
		f := calib.Frame{TX: dx / n, TY: dy / n, NX: s.Frame.NX, NY: s.Frame.NY, Half: s.Frame.Half}
		f.X, f.Y = x0-e.at*f.TX, y0-e.at*f.TY
		// past the ruler's own end, which lies a little behind its last mark
		a, b := e.at+e.dir*0.3*ppi, e.at+e.dir*farIn*ppi
		lo, hi := f.Inside(p, math.Min(a, b), math.Max(a, b), 0, 0)
		if hi-lo > leastIn*ppi {
			out = append(out, stretch{f, lo, hi})
		}
	}
	return out
}

// reachIn is how far on either side of the marked edge the tones are looked at: to
// the part's end where the edge lies near the other one. A whole number of zones, so
// that one lies on the edge.
const reachIn = 188 * rowsPerZone * rowIn

// zonePx is how far apart zones are.
func zonePx(ppi float64) float64 { return rowsPerZone * rowPx(ppi) }

const rowsPerZone, rowIn = 2, 0.012

func rowPx(ppi float64) float64 { return math.Max(1, rowIn*ppi) }

// tonesOf measures the tone in windows of eight spacings side by side along a
// stretch of the ruler's line, each in rows from reachIn before the marked edge
// to deepestIn behind it: the windows are short enough that a small error of
// lean, and a zone that runs aslant to the ruler, are harmless.
func tonesOf(p photo.Plane, s calib.Scale, along stretch, deepestIn float64, l lean, t tone, ppi float64) []window {
	T := ppi / t.PerInch
	step := rowPx(ppi)
	var depths []float64
	for d := -reachIn * ppi; d < deepestIn*ppi; d += zonePx(ppi) {
		depths = append(depths, d)
	}
	rows := make([][]window, len(depths))
	calib.SideBySide(len(depths), func(i int) {
		st := beside(p, along.frame, along.lo, along.hi, depths[i], depths[i]+step*(rowsPerZone-1), step)
		if st.cols > 0 {
			rows[i] = windowTones(st.sheared(l, 0, st.rows, 1), T, windowSpacings, along.lo, depths[i], s)
		}
	})
	var out []window
	for _, row := range rows {
		for j, w := range row {
			if j >= len(out) {
				out = append(out, window{along: w.along, spacing: w.spacing})
			}
			out[j].zones = append(out[j].zones, w.zones...)
		}
	}
	return out
}

// windowSpacings is how many spacings a window holds where nothing asks for
// another number.
const windowSpacings = 8

// windowTones measures the tone in windows of so many spacings, each half over the
// next; a window of which a part lies outside the picture has no zone.
func windowTones(prof []float64, T, spacings, lo, depth float64, s calib.Scale) []window {
	w := int(math.Min(spacings*T, float64(len(prof))-1))
	if float64(w) < 3*T {
		return nil
	}
	var out []window
	for a := 0; a+w < len(prof); a += w / 2 {
		at := lo + float64(a+w/2)
		v := window{along: at, spacing: T * s.InPerPx((s.Lo+s.Hi)/2) / s.InPerPx(at)}
		if z, ok := windowTone(prof[a:a+w], v.spacing); ok {
			z.depth = depth
			v.zones = []zone{z}
		}
		out = append(out, v)
	}
	return out
}

// fourTones are the tones of a period, of its half, of its double and of four thirds of it
// in a window, by Goertzel's recurrence: their phases count from the window's last place.
// Over eight spacings a few per cent off cost nothing. The four are reckoned together, since
// each alone would wait for its own last sum.
func fourTones(v []float64, period float64) (one, two, half, beside complex128) {
	var sin, cos [4]float64
	for i, p := range [4]float64{period, period / 2, period * 2, period * 4 / 3} {
		sin[i], cos[i] = math.Sincos(2 * math.Pi / p)
	}
	c1, c2, c3, c4 := 2*cos[0], 2*cos[1], 2*cos[2], 2*cos[3]
	var a1, a2, b1, b2, h1, h2, q1, q2 float64
	for _, x := range v {
		a1, a2 = x+c1*a1-a2, a1
		b1, b2 = x+c2*b1-b2, b1
		h1, h2 = x+c3*h1-h2, h1
		q1, q2 = x+c4*q1-q2, q1
	}
	w := float64(len(v))
	tone := func(s1, s2 float64, i int) complex128 { return complex((s1-s2*cos[i])*4/w, s2*sin[i]*4/w) }
	return tone(a1, a2, 0), tone(b1, b2, 1), tone(h1, h2, 2), tone(q1, q2, 3)
}

// windowTone is the tone in one window; local is the spacing there. ok is false where not
// all of it was seen.
func windowTone(seg []float64, local float64) (z zone, ok bool) {
	var mean, sq float64
	for _, v := range seg {
		if v != v {
			return z, false
		}
		mean += v
	}
	w := float64(len(seg))
	mean /= w
	// Under Hann's window, which advances by a rotation as the tones do.
	hann := make([]float64, len(seg))
	sn, cs := math.Sincos(math.Pi / w)
	re, im := math.Cos(math.Pi/2/w), math.Sin(math.Pi/2/w)
	for i, v := range seg {
		hann[i] = (v - mean) * im * im
		re, im = re*cs-im*sn, re*sn+im*cs
		sq += (v - mean) * (v - mean)
	}
	sd := math.Sqrt(sq / w)
	one, two, half, beside := fourTones(hann, local)
	z = zone{one: one, two: two, half: cmplx.Abs(half), halfTone: half, beside: cmplx.Abs(beside), mean: mean}
	const faint = 1.2 // grey levels
	if sd >= faint {
		z.share = math.Max(math.Max(cmplx.Abs(z.one), cmplx.Abs(z.two)), z.half) / sd
	}
	return z, true
}
