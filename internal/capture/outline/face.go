package outline

import (
	"cmp"
	"fmt"
	"math"
	"math/bits"
	"slices"
	"sort"

	"finishbench/internal/lang"

	"finishbench/internal/part"
)

// ErrNoOutline says that pictures of a face show no closed outline: the face
// fills the frame, or is like its ground.
var ErrNoOutline = lang.Error(part.Say("outline.no_outline"))

// Curve is a face's outline: a smooth closed curve about a middle.
type Curve struct {
	Picture int        // index of the picture that shows it best, in whose pixels it is
	Middle  part.Point // full-resolution pixels
	RadiusN []float64  // radius at equal angles from the x axis towards y, full-resolution pixels
	UPX     float64    // standard uncertainty of a place across it: how far the edges seen scatter about it
	Seen    float64    // share of the curve at which an edge was seen on it, 0..1
}

// Points are the curve's points, closed, clockwise as seen.
func (c *Curve) Points() []part.Point {
	out := make([]part.Point, len(c.RadiusN))
	for k, r := range c.RadiusN {
		s, co := math.Sincos(2 * math.Pi * float64(k) / float64(len(c.RadiusN)))
		out[k] = part.Point{X: c.Middle.X + r*co, Y: c.Middle.Y + r*s}
	}
	return out
}

// How a face's outline is sought. Common practice, no source.
const (
	angles       = 180  // directions from the middle in which it is sought
	curveN       = 360  // and in which it is told
	beside       = 4    // samples compared on either side of it
	steepest     = 2    // samples that it may come nearer or go farther from one direction to the next
	stiffness    = 0.03 // what a change of radius of one sample costs, in units of an edge of full strength
	evenLevel    = 3.0  // levels that count as no difference
	leastEdge    = 0.32 // mean strength of the edge along an outline
	leastApart   = 0.06 // how much more ground-like it is outside than inside, mean
	plentyOfEdge = 0.75 // with more than these no other middle is tried
	farApart     = 0.4
	tilted       = 0.01 // what a sample of radius counts where of two edges either may be the outline
	blurCounts   = 0.1  // a pixel of scatter about a curve counts as much as this share of it unseen
	edgeCounts   = 1.5  // the edge counts so many times as much as how ground-like it is outside
	roughness    = 10.0 // what a path costs that is off a smooth one by its whole radius
	holderShare  = 0.3  // a holder reaches no farther than this beside a unit, as a share of its radius
	orders       = 14   // of the smooth curve's Fourier series
	clearSeen    = 0.95 // a curve of which so much is seen,
	clearPX      = 0.5  // about which the edges scatter by no more, is taken without a doubt
	leastSeen    = 0.5  // share of the curve with an edge on it
)

// Face finds the outline of a faceplate in all pictures of one pose together, on
// any ground that reaches the frame's edge: bright, dark, woven, printed. What
// counts is not a level but a change: a closed path around a middle across which
// mean or texture of any colour in any picture changes, against its scatter beside
// the path (Fisher's ratio). The path is the best one by dynamic programming in
// polar coordinates (Bellman 1957; closed by going around twice); of several, the
// one is taken outside which it looks as it does at the frame's edge. A holder, pin or lump of
// putty that touches the unit covers part of that path and is passed by, as the
// path is stiff. Then the edge is placed in the picture that shows it best, at its
// steepest place along the normal, and a Fourier series of low order is fitted to
// those places, with Tukey's biweight.
func Face(images []*part.Image) (*Curve, error) {
	ts, err := thinnedPose(images)
	if err != nil {
		return nil, err
	}
	g := newGround(ts)
	var best *path
	try := func(x, y float64) {
		if p := bestPath(ts, g, [2]float64{x, y}); p != nil && (best == nil || p.score > best.score) {
			best = p
		}
	}
	try(float64(ts[0].w)/2, float64(ts[0].h)/2)
	// Where the frame's middle is none of the unit's: the middles of what stands out.
	for _, im := range images {
		if best != nil && best.edge > plentyOfEdge && best.apart > farApart {
			break
		}
		if s, err := Find(im); err == nil {
			c := s.Box.Centre()
			try(c.X/float64(s.Step), c.Y/float64(s.Step))
		}
	}
	if best == nil || best.edge < leastEdge || best.apart < leastApart {
		return nil, ErrNoOutline
	}
	var curves []*Curve
	add := func(p *path, from, to int) {
		for i := from; i < to; i++ {
			if r := p.refined(images[i], ts[i]); r != nil {
				r.Picture = i
				curves = append(curves, r)
			}
		}
	}
	add(best, 0, len(ts))
	c := clearest(curves)
	// On cloth its own edges mislead the path: then it counts, too, where the ground ends.
	// And those of one picture may mislead the path that all show together.
	if c == nil || c.Seen < clearSeen || c.UPX > clearPX {
		middle := [2]float64{best.x, best.y}
		g.spread()
		sets := [][2]int{{0, len(ts)}}
		for i := 0; len(ts) > 1 && i < len(ts); i++ {
			sets = append(sets, [2]int{i, i + 1})
		}
		for k, in := range sets {
			own, of := ts[in[0]:in[1]], g
			if k > 0 {
				of = newGround(own)
				of.spread()
			}
			if p := bestPath(own, of, middle); p != nil && p.edge >= leastEdge && p.apart >= leastApart {
				add(p, in[0], in[1])
			}
		}
		c = clearest(curves)
	}
	if c == nil || c.Seen < leastSeen {
		return nil, ErrNoOutline
	}
	return c, nil
}

