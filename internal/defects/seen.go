package defects

import (
	"finishbench/internal/defects/align"
	"finishbench/internal/part"
)

// seen tells how much of the surface was looked at, and where it was not.
func (f *face) seen() (part.Surface, []Unseen) {
	n := len(f.Open)
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
	all := uint8(1<<len(f.Pictures) - 1)
	var area, every, some float64
	why := map[part.Why]float64{}
	for i, d := range f.Surface.Outside.V {
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
	for pic := range f.Pictures {
		if by>>pic&1 == 0 && f.Why[pic] != nil && f.Why[pic][i] != "" {
			return f.Why[pic][i]
		}
	}
	return part.Outermost
}

// unseen tells for each picture where nothing was looked for in it.
func (f *face) unseen(by []uint8) []Unseen {
	im := f.Pictures[0].Image
	w, h := im.W/f.Factor, im.H/f.Factor
	var out []Unseen
	for pic, p := range f.Pictures {
		u := Unseen{Image: p.Shot.File, Step: f.Factor, W: w, H: h, In: make([]bool, w*h)}
		for i, d := range f.Surface.Outside.V {
			if x, y := i%f.Surface.W+f.Surface.X0, i/f.Surface.W+f.Surface.Y0; d > 0 && by[i]>>pic&1 == 0 && x < w && y < h {
				u.In[y*w+x] = true
			}
		}
		if p.Registration.Moved() {
			u.In = f.movedCells(u.In, w, h, p.Registration.To)
		}
		out = append(out, u)
	}
	return out
}

// movedCells are the first picture's cells as they lie in another one.
func (f *face) movedCells(in []bool, w, h int, to align.Similarity) []bool {
	out := make([]bool, len(in))
	k := float64(f.Factor)
	for y := range h {
		for x := range w {
			q := to.Back(part.Point{X: (float64(x)+0.5)*k - 0.5, Y: (float64(y)+0.5)*k - 0.5})
			i, j := int((q.X+0.5)/k), int((q.Y+0.5)/k)
			out[y*w+x] = q.X >= 0 && q.Y >= 0 && i < w && j < h && in[j*w+i]
		}
	}
	return out
}
