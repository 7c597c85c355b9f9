package optics

import (
	"fmt"
	"math"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"

	"gonum.org/v1/gonum/stat/distuv"
)

// SuspectView is a view that agrees with the lens much worse than the others
// do, and what the fit is without it. Nothing is left out by itself: a person
// looks at the picture and decides.
type SuspectView struct {
	Index       int // among the views
	Name        string
	RMSPX       float64 // in the fit of all views
	OthersPX    float64 // the views' median
	Z           float64 // how far it stands out, in robust standard deviations of the views' RMS
	F, P        float64 // its variance over that of the fit without it, and how likely this much is by chance
	Without     *Calibration
	AlonePX     float64 // its RMS against the lens of the others, only its own pose fitted; NaN: no such fit
	ChangeInU   Lens    // (with - without) / standard uncertainty without, for each parameter fitted; NaN for the others
	Description part.Phrase
}

// When a view is suspect. All three must hold: it stands out among the views,
// which differ in sharpness and size; chance does not explain it; and it matters.
const (
	suspectZ     = 3.5  // modified z-score (Iglewicz and Hoaglin 1993, "How to Detect and Handle Outliers", ASQC)
	suspectP     = 0.01 // over all views of a fit (Bonferroni)
	suspectFloor = 0.01 // px; views' RMS that differ by less are alike (common practice, no source)
	suspectViews = 4    // fewest views among which one can be told
)

// Suspect names the views that spoil the fit, the worst first; none where there
// are fewer than four views.
func Suspect(c Calibration) []SuspectView {
	n := len(c.Views)
	if n < suspectViews {
		return nil
	}
	rms := make([]float64, n)
	for i, v := range c.Views {
		rms[i] = v.RMSPX
	}
	median := robust.Quantile(rms, 0.5)
	off := make([]float64, n)
	for i, v := range rms {
		off[i] = math.Abs(v - median)
	}
	sigma := max(robust.Quantile(off, 0.5), suspectFloor) / 0.6745 // of a normal distribution
	var found []SuspectView
	for i, v := range c.Views {
		s := SuspectView{Index: i, Name: v.Name, RMSPX: v.RMSPX, OthersPX: median, Z: (v.RMSPX - median) / sigma}
		if s.Z > suspectZ && s.leaveOut(&c) {
			found = append(found, s)
		}
	}
	slices.SortFunc(found, func(a, b SuspectView) int {
		if a.RMSPX > b.RMSPX {
			return -1
		}
		return 1
	})
	return found
}

// leaveOut fits without the view and reports whether chance does not explain
// how far it is off.
func (s *SuspectView) leaveOut(c *Calibration) bool {
	s.AlonePX, s.ChangeInU = math.NaN(), notFitted()
	s.F, s.P = math.NaN(), math.NaN()
	without, err := c.Without(s.Index)
	if err != nil {
		s.Description = part.Say("optics.suspect_alone", "view", s.Name, "off_px", fmt.Sprintf("%.2f", s.RMSPX),
			"others_px", fmt.Sprintf("%.2f", s.OthersPX), "why", fmt.Sprint(err))
		return true
	}
	marks := float64(len(c.source[s.Index].Marks))
	free := max(1, 2*marks-placementSize)
	s.F = s.RMSPX * s.RMSPX * marks / free / (without.SigmaPX * without.SigmaPX)
	s.P = upperF(s.F, free, float64(without.Free))
	if !(s.P < suspectP/float64(len(c.Views))) {
		return false
	}
	s.Without = &without
	if alone, err := fitPlacement(&without.Lens, c.source[s.Index]); err == nil {
		s.AlonePX = alone.fit.RMSPX
	}
	with, lens, u, change := c.Lens.list(), without.Lens.list(), without.LensU.list(), s.ChangeInU.list()
	for k := range change {
		if *u[k].at > 0 {
			*change[k].at = (*with[k].at - *lens[k].at) / *u[k].at
		}
	}
	s.Description = part.Say("optics.suspect", "view", s.Name, "off_px", fmt.Sprintf("%.2f", s.RMSPX),
		"others_px", fmt.Sprintf("%.2f", s.OthersPX), "without_px", fmt.Sprintf("%.3f", without.RMSPX),
		"rms_px", fmt.Sprintf("%.3f", c.RMSPX), "fx_px", fmt.Sprintf("%.2f", c.Lens.FX),
		"without_fx_px", fmt.Sprintf("%.2f", without.Lens.FX), "fx_u", fmt.Sprintf("%.1f", math.Abs(s.ChangeInU.FX)),
		"cx_px", fmt.Sprintf("%.2f", c.Lens.CX), "without_cx_px", fmt.Sprintf("%.2f", without.Lens.CX),
		"cx_u", fmt.Sprintf("%.1f", math.Abs(s.ChangeInU.CX)))
	return true
}

func notFitted() Lens {
	var l Lens
	for _, v := range l.list() {
		*v.at = math.NaN()
	}
	return l
}

// Without fits the same model without the views of the given places.
func (c *Calibration) Without(places ...int) (Calibration, error) {
	var rest []View
	for i, v := range c.source {
		if !slices.Contains(places, i) {
			v.Name = c.Views[i].Name
			rest = append(rest, v)
		}
	}
	return Calibrate(rest, c.options)
}

// upperF is the chance of an F of a and b degrees of freedom above f.
func upperF(f, a, b float64) float64 {
	switch {
	case math.IsInf(f, 1):
		return 0
	case !(f > 0):
		return 1
	}
	return distuv.F{D1: a, D2: b}.Survival(f)
}
