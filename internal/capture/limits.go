package capture

import "fmt"

// FitLimits says when a picture is fit to measure. Values are common practice,
// no source, where nothing else is said: set them for the station.
type FitLimits struct {
	// MinPixels is the smallest picture, width times height, in pixels: 1 to
	// 50,000,000. A flat test panel may be smaller; set it to 1 there.
	MinPixels int
	// MinUnitPX is the smallest unit: the longer side of its silhouette, in
	// pixels, 20 to 10,000.
	MinUnitPX float64
	// Clipped is the largest share of the unit's pixels that may be at full
	// scale, 0 to 1, under even light. An edge picture over it is refused; a face
	// or shell is told of, and refused when it is mostly clipped.
	Clipped float64
	// ClippedRaking is the same under raking light, 0 to 1, counted away from the
	// rim: rims and lamps mirror there, and that is no fault.
	ClippedRaking float64
	// MinLevel is the least linear light, 0 to 1, that the brightest tenth of the
	// unit must reach where the unit is seen by its own light (dark background).
	MinLevel float64
	// MinPanel is the least linear light of a lit panel, 0 to 1.
	MinPanel float64
	// EdgeWidthPX and EdgeWidthShare bound the 10-90 % width of the outline's edge:
	// it may have so many pixels (1 to 50), or such a share of the unit's longer
	// side (0 to 0.05), whichever is more. Fine scales need the share.
	EdgeWidthPX, EdgeWidthShare float64
	// MotionPX and MotionShare bound in the same way how far the picture moved
	// while it was taken (0.5 to 50 px; 0 to 0.05 of the unit's longer side).
	MotionPX, MotionShare float64
	// PanelUneven is the largest relative change of the lit panel's light across
	// the picture, (most - least) / most, 0 to 1.
	PanelUneven float64
	// PanelDirt is the largest share of the lit panel near the unit that may differ
	// from an even panel, 0 to 1.
	PanelDirt float64
	// Warn is the share of a limit at which a picture is still measured but the
	// reader is told, 0 to 1; 1 for never.
	Warn float64
}

// DefaultFitLimits are the shipped limits. Common practice, no source.
func DefaultFitLimits() FitLimits {
	return FitLimits{
		MinPixels: 300_000, MinUnitPX: 150,
		Clipped: 0.005, ClippedRaking: 0.03,
		MinLevel: 0.008, MinPanel: 0.06,
		EdgeWidthPX: 5, EdgeWidthShare: 0.0055,
		MotionPX: 4, MotionShare: 0.004,
		PanelUneven: 0.6, PanelDirt: 0.02,
		Warn: 0.65,
	}
}

// Validate names the first field outside its range.
func (l FitLimits) Validate() error {
	for _, f := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"MinPixels", float64(l.MinPixels), 1, MaxPixels},
		{"MinUnitPX", l.MinUnitPX, 20, 10000},
		{"Clipped", l.Clipped, 0, 1},
		{"ClippedRaking", l.ClippedRaking, 0, 1},
		{"MinLevel", l.MinLevel, 0, 1},
		{"MinPanel", l.MinPanel, 0, 1},
		{"EdgeWidthPX", l.EdgeWidthPX, 1, 50},
		{"EdgeWidthShare", l.EdgeWidthShare, 0, 0.05},
		{"MotionPX", l.MotionPX, 0.5, 50},
		{"MotionShare", l.MotionShare, 0, 0.05},
		{"PanelUneven", l.PanelUneven, 0, 1},
		{"PanelDirt", l.PanelDirt, 0, 1},
		{"Warn", l.Warn, 0, 1},
	} {
		if !(f.v >= f.lo && f.v <= f.hi) {
			return fmt.Errorf("capture: fit limit %s is %g; give %g to %g", f.name, f.v, f.lo, f.hi)
		}
	}
	return nil
}
