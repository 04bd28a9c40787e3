package fit

import (
	"errors"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Take is one photo of a part of which there are several.
type Take struct {
	Pitch Pitch // by FindPitch
	View  View
}

// Accord says how far several photos of one part agree.
type Accord struct {
	// Chi2 is the sum of squares of the photos' own pitches about their mean, each
	// over its whole uncertainty, DoF its degrees of freedom, P the chance of as
	// much or more where they do agree.
	Chi2 float64
	DoF  int
	P    float64
	// Widened is by how much the uncertainty was widened because the readings
	// scatter more about one pitch and one thickness than their own uncertainties
	// say; 1 where they do not (the ratio of Birge, Phys. Rev. 40 (1932) 207).
	Widened float64
	// ThicknessMM is the ruler's height above the wires, ThicknessUMM its standard
	// uncertainty: what was told, or the prior narrowed by the readings, which
	// stand apart by t/h at each camera height h above the ruler's face.
	ThicknessMM, ThicknessUMM float64
}

// DisagreeAt is the chance under which photos of one part are said to disagree.
const DisagreeAt = 0.001

// apartAt is how many standard uncertainties of their difference two photos may
// stand apart and still show one thing.
const apartAt = 4

// Accordant says whether two photos can show one part: their pitches, each with
// its whole uncertainty, do not stand too far apart.
func Accordant(a, b Take) bool {
	return math.Abs(math.Log(a.Pitch.PerInch/b.Pitch.PerInch)) <= apartAt*math.Hypot(a.relU(), b.relU())
}

func (t Take) relU() float64 { return t.Pitch.U / t.Pitch.PerInch }

// accord tests the photos' own pitches against their mean.
func accord(takes []Take) Accord {
	acc := Accord{DoF: len(takes) - 1, P: 1, Widened: 1}
	var sw, sx float64
	for _, t := range takes {
		w := 1 / (t.relU() * t.relU())
		sw += w
		sx += w * math.Log(t.Pitch.PerInch)
	}
	for _, t := range takes {
		z := (math.Log(t.Pitch.PerInch) - sx/sw) / t.relU()
		acc.Chi2 += z * z
	}
	if acc.DoF > 0 {
		acc.P = distuv.ChiSquared{K: float64(acc.DoF)}.Survival(acc.Chi2)
	}
	return acc
}

// seenTwice is the correlation of the places of bands and marks between two
// photos of one part: what of it is the wires' and the ruler's own comes back in
// every photo, what is the pixels' does not. A stated value.
const seenTwice = 0.5

// shared is the correlation between two photos of what one source does to them.
func shared(src Source) float64 {
	switch src {
	case RulerItself, WireDepth, TapeBend:
		return 1
	case RulerMarks, BandPlaces:
		return seenTwice
	}
	return 0
}

// ErrTakes is returned for takes that cannot be combined.
var ErrTakes = errors.New("there is nothing to combine")

// takesDoF are the degrees of freedom of the readings' scatter as thickness is
// told by it: their uncertainties are known to some 30 % (JCGM 100:2008, G.4.2),
// and a thickness read off readings that are misread a little is misread a lot.
const takesDoF = 6

// gridThickness and gridFocal are how finely the unknowns that all takes share
// are divided.
const gridThickness, gridFocal = 120, 9

// SamePart combines photos of one part with one ruler on it into one pitch, by
// generalised least squares over the logarithms of the readings
//
//	y_i = ln P + ln(1 + t/h_i) + e_i
//
// with a covariance that keeps what the photos share: the ruler's own error and
// the depth of the wires are not made smaller by more photos, the places of the
// bands and marks only in part. Thickness t and focal length are carried as a
// joint posterior: photos from different heights tell them. The first take's
// view says whether t was told. No take is an error; of one the pitch is its own.
func SamePart(takes []Take) (Pitch, Accord, error) {
	n := len(takes)
	if n == 0 {
		return Pitch{}, Accord{}, ErrTakes
	}
	acc := accord(takes)
	j := newJoint(takes)
	all := j.solve()
	acc.ThicknessMM, acc.ThicknessUMM = all.thickness()
	if n == 1 {
		return takes[0].Pitch, acc, nil
	}
	acc.Widened = math.Sqrt(math.Max(1, all.chi2/float64(n-1)))
	acc.ThicknessUMM *= acc.Widened
	return j.pitch(all, acc.Widened), acc, nil
}

// joint is the readings made ready.
type joint struct {
	takes []Take
	ln    []float64 // ln of Read
	cov   map[Source]*mat.SymDense
	order []Source
	ts    []float64 // equally likely thicknesses
	focal []float64 // equally likely logarithms of true over assumed focal length
	same  []bool    // takes whose focal length is the first one's
}

func newJoint(takes []Take) *joint {
	j := &joint{takes: takes, cov: map[Source]*mat.SymDense{}}
	n := len(takes)
	first := takes[0].View
	for _, t := range takes {
		first.softTape = first.softTape || t.Pitch.softTape
		first.Transparent = first.Transparent || t.View.Transparent
	}
	j.ts = thicknesses(first, gridThickness)
	switch {
	case first.DistanceMM > 0:
		j.focal = []float64{0}
	case first.Focal35 > 0:
		for _, z := range normalQuantiles(gridFocal) {
			j.focal = append(j.focal, focalKnownSpread*z)
		}
	default:
		j.focal = usualFocals(gridFocal, takes[0].Pitch.DistanceMM, nil)
	}
	u := map[Source][]float64{}
	for i, t := range takes {
		j.ln = append(j.ln, math.Log(t.Pitch.Read))
		j.same = append(j.same, sameLens(first, t.View))
		for _, l := range t.Pitch.Budget {
			if l.Source == RulerAbove {
				continue // by the joint posterior
			}
			if u[l.Source] == nil {
				u[l.Source] = make([]float64, n)
				j.order = append(j.order, l.Source)
			}
			u[l.Source][i] = l.RelativeU
		}
	}
	for _, src := range j.order {
		c := mat.NewSymDense(n, nil)
		for a := range n {
			c.SetSym(a, a, u[src][a]*u[src][a])
			for b := range a {
				c.SetSym(a, b, shared(src)*u[src][a]*u[src][b])
			}
		}
		j.cov[src] = c
	}
	return j
}

// sameLens says whether two photos were taken at one focal length, as far as is known.
func sameLens(a, b View) bool {
	long := func(v View) int { return max(v.WidthPx, v.HeightPx) }
	return a.DistanceMM <= 0 && b.DistanceMM <= 0 && a.Focal35 == b.Focal35 && long(a) == long(b)
}

// belief is what one thickness and focal length make of the readings.
type belief struct {
	thicknessMM, focal float64
	ln, v              float64 // best ln P and its variance
	weight             float64
	fit                float64   // its sum of squares with the prior's
	gain               []float64 // d ln P / d y_i
}

// solution is the joint posterior.
type solution struct {
	beliefs []belief
	chi2    float64 // the least
	best    int
}

// solve weighs every thickness and focal length by the takes.
func (j *joint) solve() solution {
	var s solution
	n := len(j.takes)
	ones, y := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		ones.SetVec(i, 1)
	}
	zt, zf := normalQuantiles(len(j.ts)), normalQuantiles(len(j.focal))
	seen := j.sideFaces()
	s.chi2 = math.Inf(1)
	top := math.Inf(-1)
	for k, t := range j.ts {
		for m, f := range j.focal {
			cov := mat.NewSymDense(n, nil)
			for a := range n {
				d, own := j.height(a, f)
				y.SetVec(a, j.ln[a]+math.Log(Undo(t, d)))
				for b := 0; b <= a; b++ {
					var c float64
					for _, src := range j.order {
						c += j.cov[src].At(a, b)
					}
					cov.SetSym(a, b, c)
				}
				// t/D changes with D.
				e := t / d * own
				cov.SetSym(a, a, cov.At(a, a)+e*e)
			}
			var ch mat.Cholesky
			if !ch.Factorize(cov) {
				continue
			}
			var w, r mat.VecDense
			if ch.SolveVecTo(&w, ones) != nil {
				continue
			}
			info := mat.Dot(ones, &w)
			b := belief{thicknessMM: t, focal: f, v: 1 / info, ln: mat.Dot(&w, y) / info}
			res := mat.NewVecDense(n, nil)
			res.AddScaledVec(y, -b.ln, ones)
			if ch.SolveVecTo(&r, res) != nil {
				continue
			}
			sq := mat.Dot(res, &r)
			b.weight = -(takesDoF+float64(n-1))/2*math.Log1p(sq/takesDoF) - ch.LogDet()/2 - math.Log(info)/2 + seen[m][k]
			b.fit = sq + zt[k]*zt[k] + zf[m]*zf[m]
			b.gain = make([]float64, n)
			for a := range n {
				b.gain[a] = w.AtVec(a) / info
			}
			top = math.Max(top, b.weight)
			if b.fit < s.chi2 {
				s.chi2, s.best = b.fit, len(s.beliefs)
			}
			s.beliefs = append(s.beliefs, b)
		}
	}
	var sum float64
	for i := range s.beliefs {
		s.beliefs[i].weight = math.Exp(s.beliefs[i].weight - top)
		sum += s.beliefs[i].weight
	}
	for i := range s.beliefs {
		s.beliefs[i].weight /= sum
	}
	return s
}

