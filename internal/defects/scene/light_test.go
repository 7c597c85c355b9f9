package scene

import (
	"math"
	"testing"

	"finishbench/internal/part"
)

// A surface of second order comes back from its cells, also where a fifth of
// them hold a figure of the pattern and others no face at all.
func TestSmoothLight(t *testing.T) {
	const w, h = 20, 16
	light := func(x, y int) float64 {
		u, v := float64(x)/(w-1)-0.5, float64(y)/(h-1)-0.5
		return 0.3 - 0.05*u + 0.03*v - 0.12*u*u + 0.02*u*v - 0.09*v*v
	}
	p := part.NewPlane(w, h)
	for y := range h {
		for x := range w {
			i := y*w + x
			p.V[i] = float32(light(x, y))
			switch {
			case (x*7+y*3)%5 == 0:
				p.V[i] += 0.15 // a flake fills the cell
			case math.Hypot(float64(x)-9.5, (float64(y)-7.5)*1.2) > 9.5:
				p.V[i] = float32(math.NaN())
			}
		}
	}
	got := (&Face{}).smoothLight(p)
	for y := range h {
		for x := range w {
			if math.Abs(float64(got.V[y*w+x])/light(x, y)-1) > 0.002 {
				t.Fatalf("cell %d,%d: %v, drawn with %v", x, y, got.V[y*w+x], light(x, y))
			}
		}
	}
}

// Few cells: their median everywhere, and no cell at all is no panic.
func TestSmoothLightOfFew(t *testing.T) {
	nan := float32(math.NaN())
	if got := (&Face{}).smoothLight(&part.Plane{W: 3, H: 1, V: []float32{2, nan, 2}}); got.V[1] != 2 {
		t.Errorf("between two cells of 2 lies %v", got.V[1])
	}
	(&Face{}).smoothLight(&part.Plane{W: 2, H: 1, V: []float32{nan, nan}})
}
