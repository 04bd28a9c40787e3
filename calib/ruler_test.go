package calib

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/photo"
)

// drawing is a grey picture with noise; wires stand across it at an even pitch.
func drawing(w, h int, wirePitchPx float64, rng *rand.Rand) photo.Plane {
	p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
	for y := 0; y < h; y++ {
		for x := 0; x < w; x++ {
			v := 120 + 4*rng.NormFloat64()
			if wirePitchPx > 0 {
				v += 45 * math.Sin(2*math.Pi*float64(x)/wirePitchPx)
			}
			p.Pix[y*w+x] = uint8(math.Max(0, math.Min(255, v)))
		}
	}
	return p
}

// drawRuler lays a ruler on it, turned by angle (rad): its marked edge passes
// through the picture's middle, marks of sc stand every 1/divisions of a unit.
func drawRuler(p photo.Plane, sc scheme, mm []float64, pxPerIn, angle, bodyIn float64) {
	sn, cs := math.Sincos(angle)
	half := 0.42 * float64(p.W)
	step := pxPerIn * sc.unit.Inches() / float64(sc.divisions)
	for y := 0; y < p.H; y++ {
		for x := 0; x < p.W; x++ {
			dx, dy := float64(x)-float64(p.W)/2, float64(y)-float64(p.H)/2
			a, d := dx*cs+dy*sn, -dx*sn+dy*cs
			if math.Abs(a) > half || d < 0 || d > bodyIn*pxPerIn {
				continue
			}
			v := 225.0
			n := int(math.Round(a / step))
			off := math.Abs(a - float64(n)*step)
			if d < mm[sc.class[mod(n, sc.divisions)]]/25.4*pxPerIn {
				v -= 180 * math.Max(0, math.Min(1, 1.6-off))
			}
			p.Pix[y*p.W+x] = uint8(v)
		}
	}
}

func TestFindRulerReadsADrawnRuler(t *testing.T) {
	sixteenths, millimetres := halving(Inch, 16, 0), tenths(CM, 10, 0)
	for _, c := range []struct {
		name  string
		sc    scheme
		mm    []float64
		pxIn  float64
		angle float64
		wires float64
	}{
		{"inch on plain ground", sixteenths, []float64{3.2, 4.4, 5.6, 7.5, 10}, 150, 0.05, 0},
		{"inch on wires", sixteenths, []float64{3.2, 4.4, 5.6, 7.5, 10}, 160, -0.09, 16},
		{"metric on wires", millimetres, []float64{3.5, 5.5, 8}, 190, 0.03, 12.7},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := drawing(1400, 900, c.wires, rand.New(rand.NewPCG(11, 12)))
			drawRuler(p, c.sc, c.mm, c.pxIn, c.angle, 1.1)
			r, found, err := FindRuler(context.Background(), p, Options{})
			if err != nil || !found {
				t.Fatalf("found %v, err %v", found, err)
			}
			if r.Scale.Unit != c.sc.unit || r.Scale.Divisions != c.sc.divisions {
				t.Errorf("read as %s%d", r.Scale.Unit, r.Scale.Divisions)
			}
			if got := r.Scale.PxPerIn(); math.Abs(math.Abs(got)/c.pxIn-1) > 0.003 {
				t.Errorf("%.2f px per inch, drawn %.2f", got, c.pxIn)
			}
			if r.UnitProbability < 0.9 {
				t.Errorf("unit probability %.2f for a plain ruler", r.UnitProbability)
			}
			if span := r.Scale.Hi - r.Scale.Lo; span > 0.85*1400 || span < 0.7*1400 {
				t.Errorf("marks read over %.0f px, the ruler is %.0f px long", span, 0.84*1400)
			}
			other := CM
			if c.sc.unit == CM {
				other = Inch
			}
			if q, found, err := FindRuler(context.Background(), p, Options{Unit: other}); err != nil || found && q.Scale.Unit != other {
				t.Errorf("unit said %s: got %s, err %v", other, q.Scale.Unit, err)
			}
		})
	}
}

func TestFindRulerFindsNoneWithoutOne(t *testing.T) {
	for name, pitch := range map[string]float64{"plain ground": 0, "wires": 14} {
		p := drawing(1200, 800, pitch, rand.New(rand.NewPCG(13, 14)))
		// two rails across the wires give edges that carry a comb
		for y := 0; y < p.H; y++ {
			for x := 0; x < p.W; x++ {
				if y < 200 || y > 600 {
					p.Pix[y*p.W+x] = uint8(190 + (x*7+y*13)%5)
				}
			}
		}
		if r, found, err := FindRuler(context.Background(), p, Options{}); err != nil || found {
			t.Errorf("%s: found %v (%s%d), err %v", name, found, r.Scale.Unit, r.Scale.Divisions, err)
		}
	}
}

