package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"

	"gocv.io/x/gocv"
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
	wireMM        = 0.15 // lines wider than this may be wires
	spotMostMM    = 0.6  // spots larger than this may be parts
	dyeLeast      = 0.3  // a blue dye takes this share of the red light, and of the blue so much less
	vivid         = 0.36 // the least of a dye's colours over the most; of earths it is 0.4 and more
	bundleInside  = 4    // lines of a bundle: two or three are a wire's edges and what shines along it, or two wires
	bundleLeast   = 5.0  // noise units by which a bundle of lines changes some light: what is less cannot be told (Rose 1948)
)

// seesThrough says whether a shell's light differs over much of it from a smooth surface of light, in every
// picture.
func (f *face) seesThrough() bool {
	if f.p.Shell == nil {
		return false
	}
	least := math.Inf(1)
	for pic := range f.scene {
		worst := 0.0
		for _, c := range f.planesOf(pic) {
			worst = max(worst, f.channels[c].uneven)
		}
		least = min(least, worst)
	}
	return least > structured
}

// leaveInside closes what long edges inside a see-through shell lie at, and gives all channels the local
// median of what lies between them as their base.
func (f *face) leaveInside() error {
	f.openInside = slices.Clone(f.open)
	for pic := range f.scene {
		edge, err := f.longEdges(pic)
		if err != nil {
			return err
		}
		for i, e := range edge {
			if e {
				f.close(pic, i, part.Inside)
			}
		}
	}
	facets := make([][][]int, len(f.scene))
	for pic := range facets {
		open := make([]bool, len(f.open))
		for i, o := range f.open {
			open[i] = o>>pic&1 == 1
		}
		facets[pic] = regionsOf(open, f.surf.w, f.surf.h)
	}
	var all errgroup.Group
	all.SetLimit(f.p.Jobs)
	for k := range f.channels {
		ch := &f.channels[k]
		all.Go(func() (err error) {
			ch.base, err = f.facetMedian(ch.smooth, facets[ch.pic])
			return err
		})
	}
	return all.Wait()
}

