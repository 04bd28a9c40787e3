package vision

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// drawnFront is what spacing the fronts have by the drawing that leaves least of the
// row: the stretch of the lattice and its standard uncertainty, and how deep the
// wires are drawn.
type drawnFront struct {
	stretch, u float64
	deep       Deep
}

// Deep is how deep wires reach by the side faces that they turn towards the camera's
// foot, which grow with the distance from it. The zero value tells nothing.
type Deep struct {
	Rel float64 // depth over the camera's height
	LnU float64 // standard uncertainty of its logarithm, 0 where nothing was told
}

// without is what is left of d if a guess that went into it is taken out again: rel
// with the standard uncertainty lnU of its logarithm.
func (d Deep) without(rel, lnU float64) Deep {
	// Less than a hundredth of what the guess tells is rounding, and would be blown up.
	const least = 0.01
	own := 1/(d.LnU*d.LnU) - 1/(lnU*lnU)
	if !(own*lnU*lnU > least) {
		return Deep{}
	}
	guess := math.Log(rel/d.Rel) / (lnU * lnU)
	return Deep{d.Rel * math.Exp(-guess/own), 1 / math.Sqrt(own)}
}

// What is known of wires before they are seen: how deep they are and how wide, and
// how much a photo is blurred; a factor's standard deviation in e, but for the width
// (common practice, no source).
const (
	wireDeepMM, wireDeepSpread = 3.0, 0.35
	wireWide, wireWideSpread   = 0.38, 0.12 // of a spacing
	usualBlurPx, blurSpread    = 1.0, 0.4
	// Wires may all be turned a little, and where the foot lies is seen by how far the
	// plane tilts; radians.
	askew = 0.05
)

// drawer fits drawings to a row. perMM is 1 mm over the camera's height, foot where
// the camera's foot lies, and high its height, in spacings.
type drawer struct {
	row                          drawnRow
	perMM, pxPerBand, foot, high float64
}

// cost is -2 ln of how likely a drawing is.
func (w *drawer) cost(d drawing) float64 {
	// A stretch counts as so many values that tell something, as its residuals are the
	// flaws of the drawing and hang together; and no drawing is truer than flawless.
	// By how far off the spacings of 96 drawn rows were (seed 4803).
	const values, flawless = 12, 1e-4
	square := func(v float64) float64 { return v * v }
	return float64(len(w.row.y))*values*math.Log(w.row.leaves(d)/w.row.all+flawless) +
		square(math.Log(d.depth/w.perMM/wireDeepMM)/wireDeepSpread) +
		square(math.Log(d.blur*w.pxPerBand/usualBlurPx)/blurSpread) +
		square((d.wide-wireWide)/wireWideSpread) +
		square((d.foot-w.foot)/w.high/askew)
}

// A drawing is found by numbers that may be anything, each about 1 where the drawing
// changes as much as it can be told to.
const (
	narrowestWire, widestWire = 0.05, 0.9
	stretchUnit, placeUnit    = 0.1, 0.1 // of a spacing, at the row's end
)

func (w *drawer) drawing(v []float64) drawing {
	return drawing{
		stretch: v[0] * stretchUnit / w.row.half,
		place:   v[1] * placeUnit,
		wide:    narrowestWire + (widestWire-narrowestWire)/(1+math.Exp(-v[2])),
		depth:   math.Exp(v[3]) * w.perMM,
		blur:    math.Exp(v[4]) / w.pxPerBand,
		foot:    w.foot + v[5]*askew*w.high,
	}
}

func (w *drawer) numbers(d drawing) []float64 {
	p := (d.wide - narrowestWire) / (widestWire - narrowestWire)
	return []float64{
		d.stretch * w.row.half / stretchUnit, d.place / placeUnit, math.Log(p / (1 - p)),
		math.Log(d.depth / w.perMM), math.Log(d.blur * w.pxPerBand), (d.foot - w.foot) / askew / w.high,
	}
}

