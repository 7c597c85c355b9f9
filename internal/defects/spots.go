package defects

import (
	"math"
	"slices"

	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/scene"
	"finishbench/internal/part"

	"golang.org/x/sync/errgroup"
)

// A spot of the surface in front of a part's edge, or between wires, lies in no facet. But it is short in all directions, while an
// edge, a part and a wire are long in one. So once facets are searched, opaque spots are sought over all of a see-through shell, against
// a base that keeps what holds a straight line in its light (openings and closings by lines: Soille 2003, Morphological Image Analysis).

// How such spots are sought. Lengths in millimetres; common practice, no source.
const (
	spotLineMM  = 0.6  // what holds a line of this length in its light is no spot
	spotWays    = 12   // lines lie in so many directions
	spotSoftMM  = 0.03 // the light is smoothed before, so that noise shortens no line,
	spotPixelMM = 0.05 // and taken in pixels of at most this size
	spotApartMM = 0.1  // a spot this near to what facets show is that
	spotAround  = 0.25 // around it the light differs from its base by at most this share of what it does itself
	faintSpot   = 2.0  // a spot that is not opaque stands out by so many times its threshold,
	clearSpot   = 3.0  // or by so many times, where one light alone tells what it is
	endLight    = 0.3  // what goes on from a wire's end stands out by this share of it
	endShare    = 0.08 // and is this share of what lies around it: a wire of 0.15 mm around a spot of 0.35 mm
)

// findSpots seeks opaque spots in a see-through shell, also where parts inside closed it; those that facets showed already are left out.
func (f *face) findSpots(found []sighted) ([]sighted, error) {
	g := *f
	g.Open, g.spots = f.OpenInside, true
	g.Channels = slices.Clone(f.Channels)
	var all errgroup.Group
	all.SetLimit(f.Params.Jobs)
	for k := range g.Channels {
		ch := &g.Channels[k]
		all.Go(func() (err error) {
			ch.Base, err = f.spotBase(ch.Light)
			return err
		})
	}
	if err := all.Wait(); err != nil {
		return nil, err
	}
	var out []sighted
	near := spotApartMM / f.ShapeMM()
	for k, v := range g.Views() {
		own, sub, err := g.as(v)
		if err != nil {
			continue // too little to learn from
		}
		places, err := sub.places(own)
		if err != nil {
			return nil, err
		}
		for _, p := range places {
			if !slices.ContainsFunc(found, func(s sighted) bool { return s.pl.all.GapTo(&p.all) <= near }) {
				out = append(out, sighted{sub, p, -1 - k}) // a view of its own
			}
		}
	}
	return out, nil
}

// spotBase is a plane's light without its spots.
func (f *face) spotBase(light *part.Plane) (*part.Plane, error) {
	down := max(1, int(spotPixelMM/f.MMPX))
	soft := part.NewPlane(light.W, light.H)
	if err := raster.Gauss(soft, light, spotSoftMM/f.MMPX); err != nil {
		return nil, err
	}
	small, err := raster.Resized(soft, light.W/down, light.H/down)
	if err != nil {
		return nil, err
	}
	spots, err := newSpots(small, int(spotLineMM/f.MMPX/float64(down))|1)
	if err != nil {
		return nil, err
	}
	base, err := raster.Resized(spots, light.W, light.H)
	if err != nil {
		return nil, err
	}
	for i, v := range light.V {
		base.V[i] = v - base.V[i]
	}
	return base, nil
}

// newSpots is by how much a plane is brighter than all lines of n pixels (odd) through it, less by how much it is darker: what an opening
// by each line takes off everywhere, and what a closing adds.
func newSpots(p *part.Plane, n int) (*part.Plane, error) {
	openings, closings, out := part.NewPlane(p.W, p.H), part.NewPlane(p.W, p.H), part.NewPlane(p.W, p.H)
	for i := range out.V {
		openings.V[i], closings.V[i] = float32(math.Inf(-1)), float32(math.Inf(1))
	}
	for way := range spotWays {
		line := lineOf(n, math.Pi*float64(way)/spotWays)
		if err := raster.Opened(out, p, line, n); err != nil {
			return nil, err
		}
		for i, v := range out.V {
			openings.V[i] = max(openings.V[i], v)
		}
		if err := raster.Closed(out, p, line, n); err != nil {
			return nil, err
		}
		for i, v := range out.V {
			closings.V[i] = min(closings.V[i], v)
		}
	}
	for i, v := range p.V {
		out.V[i] = 2*v - openings.V[i] - closings.V[i]
	}
	return out, nil
}

