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
		u := Unseen{Image: p.Shot.File, Step: f.factor, W: w, H: h, In: whole}
		if p.lies.moved() {
			u.In = f.movedCells(whole, w, h, p.lies.to)
		}
		out = append(out, u)
	}
	return s, out
}

// movedCells are the first picture's cells as they lie in another one.
func (f *face) movedCells(in []bool, w, h int, to similarity) []bool {
	out := make([]bool, len(in))
	k := float64(f.factor)
	for y := range h {
		for x := range w {
			q := to.back(part.Point{X: (float64(x)+0.5)*k - 0.5, Y: (float64(y)+0.5)*k - 0.5})
			i, j := int((q.X+0.5)/k), int((q.Y+0.5)/k)
			out[y*w+x] = q.X >= 0 && q.Y >= 0 && i < w && j < h && in[j*w+i]
		}
	}
	return out
}
