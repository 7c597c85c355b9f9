package plots

import (
	"math"

	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// OC is a sampling plan's operating characteristic: quality along x, the share
// of lots that are accepted, from 0 to 1, along y.
type OC struct {
	Curves []Series  // the plan; then what it is compared with, such as tightened inspection
	Points []OCPoint // marked on it
	Whole  bool      // only the points themselves can occur: whole numbers of nonconforming units in one lot
}

// OCPoint is a named place, such as the quality that is accepted 95 times in
// 100. Its share is drawn as a dot on a line down to the axis; a NaN share is a
// line only, for a quality such as the AQL.
type OCPoint struct {
	Name     string
	X, Share float64
}

// OCCurve draws an operating characteristic.
func OCCurve(o Options, c OC) ([]byte, error) {
	f := newFrame(o)
	for i, s := range c.Curves {
		pts := f.points(s.X, s.Y)
		if len(pts) == 0 {
			continue
		}
		sample := lineSample(lineStyle(i))
		if !c.Whole || len(pts) > manyPoints {
			f.lineAlong(lineStyle(i), s.X, s.Y)
		}
		if c.Whole && len(pts) <= manyPoints {
			f.dotsAt(i, pts)
			sample = dotSample(i)
		}
		f.name(s.Name, sample)
	}
	var dots plotter.XYs
	for _, p := range c.Points {
		if !f.drawable(p.X, 0) {
			continue
		}
		f.vlines([]Mark{{p.Name, p.X}})
		if finite(p.Share) {
			dots = append(dots, plotter.XY{X: p.X, Y: p.Share})
		}
	}
	if f.any {
		f.Y.Min, f.Y.Max = math.Min(f.Y.Min, 0), math.Max(f.Y.Max, 1)
		f.rings(dots)
	}
	return f.svg()
}

// rings marks places on a curve with open circles.
func (f *frame) rings(pts plotter.XYs) {
	for _, p := range pts {
		f.see(p.X, p.Y)
	}
	f.above = append(f.above, func(c *draw.Canvas) {
		tx, ty := f.Transforms(c)
		for _, p := range pts {
			at := vg.Point{X: tx(p.X), Y: ty(p.Y)}
			var path vg.Path
			path.Move(vg.Point{X: at.X + 6, Y: at.Y})
			path.Arc(at, 6, 0, 2*math.Pi)
			path.Close()
			c.SetColor(ground())
			c.Fill(path)
			c.SetLineStyle(inkLine(2.2))
			c.Stroke(path)
		}
	})
}
