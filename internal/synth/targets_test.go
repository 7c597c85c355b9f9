package synth

import (
	"math"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// A disc of diameter 20.6 px covers 20.6^2 pi/4 px in whatever place.
func TestDrawnDiscHasItsArea(t *testing.T) {
	p := DefaultTarget()
	p.W, p.H, p.Dark, p.Light, p.BlurSigmaPX, p.NoiseSigma, p.Bits = 60, 50, 0, 0.5, 0, 0, 16
	p.Map = Flat(0.1, part.Point{X: 30.31, Y: 24.77}, 12)
	v, err := optics.Linear(Disc(p, 2.06), 0)
	if err != nil {
		t.Fatal(err)
	}
	area, mx, my := 0.0, 0.0, 0.0
	for i, l := range v.V {
		a := 1 - float64(l)/float64(v.V[0]) // the ground as quantised
		area += a
		mx += a * float64(i%60)
		my += a * float64(i/60)
	}
	if want := 20.6 * 20.6 * math.Pi / 4; math.Abs(area-want) > 0.01 {
		t.Errorf("area %.4f px, want %.4f", area, want)
	}
	if math.Abs(mx/area-30.31) > 1e-3 || math.Abs(my/area-24.77) > 1e-3 {
		t.Errorf("centre of area at %.4f, %.4f; want 30.31, 24.77", mx/area, my/area)
	}
}

// A rectangle that reaches out of the picture on two sides is cut there.
func TestFillClips(t *testing.T) {
	share := make([]float32, 10*8)
	fill(share, 10, 8, []part.Point{{X: -5, Y: -3}, {X: 3.25, Y: -3}, {X: 3.25, Y: 2}, {X: -5, Y: 2}})
	sum := 0.0
	for _, v := range share {
		sum += float64(v)
	}
	if want := 3.75 * 2.5; math.Abs(sum-want) > 1e-5 {
		t.Errorf("%.6f px covered, want %.6f", sum, want)
	}
}

// Tilted and Flat agree for a target square to an ideal lens.
func TestTiltedSquareOn(t *testing.T) {
	l := optics.Lens{FX: 1000, FY: 1000, CX: 320, CY: 240}
	a := Tilted(l, Placement{XMM: 3, YMM: 4, DistanceMM: 100, AboutDeg: 7})(5, -2)
	b := Flat(0.1, part.Point{X: 320, Y: 240}, 7)(2, -6)
	if math.Hypot(a.X-b.X, a.Y-b.Y) > 1e-9 {
		t.Errorf("%v and %v", a, b)
	}
}
