package optics_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Strips so narrow that the light beside an edge is nowhere even: nothing is
// measured that has no room, and nothing breaks.
func TestFindAmongNarrowStrips(t *testing.T) {
	const w, h = 200, 160
	o := optics.DefaultFindOptions()
	for _, seed := range []uint64{48, 102, 109, 142, 169, 215, 248, 298} {
		r := rand.New(rand.NewPCG(seed, 0))
		p := part.NewPlane(w, h)
		for i := range p.V {
			p.V[i] = 0.5
		}
		slope, x0 := 0.04+0.12*r.Float64(), 60.0
		for range 5 {
			width, level, blur := 6+20*r.Float64(), r.Float64(), 0.5+2*r.Float64()
			for y := range h {
				for x := range w {
					s := math.Erfc(-(float64(x)-x0-slope*float64(y))/blur) / 2
					v := &p.V[y*w+x]
					*v = float32(float64(*v)*(1-s) + level*s)
				}
			}
			x0 += width
		}
		for i := range p.V {
			p.V[i] += float32(0.005 * r.NormFloat64())
		}
		edges, err := optics.FindSlantedEdges(p, o)
		for _, e := range edges {
			if err != nil || !(e.HalfPX >= 4 && e.HalfPX <= o.MostHalf) || !(e.MTF50CyPX > 0) {
				t.Errorf("seed %d: an edge with %g px beside it, MTF50 %g, %v", seed, e.HalfPX, e.MTF50CyPX, err)
			}
		}
	}
}
