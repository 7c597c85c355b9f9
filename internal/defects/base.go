package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"
)

// cellGrid is one value for each square cell of cell x cell working pixels.
type cellGrid struct {
	nx, ny, cell int
}

func newCellGrid(w, h, cell int) cellGrid {
	return cellGrid{nx: (w + cell - 1) / cell, ny: (h + cell - 1) / cell, cell: cell}
}

// medians returns the median of v in each cell over the pixels whose distance
// from the outline exceeds from; cells with too few take the mean of their
// neighbours'.
func (g cellGrid) medians(v, dist *part.Plane, from float32) *part.Plane {
	out := part.NewPlane(g.nx, g.ny)
	var buf []float32
	const step = 2
	for cy := range g.ny {
		for cx := range g.nx {
			buf = buf[:0]
			for y := cy * g.cell; y < min(v.H, (cy+1)*g.cell); y += step {
				for x := cx * g.cell; x < min(v.W, (cx+1)*g.cell); x += step {
					if dist.V[y*v.W+x] > from {
						buf = append(buf, v.V[y*v.W+x])
					}
				}
			}
			out.V[cy*g.nx+cx] = float32(math.NaN())
			if len(buf) >= g.cell*g.cell/(step*step)*2/5 {
				slices.Sort(buf)
				out.V[cy*g.nx+cx] = buf[len(buf)/2]
			}
		}
	}
	fillFromNeighbours(out)
	return median3x3(out)
}

// median3x3 takes each value's median with its eight neighbours: a cell that a
// figure of the pattern fills does not stand alone.
func median3x3(p *part.Plane) *part.Plane {
	out := part.NewPlane(p.W, p.H)
	var buf []float32
	for y := range p.H {
		for x := range p.W {
			buf = buf[:0]
			for yy := max(0, y-1); yy <= min(p.H-1, y+1); yy++ {
				for xx := max(0, x-1); xx <= min(p.W-1, x+1); xx++ {
					buf = append(buf, p.V[yy*p.W+xx])
				}
			}
			slices.Sort(buf)
			out.V[y*p.W+x] = buf[len(buf)/2]
		}
	}
	return out
}

// fillFromNeighbours gives cells without a value the mean of their neighbours
// with one, ring by ring.
func fillFromNeighbours(p *part.Plane) {
	for range p.W + p.H {
		old := slices.Clone(p.V)
		missing := false
		for y := range p.H {
			for x := range p.W {
				if old[y*p.W+x] == old[y*p.W+x] {
					continue
				}
				var sum, n float32
				for dy := -1; dy <= 1; dy++ {
					for dx := -1; dx <= 1; dx++ {
						if xx, yy := x+dx, y+dy; xx >= 0 && yy >= 0 && xx < p.W && yy < p.H {
							if o := old[yy*p.W+xx]; o == o {
								sum += o
								n++
							}
						}
					}
				}
				if n > 0 {
					p.V[y*p.W+x] = sum / n
				} else {
					missing = true
				}
			}
		}
		if !missing {
			return
		}
	}
}

// newSpread returns a grid's values as a plane of at least w x h pixels
// (whole cells), bilinear between cell centres.
func (g cellGrid) newSpread(v *part.Plane) (*part.Plane, error) {
	return newResized(v, g.nx*g.cell, g.ny*g.cell)
}
