// Package marks knows the outline shape and the colour that stand for a kind of finding, in pictures
// and in plots. Pure Go.
package marks

import (
	"fmt"
	"image/color"
	"math"
	"strings"

	"finishbench/internal/part"
	"finishbench/internal/report/palette"
)

// Shape is the outline that stands for a kind of finding, in units of its own
// around (0,0), x right, y down.
type Shape struct {
	Name   string // in English, as a legend says it
	Paths  [][]part.Point
	Closed bool
	Inner  float64 // half the side of the largest clear square around (0,0)
}

// Of is the shape of a kind; words it does not know get an octagon.
func Of(k part.Kind) Shape {
	switch k {
	case part.Bubble:
		return closedShape("circle", polar(48, 0, func(float64) float64 { return 1 }))
	case part.Dust:
		return closedShape("diamond", pts(1, 0, 0, 1, -1, 0, 0, -1))
	case part.Fibre:
		return closedShape("hexagon", pts(1.15, 0, 0.55, 0.8, -0.55, 0.8, -1.15, 0, -0.55, -0.8, 0.55, -0.8))
	case part.Sanding:
		return closedShape("square", pts(-1, -1, 1, -1, 1, 1, -1, 1))
	case part.Crater:
		return closedShape("triangle, point up", pts(0, -1.35, 1.35, 1, -1.35, 1))
	case part.Run:
		return closedShape("triangle, point down", pts(0, 1.35, 1.35, -1, -1.35, -1))
	case part.OrangePeel:
		return closedShape("rosette", polar(96, 0, func(a float64) float64 { return 1 + 0.16*math.Cos(8*a) }))
	case part.Haze:
		return closedShape("house", pts(-1, 1, 1, 1, 1, -0.55, 0, -1.35, -1, -0.55))
	case part.Chip:
		return closedShape("trapezium", pts(-0.7, -1, 0.7, -1, 1.35, 1, -1.35, 1))
	case part.Missed:
		return closedShape("plus", pts(-0.6, -1.05, 0.6, -1.05, 0.6, -0.6, 1.05, -0.6, 1.05, 0.6, 0.6, 0.6,
			0.6, 1.05, -0.6, 1.05, -0.6, 0.6, -1.05, 0.6, -1.05, -0.6, -0.6, -0.6))
	case part.Step:
		return openShape("square brackets", pts(-0.5, -1, -1, -1, -1, 1, -0.5, 1), pts(0.5, -1, 1, -1, 1, 1, 0.5, 1))
	case part.Gap:
		return openShape("two arrowheads", pts(-1.6, -1, -1, 0, -1.6, 1), pts(1.6, -1, 1, 0, 1.6, 1))
	case part.Bead:
		arch := append(pts(1.1, 1), polar(33, math.Pi, func(float64) float64 { return 1.1 })...)
		return closedShape("arch", append(arch, part.Point{X: -1.1, Y: 1}))
	}
	return closedShape("octagon", polar(8, math.Pi/8, func(float64) float64 { return 1 }))
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

func closedShape(name string, p []part.Point) Shape {
	s := Shape{Name: name, Paths: [][]part.Point{p}, Closed: true}
	s.Inner = clearHalf(s)
	return s
}

func openShape(name string, p ...[]part.Point) Shape {
	s := Shape{Name: name, Paths: p}
	s.Inner = clearHalf(s)
	return s
}

// clearHalf walks along the outline and returns the smallest max(|x|,|y|): the
// half side of the largest square around (0,0) that no line enters.
func clearHalf(s Shape) float64 {
	best := math.Inf(1)
	for _, p := range s.Paths {
		n := len(p)
		for i := range p {
			if i == n-1 && !s.Closed {
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

// Extent is how far the shape reaches from (0,0) in x or y.
func (s Shape) Extent() float64 {
	e := 0.0
	for _, p := range s.Paths {
		for _, v := range p {
			e = max(e, math.Abs(v.X), math.Abs(v.Y))
		}
	}
	return e
}

// Around returns the shape's paths around box, with clear pixels free on each
// side of the box and no semi-axis smaller than least; and the area they
// cover.
func (s Shape) Around(b part.Box, clear, least float64) ([][]part.Point, part.Box) {
	c := b.Centre()
	rx, ry := max((b[2]/2+clear)/s.Inner, least), max((b[3]/2+clear)/s.Inner, least)
	rx, ry = max(rx, 0.45*ry), max(ry, 0.45*rx) // a shape drawn too flat is not known again
	out := make([][]part.Point, len(s.Paths))
	cover := part.Box{c.X, c.Y, 0, 0}
	for i, p := range s.Paths {
		q := make([]part.Point, len(p), len(p)+1)
		for j, v := range p {
			q[j] = part.Point{X: c.X + rx*v.X, Y: c.Y + ry*v.Y}
			cover = cover.Union(part.Box{q[j].X, q[j].Y, 0, 0})
		}
		if s.Closed {
			q = append(q, q[0])
		}
		out[i] = q
	}
	return out, cover
}

// Corners are the paths as pairs of x and y.
func (s Shape) Corners() [][][2]float64 {
	out := make([][][2]float64, len(s.Paths))
	for i, p := range s.Paths {
		for _, v := range p {
			out[i] = append(out[i], [2]float64{v.X, v.Y})
		}
	}
	return out
}

// SVGPath is the shape as an SVG path's d, scaled by r around (x,y).
func (s Shape) SVGPath(x, y, r float64) string {
	var b strings.Builder
	for _, p := range s.Paths {
		for i, v := range p {
			cmd := "L"
			if i == 0 {
				cmd = "M"
			}
			fmt.Fprintf(&b, "%s%.2f %.2f", cmd, x+r*v.X, y+r*v.Y)
		}
		if s.Closed {
			b.WriteString("Z")
		}
	}
	return b.String()
}

// Colour is the bright inner colour of a kind's mark; white for words it does not know. Shapes tell
// the kinds apart; colours repeat.
func Colour(k part.Kind) color.NRGBA {
	switch k {
	case part.Bubble, part.Haze:
		return palette.Sky
	case part.Dust, part.Missed:
		return palette.Yellow
	case part.Fibre, part.OrangePeel:
		return palette.Purple
	case part.Sanding, part.Bead:
		return palette.Orange
	case part.Crater, part.Gap:
		return palette.Green
	case part.Run, part.Chip, part.Step:
		return palette.Vermilion
	}
	return palette.White
}
