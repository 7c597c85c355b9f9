package station

import (
	"context"
	"slices"

	"finishbench/internal/bench"
	"finishbench/internal/config"
	"finishbench/internal/part"
)

// Screen has the bench's screens give the light of a plan's steps.
type Screen struct {
	screens *bench.Screens
	config.Screen
}

// Show is [shoot.Screen].
func (b Screen) Show(ctx context.Context, l part.Light) error {
	return b.screens.Show(ctx, b.Pattern(l))
}

// Pattern is what a screen shows for one of [part.ScreenLights].
func (b Screen) Pattern(l part.Light) bench.Pattern {
	p := bench.Pattern{Kind: bench.Plain, Colour: [3]float64{1, 1, 1}}
	switch l {
	case part.White:
	case part.Black:
		p.Colour = [3]float64{}
	default:
		n := slices.Index(part.ScreenLights, l) - slices.Index(part.ScreenLights, part.StripesX0)
		p.Kind, p.Axis, p.PhaseDeg = bench.Stripes, "xy"[n/4:n/4+1], float64(90*(n%4))
		p.PeriodMM, p.Contrast = b.PeriodMM, b.Contrast
	}
	return p
}
