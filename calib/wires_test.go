package calib

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/photo"
)

// laySeeThrough lays a transparent ruler on a picture, level, its marked edge at
// y = p.H/2 and its face below: what is under it shows weaker, marks of sc
// darken it.
func laySeeThrough(p photo.Plane, sc scheme, mm []float64, pxPerIn, bodyIn, see float64) {
	step := pxPerIn * sc.unit.Inches() / float64(sc.divisions)
	for y := p.H / 2; y < p.H && float64(y-p.H/2) < bodyIn*pxPerIn; y++ {
		d := float64(y - p.H/2)
		for x := range p.W {
			a := float64(x) - float64(p.W)/2
			v := see*float64(p.Pix[y*p.W+x]) + (1-see)*190
			n := int(math.Round(a / step))
			if d < mm[sc.class[mod(n, sc.divisions)]]/25.4*pxPerIn {
				ink := math.Max(0, math.Min(1, 1.4-math.Abs(a-float64(n)*step)))
				v += ink * (25 - v)
			}
			p.Pix[y*p.W+x] = uint8(v)
		}
	}
}

// wiresAcross is a picture of dark gaps between bright wires, leaning a little,
// with a bar at either end.
func wiresAcross(w, h int, pitchPx, lean float64, rng *rand.Rand) photo.Plane {
	p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
	for y := range h {
		for x := range w {
			u := (float64(x) + lean*float64(y)) / pitchPx
			off := math.Abs(u-math.Round(u)) * pitchPx // from the wire's middle
			v := 55 + 170*math.Max(0, math.Min(1, 0.2*pitchPx+0.5-off)) + 3*rng.NormFloat64()
			if y < h/8 || y > h-h/8 {
				v = 140 + 3*rng.NormFloat64()
			}
			p.Pix[y*w+x] = uint8(math.Max(0, math.Min(255, v)))
		}
	}
	return p
}

// Wires alone, with an edge where their tone changes, are no ruler.
func TestFindRulerFindsNoneInAnUnmarkedStrip(t *testing.T) {
	p := wiresAcross(1500, 800, 16, 0.03, rand.New(rand.NewPCG(23, 24)))
	bare := tenths(CM, 10, 0)
	laySeeThrough(p, bare, []float64{-1, -1, -1}, 200, 1.2, 0.75)
	if r, found, err := FindRuler(context.Background(), p, Options{}); err != nil || found {
		t.Errorf("found %v (%s%d), err %v", found, r.Scale.Unit, r.Scale.Divisions, err)
	}
}

// What is taken off are the wires, not the marks.
func TestClearWiresLeavesTheMarks(t *testing.T) {
	p := wiresAcross(1200, 600, 15, 0.05, rand.New(rand.NewPCG(25, 26)))
	sc := tenths(Inch, 10, 0)
	laySeeThrough(p, sc, []float64{5, 7, 10}, 200, 1.2, 0.75)
	f := Frame{X: 600, Y: 300, TX: 1, NY: 1, Lo: -580, Hi: 580, Half: 580}
	c, _, ok := clearWires(sharpen(p), f, 15, defaultClearing())
	if !ok {
		t.Fatal("no wires seen")
	}
	if math.Abs(c.lean[0]+0.05) > 0.01 {
		t.Errorf("wires lean by %.3f, drawn -0.05", c.lean[0])
	}
	at := func(along, depth float64) float64 {
		x, y := c.frame.Point(along, depth)
		return c.At(x, y)
	}
	marks, blanks := 0.0, 0.0
	for n := -20; n <= 20; n++ {
		marks += at(float64(n)*20, 10) / 41
		blanks += at(float64(n)*20+10, 10) / 41
	}
	if blanks-marks < 40 {
		t.Errorf("marks %.0f, blanks %.0f grey levels", marks, blanks)
	}
}

// A ruler's edge is seen where something changes along the wires, though no tone
// does across them.
func TestVeilEdges(t *testing.T) {
	const w, h = 1500, 900
	p := wiresAcross(w, h, 16, 0.03, rand.New(rand.NewPCG(27, 28)))
	laySeeThrough(p, tenths(CM, 10, 0), []float64{-1, -1, -1}, 200, 1.2, 0.85)
	// as bright as beside: the gaps are lighter and the wires darker
	var in, out float64
	for x := range w {
		in += float64(p.Pix[(h/2+60)*w+x]) / w
		out += float64(p.Pix[(h/2-60)*w+x]) / w
	}
	for y := h / 2; y < h/2+240; y++ {
		for x := range w {
			p.Pix[y*w+x] = uint8(math.Max(0, math.Min(255, float64(p.Pix[y*w+x])+out-in)))
		}
	}
	py, err := newPyramid(p)
	if err != nil {
		t.Fatal(err)
	}
	veil, err := veilEdges(py, defaultVeil())
	if err != nil {
		t.Fatal(err)
	}
	k := KnownScale{X0: 200, Y0: h / 2, X1: w - 200, Y1: h / 2}
	for i, g := range veil {
		if px, along := k.apart(newFrame(g)); along && px < 4 {
			if i >= 6 {
				t.Errorf("the edge is only the %dth of %d", i+1, len(veil))
			}
			return
		}
	}
	t.Errorf("the edge is none of %d", len(veil))
}

