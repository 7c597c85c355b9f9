package plots

import (
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Bars draws a bar a category for each series, side by side, from 0. A value
// that is not finite has a question mark instead of a bar. Where there is room
// the bars carry their values.
func Bars(o Options, categories []string, series []Series, h ...HLine) ([]byte, error) {
	o.LogX = false
	f := newFrame(o)
	n := 0
	var missing []float64
	var texts []string
	for _, s := range series {
		for _, y := range s.Y {
			if finite(y) {
				texts = append(texts, number(y))
			}
		}
	}
	for i, s := range series {
		drawn := f.bars(i, len(series), s.Y, texts)
		n = max(n, len(s.Y))
		for k, y := range s.Y {
			if !finite(y) {
				missing = append(missing, barMiddle(k, i, len(series)))
			}
		}
		if drawn > 0 {
			f.name(s.Name, func(c *draw.Canvas) {
				fillBox(c, i, c.Center().X-9, c.Min.Y+2, c.Center().X+9, c.Max.Y-2)
			})
		}
	}
	f.questionMarks(missing, true)
	f.categories(categories, n)
	f.hlines(h)
	return f.svg()
}

// barShare is the part of a category's width that its bars fill.
const barShare = 0.78

// barMiddle is where the bar of series i of n in category k stands.
func barMiddle(k, i, n int) float64 {
	return float64(k) + barShare*((float64(i)+0.5)/float64(n)-0.5)
}

// bars draws one series and returns how many bars there are; texts are the
// values of all series.
func (f *frame) bars(i, n int, ys []float64, texts []string) int {
	half := barShare / float64(n) / 2
	d := drawing{}
	drawn := 0
	f.Y.Min, f.Y.Max = min(f.Y.Min, 0), max(f.Y.Max, 0)
	for k, y := range ys {
		if !finite(y) {
			continue
		}
		drawn++
		f.see(float64(k), y)
		d.boxes = append(d.boxes, box{float64(k), y, 0, 0, room(y < 0), room(y >= 0)})
	}
	f.any = f.any || drawn > 0
	d.plot = func(c *draw.Canvas, x, y func(float64) vg.Length) {
		for k, v := range ys {
			if at := barMiddle(k, i, n); finite(v) {
				fillBox(c, i, x(at-half), y(0), x(at+half), y(v))
			}
		}
	}
	f.Add(d)
	f.above = append(f.above, func(c *draw.Canvas) {
		x, y := f.Transforms(c)
		for k, v := range ys {
			if finite(v) && widestOf(texts)+4 <= x(2*half)-x(0) {
				barValue(c, v, vg.Point{X: x(barMiddle(k, i, n)), Y: y(v)})
			}
		}
	})
	return drawn
}

// barValue writes a value at a bar's end, on a plate that keeps lines off it.
func barValue(c *draw.Canvas, v float64, end vg.Point) {
	sty, text := textStyle(tickSize), number(v)
	sty.XAlign = draw.XCenter
	at := vg.Point{X: end.X, Y: end.Y + 5}
	if v < 0 {
		at.Y = end.Y - 16
	}
	half := textWidth(text, tickSize)/2 + 1
	fill(c, ground(), vg.Point{X: at.X - half, Y: at.Y - 3}, vg.Point{X: at.X + half, Y: at.Y - 3}, vg.Point{X: at.X + half, Y: at.Y + 12},
		vg.Point{X: at.X - half, Y: at.Y + 12})
	c.FillText(sty, at, text)
}

// room is what a bar's value needs beyond its end.
func room(here bool) vg.Length {
	if here {
		return 20
	}
	return 0
}

// Interval is a value with its lower and upper limit.
type Interval struct{ Lo, Mid, Hi float64 }

// Intervals draws a point a category with a bar from its lower to its upper
// limit. A limit at infinity is an arrow to the plot's edge, one that is NaN is
// left out; a middle that is not finite has a question mark.
func Intervals(o Options, categories []string, intervals []Interval, h ...HLine) ([]byte, error) {
	o.LogX = false
	f := newFrame(o)
	d := drawing{}
	var missing []float64
	for k, v := range intervals {
		if !finite(v.Mid) {
			missing = append(missing, float64(k))
			continue
		}
		f.any = true
		for _, y := range []float64{v.Lo, v.Mid, v.Hi} {
			if finite(y) {
				f.see(float64(k), y)
				d.boxes = append(d.boxes, box{float64(k), y, 8, 8, 8, 8})
			}
		}
	}
	d.plot = func(c *draw.Canvas, x, y func(float64) vg.Length) {
		for k, v := range intervals {
			if finite(v.Mid) {
				at := vg.Point{X: x(float64(k)), Y: y(v.Mid)}
				whisker(c, at, v.Lo, y, c.Min.Y)
				whisker(c, at, v.Hi, y, c.Max.Y)
				c.DrawGlyph(glyphStyle(0), at)
			}
		}
	}
	f.Add(d)
	f.questionMarks(missing, false)
	f.categories(categories, len(intervals))
	f.hlines(h)
	return f.svg()
}

// whisker draws the bar from a point to its limit, or to the edge where the
// limit is at infinity.
func whisker(c *draw.Canvas, from vg.Point, to float64, y func(float64) vg.Length, edge vg.Length) {
	switch {
	case math.IsNaN(to):
	case math.IsInf(to, 0):
		arrow(c, inkLine(2), from, vg.Point{X: from.X, Y: edge}, 9)
	default:
		c.StrokeLine2(inkLine(2), from.X, from.Y, from.X, y(to))
		c.StrokeLine2(inkLine(2), from.X-7, y(to), from.X+7, y(to))
	}
}