// thinnedPose thins all pictures of one pose, which are of one size.
func thinnedPose(images []*part.Image) ([]*thinned, error) {
	var ts []*thinned
	for _, im := range images {
		if err := im.Validate(); err != nil {
			return nil, err
		}
		if im.W < 64 || im.H < 64 {
			return nil, fmt.Errorf("outline: a picture of %d x %d pixels is too small", im.W, im.H)
		}
		if im.W != images[0].W || im.H != images[0].H {
			return nil, fmt.Errorf("outline: pictures of one pose must be of one size")
		}
		ts = append(ts, withTexture(im))
	}
	return ts, nil
}

// clearest is the curve of which most is seen, about which the edges scatter least;
// nil for none.
func clearest(curves []*Curve) *Curve {
	var best *Curve
	for _, c := range curves {
		if best == nil || c.Seen-blurCounts*c.UPX > best.Seen-blurCounts*best.UPX {
			best = c
		}
	}
	return best
}

// withTexture thins a picture and gives each sample one more channel: how uneven
// the green or grey pixels of its block are.
func withTexture(im *part.Image) *thinned {
	t := thin(im)
	o := &thinned{w: t.w, h: t.h, c: t.c + 1, step: t.step, v: make([]uint8, t.w*t.h*(t.c+1))}
	// By the variance in 1/n^2, to a quarter of a power of two.
	n := math.Pow(float64(blockSide(t.step)), 4)
	var table [140]uint8
	for i := range table {
		table[i] = uint8(min(255, 24*math.Log(1+math.Sqrt(math.Exp2(float64(i)/4-1)/n))))
	}
	if im.Pix16 != nil {
		textureInto(o, t, im.Pix16, im.W, 8, &table)
	} else {
		textureInto(o, t, im.Pix8, im.W, 0, &table)
	}
	return o
}

func textureInto[T uint8 | uint16](o, t *thinned, pix []T, w int, shift uint, table *[140]uint8) {
	c, step := t.c, t.step
	every := max(1, step/4)
	side := blockSide(step)
	n := uint32(side * side)
	next := every * c // samples from one pixel to the next
	for j := range t.h {
		for i := range t.w {
			var s, ss uint32
			for dy := range side {
				line := pix[((j*step+dy*every)*w+i*step)*c+c/2:]
				if side == 4 { // of 2 megapixels; four at once are twice as fast
					v3, v2, v1, v0 := uint32(line[3*next]>>(shift&15)), uint32(line[2*next]>>(shift&15)), uint32(line[next]>>(shift&15)), uint32(line[0]>>(shift&15))
					s += v0 + v1 + v2 + v3
					ss += v0*v0 + v1*v1 + v2*v2 + v3*v3
					continue
				}
				for k := range side {
					v := uint32(line[k*next] >> shift)
					s += v
					ss += v * v
				}
			}
			p := j*t.w + i
			copy(o.v[p*o.c:], t.v[p*c:p*c+c])
			// the variance's logarithm: its bits, and the two below the highest
			v := ss*n - s*s + n*n + 3 // one level more: less is no texture
			k := bits.Len32(v)
			o.v[p*o.c+c] = table[4*k+int(v>>(k-3)&3)]
		}
	}
}

// blockSide is the number of pixels, each way, that stand for a block.
func blockSide(step int) int {
	every := max(1, step/4)
	return (step + every - 1) / every
}

