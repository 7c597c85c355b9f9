package plots

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Places are points within an outline, y down, both axes of one scale.
type Places struct {
	Outline [][2]float64 // closed
	Spots   []Series     // up to 14 kinds, each with a shape of its own
	Rings   []Ring       // round places that stand out, numbered from 1
}

// Ring is a round place.
type Ring struct {
	Name    string
	X, Y, R float64
}

// Map draws them. Without HeightMM the plot has the outline's shape.
func Map(o Options, p Places) ([]byte, error) {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	see := func(x, y float64) {
		if finite(x) && finite(y) {
			x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
		}
	}
	for _, q := range p.Outline {
		see(q[0], q[1])
	}
	for _, s := range p.Spots {
		for i := range min(len(s.X), len(s.Y)) {
			see(s.X[i], s.Y[i])
		}
	}
	if !(x1 > x0 && y1 > y0) {
		return nil, ErrNothing
	}
	for _, r := range p.Rings {
		see(r.X-r.R, r.Y-r.R)
		see(r.X+r.R, r.Y+r.R)
	}
	o.LogX = false
	room := 0.03 * max(x1-x0, y1-y0)
	x0, y0, x1, y1 = x0-room, y0-room, x1+room, y1+room
	o = shapedAs(o, int(math.Round(1000*(x1-x0)/max(x1-x0, y1-y0))), int(math.Round(1000*(y1-y0)/max(x1-x0, y1-y0))))
	f := newFrame(o)
	f.see(x0, y0)
	f.see(x1, y1)
	f.Y.Scale = plot.InvertedScale{Normalizer: plot.LinearScale{}}
	f.any = true
	f.Add(drawing{plot: func(c *draw.Canvas, x, y func(float64) vg.Length) {
		var line []vg.Point
		for _, q := range p.Outline {
			line = append(line, vg.Point{X: x(q[0]), Y: y(q[1])})
		}
		if len(line) > 2 {
			c.StrokeLines(inkLine(2.2), append(line, line[0]))
		}
	}})
	for i, s := range p.Spots {
		pts := f.points(s.X, s.Y)
		if len(pts) == 0 {
			continue
		}
		f.spots(i, pts)
		f.name(s.Name, func(c *draw.Canvas) { spot(c, i, c.Center(), false) })
	}
	for i, r := range p.Rings {
		f.ring(i, r)
	}
	return f.svg()
}

// manySpots is from how many points on shapes are small.
const manySpots = 300

// spots draws points; those that lie on each other once.
func (f *frame) spots(i int, pts plotter.XYs) {
	f.Add(drawing{plot: func(c *draw.Canvas, x, y func(float64) vg.Length) {
		drawn := map[[2]int]bool{}
		for _, p := range pts {
			at := vg.Point{X: x(p.X), Y: y(p.Y)}
			place := [2]int{int(at.X), int(at.Y)}
			if !drawn[place] {
				drawn[place] = true
				spot(c, i, at, len(pts) > manySpots)
			}
		}
	}})
}

// spot is the i-th kind's shape; from the eighth on the shapes come again,
// larger and with a dot in them.
func spot(c *draw.Canvas, i int, at vg.Point, small bool) {
	sty := glyphStyle(i)
	if small {
		sty.Radius *= 0.6
	}
	if i%14 >= 7 {
		sty.Radius *= 1.5
	}
	c.DrawGlyph(sty, at)
	if i%14 >= 7 {
		c.DrawGlyph(draw.GlyphStyle{Color: ground(), Radius: sty.Radius * 0.45, Shape: glyph(0)}, at)
		c.DrawGlyph(draw.GlyphStyle{Color: ink(), Radius: sty.Radius * 0.25, Shape: glyph(0)}, at)
	}
}

// ring draws a round place and its number.
func (f *frame) ring(i int, r Ring) {
	if !finite(r.X) || !finite(r.Y) || !(r.R > 0) || math.IsInf(r.R, 0) {
		return
	}
	sty := inkLine(2.4, 9, 5)
	number := string(rune('1' + i%9))
	f.above = append(f.above, func(c *draw.Canvas) {
		x, y := f.Transforms(c)
		var line []vg.Point
		for k := range 65 {
			s, co := math.Sincos(float64(k) * math.Pi / 32)
			line = append(line, vg.Point{X: x(r.X + r.R*co), Y: y(r.Y + r.R*s)})
		}
		c.StrokeLines(sty, line)
		at := vg.Point{X: x(r.X + r.R*0.7071), Y: y(r.Y - r.R*0.7071)}
		plate(c, number, vg.Point{X: at.X + 9, Y: at.Y + 9})
	})
	if r.Name != "" {
		f.entries = append(f.entries, entry{name: clean(r.Name), sample: func(c *draw.Canvas) {
			c.StrokeLine2(sty, c.Min.X, c.Center().Y, c.Center().X-8, c.Center().Y)
			plate(c, number, vg.Point{X: c.Max.X - 10, Y: c.Center().Y})
		}})
	}
}

// plate writes a short text on the page's ground, with an edge.
func plate(c *draw.Canvas, text string, at vg.Point) {
	half := textWidth(text, tickSize)/2 + 4
	box := []vg.Point{{X: at.X - half, Y: at.Y - 9}, {X: at.X + half, Y: at.Y - 9}, {X: at.X + half, Y: at.Y + 9}, {X: at.X - half, Y: at.Y + 9}}
	fill(c, ground(), box...)
	c.StrokeLines(inkLine(1.3), append(box, box[0]))
	sty := textStyle(tickSize)
	sty.XAlign, sty.YAlign = draw.XCenter, draw.YCenter
	c.FillText(sty, at, text)
}
