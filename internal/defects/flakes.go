package defects

import (
	"math"
	"slices"

	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/search"
)

// oneShape is how much of its shape in two lights one thing has in common (common practice, no source).
const oneShape = 0.6

// isFlake says whether a place on a pattern that sparkles is one of its flakes: no
// longer than they are, and bright in one light alone; or, where flakes of both lights
// meet by chance, of their colours in both and of two shapes.
func (f *face) isFlake(p *place) bool {
	if !f.Sparkles || p.all.Long*f.ShapeMM() > f.FlakeMM {
		return false
	}
	strange := func(i int) bool { return p.win.Off.V[i] >= 1 }
	if f.FlakesMeet && !slices.ContainsFunc(p.core, strange) && f.overlap(p) < oneShape {
		return true
	}
	if p.inBoth() {
		return false
	}
	change, other := make([]float64, len(f.Pictures)), make([]float64, len(f.Pictures))
	for _, i := range p.found {
		f.LightChange(i, other)
		for k := range change {
			change[k] += other[k]
		}
	}
	return search.BrightAlone(change)
}

// overlap is how much the shapes of a place in the first two pictures have in common:
// what is above half its height in both, over what is in either.
func (f *face) overlap(p *place) float64 {
	w := p.win
	var in [2][]bool
	for pic := range in {
		light := make([]float64, len(w.Parent))
		for _, c := range f.ChannelsOf(pic) {
			for i, parent := range w.Parent {
				if parent >= 0 {
					light[i] += f.Deviation(w, c, i)
				}
			}
		}
		top := p.core[0]
		for _, i := range p.core {
			if math.Abs(light[i]) > math.Abs(light[top]) {
				top = i
			}
		}
		mask := make([]bool, len(light))
		for i, v := range light {
			mask[i] = v/light[top] > 0.5
		}
		in[pic] = make([]bool, len(light))
		for _, pixels := range raster.Regions(mask, w.W, w.H) {
			if slices.Contains(pixels, top) {
				for _, i := range pixels {
					in[pic][i] = true
				}
			}
		}
	}
	both, either := 0.0, 0.0
	for i := range in[0] {
		if in[0][i] && in[1][i] {
			both++
		}
		if in[0][i] || in[1][i] {
			either++
		}
	}
	return both / either
}
