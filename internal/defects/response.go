package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"
)

// face is a scene made ready: everything in working pixels over the surface.
type face struct {
	scene    []Picture
	p        Params
	factor   int      // full-resolution pixels in a working pixel, per side
	mmPX     float64  // a working pixel's side
	surf     *surface // its dist counts from the rim's end once that is known
	channels []channel
	smooth   []*part.Plane // per channel: smoothed linear light
	base     []*part.Plane // per channel: base level, whole cells (its own stride)
	grid     cellGrid
	pal      *palette
	noise    []float64
	colour   [][3]int // the channels of each colour picture
	points   []int    // sampled pixels of the flat face
}

// response is the map in which defects stand out: 1 is the threshold.
type response struct {
	ratio   *part.Plane   // largest response over its threshold, at any size or beyond the pattern's ends
	left    []*part.Plane // per left-over direction: response in noise units, finest size
	pattern []*part.Plane // per pattern direction: the coordinate, noise units
	ends    [][2]float64  // per pattern direction: the pattern's own range
	fine    *part.Plane   // the same at the finest size only: for shapes
	ring    *part.Plane   // radius in working pixels where a ring fits best; 0 elsewhere
}

// project returns rows applied to each pixel's deviation from base.
func (f *face) project(rows [][]float64) []*part.Plane {
	w, h := f.surf.w, f.surf.h
	out := make([]*part.Plane, len(rows))
	for k := range rows {
		out[k] = part.NewPlane(w, h)
	}
	nc := len(f.channels)
	dev := make([]float32, nc)
	m := make([]float32, len(rows)*nc)
	for k, r := range rows {
		for c, v := range r {
			m[k*nc+c] = float32(v)
		}
	}
	for y := range h {
		for x := range w {
			i := y*w + x
			if f.surf.dist.V[i] <= 0 {
				continue
			}
			for c := range nc {
				dev[c] = f.smooth[c].V[i] - f.base[c].V[y*f.base[c].W+x]
			}
			for k := range rows {
				s, row := float32(0), m[k*nc:(k+1)*nc]
				for c, d := range dev {
					s += row[c] * d
				}
				out[k].V[i] = s
			}
		}
	}
	return out
}

// look is one way of looking at the face: planes whose length is the response,
// and where they count (nil: everywhere).
type look struct {
	planes []*part.Plane
	weight *part.Plane
	sign   []float32 // per plane: only this side counts; 0: both; nil: all both
	rings  bool      // look for rings too
}

// groundLooks looks at the ground between a pattern's figures, flakes for
// instance, as at a plain faceplate: there even a faint dimming under one light
// shows. A pattern that leaves no ground gives no look.
func (f *face) groundLooks(pattern []*part.Plane) ([]look, error) {
	if len(pattern) == 0 {
		return nil, nil
	}
	w, h := f.surf.w, f.surf.h
	off := part.NewPlane(w, h)
	for _, p := range pattern {
		v := make([]float64, 0, len(f.points))
		for _, i := range f.points {
			v = append(v, float64(p.V[i]))
		}
		slices.Sort(v)
		mid := v[len(v)/2]
		for i := range v {
			v[i] = math.Abs(v[i] - mid)
		}
		slices.Sort(v)
		s := 1.4826 * v[len(v)/2]
		if s > groundNoise {
			return nil, nil
		}
		m, g := float32(mid), float32(1/(groundWidth*s))
		for i, x := range p.V {
			d := (x - m) * g
			off.V[i] = max(off.V[i], d, -d)
		}
	}
	weight := part.NewPlane(w, h)
	r := max(1, int(groundReachMM/f.mmPX+0.5))
	for i, o := range off.V {
		if o < 1 && f.surf.dist.V[i] > 0 {
			weight.V[i] = 1
		}
	}
	if err := erode(weight, r); err != nil {
		return nil, err
	}
	pal, err := learnPalette(f.samples(func(i int) bool { return weight.V[i] > 0 }), f.noise, f.bases(), f.colour, 0)
	if err != nil {
		return nil, nil // too little ground
	}
	left := f.project(pal.left)
	for _, p := range left {
		for i := range p.V {
			p.V[i] *= weight.V[i]
		}
		if err := f.levelOut(p, weight); err != nil {
			return nil, err
		}
		for i := range p.V {
			p.V[i] *= weight.V[i]
		}
	}
	side, ok := figureSide(pattern[0], f.points)
	if !ok {
		return nil, nil
	}
	g := f.glossDirections(pal)
	var out []look
	gain := make([]float64, len(g))
	planes := make([]*part.Plane, len(g))
	for i := range g {
		for j := range i { // directions at right angles to each other
			d := dot(g[i], g[j])
			for k := range g[i] {
				g[i][k] -= d * g[j][k]
			}
		}
		if n := norm(g[i]); n > 0 {
			for k := range g[i] {
				g[i][k] /= n
			}
		}
		planes[i], gain[i] = combine(left, g[i]), f.patternGain(g[i], pal)*side
		sign := float32(-1) // bright figures: only what is dimmer than the ground is none of them
		if gain[i] < 0 {
			sign = 1
		}
		out = append(out, look{planes: planes[i : i+1], weight: weight, sign: []float32{sign}, rings: f.scene[i].Shot.Light != part.Raking})
	}
	if len(g) == 2 {
		n := norm(gain)
		across := combine(planes, []float64{-gain[1] / n, gain[0] / n})
		along := combine(planes, []float64{gain[0] / n, gain[1] / n})
		out = append(out, look{planes: []*part.Plane{across}, weight: weight}, look{planes: []*part.Plane{along}, weight: weight, sign: []float32{-1}})
	}
	return out, nil
}

