package search

import (
	"math"

	"finishbench/internal/defects/pattern"
	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// minWeight is the share of a blurred pixel that must count for it to be told.
const minWeight = 0.25

// ratioAt returns the length of a look's values at one size, each scaled to unit
// noise at that size, over its threshold; and the threshold. The planes are
// averaged down to the size already; weight, averaged likewise, is the share of
// each pixel that counts (nil: all).
func (f *Face) ratioAt(planes []*part.Plane, weight *part.Plane, l *look, s scale) (*part.Plane, float32, error) {
	sigmaPX := s.sigmaMM / f.MMPX / float64(s.down)
	share := weight
	if weight != nil && sigmaPX > 0 {
		share = part.NewPlane(weight.W, weight.H)
		if err := raster.Gauss(share, weight, sigmaPX); err != nil {
			return nil, 0, err
		}
	}
	var out *part.Plane
	for k, p := range planes {
		q := p
		if sigmaPX > 0 {
			q = part.NewPlane(p.W, p.H)
			if err := raster.Gauss(q, p, sigmaPX); err != nil {
				return nil, 0, err
			}
		}
		if share != nil && sigmaPX > 0 {
			for i, w := range share.V {
				if w < minWeight {
					q.V[i] = 0
				} else {
					q.V[i] /= float32(math.Sqrt(float64(w)))
				}
			}
		}
		if s.ringMM > 0 {
			q = ringMean(q, s.ringMM/f.MMPX/float64(s.down))
		}
		if out == nil {
			out = part.NewPlane(q.W, q.H)
		}
		sd := f.spreadOf(q, share, s.down)
		if l.rows != nil {
			light, colour := codingShare(s)
			sd = max(sd, pattern.CodingFloor(l.rows[k], f.Palette.Coding, light, colour))
		}
		scale := 1 / float32(sd)
		sign := float32(0)
		if l.sign != nil {
			sign = l.sign[k]
		}
		for i, v := range q.V {
			if v*sign < 0 {
				continue
			}
			if v *= scale; len(planes) == 1 {
				out.V[i] = max(v, -v)
			} else {
				out.V[i] += v * v
			}
		}
	}
	if len(planes) > 1 {
		for i, v := range out.V {
			out.V[i] = float32(math.Sqrt(float64(v)))
		}
	}
	e, err := f.ease(out, s.down)
	if err != nil {
		return nil, 0, err
	}
	if s.down == 1 && s.sigmaMM == 0 {
		l.eased = e
	}
	t := f.threshold(out, s.down)
	inv := 1 / t
	for i := range out.V {
		out.V[i] *= inv
	}
	return out, t, nil
}

// codingShare is how much of the quantising's steps a size lets through: those
// of light change from pixel to pixel, those of colour come in patches.
func codingShare(s scale) (light, colour float64) {
	switch {
	case s.sigmaMM >= 0.1 || s.ringMM > 0:
		return 0.15, 0.5
	case s.sigmaMM >= 0.05:
		return 0.15, 1
	}
	return 1, 1
}

// spreadOf is a plane's noise at the sampled points: the scaled median of the
// absolute value, or a wider quantile's where the tails are heavier.
func (f *Face) spreadOf(q, share *part.Plane, down int) float64 {
	every := max(1, len(f.Points)/4000)
	a := make([]float32, 0, len(f.Points)/every+1)
	for k := 0; k < len(f.Points); k += every {
		x, y := f.Points[k]%f.Surface.W/down, f.Points[k]/f.Surface.W/down
		if x < q.W && y < q.H && (share == nil || share.V[y*q.W+x] >= minWeight) {
			a = append(a, raster.Abs(q.V[y*q.W+x]))
		}
	}
	if len(a) == 0 {
		return 1
	}
	mid, far := raster.Quantiles(a, 0.5, 0.95)
	return max(raster.MADToSD*float64(mid), float64(far)/1.96, 1e-6)
}

// threshold is the response that noise reaches somewhere on a face with the
// chance FalsePerFace.
func (f *Face) threshold(chi *part.Plane, down int) float32 {
	_, t := f.extremes(chi, down)
	return t
}

// extremes returns the largest value of the typical cell, and the value that
// only the share FalsePerFace of faces reaches anywhere. The largest values of
// cells follow Gumbel's law (Gumbel 1958, Statistics of Extremes); its place and
// scale come from the median and the third quartile of the cells, which few
// defects do not move.
func (f *Face) extremes(chi *part.Plane, down int) (typical, limit float32) {
	m := f.cellMaxima(chi, down)
	if len(m) < minCells {
		t := float32(f.Params.MinResponse * 1.5)
		return t / 2, t
	}
	allowed := f.Params.FalsePerFace
	if down > 1 {
		allowed /= 2 // there are more looks at large sizes
	}
	q50 := raster.Quantile(m, .5)
	return float32(q50), max(float32(robust.GumbelLimit(m, allowed, false)), float32(f.Params.MinResponse))
}

// minCells are too few to tell a limit by.
const minCells = 12

// cellMaxima are the largest values of the cells that the face fills.
func (f *Face) cellMaxima(chi *part.Plane, down int) []float64 {
	g := raster.NewGrid(chi.W, chi.H, max(4, f.Grid.Cell/down))
	top := make([]float32, g.NX*g.NY)
	full := make([]int, g.NX*g.NY)
	for y := range chi.H {
		dist := f.Surface.Dist.V[y*down*f.Surface.W:]
		for cx := range g.NX {
			c := y/g.Cell*g.NX + cx
			most, n, i := top[c], 0, cx*g.Cell*down
			for _, v := range chi.V[y*chi.W+cx*g.Cell : y*chi.W+min(chi.W, (cx+1)*g.Cell)] {
				if dist[i] > 0 {
					n++
					if v > most {
						most = v
					}
				}
				i += down
			}
			top[c] = most
			full[c] += n
		}
	}
	var m []float64
	for c := range top {
		if full[c] > g.Cell*g.Cell/2 {
			m = append(m, float64(top[c]))
		}
	}
	return m
}
