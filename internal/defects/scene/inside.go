package scene

import (
	"math"
	"slices"

	"finishbench/internal/defects/raster"
	"finishbench/internal/part"

	"golang.org/x/sync/errgroup"
)

// A see-through shell shows what lies inside: parts, wires, their refracted edges. They are no
// defects, and hide some. What tells them is their size and form: a part has edges longer than any
// defect's, and is wide. So the middles of long edges, what the blur smears of them and what is narrow between them are not
// searched, and said so; they leave facets, and in each of these the base is the local median of its own light, which loses
// what is smaller than its window. What is found is told only where it is a small spot, a thin line that is opaque or shines, or a
// bundle of thin lines: a wire is wider, and what is refracted is fainter than a fibre.

// How parts inside are told. Lengths in millimetres; common practice, no source.
const (
	structured    = 0.15 // a shell whose light differs from a smooth one by this share over a seventh of its area lets see what is inside
	insideEdgeMM  = 0.11 // smoothing before edges are sought
	insideLongMM  = 1.2  // an edge this long is a part's
	insideBesides = 0.03 // so far beside it nothing is sought, and what the blur smears
	insideSeeds   = 16.0 // an edge begins where light changes by so many times the usual change,
	insideGrows   = 8.0  // and goes on down to this
	insideBaseMM  = 0.4  // radius of the base's window
	WireMM        = 0.15 // lines wider than this may be wires
)

// AroundToMM is how far from a defect its surroundings reach (common practice, no source).
const AroundToMM = 0.17

// seesThrough says whether a shell's light differs over much of it from a smooth surface of light, in every
// picture.
func (f *Face) seesThrough() bool {
	if f.Params.Shell == nil {
		return false
	}
	least := math.Inf(1)
	for pic := range f.Pictures {
		worst := 0.0
		for _, c := range f.ChannelsOf(pic) {
			worst = max(worst, f.Channels[c].uneven)
		}
		least = min(least, worst)
	}
	return least > structured
}

// leaveInside closes what long edges inside a see-through shell lie at, and gives all channels the local
// median of what lies between them as their base.
func (f *Face) leaveInside() error {
	f.OpenInside = slices.Clone(f.Open)
	for pic := range f.Pictures {
		edge, err := f.longEdges(pic)
		if err != nil {
			return err
		}
		for i, e := range edge {
			if e {
				f.Exclude(pic, i, part.Inside)
			}
		}
	}
	facets := make([][][]int, len(f.Pictures))
	for pic := range facets {
		open := make([]bool, len(f.Open))
		for i, o := range f.Open {
			open[i] = o>>pic&1 == 1
		}
		facets[pic] = raster.Regions(open, f.Surface.W, f.Surface.H)
	}
	var all errgroup.Group
	all.SetLimit(f.Params.Jobs)
	for k := range f.Channels {
		ch := &f.Channels[k]
		all.Go(func() (err error) {
			ch.Base, err = f.facetMedian(ch.Light, facets[ch.Pic])
			return err
		})
	}
	return all.Wait()
}

// facetMedian is the local median of a plane within each of some regions, of what lies in it alone: a part's corner is no
// corner there. Elsewhere it is the plane itself.
func (f *Face) facetMedian(p *part.Plane, facets [][]int) (*part.Plane, error) {
	out := &part.Plane{W: p.W, H: p.H, V: slices.Clone(p.V)}
	for _, pixels := range facets {
		b := raster.Bounds(pixels, p.W)
		w, h := b[2]-b[0]+1, b[3]-b[1]+1
		if min(w, h) < 4 {
			continue
		}
		own, in := part.NewPlane(w, h), part.NewPlane(w, h)
		for _, i := range pixels {
			k := (i/p.W-b[1])*w + i%p.W - b[0]
			own.V[k], in.V[k] = p.V[i], 1
		}
		m, err := localMedian(own, in, insideBaseMM/f.MMPX)
		if err != nil {
			return nil, err
		}
		for _, i := range pixels {
			out.V[i] = m.V[(i/p.W-b[1])*w+i%p.W-b[0]]
		}
	}
	return out, nil
}