// figureSide says on which side of the ground a pattern's figures lie along its
// direction: the longer tail. ok is false where both tails are long.
func figureSide(p *part.Plane, points []int) (side float64, ok bool) {
	v := make([]float64, 0, len(points))
	for _, i := range points {
		v = append(v, float64(p.V[i]))
	}
	slices.Sort(v)
	at := func(q float64) float64 { return v[min(len(v)-1, int(q*float64(len(v))))] }
	up, down := at(.99)-at(.5), at(.5)-at(.01)
	switch {
	case up > 3*down:
		return 1, true
	case down > 3*up:
		return -1, true
	}
	return 0, false
}

// patternGain is how far a step along the pattern's first direction moves a
// ground direction g.
func (f *face) patternGain(g []float64, pal *palette) float64 {
	s := 0.0
	for k, row := range pal.left {
		for c := range row {
			s += g[k] * row[c] * f.pal.pigment[0][c] * f.noise[c]
		}
	}
	return s
}

// groundNoise is the widest spread, in noise units, that still counts as one
// ground; groundWidth the spreads within which a pixel belongs to it, and
// groundReachMM how far around a figure its light still falls.
const (
	groundNoise   = 5.0
	groundWidth   = 8.0
	groundReachMM = 0.03
)

func (f *face) bases() []float64 {
	b := make([]float64, len(f.channels))
	for c := range b {
		b[c] = f.channels[c].base
	}
	return b
}

// scale is one size of things to look for: how far a plane is averaged down,
// the Gaussian's standard deviation then, and a ring's radius (0: none), both in
// pixels of the averaged plane.
type scale struct {
	down        int
	sigma, ring float64
}

var (
	fineScales   = []scale{{1, 0, 0}, {2, 0.9, 0}}
	coarseScales = []scale{{4, 1.0, 0}, {4, 2.5, 0}}
)

// respond makes the response map.
func (f *face) respond() (*response, error) {
	r := &response{left: f.project(f.pal.left), pattern: f.project(f.pal.axis)}
	for _, p := range r.left {
		if err := f.levelOut(p, nil); err != nil {
			return nil, err
		}
	}
	w, h := f.surf.w, f.surf.h
	r.ratio, r.fine, r.ring = part.NewPlane(w, h), part.NewPlane(w, h), part.NewPlane(w, h)
	looks := []look{{planes: r.left}}
	for pic, g := range f.glossDirections(f.pal) {
		looks = append(looks, look{planes: []*part.Plane{combine(r.left, g)}, rings: f.scene[pic].Shot.Light != part.Raking})
	}
	ground, err := f.groundLooks(r.pattern)
	if err != nil {
		return nil, err
	}
	looks = append(looks, ground...)
	for _, l := range looks {
		for _, s := range fineScales {
			if err := f.take(r, l, s); err != nil {
				return nil, err
			}
		}
	}
	for _, p := range r.pattern {
		r.ends = append(r.ends, f.beyondEnds(r, p))
		if err := f.takeDetail(r, p); err != nil {
			return nil, err
		}
	}
	return r, f.respondCoarse(r, looks)
}

