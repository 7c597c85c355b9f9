package search

import (
	"math/rand/v2"
	"testing"

	"finishbench/internal/body"
	"finishbench/internal/defects/scene"
	"finishbench/internal/defects/surface"
	"finishbench/internal/part"
)

// TestTamedBesideLamps: where responses beside a lamp's edge reach higher than elsewhere all along it, they are scaled
// down there; where they do not, or in one place alone, as a defect's do, they stay. Values are drawn from one law, so what is
// expected needs no source.
func TestTamedBesideLamps(t *testing.T) {
	const w, h, edge = 900, 600, 300
	for name, c := range map[string]struct {
		times     float32 // by which responses beside the edge are larger
		from, to  int     // in these rows
		least, up float32
	}{
		"even":           {1, 0, h, 0.85, 1},
		"uneven":         {2, 0, h, 0.4, 0.8},
		"a defect alone": {4, 200, 230, 0.85, 1},
	} {
		dist, beside, chi := part.NewPlane(w, h), part.NewPlane(w, h), part.NewPlane(w, h)
		rng := rand.New(rand.NewPCG(5, 6))
		for i := range chi.V {
			x, y := i%w, i/w
			dist.V[i], beside.V[i], chi.V[i] = 1, float32(max(x-edge, edge-x)), float32(rng.NormFloat64())
			if beside.V[i] < 4 && y >= c.from && y < c.to {
				chi.V[i] *= c.times
			}
		}
		f := &Face{
			Face: scene.Face{Params: scene.DefaultParams(0.03), MMPX: 0.03,
				Surface: &surface.Surface{W: w, H: h, Dist: dist, Outside: dist}},
			beside: beside,
		}
		f.Params.Shell = &body.Seen{}
		got := f.tameBesideLamps(chi, 1)
		if len(got) != besideBands || got[0] < c.least || got[0] > c.up || got[besideBands-1] < 0.85 {
			t.Errorf("%s: factors %v", name, got)
		}
	}
}
