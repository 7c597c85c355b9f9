package compare

import (
	"math"

	"finishbench/internal/part"
)

// insideBy is how far a point lies inside a closed polygon; below 0: outside.
func insideBy(poly []part.Point, x, y float64) float64 {
	nearest := math.Inf(1)
	for i, a := range poly {
		b := poly[(i+1)%len(poly)]
		q := nearestOn(a, b, x, y)
		if d := (x-q.X)*(x-q.X) + (y-q.Y)*(y-q.Y); d < nearest {
			nearest = d
		}
	}
	if !(part.Point{X: x, Y: y}).Inside(poly) {
		return -math.Sqrt(nearest)
	}
	return math.Sqrt(nearest)
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
