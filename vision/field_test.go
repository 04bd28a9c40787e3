package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"dentcount/calib"
	"dentcount/photo"
)

// fieldPhoto is a drawing to scale, 100 px an inch, of bands from top to foot
// inches before and behind a ruler's marked edge, a ruler an inch wide on them.
type fieldPhoto struct {
	top, foot   float64
	barTop, bar float64 // how wide the bars at both ends are; 0: none
	// how far before the marked edge a second ruler an inch wide begins; 0: there is none
	second float64
	// secondPx is where along the first ruler the second one begins.
	secondPx int
	// clear: bands are seen through it.
	clear bool
	// wound: twine is wound about the bars in step with the bands, half a spacing off
	// and here tighter than there.
	wound bool
	// slits makes of every second band a slit a tenth of the spacing wide.
	slits bool
	// wander is how far the bands swing to and fro along their length, in spacings.
	wander float64
	// aslant is the tangent by which the ends lie aslant to the ruler.
	aslant float64
	// cut: the picture ends with the ruler, on which something is in step with the bands
	// here and there.
	cut bool
	// back: the ruler has marks along its other side, too, almost as far apart as the bands.
	back bool
	// grain: the table has a pattern as coarse as the bands.
	grain bool
	// front: the ruler's marks are in step with the bands.
	front bool
	// shade: the soft shadow of the bands' end lies on the table.
	shade bool
	// weave: the table is of a weave nearly as fine as the bands.
	weave bool
	// below is how far past the foot the picture ends; 0: far.
	below float64
}

const fieldPPI, fieldPerInch = 100, 10

func (f fieldPhoto) draw() (photo.Plane, calib.Scale) {
	const w, edge, ground, bar, swingIn = 900, 500, 120.0, 60.0, 0.8
	h := 1100
	if f.cut {
		h = edge + fieldPPI
	} else if f.below > 0 {
		h = edge + int((f.foot+f.below)*fieldPPI)
	}
	rng := rand.New(rand.NewPCG(8, 2))
	p := photo.Plane{W: w, H: h, Pix: make([]uint8, w*h)}
	patches := map[[2]int]float64{} // the grain's phase, in patches an inch by a quarter
	grain := func(x, y int) float64 {
		at := [2]int{x / fieldPPI, y / (fieldPPI / 4)}
		if _, ok := patches[at]; !ok {
			patches[at] = 2 * math.Pi * rng.Float64()
		}
		return 50 * math.Sin(2*math.Pi*float64(x)/fieldPPI*fieldPerInch+patches[at])
	}
	for y := range h {
		d := float64(y-edge) / fieldPPI // into the ruler
		for x := range w {
			v := ground
			turn := 2 * math.Pi * (float64(x)/fieldPPI*fieldPerInch + f.wander*math.Sin(2*math.Pi*d/swingIn))
			twine := 0.0
			if f.wound {
				twine = (0.32 + 0.2*math.Sin(2*math.Pi*float64(x)/300)) * 60 * math.Sin(turn)
			}
			e := d - f.aslant*float64(x-w/2)/fieldPPI
			switch {
			case d >= 0 && d < 1:
				v = 220
				// marks an eighth apart, in no step with the bands
				if f.front && d < 0.3 {
					v = 150 + 60*math.Sin(turn)
				} else if d < 0.35 && math.Mod(float64(x), fieldPPI/8) < 2 {
					v = 40
				} else if f.back && d > 0.75 {
					v = 150 + 60*math.Sin(1.03*turn)
				} else if f.cut && d > 0.4 && d < 0.7 && x > 450 && x < 650 {
					v += 30 * math.Sin(turn)
				}
			case f.second > 0 && d < -f.second && d > -f.second-1 && x >= f.secondPx:
				if v = 200; f.clear {
					v = 140 + 36*math.Sin(turn)
				}
			case e >= -f.top && e < f.foot:
				if v = 110 + 60*math.Sin(turn); f.slits {
					v = 110
					if x%(2*fieldPPI/fieldPerInch) == 0 {
						v = 50
					}
				}
			case e < -f.top && e >= -f.top-f.barTop, e >= f.foot && e < f.foot+f.bar:
				v = bar - twine
			case f.weave:
				v += 50 * math.Sin(0.97*2*math.Pi*float64(x)/fieldPPI*fieldPerInch)
			case f.grain:
				v += grain(x, y)
			case f.shade:
				v -= 30 * math.Exp(-math.Max(e-f.foot, -f.top-e)/0.15)
			}
			p.Pix[y*w+x] = uint8(v + 2*rng.NormFloat64())
		}
	}
	frame := calib.Frame{X: w / 2, Y: edge, TX: 1, NY: 1, Half: w / 2}
	return p, calib.Scale{Frame: frame, Unit: calib.Inch, Half: w / 2, B: w / 2 / fieldPPI, Lo: -400, Hi: 400}
}

