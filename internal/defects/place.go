package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"
)

// place is one thing on the face: its pixels, its geometry and what led to its
// kind. Lengths are in shape pixels.
type place struct {
	found  []int // search pixels where the response stays above the growing threshold
	win    *window
	body   []int // window pixels where it is not just the blur around something strong
	core   []int // of these, where it is above coreShare of its peak
	all    shape // of body
	inner  shape // of core
	peak   float64
	ringPX float64 // radius of the ring that fits best; 0: not seen as a ring
	blurPX float64 // standard deviation of what smoothed the map that the shape was taken from

	reachPX          float64 // radius out to which the mean around the middle stands out
	coreOut, bodyOut float64 // how many blurPX outside a straight edge core and body end
	coreOff, bodyOff float64 // and how many fewer, should the edge be only as strong as the middle value of core and body

	sided    float64   // raking light: how much brighter one side is than the other, 0..1
	contrast []float64 // per picture: relative change of light in the core over all colours, signed as their sum; the pattern's share taken off
	strength []float64 // per picture: the same in noise units
	again    float64   // on a shell: how much of what it changes in one light shows again in another; 1 where that is not told
	mirrors  bool      // on a shell: it is bright by what it mirrors
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

// newPlace measures a set of search pixels. It returns nil where no shape pixel
// lies over them, at the very edge of a picture.
func (f *face) newPlace(found []int, r *response) (*place, error) {
	b := shapeOf(found, f.surf.w, 0, 0)
	win, err := f.newWindow(r, b.x0, b.y0, b.x1, b.y1)
	if err != nil {
		return nil, err
	}
	p := &place{found: found, win: win, blurPX: f.blurPX()}
	pixels := f.pixelsIn(win, found)
	m, finest := win.ratio, float32(0)
	for _, i := range pixels {
		finest = max(finest, m.V[i])
	}
	top := found[0]
	for _, i := range found {
		if r.ratio.V[i] > r.ratio.V[top] {
			top = i
		}
	}
	p.peak = math.Max(float64(finest), float64(r.ratio.V[top]))
	peak := finest
	if finest < fineSeen {
		m, peak = f.coarseIn(win, r), r.ratio.V[top]
		p.blurPX = math.Hypot(p.blurPX, coarseBlurMM/f.shapeMM())
		p.ringPX = float64(r.ring.V[top]) * f.mmPX / f.shapeMM()
	}
	p.setShape(m, pixels, peak, float32(f.p.GrowShare))
	if len(p.core) == 0 {
		return nil, nil
	}
	p.reachPX = p.reach(m)
	f.measureLight(p, r)
	p.again = f.showsAgain(p)
	p.mirrors = f.mirrorsLight(p)
	p.sided = f.sidedness(p)
	p.lineRad, p.lines, p.grain = lineDirection(p.body, func(i int) float64 { return math.Min(float64(m.V[i]), 3) }, win.w)
	return p, nil
}

// coarseBlurMM is about what the second of the fine sizes blurs by.
const coarseBlurMM = 0.027

// shapeMM is a shape pixel's side.
func (f *sceneFace) shapeMM() float64 { return f.p.MMPerPX * float64(f.shape) }

// pixelsIn are the window's pixels in or next to the given search pixels.
func (f *face) pixelsIn(w *window, found []int) []int {
	in := make(map[int]bool, 9*len(found))
	for _, i := range found {
		for _, d := range [9]int{0, -1, 1, -f.surf.w, f.surf.w, -f.surf.w - 1, -f.surf.w + 1, f.surf.w - 1, f.surf.w + 1} {
			in[i+d] = true
		}
	}
	var out []int
	for i, p := range w.parent {
		if p >= 0 && in[p] {
			out = append(out, i)
		}
	}
	return out
}

// coarseIn is the search's map over a window.
func (f *face) coarseIn(w *window, r *response) *part.Plane {
	m := part.NewPlane(w.w, w.h)
	for i, p := range w.parent {
		if p >= 0 {
			m.V[i] = r.ratio.V[p]
		}
	}
	return m
}

// setShape fills body, core and their geometry from a map over the window.
func (p *place) setShape(m *part.Plane, pixels []int, peak, grow float32) {
	coreAt, bodyAt := max(min(grow, 0.9*peak), coreShare*peak), max(min(grow, 0.9*peak), bodyShare*peak)
	for _, i := range pixels {
		if m.V[i] >= coreAt {
			p.core = append(p.core, i)
		}
		if m.V[i] >= bodyAt {
			p.body = append(p.body, i)
		}
	}
	p.coreOut, p.bodyOut = edgeOut(coreAt/peak), edgeOut(bodyAt/peak)
	p.coreOff = p.coreOut - edgeOut(coreAt/max(coreAt, middleOf(m, p.core)))
	p.bodyOff = p.bodyOut - edgeOut(bodyAt/max(bodyAt, middleOf(m, p.body)))
	p.all = shapeOf(p.body, p.win.w, p.win.x0, p.win.y0)
	p.inner = shapeOf(p.core, p.win.w, p.win.x0, p.win.y0)
}

// middleOf is the median of a plane at the given pixels; 0 where there are none.
func middleOf(m *part.Plane, pixels []int) float32 {
	if len(pixels) == 0 {
		return 0
	}
	v := make([]float64, len(pixels))
	for k, i := range pixels {
		v[k] = float64(m.V[i])
	}
	return float32(median(v))
}

// edgeOut is how far outside a straight edge, in standard deviations of the
// blur, its height has fallen to a share: the normal distribution's quantile.
func edgeOut(share float32) float64 {
	return math.Sqrt2 * math.Erfinv(math.Max(-0.99, math.Min(0.99, 1-2*float64(share))))
}

// reach is the radius, in shape pixels, out to which the response averaged
// around a place's middle stands out from its surroundings: a clear bubble's
// rim is faint beside its middle, but all around. 0 where it does not.
func (p *place) reach(m *part.Plane) float64 {
	cx, cy := float64(p.all.x0+p.all.x1)/2-float64(p.win.x0), float64(p.all.y0+p.all.y1)/2-float64(p.win.y0)
	n := int(1.3*math.Max(float64(p.all.x1-p.all.x0), float64(p.all.y1-p.all.y0))) + 14
	if n > 80 {
		return 0
	}
	sum, count := make([]float64, n), make([]float64, n)
	for y := max(0, int(cy)-n); y <= min(m.H-1, int(cy)+n); y++ {
		for x := max(0, int(cx)-n); x <= min(m.W-1, int(cx)+n); x++ {
			d := math.Hypot(float64(x)-cx, float64(y)-cy)
			if k := int(d + 0.5); k < n && p.win.parent[y*m.W+x] >= 0 {
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
	ground := median(slices.Clone(sum[n*2/3:]))
	for k := n*2/3 - 1; k > 0; k-- {
		if count[k] > 0 && sum[k] > ground+math.Max(0.15, 0.12*(top-ground)) {
			return float64(k) + 0.5
		}
	}
	return 0
}

// measureLight fills contrast and strength: how far each picture's light is off
// base in the core, after what the faceplate's own pattern explains is taken
// off: nothing where the core passes the end of one of its directions.
func (f *face) measureLight(p *place, r *response) {
	nc := len(f.channels)
	dev, base := make([]float64, nc), make([]float64, nc)
	explained := 1.0 // of the pattern's coordinates; 0: nothing
	for k, t := range p.win.pattern {
		for _, i := range p.core {
			if r.ends[k].beyond(t.V[i]) >= 1 {
				explained = 0
			}
		}
	}
	if p.inBoth() { // no flake is
		explained = 0
	}
	for _, i := range p.core {
		for c := range f.channels {
			d := f.deviation(p.win, c, i)
			base[c] += float64(p.win.smooth[c].V[i]) - d
			for k, t := range p.win.pattern {
				d -= explained * float64(t.V[i]) * f.pal.pigment[k][c] * f.noise[c]
			}
			dev[c] += d
		}
	}
	n := float64(len(p.core))
	for pic := range f.scene {
		var d, all, b, z float64
		for c, ch := range f.channels {
			if ch.pic == pic {
				d += dev[c]
				all += math.Abs(dev[c])
				b += base[c]
				z = math.Max(z, math.Abs(dev[c])/n/f.noise[c])
			}
		}
		p.contrast = append(p.contrast, math.Copysign(all, d)/math.Max(b, 1e-6))
		p.strength = append(p.strength, z)
	}
}

// inBoth says whether a place stands out for changing the light in both pictures.
func (p *place) inBoth() bool {
	for _, i := range p.core {
		if p.win.both != nil && p.win.both.V[i] >= 1 {
			return true
		}
	}
	return false
}

// sidedness tells a hollow or a ridge under low light, bright towards the lamp
// on one side and dark on the other, from what is alike all around: the length
// of the mean of (change of light) x (direction from the middle), over the mean
// absolute change; 0 alike, towards 1 one-sided. 0 without a raking picture.
func (f *face) sidedness(p *place) float64 {
	best := 0.0
	for pic := range f.scene {
		if f.scene[pic].Shot.Light != part.Raking {
			continue
		}
		var sx, sy, sum, mean float64
		v := make([]float64, len(p.body))
		for k, i := range p.body {
			for c, ch := range f.channels {
				if ch.pic == pic {
					v[k] += f.deviation(p.win, c, i)
				}
			}
			mean += v[k] / float64(len(v))
		}
		for k, i := range p.body {
			dx, dy := float64(i%p.win.w+p.win.x0)-p.all.cx, float64(i/p.win.w+p.win.y0)-p.all.cy
			n := math.Max(math.Hypot(dx, dy), 1e-6)
			sx += (v[k] - mean) * dx / n
			sy += (v[k] - mean) * dy / n
			sum += math.Abs(v[k] - mean)
		}
		if sum > 0 {
			best = math.Max(best, math.Hypot(sx, sy)/sum)
		}
	}
	return best
}

// blurPX is the standard deviation, in shape pixels, of the smoothing that the
// finest map has seen, optics included.
func (f *sceneFace) blurPX() float64 {
	return math.Hypot(f.windowBlurPX(), f.lensPX/float64(f.shape))
}

// What a lens in focus blurs by, give or take, in full-resolution pixels, where it
// was not measured; and what a measured one is held to: a sensor's pixel alone
// blurs by 1/sqrt(12), and what is blurred by more than eight pixels is out of any focus (common practice, no
// source).
const (
	opticsBlurPX  = 0.9
	opticsLimitPX = 0.4
	leastBlurPX   = 0.3
	mostBlurPX    = 8.0
)

// setLens takes the scene's blur from its pictures: the least that was measured, as
// one lens took them all.
func (f *sceneFace) setLens() {
	f.lensPX, f.uLensPX = opticsBlurPX, opticsLimitPX/math.Sqrt(3)
	least := math.Inf(1)
	for _, p := range f.scene {
		if p.BlurPX > 0 && p.BlurPX < least {
			least = p.BlurPX
			f.lensPX, f.uLensPX = math.Max(leastBlurPX, math.Min(mostBlurPX, least)), p.UBlurPX
		}
	}
}

// bestPicture is the picture of the scene in which a place is strongest.
func (p *place) bestPicture() int {
	return slices.Index(p.strength, slices.Max(p.strength))
}

// boxOf turns bounds in shape pixels into a box in full-resolution pixels.
func (f *face) boxOf(x0, y0, x1, y1 float64) part.Box {
	k := float64(f.shape)
	return part.Box{x0*k - 0.5, y0*k - 0.5, (x1 - x0 + 1) * k, (y1 - y0 + 1) * k}
}
