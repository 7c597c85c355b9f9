package seam

import (
	"fmt"
	"math"

	"finishbench/internal/part"
)

// Camera is where the lens stands, as a pinhole camera (Hartley and Zisserman 2004,
// 6.1): from the unit's axis as far as its centre of projection, the entrance pupil.
type Camera struct {
	DistanceMM  float64     // 0: not known; +Inf: a telecentric lens
	UDistanceMM float64     // its standard uncertainty
	Axis        *part.Point // where the lens's axis meets the picture, px; nil: not known, the picture's middle is taken
	UAxisPX     float64     // standard uncertainty of both of its coordinates; not asked where Axis is nil
}

// What is taken where the camera does not tell it. Common practice, no source, unless told.
const (
	nearestMM = 120.0 // no lens stands nearer
	uMiddle   = 0.02  // how far from the middle the axis of a lens meets a picture, share of the width
	// In ovals of 2nd, 3rd and 4th harmonics up to 16, 5 and 1.5 % of the radius a limb lies so
	// far before or behind the axis, and the nearest place so much nearer or further than
	// half the width: standard deviations, shares of half the width (reckoned).
	limbDepthShare = 0.19
	depthShare     = 0.15
)

// perMM is one over the distance and its standard uncertainty, 1/mm.
func (c Camera) perMM() (inv, u float64) {
	if c.DistanceMM > 0 {
		return 1 / c.DistanceMM, c.UDistanceMM / c.DistanceMM / c.DistanceMM // both 0 at infinity
	}
	return 1 / (2 * nearestMM), 1 / (2 * nearestMM) / math.Sqrt(3) // anything from far away to the nearest (GUM 4.3.7)
}

// limbScale is the scale at a limb over that at the axis, which is what MMPerPX is: a round
// body's limb lies half^2/distance before the axis, where the line of sight touches it. u is its
// relative standard uncertainty: an oval's limb lies elsewhere. halfMM is half the unit's width.
func (c Camera) limbScale(halfMM float64) (factor, u float64) {
	inv, uInv := c.perMM()
	a := halfMM * inv
	return 1 - a*a, math.Hypot(limbDepthShare*halfMM*math.Hypot(inv, uInv), 2*a*halfMM*uInv)
}

// Stance is how the unit stands before the camera, as the seam shows it. Angles in degrees. What is not
// measured is NaN.
type Stance struct {
	RollDeg, URollDeg   float64 // the seam's chord from limb to limb against the picture's rows, clockwise as seen
	SlantDeg, USlantDeg float64 // between the seam's plane and the line of sight to it; + seen from above
	HeightMM, UHeightMM float64 // of the seam's middle over the lens's axis, along the picture's columns; + above. Without meaning for a telecentric lens
	PitchDeg, UPitchDeg float64 // of the seam's plane against the lens's axis, + tipped towards the camera; NaN where the distance is not known
	HalfMM              float64 // half the unit's width at the seam
}

func noStance() Stance {
	n := math.NaN()
	return Stance{n, n, n, n, n, n, n, n, n}
}

// stance tells how the unit stands from the fitted seam in a picture of w by h pixels.
//
// With the middle of the seam at height z over the axis and its plane pitched by a, a place Y nearer to
// the lens than the middle is pictured at (z - a Y)/(1 - Y/D), D the distance: to first order z + (z/D - a) Y.
// The seam's sag c0 is so its depth, about half the width, times the slant a - z/D.
func (k *closedCurve) stance(w, h int, p Params) Stance {
	o := Stance{HalfMM: k.half * p.MMPerPX}
	o.RollDeg = deg(math.Atan2(k.sin, k.cos))
	slant := k.c[2] / k.half
	uSlant := math.Hypot(math.Hypot(math.Sqrt(k.cov[2][2]), warpMM/p.MMPerPX)/k.half, slant*depthShare)
	// An oval's limbs lie before and behind the axis, so that a slant tips the chord, too.
	o.URollDeg = deg(math.Hypot(math.Sqrt(k.cov[1][1])/k.half, limbDepthShare*slant))
	o.SlantDeg, o.USlantDeg = deg(slant), deg(uSlant)
	axis, uAxis := part.Point{X: float64(w-1) / 2, Y: float64(h-1) / 2}, uMiddle*float64(w)
	if a := p.Camera.Axis; a != nil {
		axis, uAxis = *a, p.Camera.UAxisPX
	}
	o.HeightMM = (axis.Y - k.ym - k.c[0]*k.cos) * p.MMPerPX
	o.UHeightMM = math.Hypot(uAxis, math.Sqrt(k.cov[0][0])) * p.MMPerPX
	o.PitchDeg, o.UPitchDeg = math.NaN(), math.NaN()
	if p.Camera.DistanceMM > 0 {
		inv, uInv := p.Camera.perMM()
		o.PitchDeg = deg(slant + o.HeightMM*inv)
		o.UPitchDeg = deg(math.Hypot(uSlant, math.Hypot(o.UHeightMM*inv, o.HeightMM*uInv)))
	}
	return o
}

func deg(rad float64) float64 { return rad * 180 / math.Pi }

// SlantMostDeg is the slant, in degrees, up to which the seam is seen straight enough: over a unit 15 mm wide it
// bows by 0.13 mm then. Common practice, no source.
const SlantMostDeg = 1.0

// Beyond it, and from so much of the uncertainty on, by share and in um, a person is told to set the unit right.
// Common practice, no source.
const (
	tellShare = 1.2
	tellUM    = 0.3
)

// doubt says what to set right where the slant at which the seam is seen makes a step less certain; without a key
// where it does not. uUM is the step's standard uncertainty, levelUM what it would be without slant.
func (o Stance) doubt(uUM, levelUM float64) part.Phrase {
	if !(math.Abs(o.SlantDeg) > SlantMostDeg && uUM > tellShare*levelUM && uUM-levelUM > tellUM) {
		return part.Phrase{}
	}
	say := func(positive bool, key, negative, name string, v float64) part.Phrase {
		if !positive {
			key = negative
		}
		return part.Say("seam.slant."+key, name, fmt.Sprintf("%.1f", math.Abs(v)), "u_um", fmt.Sprintf("%.1f", uUM), "level_um",
			fmt.Sprintf("%.1f", levelUM))
	}
	byHeight := o.PitchDeg - o.SlantDeg // the height's part of the slant, the other way round
	switch {
	case math.IsNaN(o.PitchDeg):
		return say(o.SlantDeg > 0, "above", "below", "slant_deg", o.SlantDeg)
	case math.Abs(byHeight) >= math.Abs(o.PitchDeg):
		return say(o.HeightMM > 0, "high", "low", "height_mm", o.HeightMM)
	}
	return say(o.PitchDeg > 0, "towards", "away", "pitch_deg", o.PitchDeg)
}