// Heights are those that were drawn; bars and free ends are told apart.
func TestFieldOfBands(t *testing.T) {
	for _, c := range []struct {
		name       string
		photo      fieldPhoto
		ends       int
		high       float64
		free       bool
		teeth, any bool // doubted as a comb; doubted at all
	}{
		{"a reed", fieldPhoto{top: 1.5, foot: 2.5, barTop: 0.5, bar: 0.5}, 2, 4, false, false, false},
		{"a comb", fieldPhoto{top: 0.5, foot: 1.3, barTop: 0, bar: 0.5}, 2, 1.8, true, true, true},
		{"a comb the other way round", fieldPhoto{top: 0.4, foot: 1.4, barTop: 0.5, bar: 0}, 2, 1.8, true, true, true},
		{"a comb with a soft shadow", fieldPhoto{top: 0.5, foot: 1.3, bar: 0.5, shade: true}, 2, 1.8, true, true, true},
		{"a comb on a weave nearly as fine as its teeth", fieldPhoto{top: 0.5, foot: 1.3, bar: 0.5, weave: true}, 2, 1.8, true, true, true},
		{"a reed with a soft shadow", fieldPhoto{top: 1.5, foot: 2.5, barTop: 0.5, bar: 0.5, shade: true}, 2, 4, false, false, false},
		{"a comb near the picture's end", fieldPhoto{top: 0.4, foot: 1.4, barTop: 0.4, below: 0.6}, 2, 1.8, true, true, true},
		{"a reed with wide bars, one of them cut off by the picture's end", fieldPhoto{top: 1.5, foot: 2.5, barTop: 0.7, bar: 0.7, below: 0.6}, 2, 4, false, false, false},
		{"a reed read 2.54 times too small", fieldPhoto{top: 0.5, foot: 1.2, barTop: 0.25, bar: 0.25}, 2, 1.7, false, false, true},
		{"a reed with one bar out of the picture", fieldPhoto{top: 1.5, foot: 9, barTop: 0.5, bar: 0.5}, 1, 0, false, false, false},
		{"a reed with twine about its bars", fieldPhoto{top: 1.5, foot: 2.5, barTop: 0.5, bar: 0.5, wound: true}, 2, 4, false, false, false},
		{"a reed under two rulers", fieldPhoto{top: 3, foot: 2.5, barTop: 0.5, bar: 0.5, second: 0.6}, 2, 5.5, false, false, false},
		{"a reed under a transparent one", fieldPhoto{top: 3, foot: 2.5, barTop: 0.5, bar: 0.5, second: 0.6, clear: true}, 2, 5.5, false, false, false},
		{"a reed partly under a second ruler", fieldPhoto{top: 3, foot: 2.5, barTop: 0.5, bar: 0.5, second: 0.6, secondPx: 300}, 2, 5.5, false, false, false},
		{"a reed whose bar lies beyond the picture, as the ruler's other side", fieldPhoto{top: 1.5, foot: 2.5, barTop: 0.5, cut: true}, 1, 0, false, false, false},
		{"a reed whose bar lies beyond the picture, under marks in step with it", fieldPhoto{top: 1.5, foot: 2.5, barTop: 0.5, cut: true, front: true}, 1, 0, false, false, false},
		{"a reed on a table with a pattern", fieldPhoto{top: 1.5, foot: 2.5, barTop: 0.5, bar: 0.5, grain: true}, 2, 4, false, false, false},
		{"a reed of whose one bar the picture shows a part", fieldPhoto{top: 5.2, foot: 2, barTop: 0.5, bar: 0.5, aslant: 0.2}, 2, 6.7, false, false, false},
		{"ribs from edge to edge", fieldPhoto{top: 9, foot: 9}, 0, 0, false, false, true},
	} {
		p, s := c.photo.draw()
		row := []Band{{Along: -380}, {Along: 380}}
		f, _ := fieldOf(p, s, lean{}, row, tone{PerInch: fieldPerInch}, fieldPPI)
		if f.Ends != c.ends || math.Abs(f.HighIn-c.high) > 0.1 {
			t.Errorf("%s: %d ends, %.2f in high, want %d, %.2f", c.name, f.Ends, f.HighIn, c.ends, c.high)
		}
		if f.Covered != (c.photo.second > 0) {
			t.Errorf("%s: covered %v", c.name, f.Covered)
		}
		if (f.Free >= 0.5) != c.free {
			t.Errorf("%s: free ends %.2f", c.name, f.Free)
		}
		if f.Teeth() != c.teeth || (f.Short() > 0 || f.Tall() > 0) != c.any {
			t.Errorf("%s: teeth %v, short %.2f, tall %.2f", c.name, f.Teeth(), f.Short(), f.Tall())
		}
		if f.Told = true; f.Teeth() || f.Short() > 0 || f.Tall() > 0 {
			t.Errorf("%s: doubted though a person says what it is", c.name)
		}
	}
}

