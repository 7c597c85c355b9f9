package plots

import (
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Ordered are categories with their shares, largest first.
type Ordered struct {
	Categories []string
	Shares     []float64 // 0..1
	Texts      []string  // at the bars' ends, such as counts; nil: none
	Bars, Line string    // names of the bars and of the running sum
}

// Pareto draws a bar a category and the running sum of their shares as a line,
// both in percent on one axis.
func Pareto(o Options, p Ordered) ([]byte, error) {
	o.LogX = false
	f := newFrame(o)
	n := len(p.Shares)
	xs, sums := make([]float64, n), make([]float64, n)
	sum := 0.0
	f.see(0, 0)
	f.see(0, 100)
	for i, s := range p.Shares {
		if finite(s) {
			sum += 100 * s
			f.any = true
		}
		xs[i], sums[i] = float64(i), sum
	}
	if !f.any {
		return nil, ErrNothing
	}
	f.Add(drawing{plot: func(c *draw.Canvas, x, y func(float64) vg.Length) {
		for i, s := range p.Shares {
			if finite(s) {
				fillBox(c, 0, x(float64(i)-barShare/2), y(0), x(float64(i)+barShare/2), y(100*s))
			}
		}
	}})
	f.name(p.Bars, func(c *draw.Canvas) {
		fillBox(c, 0, c.Center().X-9, c.Min.Y+2, c.Center().X+9, c.Max.Y-2)
	})
	if n > 1 {
		f.lineAlong(lineStyle(1), xs, sums)
		f.dotsAt(1, f.points(xs, sums))
		f.name(p.Line, both(lineSample(lineStyle(1)), dotSample(1)))
	}
	f.above = append(f.above, func(c *draw.Canvas) {
		x, y := f.Transforms(c)
		for i := range min(n, len(p.Texts)) {
			if finite(p.Shares[i]) && textWidth(p.Texts[i], tickSize) <= x(1)-x(0) {
				f.barText(c, clean(p.Texts[i]), vg.Point{X: x(float64(i)), Y: y(100 * p.Shares[i])}, y(100*p.Shares[i])-y(0))
			}
		}
	})
	f.categories(p.Categories, n)
	f.Y.Tick.Marker = roundTicks{5}
	return f.svg()
}

// barText writes inside a tall bar's foot, over a low one's end where the line
// is far above.
func (f *frame) barText(c *draw.Canvas, text string, end vg.Point, high vg.Length) {
	sty := textStyle(tickSize)
	sty.XAlign = draw.XCenter
	at := vg.Point{X: end.X, Y: end.Y + 4}
	if high > 24 {
		at.Y = end.Y - high + 6
	}
	half := textWidth(text, tickSize)/2 + 2
	fill(c, ground(), vg.Point{X: at.X - half, Y: at.Y - 3}, vg.Point{X: at.X + half, Y: at.Y - 3}, vg.Point{X: at.X + half, Y: at.Y + 13},
		vg.Point{X: at.X - half, Y: at.Y + 13})
	c.FillText(sty, at, text)
}
