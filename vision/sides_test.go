package vision

import (
	"math"
	"math/rand/v2"
	"testing"
)

// deepRow are the edges of deep wires over a camera's foot, T apart and 0.4 T
// wide, their backs z of the camera's height behind: of the face towards the foot
// only the back edge shows (sides as bright as fronts), or only the front one.
func deepRow(T, z, foot float64, n int, backs, bright bool, seed uint64) []edge {
	rng := rand.New(rand.NewPCG(seed, 6))
	var out []edge
	for k := range n {
		x := T*float64(k) + 0.003*T*rng.NormFloat64()
		l, r := x-0.2*T, x+0.2*T
		if deep := func(e float64) float64 { return foot + (e-foot)*(1-z) }; backs && x > foot {
			l = deep(l)
		} else if backs {
			r = deep(r)
		}
		out = append(out, edge{in: l, weight: 1, rising: bright}, edge{in: r, weight: 1, rising: !bright})
	}
	return out
}

// Where the faces towards the camera's foot show their back edges only, a line
// through all edges of one sign follows the fronts on one side of the foot and
// the backs on the other, and is drawn towards the backs. The faces that look away tell the front,
// for bright wires as for dark ones; where both tell the front, none is preferred.
func TestFrontBySides(t *testing.T) {
	const T, z, n, foot, perMM = 0.1, 0.011, 90, 4.6, 1.0 / 270
	l := lattice{first: 0, T: T, count: n}
	for _, bright := range []bool{true, false} {
		row := deepRow(T, z, foot, n, true, bright, 5)
		planes := planesOf(row, l)
		if s := planes[0].stretch; s > -z/3 {
			t.Fatalf("bright %v: all edges together tell the front, too: %.4f", bright, s)
		}
		told := frontBySides(row, row, l, foot, perMM, planes[0].support)
		p, fams := told.choose(planes[0])
		if told.fams == nil || math.Abs(p.stretch) > 0.0015 {
			t.Fatalf("bright %v: the front lies at %.4f (%v), want 0", bright, p.stretch, told.fams)
		}
		f, ok := fitFront(row, row, l, p, fams)
		if !ok || math.Abs(f.spacingIn/T-1) > 2e-4 {
			t.Errorf("bright %v: %v, spacing %.6f of the true one", bright, ok, f.spacingIn/T)
		}
		both := deepRow(T, z, foot, n, false, bright, 7)
		told = frontBySides(both, both, l, foot, perMM, planesOf(both, l)[0].support)
		if told.fams != nil || told.apart > 0.001 || !told.seen {
			t.Errorf("bright %v: both kinds tell the front, and one is preferred: %+v", bright, told)
		}
		// a chance row of all edges far from where both kinds lie is not heeded
		if p, _ := told.choose(wirePlane{0.009, 0.9}); math.Abs(p.stretch) > 0.001 {
			t.Errorf("bright %v: the plane of all edges is kept at %.4f where both kinds lie at 0", bright, p.stretch)
		}
		// the foot beyond the row's end: nothing changes sides
		if told := frontBySides(row, row, l, 30, perMM, planes[0].support); told.seen {
			t.Errorf("bright %v: sides of a foot that is not under the row", bright)
		}
	}
}

// The front-most of planes that are about as strong is the front, not a weak one
// before it nor a strong one too far before it to be the same wires.
func TestForemost(t *testing.T) {
	const perMM = 1.0 / 300
	ps := []wirePlane{{-0.003, 0.6}, {-0.0005, 0.55}, {0.004, 0.3}, {0.02, 0.55}}
	if got := foremost(ps, perMM); got != ps[1] {
		t.Errorf("%v, want %v", got, ps[1])
	}
}

// Backs 3 mm behind the fronts, seen from 300 mm, are 1 % nearer together: over 500
// px from the middle they stand 5 px off and are told apart, over 100 px 1 px, and
// what is seen may lie anywhere between; evenly over 0.75 % is 0.22 % (JCGM
// 100:2008, 4.3.7).
func TestUnresolvedBacks(t *testing.T) {
	if u := unresolved(500, 1.0/300); u != 0 {
		t.Errorf("5 px apart leave %.5f", u)
	}
	if u := unresolved(100, 1.0/300); math.Abs(u-0.0075/math.Sqrt(12)) > 1e-9 {
		t.Errorf("1 px apart leaves %.5f", u)
	}
}

