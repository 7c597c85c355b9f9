package compare

import (
	"math"

	"finishbench/internal/part"
)

// strip is a closed polygon as one row of places sees it.
type strip struct {
	y       float64
	within  float64
	crossed []float64       // where the row meets the polygon
	near    [][2]part.Point // the stretches that may come within so far of the row
}

// at moves the strip to another row; within is how near the border counts.
func (s *strip) at(poly []part.Point, y, within float64) {
	s.y, s.within, s.crossed, s.near = y, within, s.crossed[:0], s.near[:0]
	for i, a := range poly {
		b := poly[(i+1)%len(poly)]
		if (a.Y > y) != (b.Y > y) {
			s.crossed = append(s.crossed, a.X+(y-a.Y)/(b.Y-a.Y)*(b.X-a.X))
		}
		if min(a.Y, b.Y) <= y+within && max(a.Y, b.Y) >= y-within {
			s.near = append(s.near, [2]part.Point{a, b})
		}
	}
}

// inside says whether the place x of the row lies inside (see [part.Point.Inside]).
func (s *strip) inside(x float64) bool {
	in := false
	for _, c := range s.crossed {
		in = in != (x < c)
	}
	return in
}

// atBorder says whether it lies nearer to the border than what counts as near.
func (s *strip) atBorder(x float64) bool {
	for _, e := range s.near {
		if a, b := e[0], e[1]; min(a.X, b.X) > x+s.within || max(a.X, b.X) < x-s.within {
			continue
		}
		q := nearestOn(e[0], e[1], x, s.y)
		if math.Sqrt((x-q.X)*(x-q.X)+(s.y-q.Y)*(s.y-q.Y)) < s.within {
			return true
		}
	}
	return false
}

// nearestOn is the place on the stretch between a and b that is nearest.
func nearestOn(a, b part.Point, x, y float64) part.Point {
	dx, dy := b.X-a.X, b.Y-a.Y
	t := 0.0
	if n := dx*dx + dy*dy; n > 0 {
		t = max(0, min(1, ((x-a.X)*dx+(y-a.Y)*dy)/n))
	}
	return part.Point{X: a.X + t*dx, Y: a.Y + t*dy}
}

// middleOf is the middle of a closed polygon's area; of its points where that is
// nothing.
func middleOf(poly []part.Point) part.Point {
	var area, x, y, mx, my float64
	for i, a := range poly {
		b := poly[(i+1)%len(poly)]
		w := a.X*b.Y - b.X*a.Y
		area, x, y = area+w, x+w*(a.X+b.X), y+w*(a.Y+b.Y)
		mx, my = mx+a.X, my+a.Y
	}
	if math.Abs(area) < 1e-9 {
		n := math.Max(1, float64(len(poly)))
		return part.Point{X: mx / n, Y: my / n}
	}
	return part.Point{X: x / (3 * area), Y: y / (3 * area)}
}