// sideFaces is the logarithm of what the side faces in the photos speak for each
// focal length and thickness.
func (j *joint) sideFaces() [][]float64 {
	out := make([][]float64, len(j.focal))
	for m, f := range j.focal {
		out[m] = make([]float64, len(j.ts))
		for i, t := range j.takes {
			lens := f
			if !j.same[i] || t.View.DistanceMM > 0 {
				lens = 0
			}
			for k, w := range sideWeights(t.View, j.ts, lens) {
				out[m][k] += math.Log(w)
			}
		}
	}
	return out
}

// height is take i's camera height for a focal length off by f, and how well it
// is known apart from that.
func (j *joint) height(i int, f float64) (mm, relU float64) {
	p := j.takes[i].Pitch
	if j.same[i] {
		return p.DistanceMM * math.Exp(f), p.AttitudeRelU
	}
	return p.DistanceMM, p.DistanceRelU
}

// mean is the weighted mean of what of gives, and its standard deviation.
func (s solution) mean(of func(belief) float64) (mean, sd float64) {
	for _, b := range s.beliefs {
		mean += b.weight * of(b)
	}
	for _, b := range s.beliefs {
		d := of(b) - mean
		sd += b.weight * d * d
	}
	return mean, math.Sqrt(sd)
}

func (s solution) thickness() (mm, u float64) {
	return s.mean(func(b belief) float64 { return b.thicknessMM })
}