// Backs 1.5 mm behind the fronts are too near to be told from them by all edges
// together; the faces that look away from the foot show the front alone, also
// where all the row lies on one side of it.
func TestFrontBeforeAllEdges(t *testing.T) {
	const T, n, perMM = 0.1, 40, 1.0 / 330
	const z, halfPx = 1.5 * perMM, 400
	l := lattice{first: 0, T: T, count: n}
	for _, foot := range []float64{-0.5, 0.2, 2, 6} {
		row := deepRow(T, z, foot, n, true, true, 3)
		told := frontBySides(row, row, l, foot, perMM, planesOf(row, l)[0].support)
		p, fams, apart, ok := told.before(-z, perMM, halfPx)
		if !ok || math.Abs(p.stretch) > z/6 || math.Abs(apart-z) > z/6 || fams[0].sign == 0 {
			t.Errorf("foot at %v: front at %.5f, %.5f before the back (%v, %v), want 0 and %.5f", foot, p.stretch, apart, ok, fams, z)
		}
		if p, _, _, ok := told.before(0, perMM, halfPx); ok {
			t.Errorf("foot at %v: the front that was found lies at %.5f before itself", foot, p.stretch)
		}
		both := deepRow(T, z, foot, n, false, true, 4)
		told = frontBySides(both, both, l, foot, perMM, planesOf(both, l)[0].support)
		if p, fams, _, ok := told.before(-z, perMM, halfPx); !ok || math.Abs(p.stretch) > z/6 || fams[0] != (family{}) {
			t.Errorf("foot at %v: where both kinds show the front it lies at %.5f (%v, %v), want 0 by all edges", foot, p.stretch, ok, fams)
		}
	}
}

// Wires that scatter by more than planes stand apart carry chance lines; put into
// place, they carry their own two alone, and what was taken off is uncertainty still.
func TestScatterMakesNoPlane(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 7))
	const T, count, scatter, perMM, rounds = 0.212, 22, 0.028, 0.003, 40
	worst, sq, stated := 0.0, 0.0, 0.0
	for range rounds {
		var b Bands
		var edges []edge
		for k := range count {
			in := T * (float64(k) + scatter*rng.NormFloat64())
			b.Row = append(b.Row, Band{Index: k, In: in + 0.004*T*rng.NormFloat64(), State: Good})
			for _, up := range []bool{true, false} {
				side := 0.2
				if up {
					side = -0.2
				}
				edges = append(edges, edge{in: in + T*(side+0.004*rng.NormFloat64()), weight: 1, rising: up})
			}
		}
		l := lattice{first: 0, T: 1.002 * T, count: count}
		edges = b.offPlaces(l).evened(edges)
		p, _, _, ok := frontPlane(planesOf(edges, l), perMM)
		if !ok {
			t.Fatal("no plane")
		}
		f, ok := fitFront(edges, edges, l, p, anyEdge)
		if !ok {
			t.Fatal("no front")
		}
		off := f.spacingIn/T - 1
		worst = math.Max(worst, math.Abs(off))
		sq += off * off / rounds
		stated += f.uRel / rounds
	}
	// Of 22 places that scatter by 0.028 the slope's own standard uncertainty is
	// 0.028 √(12/22³) = 0.00094.
	if worst > 0.004 {
		t.Errorf("off by %.5f", worst)
	}
	if r := stated / math.Sqrt(sq); r < 0.7 || r > 1.5 {
		t.Errorf("scatters by %.5f, %.5f is stated", math.Sqrt(sq), stated)
	}
}

// A front 1.2 mm behind what was counted is none; one before it may be, and so may one that
// lies behind by no more than places are read to.
func TestFrontBehindTheBands(t *testing.T) {
	const perMM = 1.0 / 640
	b := Bands{MiddlePerInch: 7.5}
	for mm, want := range map[float64]bool{-1.2: true, -0.5: false, 0: false, 2: false} {
		if got := b.behind((1+mm*perMM)/b.MiddlePerInch, perMM); got != want {
			t.Errorf("%g mm before the bands: %v", mm, got)
		}
	}
}
