package station

import (
	"context"
	"errors"
	"slices"

	"finishbench/internal/bench"
	"finishbench/internal/capture/shoot"
	"finishbench/internal/capture/trouble"
	"finishbench/internal/config"
	"finishbench/internal/part"
)

// Screen has the bench's screens give the light of a plan's steps.
type Screen struct {
	screens *bench.Screens
	config.Screen
}

// Show is [shoot.Screen].
func (b Screen) Show(ctx context.Context, l part.Light) error { return b.show(ctx, b.Pattern(l)) }

func (b Screen) show(ctx context.Context, p bench.Pattern) error {
	err := b.screens.Show(ctx, p)
	var told bench.Told
	if !errors.As(err, &told) {
		return err
	}
	why := told.Told()
	return &shoot.ScreenError{Why: &trouble.Trouble{Key: why.Key, Args: why.Args, Text: err.Error()}, Err: err}
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
