package defects

import (
	"math"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// How the rim's unevenness is told and weighed; lengths in millimetres (common
// practice, no source).
const (
	rimBlockMM      = 1.8  // blocks along the outline in which the rim's own unevenness is told,
	rimBandMM       = 0.12 // and across it
	rimDoubt        = 1.25 // and what is left has to stand out so many times as far as on the face
	rimPatternDoubt = 1.6  // where there is a pattern, whose contrast the rim's shading changes,
	rimFilledDoubt  = 3.2  // and where it leaves no ground
)

// setBlocks divides the rim into blocks.
func (f *sceneFace) setBlocks() {
	s := f.rim
	s.block = make([]int32, len(f.surf.outside.V))
	for i := range s.block {
		s.block[i] = -1
	}
	bands := int(math.Ceil(rimDeepMM / rimBandMM))
	s.around = max(8, int(2*math.Sqrt(math.Pi*f.surf.area)*f.mmPX/rimBlockMM+0.5))
	s.blocks = bands * s.around
	s.among = make([]amongBlocks, len(s.pixels))
	s.placed = make([]int32, len(s.block))
	for n, p := range s.pixels {
		j, k := (p.row+0.5)*float32(f.mmPX/rimBandMM), p.col/float32(s.cols)*float32(s.around)
		s.block[p.i] = int32(min(bands-1, int(j))*s.around + min(s.around-1, int(k)))
		s.placed[p.i] = int32(n)
		row, col := max(0, j-0.5), k-0.5 // in blocks, from the middle of the first
		if col < 0 {
			col += float32(s.around)
		}
		a := &s.among[n]
		j0, k0, k1 := int(row), int(col)%s.around, (int(col)+1)%s.around
		a.u, a.v = col-float32(int(col)), row-float32(j0)
		j0 = min(j0, bands)
		j1 := min(j0+1, bands)
		for n, at := range [4]int{j0*s.around + k0, j0*s.around + k1, j1*s.around + k0, j1*s.around + k1} {
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

// tame scales a map of responses down, in place, in blocks of the rim that are
// more uneven than the face, and returns the factors: what the rim's base did not
// follow is no defect. Neither the median nor the third quartile of a block moves
// with what fills a small part of it. The map's pixels are down search pixels wide.
func (f *searchFace) tame(chi *part.Plane, down int) []float32 {
	s := f.rim
	if s == nil {
		return nil
	}
	every := max(1, len(f.points)/4000)
	inner := make([]float32, 0, len(f.points)/every+1)
	for k := 0; k < len(f.points); k += every {
		x, y := f.points[k]%f.surf.w/down, f.points[k]/f.surf.w/down
		if x < chi.W && y < chi.H {
			inner = append(inner, abs32(chi.V[y*chi.W+x]))
		}
	}
	mid, high := quantiles(inner, 0.5, 0.75)
	_, face := f.extremes(chi, down)
	top := make([]float32, s.blocks)
	out := make([]float32, s.blocks+s.around)
	for k := range s.around {
		out[s.blocks+k] = 1
	}
	var some []float32
	for b, pixels := range f.rimPixels[down] {
		out[b] = 1
		if len(pixels) < 8 {
			continue
		}
		some = some[:0]
		step := max(1, len(pixels)/300)
		most := float32(0)
		for k, i := range pixels {
			v := abs32(chi.V[i])
			most = max(most, v)
			if k%step == 0 {
				some = append(some, v)
			}
		}
		own, ownHigh := quantiles(some, 0.5, 0.75)
		out[b] = float32(min(1, (float64(mid)+still)/(float64(own)+still), (float64(high)+still)/(float64(ownHigh)+still)))
		top[b] = out[b] * most
	}
	f.tameBands(top, out, face)
	doubt := float32(rimDoubt)
	if f.filled {
		doubt = rimFilledDoubt
	} else if f.woven || len(f.pal.axis) > 0 {
		doubt = rimPatternDoubt
	}
	for b := range out[:s.blocks] {
		out[b] /= doubt
	}
	for y := range chi.H {
		blocks := s.block[y*down*f.surf.w:]
		for x := range chi.V[y*chi.W : (y+1)*chi.W] {
			if blocks[x*down] >= 0 {
				chi.V[y*chi.W+x] *= s.factor(out, y*down*f.surf.w+x*down)
			}
		}
	}
	return out
}

// still is a response that counts as none, in standard deviations: a map may be 0 nearly
// everywhere (common practice, no source).
const still = 0.05

// setRimPixels lists for each block of the rim the pixels that are looked at, of
// maps whose pixels are 1 or 2 search pixels wide.
func (f *searchFace) setRimPixels() {
	if f.rim == nil {
		return
	}
	f.rimPixels = map[int][][]int32{}
	for _, down := range [2]int{1, 2} {
		w, h := f.surf.w/down, f.surf.h/down
		in := make([][]int32, f.rim.blocks)
		for y := range h {
			for x := range w {
				i := y*down*f.surf.w + x*down
				if b := f.rim.block[i]; b >= 0 && f.surf.dist.V[i] > 0 {
					in[b] = append(in[b], int32(y*w+x))
				}
			}
		}
		f.rimPixels[down] = in
	}
}

// tameBands scales the factors of the rim's bands down where what the rim leaves
// all around reaches higher than what the face does: the same law of extremes as
// on the face, over the blocks along each band. top is the largest of each block,
// 0 where it has too little.
func (f *searchFace) tameBands(top, factors []float32, face float32) {
	s := f.rim
	bands := s.blocks / s.around
	for band := range bands {
		var m []float64
		for _, v := range top[band*s.around : (band+1)*s.around] {
			if v > 0 {
				m = append(m, float64(v))
			}
		}
		if len(m) < 8 {
			continue
		}
		scale := min(1, face/float32(robust.GumbelLimit(m, f.p.FalsePerFace/float64(bands), false)))
		for b := band * s.around; b < (band+1)*s.around; b++ {
			factors[b] *= scale
		}
	}
}

// factor is a pixel's, given those of the rim's blocks (nil: 1 everywhere): between blocks' middles it is interpolated, and
// it fades to 1 where the rim ends.
func (s *rim) factor(factors []float32, i int) float32 {
	if s == nil || factors == nil || s.block[i] < 0 {
		return 1
	}
	return s.among[s.placed[i]].of(factors)
}
