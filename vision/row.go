package vision

import (
	"math"
	"sort"

	"dentcount/calib"
)

// locate finds every band's place by likeness to the typical band, and the
// straight line of place on index through the good ones. plain is the signal as it
// was seen.
func (b *Bands) locate(g, plain signal, s calib.Scale, perInch float64) {
	T := 1 / perInch
	n := int(math.Round(T / g.du))
	if n < 3 {
		return
	}
	const bins = 48
	var tpl [bins]float64
	fold := func(center func(k int) float64, weights []float64) {
		var sum, cnt [bins]float64
		for i, v := range g.v {
			if v != v {
				continue
			}
			u := g.u0 + float64(i)*g.du
			k := int(math.Floor((u-center(0))/T + 0.5))
			w := 1.0
			if weights != nil {
				if k < 0 || k >= len(weights) {
					continue
				}
				w = weights[k]
			}
			ph := (u-center(k))/T + 0.5
			j := int(math.Floor(ph * bins))
			if j < 0 || j >= bins {
				continue
			}
			sum[j] += w * v
			cnt[j] += w
		}
		for j := range tpl {
			tpl[j] = 0
			if cnt[j] > 0 {
				tpl[j] = sum[j] / cnt[j]
			}
		}
	}
	start := g.u0
	fold(func(k int) float64 { return start + float64(k)*T }, nil)
	// the band is where the profile leaves its mean the most
	ext := 0
	for j := range tpl {
		if math.Abs(smoothAt(tpl[:], j)) > math.Abs(smoothAt(tpl[:], ext)) {
			ext = j
		}
	}
	start += (float64(ext) + 0.5 - bins/2) / bins * T
	for start > g.u0+T {
		start -= T
	}
	for start < g.u0 {
		start += T
	}
	count := int((g.u0+float64(len(g.v)-1)*g.du-start)/T) + 1
	place := make([]float64, count)
	match := make([]float64, count)
	a, slope := start, T
	for pass := 0; pass < 3; pass++ {
		w := make([]float64, count)
		for k := range w {
			w[k] = 1
			if pass > 0 && !(match[k] >= 0.4) {
				w[k] = 0
			}
		}
		fold(func(k int) float64 { return a + slope*float64(k) }, w)
		for k := range place {
			place[k], match[k] = g.bestShift(tpl[:], a+slope*float64(k), T)
		}
		plain.dropFaint(place, match, T)
		a, slope, b.ScatterIn, b.U = robustLine(place, match, T)
	}
	typical := medianOf(match)
	b.PerInch = 1 / slope
	b.U = b.U / slope * b.PerInch
	b.Row = b.Row[:0]
	for k := range place {
		r := place[k] - (a + slope*float64(k))
		st := Good
		switch {
		case match[k] < 0.35*typical || math.IsNaN(match[k]):
			st = Missing
			place[k] = a + slope*float64(k)
		case match[k] < 0.6*typical:
			st = Hidden
		case math.Abs(r) > math.Max(5*b.ScatterIn, 0.1*T):
			st = Bent
		}
		b.Row = append(b.Row, Band{Index: k, In: place[k], Along: s.Along(place[k]), Match: match[k], State: st})
	}
	b.Row = trimEnds(b.Row)
	if len(b.Row) > 0 {
		b.Strays = g.strays(tpl[:], b.Row, slope)
	}
}

// strays is how many bands stand where none belongs, midway between two of the row: such
// as stand out from what lies beside them half as much as the typical band does. The
// template is of the row, one spacing T wide, a band in its middle.
func (g signal) strays(tpl []float64, row []Band, T float64) (strays int) {
	// A band and its half of the spacing, about their mean.
	half := len(tpl) / 4
	mid := append([]float64(nil), tpl[half:len(tpl)-half]...)
	mean := 0.0
	for _, v := range mid {
		mean += v / float64(len(mid))
	}
	stands := func(u float64) (sum float64) {
		for i, v := range mid {
			sum += (v - mean) * g.at(u+((float64(i)+0.5)/float64(len(mid))-0.5)*T/2)
		}
		return sum
	}
	own := make([]float64, len(row))
	for i, b := range row {
		own[i] = stands(b.In)
	}
	typical := medianOf(own)
	for i := range row[1:] {
		if stands((row[i].In+row[i+1].In)/2) > typical/2 {
			strays++
		}
	}
	return strays
}

// dropFaint makes the likeness of bands that are hardly there NaN: those a tenth as
// strong as the strongest tenth or less, in a signal whose contrast was not evened.
// Bands in the shade are stronger than that, a table's grain is not. The share is a
// stated one, seen to do on two drawn combs (seeds 4701 and 4741).
func (g signal) dropFaint(place, match []float64, T float64) {
	const least, strongest = 0.1, 0.9
	strong := make([]float64, len(place))
	var seen []float64
	for k, u := range place {
		if strong[k] = g.rms(u-T/2, u+T/2); !math.IsNaN(strong[k]) {
			seen = append(seen, strong[k])
		}
	}
	if len(seen) == 0 {
		return
	}
	sort.Float64s(seen)
	most := seen[int(strongest*float64(len(seen)-1))]
	for k, v := range strong {
		if v < least*most {
			match[k] = math.NaN()
		}
	}
}

