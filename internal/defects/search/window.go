package search

import (
	"math"

	"finishbench/internal/defects/pattern"
	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
)

// Window is a part of the face in shape pixels, finer than the search's, in
// which one place is measured.
type Window struct {
	X0, Y0, W, H int           // in shape pixels of the whole picture
	Light        []*part.Plane // per channel
	Ratio        *part.Plane   // response over threshold at the finest size
	Pattern      []*part.Plane // per pattern direction
	Both         *part.Plane   // response over threshold of what changes in both lights; nil: not looked for
	Off          *part.Plane   // and of the looks alone, in which no pattern shows
	Parent       []int         // the search pixel of each pixel; -1 outside the face
	k            float64       // shape pixels in a search pixel, per side
}

// WindowMarginMM is how far around a place its window reaches.
const WindowMarginMM = 0.3

// NewWindow makes the window around search pixels x0..x1, y0..y1.
func (f *Face) NewWindow(r *Response, x0, y0, x1, y1 int) (*Window, error) {
	im := f.Pictures[0].Image
	k := float64(f.Factor) / float64(f.ShapeFactor)
	m := WindowMarginMM / f.MMPX
	lo := func(v, off int) int { return int(math.Max(0, (float64(v+off)-m)*k)) }
	hi := func(v, off, limit int) int { return min(limit, int(math.Ceil((float64(v+off+1)+m)*k))) }
	w := &Window{k: k, X0: lo(x0, f.Surface.X0), Y0: lo(y0, f.Surface.Y0)}
	w.W = hi(x1, f.Surface.X0, im.W/f.ShapeFactor) - w.X0
	w.H = hi(y1, f.Surface.Y0, im.H/f.ShapeFactor) - w.Y0
	for _, ch := range f.Channels {
		raw := f.Pictures[ch.Pic].Plane(ch.Colour, f.ShapeFactor, w.X0, w.Y0, w.W, w.H)
		s := part.NewPlane(w.W, w.H)
		if err := raster.Gauss(s, raw, f.WindowBlurPX()); err != nil {
			return nil, err
		}
		w.Light = append(w.Light, s)
	}
	w.Parent = make([]int, w.W*w.H)
	for y := range w.H {
		for x := range w.W {
			px := int((float64(w.X0+x)+0.5)/k) - f.Surface.X0
			py := int((float64(w.Y0+y)+0.5)/k) - f.Surface.Y0
			w.Parent[y*w.W+x] = -1
			if px >= 0 && py >= 0 && px < f.Surface.W && py < f.Surface.H && f.Surface.Dist.V[py*f.Surface.W+px] > 0 {
				w.Parent[y*w.W+x] = py*f.Surface.W + px
			}
		}
	}
	return w, f.respondIn(w, r)
}

// respondIn fills a window's ratio and pattern with what the search's finest
// looks see there.
func (f *Face) respondIn(w *Window, r *Response) error {
	w.Ratio = part.NewPlane(w.W, w.H)
	dev := make([]float64, len(f.Channels))
	chi := make([]float64, len(r.looks))
	inside := part.NewPlane(w.W, w.H)
	var light [2]*part.Plane // of two pictures, where changes in both are looked for
	if r.both != nil {
		light = [2]*part.Plane{part.NewPlane(w.W, w.H), part.NewPlane(w.W, w.H)}
	}
	looks := make([]float32, w.W*w.H)
	for range f.Palette.Axes {
		w.Pattern = append(w.Pattern, part.NewPlane(w.W, w.H))
	}
	for i, p := range w.Parent {
		if p < 0 {
			continue
		}
		inside.V[i] = 1
		for c, ch := range f.Channels {
			if dev[c] = f.Deviation(w, c, i); ch.Gain != nil {
				dev[c] *= float64(ch.Gain.V[p])
			}
		}
		for li := range r.looks {
			chi[li] = r.looks[li].at(dev, p, r.ground) * float64(f.easedAt(r.looks[li].eased, p))
			looks[i] = max(looks[i], float32(chi[li]))
		}
		w.Ratio.V[i] = looks[i]
		if r.both != nil {
			light[0].V[i], light[1].V[i] = float32(pattern.Dot(r.both.rows[0], dev)), float32(pattern.Dot(r.both.rows[1], dev))
		}
		for k, row := range f.Palette.Axes {
			t := r.Ends[k].mid + (float32(pattern.Dot(row, dev))-r.Ends[k].mid)*f.easedAt(r.Ends[k].eased, p)
			w.Pattern[k].V[i] = t
			w.Ratio.V[i] = max(w.Ratio.V[i], r.Ends[k].Beyond(t))
		}
	}
	px := f.Params.MMPerPX * float64(f.ShapeFactor)
	if r.both != nil {
		w.Off = &part.Plane{W: w.W, H: w.H, V: looks}
		if err := w.respondInBoth(r.both, light[0], light[1], px); err != nil {
			return err
		}
	}
	for k, fine := range w.Pattern {
		for _, b := range r.detail[k] {
			soft, err := newSoft(fine, inside, b.sigmaMM/px)
			if err != nil {
				return err
			}
			for i := range soft.V {
				d := math.Abs(float64(fine.V[i]-soft.V[i])) / b.spread / float64(b.threshold)
				if inside.V[i] > 0 {
					w.Ratio.V[i] = max(w.Ratio.V[i], float32(d))
				}
			}
			fine = soft
		}
	}
	return nil
}

// Deviation is channel c's deviation from base at window pixel i.
func (f *Face) Deviation(w *Window, c, i int) float64 {
	x := (float64(w.X0+i%w.W)+0.5)/w.k - 0.5 - float64(f.Surface.X0)
	y := (float64(w.Y0+i/w.W)+0.5)/w.k - 0.5 - float64(f.Surface.Y0)
	return float64(w.Light[c].V[i] - raster.Bilinear(f.Channels[c].Base, x, y))
}

// at is a look's response over its threshold at one pixel, given the deviations
// per channel and the search pixel it lies in.
func (l *look) at(dev []float64, parent int, ground *part.Plane) float64 {
	if l.ground && ground.V[parent] == 0 {
		return 0
	}
	s := 0.0
	for k, row := range l.rows {
		v := (pattern.Dot(row, dev) - float64(l.mean[k].V[parent])) / l.spread[k]
		if l.sign == nil || v*float64(l.sign[k]) >= 0 {
			s += v * v
		}
	}
	return math.Sqrt(s) / float64(l.threshold)
}
