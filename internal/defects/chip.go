package defects

import (
	"math"

	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
)

// A chip goes through the faceplate's outermost edge, which is not searched: its own blur lies
// there. Where something was found right beside it, the edge's light is held against the light that it has
// to either side.

// What breaks the edge (common practice, no source).
const (
	chipEdgeMM  = 0.25 // along so much of it
	chipChange  = 0.1  // the edge's light is another by this share,
	chipSpread  = 5.0  // and by so many times what it differs by elsewhere
	chipAsideMM = 0.15 // no further to either side of what was found
)

// breaksEdgeMM is along how much of the outermost edge the light is another beside a place; 0
// where it does not reach there.
func (f *face) breaksEdgeMM(p *place) float64 {
	if f.Rim == nil || !f.atEdge(p) {
		return 0
	}
	s := f.Rim.Strip
	beside := make([]bool, s.Cols)
	aside := int(math.Round(chipAsideMM / (scene.RimStepMM / scene.RimEvery)))
	for _, i := range p.found {
		a := math.Atan2(float64(i/f.Surface.W)-f.Surface.CY, float64(i%f.Surface.W)-f.Surface.CX)
		col := int(math.Mod(a/(2*math.Pi)+1, 1) * float64(s.Cols))
		for k := -aside; k <= aside; k++ {
			beside[((col+k)%s.Cols+s.Cols)%s.Cols] = true
		}
	}
	longest := 0
	for pic := range f.Pictures {
		off := f.edgeChange(f.ChannelsOf(pic))
		run := 0
		for k := range 2 * s.Cols { // around once more, for what lies across the first column
			if off[k%s.Cols] && beside[k%s.Cols] {
				run++
			} else {
				run = 0
			}
			longest = max(longest, min(run, s.Cols))
		}
	}
	return float64(longest) * scene.RimStepMM / scene.RimEvery
}

// edgeChange tells for each column of the strip whether the outermost edge's light differs there,
// in channels of one picture.
func (f *face) edgeChange(planes []int) []bool {
	s := f.Rim.Strip
	first, last := int(f.OutermostMM()/2/f.MMPX), int(f.OutermostMM()/f.MMPX+1)
	sum := part.NewPlane(f.Surface.W, f.Surface.H)
	for _, c := range planes {
		for i, v := range f.Channels[c].Light.V {
			sum.V[i] += v
		}
	}
	at := s.Sample(sum)
	light := make([]float64, s.Cols)
	for k := range light {
		n := 0
		for j := first; j <= min(last, s.Rows-1); j++ {
			if v := float64(at[j*s.Cols+k]); v == v {
				light[k], n = light[k]+v, n+1
			}
		}
		light[k] /= float64(max(n, 1))
	}
	reach := int(math.Round(scene.RimStretchMM / scene.RimStepMM * scene.RimEvery))
	change, all := make([]float64, s.Cols), make([]float64, s.Cols)
	for k := range light {
		around := make([]float64, 0, 2*reach+1)
		for d := -reach; d <= reach; d++ {
			around = append(around, light[((k+d)%s.Cols+s.Cols)%s.Cols])
		}
		change[k] = light[k]/max(raster.Median(around), scene.PaintAtLeast) - 1
		all[k] = math.Abs(change[k])
	}
	far := max(chipChange, chipSpread*raster.MADToSD*raster.Median(all))
	out := make([]bool, s.Cols)
	for k, v := range change {
		out[k] = math.Abs(v) > far
	}
	return out
}

// What lies along the rim is no defect of its own (common practice, no source).
const (
	alongLeastMM = 0.2 // a line along the rim is at least this long
	alongTimes   = 3.0 // and so many times longer than deep
)

// alongRim says whether a place is a lamp's line in the rim that the strip did not
// follow: long along the outline against its depth, and seen in one light only.
func (f *face) alongRim(p *place) bool {
	if f.Rim == nil || p.all.Long*f.ShapeMM() < alongLeastMM {
		return false
	}
	lo, hi := float32(math.Inf(1)), float32(0)
	for _, i := range p.body {
		if k := p.win.Parent[i]; k >= 0 {
			d := f.Surface.Outside.V[k]
			lo, hi = min(lo, d), max(hi, d)
		}
	}
	if float64(hi)*f.MMPX > scene.RimDeepMM || float64(hi-lo+1)*f.MMPX*alongTimes > p.all.Long*f.ShapeMM() {
		return false
	}
	seen := 0
	for _, z := range p.strength {
		if z > 5 {
			seen++
		}
	}
	return seen < 2
}
