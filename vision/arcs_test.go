package vision

import (
	"context"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"dentcount/calib"
	"dentcount/photo"
	"dentcount/scene"
)

// grille is a profile of strips that are solid from share lo to hi of a spacing
// T, seen by a camera over foot: front faces of grey level front, side faces, and
// what lies beneath, which their backs, rel of the camera's height deeper, frame.
func grille(T, lo, hi, foot, rel, front, side, beneath float64, seed uint64) signal {
	rng := rand.New(rand.NewPCG(seed, 9))
	g := signal{du: 1.0 / 300, v: make([]float64, int(6*300))}
	back := func(x float64) float64 { return x + (foot-x)*rel }
	for i := range g.v {
		const fine = 8
		sum := 0.0
		for j := range fine {
			u := (float64(i) + (float64(j)+0.5)/fine) * g.du
			k := math.Floor(u / T)
			level := beneath
			for _, n := range [3]float64{k - 1, k, k + 1} {
				a, b := (n+lo)*T, (n+hi)*T
				switch {
				case u >= a && u < b:
					level = front
				case level == beneath && u >= math.Min(a, back(a)) && u < math.Max(b, back(b)):
					level = side
				}
			}
			sum += level / fine
		}
		g.v[i] = sum + 1.5*rng.NormFloat64()
	}
	return g
}

// Wires and bars of the same widths and greys differ in where their side faces
// show, and in nothing else.
func TestArcsTellWiresFromBars(t *testing.T) {
	right, cases := 0, 0
	for _, c := range []struct{ front, side, beneath float64 }{
		{170, 60, 120}, {60, 110, 190}, {200, 150, 60}, {140, 60, 200}, {90, 150, 30},
	} {
		for i, T := range []float64{0.16, 0.22, 0.3} {
			for _, narrow := range []float64{0.15, 0.2} {
				const foot, rel = 3.2, 0.012 // 3.6 mm of 300
				l := lattice{first: T * narrow / 2, T: T, count: int(5.8 / T)}
				read := func(lo, hi float64) (arcs, bool) {
					sig := grille(T, lo, hi, foot, rel, c.front, c.side, c.beneath, uint64(i))
					a, ok := arcsOf(sig, l, 300*T)
					f, at := fold(sig, l)
					a.wires = f.wiresOrBars(l, at, view{foot, rel / 3.6}, 300*T)
					return a, ok
				}
				wires, ok1 := read(0, narrow)
				bars, ok2 := read(narrow, 1)
				w, b := kindModel().odds(kindCues(&wires, 0, unseenMiddle, 1/T)), kindModel().odds(kindCues(&bars, 0, unseenMiddle, 1/T))
				if !ok1 || !ok2 || b < 1 || b-w < 1.2 {
					t.Errorf("front %v, side %v, beneath %v, spacing %v, narrow %v: odds of wires %.2f (%v), of bars %.2f (%v)",
						c.front, c.side, c.beneath, T, narrow, w, ok1, b, ok2)
				}
				cases++
				// against what is said of bands of which no arcs are told
				if w < kindModel().odds(kindCues(nil, 0, unseenMiddle, 1/T)) {
					right++
				}
			}
		}
	}
	if 3*right < 2*cases {
		t.Errorf("the arcs of %d of %d rows of wires speak for wires", right, cases)
	}
}

// Where nothing stands out there are no arcs.
func TestArcsOfNothing(t *testing.T) {
	g := signal{du: 1.0 / 300, v: make([]float64, 1800)}
	if _, ok := arcsOf(g, lattice{first: 0.1, T: 0.2, count: 28}, 60); ok {
		t.Error("arcs were told in an even grey")
	}
	if _, ok := arcsOf(g, lattice{first: 0.1, T: 2, count: 3}, 60); ok {
		t.Error("arcs were told from three bands")
	}
}

