package plots

import (
	"math"

	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Band is a curve with the band of its uncertainty, and single points beside
// it: for a probability of detection, hits at 1 and misses at 0.
type Band struct {
	X, Y, Lower, Upper []float64
	Name, BandName     string
	Points             []Series
	MarkX              []Mark // vertical lines
}

// Curve draws a curve with its band. A series of points that are all 0 or 1 is
// drawn as small upright ticks there, piled up outwards where several share a
// place; other points have their series' shape.
func Curve(o Options, b Band, h ...HLine) ([]byte, error) {
	f := newFrame(o)
	f.band(b)
	f.lineAlong(draw.LineStyle{Color: seriesColour(0), Width: 2.6}, b.X, b.Y)
	if len(f.points(b.X, b.Y)) == 0 {
		return nil, ErrNothing
	}
	f.name(b.Name, lineSample(draw.LineStyle{Color: seriesColour(0), Width: 2.6}))
	for i, s := range b.Points {
		pts := f.points(s.X, s.Y)
		switch {
		case len(pts) == 0:
			continue
		case zeroOrOne(pts):
			f.tally(i+1, pts)
			f.name(s.Name, func(c *draw.Canvas) {
				for _, x := range []vg.Length{-8, 0, 8} {
					tick(c, i+1, vg.Point{X: c.Center().X + x, Y: c.Center().Y})
				}
			})
		default:
			f.dotsAt(i+1, pts)
			f.name(s.Name, dotSample(i+1))
		}
	}
	f.vlines(b.MarkX)
	f.hlines(h)
	return f.svg()
}

// vlines adds vertical lines; they widen the plot.
func (f *frame) vlines(marks []Mark) {
	for _, m := range marks {
		if f.drawable(m.X, 0) {
			m.Name = shortened(clean(m.Name), 260)
			f.marks = append(f.marks, m)
			f.X.Min, f.X.Max = min(f.X.Min, m.X), max(f.X.Max, m.X)
		}
	}
}

// band shades what lies between the lower and the upper curve and draws both.
func (f *frame) band(b Band) {
	var low, up plotter.XYs
	for i := range min(len(b.X), len(b.Lower), len(b.Upper)) {
		if f.drawable(b.X[i], b.Lower[i]) && finite(b.Upper[i]) {
			low, up = append(low, plotter.XY{X: b.X[i], Y: b.Lower[i]}), append(up, plotter.XY{X: b.X[i], Y: b.Upper[i]})
			f.see(b.X[i], b.Lower[i])
			f.see(b.X[i], b.Upper[i])
		}
	}
	if len(low) < 2 {
		return
	}
	edge := inkLine(1.3, 4, 3)
	f.Add(drawing{plot: func(c *draw.Canvas, x, y func(float64) vg.Length) {
		var ring, line []vg.Point
		for _, p := range low {
			ring = append(ring, vg.Point{X: x(p.X), Y: y(p.Y)})
		}
		for i := len(up) - 1; i >= 0; i-- {
			line = append(line, vg.Point{X: x(up[i].X), Y: y(up[i].Y)})
		}
		c.StrokeLines(edge, ring)
		c.StrokeLines(edge, line)
		fill(c, bandColour(), append(ring, line...)...)
	}})
	f.name(b.BandName, func(c *draw.Canvas) {
		lo, hi := c.Min.Y+3, c.Max.Y-3
		fill(c, bandColour(), vg.Point{X: c.Min.X, Y: lo}, vg.Point{X: c.Max.X, Y: lo}, vg.Point{X: c.Max.X, Y: hi},
			vg.Point{X: c.Min.X, Y: hi})
		c.StrokeLine2(edge, c.Min.X, lo, c.Max.X, lo)
		c.StrokeLine2(edge, c.Min.X, hi, c.Max.X, hi)
	})
}

func zeroOrOne(pts plotter.XYs) bool {
	for _, p := range pts {
		if p.Y != 0 && p.Y != 1 {
			return false
		}
	}
	return true
}

// Ticks of hits and misses, and how many are piled up at most; more lie on each
// other and grow darker.
const (
	tickLong  = 8
	pileStep  = 8
	pileLimit = 5
)

// tally draws hits above 1 and misses below 0 as ticks.
func (f *frame) tally(i int, pts plotter.XYs) {
	d := drawing{}
	for _, p := range pts {
		f.see(p.X, p.Y)
		down, up := vg.Length(tickLong/2), vg.Length(tickLong/2)
		if p.Y == 1 {
			up += pileStep*(pileLimit-1) + 5
		} else {
			down += pileStep*(pileLimit-1) + 5
		}
		d.boxes = append(d.boxes, box{p.X, p.Y, 3, 3, down, up})
	}
	d.plot = func(c *draw.Canvas, x, y func(float64) vg.Length) {
		taken := map[[2]int]int{}
		for _, p := range pts {
			place := [2]int{int(math.Round(float64(x(p.X)) / 2)), int(p.Y)}
			off := vg.Length(min(taken[place], pileLimit-1)*pileStep + tickLong/2 + 1)
			taken[place]++
			if p.Y == 0 {
				off = -off
			}
			tick(c, i, vg.Point{X: x(p.X), Y: y(p.Y) + off})
		}
	}
	f.any = true
	f.Add(d)
}

func tick(c *draw.Canvas, i int, at vg.Point) {
	clr := seriesColour(i)
	clr.A = 0xb0
	var p vg.Path
	p.Move(vg.Point{X: at.X, Y: at.Y - tickLong/2})
	p.Line(vg.Point{X: at.X, Y: at.Y + tickLong/2 - 1.6})
	c.SetLineStyle(draw.LineStyle{Color: clr, Width: 2})
	c.Stroke(p)
}
