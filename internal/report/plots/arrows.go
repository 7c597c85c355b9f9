package plots

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Arrow is a place in a picture and how far something lies off there, px.
type Arrow struct{ X, Y, DX, DY float64 }

// Arrows draws arrows over an area of w by h pixels, y down as in a picture,
// each drawn magnify times as long as it is. Where magnify is not above 0 it is
// chosen so that the longest arrow takes up to an eighth of the width. An arrow under
// the plot tells the scale. Without HeightMM the plot has the picture's shape.
func Arrows(o Options, w, h int, arrows []Arrow, magnify float64) ([]byte, error) {
	var shown []Arrow
	longest := 0.0
	for _, a := range arrows {
		if finite(a.X) && finite(a.Y) && finite(a.DX) && finite(a.DY) {
			shown = append(shown, a)
			longest = max(longest, math.Hypot(a.DX, a.DY))
		}
	}
	if len(shown) == 0 {
		return nil, ErrNothing
	}
	if !(magnify > 0) || math.IsInf(magnify, 0) {
		magnify = 1
		if longest > 0 {
			magnify = roundDown(float64(max(w, 1)) / 8 / longest)
		}
	}
	o.LogX = false
	f := newFrame(shapedAs(o, w, h))
	f.X.Min, f.X.Max, f.Y.Min, f.Y.Max = -0.5, float64(w)-0.5, -0.5, float64(h)-0.5
	f.Y.Scale = plot.InvertedScale{Normalizer: plot.LinearScale{}}
	f.any = true
	for _, a := range shown {
		f.see(a.X, a.Y)
		f.see(a.X+magnify*a.DX, a.Y+magnify*a.DY)
	}
	f.Add(drawing{plot: func(c *draw.Canvas, x, y func(float64) vg.Length) {
		frameOf(c, x, y, w, h)
		for _, a := range shown {
			from := vg.Point{X: x(a.X), Y: y(a.Y)}
			c.DrawGlyph(draw.GlyphStyle{Color: ink(), Radius: 1.4, Shape: glyph(0)}, from)
			arrow(c, arrowLine(), from, vg.Point{X: x(a.X + magnify*a.DX), Y: y(a.Y + magnify*a.DY)}, 8)
		}
	}})
	if longest > 0 {
		f.key(magnify)
	}
	return f.svg()
}

// keyLong is how long the arrow in the legend may be.
const keyLong = 120

// key adds an arrow of a round length to the legend.
func (f *frame) key(magnify float64) {
	// About the plot's own units a pixel's arrow takes; the axis takes some 70.
	about := (f.o.WidthMM*unitsPerMM - 90) / (f.X.Max - f.X.Min) * magnify
	px := roundDown(keyLong * 0.9 / about)
	f.entries = append(f.entries, entry{
		name: "= " + number(px) + " px (drawn " + number(magnify) + " times as long)",
		wide: vg.Length(px*about) + 8,
		sample: func(c *draw.Canvas) {
			y := c.Center().Y
			arrow(c, arrowLine(), vg.Point{X: c.Min.X, Y: y}, vg.Point{X: c.Min.X + vg.Length(px*magnify)*f.perX, Y: y}, 8)
		}})
}

func arrowLine() draw.LineStyle { return draw.LineStyle{Color: seriesColour(0), Width: 1.8} }

// roundDown is the largest of 1, 2 or 5 times a power of ten that is not above v.
func roundDown(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{5, 2} {
		if m*p <= v*(1+1e-9) {
			return m * p
		}
	}
	return p
}

// shapedAs gives the plot the height at which both axes have the same scale.
func shapedAs(o Options, w, h int) Options {
	if o.HeightMM > 0 || w < 1 || h < 1 {
		return o
	}
	if !(o.WidthMM > 0) {
		o.WidthMM = 180
	}
	o.HeightMM = (o.WidthMM-20)*float64(h)/float64(w) + 16
	return o
}

// frameOf draws the picture's edge.
func frameOf(c *draw.Canvas, x, y func(float64) vg.Length, w, h int) {
	l, r, t, b := x(-0.5), x(float64(w)-0.5), y(-0.5), y(float64(h)-0.5)
	c.StrokeLines(draw.LineStyle{Color: gridColour(), Width: 1.5},
		[]vg.Point{{X: l, Y: t}, {X: r, Y: t}, {X: r, Y: b}, {X: l, Y: b}, {X: l, Y: t}})
}

// arrow draws a line with a head; one shorter than its head has a small head.
func arrow(c *draw.Canvas, sty draw.LineStyle, from, to vg.Point, head vg.Length) {
	dx, dy := float64(to.X-from.X), float64(to.Y-from.Y)
	long := math.Hypot(dx, dy)
	if long < 0.3 {
		return
	}
	c.StrokeLine2(sty, from.X, from.Y, to.X, to.Y)
	head = min(head, vg.Length(long*0.6))
	ux, uy := vg.Length(dx/long), vg.Length(dy/long)
	back := vg.Point{X: to.X - ux*head, Y: to.Y - uy*head}
	half := head * 0.42
	fill(c, sty.Color, to, vg.Point{X: back.X - uy*half, Y: back.Y + ux*half}, vg.Point{X: back.X + uy*half, Y: back.Y - ux*half})
}
