package search

import (
	"math"
	"slices"

	"finishbench/internal/defects/pattern"
	"finishbench/internal/defects/raster"
)

// What counts as a flake that mirrors one lamp. Common practice, no source.
const (
	oneLightRest   = 0.25  // in the other lights it is this much less bright
	oneLightShare  = 0.005 // a pattern sparkles where so much of the face is that,
	oneLightSpread = 0.6   // in so many of the cells that it would reach if it fell anywhere
	flakeUsual     = 0.95  // so many of the flakes tell the size of all,
	flakeMargin    = 1.3   // with this much to spare
	meetMost       = 0.3   // so many flakes of one light may lie on one of the other by chance, not to count
)

// Brightest is the largest of the changes of light in some pictures, and how much the
// others change, to either side.
func Brightest(change []float64) (best, others float64) {
	best = slices.Max(change)
	for _, c := range change {
		if c != best {
			others = math.Max(others, math.Abs(c))
		}
	}
	return best, others
}

// BrightAlone says whether a change of light, relative and per picture, is that of
// something which is bright in one of them alone.
func BrightAlone(change []float64) bool {
	best, others := Brightest(change)
	return best > 0 && others < oneLightRest*best
}

// learnFlakes tells whether figures are strewn all over the face that shine in one
// picture alone, each in its own: flakes mirror one lamp, paint is lit by all. And how
// long they are.
func (f *Face) learnFlakes() {
	if f.Sparkles = false; len(f.Pictures) < 2 {
		return
	}
	change := make([]float64, len(f.Pictures))
	alone := func(i int) bool { return f.LightChange(i, change) > pattern.FarNorm && BrightAlone(change) }
	n, cells, all := 0, map[int]bool{}, map[int]bool{}
	for _, i := range f.Points {
		cell := f.CellOf(i)
		all[cell] = true
		if alone(i) {
			n++
			cells[cell] = true
		}
	}
	many := float64(len(all))
	strewn := many * (1 - math.Exp(-float64(n)/many)) // cells that so many reach when they fall anywhere
	f.Sparkles = float64(n) > oneLightShare*float64(len(f.Points)) && float64(len(cells)) > oneLightSpread*strewn
	if !f.Sparkles {
		return
	}
	mask := make([]bool, len(f.Surface.Dist.V))
	for i, d := range f.Surface.Dist.V {
		mask[i] = d > f.RimPX() && alone(i)
	}
	var long []float64
	number, area := make([]float64, len(f.Pictures)), make([]float64, len(f.Pictures))
	for _, pixels := range raster.Regions(mask, f.Surface.W, f.Surface.H) {
		b := raster.Bounds(pixels, f.Surface.W)
		long = append(long, float64(max(b[2]-b[0], b[3]-b[1])+1)*f.MMPX)
		f.LightChange(pixels[len(pixels)/2], change)
		pic := slices.Index(change, slices.Max(change))
		number[pic]++
		area[pic] += float64(len(pixels))
	}
	f.FlakeMM = flakeMargin * raster.Quantile(long, flakeUsual)
	// Two discs meet where their middles are nearer than the sum of their radii.
	r := math.Sqrt(area[0]/max(1, number[0])) + math.Sqrt(area[1]/max(1, number[1]))
	f.FlakesMeet = number[0]*number[1]*r*r/f.Surface.Area > meetMost
}
