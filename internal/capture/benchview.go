package capture

import (
	"errors"
	"math"

	"finishbench/internal/capture/outline"
	"finishbench/internal/part"
)

// BenchView is what one picture says of the bench: the numbers that [Check]
// judges, whether they keep their limits or not. NaN: not measured.
type BenchView struct {
	Unit    bool          // a unit stands before the background; else an empty panel, or nothing to be seen
	UnitPX  float64       // longer side of the largest thing that stands out, px; 0: nothing does
	Pieces  int           // units in view
	CutOff  []part.Phrase // sides of the frame that the unit runs out at; none: it does not
	Bright  bool          // the background is brighter than the unit: a lit panel; false where there is no unit
	Surface bool          // [LookAtSurface]: all of it is surface

	PanelLevel   float64     // linear light of the background, its median, 0..1
	PanelUneven  float64     // (most - least) / most of the panel's smooth light, 0..1
	PanelDark    part.Phrase // where it is darkest: "the lower left"; without a key: not told
	PanelDirt    float64     // share of the panel that differs from an even one, near the unit or away from it, the larger
	PanelClipped float64     // share of the panel at full scale

	UnitLevel   float64 // linear light that the brightest tenth of the unit reaches, 0..1
	UnitClipped float64 // share of the unit at full scale; under raking light away from the rim
	ClippedMost float64 // the most that it may be in this light

	EdgeWidthPX float64 // 10-90 % width of the outline's edge
	EdgeMostPX  float64 // the most that it may be at this size of unit

	MotionPX     float64 // how far the picture moved; NaN also where no motion is seen
	MotionMostPX float64 // the most that it may be
	MotionDeg    float64 // its direction, 0..180, clockwise from the x axis as seen
	Moved        bool    // more than it may
}

// LookAtBench measures a picture of a unit before its background, or of that
// background alone, taken as the shot says. The error is that of a picture
// which cannot be looked at.
func LookAtBench(im *part.Image, shot part.Shot, lim part.FitLimits) (BenchView, error) {
	v := unmeasured(lim)
	if err := im.Validate(); err != nil {
		return v, err
	}
	s, err := outline.Find(im)
	if err != nil && !errors.Is(err, outline.ErrNoUnit) {
		return v, err
	}
	if err == nil {
		v.UnitPX = max(s.Box[2], s.Box[3])
		v.Unit = v.UnitPX >= lim.MinUnitPX
	}
	grid := newCoarse(s)
	light := lookAtLight(im, s, grid)
	v.PanelLevel, v.PanelClipped = light.panel, light.panelClipped
	p := lookAtPanel(s, grid)
	if !v.Unit {
		v.PanelUneven, v.PanelDark = p.uneven, p.darkest()
		// Too small to be a unit, so that it is something on the panel.
		v.PanelDirt = min(1, max(p.near, p.far)+s.Area/float64(im.W*im.H))
		return v, nil
	}
	v.Pieces, v.CutOff, v.Bright = s.Pieces, sideWords(s.Touches), s.Bright
	if s.Bright {
		v.PanelUneven, v.PanelDark, v.PanelDirt = p.uneven, p.darkest(), max(p.near, p.far)
	}
	v.UnitLevel, v.UnitClipped = light.unit, light.clipped
	if shot.Light == part.Raking {
		v.UnitClipped, v.ClippedMost = light.inner, lim.ClippedRaking
	}
	f := lookAtFocus(im, s, shot.View, lim)
	v.EdgeWidthPX, v.EdgeMostPX = f.width, f.limit
	v.MotionPX, v.MotionMostPX, v.MotionDeg = f.motion, f.still, f.heading
	if v.Moved = f.smeared(f.still); v.Moved {
		v.EdgeWidthPX = min(f.width, f.minor) // motion is told already
	}
	return v, nil
}

// LookAtSurface measures the light of a picture that is surface all over: a
// flat test panel, or a target for the scale.
func LookAtSurface(im *part.Image, lim part.FitLimits) (BenchView, error) {
	v := unmeasured(lim)
	v.Surface = true
	if err := im.Validate(); err != nil {
		return v, err
	}
	light := lookAll(im)
	v.UnitLevel, v.UnitClipped = light.unit, light.clipped
	return v, nil
}

func unmeasured(lim part.FitLimits) BenchView {
	nan := math.NaN()
	return BenchView{
		PanelLevel: nan, PanelUneven: nan, PanelDirt: nan, PanelClipped: nan,
		UnitLevel: nan, UnitClipped: nan, ClippedMost: lim.Clipped,
		EdgeWidthPX: nan, EdgeMostPX: lim.EdgeWidthPX, MotionPX: nan, MotionMostPX: lim.MotionPX, MotionDeg: nan,
	}
}

// darkest is the place where the panel is darkest; without a key: it is dark nowhere.
func (p panel) darkest() part.Phrase {
	if !(p.uneven > 0) {
		return part.Phrase{}
	}
	third := func(share float64) int { return min(max(int(3*share), 0), 2) }
	return part.Say([3][3]string{
		{"dark.upper.left", "dark.upper", "dark.upper.right"},
		{"dark.left", "dark", "dark.right"},
		{"dark.lower.left", "dark.lower", "dark.lower.right"},
	}[third(p.darkY)][third(p.darkX)])
}
