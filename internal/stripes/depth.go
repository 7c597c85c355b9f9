package stripes

import (
	"math"
	"slices"
)

// How a place's height is told (common practice, no source).
const (
	followLoss = 0.5 // gloss lost from which on slopes cannot be followed
	rays       = 32  // from the middle outwards,
	raySectors = 8   // in groups, whose scatter gives the uncertainty
	rayReach   = 0.8 // as far as this share of the place's length
	// Share of a height that taking the faceplate's own shape off may take with it; drawn dents of 0.7 to 1.5 mm lose 1 to 2 %.
	levelled = 0.02
	rayEnds  = 0.25 // a ray ends outside the place: the mean slope there is at most this share of the steepest
	capWaves = 1.18 // radians of phase over a blur's standard deviation that take half of the gloss: sqrt(2 ln 2)
)

// height is how far a place's middle lies over its surroundings, radians of phase times mm,
// and its standard uncertainty; the slopes are summed up along rays. ok is false where gloss is lost,
// so that slopes cannot be followed, where the face waves, and where the slopes do not end within reach.
//
// The phase of a direction grows with the slope away from the normal along the way in which the
// flat face's own phase grows in the picture.
func (m *Maps) height(pl *place, scale [2]float64) (h, u float64, ok bool) {
	if pl.deepest > followLoss || m.Waving() {
		return 0, 0, false
	}
	w := m.Depth.W
	n := int(rayReach*pl.long/m.MMPX) + 2
	var groups [raySectors]float64
	bend, near := 0.0, 0.0
	outwards := make([]float64, n) // mean slope at each distance
	for k := range rays {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / rays)
		for r := range n {
			x, y := int(pl.cx+float64(r)*cos+0.5), int(pl.cy+float64(r)*sin+0.5)
			i := y*w + x
			if x < 0 || y < 0 || x >= w || i >= len(m.looked) || !m.looked[i] {
				return 0, 0, false
			}
			step := m.MMPX
			if r == 0 {
				step /= 2
			}
			v := 0.0
			for d := range 2 {
				v += scale[d] * float64(m.fine[d].V[i]) * (m.along[d][0]*cos + m.along[d][1]*sin)
			}
			outwards[r] += v / rays
			groups[k*raySectors/rays] += v * step / rays * raySectors
			if r > 0 && float64(r)*m.MMPX < pl.across/4 {
				bend += 2 * v * float64(r) * m.MMPX // slope over distance, by least squares, in two directions
				near += float64(r*r) * m.MMPX * m.MMPX
			}
		}
	}
	if steepest := max(slices.Max(outwards), -slices.Min(outwards)); math.Abs(outwards[n-1]) > rayEnds*steepest {
		return 0, 0, false
	}
	for _, g := range groups {
		h += g / raySectors
	}
	ss := 0.0
	for _, g := range groups {
		ss += (g - h) * (g - h)
	}
	// A blur of variance v lowers a height by v/2 times its curvature, which is the slopes'
	// divergence. What is put back is known to half.
	lost := (m.lens*m.lens + m.MMPX*m.MMPX/12) / 2 * bend / max(near, 1e-12)
	own := levelled * h
	return h + lost, math.Sqrt(ss/(raySectors-1)/raySectors + lost*lost/4 + own*own), true
}

// DepthUM is how deep a place is, um: positive below its surroundings, with its standard
// uncertainty. The screen's place must be known.
func (m *Maps) depthUM(pl *place, p Params) (depth, u float64, ok bool) {
	if !p.Screen.Known() {
		return 0, 0, false
	}
	h, u, ok := m.height(pl, p.Screen.slopePerRad())
	return -1000 * h, 1000 * math.Hypot(u, p.Screen.URel*h), ok
}

// deeperThanUM is the least depth of a place all of whose gloss is lost, um: that of a cap
// whose slope changes just fast enough to wipe the stripes out within the blur.
func (m *Maps) deeperThanUM(pl *place, p Params) (float64, bool) {
	if !p.Screen.Known() || m.Waving() || pl.deepest <= followLoss || pl.back > 1-followLoss || pl.hole > 0.1 {
		return 0, false
	}
	k := p.Screen.slopePerRad()
	blur := math.Sqrt(p.BlurMM*p.BlurMM + p.LensMM*p.LensMM + m.MMPX*m.MMPX/12)
	curve := math.Min(k[0], k[1]) * capWaves / blur // rad/mm
	d := 2 * math.Sqrt(pl.area/math.Pi)
	return 1000 * curve * d * d / 8, true
}
