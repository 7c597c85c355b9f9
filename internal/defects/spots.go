package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"

	"gocv.io/x/gocv"
	"golang.org/x/sync/errgroup"
)

// A spot of the surface in front of a part's edge, or between wires, lies in no facet. But it is short in all directions, while an
// edge, a part and a wire are long in one. So once facets are searched, opaque spots are sought over all of a see-through shell, against
// a base that keeps what holds a straight line in its light (openings and closings by lines: Soille 2003, Morphological Image Analysis).

// How such spots are sought. Lengths in millimetres; common practice, no source.
const (
	spotLineMM  = 0.6  // what holds a line of this length in its light is no spot
	spotWays    = 12   // lines lie in so many directions
	spotSoftMM  = 0.02 // the light is smoothed before, so that noise shortens no line,
	spotPixelMM = 0.05 // and taken in pixels of at most this size
	spotApartMM = 0.1  // a spot this near to what facets show is that
	spotAround  = 0.25 // around it the light differs from its base by at most this share of what it does itself
	endLight    = 0.3  // what goes on from a wire's end stands out by this share of it
	endShare    = 0.08 // and is this share of what lies around it: a wire of 0.15 mm around a spot of 0.35 mm
)

// findSpots seeks opaque spots in a see-through shell, also where parts inside closed it; those that facets showed already are left out.
func (f *face) findSpots(found []sighted) ([]sighted, error) {
	g := *f
	g.open, g.spots = f.openInside, true
	g.channels = slices.Clone(f.channels)
	var all errgroup.Group
	all.SetLimit(f.p.Jobs)
	for k := range g.channels {
		ch := &g.channels[k]
		all.Go(func() (err error) {
			ch.base, err = f.spotBase(ch.smooth)
			return err
		})
	}
	if err := all.Wait(); err != nil {
		return nil, err
	}
	var out []sighted
	near := spotApartMM / f.shapeMM()
	for k, v := range g.views() {
		sub, own, err := g.with(v)
		if err != nil {
			continue // too little to learn from
		}
		places, err := sub.places(own)
		if err != nil {
			return nil, err
		}
		for _, p := range places {
			if !slices.ContainsFunc(found, func(s sighted) bool { return s.pl.all.gapTo(&p.all) <= near }) {
				out = append(out, sighted{sub, p, -1 - k}) // a view of its own
			}
		}
	}
	return out, nil
}

// spotBase is a plane's light without its spots.
func (f *face) spotBase(light *part.Plane) (*part.Plane, error) {
	down := max(1, int(spotPixelMM/f.mmPX))
	soft := part.NewPlane(light.W, light.H)
	if err := gauss(soft, light, spotSoftMM/f.mmPX); err != nil {
		return nil, err
	}
	small, err := newResized(soft, light.W/down, light.H/down)
	if err != nil {
		return nil, err
	}
	spots, err := newSpots(small, int(spotLineMM/f.mmPX/float64(down))|1)
	if err != nil {
		return nil, err
	}
	base, err := newResized(spots, light.W, light.H)
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
	opened, closed, out := part.NewPlane(p.W, p.H), part.NewPlane(p.W, p.H), part.NewPlane(p.W, p.H)
	for i := range out.V {
		opened.V[i], closed.V[i] = float32(math.Inf(-1)), float32(math.Inf(1))
	}
	for way := range spotWays {
		line := lineOf(n, math.Pi*float64(way)/spotWays)
		if err := morph(out, p, gocv.MorphOpen, line, n); err != nil {
			return nil, err
		}
		for i, v := range out.V {
			opened.V[i] = max(opened.V[i], v)
		}
		if err := morph(out, p, gocv.MorphClose, line, n); err != nil {
			return nil, err
		}
		for i, v := range out.V {
			closed.V[i] = min(closed.V[i], v)
		}
	}
	for i, v := range p.V {
		out.V[i] = 2*v - opened.V[i] - closed.V[i]
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

// isOpaqueSpot says whether a place is a small spot that only something opaque makes, with nothing else of its own light around it: what
// is left of a part's edge or of a wire's bend is fainter, or has more of it beside it.
func (f *face) isOpaqueSpot(p *place) bool {
	if f.isLine(p) || p.all.long*f.shapeMM() > spotMostMM || f.lightLost(p) < 1 && !f.seeClear(p) {
		return false
	}
	rest, end := f.seeRest(p)
	return rest <= spotAround && !end
}

func (f *face) seeClear(p *place) bool {
	if f.isBubbleDisc(p) || f.isBubbleWall(p) {
		return p.peak >= 3
	}
	if len(p.contrast) < 2 || !p.isMatt() || p.peak < 2 {
		return false
	}
	least, most := math.Inf(1), 0.0
	for _, c := range p.contrast {
		least, most = min(least, math.Abs(c)), max(most, math.Abs(c))
	}
	return least >= baseDoubt && most >= 2*clearChange
}

func (f *face) seeRest(p *place) (float64, bool) {
	around := f.ringAround(p.found)
	best, rest, end := 0.0, 0.0, false // in the channel in which it stands out most
	for _, ch := range f.channels {
		off, level := make([]float64, len(p.found)), 0.0
		for k, i := range p.found {
			off[k] = float64(ch.smooth.V[i] - ch.base.V[i])
			level += float64(ch.base.V[i]) / float64(len(p.found))
		}
		own := quantile(off, 0.8)
		if low := quantile(off, 0.2); -low > own {
			own = low
		}
		rel := math.Abs(own) / max(level, paintAtLeast)
		if rel <= best {
			continue
		}
		light, more := make([]float64, len(around)), make([]float64, len(around))
		for k, i := range around {
			light[k], more[k] = float64(ch.smooth.V[i]), math.Abs(float64(ch.smooth.V[i]-ch.base.V[i]))
		}
		best, rest, end = rel, quantile(more, 0.9)/math.Abs(own), isEnd(light, own)
	}
	return rest, end
}

// isEnd says whether what stands out by own from a ring of light is a wire's end or bend: over even ground something narrow goes
// on from it, to its own side. Beside an edge there is something to the other side, too.
func isEnd(ring []float64, own float64) bool {
	mid := median(slices.Clone(ring))
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
