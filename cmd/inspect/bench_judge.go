package main

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"finishbench/internal/bench"
	"finishbench/internal/capture"
	"finishbench/internal/grade"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// benchJudge carries the bench's pictures through the pipeline of 'inspect unit'.
type benchJudge struct {
	settings
	slots    slots
	checkLog string
	now      func() time.Time
	model    *benchModel // nil: the rules alone call kinds
}

// What the answer shows: the picture's width, the largest that a screen shows
// beside the words, and how many findings are magnified.
const (
	benchWidth = 1100
	benchCrops = 6
)

// Judge measures and judges a unit. The pixels stay the shots'; the picture that
// is shown is drawn on a copy.
func (j *benchJudge) Judge(ctx context.Context, info bench.UnitInfo, shots []bench.Shot) (bench.Outcome, error) {
	set := j.settings
	set.stage = info.Stage
	set.kinds = j.model.inForce(ctx)
	var bars *bench.Phrase
	set.barred, bars = j.bars()
	in := &inspector{settings: set, slots: j.slots}
	folder := part.Folder{Name: info.Name()}
	var pictures []*picture
	for _, s := range shots {
		shot := part.Shot{File: s.File, View: s.View, Light: s.Light, AngleDeg: s.AngleDeg}
		folder.Shots = append(folder.Shots, shot)
		pictures = append(pictures, &picture{shot: shot, image: s.Image, report: s.Report, given: true})
	}
	u, r, err := in.inspectPictures(ctx, folder, pictures)
	if err != nil {
		return bench.Outcome{}, err
	}
	defer u.release()
	o := bench.Outcome{Result: r, Missing: grade.MissingViews(r, set.limits), ScoreMost: set.limits.ScoreLimit, Waviness: grade.WavinessUnmeasured(r, set.limits)}
	short, least := grade.TooLittle(r, set.limits)
	for i, s := range short {
		o.TooLittle = append(o.TooLittle, bench.TooLittle{Surface: s, Least: least[i]})
	}
	if r.Score != nil {
		o.Score = *r.Score
		o.ScoreOver = *r.Score > set.limits.ScoreLimit
	}
	o.Causes = grade.Causes(r, set.limits)
	o.Barred = bars
	return o, u.illustrate(ctx, &o)
}

// bars says why no unit may pass just now: a check piece out of limits, a scale rated poor, or
// one that grew too old while the bench was on.
func (j *benchJudge) bars() (why string, said *bench.Phrase) {
	now := j.now()
	if barred, why, said := checkGatePhrase(j.checkLog, now); barred {
		return why, said
	}
	if why, file := j.poorScale(); why != "" {
		return why, &bench.Phrase{Key: "notice.scale_poor", Args: map[string]string{"file": file}}
	}
	for _, f := range j.scales {
		if age := f.AgeState(now); age.State == optics.AgeOver {
			return age.Sentence, &bench.Phrase{Key: "notice.scale_over", Args: map[string]string{"file": filepath.Base(f.path)}}
		}
	}
	return "", nil
}

// drawnOver is a picture with what is drawn over it; nil: none.
type drawnOver struct {
	*part.Image
	over report.Overlay
}

// glossMap is the picture of what the face mirrors of a screen.
func (u *unit) glossMap() drawnOver {
	for _, s := range u.scenes {
		l, _ := u.lengthsOf(s.pose.View)
		for _, m := range s.mapPictures(l.mmPerPX) {
			if m.over.File == part.GlossMap {
				return drawnOver{m.image(), m.over}
			}
		}
	}
	return drawnOver{}
}

// shownOf is the picture in which an answer shows a finding. Stripes hide it from the eye:
// then that is the gloss.
func (u *unit) shownOf(f part.Finding, gloss func() drawnOver) drawnOver {
	i := slices.IndexFunc(u.pictures, func(p *picture) bool { return p.shot.File == f.Image && p.image != nil })
	switch {
	case i < 0:
		return drawnOver{}
	case !u.pictures[i].shot.Light.ShowsUnit():
		return gloss()
	}
	return drawnOver{u.pictures[i].image, u.overlay(u.pictures[i])}
}

// illustrate makes the pictures of an answer: the one in which the worst shows,
// and the worst findings magnified.
func (u *unit) illustrate(ctx context.Context, o *bench.Outcome) error {
	gloss := sync.OnceValue(u.glossMap)
	about, _ := o.Shown() // else about none: number 0, and no picture
	main := u.shownOf(about, gloss)
	if main.Image == nil {
		p := u.mainPicture()
		if q := u.firstUnfit(); o.Result.Verdict == part.NotMeasured && q != nil {
			p = q
		}
		if p != nil {
			main = drawnOver{p.image, u.overlay(p)}
		}
	}
	worst := o.WorstFirst()
	crops := make([]report.Crop, min(benchCrops, len(worst)))
	g, _ := errgroup.WithContext(ctx)
	if main.Image != nil {
		g.Go(func() error {
			p, err := report.MakeScreenPicture(main.Image, main.over, o.Result, about.Number, benchWidth)
			o.MainFile, o.Main = main.over.File, p.JPEG
			return err
		})
	}
	g.Go(func() error {
		for i := range crops {
			f := worst[i]
			in := u.shownOf(f, gloss)
			if in.Image == nil || f.Box[2] <= 0 {
				continue
			}
			c, err := report.MakeCrop(in.Image, in.over.File, f, o.Result.ScaleOf(f.Image))
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

func (u *unit) firstUnfit() *picture {
	for _, p := range u.pictures {
		if !p.fit() && p.image != nil {
			return p
		}
	}
	return nil
}

// aidOf is what a live picture says of the bench, on scales from 0 to 1.
func aidOf(im *part.Image, shot part.Shot, lim capture.FitLimits) bench.Aid {
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
		if v.CutOff != "" && shot.View != part.Edge {
			a.Position.V = 1
		}
	}
	return a
}