// takeDetail raises the ratio where a pattern's coordinate has detail finer than
// the pattern's own: a thin fibre on stone, whose grain is soft. Where the
// pattern itself is sharp, its detail sets the threshold and nothing is raised.
func (f *face) takeDetail(r *response, pattern *part.Plane) error {
	fine := pattern
	inside := part.NewPlane(pattern.W, pattern.H)
	for i, d := range f.surf.dist.V {
		if d > 0 {
			inside.V[i] = 1
		}
	}
	share := part.NewPlane(pattern.W, pattern.H)
	for _, sigma := range detailSigmas {
		soft := part.NewPlane(pattern.W, pattern.H)
		if err := gauss(soft, pattern, sigma); err != nil {
			return err
		}
		if err := gauss(share, inside, sigma); err != nil {
			return err
		}
		d := part.NewPlane(pattern.W, pattern.H)
		for i := range soft.V {
			if inside.V[i] > 0 {
				soft.V[i] /= share.V[i]
			}
		}
		for i := range d.V {
			d.V[i] = fine.V[i] - soft.V[i]
		}
		if err := f.take(r, look{planes: []*part.Plane{d}}, scale{1, 0, 0}); err != nil {
			return err
		}
		fine = soft
	}
	return nil
}

// detailSigmas are the Gaussians, in working pixels, whose differences make the
// bands of fine detail.
var detailSigmas = []float64{1.7, 3.4}

// respondCoarse looks for what is large and faint. What the fine looks found is
// left out, or it would swell.
func (f *face) respondCoarse(r *response, looks []look) error {
	free := part.NewPlane(f.surf.w, f.surf.h)
	for i, d := range f.surf.dist.V {
		if d > 0 {
			free.V[i] = 1
		}
	}
	for _, b := range segment(r.ratio, float32(f.p.GrowShare), 2) {
		for _, i := range b {
			free.V[i] = 0
		}
	}
	if err := erode(free, max(1, int(0.1/f.mmPX+0.5))); err != nil {
		return err
	}
	for _, l := range looks {
		masked := look{sign: l.sign, weight: part.NewPlane(free.W, free.H)}
		for i, v := range free.V {
			if l.weight != nil {
				v *= l.weight.V[i]
			}
			masked.weight.V[i] = v
		}
		for _, p := range l.planes {
			q := part.NewPlane(p.W, p.H)
			for i, v := range p.V {
				q.V[i] = v * masked.weight.V[i]
			}
			masked.planes = append(masked.planes, q)
		}
		scales := coarseScales
		if l.rings {
			for _, mm := range ringRadiiMM {
				scales = append(scales, scale{ringDown, 0.7, mm / f.mmPX / ringDown})
			}
		}
		for _, s := range scales {
			if err := f.take(r, masked, s); err != nil {
				return err
			}
		}
	}
	return nil
}

// take raises the ratio by one look at one size.
func (f *face) take(r *response, l look, s scale) error {
	chi, err := f.chiAt(l, s)
	if err != nil {
		return err
	}
	t := f.threshold(chi, s)
	for i := range chi.V {
		chi.V[i] /= t
	}
	return f.raise(r, chi, s)
}

// ringRadiiMM are the radii at which rings are looked for: under a dome a crater
// is little more than its rim. ringDown is how far the picture is averaged down.
var ringRadiiMM = []float64{0.17, 0.25, 0.34, 0.43}

const ringDown = 4

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

// raise lifts the ratio to one look's map where that is larger.
func (f *face) raise(r *response, m *part.Plane, s scale) error {
	ratio, down := r.ratio, s.down
	if down > 1 {
		var err error
		if m, err = newResized(m, m.W*down, m.H*down); err != nil {
			return err
		}
	}
	for y := range m.H {
		for x := range m.W {
			i := y*ratio.W + x
			if v := m.V[y*m.W+x]; v > ratio.V[i] && f.surf.dist.V[i] > 0 {
				ratio.V[i] = v
				r.ring.V[i] = float32(s.ring * float64(down))
			}
			if down == 1 && f.surf.dist.V[i] > 0 {
				r.fine.V[i] = max(r.fine.V[i], m.V[y*m.W+x])
			}
		}
	}
	return nil
}

