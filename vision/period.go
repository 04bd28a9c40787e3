package vision

import (
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/dsp/fourier"

	"dentcount/calib"
)

// spectrum is the amplitude of a Hann-windowed signal by frequency, per inch.
type spectrum struct {
	df  float64
	amp []float64
	// width is half of that of a line under Hann's window.
	width float64
}

func (s signal) spectrum() spectrum {
	n := 1
	for n < 4*len(s.v) {
		n *= 2
	}
	buf := make([]float64, n)
	var mean float64
	k := 0
	for _, v := range s.v {
		if v == v {
			mean += v
			k++
		}
	}
	if k > 0 {
		mean /= float64(k)
	}
	for i, v := range s.v {
		if v == v {
			w := math.Sin(math.Pi * (float64(i) + 0.5) / float64(len(s.v)))
			buf[i] = (v - mean) * w * w
		}
	}
	c := fourier.NewFFT(n).Coefficients(nil, buf)
	sp := spectrum{df: 1 / (float64(n) * s.du), amp: make([]float64, len(c)), width: 2 / (float64(len(s.v)) * s.du)}
	for i, z := range c {
		sp.amp[i] = cmplx.Abs(z) * 4 / float64(max(1, k))
	}
	return sp
}

// floorNear is the median amplitude around f, leaving out f itself.
func (sp spectrum) floorNear(f, lineWidth float64) float64 {
	var v []float64
	lo, hi := int((f-12*lineWidth)/sp.df), int((f+12*lineWidth)/sp.df)
	for i := max(2, lo); i <= hi && i < len(sp.amp); i++ {
		if math.Abs(float64(i)*sp.df-f) > 2.5*lineWidth {
			v = append(v, sp.amp[i])
		}
	}
	if len(v) == 0 {
		return 0
	}
	sort.Float64s(v)
	return v[len(v)/2]
}

// tone is a periodic part of a signal.
type tone struct {
	PerInch float64 // frequency
	U       float64 // standard uncertainty of PerInch, spectral
	Line    float64 // amplitude of the line over the floor beside it
	// Strongest is the frequency of the strongest line: PerInch, or a harmonic of it.
	Strongest float64
}

// findPeriod finds the fundamental of the signal between fMin and fMax per
// inch. Octaves are weighed explicitly: from the line that counts, a half and a
// third of its frequency are the fundamental where they are real lines, or where
// what they are whole parts of are. ok is false where no line stands out.
func findPeriod(s signal, fMin, fMax float64) (t tone, ok bool) {
	sp := s.spectrum()
	span := float64(len(s.v)) * s.du
	at := sp.strongest(fMin, fMax)
	if at == 0 {
		return t, false
	}
	least := leastShare * sp.amplitude(at)
	strongest, f := at, 0.0
	if sp.stands(at) < plainTone {
		if at, f = sp.behindGrain(fMin, fMax, least); at == 0 {
			at = strongest
		}
	}
	if sp.stands(at) < 5 {
		return t, false
	}
	if f == 0 {
		f = at
		for k := 2.0; k <= 3; k++ {
			if g := at / k; g >= fMin && (sp.hasTone(g, least) || sp.partOf(at, k, least) >= 2) {
				f = g
				break
			}
		}
		if f == at {
			// three lines five times as high as what lies beside them, see fundamentalOf
			const plainRow = 2.75
			f = sp.fundamentalOf(at, fMin, least, plainRow)
		}
	}
	for k := sp.subharmonic(s, f, fMin, least); k > 1; k = sp.subharmonic(s, f, fMin, least) {
		f /= k
	}
	t.Strongest = strongest
	if at != strongest {
		t.Strongest = sp.strongestOf(f, at)
	}
	t.Line = sp.stands(at)
	t.PerInch = refine(s, f)
	// Rife & Boorstyn 1974: var(f) ≥ 6σ²/((2π)² A² n) / span², a tone in white noise;
	// the floor of the spectrum stands for σ.
	t.U = math.Sqrt(6) / (2 * math.Pi * span) / math.Max(t.Line, 1) * 2
	return t, true
}

const (
	// plainTone is how far over the spectrum's floor lines stand that are no chance.
	// Wood has a grain of its own, which makes lines as weak as the least that is looked
	// at. Of 45 drawn rigid heddles (seed 4801) twelve have such a fundamental: it stands
	// out by ten times and more. A weaker one subharmonic may still find.
	plainTone = 8
	// leastShare of the strongest line's amplitude have others that count.
	leastShare = 0.10
)

// strongest is where between fMin and fMax the highest of the spectrum's peaks is, 0
// where there is none.
func (sp spectrum) strongest(fMin, fMax float64) (at float64) {
	best := 0.0
	sp.peaks(fMin, fMax, func(f, a float64) {
		if a > best {
			best, at = a, f
		}
	})
	return at
}

