package outline_test

import (
	"math"
	"testing"

	"finishbench/internal/capture/outline"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// On patterned cloth, whose own edges are as strong as the plate's, the outline lies near the plate's, and not at a
// stripe of the cloth: 4 px in the mean, common practice, no source.
func TestFaceOnCloth(t *testing.T) {
	off := 0.0
	const n = 4
	for seed := uint64(1); seed <= n; seed++ {
		p := synth.DefaultFace()
		p.Seed, p.Pattern = seed, []string{"plain", "marble", "flake"}[seed%3]
		d, r, truth := synth.Face(p)
		d, r, err := synth.Alter(synth.Photographed{Diffuse: d, Raking: r, MMPerPX: p.MMPerPX, Outline: truth.Outline}, "cloth", seed)
		if err != nil {
			t.Fatal(err)
		}
		c, err := outline.Face([]*part.Image{d, r})
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
			continue
		}
		sum := 0.0
		for _, q := range c.Points() {
			near := math.Inf(1)
			for _, o := range truth.Outline {
				near = min(near, math.Hypot(q.X-o.X, q.Y-o.Y))
			}
			sum += near / float64(len(c.RadiusN))
		}
		t.Logf("seed %d, %s: %.1f px off", seed, p.Pattern, sum)
		off += sum / n
	}
	if off > 4 {
		t.Errorf("outlines on cloth are %.1f px off, mean", off)
	}
}
