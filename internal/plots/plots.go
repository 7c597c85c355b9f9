package plots

import (
	"bytes"
	"errors"
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// ErrNothing is returned where no number is left to draw.
var ErrNothing = errors.New("plots: nothing to draw")

// Options are what all plots share. The zero value of a size is the default.
type Options struct {
	X, Y     string  // axis labels, with their units: "step / um"
	WidthMM  float64 // default 180
	HeightMM float64 // default 100
	LogX     bool    // a logarithmic x axis; all x must be positive
}

// Series is a named list of points; X and Y have the same length.
type Series struct {
	Name string
	X, Y []float64
}

// HLine is a horizontal line across a plot, such as a limit.
type HLine struct {
	Name string
	Y    float64
	Dash bool // a limit; else a centre line
}

// Lines draws each series as points joined by a line, and horizontal lines.
func Lines(o Options, series []Series, h ...HLine) ([]byte, error) {
	p := o.plot()
	n := 0
	for i, s := range series {
		pts := finite(s.X, s.Y)
		if len(pts) == 0 {
			continue
		}
		n += len(pts)
		l, sc, err := plotter.NewLinePoints(pts)
		if err != nil {
			return nil, fmt.Errorf("plots: lines: %w", err)
		}
		l.LineStyle, sc.GlyphStyle = lineStyle(i), glyphStyle(i)
		p.Add(l, sc)
		if s.Name != "" {
			p.Legend.Add(s.Name, l, sc)
		}
	}
	if n == 0 {
		return nil, ErrNothing
	}
	addHLines(p, h)
	return o.svg(p)
}

// Strips draws groups of values side by side, one column a category:
// groups[i].Y are single values in the category number groups[i].X (0, 1, ...).
// The means of each series are joined.
func Strips(o Options, categories []string, groups []Series, h ...HLine) ([]byte, error) {
	p := o.plot()
	n := 0
	for i, s := range groups {
		pts := finite(s.X, s.Y)
		if len(pts) == 0 {
			continue
		}
		n += len(pts)
		sc, err := plotter.NewScatter(pts)
		if err != nil {
			return nil, fmt.Errorf("plots: strips: %w", err)
		}
		sc.GlyphStyle = glyphStyle(i)
		l, err := plotter.NewLine(means(pts))
		if err != nil {
			return nil, fmt.Errorf("plots: strips: %w", err)
		}
		l.LineStyle = lineStyle(i)
		p.Add(l, sc)
		if s.Name != "" {
			p.Legend.Add(s.Name, l, sc)
		}
	}
	if n == 0 {
		return nil, ErrNothing
	}
	p.NominalX(categories...)
	addHLines(p, h)
	return o.svg(p)
}

// Bars draws a bar a category for each series, side by side.
func Bars(o Options, categories []string, series []Series, h ...HLine) ([]byte, error) {
	p := o.plot()
	w := vg.Points(60 / float64(max(1, len(series))))
	for i, s := range series {
		v := make(plotter.Values, len(s.Y))
		for k, y := range s.Y {
			if !math.IsNaN(y) && !math.IsInf(y, 0) {
				v[k] = y
			}
		}
		b, err := plotter.NewBarChart(v, w)
		if err != nil {
			return nil, ErrNothing
		}
		b.Color, b.Offset = colours[i%len(colours)], w*vg.Length(float64(i)-float64(len(series)-1)/2)
		p.Add(b)
		if s.Name != "" {
			p.Legend.Add(s.Name, b)
		}
	}
	p.NominalX(categories...)
	addHLines(p, h)
	return o.svg(p)
}

// Chart is a control chart: values in time order with their limits. NaN limits
// are left out.
type Chart struct {
	Values               []float64
	Labels               []string // under the points; may be nil
	Centre, Lower, Upper float64
	Out                  []bool // points that stand out; may be nil
}

// Control draws a control chart.
func Control(o Options, c Chart) ([]byte, error) {
	p := o.plot()
	x := make([]float64, len(c.Values))
	var out plotter.XYs
	for i := range x {
		x[i] = float64(i + 1)
		if i < len(c.Out) && c.Out[i] && !math.IsNaN(c.Values[i]) {
			out = append(out, plotter.XY{X: x[i], Y: c.Values[i]})
		}
	}
	pts := finite(x, c.Values)
	if len(pts) == 0 {
		return nil, ErrNothing
	}
	l, sc, err := plotter.NewLinePoints(pts)
	if err != nil {
		return nil, fmt.Errorf("plots: control chart: %w", err)
	}
	l.LineStyle, sc.GlyphStyle = lineStyle(0), glyphStyle(0)
	p.Add(l, sc)
	if len(out) > 0 {
		o, err := plotter.NewScatter(out)
		if err != nil {
			return nil, fmt.Errorf("plots: control chart: %w", err)
		}
		o.GlyphStyle = draw.GlyphStyle{Color: vermilion, Radius: vg.Points(7), Shape: draw.CrossGlyph{}}
		p.Add(o)
		p.Legend.Add("out of limits", o)
	}
	addHLines(p, []HLine{{"centre", c.Centre, false}, {"upper limit", c.Upper, true}, {"lower limit", c.Lower, true}})
	return o.svg(p)
}

// Band is a curve with the band of its uncertainty, and single points beside
// it: for a probability of detection, hits at 1 and misses at 0.
type Band struct {
	X, Y, Lower, Upper []float64
	Name, BandName     string
	Points             []Series
	MarkX              []Mark // vertical lines
}

// Mark is a named vertical line.
type Mark struct {
	Name string
	X    float64
}

// Curve draws a curve with its band.
func Curve(o Options, b Band, h ...HLine) ([]byte, error) {
	p := o.plot()
	pts := finite(b.X, b.Y)
	if len(pts) == 0 {
		return nil, ErrNothing
	}
	low, up := finite(b.X, b.Lower), finite(b.X, b.Upper)
	if len(low) > 1 && len(up) > 1 {
		ring := append(plotter.XYs{}, low...)
		for i := len(up) - 1; i >= 0; i-- {
			ring = append(ring, up[i])
		}
		poly, err := plotter.NewPolygon(ring)
		if err != nil {
			return nil, fmt.Errorf("plots: curve: %w", err)
		}
		poly.Color, poly.LineStyle.Width = bandColour, 0
		p.Add(poly)
		p.Legend.Add(b.BandName, poly)
	}
	l, err := plotter.NewLine(pts)
	if err != nil {
		return nil, fmt.Errorf("plots: curve: %w", err)
	}
	l.LineStyle = lineStyle(0)
	p.Add(l)
	p.Legend.Add(b.Name, l)
	for i, s := range b.Points {
		sp := finite(s.X, s.Y)
		if len(sp) == 0 {
			continue
		}
		sc, err := plotter.NewScatter(sp)
		if err != nil {
			return nil, fmt.Errorf("plots: curve: %w", err)
		}
		sc.GlyphStyle = glyphStyle(i + 1)
		p.Add(sc)
		if s.Name != "" {
			p.Legend.Add(s.Name, sc)
		}
	}
	for i, m := range b.MarkX {
		if math.IsNaN(m.X) || math.IsInf(m.X, 0) {
			continue
		}
		l, err := plotter.NewLine(plotter.XYs{{X: m.X, Y: 0}, {X: m.X, Y: 1}})
		if err != nil {
			return nil, fmt.Errorf("plots: curve: %w", err)
		}
		l.LineStyle = lineStyle(i + 2)
		p.Add(l)
		p.Legend.Add(m.Name, l)
	}
	addHLines(p, h)
	return o.svg(p)
}

// Arrow is a place in a picture and how far something lies off there, px.
type Arrow struct{ X, Y, DX, DY float64 }

// Arrows draws arrows over an area of w by h pixels, y down as in a picture,
// each drawn magnify times as long as it is.
func Arrows(o Options, w, h int, arrows []Arrow, magnify float64) ([]byte, error) {
	p := o.plot()
	if len(arrows) == 0 {
		return nil, ErrNothing
	}
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = -0.5, float64(w)-0.5, -float64(h)+0.5, 0.5
	for _, a := range arrows {
		l, err := plotter.NewLine(plotter.XYs{{X: a.X, Y: -a.Y}, {X: a.X + magnify*a.DX, Y: -(a.Y + magnify*a.DY)}})
		if err != nil {
			return nil, fmt.Errorf("plots: arrows: %w", err)
		}
		l.LineStyle = lineStyle(0)
		p.Add(l)
	}
	return o.svg(p)
}

func (o Options) plot() *plot.Plot {
	p := plot.New()
	p.X.Label.Text, p.Y.Label.Text = o.X, o.Y
	p.Legend.Top = true
	p.BackgroundColor = color.Transparent
	if o.LogX {
		p.X.Scale, p.X.Tick.Marker = plot.LogScale{}, plot.LogTicks{Prec: -1}
	}
	return p
}

func (o Options) svg(p *plot.Plot) ([]byte, error) {
	w, h := o.WidthMM, o.HeightMM
	if w == 0 {
		w = 180
	}
	if h == 0 {
		h = 100
	}
	c := vgsvg.New(vg.Length(w)*vg.Millimeter, vg.Length(h)*vg.Millimeter)
	p.Draw(draw.New(c))
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("plots: write svg: %w", err)
	}
	// Inside a page only the element itself is wanted.
	if i := bytes.Index(b.Bytes(), []byte("<svg")); i > 0 {
		return b.Bytes()[i:], nil
	}
	return b.Bytes(), nil
}

