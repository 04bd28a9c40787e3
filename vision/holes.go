package vision

import (
	"math"
	"math/cmplx"
	"sort"
)

// In a rigid heddle holes stand half-way between the slots, in one zone that runs
// through all windows square to the slots. In the rows of that zone the tone
// falls and its double rises; in the rows before and behind there are slots
// alone. A ruler's marks, too, may double a tone: but they stand in no step with
// the bands beside them, and a ruler is brighter or darker than the part.

// holeZone is a zone in which the bands' tone doubles, against the plain rows at
// its ends.
type holeZone struct {
	fall, gain float64 // of the tone and its double, nepers: the one falls, the other rises
	// together is how far the doubled tone keeps step with the plain rows' through
	// all windows, -1…1.
	together float64
	// step is how much lighter or darker the zone is than the plain rows, over
	// the strength of their tone.
	step    float64
	rows    int
	windows int
	bothEnd bool // plain rows at both of its ends
	depthPx float64
}

// clearness says how like a zone of holes it is: near 0 and less where it is
// not, above 2 where holes as open as the slots are seen.
func (z holeZone) clearness() float64 {
	// Stated by what zones of holes and of marks are like, in no fine tune: the
	// probability is fitted to what comes out. A single window keeps step with
	// itself: as good as loneStep. Holes as wide as the slots add to the mean about
	// half of what the slots add to the tone; far more than alike is a ruler.
	const loneStep, alike = 0.85, 1.5
	t := z.together
	if z.windows < 2 {
		t = loneStep
	}
	c := bound(z.fall, -0.5, 2.2) + 2*bound(z.gain, 0, 0.7) - 3*bound(-z.gain, 0, 1) - 3*(1-t)
	return c - 1.5*bound(z.step-alike, 0, 1.5)
}

// zoneMap holds a stretch's windows by depth, moved so that what runs square to
// the bands lies at one depth.
type zoneMap struct {
	d0, step, ppi float64
	cells         [][]*zone // window, depth; nil where nothing was seen
	scale, level  []float64 // of each window: the strength of its tones beside the edge, its grey level there
	good, double  []bool    // by depth: bands are seen; and their tone is doubled
	seen          []bool    // by depth: in the picture
	under         bool      // the ruler lies behind the marked edge
}

// searchHoles is the clearness of the clearest zone of holes in a stretch's
// windows, 0 where there is none, and what is seen of the part's middle. The marks' lean, by which tan was found, is known to a few hundredths
// only, and over the whole row a hundredth is as much as a hole is tall: a ruler
// laid within a few degrees of square is searched all through.
//
// A zone that is aslant to a long ruler may lie beside a part of it only, and no
// step of the search may meet it: the row is searched in stretches.
func searchHoles(ws []window, under bool, tan, ppi float64) (clearest float64, seen middle) {
	const longest = 24 // windows; 100 bands
	if len(ws) > longest {
		seen.plain = 1
		n := (len(ws) + longest - 1) / longest
		for i := range n {
			c, m := searchHoles(ws[i*len(ws)/n:(i+1)*len(ws)/n], under, tan, ppi)
			clearest = math.Max(clearest, c)
			seen = middle{math.Min(seen.plain, m.plain), math.Max(seen.roomIn, m.roomIn)}
		}
		return clearest, seen
	}
	seen = unseenMiddle
	const most, step = 3, 0.025
	for i := -most - 1; i <= most; i++ {
		try := step * float64(i)
		if i < -most {
			try = tan
		}
		m, ok := mapZones(ws, under, try, ppi)
		if !ok {
			continue
		}
		best := 0.0
		for _, z := range m.holes() {
			best = math.Max(best, z.clearness())
		}
		if best > clearest || i < -most {
			clearest, seen = best, m.middle()
		}
	}
	return clearest, seen
}

// mapZones lays the windows out. tan is the tangent of the angle between the
// bands and the ruler's perpendicular; under says that the stretch is the ruler's
// own, beside whose marked edge bands are known to be.
func mapZones(ws []window, under bool, tan, ppi float64) (m zoneMap, ok bool) {
	m = zoneMap{d0: -reachIn * ppi, step: zonePx(ppi), ppi: ppi}
	n := int(2*reachIn*ppi/m.step) + 2
	near := [2]float64{-0.5 * ppi, 0.5 * ppi}
	if under {
		near = [2]float64{-0.4 * ppi, -0.03 * ppi}
	}
	var mid float64
	for _, w := range ws {
		mid += w.along / float64(len(ws))
	}
	for _, w := range ws {
		var beside, level []float64
		for _, z := range w.zones {
			if z.depth > near[0] && z.depth < near[1] {
				beside, level = append(beside, z.strength()), append(level, z.mean)
			}
		}
		const fewest, faintest = 4, 1 // grey levels
		if len(beside) < fewest {
			continue
		}
		scale := medianOf(beside)
		if scale < faintest {
			continue
		}
		row := make([]*zone, n)
		shift := tan * (w.along - mid)
		for i := range w.zones {
			if k := int(math.Round((w.zones[i].depth + shift - m.d0) / m.step)); k >= 0 && k < n {
				row[k] = &w.zones[i]
			}
		}
		m.cells, m.scale, m.level = append(m.cells, row), append(m.scale, scale), append(m.level, medianOf(level))
	}
	if len(m.cells) == 0 {
		return m, false
	}
	return m, m.mark(n, under)
}

