package stripes

import (
	"math"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// The sizes at which lost gloss is sought, standard deviations of a further blur, and the
// least loss of it that counts at each (common practice, no source).
var lossScales = []struct {
	sigmaMM, least float64
}{{0, 0.45}, {0.1, 0.2}, {0.15, 0.15}, {0.22, 0.12}, {0.35, 0.1}}

// What a place is taken from (common practice, no source).
const (
	slopeLeastRad  = 0.45 // the least phase that counts where gloss is kept
	slopeScaleMM   = 0.05 // over which it is averaged
	normalTail     = 5.0  // standard deviations that a normal law does not reach on a face of some hundred independent places
	joinMM         = 0.15 // places as near as this are one
	sampled        = 11   // every so many pixels tell a plane's middle and spread
	leastMM        = 0.12 // and what is smaller than this is none
	faint          = 0.4  // what loses less of the gloss at its deepest is followed at the size at which it stands out
	bodyLeast      = 0.05 // a place ends where less is lost,
	bodyShare      = 0.5  // of the loss at its deepest, and beyond it a place ends
	coherentMM     = 0.25 // standard deviation of the blur that tells flakes from waves:
	sparkleFrom    = 0.8  // over flakes this share of the amplitude is left, over waves less
	sparkleScatter = 0.08 // scatter of the light that single pixels mirror from which on it is looked whether it is flakes
	scattersMost   = 0.25 // scatter of the gloss over the face from which on its own waves hide what is fine
)

// place is where the mirror is not the face's own.
type place struct {
	bounds
	pixels        []int // filled
	cx, cy        float64
	long, across  float64 // mm
	angleDeg      float64
	area          float64 // mm2
	loss          float64 // of gloss, mean over its pixels
	deepest       float64 // the largest loss, at the finest size
	dim           float64 // of the light that single pixels mirror, mean: slopes that turn the stripes aside take none
	back          float64 // the gloss in its middle
	hole          float64 // share of its filled area where the gloss is back
	slope         float64 // largest phase where gloss is kept, radians
	swings        float64 // scatter of the phase in it where gloss is kept, radians
	overThreshold float64
}

// find looks for places, and calls them.
func (m *Maps) find(p Params) []part.Finding {
	var out []part.Finding
	response, size := m.respond(p)
	seeds := make([]bool, len(response.V))
	waves := m.Waving()
	for i, v := range response.V {
		seeds[i] = v >= 1 && m.looked[i] && !(waves && m.atRim[i])
	}
	for _, set := range m.joined(pieces(seeds, m.Depth.W)) {
		pl := m.grow(set, response, size)
		if pl == nil {
			continue
		}
		out = append(out, m.finding(pl, p))
	}
	return out
}

// respond is what stands out, over its threshold: gloss lost at each size, and slopes; and
// at which size each pixel stands out most. It keeps the loss at each size.
func (m *Maps) respond(p Params) (ratio *part.Plane, size []int8) {
	w, h := m.Depth.W, m.Depth.H
	ratio, size = part.NewPlane(w, h), make([]int8, w*h)
	raise := func(l *part.Plane, limit float32, k int8) {
		for i, v := range l.V {
			if v /= limit; m.looked[i] && v > ratio.V[i] {
				ratio.V[i], size[i] = v, k
			}
		}
	}
	q := p
	if m.sparkles { // all sizes show noise that is nearly the same: one chance for them together
		q.FalseFace /= float64(len(lossScales) + 1)
	}
	for k, s := range lossScales {
		l := m.Gloss
		switch {
		case s.sigmaMM > 0 && m.sparkles:
			l = m.coherent(math.Hypot(s.sigmaMM, p.BlurMM))
			m.toOwn(l, m.inner(), p)
		case s.sigmaMM > 0:
			l = m.within(m.light, s.sigmaMM/m.MMPX)
		}
		mid := m.middle(l)
		loss := part.NewPlane(w, h)
		for i, v := range l.V {
			if m.looked[i] {
				loss.V[i] = 1 - v/mid
			}
		}
		m.losses, m.usual = append(m.losses, loss), append(m.usual, max(m.upper(loss), 0.02))
		raise(loss, m.limit(loss, s.least, q), int8(k))
	}
	if m.Waving() { // all of it slopes
		return ratio, size
	}
	slope := part.NewPlane(w, h)
	for i := range slope.V {
		if m.looked[i] && !m.atRim[i] && m.Gloss.V[i] > 0.5 {
			slope.V[i] = float32(m.turned(i))
		}
	}
	slope = m.within(slope, slopeScaleMM/m.MMPX)
	mid := m.middle(slope)
	for i := range slope.V {
		slope.V[i] -= mid
	}
	raise(slope, m.limit(slope, slopeLeastRad, q), 0)
	return ratio, size
}

// Waving says whether the face's own waves hide what is fine.
func (m *Maps) Waving() bool { return m.scatter > scattersMost && !m.sparkles }

// some are a plane's values at every so many pixels that are looked at.
func (m *Maps) some(p *part.Plane, every int) []float64 {
	var v []float64
	for i, yes := range m.looked {
		if yes && i%every == 0 {
			v = append(v, float64(p.V[i]))
		}
	}
	return v
}

// middle is a plane's median over what is looked at.
func (m *Maps) middle(p *part.Plane) float32 {
	return float32(max(robust.Quantile(m.some(p, sampled), 0.5), 1e-6))
}

// within blurs a plane over what is looked at.
func (m *Maps) within(p *part.Plane, sigma float64) *part.Plane {
	if sigma <= 0 {
		return p
	}
	in, of := part.NewPlane(p.W, p.H), part.NewPlane(p.W, p.H)
	for i, yes := range m.looked {
		if yes {
			in.V[i], of.V[i] = 1, p.V[i]
		}
	}
	soft, share := gauss(of, sigma), gauss(in, sigma)
	for i, s := range share.V {
		if s > 0.25 {
			soft.V[i] /= s
		} else {
			soft.V[i] = 0
		}
	}
	return soft
}

// upper is how far the upper sixth of a plane begins over its middle: one standard
// deviation of a normal law.
func (m *Maps) upper(p *part.Plane) float64 {
	v := m.some(p, sampled)
	return robust.Quantile(v, 0.8413) - robust.Quantile(v, 0.5)
}

// limit is the value that only the share FalseFace of faces reaches anywhere by its own unevenness:
// Gumbel's law of extremes over the cells (robust.GumbelLimit); no further than a normal law's tail,
// for lost gloss has an end; at least least.
func (m *Maps) limit(l *part.Plane, least float64, p Params) float32 {
	cell := max(6, int(p.CellMM/m.MMPX))
	nx := (l.W + cell - 1) / cell
	top := map[int]float64{}
	full := map[int]int{}
	for i, v := range l.V {
		if m.looked[i] {
			c := i/l.W/cell*nx + i%l.W/cell
			top[c] = max(top[c], float64(v))
			full[c]++
		}
	}
	var v []float64
	for c, n := range full {
		if n > cell*cell/2 {
			v = append(v, top[c])
		}
	}
	if len(v) < 12 {
		return float32(least)
	}
	limit := robust.GumbelLimit(v, p.FalseFace, false)
	if !m.sparkles { // flakes have tails of their own
		limit = min(limit, normalTail*m.upper(l))
	}
	return float32(max(least, limit))
}

// bounds are the first and last column and row of a set of pixels.
type bounds struct{ x0, y0, x1, y1 int }

func boundsOf(pixels []int, w int) bounds {
	b := bounds{math.MaxInt, math.MaxInt, -1, -1}
	for _, i := range pixels {
		b = b.cover(bounds{i % w, i / w, i % w, i / w})
	}
	return b
}

// cover is the bounds of both.
func (b bounds) cover(o bounds) bounds {
	return bounds{min(b.x0, o.x0), min(b.y0, o.y0), max(b.x1, o.x1), max(b.y1, o.y1)}
}

// gapTo is the distance between two bounds, 0 where they meet.
func (b bounds) gapTo(o bounds) float64 {
	return math.Hypot(float64(max(0, b.x0-o.x1, o.x0-b.x1)), float64(max(0, b.y0-o.y1, o.y0-b.y1)))
}

// joined puts pieces together that lie near each other.
func (m *Maps) joined(all [][]int) [][]int {
	w := m.Depth.W
	reach := joinMM / m.MMPX
	sets := slices.Clone(all)
	boxes := make([]bounds, len(sets))
	for i := range sets {
		boxes[i] = boundsOf(sets[i], w)
	}
	for again := true; again; {
		again = false
		for i := 0; i < len(sets); i++ {
			for j := i + 1; j < len(sets); j++ {
				if boxes[i].gapTo(boxes[j]) > reach {
					continue
				}
				sets[i] = append(slices.Clone(sets[i]), sets[j]...)
				boxes[i] = boxes[i].cover(boxes[j])
				sets, boxes = slices.Delete(sets, j, j+1), slices.Delete(boxes, j, j+1)
				again = true
				j--
			}
		}
	}
	return sets
}

// grow takes a place's pixels from around its seeds, at the size at which it stands out most:
// where more than half of its loss is kept, or the slope is too steep; filled.
func (m *Maps) grow(seeds []int, response *part.Plane, size []int8) *place {
	w, h := m.Depth.W, m.Depth.H
	pl := &place{}
	top := seeds[0]
	for _, i := range seeds {
		pl.deepest = max(pl.deepest, 1-float64(m.Gloss.V[i]))
		if response.V[i] > response.V[top] {
			top = i
		}
	}
	pl.overThreshold = float64(response.V[top])
	loss := m.losses[0]
	if k := size[top]; k > 0 && (m.Waving() || m.sparkles || pl.deepest < faint) { // the face's own waves, or noise, hide what is fine
		loss = m.losses[k]
	}
	most := float32(0)
	for _, i := range seeds {
		most = max(most, loss.V[i])
	}
	ends := max(bodyLeast, bodyShare*most)
	mask := map[int]bool{}
	todo := slices.Clone(seeds)
	for _, i := range seeds {
		mask[i] = true
	}
	for len(todo) > 0 {
		i := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		x, y := i%w, i/w
		for dy := -1; dy <= 1; dy++ {
			for dx := -1; dx <= 1; dx++ {
				u, v := x+dx, y+dy
				if u < 0 || v < 0 || u >= w || v >= h {
					continue
				}
				if j := v*w + u; !mask[j] && m.looked[j] && loss.V[j] > ends {
					mask[j] = true
					todo = append(todo, j)
				}
			}
		}
	}
	for i := range mask { // seeds of wide sizes reach beyond the place
		if loss.V[i] <= ends && !m.sloping(i) {
			delete(mask, i)
		}
	}
	if len(mask) == 0 {
		return nil
	}
	lost := len(mask)
	pl.pixels = fill(mask, w)
	pl.hole = 1 - float64(lost)/float64(len(pl.pixels))
	m.shape(pl)
	if pl.long < leastMM {
		return nil
	}
	return pl
}

// sloping says whether a pixel mirrors, and by its phase is off.
func (m *Maps) sloping(i int) bool {
	return m.Gloss.V[i] > 0.5 && m.turned(i) > slopeLeastRad
}

// fill returns a mask's pixels and what they enclose.
func fill(mask map[int]bool, w int) []int {
	x0, y0, x1, y1 := math.MaxInt, math.MaxInt, -1, -1
	for i := range mask {
		x0, y0, x1, y1 = min(x0, i%w), min(y0, i/w), max(x1, i%w), max(y1, i/w)
	}
	bw, bh := x1-x0+3, y1-y0+3
	outside := make([]bool, bw*bh)
	todo := []int{0}
	outside[0] = true
	for len(todo) > 0 {
		k := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			x, y := k%bw+d[0], k/bw+d[1]
			if x < 0 || y < 0 || x >= bw || y >= bh || outside[y*bw+x] || mask[(y+y0-1)*w+x+x0-1] {
				continue
			}
			outside[y*bw+x] = true
			todo = append(todo, y*bw+x)
		}
	}
	var out []int
	for k, o := range outside {
		if !o {
			out = append(out, (k/bw+y0-1)*w+k%bw+x0-1)
		}
	}
	slices.Sort(out)
	return out
}

