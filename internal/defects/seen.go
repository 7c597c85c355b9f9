package defects

import (
	"finishbench/internal/part"
)

// looked is what one search covered: own is what counts of it, dist > 0 where it
// looked.
type looked struct {
	own  []bool
	dist *part.Plane
	pics []int
}

// seen tells how much of the surface was looked at, and where it was not.
func (f *face) seen() (part.Surface, []Unseen) {
	n := len(f.open)
	by := make([]uint8, n)
	for _, l := range f.looked {
		for i, own := range l.own {
			if own && l.dist.V[i] > 0 {
				for _, p := range l.pics {
					by[i] |= 1 << p
				}
			}
		}
	}
	all := uint8(1<<len(f.scene) - 1)
	var area, every, some float64
	why := map[part.Why]float64{}
	for i, d := range f.surf.outside.V {
		if d <= 0 {
			continue
		}
		area++
		switch by[i] {
		case all:
			every++
			continue
		case 0:
		default:
			some++
		}
		why[f.whyNot(i, by[i])]++
	}
	s := part.Surface{LookedAt: every / area, OneLight: some / area, NotLookedAt: (area - every - some) / area}
	for k := range why {
		why[k] /= area
	}
	if len(why) > 0 {
		s.Why = why
	}
	return s, f.unseen(by)
}

// whyNot is why a pixel that was looked at in the pictures by was not in others.
func (f *face) whyNot(i int, by uint8) part.Why {
	for pic := range f.scene {
		if by>>pic&1 == 0 && f.why[pic] != nil && f.why[pic][i] != "" {
			return f.why[pic][i]
		}
	}
	return part.Outermost
}

// unseen tells for each picture where nothing was looked for in it.
func (f *face) unseen(by []uint8) []Unseen {
	im := f.scene[0].Image
	w, h := im.W/f.factor, im.H/f.factor
	var out []Unseen
	for pic, p := range f.scene {
		u := Unseen{Image: p.Shot.File, Step: f.factor, W: w, H: h, In: make([]bool, w*h)}
		for i, d := range f.surf.outside.V {
			if x, y := i%f.surf.w+f.surf.x0, i/f.surf.w+f.surf.y0; d > 0 && by[i]>>pic&1 == 0 && x < w && y < h {
				u.In[y*w+x] = true
			}
		}
		if p.lies.moved() {
			u.In = f.movedCells(u.In, w, h, p.lies.to)
		}
		out = append(out, u)
	}
	return out
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
