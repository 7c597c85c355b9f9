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

// rangeEnds is where a pattern's own range ends along one direction: half is the
// largest coordinate of the typical cell, limit what no cell should reach.
type rangeEnds struct {
	mid, lowHalf, lowLimit, highHalf, highLimit float32
	tamed                                       []float32 // per block of the rim
}

// beyond is 1 at the limit and a half where the typical cell's largest lies.
func (e rangeEnds) beyond(t float32) float32 {
	half := func(v, half, limit float32) float32 { return 0.5 + 0.5*(v-half)/max(limit-half, 1e-3) }
	return max(0, half(t-e.mid, e.highHalf, e.highLimit), half(e.mid-t, e.lowHalf, e.lowLimit))
}

// detailBand is a band of fine detail of a pattern's coordinate: what a Gaussian
// of one standard deviation takes off what another left.
type detailBand struct {
	sigmaMM   float64
	spread    float64
	threshold float32
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
func (f *face) respond() (*response, error) {
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
func (f *face) lookFine(l *look, r *response, raising *sync.Mutex) error {
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
func (f *face) lookAt(l *look, r *response) error {
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
func (f *face) project(rows [][]float64) []*part.Plane {
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
func (f *face) insideRow(y int) (x0, x1 int) {
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
func (f *face) levelOut(p, count *part.Plane) (*part.Plane, error) {
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
func (f *face) lift(to, from *part.Plane) {
	for i, d := range f.surf.dist.V {
		if d > 0 {
			to.V[i] = max(to.V[i], from.V[i])
		}
	}
}

// takePattern raises the map where a pattern's coordinate is not the pattern's:
// beyond its ends, or in detail finer than its own (a thin fibre on stone, whose
// grain is soft). Where the pattern itself is sharp, its own detail sets the
// threshold, and nothing is raised.
func (f *face) takePattern(r *response, p *part.Plane) error {
	e := f.endsOf(p)
	off := part.NewPlane(p.W, p.H)
	for i, d := range f.surf.dist.V {
		if d > 0 {
			off.V[i] = p.V[i] - e.mid
		}
	}
	e.tamed = f.tame(off, 1)
	r.ends = append(r.ends, e)
	for i, d := range f.surf.dist.V {
		if d > 0 {
			r.ratio.V[i] = max(r.ratio.V[i], e.beyond(e.mid+off.V[i]))
		}
	}
	inside := part.NewPlane(p.W, p.H)
	for i, d := range f.surf.dist.V {
		if d > 0 {
			inside.V[i] = 1
		}
	}
	var bands []detailBand
	fine := p
	for _, mm := range detailMM {
		soft, err := newSoft(fine, inside, mm/f.mmPX)
		if err != nil {
			return err
		}
		d := part.NewPlane(p.W, p.H)
		for i := range d.V {
			d.V[i] = fine.V[i] - soft.V[i]
		}
		band := detailBand{sigmaMM: mm, spread: f.spreadOf(d, nil, 1)}
		ratio, t, err := f.ratioAt([]*part.Plane{d}, nil, &look{}, scale{down: 1})
		if err != nil {
			return err
		}
		band.threshold = t
		f.lift(r.ratio, ratio)
		bands = append(bands, band)
		fine = soft
	}
	r.detail = append(r.detail, bands)
	return nil
}

// newSoft blurs a plane, counting only pixels inside.
func newSoft(p, inside *part.Plane, sigmaPX float64) (*part.Plane, error) {
	soft, share := part.NewPlane(p.W, p.H), part.NewPlane(p.W, p.H)
	if err := gauss(soft, p, sigmaPX); err != nil {
		return nil, err
	}
	if err := gauss(share, inside, sigmaPX); err != nil {
		return nil, err
	}
	for i, in := range inside.V {
		if in > 0 {
			soft.V[i] /= share.V[i]
		} else {
			soft.V[i] = 0
		}
	}
	return soft, nil
}

// endsOf tells a pattern's range along one direction.
func (f *face) endsOf(p *part.Plane) rangeEnds {
	mid := float32(median(f.valuesAt(p)))
	e := rangeEnds{mid: mid}
	up, down := part.NewPlane(p.W, p.H), part.NewPlane(p.W, p.H)
	for i, v := range p.V {
		up.V[i], down.V[i] = v-mid, mid-v
	}
	e.highHalf, e.highLimit = f.endOf(up)
	e.lowHalf, e.lowLimit = f.endOf(down)
	return e
}

// endOf tells one end of a range of distances from the middle: from the cells'
// extremes, or from the tail of all pixels where that is nearer. Defects widen
// the tail, and a pattern that differs from cell to cell widens the extremes;
// neither reaches less far than the pattern. The tail's end is its outer quantile
// carried on by three times the distance from an inner one: 4.8 standard
// deviations for a normal tail.
func (f *face) endOf(d *part.Plane) (half, limit float32) {
	half, limit = f.extremes(d, 1)
	v := f.valuesAt(d)
	outer, inner := quantile(v, .997), quantile(v, .98)
	if tail := float32(max(inner+4*(outer-inner), f.p.MinResponse)); tail < limit {
		return float32(inner + 2*(outer-inner)), tail
	}
	return half, limit
}

// respondCoarse looks for what is large and faint. What the fine looks found is
// left out, or it would swell.
func (f *face) respondCoarse(r *response) error {
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
func (f *face) lookCoarse(l *look, r *response, free, ratio, ring *part.Plane, down int, raising *sync.Mutex) error {
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
func (f *face) raise(r *response, ratio, ring *part.Plane, down int) error {
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

// minWeight is the share of a blurred pixel that must count for it to be told.
const minWeight = 0.25

// ratioAt returns the length of a look's values at one size, each scaled to unit
// noise at that size, over its threshold; and the threshold. The planes are
// averaged down to the size already; weight, averaged likewise, is the share of
// each pixel that counts (nil: all).
func (f *face) ratioAt(planes []*part.Plane, weight *part.Plane, l *look, s scale) (*part.Plane, float32, error) {
	sigmaPX := s.sigmaMM / f.mmPX / float64(s.down)
	share := weight
	if weight != nil && sigmaPX > 0 {
		share = part.NewPlane(weight.W, weight.H)
		if err := gauss(share, weight, sigmaPX); err != nil {
			return nil, 0, err
		}
	}
	var out *part.Plane
	for k, p := range planes {
		q := p
		if sigmaPX > 0 {
			q = part.NewPlane(p.W, p.H)
			if err := gauss(q, p, sigmaPX); err != nil {
				return nil, 0, err
			}
		}
		if share != nil && sigmaPX > 0 {
			for i, w := range share.V {
				if w < minWeight {
					q.V[i] = 0
				} else {
					q.V[i] /= float32(math.Sqrt(float64(w)))
				}
			}
		}
		if s.ringMM > 0 {
			q = ringMean(q, s.ringMM/f.mmPX/float64(s.down))
		}
		if out == nil {
			out = part.NewPlane(q.W, q.H)
		}
		sd := f.spreadOf(q, share, s.down)
		if l.rows != nil {
			light, colour := codingShare(s)
			sd = max(sd, codingFloor(l.rows[k], f.pal.coding, light, colour))
		}
		scale := 1 / float32(sd)
		sign := float32(0)
		if l.sign != nil {
			sign = l.sign[k]
		}
		for i, v := range q.V {
			if v*sign < 0 {
				continue
			}
			if v *= scale; len(planes) == 1 {
				out.V[i] = max(v, -v)
			} else {
				out.V[i] += v * v
			}
		}
	}
	if len(planes) > 1 {
		for i, v := range out.V {
			out.V[i] = float32(math.Sqrt(float64(v)))
		}
	}
	tamed := f.tame(out, s.down)
	if s.down == 1 && s.sigmaMM == 0 {
		l.tamed = tamed
	}
	t := f.threshold(out, s.down)
	inv := 1 / t
	for i := range out.V {
		out.V[i] *= inv
	}
	return out, t, nil
}

// codingShare is how much of the quantising's steps a size lets through: those
// of light change from pixel to pixel, those of colour come in patches.
func codingShare(s scale) (light, colour float64) {
	switch {
	case s.sigmaMM >= 0.1 || s.ringMM > 0:
		return 0.15, 0.5
	case s.sigmaMM >= 0.05:
		return 0.15, 1
	}
	return 1, 1
}

// spreadOf is a plane's noise at the sampled points: the scaled median of the
// absolute value, or a wider quantile's where the tails are heavier.
func (f *face) spreadOf(q, share *part.Plane, down int) float64 {
	every := max(1, len(f.points)/4000)
	a := make([]float64, 0, len(f.points)/every+1)
	for k := 0; k < len(f.points); k += every {
		x, y := f.points[k]%f.surf.w/down, f.points[k]/f.surf.w/down
		if x < q.W && y < q.H && (share == nil || share.V[y*q.W+x] >= minWeight) {
			a = append(a, math.Abs(float64(q.V[y*q.W+x])))
		}
	}
	if len(a) == 0 {
		return 1
	}
	return max(madToSD*median(a), quantile(a, .95)/1.96, 1e-6)
}

// threshold is the response that noise reaches somewhere on a face with the
// chance FalsePerFace.
func (f *face) threshold(chi *part.Plane, down int) float32 {
	_, t := f.extremes(chi, down)
	return t
}

// extremes returns the largest value of the typical cell, and the value that
// only the share FalsePerFace of faces reaches anywhere. The largest values of
// cells follow Gumbel's law (Gumbel 1958, Statistics of Extremes); its place and
// scale come from the median and the third quartile of the cells, which few
// defects do not move.
func (f *face) extremes(chi *part.Plane, down int) (typical, limit float32) {
	m := f.cellMaxima(chi, down)
	if len(m) < fewCells {
		t := float32(f.p.MinResponse * 1.5)
		return t / 2, t
	}
	allowed := f.p.FalsePerFace
	if down > 1 {
		allowed /= 2 // there are more looks at large sizes
	}
	q50 := quantile(m, .5)
	return float32(q50), max(gumbelLimit(m, allowed, false), float32(f.p.MinResponse))
}

// fewCells are too few to tell a limit by.
const fewCells = 12

// cellMaxima are the largest values of the cells that the face fills.
func (f *face) cellMaxima(chi *part.Plane, down int) []float64 {
	g := newCellGrid(chi.W, chi.H, max(4, f.grid.cell/down))
	top := make([]float32, g.nx*g.ny)
	full := make([]int, g.nx*g.ny)
	for y := range chi.H {
		dist := f.surf.dist.V[min(y*down, f.surf.h-1)*f.surf.w:]
		row := chi.V[y*chi.W : (y+1)*chi.W]
		for cx := range g.nx {
			c := y/g.cell*g.nx + cx
			most, n := top[c], 0
			for x := cx * g.cell; x < min(chi.W, (cx+1)*g.cell); x++ {
				if dist[min(x*down, f.surf.w-1)] > 0 {
					n++
					most = max(most, row[x])
				}
			}
			top[c] = most
			full[c] += n
		}
	}
	var m []float64
	for c := range top {
		if full[c] > g.cell*g.cell/2 {
			m = append(m, float64(top[c]))
		}
	}
	return m
}

// gumbelLimit is what the largest of so many maxima exceeds with the chance
// allowed: Gumbel's law, its place and scale from the median and the third
// quartile, or, for a heavy tail, from the third quartile and the ninth tenth where
// that is wider.
func gumbelLimit(maxima []float64, allowed float64, heavy bool) float32 {
	q50, q75 := quantile(maxima, .5), quantile(maxima, .75)
	gumbel := func(p float64) float64 { return -math.Log(-math.Log(p)) }
	beta := (q75 - q50) / (gumbel(.75) - gumbel(.5))
	if heavy {
		beta = max(beta, (quantile(maxima, .9)-q75)/(gumbel(.9)-gumbel(.75)))
	}
	return float32(q50 + beta*(gumbel(1-allowed/float64(len(maxima)))-gumbel(.5)))
}
