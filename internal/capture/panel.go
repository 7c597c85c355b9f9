package capture

import (
	"math"

	"finishbench/internal/optics"
	"finishbench/internal/outline"
)

// panel is how even and how clean a lit panel is.
type panel struct {
	uneven float64 // (most - least) / most of the panel's linear light, its smooth part
	near   float64 // share of the panel near the unit that differs from an even one
	far    float64 // the same away from it
}

// nearShare is how far from the unit the panel counts as near, as a share of
// the picture's longer side. Common practice, no source.
const nearShare = 0.04

// lookAtPanel compares the background's samples with its smooth surface. What
// lies within three samples of the unit or the holder is left out: the edge's
// blur.
func lookAtPanel(s *outline.Silhouette) panel {
	w, h := s.Size()
	// Steps to the nearest of unit and holder.
	away := distance(s, func(k outline.Kind) bool { return k == outline.Background || k == outline.Other })
	nearSteps := max(8, int(nearShare*float64(max(w, h))))
	fromUnit := distance(s, func(k outline.Kind) bool { return k != outline.Unit })
	table := optics.Linear8()
	var nNear, dirtNear, nFar, dirtFar int
	least, most := math.Inf(1), 0.0
	for j := 2; j < h-2; j += 2 { // one sample in four
		for i := 2; i < w-2; i += 2 {
			p := j*w + i
			k := s.At(i, j)
			if k != outline.Background && k != outline.Other || away[p] < 4 {
				continue
			}
			level := s.Level(i, j)
			if i%8 == 0 && j%8 == 0 {
				l := float64(table[uint8(max(0, min(level, 255)))])
				least, most = min(least, l), max(most, l)
			}
			dirty := k == outline.Other || s.Difference(i, j) > max(8*s.Noise, 0.035*level, 5)
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
	}
	var r panel
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