// A rigid heddle whose holes lie under the ruler, and a reed as coarse as its
// slots: a person tells them by their bars and wires, and so does FindBands.
// The truth is the drawing's.
func TestSlotsAndCoarseWires(t *testing.T) {
	right, sure := 0, 0
	const scenes = 8
	for i := range scenes {
		heddle := i%2 == 0
		r := scene.Ranges{
			AdverseShare: -1, HeddleShare: -1, OffShare: -1, YarnShare: -1, TurnedShare: -1, Labels: []string{"5", "6", "7"},
			LongSidePx: scene.Range{1200, 1300}, PxPerDent: scene.Range{22, 28}, BlurPx: scene.Range{0.4, 0.8}, Noise: scene.Range{0.004, 0.01},
			RulerKinds: []string{"in16"}, RulerLooks: []string{"white"}, RulerThicknessMM: scene.Range{0.5, 1}, Wear: scene.Range{0.001, 0.002},
		}
		if heddle {
			r.HeddleShare, r.Labels, r.PxPerDent = 1, []string{"10", "12", "12.5"}, scene.Range{11, 14}
		}
		s := scene.Random(7100+uint64(i), r)
		if heddle {
			// The row of holes runs under the middle of the ruler.
			ruler := s.Rulers[0]
			s.Part.HoleLengthMM = 6
			s.Part.HoleYMM = ruler.WidthMM / 2
			if ruler.Scales[0].HighEdge != (math.Abs(math.Remainder(ruler.AngleDeg, 360)) > 90) {
				s.Part.HoleYMM = -s.Part.HoleYMM
			}
		}
		jpeg, truth, err := scene.Photo(s)
		if err != nil {
			t.Fatal(err)
		}
		b, ok := bandsIn(t, jpeg, "")
		if !ok {
			t.Logf("scene %d: no ruler or no bands", i)
			continue
		}
		dents := b.PerInch * float64(b.DentsPerBand)
		good := (b.Kind == RigidHeddle) == heddle && math.Abs(dents / *truth.DentsPerInch - 1) < 0.03
		if good {
			right++
		}
		if b.KindProbability >= 0.9 {
			sure++
			if !good {
				t.Errorf("scene %d: %s of %.2f dents with %.3f, drawn was %s of %.2f", i, b.Kind, dents, b.KindProbability, truth.Part, *truth.DentsPerInch)
			}
		}
		if b.HolesHidden {
			// A person who says which it is settles it.
			told := map[bool]Kind{true: RigidHeddle, false: Reed}[heddle]
			if c, _ := bandsIn(t, jpeg, told); c.Kind != told || c.HolesHidden || c.KindProbability < 0.9 || math.Abs(c.PerInch*float64(c.DentsPerBand) / *truth.DentsPerInch - 1) > 0.03 {
				t.Errorf("scene %d: told that it is a %s, read as %s of %.2f dents with %.3f", i, told, c.Kind, c.PerInch*float64(c.DentsPerBand), c.KindProbability)
			}
		}
		t.Logf("scene %d: %s of %.2f dents with %.3f (hidden %v), drawn was %s of %.2f", i, b.Kind, dents, b.KindProbability, b.HolesHidden, truth.Part, *truth.DentsPerInch)
	}
	if right < scenes-2 || sure < scenes/2 {
		t.Errorf("%d of %d told right, %d of them surely", right, scenes, sure)
	}
}

func bandsIn(t *testing.T, jpeg []byte, told Kind) (Bands, bool) {
	t.Helper()
	p, err := photo.Decode("scene", jpeg)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	g, err := p.Gray()
	if err != nil {
		t.Fatal(err)
	}
	ruler, found, err := calib.FindRuler(context.Background(), g, calib.Options{})
	if err != nil || !found {
		return Bands{}, false
	}
	b, found, err := FindBands(context.Background(), g, ruler.Scale, Options{Kind: told})
	if err != nil {
		t.Fatal(err)
	}
	return b, found
}

