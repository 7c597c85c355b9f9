package synth

import (
	"math"
	"testing"
)

// Grooves slope across themselves alone, by as much as is told, and are a surface's: the slope along x
// changes along y as that along y does along x. Closed forms.
func TestGroovesAreAsTold(t *testing.T) {
	for _, g := range []Grooves{
		{AngleDeg: 25, SlopeRad: 0.002, FromMM: 0.3, ToMM: 0.3},
		{AngleDeg: 140, SlopeRad: 0.001, FromMM: 0.15, ToMM: 0.4, Seed: 4},
		{AngleDeg: 70, SpreadDeg: 2, SlopeRad: 0.001, FromMM: 0.2, ToMM: 0.4, X: 0.5, Y: -0.5, RadiusMM: 1, Seed: 5},
	} {
		s := g.Slope()
		sin, cos := math.Sincos(g.AngleDeg * math.Pi / 180)
		across, along, n := 0.0, 0.0, 0.0
		const e = 1e-5
		for k := range 200 * 200 {
			x, y := float64(k%200)*0.03-3, float64(k/200)*0.03-3
			sx, sy := s(x, y)
			r := math.Hypot(x-g.X, y-g.Y)
			if g.RadiusMM > 0 && r > g.RadiusMM+grooveEdgeMM && (sx != 0 || sy != 0) {
				t.Fatalf("%+v: a slope %.2f mm off the middle", g, r)
			}
			_, right := s(x+e, y)
			up, _ := s(x, y+e)
			if math.Abs((right-sy)/e-(up-sx)/e) > 1e-2*g.SlopeRad/g.FromMM*2*math.Pi {
				t.Fatalf("%+v: no surface at %.2f, %.2f: %g and %g", g, x, y, (right-sy)/e, (up-sx)/e)
			}
			if g.RadiusMM == 0 || r < g.RadiusMM {
				a, b := sy*cos-sx*sin, sx*cos+sy*sin
				across, along, n = across+a*a, along+b*b, n+1
			}
		}
		if rms := math.Sqrt(across / n); g.RadiusMM == 0 && math.Abs(rms/g.SlopeRad-1) > 0.15 || along > 0.01*across {
			t.Errorf("%+v: %.5f rad across, %.5f along", g, rms, math.Sqrt(along/n))
		}
	}
}
