package vision

import "math"

// A spacing of bands as coarse as the slots of a rigid heddle has a narrow arc
// and a wide one. In a reed the narrow arc is solid: a wire. In a rigid heddle
// of which only the slots cross the ruler's edge the wide one is: a bar of the
// panel. Whatever is solid is deep, and off the point straight below the camera
// its side faces show in the openings beside it, more the farther off. So the
// inside of an opening changes along the row, and what is solid looks the same
// from end to end.

// arcs is what the two arcs of a spacing show.
type arcs struct {
	// narrow is the narrow arc's share of the spacing.
	narrow float64
	// darker is ln of the wide arc's grey level over the narrow one's.
	darker float64
	// change is how much the two halves of the wide arc drift apart along the
	// row, over the arc's grey level, in the lattice in which most of the spacing
	// is plain; frontChange the same in the lattice of the fronts, as far as that
	// was found.
	change, frontChange float64
	// narrowChange is ln of how much the halves of the narrow arc do so, over
	// those of the wide one.
	narrowChange float64
	// between is the share of the spacing that is neither plain nor narrow arc.
	between float64
	// wires is how much better the row is drawn by wires than by bars.
	wires float64
	// tinted is how much farther from the ground's hue the wide arc is than the narrow one;
	// NaN where no ground or no colours are seen.
	tinted float64
	// In row, of the lattice row, arcs are told: their bins, clear of the borders, lie
	// from the first to the last of these, counted on past the spacing's end.
	row              lattice
	wideAt, narrowAt [2]int
	// levels are the arcs' grey levels in each stretch of the row.
	levels []arcLevel
	// lighter is how much lighter the wide arc is than the ground beyond the bars, less how
	// much the narrow arc is; NaN where no ground is seen.
	lighter float64
}

// arcLevel are the grey levels of a stretch's arcs; at is its middle, in inches.
type arcLevel struct{ at, wide, narrow float64 }

// arcBins is how finely a spacing is divided; arcGroups into how many stretches,
// at most, the row is.
const (
	arcBins   = 48
	arcGroups = 8
)

// folded is a row of bands folded into one spacing, once for each stretch of
// the row.
type folded [][arcBins]float64

// fold averages the bands of each stretch of the row; at is where the middle of each
// lies, in inches.
func fold(sig signal, l lattice) (f folded, at []float64) {
	return foldIn(sig, l, arcGroups, func(int) bool { return true })
}

// foldIn folds the bands that are used in at most so many stretches.
func foldIn(sig signal, l lattice, most int, use func(k int) bool) (f folded, at []float64) {
	n := min(most, l.count/3)
	f = make(folded, n)
	for i := range f {
		bands := 0.0
	band:
		for k := i * l.count / n; k < (i+1)*l.count/n; k++ {
			if !use(k) {
				continue
			}
			var one [arcBins]float64
			for j := range one {
				one[j] = sig.at(l.first + l.T*(float64(k)+(float64(j)+0.5)/arcBins-0.5))
				if one[j] != one[j] {
					continue band
				}
			}
			for j, v := range one {
				f[i][j] += v
			}
			bands++
		}
		for j := range f[i] {
			f[i][j] /= bands // NaN where no band was seen whole
		}
	}
	seen := f[:0]
	for i, g := range f {
		if g[0] == g[0] {
			seen = append(seen, g)
			at = append(at, l.first+l.T*(float64(2*i+1)/float64(2*n)*float64(l.count)-0.5))
		}
	}
	return seen, at
}

// evened are the grey levels of the stretches off their mean, as if all were lit alike.
func (f folded) evened() folded {
	level := make([]float64, len(f))
	var light float64
	for i, g := range f {
		level[i] = medianOf(g[:])
		light += level[i] / float64(len(f))
	}
	out := make(folded, len(f))
	for i, g := range f {
		const veil = 8 // grey levels: what is black has no light to go by
		gain := (light + veil) / (level[i] + veil)
		for j, v := range g {
			out[i][j] = (v - light/gain) * gain
		}
	}
	return out
}

// arcsOf folds the row by the lattice, and by lattices a little wider and
// narrower, for the spacing may have been read between the fronts and the backs:
// the one in which most of the spacing looks the same from end to end counts. ok
// is false where the row is too short, or has no narrow arc.
func arcsOf(sig signal, l lattice, pxPerBand float64) (a arcs, ok bool) {
	const tries, step = 8, 0.04 // of a spacing, at the row's ends
	best := 0.0
	var front arcs
	for i := -tries; i <= tries; i++ {
		half := float64(l.count-1) / 2
		t := lattice{T: l.T * (1 + step*float64(i)/half), count: l.count}
		t.first = l.middle() - half*t.T
		f, at := fold(sig, t)
		if len(f) < 2 {
			return a, false
		}
		if i == 0 {
			front, _ = f.arcs(at, pxPerBand)
		}
		if p := f.plain(); p > best {
			if x, fine := f.arcs(at, pxPerBand); fine {
				a, ok, best = x, true, p
				a.row = t
			}
		}
	}
	a.frontChange, a.between = front.change, 1-best-a.narrow
	return a, ok
}

// plain is the share of the spacing that stays at the level of its stretch of
// the row, in all of them.
func (f folded) plain() float64 {
	var off [arcBins]float64
	peak := 0.0
	for _, g := range f {
		m := medianOf(g[:])
		for j, v := range g {
			off[j] += (v - m) * (v - m)
			peak = math.Max(peak, off[j])
		}
	}
	const level = 0.2 // of the peak
	sum := 0.0
	for _, v := range off {
		sum += 1 / (1 + math.Exp((math.Sqrt(v/peak)-level)/(0.15*level)))
	}
	return sum / arcBins
}