// combine returns the sum of planes, each times its weight.
func combine(planes []*part.Plane, weight []float64) *part.Plane {
	out := part.NewPlane(planes[0].W, planes[0].H)
	for k, p := range planes {
		w := float32(weight[k])
		for i, v := range p.V {
			out.V[i] += w * v
		}
	}
	return out
}

// glossDirections are the directions, in the space of the left-over, in which
// the lacquer's own faults move a pixel, one for each picture: its light gets
// dimmer or brighter, half in the surface's own colour, half in the lamp's.
func (f *face) glossDirections(pal *palette) [][]float64 {
	var out [][]float64
	for pic := range f.scene {
		g := make([]float64, len(f.channels))
		mean, n := 0.0, 0.0
		for _, ch := range f.channels {
			if ch.pic == pic {
				mean += ch.base
				n++
			}
		}
		for c, ch := range f.channels {
			if ch.pic == pic {
				g[c] = ch.base + mean/n
			}
		}
		d := make([]float64, len(pal.left))
		for k, row := range pal.left {
			d[k] = dot(row, g)
		}
		l := norm(d)
		for k := range d {
			d[k] /= l
		}
		out = append(out, d)
	}
	return out
}

// levelOut takes the local mean off a plane, far values left out so that a large
// defect leaves no halo; only pixels with weight count (nil: the whole face).
func (f *face) levelOut(p, count *part.Plane) error {
	const down, clip = 4, 6
	w, h := p.W/down*down, p.H/down*down
	small, weight := part.NewPlane(w/down, h/down), part.NewPlane(w/down, h/down)
	for y := range h {
		for x := range w {
			i := y*p.W + x
			if v := p.V[i]; f.surf.dist.V[i] > 0 && v > -clip && v < clip && (count == nil || count.V[i] > 0) {
				j := y/down*small.W + x/down
				small.V[j] += v
				weight.V[j]++
			}
		}
	}
	r := max(2, int(0.6/f.mmPX/down/2+0.5))
	mean, n := part.NewPlane(small.W, small.H), part.NewPlane(small.W, small.H)
	if err := box(mean, small, r); err != nil {
		return err
	}
	if err := box(n, weight, r); err != nil {
		return err
	}
	for i := range mean.V {
		if n.V[i] > 0 {
			mean.V[i] /= n.V[i]
		}
	}
	full, err := newResized(mean, w, h)
	if err != nil {
		return err
	}
	for y := range h {
		for x := range w {
			if i := y*p.W + x; f.surf.dist.V[i] > 0 {
				p.V[i] -= full.V[y*w+x]
			}
		}
	}
	return nil
}

// chiAt returns the length of a look's vector at one size, each plane scaled to
// unit noise at that size; with a ring radius (averaged pixels) the means over
// rings.
func (f *face) chiAt(l look, sc scale) (*part.Plane, error) {
	var weight *part.Plane
	if l.weight != nil {
		var err error
		if weight, err = newCoarse(l.weight, sc.down, sc.sigma); err != nil {
			return nil, err
		}
	}
	var out *part.Plane
	for k, p := range l.planes {
		sign := float32(0)
		if l.sign != nil {
			sign = l.sign[k]
		}
		q, err := newCoarse(p, sc.down, sc.sigma)
		if err != nil {
			return nil, err
		}
		if weight != nil {
			for i, w := range weight.V {
				if w < 0.25 {
					q.V[i] = 0
				} else {
					q.V[i] /= float32(math.Sqrt(float64(w)))
				}
			}
		}
		if sc.ring > 0 {
			q = ringMean(q, sc.ring)
		}
		if out == nil {
			out = part.NewPlane(q.W, q.H)
		}
		s := f.spreadOf(q, weight, sc.down)
		inv := float32(1 / (s * s))
		for i, v := range q.V {
			if v*sign < 0 {
				continue
			}
			out.V[i] += v * v * inv
		}
	}
	for i, v := range out.V {
		out.V[i] = float32(math.Sqrt(float64(v)))
	}
	return out, nil
}