// longEdges are the places near the middles of one picture's edges that are longer than a defect's, and what is too narrow between them.
func (f *Face) longEdges(pic int) ([]bool, error) {
	w, h := f.Surface.W, f.Surface.H
	grad := make([]float32, w*h)
	across := make([][2]float32, w*h) // the direction in which light changes most
	for _, c := range f.ChannelsOf(pic) {
		soft := part.NewPlane(w, h)
		even := part.NewPlane(w, h) // so that noise is even
		for i, v := range f.Channels[c].Light.V {
			even.V[i] = float32(math.Sqrt(float64(max(v, 0))))
		}
		if err := raster.Gauss(soft, even, insideEdgeMM/f.MMPX); err != nil {
			return nil, err
		}
		// a smooth surface's light changes a little everywhere: the lower third tells noise and shading
		var usual []float64
		for y := 1; y < h-1; y++ {
			for x := 1 + y%5; x < w-1; x += 5 {
				if i := y*w + x; f.Surface.Dist.V[i] > 2 {
					usual = append(usual, math.Hypot(float64(soft.V[i+1]-soft.V[i-1]), float64(soft.V[i+w]-soft.V[i-w])))
				}
			}
		}
		unit := float32(max(raster.Quantile(usual, 0.35), 1e-4))
		if err := withoutLines(even, (WireMM+2*f.BlurPX()*f.ShapeMM())/f.MMPX); err != nil {
			return nil, err
		}
		if err := raster.Gauss(soft, even, insideEdgeMM/f.MMPX); err != nil {
			return nil, err
		}
		own, to := make([]float32, w*h), make([][2]float32, w*h)
		for y := 1; y < h-1; y++ {
			for x := 1; x < w-1; x++ {
				i := y*w + x
				dx, dy := soft.V[i+1]-soft.V[i-1], soft.V[i+w]-soft.V[i-w]
				own[i], to[i] = float32(math.Hypot(float64(dx), float64(dy))), [2]float32{dx, dy}
			}
		}
		for i, g := range own {
			if g/unit > grad[i] {
				grad[i], across[i] = g/unit, to[i]
			}
		}
	}
	weak := make([]bool, w*h)
	for i, g := range grad {
		weak[i] = g > insideGrows && f.Surface.Dist.V[i] > 0
	}
	in := make([]uint8, w*h)
	any := false
	for _, pixels := range raster.Regions(weak, w, h) {
		b := raster.Bounds(pixels, w)
		strong := func(i int) bool { return grad[i] > insideSeeds }
		if float64(max(b[2]-b[0], b[3]-b[1])+1)*f.MMPX < insideLongMM || !slices.ContainsFunc(pixels, strong) {
			continue
		}
		any = true
		for _, i := range pixels {
			if isRidge(grad, across[i], i, w) {
				in[i] = 1
			}
		}
	}
	out := make([]bool, w*h)
	if !any {
		return out, nil
	}
	_, outer, err := raster.Distances(in, w, h)
	if err != nil {
		return nil, err
	}
	reach := float32(insideBesides/f.MMPX + 2*f.BlurPX()*f.ShapeMM()/f.MMPX)
	// What is narrower between edges than a defect's surroundings is closed, too: a wire, a corner's tip.
	bare, wide := make([]uint8, w*h), make([]uint8, w*h)
	for i := range bare {
		if in[i] == 0 && outer.V[i] > reach {
			bare[i] = 1
		}
	}
	free, err := raster.Distance(bare, w, h)
	if err != nil {
		return nil, err
	}
	room := float32(AroundToMM / f.MMPX)
	for i, d := range free.V {
		if d <= room {
			wide[i] = 1 // too near to an edge to be the middle of anything
		}
	}
	far, err := raster.Distance(wide, w, h)
	if err != nil {
		return nil, err
	}
	for i := range out {
		out[i] = bare[i] == 0 || far.V[i] > room
	}
	return out, nil
}

