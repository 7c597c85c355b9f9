package synth

import (
	"math"
	"testing"

	"finishbench/internal/part"
)

// A fault's steepest slope is the one asked for, none reaches beyond its box, and its height is the slopes
// summed up from outside to its middle. Expected values: by the definition of a slope.
func TestFlawsAreAsSteepAndHighAsTheySay(t *testing.T) {
	for _, k := range FlawKinds {
		f := Flaw{Kind: k, SizeMM: 0.9, SlopeRad: 0.02, Lost: 0.3, AngleDeg: 40}
		hx, hy := f.HalfMM()
		steepest, least := 0.0, 1.0
		const step = 0.002
		for y := -1.2; y < 1.2; y += step {
			for x := -1.2; x < 1.2; x += step {
				sx, sy, gloss := f.At(x, y)
				if s := math.Hypot(sx, sy); s > 0 {
					steepest = max(steepest, s)
					if math.Abs(x) > hx+step || math.Abs(y) > hy+step {
						t.Fatalf("%s: a slope of %g at %.2f, %.2f, outside its box of %.2f by %.2f", k, s, x, y, 2*hx, 2*hy)
					}
				}
				least = min(least, gloss)
			}
		}
		if k == part.Haze {
			if steepest != 0 || math.Abs(least-0.7) > 1e-3 {
				t.Errorf("haze: slope %g, gloss left %g", steepest, least)
			}
			continue
		}
		if math.Abs(steepest/0.02-1) > 0.01 || least != 1 {
			t.Errorf("%s: the steepest slope is %g, gloss left %g", k, steepest, least)
		}
		// The normal leans down the slope: going in along x, the surface rises by the lean.
		height := 0.0
		for x := hx + step/2; x > 0; x -= step {
			sx, _, _ := f.At(x, 0)
			height += 1000 * sx * step
		}
		if math.Abs(height/f.HeightUM()-1) > 0.02 {
			t.Errorf("%s: %.3f um high, it says %.3f", k, height, f.HeightUM())
		}
	}
}

// Orange peel has the root mean square slope asked for, to a tenth over a face.
func TestOrangePeelHasItsSlope(t *testing.T) {
	at, sum, n := OrangePeel(0.5, 0.003, 4), 0.0, 0.0
	for x := -10.0; x < 10; x += 0.07 {
		for y := -10.0; y < 10; y += 0.07 {
			sx, sy := at(x, y)
			sum, n = sum+sx*sx+sy*sy, n+1
		}
	}
	if rms := math.Sqrt(sum / n); math.Abs(rms/0.003-1) > 0.1 {
		t.Errorf("root mean square slope %g", rms)
	}
}
