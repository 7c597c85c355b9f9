package optics_test

import (
	"math"
	"testing"

	"finishbench/internal/gauge/sensor"
	"finishbench/internal/optics"
	"finishbench/internal/synth"
)

// TestEdgesOfDrawnUnit: in drawn edge pictures, turned by 5 degrees, the straight
// edges before the lit panel (faceplate, holder) give back the blur they were
// drawn with: another way of drawing than this package's own tests.
func TestEdgesOfDrawnUnit(t *testing.T) {
	for _, sigma := range []float64{0.8, 1.4} {
		p := synth.DefaultEdge()
		p.TiltDeg, p.BlurSigmaPX, p.Flat = 5, sigma, true
		im, _ := synth.Edge(p)
		light, err := sensor.EdgeLight(im, false)
		if err != nil {
			t.Fatal(err)
		}
		found, err := optics.FindSlantedEdges(light, optics.DefaultFindOptions())
		if err != nil {
			t.Fatal(err)
		}
		m, u := optics.SharpnessOf(found)
		want := optics.MTF50OfSigma(sigma)
		t.Logf("sigma %g: %d edges, MTF50 %.4f +- %.4f, drawn %.4f", sigma, len(found), m, u, want)
		if math.Abs(m/want-1) > 0.015 || len(found) < 8 {
			t.Errorf("sigma %g: MTF50 %.4f, drawn %.4f", sigma, m, want)
		}
	}
}
