package search

import (
	"math"
	"sync"

	"finishbench/internal/defects/pattern"
	"finishbench/internal/defects/raster"
	"finishbench/internal/part"

	"golang.org/x/sync/errgroup"
)

// Response is the map in which defects stand out: 1 is the threshold.
type Response struct {
	Ratio   *part.Plane   // largest response over its threshold, over all looks and sizes
	Ring    *part.Plane   // radius in search pixels where a ring fits best; 0 elsewhere
	looks   []look        //
	ground  *part.Plane   // 1 on the ground between figures; nil where there is none
	pattern []*part.Plane // per pattern direction: the coordinate, noise units
	Ends    []RangeEnds   // per pattern direction
	detail  [][]detailBand
	both    *bothLook // nil: the pattern looks alike in all lights
}

// scale is one size of things to look for: how far a plane is averaged down,
// the Gaussian's standard deviation, and a ring's radius (0: none), in mm.
type scale struct {
	down            int
	sigmaMM, ringMM float64
}

// The sizes at which defects are sought (common practice, no source). A crater
// under a dome is little more than its rim: a ring.
var (
	fineScales   = []scale{{1, 0, 0}, {1, 0.027, 0}}
	coarseScales = []scale{{2, 0.06, 0}, {2, 0.15, 0}}
	ringScales   = []scale{{2, 0.042, 0.17}, {2, 0.042, 0.25}, {2, 0.042, 0.34}, {2, 0.042, 0.43}}
	detailMM     = []float64{0.026, 0.051}
)

// RingStepMM is the largest step between the rings' radii.
const RingStepMM = 0.09

// Respond makes the response map.
func (f *Face) Respond() (*Response, error) {
	w, h := f.Surface.W, f.Surface.H
	r := &Response{Ratio: part.NewPlane(w, h), Ring: part.NewPlane(w, h), pattern: f.project(f.Palette.Axes)}
	for _, p := range r.pattern {
		f.filled = f.filled || f.Wideness(p) > groundNoise
	}
	for c, ch := range f.Channels {
		f.Woven = f.Woven || f.Noise[c] > weaveNoise*ch.Level
	}
	r.looks = append([]look{{rows: f.Palette.Left, finest: true}}, f.glossLooks(f.Palette.Left)...)
	ground, err := f.groundLooks(r)
	if err != nil {
		return nil, err
	}
	r.looks = append(r.looks, ground...)
	var raising sync.Mutex
	var looks errgroup.Group
	looks.SetLimit(f.Params.Jobs)
	for i := range r.looks {
		looks.Go(func() error { return f.lookFine(&r.looks[i], r, &raising) })
	}
	if err := looks.Wait(); err != nil {
		return nil, err
	}
	for _, p := range r.pattern {
		if err := f.takePattern(r, p); err != nil {
			return nil, err
		}
	}
	if f.Sparkles {
		if err := f.lookInBoth(r); err != nil {
			return nil, err
		}
	}
	if f.sliver {
		return r, nil
	}
	if err := f.respondCoarse(r); err != nil || !f.Lone {
		return r, err
	}
	return r, f.respondTexture(r)
}

// weaveNoise is the share of a face's light from which on what looks like noise is a
// pattern finer than it can be told apart: no camera fit to measure has so much (common
// practice, no source).
const weaveNoise = 0.08

// lookFine takes one look at the fine sizes. Looks run side by side; the map is
// raised by one at a time, and the largest counts, so their order does not.
func (f *Face) lookFine(l *look, r *Response, raising *sync.Mutex) error {
	if err := f.lookAt(l, r); err != nil {
		return err
	}
	scales := fineScales
	if l.finest {
		scales = scales[:1]
	}
	for k, s := range scales {
		var weight *part.Plane
		if l.ground {
			weight = r.ground
		}
		chi, t, err := f.ratioAt(l.planes, weight, l, s)
		if err != nil {
			return err
		}
		if k == 0 {
			l.threshold = t
		}
		raising.Lock()
		f.raiseTo(r.Ratio, chi)
		raising.Unlock()
	}
	return nil
}

// lookAt fills a look's planes: its rows' values, the local mean taken off, 0
// where they do not count.
func (f *Face) lookAt(l *look, r *Response) error {
	l.planes = f.project(l.rows)
	l.spread = make([]float64, len(l.rows))
	var count *part.Plane
	if l.ground {
		count = r.ground
	}
	for k, p := range l.planes {
		mean, err := f.levelOut(p, count)
		if err != nil {
			return err
		}
		l.mean = append(l.mean, mean)
		l.spread[k] = max(f.spreadOf(p, count, 1), pattern.CodingFloor(l.rows[k], f.Palette.Coding, 1, 1))
	}
	return nil
}