// behindGrain is the line that stands out most, of at least so much, and its fundamental;
// 0 where none is plain. Rust, which bites some wires and leaves others, and the grain of
// wood make the strongest lines where they are coarse; but those hardly stand out from what
// lies beside them, and those of the bands do.
func (sp spectrum) behindGrain(fMin, fMax, least float64) (at, f float64) {
	const some = 1.0
	best := float64(plainTone)
	sp.peaks(fMin, fMax, func(f, a float64) {
		if a >= least {
			if s := sp.stands(f); s >= best {
				best, at = s, f
			}
		}
	})
	return at, sp.fundamentalOf(at, fMin, least, some)
}

// fundamentalOf is of which row of lines that at at is one, told by all of the row together: the
// finest lines may be the plainest, for grain is coarse. at itself where nothing tells.
func (sp spectrum) fundamentalOf(at, fMin, least, enough float64) float64 {
	// By chance a line stands twice as high as what lies beside it, hardly ever five times.
	const chance, nearly = 2.0, 0.75
	var told [5]float64
	most := 0.0
	for k := 2; k < len(told) && at/float64(k) >= fMin; k++ {
		for m := 1; m <= 2*k; m++ {
			if m%k != 0 {
				told[k] += math.Log(math.Max(1, sp.line(float64(m)*at/float64(k), least)/chance))
			}
		}
		most = math.Max(most, told[k])
	}
	// What tells of every second of a row tells of every fourth, too, and a little by
	// chance: so the row with the fewest lines between of those told about as well.
	for k := range told {
		if most > enough && told[k] >= nearly*most {
			return at / float64(k)
		}
	}
	return at
}

func (sp spectrum) peaks(fMin, fMax float64, each func(f, a float64)) {
	for i := max(1, int(fMin/sp.df)); i+1 < len(sp.amp); i++ {
		f := float64(i) * sp.df
		if a := sp.amp[i]; f >= fMin && f <= fMax && a >= sp.amp[i-1] && a >= sp.amp[i+1] {
			each(f, a)
		}
	}
}

// amplitude is that at f; stands is how far it stands over the floor beside it.
func (sp spectrum) amplitude(f float64) float64 {
	return sp.amp[min(int(f/sp.df+0.5), len(sp.amp)-1)]
}

func (sp spectrum) stands(f float64) float64 {
	return sp.amplitude(f) / math.Max(sp.floorNear(f, sp.width), 1e-9)
}

// hasTone says whether at f is a line of at least so much that stands out plainly.
func (sp spectrum) hasTone(f, least float64) bool { return sp.line(f, least) > plainTone }

// line is how far the line at f stands over the floor, 0 where there is none of so much.
func (sp spectrum) line(f, least float64) float64 { return sp.lineNear(f, 0, least) }

// lineNear is line where it may stand by a part of f off its place.
func (sp spectrum) lineNear(f, off, least float64) float64 {
	// So far from its place is a line which perspective has split; a line's flank is none.
	const near = 0.45
	reach := math.Max(near*sp.width, off*f)
	at := sp.strongest(f-reach, f+reach)
	if at == 0 || sp.amplitude(at) <= least {
		return 0
	}
	return sp.amplitude(at) / math.Max(sp.floorNear(f, sp.width), 1e-9)
}

// partOf is how many plain lines say that the line at f is the k-th of a row of lines:
// others of it, up to the 3k-th. Where wires have a light side and a dark one the row's
// first may be too weak to stand out by itself.
func (sp spectrum) partOf(f, k, least float64) (lines int) {
	for m := 1.0; m <= 3*k; m++ {
		if math.Mod(m, k) != 0 && sp.hasTone(m*f/k, least) {
			lines++
		}
	}
	return lines
}

// finerBehind is the frequency of bands too fine to be counted, of which the tone is
// the moiré; 0 where there are none. Lines of twice and three times their frequency
// pass the pixels' own (perPx per inch, along the row) by, and come back as coarser ones
// (sampling theorem): in a photo with wires 2 to 2.9 px apart that may be a stronger line
// than theirs, but theirs is there as well. mayBe says that it may be one of the tone's
// own, which stands where theirs would, and that nothing tells.
func (s signal) finerBehind(t tone, perPx float64) (fine float64, mayBe bool) {
	if !(t.PerInch > 0) {
		return 0, false
	}
	sp := s.spectrum()
	// The pixels an inch are those of the middle; they change along the row. So does the
	// tone's own line, which may stand beside its place.
	near := sp.width + 0.002*perPx
	least := leastShare * sp.amplitude(t.PerInch)
	if at := sp.strongest(t.PerInch-near, t.PerInch+near); at > 0 {
		least = math.Max(least, leastShare*sp.amplitude(at))
	}
	// A row whose strongest line is not its first and which is still strong where
	// blur leaves little: wires 8/3 px apart look so, and of 92 drawn parts 5, 7 or 8 px
	// a band, where a row's own line stands there, none (fit, seeds 5704 and 5705).
	const strong = 0.35
	for _, f := range [2]float64{(perPx - t.PerInch) / 2, (perPx + t.PerInch) / 3} {
		at := sp.strongest(f-near, f+near)
		if !(at > perPx/minPxPerBand && at < math.Min(perPx/2, finestBehind) && sp.hasTone(at, least)) {
			continue
		}
		if !t.own(at, perPx, near) {
			return at, false
		}
		mayBe = mayBe || t.Strongest > 1.5*t.PerInch && sp.amplitude(at) > strong*sp.amplitude(t.Strongest)
	}
	return 0, mayBe
}

