package report

import (
	"fmt"
	"image"
	"math"
	"slices"

	"dentcount/measure"
)

// Distances from the tick line in phone pixels. The ruler's side carries the
// marks, their values and the inch; the wires' side the counted places.
const (
	markPx      = 4  // length of the line at a mark
	wholeMarkPx = 9  // and at a whole unit
	labelPx     = 11 // height of the values
	labelGapPx  = 10
	inchGapPx   = 29 // the bracket
	tickPx      = 9  // length of the tick at a counted place
	tickGapPx   = 1
	oddPx       = 9 // size of the sign of a place that is not plainly good
	oddGapPx    = 12
	numberPx    = 10 // every tenth place is numbered
)

// drawing is the evidence of one result on its canvas.
type drawing struct {
	*canvas
	r      measure.Result
	ground image.Rectangle // what may be drawn on: all above the strip
	at     image.Rectangle // where the photo lies in it
	k      float64         // canvas pixels per photo pixel

	along, wires vec // unit vectors: along the ruler, and from it toward the wires
}

// to is a point of the photo on the canvas.
func (d *drawing) to(p measure.Point) vec {
	return vec{float64(d.at.Min.X) + p[0]*d.k, float64(d.at.Min.Y) + p[1]*d.k}
}

// inside says whether v lies on the photo.
func (d *drawing) inside(v vec) bool { return v.in(d.at) }

func (d *drawing) evidence() error {
	if !d.findDirections() {
		return nil // nothing that has a place was found
	}
	if err := d.oneInch(); err != nil {
		return err
	}
	if err := d.ruler(); err != nil {
		return err
	}
	return d.bands()
}

// ruler draws the marked edge and its marks.
func (d *drawing) ruler() error {
	if tl := d.r.Evidence.TickLine; len(tl) >= 2 {
		d.line(rulerInk, 0.6*d.u, d.to(tl[0]), d.to(tl[len(tl)-1]))
	}
	return d.marks()
}

// findDirections fills along and wires from whatever was found.
func (d *drawing) findDirections() bool {
	ev := d.r.Evidence
	spans := [][]measure.Point{ev.TickLine, ev.OneInch, positions(ev.Marks)}
	if d.r.Ruler != nil {
		spans = append(spans, positions(d.r.Ruler.Marks))
	}
	found := false
	for _, s := range spans {
		if len(s) >= 2 && !found {
			d.along, found = d.to(s[len(s)-1]).sub(d.to(s[0])).unit()
		}
	}
	if n := len(ev.Bands); n >= 2 && !found {
		d.along, found = d.to(ev.Bands[n-1].At).sub(d.to(ev.Bands[0].At)).unit()
	}
	if !found {
		return false
	}
	d.wires = d.along.left()
	var side float64
	for _, b := range ev.Bands {
		if dir, ok := d.to(b.Toward).sub(d.to(b.At)).unit(); ok {
			side += dir.dot(d.wires)
		}
	}
	if side < 0 {
		d.wires = d.wires.mul(-1)
	}
	return true
}

func positions(marks []measure.Mark) []measure.Point {
	out := make([]measure.Point, len(marks))
	for i, m := range marks {
		out[i] = m.At
	}
	return out
}

// marks draws every mark that was read, and the values of the whole units.
func (d *drawing) marks() error {
	ruler := d.wires.mul(-1)
	all := d.r.Evidence.Marks
	if step := meanStep(d, positions(all)); step >= 1.5*d.u {
		for _, m := range all {
			if at := d.to(m.At); d.inside(at) {
				d.line(rulerInk, math.Min(0.7*d.u, step*0.3), at, at.add(ruler.mul(markPx*d.u)))
			}
		}
	}
	if d.r.Ruler == nil {
		return nil
	}
	whole := d.r.Ruler.Marks
	every := d.labelStep(whole)
	for _, m := range whole {
		at := d.to(m.At)
		if !d.inside(at) {
			continue
		}
		d.line(rulerInk, 1.2*d.u, at, at.add(ruler.mul(wholeMarkPx*d.u)))
		if every > 1 && math.Mod(math.Round(m.Value), float64(every)) != 0 {
			continue
		}
		if err := d.tag(number(m.Value, 2), rulerInk, labelPx, at, ruler, labelGapPx, d.ground); err != nil {
			return err
		}
	}
	return nil
}

// meanStep is the mean distance between neighbours in canvas pixels; 0 for fewer than two.
func meanStep(d *drawing, pts []measure.Point) float64 {
	if len(pts) < 2 {
		return 0
	}
	return d.to(pts[len(pts)-1]).sub(d.to(pts[0])).len() / float64(len(pts)-1)
}

// labelStep is 1, 2, 5, 10 ...: every how many units a value has room.
func (d *drawing) labelStep(whole []measure.Mark) int {
	if len(whole) < 2 {
		return 1
	}
	span := d.to(whole[len(whole)-1].At).sub(d.to(whole[0].At)).len()
	units := math.Abs(whole[len(whole)-1].Value - whole[0].Value)
	if !(units > 0) || !(span > 0) {
		return 1
	}
	need := 2.6 * labelPx * d.u // two digits with their plate and some air
	for _, n := range []int{1, 2, 5, 10, 20, 50} {
		if span/units*float64(n) >= need {
			return n
		}
	}
	return 100
}

