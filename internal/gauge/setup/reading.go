package setup

import (
	"math"

	"finishbench/internal/part"
)

// Subject is what a picture shows.
type Subject string

// The subjects.
const (
	Empty   Subject = "empty"   // the background alone
	Unit    Subject = "unit"    // a unit before its background
	Target  Subject = "target"  // a target for the scale
	Unclear Subject = "unclear" // not to be made out; see Reading.Trouble
)

// Reading is what one picture says of the bench. NaN: not measured.
type Reading struct {
	File    string
	Subject Subject
	Lit     bool        // the view is one with a lit panel behind the unit
	Bright  bool        // the background is brighter than the unit
	Trouble part.Phrase // why the picture, or its target, is of no use; without a key: nothing, else a sentence without its end
	Framing part.Phrase // what is wrong with where the unit stands; likewise

	PanelLevel   float64     // linear light of the background, 0..1
	PanelUneven  float64     // its change across the picture, (most - least) / most
	PanelDark    part.Phrase // where it is darkest: "the lower left"; may have no key
	PanelDirt    float64     // share of it
	PanelClipped float64     // share of it at full scale

	Level       float64 // linear light that the brightest tenth of unit or target reaches
	Clipped     float64 // share of it at full scale
	ClippedMost float64 // the most that it may be, in this light

	EdgeWidthPX    float64 // 10-90 %
	EdgeMostPX     float64 // the most that it may be
	MotionPX       float64 // how far the picture moved
	MotionMostPX   float64
	MotionDeg      float64     // its direction, 0..180, clockwise from the x axis as seen
	Moved          bool        // so that a movement, and no want of focus, makes the edges wide
	MTF50CyPX      float64     // where a slanted edge was found
	MTF50LeastCyPX float64     // the MTF50 of an edge as wide as Warn times EdgeMostPX: the least that is wanted
	FocusTrouble   part.Phrase // why EdgeWidthPX is NaN

	HeightMM, UHeightMM float64     // of the unit's seam over the lens's axis, + above
	SlantDeg, USlantDeg float64     // at which the seam's plane is seen, + from above
	DistanceMM          float64     // from the unit's axis to the lens; infinite: telecentric
	HalfMM              float64     // half the unit's width at the seam
	StanceTrouble       part.Phrase // why they are NaN

	TiltDeg, UTiltDeg float64 // of the target's plane against the picture's
	TiltAlongDeg      float64 // direction in the picture along which it is foreshortened, 0..180 counter-clockwise
	TiltUnseen        bool    // this kind of target does not tell its tilt
	SkewDeg, USkewDeg float64 // the target's right angle as pictured, minus 90
	ChangePct         float64 // of the scale over the picture, by perspective; NaN: none seen, or not to be told

	MMPerPX, UMMPerPX float64     // by the target
	ScaleTrouble      part.Phrase // why the scale in force does not hold for this picture; a sentence without its end
}

// NewReading has nothing measured.
func NewReading(file string) Reading {
	n := math.NaN()
	return Reading{File: file, Subject: Unclear,
		PanelLevel: n, PanelUneven: n, PanelDirt: n, PanelClipped: n, Level: n, Clipped: n, ClippedMost: n,
		EdgeWidthPX: n, EdgeMostPX: n, MotionPX: n, MotionMostPX: n, MotionDeg: n, MTF50CyPX: n, MTF50LeastCyPX: n,
		HeightMM: n, UHeightMM: n, SlantDeg: n, USlantDeg: n, DistanceMM: n, HalfMM: n,
		TiltDeg: n, UTiltDeg: n, TiltAlongDeg: n, SkewDeg: n, USkewDeg: n, ChangePct: n, MMPerPX: n, UMMPerPX: n}
}
