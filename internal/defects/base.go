package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// cellGrid is one value for each square cell of cell x cell working pixels.
type cellGrid struct {
	nx, ny, cell int
}

func newCellGrid(w, h, cell int) cellGrid {
	return cellGrid{nx: (w + cell - 1) / cell, ny: (h + cell - 1) / cell, cell: cell}
}

// medians returns the medians of v in each cell over the pixels whose distance from
// the outline exceeds from; NaN where there are too few.
func (g cellGrid) medians(v, dist *part.Plane, from float32) *part.Plane {
	out := part.NewPlane(g.nx, g.ny)
	var buf []float64
	const step = 2
	for cy := range g.ny {
		for cx := range g.nx {
			buf = buf[:0]
			for y := cy * g.cell; y < min(v.H, (cy+1)*g.cell); y += step {
				for x := cx * g.cell; x < min(v.W, (cx+1)*g.cell); x += step {
					if dist.V[y*v.W+x] > from {
						buf = append(buf, float64(v.V[y*v.W+x]))
					}
				}
			}
			out.V[cy*g.nx+cx] = float32(math.NaN())
			if len(buf) >= g.cell*g.cell/(step*step)*2/5 {
				out.V[cy*g.nx+cx] = float32(median(buf))
			}
		}
	}
	return out
}

// lightOrder is the order of the surface of light: a near lamp's light falls off, and a
// crowned faceplate turns away from it, by more than the second order of the place.
const lightOrder = 3

// smoothLight fits a surface of the order lightOrder to the cells' medians (NaN: none)
// and returns its values in all cells: light falls off smoothly over a face, and a cell that a figure of
// the pattern fills is no part of it.
//
// On a shell it is a surface over the normal's components, of the order shellOrder.
func (f *sceneFace) smoothLight(p *part.Plane) *part.Plane {
	order := lightOrder
	place := func(i int) (x, y float64) {
		return 2*float64(i%p.W)/float64(max(1, p.W-1)) - 1, 2*float64(i/p.W)/float64(max(1, p.H-1)) - 1
	}
	if f.p.Shell != nil {
		order = shellOrder
		place = func(i int) (x, y float64) { return f.normals[i][0], f.normals[i][1] }
	}
	var powers [][2]int
	for n := range order + 1 {
		for k := range n + 1 {
			powers = append(powers, [2]int{n - k, k})
		}
	}
	m := len(powers)
	terms := func(i int) []float64 {
		x, y := place(i)
		t := make([]float64, m)
		for k, e := range powers {
			t[k] = math.Pow(x, float64(e[0])) * math.Pow(y, float64(e[1]))
		}
		return t
	}
	at := make([][]float64, len(p.V))
	var v []float64
	var rows [][]float64
	for i, c := range p.V {
		at[i] = terms(i)
		if c == c && at[i][m-1] == at[i][m-1] { // cells with too little face hold NaN
			v, rows = append(v, float64(c)), append(rows, at[i])
		}
	}
	fit := make([]float64, m)
	fit[0] = median(slices.Clone(v))
	if len(v) >= 4*m { // else too few cells for a curved surface
		robust.Biweight{Rounds: 10, Least: 1e-9, Share: 1e-3}.Fit(fit, rows, v)
	}
	out := part.NewPlane(p.W, p.H)
	for i := range out.V {
		if out.V[i] = float32(dot(fit, at[i])); out.V[i] != out.V[i] {
			out.V[i] = float32(fit[0]) // beside the shell
		}
	}
	return out
}

// newSpread returns a grid's values as a plane of w x h pixels, bilinear between
// cell centres.
func (g cellGrid) newSpread(v *part.Plane, w, h int) (*part.Plane, error) {
	whole, err := newResized(v, g.nx*g.cell, g.ny*g.cell)
	if err != nil || whole.W == w && whole.H == h {
		return whole, err
	}
	out := part.NewPlane(w, h)
	for y := range h {
		copy(out.V[y*w:(y+1)*w], whole.V[y*whole.W:])
	}
	return out, nil
}