// project returns rows applied to each pixel's deviation from base, 0 outside
// the flat face.
func (f *Face) project(rows [][]float64) []*part.Plane {
	w, h := f.Surface.W, f.Surface.H
	out := make([]*part.Plane, len(rows))
	for k := range rows {
		out[k] = part.NewPlane(w, h)
	}
	nc := len(f.Channels)
	dev := make([][]float32, nc)
	for c := range dev {
		dev[c] = make([]float32, w)
	}
	for y := range h {
		x0, x1 := f.InsideRow(y)
		if x0 >= x1 {
			continue
		}
		for c, ch := range f.Channels {
			smooth, base := ch.Light.V[y*w:(y+1)*w], ch.Base.V[y*w:(y+1)*w]
			for x := x0; x < x1; x++ {
				dev[c][x] = smooth[x] - base[x]
			}
			if ch.Gain != nil {
				for x, g := range ch.Gain.V[y*w+x0 : y*w+x1] {
					dev[c][x0+x] *= g
				}
			}
		}
		for k := range rows {
			sumRows(out[k].V[y*w+x0:y*w+x1], dev, x0, rows[k])
		}
		for x, d := range f.Surface.Dist.V[y*w+x0 : y*w+x1] {
			if d <= 0 {
				for k := range rows {
					out[k].V[y*w+x0+x] = 0
				}
			}
		}
	}
	return out
}

// sumRows fills to with the sum over c of weight[c] times dev[c], from x0 on.
func sumRows(to []float32, dev [][]float32, x0 int, weight []float64) {
	c := 0
	for ; c+2 < len(dev); c += 3 {
		a, b, d := dev[c][x0:x0+len(to)], dev[c+1][x0:x0+len(to)], dev[c+2][x0:x0+len(to)]
		wa, wb, wd := float32(weight[c]), float32(weight[c+1]), float32(weight[c+2])
		for x := range to {
			to[x] += wa*a[x] + wb*b[x] + wd*d[x]
		}
	}
	for ; c < len(dev); c++ {
		a, wa := dev[c][x0:x0+len(to)], float32(weight[c])
		for x := range to {
			to[x] += wa * a[x]
		}
	}
}

// levelOut takes the local mean off a plane, far values left out so that a large
// defect leaves no halo; only pixels with count count (nil: the whole face), and
// the others become 0. It returns the mean.
func (f *Face) levelOut(p, count *part.Plane) (*part.Plane, error) {
	const down, clip = 2, 6
	w, h := p.W/down, p.H/down
	sum, n := part.NewPlane(w, h), part.NewPlane(w, h)
	for y := range h * down {
		x0, x1 := f.InsideRow(y)
		for x := x0; x < min(x1, w*down); x++ {
			i := y*p.W + x
			if v := p.V[i]; f.Surface.Dist.V[i] > 0 && v > -clip && v < clip && (count == nil || count.V[i] > 0) {
				j := y/down*w + x/down
				sum.V[j] += v
				n.V[j]++
			}
		}
	}
	r := max(2, int(0.6/f.MMPX/down/2+0.5))
	mean, share := part.NewPlane(w, h), part.NewPlane(w, h)
	if err := raster.Mean(mean, sum, r); err != nil {
		return nil, err
	}
	if err := raster.Mean(share, n, r); err != nil {
		return nil, err
	}
	for i := range mean.V {
		if share.V[i] > 1e-6 {
			mean.V[i] /= share.V[i]
		}
	}
	full, err := raster.Resized(mean, p.W, p.H)
	if err != nil {
		return nil, err
	}
	for i := range p.V {
		if f.Surface.Dist.V[i] > 0 && (count == nil || count.V[i] > 0) {
			p.V[i] -= full.V[i]
		} else {
			p.V[i] = 0
		}
	}
	return full, nil
}

// raiseTo raises a map to another of its size, where the face is looked at.
func (f *Face) raiseTo(to, from *part.Plane) {
	for i, d := range f.Surface.Dist.V {
		if d > 0 {
			to.V[i] = max(to.V[i], from.V[i])
		}
	}
}