// Slots a tenth of the spacing wide carry little of the contrast at their own tone,
// beside the edge and anywhere else: they are seen as far as they run, and no farther.
func TestNarrowSlotsAreFollowed(t *testing.T) {
	p, s := fieldPhoto{top: 2, foot: 2.5, barTop: 0.5, bar: 0.5, slits: true}.draw()
	m := mapField(p, s, stretch{s.Frame, -380, 380}, lean{}, tone{PerInch: fieldPerInch}, fieldPPI, fieldReachIn)
	for j := range m.zones {
		for _, in := range []float64{0.2, 1, 1.8, 2.2, 3} {
			if got := m.banded(j, m.edge-inZones(in)); got != (in < 2) {
				t.Errorf("window %d of %d, %.1f in from the edge: bands seen %v", j, len(m.zones), in, got)
			}
		}
	}
}

// The angle between bands and the lines they end in is that drawn, whichever way the
// ruler lies; and the ground beyond the bars is that drawn.
func TestEndsSquareToBands(t *testing.T) {
	row := []Band{{Along: -380}, {Along: 380}}
	for _, tan := range []float64{-0.15, 0, 0.1} {
		p, s := fieldPhoto{top: 1.5, foot: 2.5, barTop: 0.3, bar: 0.5, aslant: tan}.draw()
		f, ground := fieldOf(p, s, lean{}, row, tone{PerInch: fieldPerInch}, fieldPPI)
		if want := math.Abs(math.Atan(tan)); f.Ends != 2 || math.Abs(f.AslantRad-want) > 0.015 {
			t.Errorf("%.2f drawn: %.3f with %d ends", want, f.AslantRad, f.Ends)
		}
		// The marks say that the picture is sheared by as much: then they are square.
		s.Shear[0] = tan
		if f, _ := fieldOf(p, s, lean{}, row, tone{PerInch: fieldPerInch}, fieldPPI); math.Abs(f.AslantRad) > 0.015 {
			t.Errorf("%.2f drawn and seen in the marks: %.3f", tan, f.AslantRad)
		}
		for _, x := range []float64{-300, 0, 300} {
			if g, ok := groundNear(ground, x); !ok || math.Abs(g.level-120) > 3 {
				t.Errorf("ground at %.0f: %.0f (%v), drawn with 120", x, g.level, ok)
			}
		}
	}
}

// Bands are as far from square to their ends as on the side on which they are the least,
// however that side's end was told: on the other one twine may be wound about a part of
// the bar and the line run from it to the bare one. A line through few windows leaves more
// open.
func TestAslantToBothEnds(t *testing.T) {
	m := fieldMap{windowZones: 10}
	wins := []int{0, 1, 2, 3, 4}
	part, whole := fieldSide{dir: -1, ends: true, slope: 1.5, wins: wins}, fieldSide{dir: 1, ends: true, whole: true, slope: 0.1, wins: []int{0, 4, 8, 12}}
	for _, c := range []struct {
		sides   []fieldSide
		want, u float64
	}{
		{[]fieldSide{part}, 0.15, onLineZones / 40}, {[]fieldSide{part, whole}, 0.01, onLineZones / 120},
		{[]fieldSide{part, {dir: 1}}, 0.15, onLineZones / 40}, {[]fieldSide{{dir: 1}}, 0, 0},
	} {
		if got, u := m.aslant(c.sides, 0); math.Abs(got-math.Atan(c.want)) > 1e-6 || math.Abs(u-c.u) > 1e-6 {
			t.Errorf("%+v: %.3f ± %.3f, want %.3f ± %.3f", c.sides, got, u, c.want, c.u)
		}
	}
}