// goodOf is the signal without the bands of the row, T apart, that are none, bent or
// hidden: what yarn shows across them is neither wire nor opening.
func (g signal) goodOf(row []Band, T float64) signal {
	o := signal{u0: g.u0, du: g.du, v: append([]float64(nil), g.v...)}
	for _, b := range row {
		if b.State == Good {
			continue
		}
		lo, hi := int(math.Ceil((b.In-T/2-g.u0)/g.du)), int((b.In+T/2-g.u0)/g.du)
		for i := max(lo, 0); i <= min(hi, len(o.v)-1); i++ {
			o.v[i] = math.NaN()
		}
	}
	return o
}

// trimEnds drops what lies before the first three good bands in a row and after
// the last, and at either end stretches of which too few are good: the ruler may be
// longer than the part, and past its end cap there are no wires to be missing or
// bent, but a table's grain may pass for some. Indices count from the first band
// kept.
func trimEnds(row []Band) []Band {
	const run = 3
	row = mostlyGood(row)
	firstGood := func(step int) int {
		i := 0
		if step < 0 {
			i = len(row) - 1
		}
		for n := 0; i >= 0 && i < len(row); i += step {
			if n++; row[i].State != Good {
				n = 0
			}
			if n == run {
				return i - step*(run-1)
			}
		}
		return -1
	}
	lo, hi := firstGood(1), firstGood(-1)
	if lo < 0 || hi <= lo {
		return nil
	}
	row = row[lo : hi+1]
	base := row[0].Index
	for i := range row {
		row[i].Index -= base
	}
	return row
}

// mostlyGood is the stretch of a row that is best by its good bands less half as
// many again of those that are missing or hidden.
func mostlyGood(row []Band) []Band {
	const against = 1.5 // stated: three in five must be good
	best, sum := 0.0, 0.0
	lo, hi, from := 0, 0, 0
	for i, b := range row {
		switch b.State {
		case Good:
			sum++
		case Missing, Hidden:
			sum -= against
		}
		if sum <= 0 {
			sum, from = 0, i+1
		}
		if sum > best {
			best, lo, hi = sum, from, i+1
		}
	}
	return row[lo:hi]
}

// bestShift is the place within a third of a spacing of u where one spacing of
// the signal is most like the template, and the correlation there.
func (g signal) bestShift(tpl []float64, u, T float64) (place, match float64) {
	bins := len(tpl)
	m := int(math.Max(9, math.Round(T/g.du)))
	corr := func(c float64) float64 {
		var ab, aa, bb, ma, mb float64
		n := 0
		for i := 0; i < m; i++ {
			ph := (float64(i)+0.5)/float64(m) - 0.5
			v := g.at(c + ph*T)
			if v != v {
				return math.NaN()
			}
			q := (ph+0.5)*float64(bins) - 0.5
			k := int(math.Floor(q))
			f := q - float64(k)
			t := tpl[(k+bins)%bins]*(1-f) + tpl[(k+1)%bins]*f
			ab += v * t
			aa += v * v
			bb += t * t
			ma += v
			mb += t
			n++
		}
		k := float64(n)
		d := (aa - ma*ma/k) * (bb - mb*mb/k)
		if d <= 0 {
			return 0
		}
		return (ab - ma*mb/k) / math.Sqrt(d)
	}
	const steps = 13
	best, bi := math.Inf(-1), -1
	var c [steps]float64
	h := 0.6 * T / (steps - 1)
	for i := range c {
		c[i] = corr(u + (float64(i)-(steps-1)/2)*h)
		if c[i] > best {
			best, bi = c[i], i
		}
	}
	if bi < 0 {
		return u, math.NaN()
	}
	d := 0.0
	if bi > 0 && bi < steps-1 {
		if q := c[bi-1] - 2*c[bi] + c[bi+1]; q < 0 {
			d = 0.5 * (c[bi-1] - c[bi+1]) / q
		}
	}
	return u + (float64(bi)-(steps-1)/2+d)*h, best
}

// robustLine fits place = a + slope·k by Tukey's biweight; bands unlike the
// typical one weigh nothing. uSlope is the standard uncertainty of the slope.
func robustLine(place, match []float64, T float64) (a, slope, sd, uSlope float64) {
	typical := medianOf(match)
	w := make([]float64, len(place))
	for k := range w {
		if match[k] >= 0.5*typical {
			w[k] = 1
		}
	}
	sd = 0.05 * T
	var sw, swk, swkk, swx, swkx float64
	for it := 0; it < 12; it++ {
		sw, swk, swkk, swx, swkx = 0, 0, 0, 0, 0
		for k, x := range place {
			if w[k] == 0 || x != x {
				continue
			}
			f := float64(k)
			sw += w[k]
			swk += w[k] * f
			swkk += w[k] * f * f
			swx += w[k] * x
			swkx += w[k] * f * x
		}
		den := sw*swkk - swk*swk
		if den <= 0 {
			return 0, T, T, T
		}
		slope = (sw*swkx - swk*swx) / den
		a = (swx - slope*swk) / sw
		var abs []float64
		for k, x := range place {
			if match[k] >= 0.5*typical && x == x {
				abs = append(abs, math.Abs(x-a-slope*float64(k)))
			}
		}
		sd = math.Max(1.4826*medianOf(abs), 1e-5)
		for k, x := range place {
			w[k] = 0
			if match[k] >= 0.5*typical && x == x {
				if u := (x - a - slope*float64(k)) / (4.7 * sd); math.Abs(u) < 1 {
					w[k] = (1 - u*u) * (1 - u*u)
				}
			}
		}
	}
	uSlope = sd * math.Sqrt(sw/(sw*swkk-swk*swk))
	return a, slope, sd, uSlope
}
