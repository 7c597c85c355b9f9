package seam

import (
	"math"

	"finishbench/internal/optics"
)

// mixture undoes what the luma does to an edge between two colours. A pixel that is
// covered in part mixes both colours in linear light, channel by channel; its
// luma, a sum of encoded channels, taken back to linear light is then not the same mixture of
// both sides' (at the middle of an edge from white to a light, saturated colour by up to a tenth, so
// that the edge seems to lie up to 0.1 of the blur's width off). A table takes each level to the share
// that makes it.
type mixture struct {
	from, to [mixtureSteps + 1]float64 // linear light of the luma: as read, and as it should be; from rises or falls
}

const mixtureSteps = 32

// newMixture is that of two colours in linear light, 0..1.
func newMixture(panel, unit [3]float64) *mixture {
	m := new(mixture)
	for i := range m.from {
		share, luma := float64(i)/mixtureSteps, 0.0
		for ch, w := range [3]float64{lumaR, lumaG, lumaB} {
			luma += w * optics.LinearToSRGB(panel[ch]+(unit[ch]-panel[ch])*share)
		}
		m.from[i] = optics.SRGBToLinear(luma)
	}
	first, last := m.from[0], m.from[mixtureSteps]
	for i := range m.to {
		m.to[i] = first + (last-first)*float64(i)/mixtureSteps
	}
	return m
}

// right takes a level of the luma's linear light to what it should be; levels
// beyond both colours stay.
func (m *mixture) right(v float64) float64 {
	rise := 1.0
	if m.from[mixtureSteps] < m.from[0] {
		rise = -1
	}
	lo, hi := 0, mixtureSteps
	if rise*v <= rise*m.from[lo] || rise*v >= rise*m.from[hi] {
		return v
	}
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; rise*m.from[mid] <= rise*v {
			lo = mid
		} else {
			hi = mid
		}
	}
	if m.from[hi] == m.from[lo] {
		return v
	}
	return m.to[lo] + (m.to[hi]-m.to[lo])*(v-m.from[lo])/(m.from[hi]-m.from[lo])
}

// colours are the panel's and the unit's mean colour beside the outline of some rows, in linear light.
func (b *limb) colours(rows []limbRow) (panel, unit [3]float64) {
	var sums [2]rgbSum
	var n [2]float64
	for _, r := range rows {
		c := int(math.Round(r.half))
		for k := b.level; k <= 2*b.level; k++ {
			for i, u := range [2]int{c - k, c + k} {
				x := int(b.x(float64(u)))
				if x < 0 || x >= b.l.w {
					continue
				}
				rr, g, bl := b.l.rgb(x, int(r.y))
				for ch, v := range [3]float32{rr, g, bl} {
					sums[i][ch] += b.l.decode(v)
				}
				n[i]++
			}
		}
	}
	for ch := range panel {
		panel[ch], unit[ch] = sums[0][ch]/max(1, n[0]), sums[1][ch]/max(1, n[1])
	}
	return panel, unit
}

// unmix rights the levels of a side's rows. Pictures in grey, and in linear light, are right as they are.
func (b *limb) unmix(s *side) {
	if b.l.linear || b.l.im.C == 1 {
		return
	}
	m := newMixture(b.colours(spread(s.rows, maxShapeRows)))
	for i := range s.rows {
		r := &s.rows[i]
		light := make([]float64, len(r.light))
		for k, v := range r.light {
			light[k] = m.right(v)
		}
		r.light = light
	}
}
