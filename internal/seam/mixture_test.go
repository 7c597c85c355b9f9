package seam

import (
	"math"
	"testing"

	"finishbench/internal/optics"
)

// A pixel covered by a third holds a third of the unit's light in each channel
// (that is what light does); read as luma and taken back, it must say a third.
func TestMixture(t *testing.T) {
	panel, unit := [3]float64{0.9, 0.88, 0.86}, [3]float64{0.55, 0.06, 0.07}
	luma := func(share float64) float64 {
		v := 0.0
		for ch, w := range [3]float64{0.299, 0.587, 0.114} { // ITU-R BT.601-7, 2.5.1
			v += w * optics.LinearToSRGB(panel[ch]+(unit[ch]-panel[ch])*share)
		}
		return optics.SRGBToLinear(v)
	}
	m := newMixture(panel, unit)
	for _, share := range []float64{0, 0.1, 1.0 / 3, 0.5, 0.77, 1} {
		near(t, "share of the unit", (m.right(luma(share))-luma(0))/(luma(1)-luma(0)), share, 2e-3)
	}
	if plain := (luma(0.5) - luma(0)) / (luma(1) - luma(0)); math.Abs(plain-0.5) < 0.03 {
		t.Errorf("untreated, half says %.3f: the test proves nothing", plain)
	}
	for _, beyond := range []float64{luma(0) + 0.05, luma(1) - 0.01} {
		if v := m.right(beyond); v != beyond {
			t.Errorf("a level beyond both colours, %g, became %g", beyond, v)
		}
	}
}