// guesses are the best drawings on a coarse grid, one for each stretch, best first.
func (w *drawer) guesses() []drawing {
	// The spacing that the row was folded by is off by hardly more than a wire's depth
	// makes of it.
	const most, least, places = 0.012, 0.0015, 10
	step := math.Max(1.2*stretchUnit/w.row.half, least)
	type guess struct {
		d    drawing
		cost float64
	}
	var all []guess
	for n := -int(most / step); n <= int(most/step); n++ {
		best := guess{cost: math.Inf(1)}
		for p := range places {
			for _, wide := range [...]float64{0.3, 0.45} {
				d := drawing{float64(n) * step, float64(p)/places - 0.5, wide, wireDeepMM * w.perMM, usualBlurPx / w.pxPerBand, w.foot}
				if c := w.cost(d); c < best.cost {
					best = guess{d, c}
				}
			}
		}
		all = append(all, best)
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].cost < all[j].cost })
	out := make([]drawing, len(all))
	for i, g := range all {
		out[i] = g.d
	}
	return out
}

// reached is where a search for the least cost has come.
type reached struct {
	at   []float64
	cost float64
}

// front finds the likeliest drawings from the best guesses on, each as good as its
// surroundings say (Laplace's approximation; MacKay 2003, chapter 27), and takes their
// mean, weighed by how likely they are: where two drawings are about as good, what
// they differ by is left open.
func (w *drawer) front() (f drawnFront, ok bool) {
	// The grid is too coarse to tell which guess is the best: of many a few steps show
	// which are worth all. Six numbers take a simplex some twenty steps each to come near:
	// with ten the right guess was given up in one of some 80 rows (judge, seed 4626).
	const tries, fewSteps, worth, allSteps = 10, 120, 3, 200
	// Costs differ by flaws of the drawing, too: they count half in what is likely, and less
	// in what is left open, for of a reed by another renderer the right drawing left a third
	// more of the row than another one.
	const likely, doubtful = 2.0, 8.0
	const apart = 0.3 // stretches nearer to each other, in units, are of one drawing
	cost := func(v []float64) float64 { return w.cost(w.drawing(v)) }
	better := func(from []float64, size float64, steps int) (o reached) {
		res, err := optimize.Minimize(optimize.Problem{Func: cost}, from,
			&optimize.Settings{FuncEvaluations: steps}, &optimize.NelderMead{SimplexSize: size})
		if res == nil || err != nil && res.Status != optimize.FunctionEvaluationLimit {
			return reached{at: from, cost: math.Inf(1)}
		}
		return reached{res.X, res.F}
	}
	guesses := w.guesses()
	var begun []reached
	for _, g := range guesses[:min(tries, len(guesses))] {
		begun = append(begun, better(w.numbers(g), 0.5, fewSteps))
	}
	slices.SortStableFunc(begun, func(a, b reached) int { return cmp.Compare(a.cost, b.cost) })
	type found struct{ stretch, u, lnDeep, lnDeepU, cost float64 }
	var all []found
	best := math.Inf(1)
	for _, o := range begun {
		same := func(f found) bool {
			return math.Abs(f.stretch-w.drawing(o.at).stretch)*w.row.half < apart*stretchUnit
		}
		if len(all) == worth || math.IsInf(o.cost, 1) || slices.ContainsFunc(all, same) {
			continue
		}
		if o = better(o.at, 0.3, allSteps); math.IsInf(o.cost, 1) {
			continue
		}
		d, v := w.drawing(o.at), w.variances(cost, o.at)
		u := math.Sqrt(v[0]) * stretchUnit / w.row.half
		all = append(all, found{d.stretch, u, math.Log(d.depth), math.Sqrt(v[3]), o.cost})
		best = math.Min(best, o.cost)
	}
	if len(all) == 0 {
		return f, false
	}
	// weigh is the mean of a number of all, a cost counting for so much less than it says.
	weigh := func(flaws float64, of func(o found) float64) float64 {
		var sw, sum float64
		for _, o := range all {
			k := math.Exp((best - o.cost) / 2 / flaws)
			sw, sum = sw+k, sum+k*of(o)
		}
		return sum / sw
	}
	f.stretch = weigh(likely, func(o found) float64 { return o.stretch })
	// A cost that counts an eighth makes a drawing's own variance eight times as large.
	f.u = math.Sqrt(weigh(doubtful, func(o found) float64 { return doubtful*o.u*o.u + (o.stretch-f.stretch)*(o.stretch-f.stretch) }))
	deep := weigh(likely, func(o found) float64 { return o.lnDeep })
	deepU := math.Sqrt(weigh(doubtful, func(o found) float64 { return o.lnDeepU*o.lnDeepU + (o.lnDeep-deep)*(o.lnDeep-deep) }))
	f.deep = Deep{math.Exp(deep), deepU}.without(wireDeepMM*w.perMM, wireDeepSpread)
	return f, !math.IsNaN(f.u)
}

