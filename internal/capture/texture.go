package capture

import (
	"math"
	"slices"

	"finishbench/internal/capture/outline"
	"finishbench/internal/part"
)

// cell is the side of the squares in each of which one edge is tried, px.
const cell = 32

// insideEdges fits edges inside the unit: pattern, engravings, mirrored lamps,
// defects. Blur spares none of them, so one sharp edge tells more than many soft
// ones. The steepest place of each cell is taken, of the steepest cells.
func insideEdges(im *part.Image, s *outline.Silhouette) []edgeFit {
	type spot struct{ steep, x, y, gx, gy int }
	var spots []spot
	at := func(x, y int) int { // green, or grey; 0..255
		i := (y*im.W+x)*im.C + im.C/2
		if im.Pix16 != nil {
			return int(im.Pix16[i] >> 8)
		}
		return int(im.Pix8[i])
	}
	w, h := s.Size()
	inside := func(x, y int) bool {
		i, j := x/s.Step, y/s.Step
		return i < w && j < h && s.At(i, j) == outline.Unit
	}
	x0, y0 := max(maxReach, int(s.Box[0])), max(maxReach, int(s.Box[1]))
	x1, y1 := min(im.W-maxReach, int(s.Box[0]+s.Box[2])), min(im.H-maxReach, int(s.Box[1]+s.Box[3]))
	for cy := y0; cy+cell <= y1; cy += cell {
		for cx := x0; cx+cell <= x1; cx += cell {
			if !inside(cx, cy) || !inside(cx+cell, cy) || !inside(cx, cy+cell) || !inside(cx+cell, cy+cell) {
				continue
			}
			var best spot
			for y := cy; y < cy+cell; y += 2 {
				for x := cx; x < cx+cell; x += 2 {
					gx, gy := at(x+2, y)-at(x-2, y), at(x, y+2)-at(x, y-2)
					if g := gx*gx + gy*gy; g > best.steep {
						best = spot{g, x, y, gx, gy}
					}
				}
			}
			if best.steep > 0 {
				spots = append(spots, best)
			}
		}
	}
	slices.SortStableFunc(spots, func(a, b spot) int { return b.steep - a.steep })
	lum := newLuma(im)
	var fits []edgeFit
	reach := 0
	for _, p := range spots[:min(len(spots), places)] {
		if p.steep < 150 { // twelve levels over four pixels: noise does as much
			break
		}
		g := math.Sqrt(float64(p.steep))
		f, r, ok := lum.fitAt(part.Point{X: float64(p.x), Y: float64(p.y)}, float64(p.gx)/g, float64(p.gy)/g, reach)
		if ok {
			fits = append(fits, f)
			reach = max(0, r-1)
		}
	}
	return fits
}
