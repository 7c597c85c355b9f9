package defects

import (
	"math"
	"sync"

	"finishbench/internal/part"

	"golang.org/x/sync/errgroup"
)

// response is the map in which defects stand out: 1 is the threshold.
type response struct {
	ratio   *part.Plane   // largest response over its threshold, over all looks and sizes
	ring    *part.Plane   // radius in search pixels where a ring fits best; 0 elsewhere
	looks   []look        //
	ground  *part.Plane   // 1 on the ground between figures; nil where there is none
	pattern []*part.Plane // per pattern direction: the coordinate, noise units
	ends    []rangeEnds   // per pattern direction
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

// ringStepMM is the largest step between the rings' radii.
const ringStepMM = 0.09

// respond makes the response map.
func (f *searchFace) respond() (*response, error) {
	w, h := f.surf.w, f.surf.h
	r := &response{ratio: part.NewPlane(w, h), ring: part.NewPlane(w, h), pattern: f.project(f.pal.axis)}
	for _, p := range r.pattern {
		f.filled = f.filled || f.wideness(p) > groundNoise
	}
	for c, ch := range f.channels {
		f.woven = f.woven || f.noise[c] > weaveNoise*ch.level
	}
	r.looks = append([]look{{rows: f.pal.left, finest: true}}, f.glossLooks(f.pal.left)...)
	ground, err := f.groundLooks(r)
	if err != nil {
		return nil, err
	}
	r.looks = append(r.looks, ground...)
	var raising sync.Mutex
	var looks errgroup.Group
	looks.SetLimit(f.p.Jobs)
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
	if f.sparkles {
		if err := f.lookInBoth(r); err != nil {
			return nil, err
		}
	}
	if f.sliver {
		return r, nil
	}
	if err := f.respondCoarse(r); err != nil || !f.lone {
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
func (f *searchFace) lookFine(l *look, r *response, raising *sync.Mutex) error {
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
		f.lift(r.ratio, chi)
		raising.Unlock()
	}
	return nil
}

// lookAt fills a look's planes: its rows' values, the local mean taken off, 0
// where they do not count.
func (f *searchFace) lookAt(l *look, r *response) error {
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
		l.spread[k] = max(f.spreadOf(p, count, 1), codingFloor(l.rows[k], f.pal.coding, 1, 1))
	}
	return nil
}

// project returns rows applied to each pixel's deviation from base, 0 outside
// the flat face.
func (f *searchFace) project(rows [][]float64) []*part.Plane {
	w, h := f.surf.w, f.surf.h
	out := make([]*part.Plane, len(rows))
	for k := range rows {
		out[k] = part.NewPlane(w, h)
	}
	nc := len(f.channels)
	dev := make([][]float32, nc)
	for c := range dev {
		dev[c] = make([]float32, w)
	}
	for y := range h {
		x0, x1 := f.insideRow(y)
		if x0 >= x1 {
			continue
		}
		for c, ch := range f.channels {
			smooth, base := ch.smooth.V[y*w:(y+1)*w], ch.base.V[y*w:(y+1)*w]
			for x := x0; x < x1; x++ {
				dev[c][x] = smooth[x] - base[x]
			}
			if ch.gain != nil {
				for x, g := range ch.gain.V[y*w+x0 : y*w+x1] {
					dev[c][x0+x] *= g
				}
			}
		}
		for k := range rows {
			sumRows(out[k].V[y*w+x0:y*w+x1], dev, x0, rows[k])
		}
		for x, d := range f.surf.dist.V[y*w+x0 : y*w+x1] {
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

// insideRow is the range of columns outside which row y has no face.
func (f *sceneFace) insideRow(y int) (x0, x1 int) {
	row := f.surf.dist.V[y*f.surf.w : (y+1)*f.surf.w]
	x1 = len(row)
	for x0 < x1 && row[x0] <= 0 {
		x0++
	}
	for x1 > x0 && row[x1-1] <= 0 {
		x1--
	}
	return x0, x1
}

// levelOut takes the local mean off a plane, far values left out so that a large
// defect leaves no halo; only pixels with count count (nil: the whole face), and
// the others become 0. It returns the mean.
func (f *searchFace) levelOut(p, count *part.Plane) (*part.Plane, error) {
	const down, clip = 2, 6
	w, h := p.W/down, p.H/down
	sum, n := part.NewPlane(w, h), part.NewPlane(w, h)
	for y := range h * down {
		x0, x1 := f.insideRow(y)
		for x := x0; x < min(x1, w*down); x++ {
			i := y*p.W + x
			if v := p.V[i]; f.surf.dist.V[i] > 0 && v > -clip && v < clip && (count == nil || count.V[i] > 0) {
				j := y/down*w + x/down
				sum.V[j] += v
				n.V[j]++
			}
		}
	}
	r := max(2, int(0.6/f.mmPX/down/2+0.5))
	mean, share := part.NewPlane(w, h), part.NewPlane(w, h)
	if err := box(mean, sum, r); err != nil {
		return nil, err
	}
	if err := box(share, n, r); err != nil {
		return nil, err
	}
	for i := range mean.V {
		if share.V[i] > 1e-6 {
			mean.V[i] /= share.V[i]
		}
	}
	full, err := newResized(mean, p.W, p.H)
	if err != nil {
		return nil, err
	}
	for i := range p.V {
		if f.surf.dist.V[i] > 0 && (count == nil || count.V[i] > 0) {
			p.V[i] -= full.V[i]
		} else {
			p.V[i] = 0
		}
	}
	return full, nil
}

// lift raises a map to another of its size, where the face is looked at.
func (f *searchFace) lift(to, from *part.Plane) {
	for i, d := range f.surf.dist.V {
		if d > 0 {
			to.V[i] = max(to.V[i], from.V[i])
		}
	}
}

// respondCoarse looks for what is large and faint. What the fine looks found is
// left out, or it would swell.
func (f *searchFace) respondCoarse(r *response) error {
	free := part.NewPlane(f.surf.w, f.surf.h)
	for i, d := range f.surf.dist.V {
		if d > 0 {
			free.V[i] = 1
		}
	}
	for _, b := range segment(r.ratio, float32(f.p.GrowShare), 1) {
		for _, i := range b {
			free.V[i] = 0
		}
	}
	if err := erode(free, max(1, int(0.1/f.mmPX+0.5))); err != nil {
		return err
	}
	const down = 2
	w, h := f.surf.w/down, f.surf.h/down
	ratio, ring := part.NewPlane(w, h), part.NewPlane(w, h)
	var raising sync.Mutex
	var looks errgroup.Group
	looks.SetLimit(f.p.Jobs)
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
func (f *searchFace) lookCoarse(l *look, r *response, free, ratio, ring *part.Plane, down int, raising *sync.Mutex) error {
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
			if at := float32(s.ringMM / f.mmPX); v > ratio.V[k] || (v == ratio.V[k] && at > ring.V[k]) {
				ratio.V[k], ring.V[k] = v, at
			}
		}
		raising.Unlock()
	}
	return nil
}

// raise lifts the map to a coarser one where that is larger.
func (f *searchFace) raise(r *response, ratio, ring *part.Plane, down int) error {
	full, err := newResized(ratio, ratio.W*down, ratio.H*down)
	if err != nil {
		return err
	}
	for y := range full.H {
		x0, x1 := f.insideRow(y)
		for x := x0; x < min(x1, full.W); x++ {
			i := y*r.ratio.W + x
			if v := full.V[y*full.W+x]; v > r.ratio.V[i] && f.surf.dist.V[i] > 0 {
				r.ratio.V[i], r.ring.V[i] = v, ring.V[y/down*ring.W+x/down]
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
