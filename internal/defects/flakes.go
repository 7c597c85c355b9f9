package defects

import (
	"math"
	"slices"
)

// What counts as a flake that mirrors one lamp. Common practice, no source.
const (
	oneLightRest   = 0.25  // in the other lights it is this much less bright
	oneLightShare  = 0.005 // a pattern sparkles where so much of the face is that,
	oneLightSpread = 0.6   // in so many of the cells that it would reach if it fell anywhere
	flakeUsual     = 0.95  // so many of the flakes tell the size of all,
	flakeMargin    = 1.3   // with this much to spare
	oneShape       = 0.6   // what is one thing has this much of its shape in two lights in common
	meetMost       = 0.3   // so many flakes of one light may lie on one of the other by chance, not to count
)

// brightest is the largest of the changes of light in some pictures, and how much the
// others change, to either side.
func brightest(change []float64) (best, others float64) {
	best = slices.Max(change)
	for _, c := range change {
		if c != best {
			others = math.Max(others, math.Abs(c))
		}
	}
	return best, others
}

// brightAlone says whether a change of light, relative and per picture, is that of
// something which is bright in one of them alone.
func brightAlone(change []float64) bool {
	best, others := brightest(change)
	return best > 0 && others < oneLightRest*best
}

// lightChange fills in each picture's relative change of light at search pixel i and
// returns how far off the face's light all channels are, in noise units.
func (f *searchFace) lightChange(i int, change []float64) float64 {
	z := 0.0
	clear(change)
	for c, ch := range f.channels {
		d := float64(ch.smooth.V[i] - ch.base.V[i])
		z += d * d / (f.noise[c] * f.noise[c])
		change[ch.pic] += d / max(ch.level, paintAtLeast)
	}
	return math.Sqrt(z)
}

// learnFlakes tells whether figures are strewn all over the face that shine in one
// picture alone, each in its own: flakes mirror one lamp, paint is lit by all. And how
// long they are.
func (f *searchFace) learnFlakes() {
	if f.sparkles = false; len(f.scene) < 2 {
		return
	}
	change := make([]float64, len(f.scene))
	alone := func(i int) bool { return f.lightChange(i, change) > farNorm && brightAlone(change) }
	n, cells, all := 0, map[int]bool{}, map[int]bool{}
	for _, i := range f.points {
		cell := f.cellOf(i)
		all[cell] = true
		if alone(i) {
			n++
			cells[cell] = true
		}
	}
	many := float64(len(all))
	strewn := many * (1 - math.Exp(-float64(n)/many)) // cells that so many reach when they fall anywhere
	f.sparkles = float64(n) > oneLightShare*float64(len(f.points)) && float64(len(cells)) > oneLightSpread*strewn
	if !f.sparkles {
		return
	}
	mask := make([]bool, len(f.surf.dist.V))
	for i, d := range f.surf.dist.V {
		mask[i] = d > f.deep() && alone(i)
	}
	var long []float64
	number, area := make([]float64, len(f.scene)), make([]float64, len(f.scene))
	for _, pixels := range regionsOf(mask, f.surf.w, f.surf.h) {
		b := boundsOfPixels(pixels, f.surf.w)
		long = append(long, float64(max(b[2]-b[0], b[3]-b[1])+1)*f.mmPX)
		f.lightChange(pixels[len(pixels)/2], change)
		pic := slices.Index(change, slices.Max(change))
		number[pic]++
		area[pic] += float64(len(pixels))
	}
	f.flakeMM = flakeMargin * quantile(long, flakeUsual)
	// Two discs meet where their middles are nearer than the sum of their radii.
	r := math.Sqrt(area[0]/max(1, number[0])) + math.Sqrt(area[1]/max(1, number[1]))
	f.flakesMeet = number[0]*number[1]*r*r/f.surf.area > meetMost
}

// isFlake says whether a place on a pattern that sparkles is one of its flakes: no
// longer than they are, and bright in one light alone; or, where flakes of both lights
// meet by chance, of their colours in both and of two shapes.
func (f *face) isFlake(p *place) bool {
	if !f.sparkles || p.all.long*f.shapeMM() > f.flakeMM {
		return false
	}
	strange := func(i int) bool { return p.win.off.V[i] >= 1 }
	if f.flakesMeet && !slices.ContainsFunc(p.core, strange) && f.overlap(p) < oneShape {
		return true
	}
	if p.inBoth() {
		return false
	}
	change, other := make([]float64, len(f.scene)), make([]float64, len(f.scene))
	for _, i := range p.found {
		f.lightChange(i, other)
		for k := range change {
			change[k] += other[k]
		}
	}
	return brightAlone(change)
}

// overlap is how much the shapes of a place in the first two pictures have in common:
// what is above half its height in both, over what is in either.
func (f *face) overlap(p *place) float64 {
	w := p.win
	var in [2][]bool
	for pic := range in {
		light := make([]float64, len(w.parent))
		for _, c := range f.planesOf(pic) {
			for i, parent := range w.parent {
				if parent >= 0 {
					light[i] += f.deviation(w, c, i)
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
		for _, pixels := range regionsOf(mask, w.w, w.h) {
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