// newCoarse averages a plane down and blurs it; always a copy.
func newCoarse(p *part.Plane, down int, sigma float64) (*part.Plane, error) {
	q := part.NewPlane(p.W, p.H)
	if down > 1 {
		var err error
		if q, err = newResized(p, p.W/down, p.H/down); err != nil {
			return nil, err
		}
	} else if sigma == 0 {
		copy(q.V, p.V)
	}
	if sigma == 0 {
		return q, nil
	}
	src := p
	if down > 1 {
		src = q
	}
	b := part.NewPlane(src.W, src.H)
	return b, gauss(b, src, sigma)
}

// spreadOf is a plane's noise at the sampled points: the scaled median of the
// absolute value, or a wider quantile's where the tails are heavier.
func (f *face) spreadOf(q, weight *part.Plane, down int) float64 {
	var a []float32
	for _, i := range f.points {
		x, y := i%f.surf.w/down, i/f.surf.w/down
		if x < q.W && y < q.H && (weight == nil || weight.V[y*q.W+x] >= 0.25) {
			v := q.V[y*q.W+x]
			a = append(a, max(v, -v))
		}
	}
	if len(a) == 0 {
		return 1
	}
	slices.Sort(a)
	s := max(float64(a[len(a)/2])*1.4826, float64(a[len(a)*98/100])/2.326)
	return max(s, 1e-6)
}

// threshold is the response that noise reaches on a whole face with the chance
// FalsePerFace. The largest values of cells follow Gumbel's law (Gumbel 1958,
// Statistics of Extremes); its place and scale come from the median and the
// third quartile of the cells, which few defects do not move.
func (f *face) threshold(chi *part.Plane, s scale) float32 {
	down, allowed := s.down, f.p.FalsePerFace
	if down >= ringDown {
		allowed /= 4 // there are more looks at large sizes, and fewer places
	}
	g := newCellGrid(chi.W, chi.H, max(4, f.grid.cell/down))
	top := make([]float64, g.nx*g.ny)
	full := make([]int, g.nx*g.ny)
	for y := range chi.H {
		for x := range chi.W {
			if f.surf.dist.V[min(y*down, f.surf.h-1)*f.surf.w+min(x*down, f.surf.w-1)] <= 0 {
				continue
			}
			c := y/g.cell*g.nx + x/g.cell
			full[c]++
			top[c] = max(top[c], float64(chi.V[y*chi.W+x]))
		}
	}
	var m []float64
	for c := range top {
		if full[c] > g.cell*g.cell/2 {
			m = append(m, top[c])
		}
	}
	if len(m) < 12 {
		return float32(f.p.MinResponse * 1.5)
	}
	slices.Sort(m)
	q50, q75 := m[len(m)/2], m[len(m)*3/4]
	gumbel := func(p float64) float64 { return -math.Log(-math.Log(p)) }
	beta := (q75 - q50) / (gumbel(.75) - gumbel(.5))
	t := q50 + beta*(gumbel(1-allowed/float64(len(m)))-gumbel(.5))
	return float32(max(t, f.p.MinResponse))
}

// beyondEnds raises the ratio where a pixel lies beyond the ends of the
// pattern's own range: the tail's outer quantiles carried on by three times
// their distance, about 4.8 standard deviations for a normal tail. It returns
// the range between the outer quantiles.
func (f *face) beyondEnds(r *response, t *part.Plane) [2]float64 {
	v := make([]float32, 0, len(f.points))
	for _, i := range f.points {
		v = append(v, t.V[i])
	}
	slices.Sort(v)
	at := func(q float64) float32 { return v[min(len(v)-1, int(q*float64(len(v))))] }
	lo, lo2 := at(.003), at(.02)
	hi, hi2 := at(.997), at(.98)
	ls, hs := max(4*(lo2-lo), 2), max(4*(hi-hi2), 2)
	for i, x := range t.V {
		if f.surf.dist.V[i] <= 0 {
			continue
		}
		over := max((lo2-x)/ls, (x-hi2)/hs)
		r.ratio.V[i], r.fine.V[i] = max(r.ratio.V[i], over), max(r.fine.V[i], over)
	}
	return [2]float64{float64(lo), float64(hi)}
}
