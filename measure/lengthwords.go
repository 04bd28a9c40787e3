package measure

import (
	"dentcount/trade"
	"dentcount/vision"
)

func endsOf(w What) vision.EndsOf {
	switch w {
	case ReedLength:
		return vision.EndsOfReed
	case SleyWidth:
		return vision.EndsOfSley
	case ReedHeight:
		return vision.EndsOfHeight
	case HeddleBarSpan:
		return vision.EndsOfBars
	case StringHeddle:
		return vision.EndsOfString
	case HeddleWidth:
		return vision.EndsOfRigidHeddle
	}
	return vision.EndsOfWire
}

func notFoundReason(w What) string {
	switch w {
	case ReedLength:
		return "the two end caps of a reed could not be made out along the ruler"
	case SleyWidth:
		return "the first and the last wire of a reed could not be made out along the ruler"
	case ReedHeight:
		return "the outer edges of a reed's two baulks could not be made out"
	case HeddleBarSpan:
		return "no two heddle bars cross the ruler"
	case StringHeddle:
		return "no string heddle with its two knots could be made out along the ruler"
	case HeddleWidth:
		return "the first and the last slot of a rigid heddle could not be made out along the ruler"
	}
	return "no wire heddle with both its ends could be made out along the ruler"
}

func notFoundAdvice(w What) string {
	hand := "or set the two ends yourself (--ends x1,y1,x2,y2)"
	switch w {
	case HeddleBarSpan:
		return "lay the ruler square across both bars so that it sticks out beyond them, take the photo from straight above, " + hand
	case StringHeddle, WireHeddle:
		return "pin it out straight along the ruler on a plain ground of another colour, " + hand
	case ReedHeight:
		return "lay the ruler across the reed, along its wires and beyond both baulks, " + hand
	}
	return "lay the ruler along the reed or heddle so that both its ends are in the picture, on a plain ground of another colour, " + hand
}

// nominalOf is the made size that a length stands for; nil where what was
// measured has none. right is the probability that the photo was read right.
func nominalOf(w What, l trade.Length, eye *LengthValue, right float64) *Nominal {
	var a trade.HeddleAnswer
	suffix := " heddle"
	switch w {
	case HeddleBarSpan:
		a = trade.WireHeddle(l, trade.BarSpan)
	case WireHeddle:
		a = trade.WireHeddle(l, trade.HeddleLength)
	case StringHeddle:
		var e trade.Length
		if eye != nil {
			e = trade.Length{In: eye.In, U: eye.U}
		}
		a = trade.StringHeddle(l, e)
	case HeddleWidth:
		a = trade.RigidHeddleWidth(l)
		suffix = " rigid heddle"
	default:
		return nil
	}
	name := func(c trade.HeddleChoice) NominalChoice {
		label := c.Label
		if label != "none" {
			label += suffix
		}
		return NominalChoice{Label: label, In: c.In, Confidence: c.Confidence * right}
	}
	n := &Nominal{NominalChoice: name(a.HeddleChoice), Others: []NominalChoice{}}
	for _, o := range a.Others {
		n.Others = append(n.Others, name(o))
	}
	return n
}
