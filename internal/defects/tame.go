package defects

import (
	"math"

	"finishbench/internal/part"
	"finishbench/internal/robust"
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
func (f *face) setBlocks() {
	s := f.rim
	s.block = make([]int32, len(f.surf.outside.V))
	for i := range s.block {
		s.block[i] = -1
	}
	s.place = make([]float32, 2*len(s.block))
	bands := int(math.Ceil(rimDeepMM / rimBandMM))
	s.around = max(8, int(2*math.Sqrt(math.Pi*f.surf.area)*f.mmPX/rimBlockMM+0.5))
	s.blocks = bands * s.around
	for _, p := range s.pixels {
		j, k := (p.row+0.5)*float32(f.mmPX/rimBandMM), p.col/float32(s.cols)*float32(s.around)
		s.block[p.i] = int32(min(bands-1, int(j))*s.around + min(s.around-1, int(k)))
		s.place[2*p.i], s.place[2*p.i+1] = j, k
	}
}

// tame scales a map of responses down, in place, in blocks of the rim that are
// more uneven than the face, and returns the factors: what the rim's base did not
// follow is no defect. Neither the median nor the third quartile of a block moves
// with what fills a small part of it. The map's pixels are down search pixels wide.
func (f *face) tame(chi *part.Plane, down int) []float32 {
	s := f.rim
	if s == nil {
		return nil
	}
	every := max(1, len(f.points)/4000)
	inner := make([]float64, 0, len(f.points)/every+1)
	for k := 0; k < len(f.points); k += every {
		x, y := f.points[k]%f.surf.w/down, f.points[k]/f.surf.w/down
		if x < chi.W && y < chi.H {
			inner = append(inner, float64(abs32(chi.V[y*chi.W+x])))
		}
	}
	mid, high := quantile(inner, 0.5), quantile(inner, 0.75)
	_, face := f.extremes(chi, down)
	top := make([]float32, s.blocks)
	out := make([]float32, s.blocks)
	var some []float64
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
				some = append(some, float64(v))
			}
		}
		out[b] = float32(min(1, (mid+still)/(quantile(some, 0.5)+still), (high+still)/(quantile(some, 0.75)+still)))
		top[b] = out[b] * most
	}
	f.tameBands(top, out, face)
	doubt := float32(rimDoubt)
	if f.filled {
		doubt = rimFilledDoubt
	} else if f.woven || len(f.pal.axis) > 0 {
		doubt = rimPatternDoubt
	}
	for b := range out {
		out[b] /= doubt
	}
	for y := range chi.H {
		for x := range chi.W {
			if i := y*down*f.surf.w + x*down; s.block[i] >= 0 {
				chi.V[y*chi.W+x] *= f.tamed(out, i)
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
func (f *face) setRimPixels() {
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
func (f *face) tameBands(top, factors []float32, face float32) {
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

// tamed is the factor of a pixel: between blocks' middles it is interpolated, and
// it fades where the rim ends.
func (f *face) tamed(factors []float32, i int) float32 {
	s := f.rim
	if s == nil || factors == nil || s.block[i] < 0 {
		return 1
	}
	bands := s.blocks / s.around
	row, col := s.place[2*i]-0.5, s.place[2*i+1]-0.5 // in blocks, from the middle of the first
	j := int(max(0, row))
	v := max(0, row) - float32(j)
	if col < 0 {
		col += float32(s.around)
	}
	k := int(col)
	u := col - float32(k)
	at := func(j, k int) float32 {
		if j >= bands {
			return 1
		}
		return factors[j*s.around+k%s.around]
	}
	return (at(j, k)*(1-u)+at(j, k+1)*u)*(1-v) + (at(j+1, k)*(1-u)+at(j+1, k+1)*u)*v
}