// variances are those of the numbers about a minimum of the cost, by its second
// differences over one standard deviation of each number: farther off the cost, a
// logarithm, rises ever less, and where one number is told a hundred times better than
// another it would seem to fall along what the two have in common. Directions in which it
// is flat are known to a few units, no worse.
func (w *drawer) variances(cost func([]float64) float64, at []float64) []float64 {
	const flattest = 0.5
	out := make([]float64, len(at))
	step := risesByOne(cost, at)
	h := mat.NewSymDense(len(at), nil)
	x := make([]float64, len(at))
	fd.Hessian(h, func(s []float64) float64 {
		for i := range x {
			x[i] = at[i] + s[i]*step[i]
		}
		return cost(x)
	}, make([]float64, len(at)), &fd.Settings{Formula: fd.Central, Step: 1})
	for i := range at {
		for j := i; j < len(at); j++ {
			h.SetSym(i, j, h.At(i, j)/step[i]/step[j])
		}
	}
	var e mat.EigenSym
	if !e.Factorize(h, true) {
		for i := range out {
			out[i] = math.NaN()
		}
		return out
	}
	var dir mat.Dense
	e.VectorsTo(&dir)
	for k, curve := range e.Values(nil) {
		for i := range out {
			out[i] += 2 * dir.At(i, k) * dir.At(i, k) / math.Max(curve, flattest)
		}
	}
	return out
}

// risesByOne is for each number how far from a minimum the cost has risen by one, to
// either side on average: its standard deviation, the others being known.
func risesByOne(cost func([]float64) float64, at []float64) []float64 {
	const first, least, most, rounds = 0.02, 1e-3, 1.0, 4
	const fastest = 5.0 // a factor of one round
	c := cost(at)
	out := make([]float64, len(at))
	x := slices.Clone(at)
	for i := range out {
		out[i] = first
		for range rounds {
			x[i] = at[i] + out[i]
			up := cost(x)
			x[i] = at[i] - out[i]
			rise := (up+cost(x))/2 - c
			x[i] = at[i]
			by := math.Sqrt(math.Min(math.Max(rise, 1/fastest/fastest), fastest*fastest))
			out[i] = math.Min(math.Max(out[i]/by, least), most)
		}
	}
	return out
}

// drawFront brings the pitch of a reed to the front of its wires by drawing them in
// the lattice l. footIn is the place of the camera's foot along the ruler, perMM 1 mm
// over its height. Nothing changes where the row is too short to tell how it changes.
func (b *Bands) drawFront(sig signal, l lattice, footIn, perMM float64) {
	const stretches, fewest = 12, 3
	good := map[int]bool{}
	for _, x := range b.Row {
		good[x.Index] = x.State == Good
	}
	f, at := foldIn(sig, l, stretches, func(k int) bool { return good[k] })
	if len(f) < fewest {
		return
	}
	w := drawer{newDrawnRow(f, at, l), perMM, b.PxPerBand, (footIn - l.middle()) / l.T, 1 / (25.4 * perMM * l.T)}
	o, ok := w.front()
	if !ok || b.behind(l.T*(1+o.stretch), perMM) {
		return
	}
	b.DepthTold, b.DepthBySides, b.Deep = true, false, o.deep
	b.PerInch = 1 / (l.T * (1 + o.stretch))
	b.U = math.Hypot(b.MiddleU/b.MiddlePerInch, o.u) * b.PerInch
}