// Bands that swing are told from straight ones, and by as much as they swing: a sine has
// a root mean square of its height over the root of two. Of bands that end nobody asks.
func TestBandsThatWander(t *testing.T) {
	row := []Band{{Along: -380}, {Along: 380}}
	for _, wander := range []float64{0, 0.02, 0.05} {
		p, s := fieldPhoto{top: 9, foot: 9, wander: wander}.draw()
		f, _ := fieldOf(p, s, lean{}, row, tone{PerInch: fieldPerInch}, fieldPPI)
		if want := wander / math.Sqrt2; !(math.Abs(f.Waves-want) < 0.002+0.15*want) {
			t.Errorf("drawn to wander by %.4f: %.4f", want, f.Waves)
		}
	}
	// Marks that run on into straight bands are none of them.
	p, s := fieldPhoto{top: 9, foot: 9, back: true}.draw()
	if f, _ := fieldOf(p, s, lean{}, row, tone{PerInch: fieldPerInch}, fieldPPI); !(f.Waves < 0.002) {
		t.Errorf("straight bands behind marks: %.4f", f.Waves)
	}
}

// A row's strength falls for good where bars or bare ground follow, not where yarn hides
// it for a while, and not where it fades.
func TestFallForGood(t *testing.T) {
	row := func(pieces ...[2]float64) (s []float64) { // inches, strength
		for _, p := range pieces {
			for range inZones(p[0]) {
				s = append(s, p[1])
			}
		}
		return s
	}
	fading := row([2]float64{2, 1})
	for i := range 100 {
		fading = append(fading, 1-float64(i)/100)
	}
	for _, c := range []struct {
		name string
		s    []float64
		in   float64
	}{
		{"bare ground", row([2]float64{2, 1}, [2]float64{2, 0.02}), 2},
		{"a wound bar", row([2]float64{2, 1}, [2]float64{0.6, 0.35}, [2]float64{2, 0.02}), 2},
		{"yarn", row([2]float64{2, 1}, [2]float64{0.4, 0.02}, [2]float64{2, 1}), 0},
		{"the picture's end", row([2]float64{2, 1}, [2]float64{1, math.NaN()}), 0},
		{"a fading row", append(fading, row([2]float64{1, 0})...), 0},
		{"no bands", row([2]float64{4, 0.1}), 0},
	} {
		at, steep := fallForGood(c.s)
		if got := float64(at) * fieldZoneIn; math.Abs(got-c.in) > 0.1 || (steep > 0.3) != (c.in > 0) {
			t.Errorf("%s: falls by %.2f at %.2f in, want %.2f", c.name, steep, got, c.in)
		}
	}
}

// Bands that some windows show as far as a bar and others as far as what is wound about it
// goes end in the bar; where they end anywhere, or in two lines that no bar lies between, they
// are not seen to end.
func TestEndsAtAWoundBar(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 17))
	const windows, edge = 20, 200
	for _, c := range []struct {
		name string
		last func(j int) float64
		ends bool
	}{
		{"wound from window 8 on", func(j int) float64 {
			if j < 8 {
				return edge - 22 - 0.3*float64(j)
			}
			return edge - 48 - 0.3*float64(j)
		}, true},
		{"anywhere", func(int) float64 { return edge - 20 - 60*rng.Float64() }, false},
		{"two lines too far apart", func(j int) float64 { return edge - 22 - 60*float64(j/8%2) }, false},
		{"lines that run apart", func(j int) float64 { return edge - 22 - 10*float64(j%2) - 2*float64(j*(j%2)) }, false},
		{"one window beside the line", func(j int) float64 { return edge - 22 - 26*float64(j/(windows-1)) }, false},
	} {
		o := fieldSide{dir: -1}
		var wins []int
		var last []float64
		for j := range windows {
			wins, last = append(wins, j), append(last, math.Round(c.last(j)))
		}
		o.endsAtBar(wins, last, edge)
		if o.ends != c.ends || o.ends && math.Abs(o.atIn-(22+0.3*9.5)*fieldZoneIn) > 0.04 {
			t.Errorf("%s: ends %v, %.2f in from the edge, %d windows", c.name, o.ends, o.atIn, len(o.wins))
		}
	}
}
