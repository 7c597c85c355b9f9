package defects

import "finishbench/internal/part"

// seen tells how much of the surface was looked at, and where it was not.
func (f *face) seen() (part.Surface, []Unseen) {
	all, not := 0, 0
	in := make([]bool, f.surf.w*f.surf.h)
	for i, d := range f.surf.outside.V {
		if d <= 0 {
			continue
		}
		all++
		if f.surf.dist.V[i] <= 0 {
			in[i] = true
			not++
		}
	}
	share := float64(not) / float64(max(1, all))
	s := part.Surface{LookedAt: 1 - share, NotLookedAt: share}
	if not > 0 {
		s.Why = map[part.Why]float64{part.Outermost: share}
	}
	im := f.scene[0].Image
	w, h := im.W/f.factor, im.H/f.factor
	whole := make([]bool, w*h)
	for y := range f.surf.h {
		copy(whole[(y+f.surf.y0)*w+f.surf.x0:], in[y*f.surf.w:y*f.surf.w+min(f.surf.w, w-f.surf.x0)])
	}
	var out []Unseen
	for _, p := range f.scene {
		out = append(out, Unseen{Image: p.Shot.File, Step: f.factor, W: w, H: h, In: whole})
	}
	return s, out
}
