package main

import (
	"bytes"
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"dentcount/judge"
)

// Ink that is told apart without colour, too: shapes and dashes differ.
var (
	dark  = color.RGBA{0x1f, 0x3a, 0x5f, 0xff}
	light = color.RGBA{0xb4, 0x53, 0x1c, 0xff}
	grey  = color.RGBA{0x9a, 0x96, 0x8c, 0xff}
)

const plotSide = 12 * vg.Centimeter

// svg draws p as an SVG element, without the XML head of a file of its own.
func svg(p *plot.Plot) ([]byte, error) {
	c := vgsvg.New(plotSide, plotSide*0.85)
	// Room at the right for the last number of the axis.
	p.Draw(draw.Crop(draw.New(c), 0, -vg.Points(14), 0, -vg.Points(6)))
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return nil, err
	}
	out := b.Bytes()
	if i := bytes.Index(out, []byte("<svg")); i > 0 {
		out = out[i:]
	}
	return out, nil
}

func newPlot(x, y string) *plot.Plot {
	p := plot.New()
	p.X.Label.Text, p.Y.Label.Text = x, y
	p.X.Padding, p.Y.Padding = 0, 0
	return p
}

// binErrors are the Clopper–Pearson intervals of bins, as error bars.
type binErrors struct {
	plotter.XYs
	plotter.YErrors
}

// reliabilityPlot draws what came true over what was stated.
func reliabilityPlot(rows []row) ([]byte, error) {
	p := newPlot("confidence stated", "share that was right")
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, 1, 0, 1
	diagonal, err := plotter.NewLine(plotter.XYs{{X: 0, Y: 0}, {X: 1, Y: 1}})
	if err != nil {
		return nil, err
	}
	diagonal.Color, diagonal.Dashes = grey, []vg.Length{vg.Points(4), vg.Points(3)}
	p.Add(plotter.NewGrid(), diagonal)
	var e binErrors
	for _, b := range judge.Reliability(claimsOf(rows), reliabilityBins) {
		if b.N == 0 {
			continue
		}
		iv := judge.ClopperPearson(b.True, b.N, 0.95)
		e.XYs = append(e.XYs, plotter.XY{X: b.MeanP, Y: b.Share()})
		e.YErrors = append(e.YErrors, struct{ Low, High float64 }{b.Share() - iv.Lo, iv.Hi - b.Share()})
	}
	if len(e.XYs) > 0 {
		bars, err := plotter.NewYErrorBars(e)
		if err != nil {
			return nil, err
		}
		points, err := plotter.NewScatter(e.XYs)
		if err != nil {
			return nil, err
		}
		bars.Color, bars.Width = dark, vg.Points(1.2)
		points.Color, points.Shape, points.Radius = dark, draw.CircleGlyph{}, vg.Points(3)
		p.Add(bars, points)
	}
	return svg(p)
}

// errorPlot draws the pitch errors over pixels per dent.
func errorPlot(rows []row) ([]byte, error) {
	p := newPlot("pixels per dent", "error of dents per inch, %")
	p.X.Scale, p.Y.Scale = plot.LogScale{}, plot.LogScale{}
	p.X.Tick.Marker, p.Y.Tick.Marker = decades{}, decades{}
	var sure, not plotter.XYs
	for _, r := range rows {
		e := 100 * math.Abs(r.rel())
		if math.IsNaN(e) || !(r.pxPerDent() > 0) {
			continue
		}
		xy := plotter.XY{X: r.pxPerDent(), Y: math.Min(math.Max(e, 0.001), 100)}
		if answered(r) {
			sure = append(sure, xy)
		} else {
			not = append(not, xy)
		}
	}
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 1, 100, 0.001, 100
	p.Add(plotter.NewGrid())
	for _, g := range []struct {
		xys   plotter.XYs
		col   color.Color
		shape draw.GlyphDrawer
		name  string
	}{{sure, dark, draw.CircleGlyph{}, "answered"}, {not, light, draw.CrossGlyph{}, "unsure"}} {
		if len(g.xys) == 0 {
			continue
		}
		s, err := plotter.NewScatter(g.xys)
		if err != nil {
			return nil, err
		}
		s.Color, s.Shape, s.Radius = g.col, g.shape, vg.Points(2.5)
		p.Add(s)
		p.Legend.Add(g.name, s)
	}
	p.Legend.Top, p.Legend.XOffs, p.Legend.YOffs = true, -vg.Points(6), -vg.Points(4)
	p.Legend.Padding = vg.Points(2)
	return svg(p)
}

// riskPlot draws the share of wrong sizes among the surest ones.
func riskPlot(rows []row) ([]byte, error) {
	p := newPlot("surest part of all sizes named", "share that was wrong")
	var xys plotter.XYs
	top := 0.01
	for _, r := range judge.RiskCoverage(claimsOf(rows)) {
		xys = append(xys, plotter.XY{X: r.Coverage, Y: r.Risk})
		top = math.Max(top, r.Risk)
	}
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, 1, 0, 1.1*top
	p.Add(plotter.NewGrid())
	if len(xys) > 0 {
		l, err := plotter.NewLine(xys)
		if err != nil {
			return nil, err
		}
		l.Color, l.Width = dark, vg.Points(1.5)
		p.Add(l)
	}
	return svg(p)
}

// decades ticks a logarithmic axis at 1, 2 and 5 of each power of ten and names
// the numbers as one writes them.
type decades struct{}

// Ticks implements plot.Ticker.
func (decades) Ticks(lo, hi float64) []plot.Tick {
	var out []plot.Tick
	for d := math.Pow(10, math.Floor(math.Log10(lo))); d <= hi*1.0001; d *= 10 {
		for _, k := range []float64{1, 2, 5} {
			if v := k * d; v >= lo*0.9999 && v <= hi*1.0001 {
				t := plot.Tick{Value: v}
				if k == 1 || hi/lo <= 200 {
					t.Label = plainNumber(v)
				}
				out = append(out, t)
			}
		}
	}
	return out
}

func plainNumber(v float64) string {
	return strconv.FormatFloat(v, 'g', 3, 64)
}
