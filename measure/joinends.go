package measure

import (
	"context"
	"fmt"
	"math"

	"dentcount/photo"
	"dentcount/vision"
)

// endsAcross are the ends in the first and the last shot, as a person set them or
// as they are found; where they are not, a refusal.
func endsAcross(ctx context.Context, shots [2]*shotSeen, dir float64, opt LengthOptions) (ends [2]vision.OneEnd, refused *LengthResult, err error) {
	if opt.Ends != nil {
		for i, s := range shots {
			e := &ends[i]
			e.At = [2]float64{opt.Ends[i][0] - 0.5, opt.Ends[i][1] - 0.5}
			e.AlongIn, e.AcrossIn = s.plane.In(e.At[0], e.At[1])
			e.Probability, e.Plane = 1, s.plane
			e.UIn = handU * math.Abs(s.ruler.Scale.InPerPx(s.ruler.Scale.Along(e.AlongIn)))
			e.UnderRuler = opt.What == HeddleBarSpan
		}
		return ends, nil, nil
	}
	var looked [2]vision.Shot
	for i, s := range shots {
		img, err := s.Colour()
		if err != nil {
			return ends, nil, err
		}
		looked[i] = vision.Shot{Img: img, Plane: s.plane, Sign: s.sign, ShiftIn: s.shift}
	}
	ends, found, err := vision.FindJoinedEnds(ctx, looked, dir, endsOf(opt.What))
	if err != nil {
		return ends, nil, err
	}
	if found[0] && found[1] {
		for i, s := range shots {
			s.plane = ends[i].Plane
		}
		return ends, nil, nil
	}
	reason := "the two ends could not be made out"
	if found[0] != found[1] {
		which, name := "last", shots[1].Kept.name
		if found[1] {
			which, name = "first", shots[0].Kept.name
		}
		reason = fmt.Sprintf("the %s end could not be made out in %s", which, photo.DisplayName(name))
	}
	r := refusedLength(reason, "give the photos in order along the tape, the two ends in the first and the last, or set them yourself (--ends x1,y1,x2,y2, the second in the last photo)")
	return ends, &r, nil
}

// jointsOf are the joints with what their overlays draw. ends is nil where they
// were not found.
func jointsOf(shots []shotSeen, ends *[2]vision.OneEnd, dir float64) []Joint {
	unit := shots[0].ruler.Scale.Unit.Inches()
	zero := math.Inf(1) // the first photo's outermost mark, on the shared tape
	for _, m := range shots[0].ruler.Scale.Marks {
		if m.Whole {
			zero = math.Min(zero, dir*shots[0].on(m.In))
		}
	}
	var depth [2]float64 // of the length's line, inches onto the ruler
	if ends != nil {
		for i, s := range [2]shotSeen{shots[0], shots[len(shots)-1]} {
			_, depth[i] = s.plane.In(ends[i].At[0], ends[i].At[1])
		}
	}
	var js []Joint
	for i, s := range shots {
		c := s.ruler.Scale
		j := s.joint
		j.Ruler = rulerOf(s.ruler)
		for k, m := range j.Ruler.Marks {
			j.Ruler.Marks[k].Value = math.Round((dir*s.on(m.Value*unit) - zero) / unit)
		}
		j.Evidence = &Evidence{TickLine: tickLine(c), Marks: allMarks(c), SizePx: [2]int{s.gray.W, s.gray.H}}
		if ends != nil {
			share := float64(i) / float64(len(shots)-1)
			from, to := c.In(c.Lo), c.In(c.Hi)
			if dir*s.sign < 0 {
				from, to = to, from
			}
			if i == 0 {
				from = ends[0].AlongIn
			}
			if i == len(shots)-1 {
				to = ends[1].AlongIn
			}
			across := depth[0] + share*(depth[1]-depth[0])
			for k, in := range [2]float64{from, to} {
				x, y := s.plane.PointAt(in, across)
				j.Line[k] = Point{x + 0.5, y + 0.5}
			}
			if i == 0 {
				j.Line[0], j.Ends[0] = Point{ends[0].At[0] + 0.5, ends[0].At[1] + 0.5}, true
			}
			if i == len(shots)-1 {
				j.Line[1], j.Ends[1] = Point{ends[1].At[0] + 0.5, ends[1].At[1] + 0.5}, true
			}
		}
		js = append(js, j)
	}
	return js
}