// shape measures a place.
func (m *Maps) shape(pl *place) {
	w := m.Depth.W
	n := float64(len(pl.pixels))
	pl.bounds = boundsOf(pl.pixels, w)
	for _, i := range pl.pixels {
		pl.cx += float64(i%w) / n
		pl.cy += float64(i/w) / n
	}
	var xx, xy, yy float64
	for _, i := range pl.pixels {
		dx, dy := float64(i%w)-pl.cx, float64(i/w)-pl.cy
		xx, xy, yy = xx+dx*dx, xy+dx*dy, yy+dy*dy
	}
	a := 0.5 * math.Atan2(2*xy, xx-yy)
	sin, cos := math.Sincos(a)
	lo, hi, lo2, hi2 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	near, nearN, phases := 0.0, 0.0, []float64{}
	for _, i := range pl.pixels {
		dx, dy := float64(i%w)-pl.cx, float64(i/w)-pl.cy
		u, v := dx*cos+dy*sin, dy*cos-dx*sin
		lo, hi, lo2, hi2 = min(lo, u), max(hi, u), min(lo2, v), max(hi2, v)
		pl.loss += (1 - float64(m.Gloss.V[i])) / n
		pl.dim += (1 - float64(m.light.V[i])) / n
		if m.Gloss.V[i] > 0.3 {
			ph := m.turned(i)
			pl.slope = max(pl.slope, ph)
			phases = append(phases, ph)
		}
	}
	pl.long, pl.across = (hi-lo+1)*m.MMPX, (hi2-lo2+1)*m.MMPX
	for _, i := range pl.pixels { // the middle fifth
		dx, dy := float64(i%w)-pl.cx, float64(i/w)-pl.cy
		u, v := (dx*cos+dy*sin)/(hi-lo+1), (dy*cos-dx*sin)/(hi2-lo2+1)
		if u*u+v*v < 0.04 {
			near += float64(m.Gloss.V[i])
			nearN++
		}
	}
	pl.back = near / max(1, nearN)
	if len(phases) > 0 {
		pl.swings = robust.Nth(phases, len(phases)/2)
	}
	pl.angleDeg = math.Mod(-a*180/math.Pi+360, 180)
	pl.area = n * m.MMPX * m.MMPX
}
