package trade

import (
	"errors"
	"fmt"
	"math"
)

// HeddleNeed says how many heddles a warp needs. Zero fields of the request
// take the usual value.
type HeddleNeed struct {
	WarpWidthIn float64
	Sett        float64 // ends per inch
	Shafts      int
	// Margin is the share kept over for mistakes and mending; 0: 0.1, a tenth
	// (a stated choice). Negative: none.
	Margin float64
	// Bundle is how many are sold together; 0: 100 (string heddles are sold in
	// hundreds, common practice, no source).
	Bundle int
}

// HeddleCount is the answer to a [HeddleNeed].
type HeddleCount struct {
	Ends     int // warp ends: width × sett, up to the next whole end
	PerShaft int // the warp's own need on each shaft, ends spread evenly
	// WithMargin is PerShaft with the margin, up to the next whole heddle.
	WithMargin int
	Total      int // WithMargin on all shafts
	Bundles    int
	Order      int // whole bundles that cover Total
	Reason     string
	Cautions   []string
}

// CountHeddles works out warp width × sett ÷ shafts, plus a margin, up to
// whole bundles (common practice, no source).
func CountHeddles(n HeddleNeed) (HeddleCount, error) {
	switch {
	case math.IsNaN(n.WarpWidthIn) || n.WarpWidthIn < 0 || math.IsNaN(n.Sett) || n.Sett < 0:
		return HeddleCount{}, errors.New("the warp's width and sett must be more than nothing")
	case n.WarpWidthIn == 0:
		return HeddleCount{}, Question{Ask: "how wide is the warp in the reed?"}
	case n.WarpWidthIn > MaxLengthIn:
		return HeddleCount{}, fmt.Errorf("a warp %s wide is over 4 m: check the unit", FormatIn(n.WarpWidthIn, 16))
	case n.Sett == 0:
		return HeddleCount{}, Question{Ask: "how many ends per inch is the sett?"}
	case n.Sett > 1000:
		return HeddleCount{}, fmt.Errorf("%.0f ends per inch is no sett: check the number", n.Sett)
	case n.Shafts <= 0:
		return HeddleCount{}, Question{Ask: "on how many shafts is the warp threaded?"}
	case n.Shafts > 1000 || n.Bundle < 0 || n.Bundle > 100000 || math.IsNaN(n.Margin) || n.Margin > 10:
		return HeddleCount{}, errors.New("the number of shafts, the bundle or the margin is out of reason: check what was typed")
	}
	margin, bundle := n.Margin, n.Bundle
	if margin == 0 {
		margin = 0.1
	}
	margin = math.Max(0, margin)
	if bundle == 0 {
		bundle = 100
	}
	var c HeddleCount
	c.Ends = EndsFor(n.WarpWidthIn, n.Sett)
	c.PerShaft = (c.Ends + n.Shafts - 1) / n.Shafts
	c.WithMargin = ceil(float64(c.PerShaft) * (1 + margin))
	c.Total = c.WithMargin * n.Shafts
	c.Bundles = (c.Total + bundle - 1) / bundle
	c.Order = c.Bundles * bundle
	c.Reason = fmt.Sprintf("%s at %s ends per inch is %d ends, %d on each of %d shafts; with a margin %d each, %d in all: order %d",
		FormatIn(n.WarpWidthIn, 16), inchLabel(n.Sett), c.Ends, c.PerShaft, n.Shafts, c.WithMargin, c.Total, c.Order)
	c.Cautions = []string{
		"this spreads the ends evenly: a pattern threading needs more on some shafts, count them from the draft",
		"heddles already on the loom count too",
	}
	return c, nil
}

// ceil rounds up, but not for the last bits of a product that is whole.
func ceil(x float64) int { return int(math.Ceil(x - 1e-9*math.Max(1, x))) }