// Slots and holes in turn: the half tone is missing where both cross a row and
// as strong as the tone where slots do alone.
func TestHalves(t *testing.T) {
	const ppi, spacing = 100.0, 8.4
	row := func(both func(depth float64) bool, plainHalf float64) window {
		w := window{spacing: spacing}
		for d := -150.0; d < -4; d += 2.4 {
			z := zone{depth: d, one: 15, two: 11, half: 15 * plainHalf, share: 1}
			if both(d) {
				z.one, z.two, z.half = 30, 22, 2
			}
			z.halfTone = complex(z.half, 0)
			w.zones = append(w.zones, z)
		}
		return w
	}
	atEdge := func(d float64) bool { return d > -35 }
	offEdge := func(d float64) bool { return d < -40 && d > -70 }
	none := func(float64) bool { return false }
	narrow := func(w window) window { // little of the contrast is the tone's
		for i := range w.zones {
			w.zones[i].share = 0.4
		}
		return w
	}
	// past the part's end a weave as fine turns by a sixth of its spacing from row to row
	weave := func(w window) window {
		turn := complex(1, 0)
		for i := len(w.zones) - 1; i >= 0; i-- {
			if z := &w.zones[i]; z.depth < -40 {
				turn *= cmplx.Exp(1i * math.Pi / 3)
				z.one, z.half = z.one*turn, 15
			} else {
				z.half = 2
			}
		}
		return w
	}
	for _, c := range []struct {
		name   string
		window window
		want   bool
		kind   Kind
		least  float64
	}{
		{"holes at the edge", row(atEdge, 1), true, RigidHeddle, 0.9},
		{"holes off the edge", row(offEdge, 1), true, RigidHeddle, 0.9},
		{"holes beside slots with walls", row(atEdge, 0.5), true, RigidHeddle, 0.9},
		{"wires with walls", row(none, 0.5), false, Reed, 0.99},
		{"narrow slots and holes", narrow(row(atEdge, 1)), true, RigidHeddle, 0.9},
		// slots alone, or wires: nobody can tell
		{"unlike wires from baulk to baulk", row(none, 0.9), false, Reed, 0.5},
		{"wires on a weave", weave(row(none, 1)), false, Reed, 0.9},
		{"like wires", row(none, 0.1), false, Reed, 0.99},
		{"wires that end in a shadow", row(func(d float64) bool { return d > -110 }, 1), false, Reed, 0.5},
		{"wires crossed by a thread", row(func(d float64) bool { return d > -62 && d < -58 }, 0.9), false, Reed, 0.5},
	} {
		got := inTurn([]window{c.window, c.window, c.window}, ppi)
		if kind, p := got.kind(); got.seen != c.want || kind != c.kind || p < c.least || c.least == 0.5 && p != 0.5 {
			t.Errorf("%s: %+v, %s with %.3f", c.name, got, kind, p)
		}
	}
	// What stands no more at half the frequency than beside it differs by chance.
	for _, c := range []struct {
		beside float64 // of half
		want   Kind
	}{{0.9, Reed}, {0.6, Reed}, {0.3, RigidHeddle}} {
		w := row(atEdge, 1)
		for i := range w.zones {
			w.zones[i].beside = c.beside * w.zones[i].half
		}
		if kind, p := inTurn([]window{w, w, w}, ppi).kind(); kind != c.want || p < 0.9 {
			t.Errorf("%.1f of the half tone beside it: %s with %.3f", c.beside, kind, p)
		}
	}
	// Aslant to the edge holes still end in one line; wires that rust has bitten are
	// alike here and there only.
	for _, c := range []struct {
		name string
		ends []float64
		want bool
	}{
		{"holes aslant", []float64{-20, -32, -44, -56, -68}, true},
		{"rusty wires", []float64{-20, -68, -32, -90, -24}, false},
		{"two windows with grain", []float64{-20, -80}, false},
	} {
		var ws []window
		for i, end := range c.ends {
			w := row(func(d float64) bool { return d > end }, 1)
			if !c.want && i/2%2 == 1 { // what differs by chance keeps no step
				for j := range w.zones {
					w.zones[j].halfTone *= -1
				}
			}
			ws = append(ws, w)
		}
		if got := inTurn(ws, ppi).seen; got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
	// In a small photo it is hardly seen where holes end, but that slots keep step.
	for _, by := range []float64{0, math.Pi} {
		var ws []window
		for i, end := range []float64{-20, -68, -32, -90, -24, -60, -28} {
			w := row(func(d float64) bool { return d > end }, 1)
			w.along = float64(4*i) * spacing
			for j := range w.zones {
				w.zones[j].halfTone = cmplx.Rect(w.zones[j].half, by*float64(i/2))
			}
			ws = append(ws, w)
		}
		if got := inTurn(ws, ppi); got.seen != (by == 0) {
			t.Errorf("from window to window turned by %.1f: %+v", by, got)
		}
	}
	// Where the line of their ends runs in under a ruler aslant the other windows show
	// slots alone; where it stays before the ruler they would show holes.
	for _, c := range []struct {
		name string
		ends []float64
		want bool
	}{
		{"holes that the ruler covers by and by", []float64{-68, -56, -44, -32, 0, 0, 0, 0, 0}, true},
		{"from the other end", []float64{0, 0, 0, 0, 0, -32, -44, -56, -68}, true},
		{"holes that are lacking", []float64{-44, -44, -44, -44, 0, 0, 0, 0, 0}, false},
		{"holes that are lacking where they would reach farther", []float64{0, 0, 0, 0, 0, -68, -56, -44, -32}, false},
	} {
		var ws []window
		for i, end := range c.ends {
			w := row(func(d float64) bool { return d > end }, 1)
			w.along = float64(i) * 80
			ws = append(ws, w)
		}
		if got := inTurn(ws, ppi).seen; got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
	// Slots that the camera looks straight through are hardly seen past the holes in the
	// row's middle, which says nothing; wires that are alike to the end say what they are.
	turns, ends := row(atEdge, 1), row(func(float64) bool { return true }, 1)
	ends.zones = ends.zones[len(ends.zones)-13:]
	for _, c := range []struct {
		name   string
		others window
		want   bool
	}{
		{"slots seen through", ends, true},
		{"wires alike", row(func(float64) bool { return true }, 1), false},
		{"wires unlike", row(none, 1), false},
	} {
		if got := inTurn([]window{turns, turns, c.others, c.others, turns}, ppi).seen; !got {
			t.Errorf("%s in two windows of five: %v", c.name, got)
		}
		if got := inTurn([]window{turns, turns, c.others, c.others, c.others, c.others}, ppi).seen; got != c.want {
			t.Errorf("%s in four windows of six: %v", c.name, got)
		}
	}
}

// Slots and holes that keep step are nearly certain; holes beyond which slots do not are none.
func TestTurnKind(t *testing.T) {
	for _, c := range []struct {
		steady, lo, hi float64
	}{{0.97, 0.96, 0.98}, {0.6, turnsStated, turnsStated}, {0.1, 0.5, 0.5}} {
		if kind, p := (turn{seen: true, alone: 0.9, steady: c.steady}).kind(); kind != RigidHeddle || p < c.lo || p > c.hi {
			t.Errorf("steady %.2f: %s with %.3f", c.steady, kind, p)
		}
	}
	for _, c := range []struct{ steady, alone, want float64 }{{0.9, 0.7, 0.5}, {0.1, 0.99, 0.5}, {0.1, 0.8, 0.93}, {0.9, 0.4, 0.93}, {0.1, 0.6, plainly}} {
		if kind, p := (turn{alone: c.alone, steady: c.steady}).kind(); kind != Reed || p != c.want {
			t.Errorf("slots alone in %.2f, steady %.2f: %s with %.3f, want %.2f", c.alone, c.steady, kind, p, c.want)
		}
	}
	// Wires that differ by chance may keep step; slots whose material differs show everywhere.
	for _, c := range []struct{ alone, want float64 }{{0.7, 0.93}, {0.99, 0.5}} {
		if kind, p := (turn{alone: c.alone, steady: 0.9, byChance: true}).kind(); kind != Reed || p != c.want {
			t.Errorf("by chance in %.2f: %s with %.3f, want %.2f", c.alone, kind, p, c.want)
		}
	}
}

// Every second slot looks like every second one all along; wires that differ by chance do so
// in one window and not in the next.
func TestKeepsStep(t *testing.T) {
	const spacing = 8.3
	windows := func(seen float64, turn func(i int) float64) (ws []turning) {
		for i := range 12 {
			along := float64(i) * 32 // as near to four spacings as whole pixels come
			phase := 2 * math.Pi * along / spacing
			ws = append(ws, turning{along: along, spacing: seen, ones: cmplx.Rect(30, phase), halves: cmplx.Rect(20, phase/2+turn(i))})
		}
		return ws
	}
	if got := keepsStep(windows(1.01*spacing, func(int) float64 { return 0.7 })); got < 0.99 {
		t.Errorf("slots keep step by %.2f", got)
	}
	if got := keepsStep(windows(spacing, func(i int) float64 { return math.Pi * float64((i*i/3)%2) })); got > 0.5 {
		t.Errorf("wires keep step by %.2f", got)
	}
	if got := keepsStep(windows(spacing, func(int) float64 { return 0.7 })[:4]); got != 0.6 {
		t.Errorf("two steps are plain: %.2f", got)
	}
	if got := keepsStep(nil); got != 0 {
		t.Errorf("no windows: %v", got)
	}
}

// Slots with a bright floor and a dark wall, narrow and alike in width, leave
// hardly any of the fundamental: a harmonic is the strongest line.
func TestPeriodOfDarkAndBrightPairs(t *testing.T) {
	for _, perInch := range []float64{2.5, 3.2, 5} {
		for _, half := range []float64{0.02, 0.035, 0.06} { // of the pair, over the spacing
			g := signal{du: 1.0 / 400, v: make([]float64, 3200)}
			rng := rand.New(rand.NewPCG(8, 2))
			for i := range g.v {
				x := (math.Mod(float64(i)*g.du*perInch, 1) - 0.5) / half
				g.v[i] = 100 + 2*rng.NormFloat64() + 40*(math.Exp(-2*(x-1)*(x-1))-math.Exp(-2*(x+1)*(x+1)))
			}
			got, ok := findPeriod(g.highPass(0.4), coarsest, 42)
			if !ok || math.Abs(got.PerInch/perInch-1) > 0.01 {
				t.Errorf("%v per inch, pairs %v wide: read as %.3f (%v)", perInch, 2*half, got.PerInch, ok)
			}
		}
	}
}

// Yarn that hides a few bands is none of their arcs: bars that are the same from end to
// end stay so.
func TestArcsUnderYarn(t *testing.T) {
	const T = 0.22
	sig := grille(T, 0.15, 1, 3.2, 0.012, 60, 40, 30, 3)
	l := lattice{first: T * 0.075, T: T, count: 26}
	clean, ok := arcsOf(sig, l, 300*T)
	if !ok {
		t.Fatal("no arcs")
	}
	var row []Band
	for k := range l.count {
		b := Band{Index: k, In: l.first + T*float64(k), State: Good}
		if k == 4 || k == 5 {
			b.State = Hidden
			for i := int((b.In - T/2) / sig.du); i < int((b.In+T/2)/sig.du); i++ {
				sig.v[i] = 100 + 300*float64(i)*sig.du
			}
		}
		row = append(row, b)
	}
	yarn, ok1 := arcsOf(sig, l, 300*T)
	good, ok2 := arcsOf(sig.goodOf(row, T), l, 300*T)
	if !ok2 || math.Abs(good.change-clean.change) > 0.01 {
		t.Errorf("with yarn left out the wide arcs change by %.3f (%v), without it by %.3f", good.change, ok2, clean.change)
	}
	if ok1 && math.Abs(yarn.change-clean.change) < 0.05 {
		t.Errorf("yarn makes the arcs change by %.3f, no more than %.3f without it", yarn.change, clean.change)
	}
}
