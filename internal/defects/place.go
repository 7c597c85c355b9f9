package defects

import (
	"math"
	"slices"

	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/search"
	"finishbench/internal/defects/shape"
	"finishbench/internal/part"
)

// place is one thing on the face: its pixels, its geometry and what led to its
// kind. Lengths are in shape pixels.
type place struct {
	found  []int // search pixels where the response stays above the growing threshold
	win    *search.Window
	body   []int       // window pixels where it is not just the blur around something strong
	core   []int       // of these, where it is above coreShare of its peak
	all    shape.Shape // of body
	inner  shape.Shape // of core
	peak   float64
	ringPX float64 // radius of the ring that fits best; 0: not seen as a ring
	blurPX float64 // standard deviation of what smoothed the map that the shape was taken from

	reachPX          float64 // radius out to which the mean around the middle stands out
	coreOut, bodyOut float64 // how many blurPX outside a straight edge core and body end
	coreOff, bodyOff float64 // and how many fewer, should the edge be only as strong as the middle value of core and body

	sided float64 // raking light: how much brighter one side is than the other, 0..1
	// Per picture: relative change of light in the core over all colours, signed as their sum; the pattern's share taken off.
	contrast []float64
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
func (f *face) newPlace(found []int, r *search.Response) (*place, error) {
	b := shape.Of(found, f.Surface.W, 0, 0)
	win, err := f.NewWindow(r, b.X0, b.Y0, b.X1, b.Y1)
	if err != nil {
		return nil, err
	}
	p := &place{found: found, win: win, blurPX: f.BlurPX()}
	pixels := f.pixelsIn(win, found)
	m, finest := win.Ratio, float32(0)
	for _, i := range pixels {
		finest = max(finest, m.V[i])
	}
	top := found[0]
	for _, i := range found {
		if r.Ratio.V[i] > r.Ratio.V[top] {
			top = i
		}
	}
	p.peak = math.Max(float64(finest), float64(r.Ratio.V[top]))
	peak := finest
	if finest < fineSeen {
		m, peak = f.coarseIn(win, r), r.Ratio.V[top]
		p.blurPX = math.Hypot(p.blurPX, coarseBlurMM/f.ShapeMM())
		p.ringPX = float64(r.Ring.V[top]) * f.MMPX / f.ShapeMM()
	}
	p.setShape(m, pixels, peak, float32(f.Params.GrowShare))
	if len(p.core) == 0 {
		return nil, nil
	}
	p.reachPX = p.reach(m)
	f.measureLight(p, r)
	p.sided = f.sidedness(p)
	p.lineRad, p.lines, p.grain = shape.LineDirection(p.body, func(i int) float64 { return math.Min(float64(m.V[i]), 3) }, win.W)
	p.again = f.showsAgain(p)
	p.mirrors = f.mirrorsLight(p)
	return p, nil
}

// coarseBlurMM is about what the second of the fine sizes blurs by.
const coarseBlurMM = 0.027

// pixelsIn are the window's pixels in or next to the given search pixels.
func (f *face) pixelsIn(w *search.Window, found []int) []int {
	in := make(map[int]bool, 9*len(found))
	for _, i := range found {
		for _, d := range [9]int{0, -1, 1, -f.Surface.W, f.Surface.W, -f.Surface.W - 1, -f.Surface.W + 1, f.Surface.W - 1,
			f.Surface.W + 1} {
			in[i+d] = true
		}
	}
	var out []int
	for i, p := range w.Parent {
		if p >= 0 && in[p] {
			out = append(out, i)
		}
	}
	return out
}

// coarseIn is the search's map over a window.
func (f *face) coarseIn(w *search.Window, r *search.Response) *part.Plane {
	m := part.NewPlane(w.W, w.H)
	for i, p := range w.Parent {
		if p >= 0 {
			m.V[i] = r.Ratio.V[p]
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
	p.coreOut, p.bodyOut = raster.EdgeOut(coreAt/peak), raster.EdgeOut(bodyAt/peak)
	p.coreOff = p.coreOut - raster.EdgeOut(coreAt/max(coreAt, middleOf(m, p.core)))
	p.bodyOff = p.bodyOut - raster.EdgeOut(bodyAt/max(bodyAt, middleOf(m, p.body)))
	p.all = shape.Of(p.body, p.win.W, p.win.X0, p.win.Y0)
	p.inner = shape.Of(p.core, p.win.W, p.win.X0, p.win.Y0)
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
	return float32(raster.Median(v))
}

// reach is the radius, in shape pixels, out to which the response averaged
// around a place's middle stands out from its surroundings: a clear bubble's
// rim is faint beside its middle, but all around. 0 where it does not.
func (p *place) reach(m *part.Plane) float64 {
	cx, cy := float64(p.all.X0+p.all.X1)/2-float64(p.win.X0), float64(p.all.Y0+p.all.Y1)/2-float64(p.win.Y0)
	n := int(1.3*math.Max(float64(p.all.X1-p.all.X0), float64(p.all.Y1-p.all.Y0))) + 14
	if n > 80 {
		return 0
	}
	sum, count := make([]float64, n), make([]float64, n)
	for y := max(0, int(cy)-n); y <= min(m.H-1, int(cy)+n); y++ {
		for x := max(0, int(cx)-n); x <= min(m.W-1, int(cx)+n); x++ {
			d := math.Hypot(float64(x)-cx, float64(y)-cy)
			if k := int(d + 0.5); k < n && p.win.Parent[y*m.W+x] >= 0 {
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
	ground := raster.Median(slices.Clone(sum[n*2/3:]))
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
func (f *face) measureLight(p *place, r *search.Response) {
	nc := len(f.Channels)
	dev, base := make([]float64, nc), make([]float64, nc)
	explained := 1.0 // of the pattern's coordinates; 0: nothing
	for k, t := range p.win.Pattern {
		for _, i := range p.core {
			if r.Ends[k].Beyond(t.V[i]) >= 1 {
				explained = 0
			}
		}
	}
	if p.inBoth() { // no flake is
		explained = 0
	}
	for _, i := range p.core {
		for c := range f.Channels {
			d := f.Deviation(p.win, c, i)
			base[c] += float64(p.win.Light[c].V[i]) - d
			for k, t := range p.win.Pattern {
				d -= explained * float64(t.V[i]) * f.Palette.Directions[k][c] * f.Noise[c]
			}
			dev[c] += d
		}
	}
	n := float64(len(p.core))
	for pic := range f.Pictures {
		var d, all, b, z float64
		for c, ch := range f.Channels {
			if ch.Pic == pic {
				d += dev[c]
				all += math.Abs(dev[c])
				b += base[c]
				z = math.Max(z, math.Abs(dev[c])/n/f.Noise[c])
			}
		}
		p.contrast = append(p.contrast, math.Copysign(all, d)/math.Max(b, 1e-6))
		p.strength = append(p.strength, z)
	}
}

// inBoth says whether a place stands out for changing the light in both pictures.
func (p *place) inBoth() bool {
	for _, i := range p.core {
		if p.win.Both != nil && p.win.Both.V[i] >= 1 {
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
	for pic := range f.Pictures {
		if f.Pictures[pic].Shot.Light != part.Raking {
			continue
		}
		var sx, sy, sum, mean float64
		v := make([]float64, len(p.body))
		for k, i := range p.body {
			for c, ch := range f.Channels {
				if ch.Pic == pic {
					v[k] += f.Deviation(p.win, c, i)
				}
			}
			mean += v[k] / float64(len(v))
		}
		for k, i := range p.body {
			dx, dy := float64(i%p.win.W+p.win.X0)-p.all.CX, float64(i/p.win.W+p.win.Y0)-p.all.CY
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

// bestPicture is the picture of the scene in which a place is strongest.
func (p *place) bestPicture() int {
	return slices.Index(p.strength, slices.Max(p.strength))
}

// boxOf turns bounds in shape pixels into a box in full-resolution pixels.
func (f *face) boxOf(x0, y0, x1, y1 float64) part.Box {
	k := float64(f.ShapeFactor)
	return part.Box{x0*k - 0.5, y0*k - 0.5, (x1 - x0 + 1) * k, (y1 - y0 + 1) * k}
}
