package capture

import (
	"math"

	"finishbench/internal/capture/outline"
	"finishbench/internal/optics"
)

// panel is how even and how clean a lit panel is.
type panel struct {
	uneven float64 // (most - least) / most of the panel's linear light, its smooth part
	near   float64 // share of the panel near the unit that differs from an even one
	far    float64 // the same away from it

	darkX, darkY float64 // where its smooth part is darkest, shares of the picture's width and height
}

// nearShare is how far from the unit the panel counts as near, as a share of
// the picture's longer side. Common practice, no source.
const nearShare = 0.04

// lookAtPanel compares the background's samples, one in four, with its smooth
// surface. What lies within six samples of the unit or the holder is left out:
// the edge's blur.
func lookAtPanel(s *outline.Silhouette, grid *coarse) panel {
	away := grid.distance(outline.Background, outline.Other)
	fromUnit := distanceFromUnit(grid)
	nearSteps := max(5, int(nearShare*float64(max(grid.w, grid.h))))
	table := optics.Linear8()
	var nNear, dirtNear, nFar, dirtFar int
	least, most := math.Inf(1), 0.0
	var r panel
	for p, k := range grid.kind {
		x, y := p%grid.w, p/grid.w
		if away[p] < 3 || x == 0 || y == 0 || x == grid.w-1 || y == grid.h-1 {
			continue
		}
		if x%4 == 0 && y%4 == 0 {
			l := float64(table[uint8(max(0, min(s.Level(2*x, 2*y), 255)))])
			if most = max(most, l); l < least {
				least = l
				r.darkX, r.darkY = float64(x)/float64(grid.w), float64(y)/float64(grid.h)
			}
		}
		d := s.Difference(2*x, 2*y)
		dirty := k == outline.Other || d > max(8*s.Noise, 5) && d > 0.035*s.Level(2*x, 2*y)
		if int(fromUnit[p]) <= nearSteps {
			nNear++
			if dirty {
				dirtNear++
			}
		} else {
			nFar++
			if dirty {
				dirtFar++
			}
		}
	}
	if most > 0 && least <= most {
		r.uneven = (most - least) / most
	}
	if nNear > 0 {
		r.near = float64(dirtNear) / float64(nNear)
	}
	if nFar > 0 {
		r.far = float64(dirtFar) / float64(nFar)
	}
	return r
}

// distanceFromUnit is how many steps each place is away from the unit.
func distanceFromUnit(grid *coarse) []uint8 {
	g := &coarse{w: grid.w, h: grid.h, kind: make([]outline.Kind, len(grid.kind))}
	for p, k := range grid.kind {
		if k == outline.Unit {
			g.kind[p] = outline.Unit
		}
	}
	return g.distance(outline.Background, outline.Background)
}
