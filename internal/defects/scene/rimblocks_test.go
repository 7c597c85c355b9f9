package scene

import (
	"math"
	"testing"

	"finishbench/internal/defects/surface"
	"finishbench/internal/part"
)

// TestTamedBetweenBlocks: a rim pixel's factor in a block's middle is the block's own,
// half-way to the next the mean of both, and past the last band it fades to 1.
func TestTamedBetweenBlocks(t *testing.T) {
	f := &Face{MMPX: rimBandMM, Surface: &surface.Surface{Area: 1e4 / math.Pi, Outside: part.NewPlane(10, 1)}} // a pixel is a band deep
	f.Rim = &Rim{Strip: &surface.Strip{Cols: 1000, Rows: 13}}
	block := 1000 / float32(max(8, int(2*math.Sqrt(1e4)*rimBandMM/rimBlockMM+0.5))) // columns of one
	for i, p := range [][2]float32{{0.5 * block, 0}, {block, 0}, {0.5 * block, 0.5}, {0.5 * block, 12}} {
		f.Rim.Pixels = append(f.Rim.Pixels, surface.RimPX{I: int32(i), Col: p[0], Row: p[1]})
	}
	f.setBlocks()
	factors := make([]float32, f.Rim.Blocks+f.Rim.Around)
	for b := range factors {
		factors[b] = 1
	}
	factors[0], factors[1], factors[f.Rim.Around], factors[12*f.Rim.Around] = 0.2, 0.6, 0.4, 0.5
	for i, want := range []float32{0.2, 0.4, 0.3, 0.5} {
		if got := f.Rim.Factor(factors, i); math.Abs(float64(got-want)) > 1e-5 {
			t.Errorf("pixel %d: factor %.3f, want %.3f", i, got, want)
		}
	}
}