// withoutLines takes off a plane what is narrower than a width in pixels, bright or dark: a fibre has two long edges, and is no part.
func withoutLines(p *part.Plane, width float64) error {
	n := int(width) | 1
	disc := make([]byte, n*n)
	for i := range disc {
		if math.Hypot(float64(i%n-n/2), float64(i/n-n/2)) <= float64(n)/2 {
			disc[i] = 1
		}
	}
	if err := raster.Opened(p, p, disc, n); err != nil {
		return err
	}
	return raster.Closed(p, p, disc, n)
}

// isRidge says whether a value is the largest along a direction through it: the middle of an edge (Canny 1986, IEEE Trans. PAMI 8).
func isRidge(v []float32, to [2]float32, i, w int) bool {
	k := i // the neighbour in that direction
	ax, ay := raster.Abs(to[0]), raster.Abs(to[1])
	if ax > ay*0.4142 { // tan 22.5 degrees
		k += int(math.Copysign(1, float64(to[0])))
	}
	if ay > ax*0.4142 {
		k += w * int(math.Copysign(1, float64(to[1])))
	}
	o := 2*i - k
	return (k < 0 || k >= len(v) || v[i] >= v[k]) && (o < 0 || o >= len(v) || v[i] >= v[o])
}

// medianLevels is into how many levels of about even noise light is divided for the local median.
const medianLevels = 1024

// localMedian is the median of a plane within a square window of a radius in pixels, of what lies on the surface;
// taken at every second pixel each way, and bilinear between (Huang, Yang and Tang 1979, IEEE Trans. ASSP 27: the
// histogram of a window that moves on).
func localMedian(p, dist *part.Plane, radius float64) (*part.Plane, error) {
	const down = 2
	w, h := p.W/down, p.H/down
	level := make([]int16, w*h) // -1: not on the surface
	for y := range h {
		for x := range w {
			sum, n := float32(0), 0
			for dy := range down {
				for dx := range down {
					if i := (y*down+dy)*p.W + x*down + dx; dist.V[i] > 0 {
						sum += p.V[i]
						n++
					}
				}
			}
			level[y*w+x] = -1
			if n > 0 {
				level[y*w+x] = int16(min(medianLevels-1, math.Sqrt(float64(max(0, sum/float32(n))))*medianLevels))
			}
		}
	}
	out := part.NewPlane(w, h)
	r := max(1, int(radius/down+0.5))
	var count [medianLevels]int32
	for y := range h {
		clear(count[:])
		n, below, at := int32(0), int32(0), 0 // below: how many lie under level at
		add := func(x int, by int32) {
			if x < 0 || x >= w {
				return
			}
			for yy := max(0, y-r); yy <= min(h-1, y+r); yy++ {
				if v := level[yy*w+x]; v >= 0 {
					count[v] += by
					n += by
					if int(v) < at {
						below += by
					}
				}
			}
		}
		for x := range r {
			add(x, 1)
		}
		for x := range w {
			add(x+r, 1)
			add(x-r-1, -1)
			if n == 0 {
				continue
			}
			for below > n/2 {
				at--
				below -= count[at]
			}
			for below+count[at] <= n/2 {
				below += count[at]
				at++
			}
			// within the level by the share of its pixels
			v := (float64(at) + (float64(n)/2-float64(below))/float64(max(1, count[at]))) / medianLevels
			out.V[y*w+x] = float32(v * v)
		}
	}
	full, err := raster.Resized(out, w*down, h*down)
	if err != nil || full.W == p.W && full.H == p.H {
		return full, err
	}
	whole := part.NewPlane(p.W, p.H)
	for y := range p.H {
		for x := range p.W {
			whole.V[y*p.W+x] = full.V[min(y, full.H-1)*full.W+min(x, full.W-1)]
		}
	}
	return whole, nil
}
