package report

import (
	"fmt"
	"math"
	"strings"

	"finishbench/internal/part"
)

// shape is the outline that stands for a kind of finding, in units of its own
// around (0,0), x right, y down.
type shape struct {
	name   string // as the legend says it
	paths  [][]part.Point
	closed bool
	inner  float64 // half the side of the largest clear square around (0,0)
}

// kindShape is the shape of a kind; words it does not know get an octagon.
func kindShape(k part.Kind) shape {
	switch k {
	case part.Bubble:
		return closedShape(shapeCircle, polar(48, 0, func(float64) float64 { return 1 }))
	case part.Dust:
		return closedShape(shapeDiamond, pts(1, 0, 0, 1, -1, 0, 0, -1))
	case part.Fibre:
		return closedShape(shapeHexagon, pts(1.15, 0, 0.55, 0.8, -0.55, 0.8, -1.15, 0, -0.55, -0.8, 0.55, -0.8))
	case part.Sanding:
		return closedShape(shapeSquare, pts(-1, -1, 1, -1, 1, 1, -1, 1))
	case part.Crater:
		return closedShape(shapeTriangleUp, pts(0, -1.35, 1.35, 1, -1.35, 1))
	case part.Run:
		return closedShape(shapeTriangleDown, pts(0, 1.35, 1.35, -1, -1.35, -1))
	case part.OrangePeel:
		return closedShape(shapeRosette, polar(96, 0, func(a float64) float64 { return 1 + 0.16*math.Cos(8*a) }))
	case part.Haze:
		return closedShape(shapeHouse, pts(-1, 1, 1, 1, 1, -0.55, 0, -1.35, -1, -0.55))
	case part.Chip:
		return closedShape(shapeTrapezium, pts(-0.7, -1, 0.7, -1, 1.35, 1, -1.35, 1))
	case part.Missed:
		return closedShape(shapePlus, pts(-0.6, -1.05, 0.6, -1.05, 0.6, -0.6, 1.05, -0.6, 1.05, 0.6, 0.6, 0.6,
			0.6, 1.05, -0.6, 1.05, -0.6, 0.6, -1.05, 0.6, -1.05, -0.6, -0.6, -0.6))
	case part.Step:
		return openShape(shapeBrackets, pts(-0.5, -1, -1, -1, -1, 1, -0.5, 1), pts(0.5, -1, 1, -1, 1, 1, 0.5, 1))
	case part.Gap:
		return openShape(shapeChevrons, pts(-1.6, -1, -1, 0, -1.6, 1), pts(1.6, -1, 1, 0, 1.6, 1))
	case part.Bead:
		arch := append(pts(1.1, 1), polar(33, math.Pi, func(float64) float64 { return 1.1 })...)
		return closedShape(shapeArch, append(arch, part.Point{X: -1.1, Y: 1}))
	}
	return closedShape(shapeOctagon, polar(8, math.Pi/8, func(float64) float64 { return 1 }))
}

// pts makes points of pairs x, y.
func pts(xy ...float64) []part.Point {
	p := make([]part.Point, len(xy)/2)
	for i := range p {
		p[i] = part.Point{X: xy[2*i], Y: xy[2*i+1]}
	}
	return p
}

// polar makes n points at distance r(a) around (0,0); with a start of pi only
// the upper half turn, from right to left.
func polar(n int, start float64, r func(a float64) float64) []part.Point {
	p := make([]part.Point, n)
	for i := range p {
		a := start + 2*math.Pi*float64(i)/float64(n)
		if start == math.Pi {
			a = -math.Pi * float64(i) / float64(n-1)
		}
		p[i] = part.Point{X: r(a) * math.Cos(a), Y: r(a) * math.Sin(a)}
	}
	return p
}

func closedShape(name string, p []part.Point) shape {
	s := shape{name: name, paths: [][]part.Point{p}, closed: true}
	s.inner = clearHalf(s)
	return s
}

func openShape(name string, p ...[]part.Point) shape {
	s := shape{name: name, paths: p}
	s.inner = clearHalf(s)
	return s
}

// clearHalf walks along the outline and returns the smallest max(|x|,|y|): the
// half side of the largest square around (0,0) that no line enters.
func clearHalf(s shape) float64 {
	best := math.Inf(1)
	for _, p := range s.paths {
		n := len(p)
		for i := range p {
			if i == n-1 && !s.closed {
				break
			}
			a, b := p[i], p[(i+1)%n]
			for t := 0.0; t <= 1; t += 1.0 / 64 {
				best = min(best, max(math.Abs(a.X+t*(b.X-a.X)), math.Abs(a.Y+t*(b.Y-a.Y))))
			}
		}
	}
	return best * 0.995 // the walk has steps
}

// extent is how far the shape reaches from (0,0) in x or y.
func (s shape) extent() float64 {
	e := 0.0
	for _, p := range s.paths {
		for _, v := range p {
			e = max(e, math.Abs(v.X), math.Abs(v.Y))
		}
	}
	return e
}

// around returns the shape's paths around box, with clear pixels free on each
// side of the box and no semi-axis smaller than least; and the area they
// cover.
func (s shape) around(b part.Box, clear, least float64) ([][]part.Point, part.Box) {
	c := b.Centre()
	rx, ry := max((b[2]/2+clear)/s.inner, least), max((b[3]/2+clear)/s.inner, least)
	rx, ry = max(rx, 0.45*ry), max(ry, 0.45*rx) // a shape drawn too flat is not known again
	out := make([][]part.Point, len(s.paths))
	cover := part.Box{c.X, c.Y, 0, 0}
	for i, p := range s.paths {
		q := make([]part.Point, len(p), len(p)+1)
		for j, v := range p {
			q[j] = part.Point{X: c.X + rx*v.X, Y: c.Y + ry*v.Y}
			cover = cover.Union(part.Box{q[j].X, q[j].Y, 0, 0})
		}
		if s.closed {
			q = append(q, q[0])
		}
		out[i] = q
	}
	return out, cover
}

// svgPath is the shape as an SVG path's d, scaled by r around (x,y).
func (s shape) svgPath(x, y, r float64) string {
	var b strings.Builder
	for _, p := range s.paths {
		for i, v := range p {
			cmd := "L"
			if i == 0 {
				cmd = "M"
			}
			fmt.Fprintf(&b, "%s%.2f %.2f", cmd, x+r*v.X, y+r*v.Y)
		}
		if s.closed {
			b.WriteString("Z")
		}
	}
	return b.String()
}