// bands draws every counted place. Signs that would touch are set in rows.
func (d *drawing) bands() error {
	bands := slices.Clone(d.r.Evidence.Bands)
	slices.SortStableFunc(bands, func(a, b measure.Band) int { return a.Index - b.Index })
	pitch := d.bandPitch(bands)
	var odd []oddSign
	var signs []func() // drawn after all leaders, which would cross them
	lastOdd, row := math.Inf(-1), 0
	for _, b := range bands {
		at := d.to(b.At)
		if !d.inside(at) {
			continue
		}
		dir, ok := d.to(b.Toward).sub(at).unit()
		if !ok {
			dir = d.wires
		}
		key := keyOf(b)
		if key.state == measure.BandGood {
			size := tickPx * d.u
			if key.hole {
				size = math.Min(size, 2.4*pitch)
			}
			// Where wires are close, thin ticks with a thin rim keep them apart.
			fine := *d.canvas
			fine.u = math.Min(d.u, pitch/4)
			glyphOf(key).draw(&fine, at.add(dir.mul(tickGapPx*d.u+size/2)), dir, size)
			continue
		}
		pos := at.dot(d.along)
		if pos-lastOdd < (oddPx+2)*d.u {
			row = (row + 1) % 3
		} else {
			row = 0
		}
		lastOdd = pos
		odd = append(odd, oddSign{pos, row})
		middle := (oddGapPx + oddPx/2 + float64(row)*(oddPx+2)) * d.u
		d.line(white, 0.6*d.u, at, at.add(dir.mul(middle-oddPx*d.u*0.5)))
		signs = append(signs, func() { glyphOf(key).draw(d.canvas, at.add(dir.mul(middle)), dir, oddPx*d.u) })
	}
	for _, draw := range signs {
		draw()
	}
	return d.numbers(bands, pitch, odd)
}

// oddSign is where a sign of a place that is not plainly good stands: along the
// ruler in canvas pixels, and in which row from the tick line.
type oddSign struct {
	pos float64
	row int
}

// bandPitch is the distance of neighbouring places in canvas pixels; infinite
// where the places do not tell.
func (d *drawing) bandPitch(bands []measure.Band) float64 {
	if len(bands) < 2 {
		return math.Inf(1)
	}
	first, last := bands[0], bands[len(bands)-1]
	if last.Index == first.Index {
		return math.Inf(1)
	}
	pitch := d.to(last.At).sub(d.to(first.At)).len() / math.Abs(float64(last.Index-first.Index))
	if !(pitch > 0) {
		return math.Inf(1)
	}
	return pitch
}

// numbers writes the count beside every tenth place, or fewer where there is
// no room, farther out where a sign stands near.
func (d *drawing) numbers(bands []measure.Band, pitch float64, odd []oddSign) error {
	every := 10
	for float64(every)*pitch < 3*numberPx*d.u && every < 1000 {
		every *= 2
	}
	if len(bands) == 0 {
		return nil
	}
	first := bands[0].Index
	for _, b := range bands {
		n := b.Index - first
		at := d.to(b.At)
		if n == 0 || n%every != 0 || !d.inside(at) {
			continue
		}
		gap := float64(oddGapPx + 3)
		rows := 0
		for _, o := range odd {
			if math.Abs(o.pos-at.dot(d.along)) < 1.4*numberPx*d.u {
				rows = max(rows, o.row+1)
			}
		}
		if rows > 0 {
			gap += float64(rows) * (oddPx + 2)
			d.line(white, 0.5*d.u, at.add(d.wires.mul((gap-5)*d.u)), at.add(d.wires.mul(gap*d.u)))
		}
		if err := d.tag(fmt.Sprint(n), inkGood, numberPx, at, d.wires, gap, d.ground); err != nil {
			return err
		}
	}
	return nil
}

// oneInch draws the inch as a bracket with what it holds, on the ruler's side,
// or on the wires' side where the ruler lies at the photo's edge.
func (d *drawing) oneInch() error {
	in := d.r.Evidence.OneInch
	if len(in) < 2 {
		return nil
	}
	a, b := d.to(in[0]), d.to(in[1])
	if !a.finite() || !b.finite() {
		return nil
	}
	dir, gap := d.wires.mul(-1), inchGapPx*d.u
	middle := a.add(b).mul(0.5)
	if far := middle.add(dir.mul(gap + 22*d.u)); !far.in(d.ground) {
		dir, gap = d.wires, (oddGapPx+3*oddPx+12)*d.u
	}
	end, cap := dir.mul(gap), dir.mul(7*d.u)
	d.line(white, 0.5*d.u, a, a.add(end))
	d.line(white, 0.5*d.u, b, b.add(end))
	d.line(white, 1.6*d.u, a.add(end).sub(cap), a.add(end), b.add(end), b.add(end).sub(cap))
	text := "1 inch"
	if d.r.Count != nil && d.r.Count.InOneInch.Max > 0 {
		text += ": " + rangeWords(d.r.Count.InOneInch) + " dents"
	}
	return d.tag(text, white, labelPx+1, middle.add(end), dir, 3, d.ground)
}
