package search

import (
	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// How far beside a lamp's image its light still reaches (common practice, no source).
const (
	besideMM    = 0.12 // beside a lamp's edge unevenness is told in bands of this,
	besideBands = 3    // so many: a JPEG's colour blocks and a lens's halo reach as far
)

// setBesideLamps tells how far off the edges of lamps' images lie, in the pictures of a view.
func (f *Face) setBesideLamps(whole *Face, v View) (err error) {
	f.beside = nil
	if f.Params.Shell == nil {
		return nil
	}
	in, any := make([]uint8, len(whole.Open)), false
	for i := range in {
		in[i] = 1
	}
	for _, pic := range v.Pics {
		for i, why := range whole.Why[pic] {
			if why == part.Mirrored {
				in[i], any = 0, true
			}
		}
	}
	if any {
		f.beside, err = raster.Distance(in, f.Surface.W, f.Surface.H)
	}
	return err
}

// tameBesideLamps scales a map of responses down, in place, beside the edges of lamps' images, where what
// reaches out of these (a JPEG's coding, a lens's halo, waves) makes it reach higher than elsewhere: the law of extremes, over cells
// along all edges, as in the rim. It returns the factor of each band; nil where there are no edges, or too short ones to tell. The map's
// pixels are down search pixels wide.
func (f *Face) tameBesideLamps(chi *part.Plane, down int) []float32 {
	if f.beside == nil {
		return nil
	}
	g := raster.NewGrid(chi.W, chi.H, max(4, int(calmMM/f.MMPX/float64(down)+0.5)))
	top, n := make([][]float64, besideBands+1), make([][]int, besideBands+1) // the last: far from any
	for b := range top {
		top[b], n[b] = make([]float64, g.NX*g.NY), make([]int, g.NX*g.NY)
	}
	band := besideMM / f.MMPX
	for y := range chi.H {
		for x := range chi.W {
			i := y*down*f.Surface.W + x*down
			if f.Surface.Dist.V[i] <= 0 {
				continue
			}
			b := min(besideBands, int(float64(f.beside.V[i])/band))
			c := y/g.Cell*g.NX + x/g.Cell
			top[b][c] = max(top[b][c], float64(raster.Abs(chi.V[y*chi.W+x])))
			n[b][c]++
		}
	}
	// A band fills about this share of a cell that an edge crosses; cells far from any are whole.
	share := besideMM / calmMM / 2
	limit := func(b int) (float64, bool) {
		least := int(share * float64(g.Cell*g.Cell))
		var m []float64
		for c, v := range top[b] {
			if n[b][c] >= least {
				m = append(m, v)
			}
		}
		if len(m) < minCells {
			return 0, false
		}
		return robust.GumbelLimit(m, f.Params.FalsePerFace, false), true
	}
	far, ok := limit(besideBands)
	if !ok {
		return nil
	}
	out := make([]float32, besideBands)
	for b := range out {
		out[b] = 1
		if own, ok := limit(b); ok && own > far {
			out[b] = float32(far / own)
		}
	}
	for y := range chi.H {
		for x := range chi.W {
			chi.V[y*chi.W+x] *= f.tamedBeside(out, y*down*f.Surface.W+x*down)
		}
	}
	return out
}

// tamedBeside is the factor of a search pixel beside lamps' images.
func (f *Face) tamedBeside(bands []float32, i int) float32 {
	if bands == nil {
		return 1
	}
	at := float64(f.beside.V[i])*f.MMPX/besideMM - 0.5
	k := int(max(0, at))
	u := float32(max(0, at) - float64(k))
	of := func(k int) float32 {
		if k >= besideBands {
			return 1
		}
		return bands[k]
	}
	return of(k)*(1-u) + of(k+1)*u
}