// Wires that are of another tone beside the edge than under it are known from
// farther inside.
func TestBeyondTakesOffWhatOnlyLiesUnderTheRuler(t *testing.T) {
	rng := rand.New(rand.NewPCG(29, 30))
	p := wiresAcross(1200, 600, 15, 0.05, rng)
	tone := make([]float64, 120)
	for i := range tone {
		tone[i] = 30*rng.NormFloat64() - 20
	}
	for y := p.H / 2; y < p.H; y++ {
		for x := range p.W {
			u := (float64(x) + 0.05*float64(y)) / 15
			if off := math.Abs(u - math.Round(u)); off < 0.2 {
				p.Pix[y*p.W+x] = uint8(math.Max(0, math.Min(255, float64(p.Pix[y*p.W+x])+tone[int(math.Round(u))])))
			}
		}
	}
	laySeeThrough(p, tenths(Inch, 10, 0), []float64{3, 4, 5}, 200, 1.2, 0.75)
	c, _, ok := clearWires(sharpen(p), Frame{X: 600, Y: 300, TX: 1, NY: 1, Lo: -580, Hi: 580, Half: 580}, 15, defaultClearing())
	if !ok {
		t.Fatal("not cleared")
	}
	rough := func(c cleared) float64 {
		var sum, sq, n float64
		for i := 3; i+3 < 116; i++ { // halfway between marks
			for d := 5.0; d < 15; d++ {
				if v := c.At(c.frame.Point(float64(i-58)*10, d)); i%2 == 1 {
					sum, sq, n = sum+v, sq+v*v, n+1
				}
			}
		}
		return math.Sqrt(sq/n - sum/n*sum/n)
	}
	own, further := rough(c), rough(c.beyond([2]int{45, 160}))

	if further > 0.7*own {
		t.Errorf("%.1f grey levels are left of wires, %.1f without what lies farther inside", own, further)
	}
}

// Of an edge that is seen as well as any the side is read through on which the wires go
// on fainter, not the one on which they are as they are.
func TestVeiledSides(t *testing.T) {
	p := wiresAcross(1500, 800, 16, 0.03, rand.New(rand.NewPCG(29, 30)))
	laySeeThrough(p, tenths(CM, 10, 0), []float64{4, 6, 9}, 200, 1.2, 0.5)
	py, err := newPyramid(p)
	if err != nil {
		t.Fatal(err)
	}
	f := newFrame(segment{X: 750, Y: 400, TX: 1, Lo: -700, Hi: 700})
	h := hunt{py: py}
	for _, g := range [2]Frame{f, f.Flipped()} {
		h.all = append(h.all, candidate{frame: g, held: 1}, candidate{frame: g, held: 1})
	}
	got, err := h.veiledSides(nil, clearlyHeld, mostUnder, mostVeiled)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 1 || got[0].frame.NY < 0 {
		t.Errorf("%d sides", len(got))
	}
	if got, _ := h.veiledSides(got, clearlyHeld, mostUnder, mostVeiled); len(got) != 0 {
		t.Error("a side that was looked at is looked at again")
	}
	// A clear ruler hardly dims them.
	if got, _ := h.veiledSides(got, clearlyHeld, mostUnderClear, mostVeiled); len(got) != 1 || got[0].frame.NY > 0 {
		t.Errorf("%d sides on which wires are as they are", len(got))
	}
}

// From near by marks run deep into the picture and figures are wider than several wires:
// a long mark beside one is seen to its end.
func TestClearWiresFromNearBy(t *testing.T) {
	const pxPerIn, wires = 548, 35.6
	p := wiresAcross(2000, 1000, wires, 0, rand.New(rand.NewPCG(31, 32)))
	laySeeThrough(p, tenths(Inch, 10, 0), []float64{6.4, 9.5, 11.2}, pxPerIn, 0.8, 0.6)
	figure := func(along, depth float64) bool { // a solid one beside each whole inch
		return depth > 150 && depth < 280 && along > 20 && along < 130
	}
	for y := p.H / 2; y < p.H; y++ {
		for x := range p.W {
			a := float64(x) - 1000
			if figure(a-pxPerIn*math.Floor(a/pxPerIn), float64(y-p.H/2)) {
				p.Pix[y*p.W+x] = 25
			}
		}
	}
	c, _, ok := clearWires(sharpen(p), Frame{X: 1000, Y: 500, TX: 1, NY: 1, Lo: -980, Hi: 980, Half: 980}, wires, defaultClearing())
	if !ok {
		t.Fatal("not cleared")
	}
	rough := func(along, d0, d1 float64) float64 {
		var sum, n float64
		for d := d0; d < d1; d += 3 {
			for x := 0.0; x < 60; x++ {
				v := c.At(c.frame.Point(along+x, d)) - 128
				sum, n = sum+v*v, n+1
			}
		}
		return math.Sqrt(sum / n)
	}
	for _, along := range []float64{-pxPerIn, 0} {
		if beside, past := rough(along+210, 170, 270), rough(along+210, 290, 325); !(beside < 2*past) {
			t.Errorf("beside a figure at %.0f px %.1f grey levels are left of wires, past it %.1f", along, beside, past)
		}
		// a mark is darker than what lies right before it
		mark := func(d float64) float64 { return c.At(c.frame.Point(along-5, d)) - c.At(c.frame.Point(along, d)) }
		if near, deep := mark(60), mark(225); !(deep > 0.6*near) {
			t.Errorf("the mark at %.0f px stands out by %.0f grey levels near the edge and by %.0f at its end", along, near, deep)
		}
	}
}
