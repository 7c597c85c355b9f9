package defects

import (
	"math"

	"finishbench/internal/part"
)

// window is a part of the face in shape pixels, finer than the search's, in
// which one place is measured.
type window struct {
	x0, y0, w, h int           // in shape pixels of the whole picture
	smooth       []*part.Plane // per channel
	ratio        *part.Plane   // response over threshold at the finest size
	pattern      []*part.Plane // per pattern direction
	both         *part.Plane   // response over threshold of what changes in both lights; nil: not looked for
	off          *part.Plane   // and of the looks alone, in which no pattern shows
	parent       []int         // the search pixel of each pixel; -1 outside the face
	k            float64       // shape pixels in a search pixel, per side
}

// windowMarginMM is how far around a place its window reaches.
const windowMarginMM = 0.3

// newWindow makes the window around search pixels x0..x1, y0..y1.
func (f *searchFace) newWindow(r *response, x0, y0, x1, y1 int) (*window, error) {
	im := f.scene[0].Image
	k := float64(f.factor) / float64(f.shape)
	m := windowMarginMM / f.mmPX
	lo := func(v, off int) int { return int(math.Max(0, (float64(v+off)-m)*k)) }
	hi := func(v, off, limit int) int { return min(limit, int(math.Ceil((float64(v+off+1)+m)*k))) }
	w := &window{k: k, x0: lo(x0, f.surf.x0), y0: lo(y0, f.surf.y0)}
	w.w = hi(x1, f.surf.x0, im.W/f.shape) - w.x0
	w.h = hi(y1, f.surf.y0, im.H/f.shape) - w.y0
	for _, ch := range f.channels {
		raw := f.scene[ch.pic].plane(ch.c, f.shape, w.x0, w.y0, w.w, w.h)
		s := part.NewPlane(w.w, w.h)
		if err := gauss(s, raw, f.windowBlurPX()); err != nil {
			return nil, err
		}
		w.smooth = append(w.smooth, s)
	}
	w.parent = make([]int, w.w*w.h)
	for y := range w.h {
		for x := range w.w {
			px := int((float64(w.x0+x)+0.5)/k) - f.surf.x0
			py := int((float64(w.y0+y)+0.5)/k) - f.surf.y0
			w.parent[y*w.w+x] = -1
			if px >= 0 && py >= 0 && px < f.surf.w && py < f.surf.h && f.surf.dist.V[py*f.surf.w+px] > 0 {
				w.parent[y*w.w+x] = py*f.surf.w + px
			}
		}
	}
	return w, f.respondIn(w, r)
}

// windowBlurPX is the smoothing in shape pixels that leaves the noise that the
// search saw: the search's own, and its averaging over k x k shape pixels, whose
// variance is (k^2-1)/12.
func (f *sceneFace) windowBlurPX() float64 {
	k := float64(f.factor) / float64(f.shape)
	return math.Sqrt(math.Pow(f.smoothPX(f.factor)*k, 2) + (k*k-1)/12)
}

// respondIn fills a window's ratio and pattern with what the search's finest
// looks see there.
func (f *searchFace) respondIn(w *window, r *response) error {
	w.ratio = part.NewPlane(w.w, w.h)
	dev := make([]float64, len(f.channels))
	chi := make([]float64, len(r.looks))
	inside := part.NewPlane(w.w, w.h)
	var light [2]*part.Plane // of two pictures, where changes in both are looked for
	if r.both != nil {
		light = [2]*part.Plane{part.NewPlane(w.w, w.h), part.NewPlane(w.w, w.h)}
	}
	looks := make([]float32, w.w*w.h)
	for range f.pal.axis {
		w.pattern = append(w.pattern, part.NewPlane(w.w, w.h))
	}
	for i, p := range w.parent {
		if p < 0 {
			continue
		}
		inside.V[i] = 1
		for c, ch := range f.channels {
			if dev[c] = f.deviation(w, c, i); ch.gain != nil {
				dev[c] *= float64(ch.gain.V[p])
			}
		}
		for li := range r.looks {
			chi[li] = r.looks[li].at(dev, p, r.ground) * float64(f.easedAt(r.looks[li].eased, p))
			looks[i] = max(looks[i], float32(chi[li]))
		}
		w.ratio.V[i] = looks[i]
		if r.both != nil {
			light[0].V[i], light[1].V[i] = float32(dot(r.both.rows[0], dev)), float32(dot(r.both.rows[1], dev))
		}
		for k, row := range f.pal.axis {
			t := r.ends[k].mid + (float32(dot(row, dev))-r.ends[k].mid)*f.easedAt(r.ends[k].eased, p)
			w.pattern[k].V[i] = t
			w.ratio.V[i] = max(w.ratio.V[i], r.ends[k].beyond(t))
		}
	}
	px := f.p.MMPerPX * float64(f.shape)
	if r.both != nil {
		w.off = &part.Plane{W: w.w, H: w.h, V: looks}
		if err := w.respondInBoth(r.both, light[0], light[1], px); err != nil {
			return err
		}
	}
	for k, fine := range w.pattern {
		for _, b := range r.detail[k] {
			soft, err := newSoft(fine, inside, b.sigmaMM/px)
			if err != nil {
				return err
			}
			for i := range soft.V {
				d := math.Abs(float64(fine.V[i]-soft.V[i])) / b.spread / float64(b.threshold)
				if inside.V[i] > 0 {
					w.ratio.V[i] = max(w.ratio.V[i], float32(d))
				}
			}
			fine = soft
		}
	}
	return nil
}

// deviation is channel c's deviation from base at window pixel i.
func (f *searchFace) deviation(w *window, c, i int) float64 {
	x := (float64(w.x0+i%w.w)+0.5)/w.k - 0.5 - float64(f.surf.x0)
	y := (float64(w.y0+i/w.w)+0.5)/w.k - 0.5 - float64(f.surf.y0)
	return float64(w.smooth[c].V[i] - bilinear(f.channels[c].base, x, y))
}

// at is a look's response over its threshold at one pixel, given the deviations
// per channel and the search pixel it lies in.
func (l *look) at(dev []float64, parent int, ground *part.Plane) float64 {
	if l.ground && ground.V[parent] == 0 {
		return 0
	}
	s := 0.0
	for k, row := range l.rows {
		v := (dot(row, dev) - float64(l.mean[k].V[parent])) / l.spread[k]
		if l.sign == nil || v*float64(l.sign[k]) >= 0 {
			s += v * v
		}
	}
	return math.Sqrt(s) / float64(l.threshold)
}
