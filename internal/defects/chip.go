package defects

import (
	"math"

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
	if f.rim == nil || !f.atEdge(p) {
		return 0
	}
	s := f.rim.strip
	beside := make([]bool, s.cols)
	aside := int(math.Round(chipAsideMM / (rimStepMM / rimEvery)))
	for _, i := range p.found {
		a := math.Atan2(float64(i/f.surf.w)-f.surf.cy, float64(i%f.surf.w)-f.surf.cx)
		col := int(math.Mod(a/(2*math.Pi)+1, 1) * float64(s.cols))
		for k := -aside; k <= aside; k++ {
			beside[((col+k)%s.cols+s.cols)%s.cols] = true
		}
	}
	longest := 0
	for pic := range f.scene {
		off := f.edgeChange(f.planesOf(pic))
		run := 0
		for k := range 2 * s.cols { // around once more, for what lies across the first column
			if off[k%s.cols] && beside[k%s.cols] {
				run++
			} else {
				run = 0
			}
			longest = max(longest, min(run, s.cols))
		}
	}
	return float64(longest) * rimStepMM / rimEvery
}

// edgeChange tells for each column of the strip whether the outermost edge's light differs there,
// in channels of one picture.
func (f *face) edgeChange(planes []int) []bool {
	s := f.rim.strip
	first, last := int(f.outermostMM()/2/f.mmPX), int(f.outermostMM()/f.mmPX+1)
	sum := part.NewPlane(f.surf.w, f.surf.h)
	for _, c := range planes {
		for i, v := range f.channels[c].smooth.V {
			sum.V[i] += v
		}
	}
	at := s.sample(sum)
	light := make([]float64, s.cols)
	for k := range light {
		n := 0
		for j := first; j <= min(last, s.rows-1); j++ {
			if v := float64(at[j*s.cols+k]); v == v {
				light[k], n = light[k]+v, n+1
			}
		}
		light[k] /= float64(max(n, 1))
	}
	reach := int(math.Round(rimStretchMM / rimStepMM * rimEvery))
	change, all := make([]float64, s.cols), make([]float64, s.cols)
	for k := range light {
		around := make([]float64, 0, 2*reach+1)
		for d := -reach; d <= reach; d++ {
			around = append(around, light[((k+d)%s.cols+s.cols)%s.cols])
		}
		change[k] = light[k]/max(median(around), paintAtLeast) - 1
		all[k] = math.Abs(change[k])
	}
	far := max(chipChange, chipSpread*madToSD*median(all))
	out := make([]bool, s.cols)
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
	if f.rim == nil || p.all.long*f.shapeMM() < alongLeastMM {
		return false
	}
	lo, hi := float32(math.Inf(1)), float32(0)
	for _, i := range p.body {
		if k := p.win.parent[i]; k >= 0 {
			d := f.surf.outside.V[k]
			lo, hi = min(lo, d), max(hi, d)
		}
	}
	if float64(hi)*f.mmPX > rimDeepMM || float64(hi-lo+1)*f.mmPX*alongTimes > p.all.long*f.shapeMM() {
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
