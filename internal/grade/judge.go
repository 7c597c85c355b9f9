package grade

import (
	"math"
	"sort"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// weighed is a finding on its way through the judgement.
type weighed struct {
	part.Finding
	measure string      // the measure that decided; "" where none could be had
	value   float64     // its size in the measure's unit, never negative
	class   class       // the class that value fell into, before clusters
	classes Classes     // the limits it was compared with
	u       *float64    // standard uncertainty of value, in its unit; steps and waves only
	k       float64     // how many times u still count as near a limit
	band    WaveClasses // of waves: which
	atLeast bool        // value is a lower bound
	cluster int         // how many lie close together; 0: not raised
	within  float64     // and within what, mm
	doubted bool        // below the least confidence: listed, does not weigh
	mends   bool        // rework can mend it at this stage

	seam *part.SeamCause // of a step: the fault that it is part of, told instead of it; nil: none
}

// Judge fills in the verdict. It takes a result whose Stage, MMPerPX, Stations,
// Findings (without severity and advice) and Pictures are filled in, and
//
//   - adds a finding for each step, gap and bead over its limit,
//   - sets each finding's Severity, Advice and Number, and sorts them: worst
//     first, then by picture, then from top to bottom and left to right,
//   - sets Score, Verdict, Reasons, Plan, Seam.WorstStepUM and Screen.Bands, and adds Warnings.
//
// Score stays nil where nothing at all could be measured. A number that is not
// finite counts as not measured and becomes nil. Judging a result twice gives
// the same as judging it once.
func Judge(r *part.Result, l Limits) {
	all, seam, waves, unjudged := weighAll(r, l)
	r.Findings = make([]part.Finding, len(all))
	for i := range all {
		all[i].Number = i + 1
		r.Findings[i] = all[i].Finding
	}

	r.Seam.WorstStepUM = worstStep(r.Seam.Stations)
	if r.Screen != nil {
		screen := *r.Screen
		screen.Bands = waves.bands
		r.Screen = &screen
	}
	missing := append(unmeasured(r, l), seam.unjudged...)
	missing = append(append(missing, waves.unjudged...), unjudged...)
	decide(r, l, all, missing)
	plan, byItself := planOf(r, l, all)
	r.Plan = plan
	for i := range all {
		p := advice(r, all[i], byItself[all[i].Number])
		r.Findings[i].Advice, r.Findings[i].AdvicePhrase = lang.English().Say(&p), &p
	}
	for _, w := range append(seam.warnings, waves.warnings...) {
		warn(r, w)
	}
}

// weighAll tidies a result and weighs all there is to find in it, in the order
// of the findings' numbers.
func weighAll(r *part.Result, l Limits) (all []weighed, seam seamOutcome, waves wavesOutcome, unjudged []part.Phrase) {
	tidy(r)
	dropSeamFindings(r)

	seam = seamFindings(r, l)
	waves = wavesOf(r, l)
	found, unjudged := surfaceFindings(r, l, waves)
	raiseClusters(found, r, l)

	all = append(seam.findings, found...)
	for i := range all {
		w := &all[i]
		w.mends = l.mends(r.Stage, w.Finding, r.MMPerPX)
	}
	cause := seamCause(r, all)
	for i := range all {
		if w := &all[i]; w.Kind == part.Step {
			w.seam = cause
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return before(&all[i].Finding, &all[j].Finding) })
	return all, seam, waves, unjudged
}

// before is the order of findings: worst first, then picture, then position.
func before(a, b *part.Finding) bool {
	if x, y := a.Severity.Rank(), b.Severity.Rank(); x != y {
		return x > y
	}
	if a.Image != b.Image {
		return a.Image < b.Image
	}
	p, q := a.Box.Centre(), b.Box.Centre()
	if p.Y != q.Y {
		return p.Y < q.Y
	}
	if p.X != q.X {
		return p.X < q.X
	}
	return a.Kind < b.Kind
}

// tidy turns numbers that are not finite into "not measured", and a measured
// station without a step into one that was not measured.
func tidy(r *part.Result) {
	for i := range r.Seam.Stations {
		s := &r.Seam.Stations[i]
		for _, p := range []**float64{&s.StepUM, &s.UUM, &s.GapUM, &s.BeadUM, &s.XPX, &s.YPX} {
			finite(p)
		}
		if s.UUM != nil && *s.UUM < 0 {
			s.UUM = nil
		}
		if s.State == part.Measured && s.StepUM == nil {
			s.State, s.Reason = part.Unmeasured, "the step has no value"
		}
	}
	for i := range r.Findings {
		f := &r.Findings[i]
		for _, p := range []**float64{&f.DiameterMM, &f.LengthMM, &f.WidthMM, &f.AreaMM2, &f.AngleDeg, &f.ValueUM} {
			finite(p)
		}
		for _, v := range f.Box {
			if part.Num(v) == nil {
				f.Box = part.Box{}
			}
		}
		for name, v := range f.Features {
			if part.Num(v) == nil {
				delete(f.Features, name)
			}
		}
	}
	if r.Warnings == nil {
		r.Warnings = []string{}
	}
	for _, s := range r.Warnings[min(len(r.WarningPhrases), len(r.Warnings)):] {
		r.WarningPhrases = append(r.WarningPhrases, part.Text(s))
	}
}

func finite(p **float64) {
	if *p != nil {
		*p = part.Num(**p)
	}
}

// dropSeamFindings takes off what an earlier judgement added.
func dropSeamFindings(r *part.Result) {
	kept := r.Findings[:0:0]
	for _, f := range r.Findings {
		if f.Kind != part.Step && f.Kind != part.Gap && f.Kind != part.Bead {
			kept = append(kept, f)
		}
	}
	r.Findings = kept
}

// worstStep is the measured step of the largest size, with its sign; nil where
// there is none.
func worstStep(stations []part.StepStation) *float64 {
	var worst *float64
	for _, s := range stations {
		if s.State == part.Measured && s.StepUM != nil && (worst == nil || math.Abs(*s.StepUM) > math.Abs(*worst)) {
			worst = part.Num(*s.StepUM)
		}
	}
	return worst
}

func warn(r *part.Result, p part.Phrase) {
	if s := lang.English().Say(&p); !has(r.Warnings, s) {
		r.Warnings, r.WarningPhrases = append(r.Warnings, s), append(r.WarningPhrases, p)
	}
}
