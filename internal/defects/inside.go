package defects

import (
	"math"
	"slices"

	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/scene"
)

// A see-through shell shows what lies inside: parts, wires, their refracted edges. They are no
// defects, and hide some. What tells them is their size and form: a part has edges longer than any
// defect's, and is wide. So the middles of long edges, what the blur smears of them and what is narrow between them are not
// searched, and said so; they leave facets, and in each of these the base is the local median of its own light, which loses
// what is smaller than its window. What is found is told only where it is a small spot, a thin line that is opaque or shines, or a
// bundle of thin lines: a wire is wider, and what is refracted is fainter than a fibre.

// How parts inside are told. Lengths in millimetres; common practice, no source.
const (
	spotMostMM   = 0.6 // spots larger than this may be parts
	dyeLeast     = 0.3 // a blue dye takes this share of the red light, and of the blue so much less
	vivid        = 0.4 // the least of a dye's colours over the most; of earths it is more
	bundleInside = 4   // lines of a bundle: two or three are a wire's edges and what shines along it, or two wires
	bundleLeast  = 5.0 // noise units by which a bundle of lines changes some light: what is less cannot be told (Rose 1948)
)

// mayBeInside says whether a place found in a see-through shell may as well be a part's corner, or a wire,
// inside: the light around a defect is about even, and a line wider than a fibre may be a wire.
func (f *face) mayBeInside(p *place) bool {
	if !f.SeeThrough {
		return false
	}
	if f.isDyed(p) || len(p.contrast) < 2 && p.contrast[0] > 0 { // what is bright in one light alone may be mirrored
		return true
	}
	if f.spots {
		return !f.isSpot(p)
	}
	if f.isBundle(p) {
		return p.lines < bundleInside && !f.isAbrasion(p) || slices.Max(p.strength) < bundleLeast
	}
	if f.isThinner(p) && (f.isMarkLine(p) || f.isGlintLine(p)) {
		return f.alongEdge(p.found)
	}
	if f.isLine(p) && (p.mirrors || slices.Max(p.contrast) < glint && f.lightLost(p) < 1) { // a fibre is opaque, a run shines, and thinly
		return true
	}
	mm := f.ShapeMM()
	if p.all.Long*mm > spotMostMM && (!f.isLine(p) || unblurredDiameter(p.all.Thick, p.blurPX)*mm > scene.WireMM) {
		return true
	}
	return f.alongEdge(p.found) || f.unevenAround(p.found) > aroundShare
}

// isThinner says whether a place is a line less than half as thick as a wire.
func (f *face) isThinner(p *place) bool {
	return f.isLine(p) && len(p.contrast) > 1 && unblurredDiameter(p.all.Thick, p.blurPX)*f.ShapeMM() <= scene.WireMM/2
}

// isMarkLine says whether a line is opaque and looks alike in all lights, as fibres and scratches do.
func (f *face) isMarkLine(p *place) bool { return p.isMatt() && f.lightLost(p) >= 1 }

// isGlintLine says whether a line is a lamp that a slope mirrors: lacquer bends within its own thickness and makes thin lines of
// lamps, while what shines on a part inside is as wide as that.
func (f *face) isGlintLine(p *place) bool {
	return p.mirrors && slices.Max(p.contrast) >= slopeSharp && p.all.Long*f.ShapeMM() >= slopeWideMM
}

// isAbrasion says whether a bundle of three lines is an abrasive's: they are thinner than a wire's edges, and lie further apart.
func (f *face) isAbrasion(p *place) bool {
	return p.lines == bundleInside-1 && f.isThinner(p) && p.all.Across*f.ShapeMM() >= 2*scene.WireMM
}

// isDyed says whether a place has a dye's colour in the light of all pictures together. A line as narrow as a fibre may be dyed, too, and
// is no wire.
func (f *face) isDyed(p *place) bool {
	if f.isLine(p) && unblurredDiameter(p.all.Thick, p.blurPX)*f.ShapeMM() <= scene.WireMM {
		return false
	}
	var off, ground []float64
	for pic := range f.Pictures {
		o, g := f.byColour(p, pic)
		for c := range o {
			if pic == 0 {
				off, ground = append(off, 0), append(ground, 0)
			}
			off[c], ground[c] = off[c]+o[c], ground[c]+g[c]
		}
	}
	return dyed(off, ground)
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
	w, h, n := f.Surface.W, f.Surface.H, 0
	reach := max(2, int(aroundFromMM/f.MMPX+0.5))
	for _, i := range found {
		x, y := i%w, i/w
	near:
		for dy := -reach; dy <= reach; dy++ {
			for dx := -reach; dx <= reach; dx++ {
				xx, yy := x+dx, y+dy
				if xx < 0 || yy < 0 || xx >= w || yy >= h || dx*dx+dy*dy > reach*reach {
					continue
				}
				if k := yy*w + xx; f.Surface.Dist.V[k] <= 0 && f.Surface.Outside.V[k] > 0 {
					n++
					break near
				}
			}
		}
	}
	return 2*n > len(found)
}

// aroundShare is up to which share of a place's own contrast the light around it may differ (common practice, no
// source), between aroundFromMM and scene.AroundToMM from it.
const (
	aroundShare  = 0.6
	aroundFromMM = 0.07
)

// unevenAround is by how much the light around a place differs, as a share of how far the place stands out from it: in the channel in
// which that stands out most.
func (f *face) unevenAround(found []int) float64 {
	around := f.ringAround(found)
	if len(around) < 8 {
		return 0
	}
	best, share := 0.0, 0.0
	for _, ch := range f.Channels {
		var ring, own []float64
		for _, i := range around {
			ring = append(ring, float64(ch.Light.V[i]))
		}
		mid := raster.Median(slices.Clone(ring))
		for _, i := range found {
			own = append(own, math.Abs(float64(ch.Light.V[i])-mid))
		}
		out := raster.Quantile(own, 0.8)
		spread := raster.Quantile(slices.Clone(ring), 0.9) - raster.Quantile(ring, 0.1)
		if rel := out / max(mid, scene.PaintAtLeast); rel > best {
			best, share = rel, spread/max(out, 1e-6)
		}
	}
	return share
}

// ringAround are the pixels between aroundFromMM and scene.AroundToMM from a place.
func (f *face) ringAround(found []int) (around []int) {
	w, h := f.Surface.W, f.Surface.H
	from, to := int(aroundFromMM/f.MMPX+0.5), int(scene.AroundToMM/f.MMPX+0.5)
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
