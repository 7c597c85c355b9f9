package raster

import (
	"math"

	"finishbench/internal/part"
)

// Grid is one value for each square cell of cell x cell working pixels.
type Grid struct {
	NX, NY, Cell int
}

// NewGrid divides w x h pixels into cells; the last ones may reach over the sides.
func NewGrid(w, h, cell int) Grid {
	return Grid{NX: (w + cell - 1) / cell, NY: (h + cell - 1) / cell, Cell: cell}
}

// Medians returns the medians of v in each cell over the pixels whose distance from
// the outline exceeds from; NaN where there are too few.
func (g Grid) Medians(v, dist *part.Plane, from float32) *part.Plane {
	out := part.NewPlane(g.NX, g.NY)
	var buf []float64
	const step = 2
	for cy := range g.NY {
		for cx := range g.NX {
			buf = buf[:0]
			for y := cy * g.Cell; y < min(v.H, (cy+1)*g.Cell); y += step {
				for x := cx * g.Cell; x < min(v.W, (cx+1)*g.Cell); x += step {
					if dist.V[y*v.W+x] > from {
						buf = append(buf, float64(v.V[y*v.W+x]))
					}
				}
			}
			out.V[cy*g.NX+cx] = float32(math.NaN())
			if len(buf) >= g.Cell*g.Cell/(step*step)*2/5 {
				out.V[cy*g.NX+cx] = float32(Median(buf))
			}
		}
	}
	return out
}

// Spread returns a grid's values as a plane of w x h pixels, bilinear between
// cell centres.
func (g Grid) Spread(v *part.Plane, w, h int) (*part.Plane, error) {
	whole, err := Resized(v, g.NX*g.Cell, g.NY*g.Cell)
	if err != nil || whole.W == w && whole.H == h {
		return whole, err
	}
	out := part.NewPlane(w, h)
	for y := range h {
		copy(out.V[y*w:(y+1)*w], whole.V[y*whole.W:])
	}
	return out, nil
}
