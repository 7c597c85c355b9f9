package scene

import (
	"math"
	"slices"

	"finishbench/internal/defects/pattern"
	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// lightOrder is the order of the surface of light: a near lamp's light falls off, and a
// crowned faceplate turns away from it, by more than the second order of the place.
const lightOrder = 3

// smoothLight fits a surface of the order lightOrder to the cells' medians (NaN: none)
// and returns its values in all cells: light falls off smoothly over a face, and a cell that a figure of
// the pattern fills is no part of it.
//
// On a shell it is a surface over the normal's components, of the order shellOrder.
func (f *Face) smoothLight(p *part.Plane) *part.Plane {
	order := lightOrder
	place := func(i int) (x, y float64) {
		return 2*float64(i%p.W)/float64(max(1, p.W-1)) - 1, 2*float64(i/p.W)/float64(max(1, p.H-1)) - 1
	}
	if f.Params.Shell != nil {
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
	fit[0] = raster.Median(slices.Clone(v))
	if len(v) >= 4*m { // else too few cells for a curved surface
		robust.Biweight{Rounds: 10, Least: 1e-9, Share: 1e-3}.Fit(fit, rows, v)
	}
	out := part.NewPlane(p.W, p.H)
	for i := range out.V {
		if out.V[i] = float32(pattern.Dot(fit, at[i])); out.V[i] != out.V[i] {
			out.V[i] = float32(fit[0]) // beside the shell
		}
	}
	return out
}
