package plots

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// drawing is something that a frame draws, in the drawing's own units; boxes is
// the room that it needs beyond its numbers.
type drawing struct {
	plot  func(c *draw.Canvas, x, y func(float64) vg.Length)
	boxes []box
}

// box is the room around the point x, y that must stay in the drawing.
type box struct {
	x, y                   float64
	left, right, down, up_ vg.Length
}

// Plot draws; it is what gonum/plot asks for.
func (d drawing) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	d.plot(&c, x, y)
}

// GlyphBoxes are the boxes; it is what gonum/plot asks for.
func (d drawing) GlyphBoxes(p *plot.Plot) []plot.GlyphBox {
	var out []plot.GlyphBox
	for _, b := range d.boxes {
		out = append(out, plot.GlyphBox{X: p.X.Norm(b.x), Y: p.Y.Norm(b.y),
			Rectangle: vg.Rectangle{Min: vg.Point{X: -b.left, Y: -b.down}, Max: vg.Point{X: b.right, Y: b.up_}}})
	}
	return out
}

// dotsAt draws the i-th series' shape at each point.
func (f *frame) dotsAt(i int, pts plotter.XYs) {
	d := drawing{}
	for _, p := range pts {
		f.see(p.X, p.Y)
		d.boxes = append(d.boxes, box{p.X, p.Y, 7, 7, 7, 7})
	}
	d.plot = func(c *draw.Canvas, x, y func(float64) vg.Length) {
		for _, p := range pts {
			c.DrawGlyph(glyphStyle(i), vg.Point{X: x(p.X), Y: y(p.Y)})
		}
	}
	f.any = f.any || len(pts) > 0
	f.Add(d)
}

// lineAlong joins neighbours of a series; where a number is missing there is a
// gap.
func (f *frame) lineAlong(sty draw.LineStyle, xs, ys []float64) {
	var run plotter.XYs
	flush := func() {
		if pts := run; len(pts) > 1 {
			f.Add(drawing{plot: func(c *draw.Canvas, x, y func(float64) vg.Length) {
				line := make([]vg.Point, len(pts))
				for i, p := range pts {
					line[i] = vg.Point{X: x(p.X), Y: y(p.Y)}
				}
				c.StrokeLines(sty, line)
			}})
		}
		run = nil
	}
	for i := range min(len(xs), len(ys)) {
		if !f.drawable(xs[i], ys[i]) {
			flush()
			continue
		}
		f.see(xs[i], ys[i])
		f.any = true
		run = append(run, plotter.XY{X: xs[i], Y: ys[i]})
	}
	flush()
}

// questionMarks stand at the bottom of the plot, or on its zero line, where a
// number is missing.
func (f *frame) questionMarks(xs []float64, onZero bool) {
	if len(xs) == 0 {
		return
	}
	f.missing = true
	d := drawing{plot: func(c *draw.Canvas, x, y func(float64) vg.Length) {
		low := c.Min.Y
		if onZero {
			low = y(0)
		}
		for _, v := range xs {
			questionMark(*c, vg.Point{X: x(v), Y: low + 10})
		}
	}}
	f.Add(d)
}

// questionMark says that something was not measured.
func questionMark(c draw.Canvas, at vg.Point) {
	sty := textStyle(textSize)
	sty.XAlign, sty.YAlign = draw.XCenter, draw.YCenter
	c.FillText(sty, at, "?")
}

// lineSample is a legend's sample of a line.
func lineSample(sty draw.LineStyle) func(c *draw.Canvas) {
	return func(c *draw.Canvas) { c.StrokeLine2(sty, c.Min.X, c.Center().Y, c.Max.X, c.Center().Y) }
}

func dotSample(i int) func(c *draw.Canvas) {
	return func(c *draw.Canvas) { c.DrawGlyph(glyphStyle(i), c.Center()) }
}

func both(a, b func(c *draw.Canvas)) func(c *draw.Canvas) {
	return func(c *draw.Canvas) { a(c); b(c) }
}

// fillBox fills a rectangle with the i-th series' colour and hatch and draws its
// edge.
func fillBox(c *draw.Canvas, i int, x0, y0, x1, y1 vg.Length) {
	x0, x1, y0, y1 = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
	fill(c, seriesColour(i), vg.Point{X: x0, Y: y0}, vg.Point{X: x1, Y: y0}, vg.Point{X: x1, Y: y1}, vg.Point{X: x0, Y: y1})
	white := draw.LineStyle{Color: ground(), Width: 2}
	switch i % 5 {
	case 1, 2, 4: // slanting up, down, both
		if i%5 != 2 {
			hatch(c, white, 1, x0, y0, x1, y1)
		}
		if i%5 != 1 {
			hatch(c, white, -1, x0, y0, x1, y1)
		}
	case 3: // level
		for y := y0 + 5; y < y1; y += 9 {
			c.StrokeLine2(white, x0, y, x1, y)
		}
	}
	c.StrokeLines(inkLine(1.3), []vg.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}, {X: x0, Y: y0}})
}

// hatch draws slanting lines inside a rectangle: y = slope * x + b.
func hatch(c *draw.Canvas, sty draw.LineStyle, slope, x0, y0, x1, y1 vg.Length) {
	const step = 11
	lo, hi := y0+x0, y1+x1
	if slope > 0 {
		lo, hi = y0-x1, y1-x0
	}
	for b := vg.Length(math.Ceil(float64(lo/step))) * step; b <= hi; b += step {
		l, r := (y0-b)/slope, (y1-b)/slope
		if l > r {
			l, r = r, l
		}
		l, r = max(l, x0), min(r, x1)
		if l < r {
			c.StrokeLine2(sty, l, slope*l+b, r, slope*r+b)
		}
	}
}

// fill fills a polygon without an edge.
func fill(c *draw.Canvas, clr color.Color, corners ...vg.Point) {
	var p vg.Path
	for i, q := range corners {
		if i == 0 {
			p.Move(q)
			continue
		}
		p.Line(q)
	}
	p.Close()
	c.SetColor(clr)
	c.Fill(p)
}
