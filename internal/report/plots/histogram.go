package plots

import (
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Counted is a histogram: Counts[i] lie between Edges[i] and Edges[i+1].
type Counted struct {
	Edges  []float64
	Counts []float64
	Curves []Series // over the bars, in counts a bar: what a normal distribution would give
	Marks  []Mark   // limits, target, mean
}

// Histogram draws bars without gaps from 0 up, curves over them and named vertical
// lines.
func Histogram(o Options, h Counted) ([]byte, error) {
	o.LogX = false
	f := newFrame(o)
	n := min(len(h.Counts), len(h.Edges)-1)
	f.Y.Min, f.Y.Max = min(f.Y.Min, 0), max(f.Y.Max, 0)
	for i := range n {
		if finite(h.Edges[i]) && finite(h.Edges[i+1]) && finite(h.Counts[i]) {
			f.see(h.Edges[i], h.Counts[i])
			f.see(h.Edges[i+1], h.Counts[i])
			f.any = true
		}
	}
	f.Add(drawing{plot: func(c *draw.Canvas, x, y func(float64) vg.Length) {
		for i := range n {
			if finite(h.Edges[i]) && finite(h.Edges[i+1]) && finite(h.Counts[i]) && h.Counts[i] != 0 {
				plainBox(c, x(h.Edges[i]), y(0), x(h.Edges[i+1]), y(h.Counts[i]))
			}
		}
	}})
	any := f.any
	for i, s := range h.Curves {
		sty := lineStyle(i + 1)
		sty.Width = 2.6
		f.lineAlong(sty, s.X, s.Y)
		f.name(s.Name, lineSample(sty))
	}
	f.any = any // a curve alone is no histogram
	f.vlines(h.Marks)
	return f.svg()
}

// plainBox is a pale box with an edge: lines over it show.
func plainBox(c *draw.Canvas, x0, y0, x1, y1 vg.Length) {
	fill(c, bandColour(), vg.Point{X: x0, Y: y0}, vg.Point{X: x1, Y: y0}, vg.Point{X: x1, Y: y1}, vg.Point{X: x0, Y: y1})
	c.StrokeLines(inkLine(1), []vg.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}, {X: x0, Y: y0}})
}
