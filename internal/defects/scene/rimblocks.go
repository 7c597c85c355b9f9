package scene

import (
	"math"
)

// How the rim's unevenness is told and weighed; lengths in millimetres (common
// practice, no source).
const (
	rimBlockMM = 1.8  // blocks along the outline in which the rim's own unevenness is told,
	rimBandMM  = 0.12 // and across it
)

// setBlocks divides the rim into blocks.
func (f *Face) setBlocks() {
	s := f.Rim
	s.Block = make([]int32, len(f.Surface.Outside.V))
	for i := range s.Block {
		s.Block[i] = -1
	}
	bands := int(math.Ceil(RimDeepMM / rimBandMM))
	s.Around = max(8, int(2*math.Sqrt(math.Pi*f.Surface.Area)*f.MMPX/rimBlockMM+0.5))
	s.Blocks = bands * s.Around
	s.among = make([]amongBlocks, len(s.Pixels))
	s.placed = make([]int32, len(s.Block))
	for n, p := range s.Pixels {
		j, k := (p.Row+0.5)*float32(f.MMPX/rimBandMM), p.Col/float32(s.Cols)*float32(s.Around)
		s.Block[p.I] = int32(min(bands-1, int(j))*s.Around + min(s.Around-1, int(k)))
		s.placed[p.I] = int32(n)
		row, col := max(0, j-0.5), k-0.5 // in blocks, from the middle of the first
		if col < 0 {
			col += float32(s.Around)
		}
		a := &s.among[n]
		j0, k0, k1 := int(row), int(col)%s.Around, (int(col)+1)%s.Around
		a.u, a.v = col-float32(int(col)), row-float32(j0)
		j0 = min(j0, bands)
		j1 := min(j0+1, bands)
		for n, at := range [4]int{j0*s.Around + k0, j0*s.Around + k1, j1*s.Around + k0, j1*s.Around + k1} {
			a.block[n] = int32(at)
		}
	}
}

// amongBlocks is where a pixel of the rim lies among the middles of four blocks:
// two of one band, two of the next deeper one, u and v of the way. Deeper than the
// last band are blocks whose factors are 1.
type amongBlocks struct {
	block [4]int32
	u, v  float32
}

func (a *amongBlocks) of(factors []float32) float32 {
	return (factors[a.block[0]]*(1-a.u)+factors[a.block[1]]*a.u)*(1-a.v) + (factors[a.block[2]]*(1-a.u)+factors[a.block[3]]*a.u)*a.v
}

// Factor is a pixel's, given those of the rim's blocks (nil: 1 everywhere): between blocks' middles it is interpolated, and
// it fades to 1 where the rim ends.
func (s *Rim) Factor(factors []float32, i int) float32 {
	if s == nil || factors == nil || s.Block[i] < 0 {
		return 1
	}
	return s.among[s.placed[i]].of(factors)
}