// own says that the tone itself has a line within near of f: a harmonic, or what comes
// back of one off the pixels, perPx an inch. The higher it is the wider perspective
// spreads it.
func (t tone) own(f, perPx, near float64) bool {
	const spread = 0.01
	for k := range int(perPx / t.PerInch) {
		h := float64(k+1) * t.PerInch
		if math.Abs(math.Min(h, perPx-h)-f) < near+spread*h {
			return true
		}
	}
	return false
}

// finerAslant is finerBehind where the finer bands lean otherwise than their moiré: in the
// mean along its lean their own line is lost. The pixels add a whole cycle a pixel, across
// or down the photo, to a harmonic of the bands' wave, as vectors (the sampling theorem in
// the plane), and so the moiré's wave tells that of the bands that would make it. sig is
// the mean along the moiré's lean ln.
func (st strip) finerAslant(t tone, ln lean, sig signal, s calib.Scale, ppi float64) (fine float64) {
	const most = 0.3 // a lean that wires beside a ruler have
	least := leastShare * sig.highPassPlain(0.4).amplitude(t.Strongest)
	// line is where finer bands show that come back as perInch by a harmonic of theirs, to
	// which a cycle a pixel was added, gt along the edge and gn across it; 0 where none do.
	line := func(perInch, gt, gn, harmonic, sign float64) float64 {
		wave := func(along float64) (perPx, lean float64) {
			moire := sign * perInch * s.InPerPx(along)
			perPx = (gt + moire) / harmonic
			return perPx, (moire*ln.at(along) - gn) / harmonic / perPx
		}
		perPx, middle := wave((s.Lo + s.Hi) / 2)
		if perPx <= 1.0/minPxPerBand || perPx >= 0.5 || math.Abs(middle) > most {
			return 0
		}
		_, atLo := wave(s.Lo)
		_, atHi := wave(s.Hi)
		b := (atHi - atLo) / (s.Hi - s.Lo) * 1000
		sp := onRuler(st.sheared(lean{A: atLo - b*s.Lo/1000, B: b}, 0, st.rows, 1), st.lo, s, ppi).highPassPlain(0.4).spectrum()
		near := sp.width + 0.002*ppi
		at := sp.strongest(perPx*ppi-near, perPx*ppi+near)
		if at > ppi/minPxPerBand && at < finestBehind && sp.hasTone(at, least) && !t.own(at, ppi, near) {
			return at
		}
		return 0
	}
	tx, nx, ty, ny := s.Frame.TX, s.Frame.NX, s.Frame.TY, s.Frame.NY
	moires := []float64{t.PerInch}
	if t.Strongest > 1.5*t.PerInch { // a harmonic may be one of its own
		moires = append(moires, t.Strongest)
	}
	for _, perInch := range moires {
		for _, g := range [2][2]float64{{math.Abs(tx), math.Copysign(nx, nx*tx)}, {math.Abs(ty), math.Copysign(ny, ny*ty)}} {
			for _, of := range [2][2]float64{{2, -1}, {3, 1}} {
				if fine = line(perInch, g[0], g[1], of[0], of[1]); fine > 0 {
					return fine
				}
			}
		}
	}
	return 0
}

// strongestOf is the strongest of the lines of f up to that at last.
func (sp spectrum) strongestOf(f, last float64) (at float64) {
	for m := f; m < last+f/2; m += f {
		if x := sp.strongest(m-0.6*sp.width, m+0.6*sp.width); x > 0 && (at == 0 || sp.amplitude(x) > sp.amplitude(at)) {
			at = x
		}
	}
	return at
}