// ground knows how the frame's edge looks.
type ground struct {
	ts    []*thinned
	are   [][]float64 // how places there look, in the order of what tells most,
	per   [][]float64 // and by one over how much their light may differ
	key   int         // which of their values that is
	place []float64   // of like: how the place looks

	likeness []float32 // of every second sample, each way; nil: not told
}

// groundReach is over how many samples to either side of a path it counts how
// ground-like it is, and groundCounts how much against an edge of full strength.
const (
	groundReach  = 12
	groundCounts = 0.5
)

// spread tells all over the frame how ground-like it is.
func (g *ground) spread() {
	w, h := (g.ts[0].w+1)/2, (g.ts[0].h+1)/2
	g.likeness = make([]float32, w*h)
	for y := range h {
		for x := range w {
			g.likeness[y*w+x] = float32(g.like(2*x, 2*y))
		}
	}
}

// ends is, for each direction and radius, how much more ground-like it is outside
// than inside, -1..1.
func (g *ground) ends(middle [2]float64, radii int) []float32 {
	t := g.ts[0]
	w := (t.w + 1) / 2
	out := make([]float32, angles*radii)
	sum := make([]float32, radii+1)
	var ray [][2]int
	for k := range angles {
		ray = t.ray(ray, middle, k, radii)
		n := len(ray)
		for i, q := range ray {
			sum[i+1] = sum[i] + g.likeness[q[1]/2*w+q[0]/2]
		}
		for r := 1; r < n; r++ {
			in, o := min(r, groundReach), min(n-r, groundReach)
			out[k*radii+r] = (sum[r+o]-sum[r])/float32(o) - (sum[r]-sum[r-in])/float32(in)
		}
	}
	return out
}

func newGround(ts []*thinned) *ground {
	g := &ground{ts: ts}
	w, h := ts[0].w, ts[0].h
	band := max(3, min(w, h)/20)
	for y := 1; y < h-1; y += 4 {
		for x := 1; x < w-1; x += 4 {
			if x < band || y < band || x >= w-band || y >= h-band {
				g.are = append(g.are, g.at(nil, x, y))
			}
		}
	}
	// A few hundred do.
	if k := len(g.are)/400 + 1; k > 1 {
		var some [][]float64
		for i := 0; i < len(g.are); i += k {
			some = append(some, g.are[i])
		}
		g.are = some
	}
	g.key = widest(g.are)
	slices.SortStableFunc(g.are, func(a, b []float64) int { return cmp.Compare(a[g.key], b[g.key]) })
	for _, b := range g.are {
		per := make([]float64, len(b))
		for k, v := range b {
			per[k] = 1 / (2*evenLevel + 0.05*v)
		}
		g.per = append(g.per, per)
	}
	return g
}

// widest is which of their values differs most from place to place, for how much it may.
func widest(are [][]float64) int {
	best, most := 0, 0.0
	for k := range are[0] {
		lo, hi := math.Inf(1), 0.0
		for _, b := range are {
			lo, hi = min(lo, b[k]), max(hi, b[k])
		}
		if d := (hi - lo) / (2*evenLevel + 0.05*(lo+hi)/2); d > most {
			best, most = k, d
		}
	}
	return best
}

// at fills out with what a place looks like: the mean of 3 x 3 samples of all channels of all
// pictures.
func (g *ground) at(out []float64, x, y int) []float64 {
	out = out[:0]
	for _, t := range g.ts {
		for c := range t.c {
			s := 0
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					s += int(t.v[((y+dy)*t.w+x+dx)*t.c+c])
				}
			}
			out = append(out, float64(s)/9)
		}
	}
	return out
}

// like is how much a place looks like some place at the frame's edge, 0..1. Light
// may fall off by a tenth.
func (g *ground) like(x, y int) float64 {
	t := g.ts[0]
	g.place = g.at(g.place, max(1, min(t.w-2, x)), max(1, min(t.h-2, y)))
	best := math.Inf(1)
	// off says whether place i, and all beyond it, may be nearer: its key alone is not as far.
	off := func(i int) bool {
		b, per, d := g.are[i], g.per[i], 0.0
		if e := (g.place[g.key] - b[g.key]) * per[g.key]; e*e >= best {
			return false
		}
		for k, v := range g.place {
			e := (v - b[k]) * per[k]
			if d += e * e; d >= best {
				return true
			}
		}
		best = d
		return true
	}
	up := sort.Search(len(g.are), func(i int) bool { return g.are[i][g.key] >= g.place[g.key] })
	down := up - 1
	for above, below := up < len(g.are), down >= 0; above || below; {
		if above {
			above = off(up)
			up++
			above = above && up < len(g.are)
		}
		if below {
			below = off(down)
			down--
			below = below && down >= 0
		}
	}
	return 1 / (1 + best/float64(len(g.place)))
}