// strength is that of both tones together.
func (z *zone) strength() float64 { return math.Hypot(cmplx.Abs(z.one), cmplx.Abs(z.two)) }

func (m *zoneMap) depth(i int) float64 { return m.d0 + float64(i)*m.step }

const (
	logFloor = 0.03 // of a window's scale: keeps logarithms from noise
	// The part's grey level changes from place to place by so many times the
	// tones' strength, or by such a share.
	levelScales, levelShare = 2.0, 0.3
)

// mark says which rows show bands, and which of them doubled ones. ok is false
// where hardly any does.
func (m *zoneMap) mark(n int, under bool) (ok bool) {
	m.good, m.double, m.seen, m.under = make([]bool, n), make([]bool, n), make([]bool, n), under
	q := make([]float64, n)
	count := 0
	for i := range n {
		var one, two, half, off []float64
		for j, row := range m.cells {
			if z := row[i]; z != nil {
				one = append(one, cmplx.Abs(z.one)/m.scale[j])
				two = append(two, cmplx.Abs(z.two)/m.scale[j])
				half = append(half, z.half/m.scale[j])
				off = append(off, math.Abs(z.mean-m.level[j])/math.Max(levelScales*m.scale[j], levelShare*m.level[j]))
			}
		}
		if m.seen[i] = 2*len(one) >= len(m.cells); !m.seen[i] {
			continue
		}
		a, b, h := medianOf(one), medianOf(two), medianOf(half)
		const least, most, halfShare = 0.35, 3, 0.7
		amp := math.Hypot(a, b)
		// What lies behind the edge may be the ruler, which is brighter or darker.
		ruler := under && m.depth(i) > 0 && medianOf(off) > 1
		if amp > least && amp < most && h < halfShare*amp && !ruler {
			m.good[i] = true
			count++
		}
		q[i] = math.Log((b + logFloor) / (a + logFloor))
	}
	// against what is usual hereabouts: light and side faces change along a wire
	const aroundIn, usual, stands = 0.8, 0.3, 0.5
	around := int(aroundIn * m.ppi / m.step)
	for i := range n {
		if !m.good[i] {
			continue
		}
		var near []float64
		for k := max(0, i-around); k <= min(n-1, i+around); k++ {
			if m.good[k] {
				near = append(near, q[k])
			}
		}
		sort.Float64s(near)
		m.double[i] = q[i]-near[int(usual*float64(len(near)-1))] > stands
	}
	return count >= 6
}

// plainFrom are the plain rows from row i in direction dir, the first left out
// where there are more, for the border is blurred.
func (m zoneMap) plainFrom(i, dir int) []int {
	const most, gap, fewest = 12, 3, 3
	var out []int
	for k := 1; k <= most; k++ {
		j := i + dir*k
		if j < 0 || j >= len(m.good) || m.double[j] && k > 2 {
			break
		}
		if m.good[j] && !m.double[j] {
			out = append(out, j)
		} else if k > gap {
			break
		}
	}
	if len(out) < fewest {
		return nil
	}
	if len(out) > fewest {
		out = out[1:]
	}
	return out
}

// rulerNarrowIn is the least that rulers are wide (common practice, no source).
const rulerNarrowIn = 0.45

// longestHoleIn is longer than holes are (common practice, no source).
const longestHoleIn = 0.95

// holes are the zones of doubled tone.
func (m zoneMap) holes() []holeZone {
	const fewestRows, alone = 2, 6
	// Where both of the part's ends are seen holes reach into its middle third.
	first, last, whole := m.ends()
	about := func(i, j int) bool {
		third := (last - first) / 3
		return !whole || j >= first+third && i <= last-third
	}
	var out []holeZone
	for i := 0; i < len(m.double); i++ {
		if !m.double[i] {
			continue
		}
		j := i
		for j+1 < len(m.double) && m.double[j+1] {
			j++
		}
		before, behind := m.plainFrom(i, -1), m.plainFrom(j, 1)
		rows := j - i + 1
		// Slots run on past the holes: a few rows of a ruler that look like bands do not.
		runsOn := before != nil && behind != nil || len(before) >= alone || len(behind) >= alone
		if rows >= fewestRows && about(i, j) && float64(rows)*m.step < longestHoleIn*m.ppi && runsOn {
			lo, hi := i, j
			if rows > 3 {
				lo, hi = i+1, j-1 // clear of the borders
			}
			if z, ok := m.compare(lo, hi, append(before, behind...)); ok {
				z.rows, z.bothEnd = rows, before != nil && behind != nil
				z.depthPx = (m.depth(i) + m.depth(j)) / 2
				out = append(out, z)
			}
		}
		i = j
	}
	return out
}