func addHLines(p *plot.Plot, h []HLine) {
	for i, hl := range h {
		if math.IsNaN(hl.Y) || math.IsInf(hl.Y, 0) {
			continue
		}
		f := plotter.NewFunction(func(float64) float64 { return hl.Y })
		f.LineStyle = lineStyle(4 + i)
		p.Add(f)
		p.Y.Min, p.Y.Max = min(p.Y.Min, hl.Y), max(p.Y.Max, hl.Y)
		if hl.Name != "" {
			p.Legend.Add(hl.Name, f)
		}
	}
}

// finite are the points of which both numbers are finite.
func finite(x, y []float64) plotter.XYs {
	var pts plotter.XYs
	for i := range min(len(x), len(y)) {
		if s := x[i] + y[i]; !math.IsNaN(s) && !math.IsInf(s, 0) {
			pts = append(pts, plotter.XY{X: x[i], Y: y[i]})
		}
	}
	return pts
}

// means are the mean values at each x, in order of x.
func means(pts plotter.XYs) plotter.XYs {
	sum, n := map[float64]float64{}, map[float64]int{}
	var out plotter.XYs
	for _, p := range pts {
		if n[p.X] == 0 {
			out = append(out, plotter.XY{X: p.X})
		}
		sum[p.X] += p.Y
		n[p.X]++
	}
	for i, p := range out {
		out[i].Y = sum[p.X] / float64(n[p.X])
	}
	return out
}
