package stripes

import (
	"math"

	"finishbench/internal/stats/robust"
)

// The faceplate's rim is rounded: it turns the mirrored stripes aside and soon mirrors
// something else. How far it reaches is told sector by sector along the outline, by what
// most of a sector does at each depth (lengths in mm, common practice, no source).
const (
	rimSectorMM = 1.5  // along the outline; a sector is told with its two neighbours
	rimBandMM   = 0.06 // of depth
	rimDeepMM   = 1.8  // and no deeper
	rimPhase    = 0.5  // from this phase off the face's own, radians,
	rimSlopeMM  = 0.25 // so much deeper slopes are still its own
	rimGloss    = 0.7  // or under this gloss, it is the rim's
)

// withoutRim takes the rounded rim off what is looked at.
func (m *Maps) withoutRim(looked []bool) []bool {
	w := m.Depth.W
	cx, cy, n := m.centre()
	sectors := max(12, int(2*math.Sqrt(math.Pi*n)*m.MMPX/rimSectorMM))
	bands := int(rimDeepMM / rimBandMM)
	at := func(i int) (sector float64, band int) {
		a := math.Atan2(float64(i/w)-cy, float64(i%w)-cx)/(2*math.Pi) + 1
		return math.Mod(a, 1) * float64(sectors), int(float64(m.Depth.V[i]) * m.MMPX / rimBandMM)
	}
	phase, gloss := make([][]float64, sectors*bands), make([][]float64, sectors*bands)
	var inner []float64
	for i, yes := range looked {
		if !yes {
			continue
		}
		s, b := at(i)
		if b >= bands {
			inner = append(inner, m.turned(i))
			continue
		}
		for _, k := range [3]int{-1, 0, 1} {
			c := (int(s)+k+sectors)%sectors*bands + b
			phase[c], gloss[c] = append(phase[c], m.turned(i)), append(gloss[c], float64(min(m.Gloss.V[i], m.light.V[i])))
		}
	}
	limit := max(rimPhase, 2*robust.Quantile(inner, 0.5))
	deep := make([]float64, sectors)
	for s := range deep {
		for b := range bands {
			if c := s*bands + b; len(phase[c]) > 0 && (robust.Quantile(phase[c], 0.5) > limit ||
				robust.Quantile(gloss[c], 0.5) < rimGloss) {
				deep[s] = float64(b + 2)
			}
		}
	}
	out := make([]bool, len(looked))
	m.atRim = make([]bool, len(looked))
	for i, yes := range looked {
		if yes {
			s, b := at(i)
			k := int(s)
			near := (k + 1) % sectors
			if s-float64(k) < 0.5 {
				near = (k + sectors - 1) % sectors
			}
			out[i] = float64(b) >= max(deep[k], deep[near])
			m.atRim[i] = float64(b) < max(deep[k], deep[near])+rimSlopeMM/rimBandMM
		}
	}
	return out
}

// turned is how far a pixel's phase is off the face's own, radians.
func (m *Maps) turned(i int) float64 {
	return math.Hypot(float64(m.Phase[0].V[i]), float64(m.Phase[1].V[i]))
}