// arcs tells the arcs apart and compares their halves along the row.
func (f folded) arcs(at []float64, pxPerBand float64) (a arcs, ok bool) {
	// How far from its stretch's level each place of the spacing is, in half the
	// stretches at least: a slot may be brighter than the bars in one and darker in
	// another, and a side face shows in some only.
	levels := make([]float64, len(f))
	for i := range f {
		levels[i] = medianOf(f[i][:])
	}
	var off [arcBins]float64
	most := 0
	for j := range off {
		v := make([]float64, len(f))
		for i, g := range f {
			v[i] = math.Abs(g[j] - levels[i])
		}
		if off[j] = medianOf(v); off[j] > off[most] {
			most = j
		}
	}
	if off[most] == 0 {
		return a, false
	}
	// A slot has two levels where a wall and what lies beneath it share it.
	const share = 0.35
	stands := func(j int) bool { return off[(j+arcBins)%arcBins] > share*off[most] }
	lo, hi := most, most
	for hi-lo < arcBins && stands(lo-1) {
		lo--
	}
	for hi-lo < arcBins && stands(hi+1) {
		hi++
	}
	n := hi - lo + 1
	// clear of the blur of the borders
	border := max(1, int(math.Ceil(1.6/pxPerBand*arcBins)))
	wideLo, wideHi := hi+1+border, lo+arcBins-1-border
	if n > arcBins*2/3 || wideHi-wideLo < 4 {
		return a, false
	}
	coreLo, coreHi := lo+border, hi-border
	if coreLo > coreHi {
		coreLo, coreHi = (lo+hi)/2, (lo+hi+1)/2
	}
	third, half := (wideHi-wideLo)/3, n/2
	a.wideAt, a.narrowAt = [2]int{wideLo + third, wideHi - third}, [2]int{coreLo, coreHi}
	var wide, narrow, wideLevel, narrowLevel []float64
	for i, g := range f {
		over := func(a, b int) float64 { return overBins(g, [2]int{a, b}) }
		wideLevel = append(wideLevel, over(a.wideAt[0], a.wideAt[1]))
		narrowLevel = append(narrowLevel, over(a.narrowAt[0], a.narrowAt[1]))
		a.levels = append(a.levels, arcLevel{at[i], wideLevel[i], narrowLevel[i]})
		wide = append(wide, over(wideLo, wideLo+third)-over(wideHi-third, wideHi))
		narrow = append(narrow, over(lo, lo+max(half-1, 0))-over(hi-max(half-1, 0), hi))
	}
	w, m := medianOf(wideLevel), medianOf(narrowLevel)
	a.narrow = float64(n) / arcBins
	const veil = 4 // grey levels: what is black is no darker than that
	a.darker = math.Log((w + veil) / (m + veil))
	a.change = spread(wide) / (w + 2*veil)
	a.narrowChange = math.Log((math.Abs(drift(narrow)) + 1) / (math.Abs(drift(wide)) + 1))
	return a, true
}

// overBins is the mean of a spacing over its bins from the first to the last.
func overBins(g [arcBins]float64, at [2]int) float64 {
	sum := 0.0
	for j := at[0]; j <= at[1]; j++ {
		sum += g[(j+arcBins)%arcBins]
	}
	return sum / float64(at[1]-at[0]+1)
}

// drift is half of what v changes from its first to its last value, by a
// straight line through all of them.
func drift(v []float64) float64 {
	var xy, xx float64
	for i, y := range v {
		x := 2*float64(i)/float64(len(v)-1) - 1
		xy += x * y
		xx += x * x
	}
	return xy / xx
}

// spread is the standard deviation of v.
func spread(v []float64) float64 {
	var sum, sq float64
	for _, x := range v {
		sum += x
	}
	mean := sum / float64(len(v))
	for _, x := range v {
		sq += (x - mean) * (x - mean)
	}
	return math.Sqrt(sq / float64(len(v)))
}

// cues are what the arcs tell of the kind, each bounded, so that none decides
// alone.
func (a arcs) cues() []Cue {
	// so much of the wide arc's level is what a plain bar changes by, too
	const still = 0.01
	// Of 70 drawn parts (seed 5201) the arcs were off by 0.005 to 0.4, and nearly always
	// to the right side: the sign counts more than how far.
	const half = 0.05
	return []Cue{
		{"wide arcs change", bound(math.Log(a.change+still)+3.4, -1.2, 1.5)},
		{"fronts' wide arcs change", bound(math.Log(a.frontChange+still)+3.2, -1.2, 1.5)},
		{"narrow arcs change", bound(a.narrowChange-0.7, -2, 1.5)},
		{"wide arcs brighter", bound(a.darker, -0.5, 0.5)},
		{"narrow arcs wide", bound(math.Log(a.narrow/0.2), -0.6, 0.6)},
		{"neither arc", bound(6*(a.between-0.1), -1, 1.5)},
		{"arcs drawn by wires", bound(a.wires, -1, 1)},
		{"wide arcs over ground", bound(a.lighter, -1, 1)},
		{"wide arcs off ground's hue", a.tinted / (math.Abs(a.tinted) + half)},
	}
}

func bound(v, lo, hi float64) float64 { return math.Min(math.Max(v, lo), hi) }
