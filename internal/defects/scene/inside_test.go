package scene

import (
	"math"
	"testing"

	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
)

// TestFacetMedian: in a facet's corner its base is its own light, which a median over all around is not, and dust in it is no part of it.
// The levels are drawn.
func TestFacetMedian(t *testing.T) {
	const w, h, dark, pale = 80, 80, 0.1, 0.4
	p, corner, dist := part.NewPlane(w, h), make([]bool, w*h), part.NewPlane(w, h)
	for i := range p.V {
		p.V[i], dist.V[i] = dark, 1
		if corner[i] = i%w >= 40 && i/w >= 40; corner[i] {
			p.V[i] = pale
		}
	}
	dust := 50*w + 50
	p.V[dust] = dark
	f := &Face{MMPX: 0.03}
	base, err := f.facetMedian(p, raster.Regions(corner, w, h))
	if err != nil {
		t.Fatal(err)
	}
	all, err := localMedian(p, dist, insideBaseMM/f.MMPX)
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range []int{41*w + 41, dust} {
		if d := base.V[i] - pale; d > 0.01 || d < -0.01 {
			t.Errorf("at %d,%d the facet's base is %g, not %g", i%w, i/w, base.V[i], pale)
		}
	}
	if k := 41*w + 41; all.V[k] > (dark+pale)/2 {
		t.Errorf("the median over all around keeps the corner: %g", all.V[k])
	}
}

// TestEdgesMiddle: of a soft edge just its middle is a ridge of its gradient.
func TestEdgesMiddle(t *testing.T) {
	const w, h = 40, 9
	for _, to := range [][2]float32{{1, 0}, {-1, 0}, {1, 0.3}} {
		grad := make([]float32, w*h)
		for i := range grad {
			d := float64(i%w - 17)
			grad[i] = float32(math.Exp(-d * d / 50))
		}
		for x := 1; x < w-1; x++ {
			if got := isRidge(grad, to, 4*w+x, w); got != (x == 17) {
				t.Errorf("across %v: at %d a ridge: %v", to, x, got)
			}
		}
	}
}
