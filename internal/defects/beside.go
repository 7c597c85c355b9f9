package defects

import (
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// How far beside a lamp's image its light still reaches (common practice, no source).
const (
	besideMM    = 0.12 // beside a lamp's edge unevenness is told in bands of this,
	besideBands = 3    // so many: a JPEG's colour blocks and a lens's halo reach as far
)

// setBesideLamps tells how far off the edges of lamps' images lie, in the pictures of a view.
func (f *searchFace) setBesideLamps(whole *searchFace, v view) (err error) {
	f.beside = nil
	if f.p.Shell == nil {
		return nil
	}
	in, any := make([]uint8, len(whole.open)), false
	for i := range in {
		in[i] = 1
	}
	for _, pic := range v.pics {
		for i, why := range whole.why[pic] {
			if why == part.Mirrored {
				in[i], any = 0, true
			}
		}
	}
	if any {
		f.beside, err = newDistance(in, f.surf.w, f.surf.h)
	}
	return err
}

// tameBesideLamps scales a map of responses down, in place, beside the edges of lamps' images, where what
// reaches out of these (a JPEG's coding, a lens's halo, waves) makes it reach higher than elsewhere: the law of extremes, over cells
// along all edges, as in the rim. It returns the factor of each band; nil where there are no edges, or too short ones to tell. The map's
// pixels are down search pixels wide.
func (f *searchFace) tameBesideLamps(chi *part.Plane, down int) []float32 {
	if f.beside == nil {
		return nil
	}
	g := newCellGrid(chi.W, chi.H, max(4, int(calmMM/f.mmPX/float64(down)+0.5)))
	top, n := make([][]float64, besideBands+1), make([][]int, besideBands+1) // the last: far from any
	for b := range top {
		top[b], n[b] = make([]float64, g.nx*g.ny), make([]int, g.nx*g.ny)
	}
	band := besideMM / f.mmPX
	for y := range chi.H {
		for x := range chi.W {
			i := y*down*f.surf.w + x*down
			if f.surf.dist.V[i] <= 0 {
				continue
			}
			b := min(besideBands, int(float64(f.beside.V[i])/band))
			c := y/g.cell*g.nx + x/g.cell
			top[b][c] = max(top[b][c], float64(abs32(chi.V[y*chi.W+x])))
			n[b][c]++
		}
	}
	// A band fills about this share of a cell that an edge crosses; cells far from any are whole.
	share := besideMM / calmMM / 2
	limit := func(b int) (float64, bool) {
		least := int(share * float64(g.cell*g.cell))
		var m []float64
		for c, v := range top[b] {
			if n[b][c] >= least {
				m = append(m, v)
			}
		}
		if len(m) < fewCells {
			return 0, false
		}
		return robust.GumbelLimit(m, f.p.FalsePerFace, false), true
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
			chi.V[y*chi.W+x] *= f.tamedBeside(out, y*down*f.surf.w+x*down)
		}
	}
	return out
}

// tamedBeside is the factor of a search pixel beside lamps' images.
func (f *searchFace) tamedBeside(bands []float32, i int) float32 {
	if bands == nil {
		return 1
	}
	at := float64(f.beside.V[i])*f.mmPX/besideMM - 0.5
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