// subharmonic is how many periods of the frequency f make one of the signal, or a
// whole part of one: 1 where a spacing is like the next one, else how many
// spacings on there is one like it. A wire with a dark side and a bright one, or
// a slot with its wall, has a weak fundamental among strong harmonics, and the
// spectrum alone then takes a harmonic for it.
func (sp spectrum) subharmonic(s signal, f, fMin, least float64) float64 {
	// Slots and holes between them are alike to a half or more, although the
	// holes cross a part of the rows only.
	const alike, clear = 0.5, 0.3
	// Where the next is not alike at all, it is no spacing of the row, and the lines are
	// looked for as far off their places as perspective and bands out of place set them.
	const unlike, spread = 0.2, 0.01
	// What is alike so many spacings on and not in the next has lines that no row of the
	// spacing's own has, if none that stands out by itself; of grain and rust one may stand
	// there by chance.
	const chance, seen, enough = 2, 3, 1.1 // three times as high as by chance
	told := func(k, off float64) (sum float64) {
		for m := 1.0; m <= 3*k; m++ {
			// those of every second spacing tell nothing of every fourth
			if x := sp.lineNear(m*f/k, off, least/2); coprime(int(m), int(k)) && x >= seen {
				sum += math.Log(x / chance)
			}
		}
		return sum
	}
	next := s.likeness(1 / f)
	for k := 2.0; k <= 5; k++ {
		if f/k < fMin {
			break
		}
		r := s.likeness(k / f)
		if !(r > clear && next < alike*r) {
			continue
		}
		off := 0.0
		if next < unlike*r {
			off = spread
		}
		if told(k, off) >= enough {
			return k
		}
	}
	return 1
}

func coprime(a, b int) bool {
	for b != 0 {
		a, b = b, a%b
	}
	return a == 1
}

// likeness is the correlation of the signal with itself at a distance.
func (g signal) likeness(distance float64) float64 {
	best := 0.0
	around := int(0.03 * distance / g.du)
	for lag := int(distance/g.du) - around; lag <= int(distance/g.du)+1+around; lag++ {
		var ab, aa, bb float64
		for i := 0; i+lag < len(g.v); i++ {
			if a, b := g.v[i], g.v[i+lag]; a == a && b == b {
				ab += a * b
				aa += a * a
				bb += b * b
			}
		}
		if aa > 0 && bb > 0 {
			best = math.Max(best, ab/math.Sqrt(aa*bb))
		}
	}
	return best
}

// refine maximises the power in the first four harmonics over frequency.
func refine(s signal, f float64) float64 {
	n := len(s.v)
	span := float64(n) * s.du
	power := func(f float64) float64 {
		var p float64
		for h := 1; h <= 4; h++ {
			w := 2 * math.Pi * f * float64(h) * s.du
			if w > math.Pi {
				break
			}
			var re, im float64
			step := cmplx.Rect(1, w)
			z := complex(1, 0)
			for i, v := range s.v {
				if v == v {
					g := math.Sin(math.Pi * (float64(i) + 0.5) / float64(n))
					re += v * g * g * real(z)
					im += v * g * g * imag(z)
				}
				z *= step
				if i%256 == 255 {
					z /= complex(cmplx.Abs(z), 0)
				}
			}
			p += re*re + im*im
		}
		return p
	}
	d := 0.5 / span
	bf, bp := f, power(f)
	for it := 0; it < 9; it++ {
		for _, g := range [2]float64{bf - d, bf + d} {
			if p := power(g); p > bp {
				bf, bp = g, p
			}
		}
		d /= 1.8
	}
	return bf
}

// unsigned is how far the signal stands off its level, up or down. A slot shows
// the table where the camera looks straight through it and its wall elsewhere;
// where one is brighter than the bars and the other darker, the bands change
// their sign along the row, and what changes its sign has no tone. turns says
// that it is so: that without its sign the signal has much more of the tone of
// perInch.
func (g signal) unsigned(perInch float64) (u signal, turns bool) {
	const more = 1.5
	u = signal{u0: g.u0, du: g.du, v: make([]float64, len(g.v))}
	half := int(0.75 / perInch / g.du)
	hop := max(1, half/3)
	level := 0.0
	for i, v := range g.v {
		if i%hop == 0 {
			level = medianOf(g.v[max(0, i+hop/2-half):min(len(g.v), i+hop/2+half+1)])
		}
		u.v[i] = math.Abs(v - level)
	}
	// about nought, as the signal is
	for i, m := range movingMean(u.v, half) {
		u.v[i] -= m
	}
	return u, u.amplitude(perInch) > more*g.amplitude(perInch)
}

// amplitude is that of the tone of f per inch, by Hann's window.
func (g signal) amplitude(f float64) float64 {
	var re, im, all float64
	for i, v := range g.v {
		if v == v {
			w := math.Sin(math.Pi * (float64(i) + 0.5) / float64(len(g.v)))
			sin, cos := math.Sincos(2 * math.Pi * f * float64(i) * g.du)
			re += v * w * w * cos
			im += v * w * w * sin
			all += w * w
		}
	}
	return 2 * math.Hypot(re, im) / math.Max(all, 1)
}
