package plots

import (
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Chart is a control chart: values in time order with their limits. NaN limits
// are left out.
type Chart struct {
	Values               []float64
	Labels               []string // under the points; nil: their numbers from 1
	Centre, Lower, Upper float64
	Out                  []bool // points that stand out; may be nil
	Names                *ChartNames
}

// ChartNames are the words of a control chart in another language; nil: English.
type ChartNames struct{ Centre, Upper, Lower, Out string }

func (c Chart) names() ChartNames {
	if c.Names != nil {
		return *c.Names
	}
	return ChartNames{"centre", "upper limit", "lower limit", "out of limits"}
}

// Control draws a control chart. A point that stands out has a ring and a cross
// around it; a value that is not finite has a question mark, and the line a gap.
func Control(o Options, c Chart) ([]byte, error) {
	o.LogX = false
	f := newFrame(o)
	x := make([]float64, len(c.Values))
	var missing []float64
	var out plotter.XYs
	for i := range x {
		x[i] = float64(i)
		switch {
		case !finite(c.Values[i]):
			missing = append(missing, x[i])
		case i < len(c.Out) && c.Out[i]:
			out = append(out, plotter.XY{X: x[i], Y: c.Values[i]})
		}
	}
	f.lineAlong(lineStyle(0), x, c.Values)
	f.dotsAt(0, f.points(x, c.Values))
	n := c.names()
	f.outliers(out, n.Out)
	f.questionMarks(missing, false)
	f.times(c.Labels, len(x))
	f.hlines([]HLine{{limitName(n.Centre, c.Centre), c.Centre, false}, {limitName(n.Upper, c.Upper), c.Upper, true},
		{limitName(n.Lower, c.Lower), c.Lower, true}})
	return f.svg()
}

func limitName(name string, v float64) string { return name + " " + number(v) }

// times puts labels under the points, or their numbers from 1.
func (f *frame) times(labels []string, n int) {
	if len(labels) > 0 {
		f.categories(labels, n)
		return
	}
	step := max(1, int(math.Ceil(roundStep(float64(n), 12))))
	var ticks []plot.Tick
	for i := 1; i <= n; i++ {
		if i%step == 0 || step == 1 || i == 1 {
			ticks = append(ticks, plot.Tick{Value: float64(i - 1), Label: strconv.Itoa(i)})
		}
	}
	f.X.Min, f.X.Max = -0.5, float64(n)-0.5
	f.X.Tick.Marker = plot.ConstantTicks(ticks)
}

// outliers rings and crosses points, under a name.
func (f *frame) outliers(pts plotter.XYs, name string) {
	if len(pts) == 0 {
		return
	}
	d := drawing{plot: func(c *draw.Canvas, x, y func(float64) vg.Length) {
		for _, p := range pts {
			outlier(c, vg.Point{X: x(p.X), Y: y(p.Y)})
		}
	}}
	for _, p := range pts {
		d.boxes = append(d.boxes, box{p.X, p.Y, 13, 13, 13, 13})
	}
	f.Add(d)
	f.name(name, func(c *draw.Canvas) { outlier(c, c.Center()) })
}

func outlier(c *draw.Canvas, at vg.Point) {
	c.DrawGlyph(draw.GlyphStyle{Color: vermilion(), Radius: 9, Shape: ring{}}, at)
	c.DrawGlyph(draw.GlyphStyle{Color: ink(), Radius: 8, Shape: glyph(6)}, at)
}

// ring is an open circle.
type ring struct{}

// DrawGlyph draws the ring; it is what gonum/plot asks for.
func (ring) DrawGlyph(c *draw.Canvas, sty draw.GlyphStyle, at vg.Point) {
	var p vg.Path
	p.Move(vg.Point{X: at.X + sty.Radius, Y: at.Y})
	p.Arc(at, sty.Radius, 0, 2*math.Pi)
	p.Close()
	c.SetLineStyle(draw.LineStyle{Color: sty.Color, Width: 2.6})
	c.Stroke(p)
}
