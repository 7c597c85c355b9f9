package station

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"finishbench/internal/bench"
	"finishbench/internal/capture"
	"finishbench/internal/inspection"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// Inspector carries the bench's pictures through the pipeline of 'inspect unit'.
type Inspector struct {
	inspection.Settings
	Slots    inspection.Slots
	checkLog string
	Now      func() time.Time
	model    *Model // nil: the rules alone call kinds
}

// What the answer shows: the picture's width, the largest that a screen shows
// beside the words, and how many findings are magnified.
const (
	benchWidth = 1100
	benchCrops = 6
)

// Inspect measures and judges a unit. The pixels stay the shots'; the picture that
// is shown is drawn on a copy.
func (i *Inspector) Inspect(ctx context.Context, info part.UnitInfo, shots []part.Photo) (bench.Outcome, error) {
	set := i.Settings
	set.Stage = info.Stage
	set.Kinds = i.model.InForce(ctx)
	set.Barred = i.Bars()
	in := &inspection.Inspector{Settings: set, Slots: i.Slots}
	u, r, err := in.InspectPhotos(ctx, info.Name(), shots)
	if err != nil {
		return bench.Outcome{}, err
	}
	defer u.Release()
	o := bench.Outcome{Result: r}
	return o, illustrate(ctx, u, &o)
}

// Bars says why no unit may pass just now: a check piece out of limits, a scale rated poor, or
// one that grew too old while the bench was on.
func (i *Inspector) Bars() *part.Phrase {
	now := i.Now()
	if why, barred := inspection.CheckGate(i.checkLog, now); barred {
		return &why
	}
	if why, barred := i.PoorScale(); barred {
		return &why
	}
	for _, f := range i.Scales {
		if age := f.AgeState(now); age.State == optics.AgeOver {
			return &age.Sentence
		}
	}
	return nil
}

// illustrate makes the pictures of an answer: the one in which the worst shows,
// and the first findings of the plan magnified.
func illustrate(ctx context.Context, u *inspection.Unit, o *bench.Outcome) error {
	gloss := sync.OnceValue(u.GlossMap)
	shown := o.Shown()
	var about part.Finding // else about none: number 0, and no picture
	if len(shown) > 0 {
		about = shown[0]
	}
	main := u.ShownOf(about, gloss)
	if main.Image == nil {
		main = u.ShownFirst(o.Result.Verdict)
	}
	crops := make([]report.Crop, min(benchCrops, len(shown)))
	g, _ := errgroup.WithContext(ctx)
	if main.Image != nil {
		g.Go(func() error {
			p, err := report.MakeScreenPicture(main.Image, main.Over, o.Result, about.Number, benchWidth)
			o.MainFile, o.Main = main.Over.File, p.JPEG
			return err
		})
	}
	g.Go(func() error {
		for i := range crops {
			f := shown[i]
			in := u.ShownOf(f, gloss)
			if in.Image == nil || f.Box[2] <= 0 {
				continue
			}
			c, err := report.MakeCrop(in.Image, in.Over.File, f, o.Result.ScaleOf(f.Image))
			if err != nil {
				continue // its box lies outside the picture: it is in the list all the same
			}
			crops[i] = c
		}
		return nil
	})
	err := g.Wait()
	o.Crops = slices.DeleteFunc(crops, func(c report.Crop) bool { return c.JPEG == nil })
	if err != nil {
		return fmt.Errorf("pictures of %s: %w", o.Result.Unit, err)
	}
	return nil
}

// aidOf is what a live picture says of the bench, on scales from 0 to 1.
func aidOf(im *part.Image, shot part.Shot, lim part.FitLimits) bench.Aid {
	none := bench.Gauge{V: math.NaN(), Lo: 0.4, Hi: 0.9}
	a := bench.Aid{Focus: none, Exposure: none, Position: none}
	v, err := capture.LookAtBench(im, shot, lim)
	if err != nil {
		return a
	}
	// Sharp: the edge is at most as wide as it may be. Half way up the scale is
	// just that.
	if v.EdgeWidthPX > 0 {
		a.Focus = bench.Gauge{V: min(1, v.EdgeMostPX/v.EdgeWidthPX/2), Lo: 0.5, Hi: 1}
	}
	// Light as the eye sees it, roughly: the square root of linear light.
	level := v.UnitLevel
	if math.IsNaN(level) {
		level = v.PanelLevel
	}
	a.Exposure = bench.Gauge{V: math.Sqrt(level), Lo: math.Sqrt(lim.MinLevel), Hi: 0.97}
	if v.UnitClipped > v.ClippedMost {
		a.Exposure.V = 1
	}
	if v.Unit {
		side := float64(min(im.W, im.H))
		a.Position = bench.Gauge{V: v.UnitPX / max(side, float64(im.W)), Lo: lim.MinUnitPX / float64(im.W), Hi: 0.95}
		if len(v.CutOff) > 0 && shot.View != part.Edge {
			a.Position.V = 1
		}
	}
	return a
}
