package plots

import (
	"cmp"
	"slices"

	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// manyPoints is from how many points on a line shows some of their shapes only.
const manyPoints = 40

// Lines draws each series as points joined by a line, and horizontal lines. A
// series of more than 40 points shows the shapes of about 15 of them.
func Lines(o Options, series []Series, h ...HLine) ([]byte, error) {
	f := newFrame(o)
	for i, s := range series {
		pts := f.points(s.X, s.Y)
		if len(pts) == 0 {
			continue
		}
		f.lineAlong(lineStyle(i), s.X, s.Y)
		shown := pts
		if len(pts) > manyPoints {
			shown = nil
			step := len(pts) / 15
			for k := step * (i + 1) / (len(series) + 1); k < len(pts); k += step {
				shown = append(shown, pts[k])
			}
		}
		f.dotsAt(i, shown)
		f.name(s.Name, both(lineSample(lineStyle(i)), dotSample(i)))
	}
	f.hlines(h)
	return f.svg()
}

// Strips draws groups of values side by side, one column a category: groups[i]
// is a series whose X are the numbers of categories (0, 1, ...) and whose Y are
// single values in them. The series stand beside each other within a column;
// the means of each are joined.
func Strips(o Options, categories []string, groups []Series, h ...HLine) ([]byte, error) {
	o.LogX = false
	f := newFrame(o)
	last := 0
	for i, s := range groups {
		pts := f.points(s.X, s.Y)
		if len(pts) == 0 {
			continue
		}
		for k := range pts {
			last = max(last, int(min(pts[k].X, 1e4)))
			pts[k].X += beside(i, len(groups))
		}
		m := means(pts)
		xs, ys := make([]float64, len(m)), make([]float64, len(m))
		for k, p := range m {
			xs[k], ys[k] = p.X, p.Y
		}
		f.lineAlong(lineStyle(i), xs, ys)
		f.dotsAt(i, pts)
		f.name(s.Name, both(lineSample(lineStyle(i)), dotSample(i)))
	}
	f.categories(categories, last+1)
	f.between(max(last+1, len(categories)))
	f.hlines(h)
	return f.svg()
}

// beside is how far the i-th of n series stands off its category's middle.
func beside(i, n int) float64 {
	if n < 2 {
		return 0
	}
	return 0.56 * (float64(i)/float64(n-1) - 0.5)
}

// between draws thin lines between the categories.
func (f *frame) between(n int) {
	f.Add(drawing{plot: func(c *draw.Canvas, x, _ func(float64) vg.Length) {
		for k := 1; k < n; k++ {
			at := x(float64(k) - 0.5)
			c.StrokeLine2(draw.LineStyle{Color: gridColour(), Width: 1, Dashes: []vg.Length{2, 4}}, at, c.Min.Y, at, c.Max.Y)
		}
	}})
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
	slices.SortFunc(out, func(a, b plotter.XY) int { return cmp.Compare(a.X, b.X) })
	return out
}
