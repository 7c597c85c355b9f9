package part

// FitLimits says when a picture is fit to measure. Values are common practice,
// no source, where nothing else is said: set them for the station (fit in
// station.yaml, whose names the tags are).
type FitLimits struct {
	// MinPixels is the smallest picture, width times height, in pixels: 1 to
	// 50,000,000. A flat test panel may be smaller; set it to 1 there.
	MinPixels int `mapstructure:"min_pixels"`
	// MinUnitPX is the smallest unit: the longer side of its silhouette, in
	// pixels, 20 to 10,000.
	MinUnitPX float64 `mapstructure:"min_unit_px"`
	// Clipped is the largest share of the unit's pixels that may be at full
	// scale, 0 to 1, under even light. An edge picture over it is refused; a face
	// or shell is told of, and refused when it is mostly clipped.
	Clipped float64 `mapstructure:"clipped"`
	// ClippedRaking is the same under raking light, 0 to 1, counted away from the
	// rim: rims and lamps mirror there, and that is no fault.
	ClippedRaking float64 `mapstructure:"clipped_raking"`
	// MinLevel is the least linear light, 0 to 1, that the brightest tenth of the
	// unit must reach where the unit is seen by its own light (dark background).
	MinLevel float64 `mapstructure:"min_level"`
	// MinPanel is the least linear light of a lit panel, 0 to 1.
	MinPanel float64 `mapstructure:"min_panel"`
	// EdgeWidthPX and EdgeWidthShare bound the 10-90 % width of the outline's edge:
	// it may have so many pixels (1 to 50), or such a share of the unit's longer
	// side (0 to 0.05), whichever is more. Fine scales need the share.
	EdgeWidthPX    float64 `mapstructure:"edge_width_px"`
	EdgeWidthShare float64 `mapstructure:"edge_width_share"`
	// MotionPX and MotionShare bound in the same way how far the picture moved
	// while it was taken (0.5 to 50 px; 0 to 0.05 of the unit's longer side).
	MotionPX    float64 `mapstructure:"motion_px"`
	MotionShare float64 `mapstructure:"motion_share"`
	// PanelUneven is the largest relative change of the lit panel's light across
	// the picture, (most - least) / most, 0 to 1.
	PanelUneven float64 `mapstructure:"panel_uneven"`
	// PanelDirt is the largest share of the lit panel near the unit that may differ
	// from an even panel, 0 to 1.
	PanelDirt float64 `mapstructure:"panel_dirt"`
	// Warn is the share of a limit at which a picture is still measured but the
	// reader is told, 0 to 1; 1 for never.
	Warn float64 `mapstructure:"warn"`
}
