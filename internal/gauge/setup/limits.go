package setup

import (
	"math"

	"finishbench/internal/part"
)

// Limits are the station's, as far as setting up needs them. Shares are 0..1.
type Limits struct {
	PanelUneven float64 // largest change of light across the panel
	PanelDirt   float64 // largest share of the panel that is dirty
	MinPanel    float64 // least linear light of the panel
	MinLevel    float64 // least linear light of the unit before a dark ground
	Warn        float64 // share of a limit from which the reader of a result is told
	URelScale   float64 // relative standard uncertainty that the station claims for its scale
	Scale       *Scale  // in force; nil: none
	SlantMost   float64 // degrees at which a seam's plane may be seen and still looks straight
	Target      bool    // it is known which target will be shown
}

// Scale is the scale in force.
type Scale struct {
	Name    string // of its file
	MMPerPX float64
	U       float64 // its standard uncertainty, mm per px

	AgeDays, MaxAgeDays float64     // NaN: it has no date, and none is asked for
	AgeText             part.Phrase // its age as a sentence
}

// Limits that no station file holds.
const (
	// PanelClippedMost is the share of a lit panel at full scale over which its
	// light spills over the unit's edge; capture warns there.
	PanelClippedMost = 0.5
	// dirtWarn is the share of the limit for dirt from which capture warns.
	dirtWarn = 0.1
	// squareShare is how much of the scale's uncertainty a view that is not square
	// may use up.
	squareShare = 0.5
	// leastURel stands in for a station that claims no uncertainty of its scale.
	leastURel = 0.002
	// nearestMM stands in for a lens whose distance is not known: none stands nearer.
	nearestMM = 120
	// nearMost is how much larger a unit's nearest place may be pictured than its axis.
	nearMost = 0.045
	// ageShare is the share of its life at which a scale should be made anew;
	// optics warns there.
	ageShare = 0.8
)

// uRel is the scale's relative uncertainty to be kept.
func (l Limits) uRel() float64 {
	if l.URelScale > 0 {
		return l.URelScale
	}
	return leastURel
}

// tiltMostDeg is the tilt that shortens a length by squareShare of the scale's
// uncertainty: 1 - cos.
func (l Limits) tiltMostDeg() float64 {
	return math.Acos(1-squareShare*l.uRel()) * 180 / math.Pi
}

// heightMostMM is how far a unit may stand over the axis of a lens at that
// distance before it is seen at the largest slant; NaN where the distance does not matter.
func (l Limits) heightMostMM(distanceMM float64) float64 {
	switch {
	case math.IsNaN(distanceMM):
		distanceMM = nearestMM
	case math.IsInf(distanceMM, 1):
		return math.NaN()
	}
	return distanceMM * math.Tan(l.SlantMost*math.Pi/180)
}

// skewMostDeg is the skew that changes a length along the diagonal by as much:
// a right angle off by e makes the diagonal longer by e/2, for small e.
func (l Limits) skewMostDeg() float64 {
	return 2 * squareShare * l.uRel() * 180 / math.Pi
}
