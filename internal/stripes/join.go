package stripes

import (
	"slices"

	"finishbench/internal/part"
)

// Join puts together what the paint shows under the white screen and what the mirror
// shows: one place is one finding. What hides the paint, as dust and fibres do, keeps its
// name where the mirror shows nothing much larger: it stands out of the lacquer and
// bends it. Otherwise the mirror knows best, and the paint's picture is where it also shows.
func Join(paint, mirror []part.Finding, whitePicture string) []part.Finding {
	gone := make([]bool, len(paint))
	var kept []part.Finding
	for _, m := range mirror {
		if m.Kind == part.OrangePeel {
			kept = append(kept, m)
			continue
		}
		standsOut := false
		var of []int
		for i, p := range paint {
			if !same(p.Box, m.Box) {
				continue
			}
			if (p.Kind == part.Dust || p.Kind == part.Fibre) && p.AreaMM2 != nil && m.AreaMM2 != nil && *m.AreaMM2 < 4**p.AreaMM2 {
				standsOut = true
				break
			}
			of = append(of, i)
		}
		if standsOut {
			continue
		}
		for _, i := range of {
			gone[i] = true
		}
		if len(of) > 0 {
			m.AlsoIn = append(slices.Clone(m.AlsoIn), part.Sighting{Image: whitePicture, Box: m.Box})
		}
		kept = append(kept, m)
	}
	var out []part.Finding
	for i, p := range paint {
		if !gone[i] {
			out = append(out, p)
		}
	}
	return append(out, kept...)
}

// same says whether the middle of one box lies in the other, a little widened.
func same(a, b part.Box) bool {
	in := func(q part.Point, b part.Box) bool {
		return q.X >= b[0] && q.X <= b[0]+b[2] && q.Y >= b[1] && q.Y <= b[1]+b[3]
	}
	return in(a.Centre(), b.Grow(3)) || in(b.Centre(), a.Grow(3))
}