// compare holds rows lo to hi against the plain ones.
func (m zoneMap) compare(lo, hi int, plain []int) (z holeZone, ok bool) {
	var rows []int
	for i := lo; i <= hi; i++ {
		rows = append(rows, i)
	}
	var oneIn, oneOut, twoIn, twoOut, steps []float64
	var inStep, squares complex128
	var all float64
	for j := range m.cells {
		in, ok1 := m.mean(j, rows)
		out, ok2 := m.mean(j, plain)
		if !ok1 || !ok2 || out.one == 0 {
			continue
		}
		s := complex(1/m.scale[j], 0)
		oneIn, oneOut = append(oneIn, cmplx.Abs(in.one*s)), append(oneOut, cmplx.Abs(out.one*s))
		twoIn, twoOut = append(twoIn, cmplx.Abs(in.two*s)), append(twoOut, cmplx.Abs(out.two*s))
		steps = append(steps, math.Abs(in.mean-out.mean)/cmplx.Abs(out.one))
		if out.two != 0 {
			inStep += in.two * s * cmplx.Conj(out.two) / complex(cmplx.Abs(out.two), 0)
		}
		u := out.one / complex(cmplx.Abs(out.one), 0)
		squares += in.two * s * cmplx.Conj(u*u)
		all += cmplx.Abs(in.two * s)
	}
	if all == 0 {
		return z, false
	}
	gained := func(in, out []float64) float64 {
		return math.Log((medianOf(in) + logFloor) / (medianOf(out) + logFloor))
	}
	z.fall, z.gain = -gained(oneIn, oneOut), gained(twoIn, twoOut)
	// Holes look like slots, and half-way between two the double tone is where it
	// was. Where slots are half as wide as their spacing the plain rows have no
	// double tone, and the square of the single one tells its phase, not its sign.
	const none = 0.1 // of a window's scale
	if medianOf(twoOut) > none {
		z.together = real(inStep) / all
	} else {
		z.together = cmplx.Abs(squares) / all
	}
	z.step, z.windows = medianOf(steps), len(steps)
	return z, true
}

// mean is the mean tone of window j in the given rows.
func (m zoneMap) mean(j int, rows []int) (z zone, ok bool) {
	n := 0.0
	for _, i := range rows {
		if c := m.cells[j][i]; c != nil {
			z.one, z.two, z.mean = z.one+c.one, z.two+c.two, z.mean+c.mean
			n++
		}
	}
	if n == 0 {
		return z, false
	}
	z.one, z.two, z.mean = z.one/complex(n, 0), z.two/complex(n, 0), z.mean/n
	return z, true
}

// middle is what is seen of the middle of a part, where a rigid heddle's holes are.
type middle struct {
	// plain is the share of it in which plain bands are seen.
	plain float64
	// roomIn is the longest stretch of it, in inches, in which none are seen: holes
	// longer than that stand nowhere.
	roomIn float64
}

// unseenMiddle is that of a part whose ends are not both seen.
var unseenMiddle = middle{0, math.Inf(1)}

// middle is what the rows between the part's ends show.
func (m zoneMap) middle() middle {
	lo, hi, ok := m.ends()
	if !ok {
		return unseenMiddle
	}
	// The zone of holes lies in the middle third, all of it or nearly.
	a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
	plain, room, most := 0.0, 0, 0
	for i := a; i <= b; i++ {
		room++
		// Behind the marked edge its marks may look like bands of their own tone.
		hidden := m.under && m.depth(i) > 0 && m.depth(i) < rulerNarrowIn*m.ppi
		if m.good[i] && !m.double[i] && !hidden {
			plain++
			room = 0
		}
		most = max(most, room)
	}
	return middle{plain / float64(b-a+1), float64(most) * m.step / m.ppi}
}

// ends are the first and the last row of the part; ok is false where they are not
// both seen.
func (m zoneMap) ends() (lo, hi int, ok bool) {
	lo, hi = -1, -1
	for i, g := range m.good {
		if g {
			if lo < 0 {
				lo = i
			}
			hi = i
		}
	}
	// An end is one where the picture goes on and the bands do not.
	const onIn, leastIn = 0.1, 1.0
	on := int(math.Ceil(onIn * m.ppi / m.step))
	// Where bands are seen before the ruler alone, they go on under it.
	if m.under && hi >= 0 && m.depth(hi) < rulerNarrowIn*m.ppi {
		return lo, hi, false
	}
	ok = lo-on >= 0 && hi+on < len(m.seen) && m.seen[lo-on] && m.seen[hi+on] && float64(hi-lo)*m.step >= leastIn*m.ppi
	return lo, hi, ok
}
