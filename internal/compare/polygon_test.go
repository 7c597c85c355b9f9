package compare

import (
	"math"
	"testing"

	"finishbench/internal/part"
)

// Inside, and how far from the nearest stretch, asked of the whole polygon for each place.
func TestStrip(t *testing.T) {
	poly := drawn(func(int, int) [3]float64 { return [3]float64{} }).Outline
	poly[7].X += 30 // a spike
	var row strip
	inside, border := 0, 0
	for y := 20.25; y < 300; y += 7 {
		const within = 18.0
		row.at(poly, y, within)
		for x := 20.5; x < 380; x += 7 {
			nearest := math.Inf(1)
			for i, a := range poly {
				q := nearestOn(a, poly[(i+1)%len(poly)], x, y)
				nearest = min(nearest, math.Hypot(x-q.X, y-q.Y))
			}
			in, near := (part.Point{X: x, Y: y}).Inside(poly), nearest < within
			if row.inside(x) != in || row.atBorder(x) != near {
				t.Fatalf("at %g, %g: inside %v, at the border %v; want %v, %v", x, y, row.inside(x), row.atBorder(x), in, near)
			}
			if in {
				inside++
			}
			if near {
				border++
			}
		}
	}
	if inside < 100 || border < 100 {
		t.Errorf("%d places inside, %d at the border: too few to tell", inside, border)
	}
}
