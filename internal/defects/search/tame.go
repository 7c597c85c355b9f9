package search

import (
	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// How the rim's unevenness is told and weighed; lengths in millimetres (common
// practice, no source).
const (
	rimDoubt        = 1.25 // and what is left has to stand out so many times as far as on the face
	rimPatternDoubt = 1.6  // where there is a pattern, whose contrast the rim's shading changes,
	rimFilledDoubt  = 3.2  // and where it leaves no ground
)

// tame scales a map of responses down, in place, in blocks of the rim that are
// more uneven than the face, and returns the factors: what the rim's base did not
// follow is no defect. Neither the median nor the third quartile of a block moves
// with what fills a small part of it. The map's pixels are down search pixels wide.
func (f *Face) tame(chi *part.Plane, down int) []float32 {
	s := f.Rim
	if s == nil {
		return nil
	}
	every := max(1, len(f.Points)/4000)
	inner := make([]float32, 0, len(f.Points)/every+1)
	for k := 0; k < len(f.Points); k += every {
		x, y := f.Points[k]%f.Surface.W/down, f.Points[k]/f.Surface.W/down
		if x < chi.W && y < chi.H {
			inner = append(inner, raster.Abs(chi.V[y*chi.W+x]))
		}
	}
	mid, high := raster.Quantiles(inner, 0.5, 0.75)
	_, face := f.extremes(chi, down)
	top := make([]float32, s.Blocks)
	out := make([]float32, s.Blocks+s.Around)
	for k := range s.Around {
		out[s.Blocks+k] = 1
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
			v := raster.Abs(chi.V[i])
			most = max(most, v)
			if k%step == 0 {
				some = append(some, v)
			}
		}
		own, ownHigh := raster.Quantiles(some, 0.5, 0.75)
		out[b] = float32(min(1, (float64(mid)+still)/(float64(own)+still), (float64(high)+still)/(float64(ownHigh)+still)))
		top[b] = out[b] * most
	}
	f.tameBands(top, out, face)
	doubt := float32(rimDoubt)
	if f.filled {
		doubt = rimFilledDoubt
	} else if f.Woven || len(f.Palette.Axes) > 0 {
		doubt = rimPatternDoubt
	}
	for b := range out[:s.Blocks] {
		out[b] /= doubt
	}
	for y := range chi.H {
		blocks := s.Block[y*down*f.Surface.W:]
		for x := range chi.V[y*chi.W : (y+1)*chi.W] {
			if blocks[x*down] >= 0 {
				chi.V[y*chi.W+x] *= s.Factor(out, y*down*f.Surface.W+x*down)
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
func (f *Face) setRimPixels() {
	if f.Rim == nil {
		return
	}
	f.rimPixels = map[int][][]int32{}
	for _, down := range [2]int{1, 2} {
		w, h := f.Surface.W/down, f.Surface.H/down
		in := make([][]int32, f.Rim.Blocks)
		for y := range h {
			for x := range w {
				i := y*down*f.Surface.W + x*down
				if b := f.Rim.Block[i]; b >= 0 && f.Surface.Dist.V[i] > 0 {
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
func (f *Face) tameBands(top, factors []float32, face float32) {
	s := f.Rim
	bands := s.Blocks / s.Around
	for band := range bands {
		var m []float64
		for _, v := range top[band*s.Around : (band+1)*s.Around] {
			if v > 0 {
				m = append(m, float64(v))
			}
		}
		if len(m) < 8 {
			continue
		}
		scale := min(1, face/float32(robust.GumbelLimit(m, f.Params.FalsePerFace/float64(bands), false)))
		for b := band * s.Around; b < (band+1)*s.Around; b++ {
			factors[b] *= scale
		}
	}
}
