package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"
)

// place is one thing on the face: its pixels, its geometry and what led to its
// kind. Lengths are in working pixels.
type place struct {
	pixels []int // where the response stays above the growing threshold
	body   []int // of these, where it is not just the blur around something strong
	core   []int // where it is above coreShare of its peak
	all    shape // of body
	inner  shape // of core
	peak   float64
	ringPX float64 // radius of the ring that fits best; 0: not seen as a ring
	blurPX float64 // standard deviation of what smoothed the map that the shape was taken from

	reachPX          float64 // radius out to which the mean around the middle stands out
	coreOut, bodyOut float64 // how many blurPX outside a straight edge core and body end

	contrast []float64 // per picture: relative change of light in the core, the pattern's share taken off
	strength []float64 // per picture: the same in noise units
	lines    int       // parallel lines that stand apart, along lineRad
	lineRad  float64   // picture coordinates, y down
	grain    float64   // how much more uneven the place is across lineRad than along it
}

// coreShare of the peak bounds a place's core; bodyShare of it, its body: a line
// may fade along its length, so less than half.
const (
	coreShare = 0.4
	bodyShare = 0.18
	fineSeen  = 0.8 // a place that reaches this at the finest size has its shape from there
)

// newPlace measures a set of pixels.
func (f *face) newPlace(pixels []int, r *response) *place {
	w := f.surf.w
	p := &place{pixels: pixels, blurPX: f.blurPX()}
	m, top := r.fine, pixels[0]
	finest := float32(0)
	for _, i := range pixels {
		if v := float64(r.ratio.V[i]); v > p.peak {
			p.peak, top = v, i
		}
		finest = max(finest, r.fine.V[i])
	}
	peak := finest
	if finest < fineSeen {
		m, peak = r.ratio, float32(p.peak)
		p.blurPX = math.Hypot(p.blurPX, coarseBlurPX)
	}
	if finest < fineSeen {
		p.ringPX = float64(r.ring.V[top])
	}
	grow := float32(f.p.GrowShare)
	coreAt, bodyAt := max(grow, coreShare*peak), max(grow, bodyShare*peak)
	for _, i := range pixels {
		if m.V[i] >= coreAt {
			p.core = append(p.core, i)
		}
		if m.V[i] >= bodyAt {
			p.body = append(p.body, i)
		}
	}
	p.coreOut, p.bodyOut = edgeOut(coreAt/peak), edgeOut(bodyAt/peak)
	p.all, p.inner = shapeOf(p.body, w), shapeOf(p.core, w)
	p.reachPX = f.reachOf(p, m)
	f.measureLight(p, r)
	p.lineRad, p.lines, p.grain = lineDirection(p.body, func(i int) float64 { return math.Min(float64(m.V[i]), 3) }, w)
	return p
}

// reachOf is the radius, in working pixels, out to which the response averaged
// around a place's middle stands out from its surroundings: a clear bubble's
// rim is faint beside its middle, but all around.
func (f *face) reachOf(p *place, m *part.Plane) float64 {
	cx, cy := float64(p.all.x0+p.all.x1)/2, float64(p.all.y0+p.all.y1)/2
	n := int(1.3*math.Max(float64(p.all.x1-p.all.x0), float64(p.all.y1-p.all.y0))) + 14
	if n > 80 {
		return 0
	}
	sum, count := make([]float64, n), make([]float64, n)
	for y := max(0, int(cy)-n); y <= min(m.H-1, int(cy)+n); y++ {
		for x := max(0, int(cx)-n); x <= min(m.W-1, int(cx)+n); x++ {
			d := math.Hypot(float64(x)-cx, float64(y)-cy)
			if k := int(d + 0.5); k < n && f.surf.dist.V[y*m.W+x] > 0 {
				sum[k] += float64(m.V[y*m.W+x])
				count[k]++
			}
		}
	}
	top := 0.0
	for k := range sum {
		sum[k] /= math.Max(1, count[k])
		top = math.Max(top, sum[k])
	}
	outer := slices.Clone(sum[n*2/3:])
	slices.Sort(outer)
	ground := outer[len(outer)/2]
	for k := n*2/3 - 1; k > 0; k-- {
		if count[k] > 0 && sum[k] > ground+math.Max(0.15, 0.12*(top-ground)) {
			return float64(k) + 0.5
		}
	}
	return 0
}

// edgeOut is how far outside a straight edge, in standard deviations of the
// blur, its height has fallen to a share: the normal distribution's quantile.
func edgeOut(share float32) float64 {
	return math.Sqrt2 * math.Erfinv(math.Max(-0.99, math.Min(0.99, 1-2*float64(share))))
}

// coarseBlurPX is about what the second of the fine sizes blurs by.
const coarseBlurPX = 1.9

// measureLight fills contrast and strength: how far each picture's light is off
// base in the core, after what the faceplate's own pattern explains is taken
// off. The pattern explains no more than its own range.
func (f *face) measureLight(p *place, r *response) {
	w := f.surf.w
	nc := len(f.channels)
	dev, base := make([]float64, nc), make([]float64, nc)
	for _, i := range p.core {
		for c := range nc {
			b := float64(f.base[c].V[i/w*f.base[c].W+i%w])
			d := float64(f.smooth[c].V[i]) - b
			for k, t := range r.pattern {
				v := math.Max(r.ends[k][0], math.Min(r.ends[k][1], float64(t.V[i])))
				d -= v * f.pal.pigment[k][c] * f.noise[c]
			}
			dev[c] += d
			base[c] += b
		}
	}
	n := float64(len(p.core))
	for pic := range f.scene {
		var d, b, z float64
		for c, ch := range f.channels {
			if ch.pic == pic {
				d += dev[c]
				b += base[c]
				z = math.Max(z, math.Abs(dev[c])/n/f.noise[c])
			}
		}
		p.contrast = append(p.contrast, d/math.Max(b, 1e-6))
		p.strength = append(p.strength, z)
	}
}

// blurPX is the standard deviation, in working pixels, of the smoothing that
// the response map has seen, optics included.
func (f *face) blurPX() float64 {
	s := math.Max(0.6, f.p.BlurMM/f.mmPX)
	return math.Hypot(s, opticsBlurPX)
}

// opticsBlurPX is what a lens in focus blurs by (common practice, no source).
const opticsBlurPX = 0.9

// bestPicture is the picture of the scene in which a place is strongest.
func (p *place) bestPicture() int {
	return slices.Index(p.strength, slices.Max(p.strength))
}

// boxOf turns pixel bounds into a box in full-resolution pixels of the picture.
func (f *face) boxOf(x0, y0, x1, y1 float64) part.Box {
	k := float64(f.factor)
	return part.Box{
		(x0+float64(f.surf.x0))*k - 0.5, (y0+float64(f.surf.y0))*k - 0.5,
		(x1 - x0 + 1) * k, (y1 - y0 + 1) * k,
	}
}