// path is a closed path around a middle, in samples.
type path struct {
	x, y  float64
	r     [angles]float64
	edge  float64 // mean strength of the edge along it, 0..1
	apart float64 // how much more ground-like it is outside than inside, median: a holder may touch a part
	score float64
}

// bestPath looks from one middle, and again from the middle of what it found.
func bestPath(ts []*thinned, g *ground, middle [2]float64) *path {
	var best *path
	for range 2 {
		p := pathsAround(ts, g, middle)
		if p == nil {
			break
		}
		if best == nil || p.score > best.score {
			best = p
		}
		next := p.middle()
		if math.Hypot(next[0]-middle[0], next[1]-middle[1]) < 2 {
			break
		}
		middle = next
	}
	return best
}

// middle is the centre of a path's area.
func (p *path) middle() [2]float64 {
	var a, mx, my float64
	for k := range angles {
		x0, y0 := p.at(k, p.r[k])
		x1, y1 := p.at(k+1, p.r[(k+1)%angles])
		w := x0*y1 - x1*y0
		a, mx, my = a+w, mx+w*(x0+x1)/3, my+w*(y0+y1)/3
	}
	return [2]float64{mx / a, my / a}
}

func (p *path) at(k int, r float64) (x, y float64) {
	s, c := math.Sincos(2 * math.Pi * float64(k) / angles)
	return p.x + r*c, p.y + r*s
}

// pathsAround is the best of a few closed paths around a middle; nil for none.
func pathsAround(ts []*thinned, g *ground, middle [2]float64) *path {
	t := ts[0]
	if middle[0] < 0 || middle[1] < 0 || middle[0] >= float64(t.w) || middle[1] >= float64(t.h) {
		return nil
	}
	radii := int(math.Hypot(float64(t.w), float64(t.h)) / 2)
	strength := make([]float32, angles*radii)
	for _, t := range ts {
		for k, v := range edges(t, middle, radii) {
			strength[k] = max(strength[k], v)
		}
	}
	if g.likeness != nil {
		for k, v := range g.ends(middle, radii) {
			strength[k] += groundCounts * v
		}
	}
	left := slices.Clone(strength)
	var paths []*path
	// As it is; then near the first one rather along the inner, rather along the
	// outer of two edges; then without the first ones.
	for round, tilt := range [4]float32{0, -tilted, tilted, 0} {
		if tilt != 0 && len(paths) > 0 {
			for k, v := range paths[0].r {
				for r := range radii {
					i := k*radii + r
					left[i] = strength[i] + tilt*float32(r)
					if math.Abs(float64(r)-v) > v*holderShare {
						left[i] -= 10
					}
				}
			}
		} else if round > 0 {
			copy(left, strength)
			for _, p := range paths {
				for k, v := range p.r {
					for r := max(0, int(v)-beside); r <= min(radii-1, int(v)+beside); r++ {
						left[k*radii+r] = min(left[k*radii+r], 0)
					}
				}
			}
		}
		r, ok := closedPath(left, radii)
		if !ok {
			continue
		}
		p := &path{x: middle[0], y: middle[1]}
		for k, v := range r {
			p.r[k] = float64(v)
			p.edge += float64(strength[k*radii+v]) / angles
		}
		var apart []float64
		for k := 0; k < angles; k += 2 {
			d := 0.0
			for _, off := range [2]float64{beside, 2 * beside} {
				xo, yo := p.at(k, p.r[k]+off)
				xi, yi := p.at(k, p.r[k]-off)
				d += (g.like(int(xo), int(yo)) - g.like(int(xi), int(yi))) / 2
			}
			apart = append(apart, d)
		}
		slices.Sort(apart)
		p.apart = apart[len(apart)/2]
		paths = append(paths, p)
	}
	var best *path
	for _, p := range paths {
		if p.score = edgeCounts*p.edge + p.apart - roughness*p.rough(); best == nil || p.score > best.score {
			best = p
		}
	}
	return best
}