// facetMedian is the local median of a plane within each of some regions, of what lies in it alone: a part's corner is no
// corner there. Elsewhere it is the plane itself.
func (f *face) facetMedian(p *part.Plane, facets [][]int) (*part.Plane, error) {
	out := &part.Plane{W: p.W, H: p.H, V: slices.Clone(p.V)}
	for _, pixels := range facets {
		b := boundsOfPixels(pixels, p.W)
		w, h := b[2]-b[0]+1, b[3]-b[1]+1
		if min(w, h) < 4 {
			continue
		}
		own, in := part.NewPlane(w, h), part.NewPlane(w, h)
		for _, i := range pixels {
			k := (i/p.W-b[1])*w + i%p.W - b[0]
			own.V[k], in.V[k] = p.V[i], 1
		}
		m, err := localMedian(own, in, insideBaseMM/f.mmPX)
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
func (f *face) longEdges(pic int) ([]bool, error) {
	w, h := f.surf.w, f.surf.h
	grad := make([]float32, w*h)
	across := make([][2]float32, w*h) // the direction in which light changes most
	for _, c := range f.planesOf(pic) {
		soft := part.NewPlane(w, h)
		even := part.NewPlane(w, h) // so that noise is even
		for i, v := range f.channels[c].smooth.V {
			even.V[i] = float32(math.Sqrt(float64(max(v, 0))))
		}
		if err := gauss(soft, even, insideEdgeMM/f.mmPX); err != nil {
			return nil, err
		}
		// a smooth surface's light changes a little everywhere: the lower third tells noise and shading
		var usual []float64
		for y := 1; y < h-1; y++ {
			for x := 1 + y%5; x < w-1; x += 5 {
				if i := y*w + x; f.surf.dist.V[i] > 2 {
					usual = append(usual, math.Hypot(float64(soft.V[i+1]-soft.V[i-1]), float64(soft.V[i+w]-soft.V[i-w])))
				}
			}
		}
		unit := float32(max(quantile(usual, 0.35), 1e-4))
		if err := withoutLines(even, (wireMM+2*f.blurPX()*f.shapeMM())/f.mmPX); err != nil {
			return nil, err
		}
		if err := gauss(soft, even, insideEdgeMM/f.mmPX); err != nil {
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
		weak[i] = g > insideGrows && f.surf.dist.V[i] > 0
	}
	in := make([]uint8, w*h)
	any := false
	for _, pixels := range regionsOf(weak, w, h) {
		b := boundsOfPixels(pixels, w)
		strong := func(i int) bool { return grad[i] > insideSeeds }
		if float64(max(b[2]-b[0], b[3]-b[1])+1)*f.mmPX < insideLongMM || !slices.ContainsFunc(pixels, strong) {
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
	_, outer, err := distances(in, w, h)
	if err != nil {
		return nil, err
	}
	reach := float32(insideBesides/f.mmPX + 2*f.blurPX()*f.shapeMM()/f.mmPX)
	// What is narrower between edges than a defect's surroundings is closed, too: a wire, a corner's tip.
	bare, wide := make([]uint8, w*h), make([]uint8, w*h)
	for i := range bare {
		if in[i] == 0 && outer.V[i] > reach {
			bare[i] = 1
		}
	}
	free, err := newDistance(bare, w, h)
	if err != nil {
		return nil, err
	}
	room := float32(aroundToMM / f.mmPX)
	for i, d := range free.V {
		if d <= room {
			wide[i] = 1 // too near to an edge to be the middle of anything
		}
	}
	far, err := newDistance(wide, w, h)
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
	if err := morph(p, p, gocv.MorphOpen, disc, n); err != nil {
		return err
	}
	return morph(p, p, gocv.MorphClose, disc, n)
}

// isRidge says whether a value is the largest along a direction through it: the middle of an edge (Canny 1986, IEEE Trans. PAMI 8).
func isRidge(v []float32, to [2]float32, i, w int) bool {
	k := i // the neighbour in that direction
	ax, ay := abs32(to[0]), abs32(to[1])
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
	full, err := newResized(out, w*down, h*down)
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

// mayBeInside says whether a place found in a see-through shell may as well be a part's corner, or a wire,
// inside: the light around a defect is about even, and a line wider than a fibre may be a wire.
func (f *face) mayBeInside(p *place) bool {
	if !f.clear {
		return false
	}
	if f.isDyed(p) || len(p.contrast) < 2 && p.contrast[0] > 0 { // what is bright in one light alone may be mirrored
		return true
	}
	if f.spots {
		return !f.isOpaqueSpot(p)
	}
	thin := unblurredDiameter(p.all.thick, p.blurPX)*f.shapeMM() <= wireMM/2
	if f.isBundle(p) {
		wide := thin && p.all.across*f.shapeMM() >= 2*wireMM
		return p.lines < bundleInside && !(p.lines == bundleInside-1 && wide) || slices.Max(p.strength) < bundleLeast
	}
	if thin && f.isLine(p) && len(p.contrast) > 1 {
		if p.isMatt() && f.lightLost(p) >= 1 {
			return f.alongEdge(p.found)
		}
		if p.mirrors && slices.Max(p.contrast) >= slopeSharp && p.all.long*f.shapeMM() >= slopeWideMM {
			return f.alongEdge(p.found)
		}
	}
	if f.isLine(p) && slices.Max(p.contrast) < glint && f.lightLost(p) < 1 { // a fibre is opaque, a run shines
		return true
	}
	mm := f.shapeMM()
	if p.all.long*mm > spotMostMM && (!f.isLine(p) || unblurredDiameter(p.all.thick, p.blurPX)*mm > wireMM) {
		return true
	}
	return f.alongEdge(p.found) || f.unevenAround(p.found) > aroundShare
}

// isDyed says whether a place has a dye's colour in every picture. A line as narrow as a fibre may be dyed, too, and is no wire.
func (f *face) isDyed(p *place) bool {
	if f.isLine(p) && unblurredDiameter(p.all.thick, p.blurPX)*f.shapeMM() <= wireMM {
		return false
	}
	for pic := range f.scene {
		if off, ground := f.byColour(p, pic); !dyed(off, ground) {
			return false
		}
	}
	return true
}

// dyed says whether a change of a ground's red, green and blue light is a wire's insulation: its own light is vivid where the
// ground's is not, or it takes red away and leaves blue. Dust is grey or of an earth's colour, a slope and a ball of air have what
// is around them. False where there are fewer colours.
func dyed(off, ground []float64) bool {
	if len(off) < 3 {
		return false
	}
	own, share := make([]float64, len(off)), make([]float64, len(off))
	for c := range own {
		own[c], share[c] = max(0, ground[c]+off[c]), off[c]/max(ground[c], 1e-12)
	}
	if slices.Min(own) < vivid*slices.Max(own) && slices.Min(ground) > vivid*slices.Max(ground) {
		return true
	}
	return share[0] <= -dyeLeast && share[2]-share[0] >= dyeLeast
}

// alongEdge says whether most of some pixels lie beside closed edges: what these leave of a soft edge.
func (f *face) alongEdge(found []int) bool {
	w, h, n := f.surf.w, f.surf.h, 0
	reach := max(2, int(aroundFromMM/f.mmPX+0.5))
	for _, i := range found {
		x, y := i%w, i/w
	near:
		for dy := -reach; dy <= reach; dy++ {
			for dx := -reach; dx <= reach; dx++ {
				xx, yy := x+dx, y+dy
				if xx < 0 || yy < 0 || xx >= w || yy >= h || dx*dx+dy*dy > reach*reach {
					continue
				}
				if k := yy*w + xx; f.surf.dist.V[k] <= 0 && f.surf.outside.V[k] > 0 {
					n++
					break near
				}
			}
		}
	}
	return 2*n > len(found)
}

// aroundShare is up to which share of a place's own contrast the light around it may differ (common practice, no
// source), and between aroundFromMM and aroundToMM from it.
const (
	aroundShare  = 0.6
	aroundFromMM = 0.07
	aroundToMM   = 0.17
)

// unevenAround is by how much the light around a place differs, as a share of how far the place stands out from it: in the channel in
// which that stands out most.
func (f *face) unevenAround(found []int) float64 {
	around := f.ringAround(found)
	if len(around) < 8 {
		return 0
	}
	best, share := 0.0, 0.0
	for _, ch := range f.channels {
		var ring, own []float64
		for _, i := range around {
			ring = append(ring, float64(ch.smooth.V[i]))
		}
		mid := median(slices.Clone(ring))
		for _, i := range found {
			own = append(own, math.Abs(float64(ch.smooth.V[i])-mid))
		}
		out := quantile(own, 0.8)
		spread := quantile(slices.Clone(ring), 0.9) - quantile(ring, 0.1)
		if rel := out / max(mid, paintAtLeast); rel > best {
			best, share = rel, spread/max(out, 1e-6)
		}
	}
	return share
}

// ringAround are the pixels between aroundFromMM and aroundToMM from a place.
func (f *face) ringAround(found []int) (around []int) {
	w, h := f.surf.w, f.surf.h
	from, to := int(aroundFromMM/f.mmPX+0.5), int(aroundToMM/f.mmPX+0.5)
	step := map[int]int{}
	front := found
	for _, i := range found {
		step[i] = 0
	}
	for n := 1; n <= to; n++ {
		var next []int
		for _, i := range front {
			x, y := i%w, i/w
			for _, d := range [8][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}, {-1, -1}, {1, 1}, {-1, 1}, {1, -1}} {
				xx, yy := x+d[0], y+d[1]
				k := yy*w + xx
				if _, known := step[k]; xx < 0 || yy < 0 || xx >= w || yy >= h || known {
					continue
				}
				step[k] = n
				next = append(next, k)
				if n >= from {
					around = append(around, k)
				}
			}
		}
		front = next
	}
	return around
}