func TestFindRulerSurvivesTinyAndEmptyPictures(t *testing.T) {
	for _, n := range []int{1, 2, 7, 40} {
		p := photo.Plane{W: n, H: n, Pix: make([]uint8, n*n)}
		if _, found, _ := FindRuler(context.Background(), p, Options{}); found {
			t.Errorf("%d×%d black pixels hold a ruler", n, n)
		}
	}
}

func TestFindRulerStopsWhenToldTo(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	p := drawing(600, 400, 10, rand.New(rand.NewPCG(15, 16)))
	if _, _, err := FindRuler(ctx, p, Options{}); err == nil {
		t.Error("a cancelled search went on")
	}
}

// Two and a half units of marks that are all as foretold tell too little of themselves,
// and enough where they are as even as a ruler's; with a few spoilt ones they do not.
func TestFewUnitsThatAreAllAsForetold(t *testing.T) {
	read := func(unevenPx float64, spoilt ...int) bool {
		rng := rand.New(rand.NewPCG(8, 9))
		l := rulerLadder(tenths(Inch, 10, 0), []float64{6.6, 9.6, 11.6}, 2.6, 400, 0, 0, 0, rng)
		l.frame, l.base, l.stepPx, l.alike = Frame{TX: 1, NY: 1, Hi: 1400, Half: 700}, [2]float64{4, 60}, 2, 1
		for i := range l.rungs {
			l.rungs[i].ink = math.NaN()
			l.rungs[i].along += unevenPx * rng.NormFloat64()
		}
		for _, i := range spoilt {
			l.rungs[i].length *= 1.2
		}
		if rds := decode(l); len(rds) > 0 {
			t.Logf("uneven %g px, spoilt %v: evidence %.2f, explained %.2f", unevenPx, spoilt, rds[0].evidence, rds[0].explained)
		}
		return understand(candidate{frame: l.frame, held: 1}, l) != nil
	}
	if !read(0.1) {
		t.Error("even marks are no ruler's")
	}
	if read(2) {
		t.Error("uneven marks are a ruler's")
	}
	if read(0.1, 6, 16) {
		t.Error("with spoilt marks it is a ruler's")
	}
}

// However far apart marks stand, grain sets the places that are read of them off by a part
// of a pixel: the same unevenness speaks against a row of wide steps, hardly against fine
// ones.
func TestGrainIsNoUnevenness(t *testing.T) {
	rng := rand.New(rand.NewPCG(54, 13))
	l := rulerLadder(halving(Inch, 8, 0), []float64{4, 5.5, 7.5, 10}, 6, 40, 0, 0, 0, rng)
	for i := range l.rungs {
		l.rungs[i].along += 0.2 * rng.NormFloat64()
	}
	rd := reading{unit: Inch, divisions: 8, classes: 4, score: 20, hi: 48}
	l.readPx = 100 * l.periodPx
	wide := rulerOdds(l, rd, 1)
	l.readPx = l.periodPx
	if fine := rulerOdds(l, rd, 1); fine < wide+2 || fine > 20+8 {
		t.Errorf("odds %.1f where marks are read %.0f px apart, %.1f at %.0f px", fine, l.periodPx, wide, 100*l.periodPx)
	}
}

// Where nothing is surely a ruler, a row of which most is read as a scale will do with less
// evidence than one of which a stretch is.
func TestMostOfARowWillDo(t *testing.T) {
	l := ladder{periodPx: 10}
	for i := range 41 {
		l.rungs = append(l.rungs, rung{n: i, along: 10 * float64(i), found: true})
	}
	for _, c := range []struct {
		hi      int
		score   float64
		through bool
		want    bool
	}{{30, -5, false, true}, {15, -5, false, false}, {30, -8, false, false}, {30, -5, true, false}} {
		r := read{ladder: l, readings: []reading{{divisions: 10, classes: 3, hi: c.hi, score: c.score}}, through: c.through}
		r.from.held = 1
		if r.alone() {
			t.Fatalf("%+v: %.1f is a ruler beyond what is tried here", c, r.odds(0))
		}
		if got := r.wholeRow(); got != c.want {
			t.Errorf("%+v: %v with odds %.1f", c, got, r.odds(0))
		}
	}
}