// rough is how far a path lies off a smooth one, of few Fourier terms: rms as a
// share of its mean radius.
func (p *path) rough() float64 {
	mean, square := 0.0, 0.0
	for _, r := range p.r {
		mean, square = mean+r/angles, square+r*r/angles
	}
	square -= mean * mean
	for o := 1; o <= 5; o++ {
		var a, b float64
		for k, r := range p.r {
			s, c := math.Sincos(2 * math.Pi * float64(o*k) / angles)
			a, b = a+2*r*c/angles, b+2*r*s/angles
		}
		square -= (a*a + b*b) / 2
	}
	return math.Sqrt(math.Max(0, square)) / mean
}

// ray fills buf with the samples x, y from a middle outwards in direction k, at most so
// many and as far as the frame goes.
func (t *thinned) ray(buf [][2]int, middle [2]float64, k, radii int) [][2]int {
	buf = buf[:0]
	s, c := math.Sincos(2 * math.Pi * float64(k) / angles)
	for n := range radii {
		x, y := int(middle[0]+float64(n)*c), int(middle[1]+float64(n)*s)
		if x < 0 || y < 0 || x >= t.w || y >= t.h {
			break
		}
		buf = append(buf, [2]int{x, y})
	}
	return buf
}

// edges is, for each direction and radius, how much mean and texture change
// there, 0..1: Fisher's ratio, over all channels, of the samples next to it on
// either side. 0 outside the frame.
func edges(t *thinned, middle [2]float64, radii int) []float32 {
	out := make([]float32, angles*radii)
	sum, square := make([]int32, (radii+1)*t.c), make([]int32, (radii+1)*t.c)
	var ray [][2]int
	for k := range angles {
		ray = t.ray(ray, middle, k, radii)
		n := len(ray)
		for j, q := range ray {
			p := q[1]*t.w + q[0]
			for i, v := range t.v[p*t.c : (p+1)*t.c] {
				sum[(j+1)*t.c+i] = sum[j*t.c+i] + int32(v)
				square[(j+1)*t.c+i] = square[j*t.c+i] + int32(v)*int32(v)
			}
		}
		for r := 2 * beside; r <= n-beside; r++ {
			out[k*radii+r] = change(sum, square, t.c, r)
		}
	}
	return out
}

// change is how much mean and texture change at a place of a line, 0..1: Fisher's ratio over all channels of the
// samples next to it on either side. Of the samples before each place sum and square are the running sums, channel by channel.
func change(sum, square []int32, channels, at int) float32 {
	f := float32(0)
	for c := range channels {
		a, b, d := (at-beside)*channels+c, at*channels+c, (at+beside)*channels+c
		l, r := float32(sum[b]-sum[a])/beside, float32(sum[d]-sum[b])/beside
		vl, vr := float32(square[b]-square[a])/beside-l*l, float32(square[d]-square[b])/beside-r*r
		f += (l - r) * (l - r) / (vl + vr + evenLevel*evenLevel)
	}
	return f / (f + 2)
}

// closedPath is the path around the middle along which the strength, less what
// bending costs, sums up to most.
func closedPath(strength []float32, radii int) ([angles]int, bool) {
	var out [angles]int
	// The best sum up to each direction and radius, twice around; beyond the radii there is no way.
	sums, wide := make([]float32, (2*angles+1)*(radii+2*steepest)), radii+2*steepest
	for k := range 2*angles + 1 {
		for d := range steepest {
			sums[k*wide+d], sums[(k+1)*wide-1-d] = -1e9, -1e9
		}
	}
	for k := range 2 * angles {
		row := strength[k%angles*radii:][:radii]
		sum, next := sums[k*wide:(k+1)*wide], sums[(k+1)*wide+steepest:][:radii]
		for r, v := range row {
			from := sum[r : r+2*steepest+1 : r+2*steepest+1]
			best := from[steepest]
			for d := 1; d <= steepest; d++ {
				best = max(best, max(from[steepest-d], from[steepest+d])-stiffness*float32(d*d))
			}
			next[r] = best + v
		}
	}
	r := 0
	last := sums[2*angles*wide+steepest:][:radii]
	for i, v := range last {
		if v > last[r] {
			r = i
		}
	}
	// The last half turn of the two is bent to no end, the first from no start:
	// one turn from the middle of them is closed.
	for k := 2*angles - 1; k >= angles/2; k-- {
		if k < 3*angles/2 {
			out[k%angles] = r
		}
		best, at := float32(-1e9), 0
		for d := -steepest; d <= steepest; d++ {
			if v := sums[k*wide+steepest+r+d] - stiffness*float32(d*d); v > best {
				best, at = v, d
			}
		}
		r += at
	}
	a, b := out[(angles/2+angles-1)%angles], out[angles/2]
	return out, max(a-b, b-a) <= 2*steepest
}
