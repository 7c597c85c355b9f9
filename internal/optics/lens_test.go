package optics

import (
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/part"
)

// Lenses of the kinds that matter: OpenCV's left camera (opencv
// modules/python/test/test_calibration.py), a plain one, a pincushion, and a
// strongly decentred one (both invented).
var someLenses = map[string]Lens{
	"left camera": {FX: 532.80992189, FY: 532.93346422, CX: 342.4952186, CY: 233.8879292,
		K1: -0.281325576, K2: 0.0291130406, P1: 0.0012123433, P2: -0.000140825372, K3: 0.154865844},
	"none":       {FX: 800, FY: 790, CX: 310, CY: 250},
	"pincushion": {FX: 700, FY: 700, CX: 320, CY: 240, K1: 0.2, K2: 0.05},
	"decentred":  {FX: 900, FY: 900, CX: 320, CY: 240, K1: -0.1, P1: 0.01, P2: -0.02},
}

func TestLensThereAndBack(t *testing.T) {
	for name, l := range someLenses {
		for y := 0.0; y <= 479; y += 479.0 / 16 {
			for x := 0.0; x <= 639; x += 639.0 / 16 {
				p := part.Point{X: x, Y: y}
				u, ok := l.UndistortPX(p)
				if !ok {
					t.Fatalf("%s: no ideal pixel for %v", name, p)
				}
				if b := l.DistortPX(u); math.Hypot(b.X-x, b.Y-y) > 1e-6 {
					t.Fatalf("%s: %v comes back as %v", name, p, b)
				}
				if v, ok := l.UndistortPX(l.DistortPX(p)); name != "left camera" && (!ok || math.Hypot(v.X-x, v.Y-y) > 1e-6) {
					t.Fatalf("%s: %v distorted and back is %v, %v", name, p, v, ok)
				}
			}
		}
	}
}

// A barrel lens r (1 - 0.5 r^2) rises to r = sqrt(2/3), where r' = 0.5443311
// (worked by hand): 817.5 px from the axis at 1000 px ideal, 544.3 in the picture.
func TestLensBeyondItsRange(t *testing.T) {
	l := Lens{FX: 1000, FY: 1000, CX: 500, CY: 500, K1: -0.5}
	if r := l.risingTo(); math.Abs(r-math.Sqrt(2.0/3)) > 1e-12 {
		t.Errorf("rises to %v", r)
	}
	if _, ok := l.UndistortPX(part.Point{X: 500 + 544.2, Y: 500}); !ok {
		t.Error("544.2 px from the axis has no ideal pixel")
	}
	for _, p := range []part.Point{{X: 500 + 544.5, Y: 500}, {X: -500, Y: 1700}, {X: math.NaN(), Y: 3}, {X: math.Inf(1), Y: 3}} {
		if got, ok := l.UndistortPX(p); ok {
			t.Errorf("%v has the ideal pixel %v", p, got)
		}
	}
}

// Whatever the lens, an answer is either refused or right.
func TestLensNeverWrong(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	answered := 0
	for range 20000 {
		l := Lens{FX: 500, FY: 500, K1: rng.NormFloat64(), K2: rng.NormFloat64(), K3: rng.NormFloat64(),
			P1: 0.02 * rng.NormFloat64(), P2: 0.02 * rng.NormFloat64()}
		p := part.Point{X: 400 * rng.NormFloat64(), Y: 400 * rng.NormFloat64()}
		u, ok := l.UndistortPX(p)
		if !ok {
			continue
		}
		answered++
		if b := l.DistortPX(u); !(math.Hypot(b.X-p.X, b.Y-p.Y) < 1e-6) {
			t.Fatalf("%+v: %v comes back as %v", l, p, b)
		}
		if math.Hypot(u.X, u.Y)/500 > l.risingTo()+1e-9 {
			t.Fatalf("%+v: %v answered beyond the rising part", l, p)
		}
	}
	if answered < 10000 {
		t.Errorf("only %d of 20000 answered", answered)
	}
}

func FuzzUndistort(f *testing.F) {
	f.Add(-0.28, 0.03, 0.15, 0.001, -0.0001, 100.0, 50.0)
	f.Add(-3.0, 0.0, 0.0, 0.0, 0.0, 1e6, -1e6)
	f.Add(0.0, 0.0, -1e300, 1e300, 0.0, 3.0, 4.0)
	f.Fuzz(func(t *testing.T, k1, k2, k3, p1, p2, x, y float64) {
		l := Lens{FX: 500, FY: 500, K1: k1, K2: k2, K3: k3, P1: p1, P2: p2}
		u, ok := l.UndistortPX(part.Point{X: x, Y: y})
		if ok && (math.IsNaN(u.X) || math.IsNaN(u.Y)) {
			t.Errorf("%+v: %v,%v answered with %v", l, x, y, u)
		}
	})
}