// lineOf is a straight line of n pixels (odd) through the middle of n x n, at an angle. Turned by half a turn it is the same,
// or an opening would move what it keeps.
func lineOf(n int, rad float64) []byte {
	on := make([]byte, n*n)
	sin, cos := math.Sincos(rad)
	half := n / 2
	for t := -half; t <= half; t++ {
		along := float64(t) / max(math.Abs(sin), math.Abs(cos)) // a pixel in each row, or in each column
		if math.Abs(along) <= float64(half)+0.5 {
			on[(half+int(math.Round(along*sin)))*n+half+int(math.Round(along*cos))] = 1
		}
	}
	return on
}

// isSpot says whether a place is a small spot of the surface: opaque or clear, with nothing else of its own light around it. What is left
// of a part's edge or of a wire's bend has more of it beside it.
func (f *face) isSpot(p *place) bool {
	if f.isLine(p) || p.all.Long*f.ShapeMM() > spotMostMM || f.lightLost(p) < 1 && !f.isClearSpot(p) {
		return false
	}
	rest, end := f.restAround(p)
	return rest <= spotAround && !end
}

// isClearSpot says whether a spot is a bubble by what it mirrors, or hides as much in one light as in the other, as bubbles do and what
// lies on the same ground: what moves with a light does not.
func (f *face) isClearSpot(p *place) bool {
	if f.isBubbleDisc(p) || f.isBubbleWall(p) {
		return p.peak >= clearSpot
	}
	if len(p.contrast) < 2 || !p.isMatt() || p.peak < faintSpot {
		return false
	}
	least, most := math.Inf(1), 0.0
	for _, c := range p.contrast {
		least, most = min(least, math.Abs(c)), max(most, math.Abs(c))
	}
	return least >= baseDoubt && most >= 2*clearChange
}

// restAround is which share of a spot's own change of light there is around it, and whether that is a wire that ends or bends in it: in the
// channel in which it stands out most.
func (f *face) restAround(p *place) (share float64, end bool) {
	around := f.ringAround(p.found)
	best := 0.0
	for _, ch := range f.Channels {
		off, level := make([]float64, len(p.found)), 0.0
		for k, i := range p.found {
			off[k] = float64(ch.Light.V[i] - ch.Base.V[i])
			level += float64(ch.Base.V[i]) / float64(len(p.found))
		}
		own := raster.Quantile(off, 0.8)
		if low := raster.Quantile(off, 0.2); -low > own {
			own = low
		}
		rel := math.Abs(own) / max(level, scene.PaintAtLeast)
		if rel <= best {
			continue
		}
		light, more := make([]float64, len(around)), make([]float64, len(around))
		for k, i := range around {
			light[k], more[k] = float64(ch.Light.V[i]), math.Abs(float64(ch.Light.V[i]-ch.Base.V[i]))
		}
		best, share, end = rel, raster.Quantile(more, 0.9)/math.Abs(own), isEnd(light, own)
	}
	return share, end
}

// isEnd says whether what stands out by own from a ring of light is a wire's end or bend: over even ground something narrow goes
// on from it, to its own side. Beside an edge there is something to the other side, too.
func isEnd(ring []float64, own float64) bool {
	mid := raster.Median(slices.Clone(ring))
	like, other := 0.0, 0.0
	for _, v := range ring {
		switch d := (v - mid) / own; {
		case d > endLight:
			like++
		case d < -endLight:
			other++
		}
	}
	return like >= endShare*float64(len(ring)) && other < like/3
}