// respondCoarse looks for what is large and faint. What the fine looks found is
// left out, or it would swell.
func (f *Face) respondCoarse(r *Response) error {
	free := part.NewPlane(f.Surface.W, f.Surface.H)
	for i, d := range f.Surface.Dist.V {
		if d > 0 {
			free.V[i] = 1
		}
	}
	for _, b := range raster.Segment(r.Ratio, float32(f.Params.GrowShare), 1) {
		for _, i := range b {
			free.V[i] = 0
		}
	}
	if err := raster.Erode(free, max(1, int(0.1/f.MMPX+0.5))); err != nil {
		return err
	}
	const down = 2
	w, h := f.Surface.W/down, f.Surface.H/down
	ratio, ring := part.NewPlane(w, h), part.NewPlane(w, h)
	var raising sync.Mutex
	var looks errgroup.Group
	looks.SetLimit(f.Params.Jobs)
	for i := range r.looks {
		if l := &r.looks[i]; !l.finest {
			looks.Go(func() error { return f.lookCoarse(l, r, free, ratio, ring, down, &raising) })
		}
	}
	if err := looks.Wait(); err != nil {
		return err
	}
	return f.raise(r, ratio, ring, down)
}

// lookCoarse takes one look at the large sizes and, where it has them, rings.
func (f *Face) lookCoarse(l *look, r *Response, free, ratio, ring *part.Plane, down int, raising *sync.Mutex) error {
	weight := free
	if l.ground {
		weight = times(free, r.ground)
	}
	share := averageOver(weight, nil, down)
	var planes []*part.Plane
	for _, p := range l.planes {
		planes = append(planes, averageOver(p, weight, down))
	}
	scales := coarseScales
	if l.rings {
		scales = append(scales[:len(scales):len(scales)], ringScales...)
	}
	for _, s := range scales {
		chi, _, err := f.ratioAt(planes, share, l, s)
		if err != nil {
			return err
		}
		raising.Lock()
		for k, v := range chi.V {
			if at := float32(s.ringMM / f.MMPX); v > ratio.V[k] || (v == ratio.V[k] && at > ring.V[k]) {
				ratio.V[k], ring.V[k] = v, at
			}
		}
		raising.Unlock()
	}
	return nil
}

// raise lifts the map to a coarser one where that is larger.
func (f *Face) raise(r *Response, ratio, ring *part.Plane, down int) error {
	full, err := raster.Resized(ratio, ratio.W*down, ratio.H*down)
	if err != nil {
		return err
	}
	for y := range full.H {
		x0, x1 := f.InsideRow(y)
		for x := x0; x < min(x1, full.W); x++ {
			i := y*r.Ratio.W + x
			if v := full.V[y*full.W+x]; v > r.Ratio.V[i] && f.Surface.Dist.V[i] > 0 {
				r.Ratio.V[i], r.Ring.V[i] = v, ring.V[y/down*ring.W+x/down]
			}
		}
	}
	return nil
}

// averageOver averages a plane, times weight (nil: 1), over down x down pixels.
func averageOver(p, weight *part.Plane, down int) *part.Plane {
	out := part.NewPlane(p.W/down, p.H/down)
	inv := 1 / float32(down*down)
	for y := range out.H * down {
		to, from := out.V[y/down*out.W:(y/down+1)*out.W], p.V[y*p.W:(y+1)*p.W]
		if weight == nil {
			for x := range out.W * down {
				to[x/down] += from[x] * inv
			}
			continue
		}
		by := weight.V[y*p.W : (y+1)*p.W]
		for x := range out.W * down {
			to[x/down] += from[x] * by[x] * inv
		}
	}
	return out
}

// times multiplies two planes.
func times(a, b *part.Plane) *part.Plane {
	out := part.NewPlane(a.W, a.H)
	for i := range out.V {
		out.V[i] = a.V[i] * b.V[i]
	}
	return out
}

// ringMean replaces each pixel by the mean over a circle of radius r around it.
func ringMean(p *part.Plane, r float64) *part.Plane {
	out := part.NewPlane(p.W, p.H)
	n := int(2*math.Pi*r + 0.5)
	m := int(r) + 2
	off := make([]int, 0, n)
	for k := range n {
		s, c := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		off = append(off, int(math.Round(r*s))*p.W+int(math.Round(r*c)))
	}
	inv := 1 / float32(len(off))
	for y := m; y < p.H-m; y++ {
		for x := m; x < p.W-m; x++ {
			i := y*p.W + x
			s := float32(0)
			for _, o := range off {
				s += p.V[i+o]
			}
			out.V[i] = s * inv
		}
	}
	return out
}