// pitch puts the posterior into the form of a single photo's pitch, its
// uncertainty widened.
func (j *joint) pitch(s solution, widened float64) Pitch {
	first := j.takes[0].Pitch
	ln, lift := s.mean(func(b belief) float64 { return b.ln })
	var p Pitch
	p.Read = math.Exp(ln)
	p.DistanceMM, p.DistanceRelU = first.DistanceMM, first.DistanceRelU
	best := s.beliefs[s.best]
	for _, src := range j.order {
		var v float64
		dof, note := Known, ""
		for a := range j.takes {
			for b := range j.takes {
				v += best.gain[a] * best.gain[b] * j.cov[src].At(a, b)
			}
			for _, l := range j.takes[a].Pitch.Budget {
				if l.Source == src {
					dof = math.Min(dof, l.DoF)
					note = l.Note
				}
			}
		}
		p.Budget = append(p.Budget, Line{src, math.Sqrt(math.Max(v, 0)), dof, note})
	}
	// What the tilts leave of each height goes with the thickness.
	rest := math.Sqrt(math.Max(0, best.v-p.combined().U*p.combined().U))
	if more := widened*widened - 1; more > 0 {
		p.Budget = append(p.Budget, Line{PhotosApart, math.Sqrt(more * (best.v + lift*lift)), float64(len(j.takes) - 1), "they scatter more than their own uncertainties say"})
	}
	read := p.combined()
	p.ReadRelU = read.U
	note := "one thickness under all photos"
	if len(j.ts) == 1 {
		note = ""
	}
	p.Budget = append(p.Budget, Line{RulerAbove, math.Hypot(lift, rest), Known, note})
	p.Lift = j.lifts(s, ln, rest)
	mean, _ := meanSD(p.Lift)
	p.PerInch = p.Read * math.Exp(mean)
	p.expand(read)
	for _, t := range j.takes {
		p.Agree = math.Max(p.Agree, t.Pitch.Agree)
	}
	return p
}

// lifts are equally likely values of ln P about ln, by the posterior over
// thickness and focal length, each widened by rest.
func (j *joint) lifts(s solution, ln, rest float64) []float64 {
	bs := append([]belief(nil), s.beliefs...)
	sort.SliceStable(bs, func(a, b int) bool { return bs[a].ln < bs[b].ln })
	at, w := make([]float64, len(bs)), make([]float64, len(bs))
	for i, b := range bs {
		at[i], w[i] = b.ln-ln, b.weight
	}
	const n = 45
	var out []float64
	for i := range n {
		q := stat.Quantile((float64(i)+0.5)/n, stat.Empirical, at, w)
		for _, z := range normalQuantiles(5) {
			out = append(out, q+rest*z)
		}
	}
	return out
}
