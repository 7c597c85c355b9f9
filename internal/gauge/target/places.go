package target

import "math"

// places finds points near a point: a grid of cells.
type places struct {
	cell float64
	at   map[[2]int][]int
	x, y []float64
}

func newPlaces(cell float64) *places { return &places{cell: cell, at: map[[2]int][]int{}} }

func (p *places) key(x, y float64) [2]int {
	return [2]int{int(math.Floor(x / p.cell)), int(math.Floor(y / p.cell))}
}

// add puts a point in; its number is the count of those before.
func (p *places) add(x, y float64) {
	k := p.key(x, y)
	p.at[k] = append(p.at[k], len(p.x))
	p.x, p.y = append(p.x, x), append(p.y, y)
}

// within calls f for each point within r.
func (p *places) within(x, y, r float64, f func(i int, d float64)) {
	a, b := p.key(x-r, y-r), p.key(x+r, y+r)
	for cy := a[1]; cy <= b[1]; cy++ {
		for cx := a[0]; cx <= b[0]; cx++ {
			for _, i := range p.at[[2]int{cx, cy}] {
				if d := math.Hypot(p.x[i]-x, p.y[i]-y); d <= r {
					f(i, d)
				}
			}
		}
	}
}

// nearest is the number of the nearest point within r, or -1.
func (p *places) nearest(x, y, r float64) int {
	best, at := math.Inf(1), -1
	p.within(x, y, r, func(i int, d float64) {
		if d < best {
			best, at = d, i
		}
	})
	return at
}
