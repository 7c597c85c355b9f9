package grade

import (
	"math"
	"slices"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// whyFinding tells a finding of a judged result, and what it is over, in a sentence.
func whyFinding(r *part.Result, w weighed) part.Phrase {
	limit := w.class.bound
	if w.Kind.AtSeam() && w.Severity.Rank() >= part.Major.Rank() {
		limit = w.classes.limit()
	}
	p := whySize(w, limit)
	if w.seam != nil && !apartAt(r, w.seam) {
		p = whySeam(w.seam)
	}
	if nearLimit(w.value, limit, w.u, w.k) {
		digits, unit := 1, unitOf(w.measure)
		if w.measure == SlopeMRad {
			digits = 2
		}
		p = part.Say("why.near", "u", fixed(*w.u, digits), "unit", "@unit."+unit).With("sentence", p)
	}
	if r.Verdict == part.Reject && (!w.mends || w.seam != nil && w.seam.Beyond) {
		p = part.Say("why.beyond."+stageWord(r.Stage)).With("sentence", p)
	}
	return p
}

// apartAt says whether the two ways of a seam's cause are mended each by itself: what is recessed in a
// set coat, and not too much to pass, is not built up, and what is proud is cut back all the same.
func apartAt(r *part.Result, c *part.SeamCause) bool {
	return r.Stage == part.Cured && r.Verdict == part.Rework && c.Both()
}

// unitOf is the unit of a measure, as the languages file it.
func unitOf(measure string) string {
	switch measure {
	case ProudUM, RecessedUM, GapUM, BeadUM:
		return "um"
	case AreaMM2:
		return "mm2"
	case Lines:
		return "lines"
	case SlopeMRad:
		return "mrad"
	}
	return "mm"
}

func whySize(w weighed, limit float64) part.Phrase {
	decimals, unit := 2, unitOf(w.measure)
	switch unit {
	case "um", "lines":
		decimals = 0
	case "mrad":
		decimals = 1
	}
	value, bound := besideLimit(w.value, limit, decimals)
	kind, zone, unitWord := lang.Word("kind.", string(w.Kind)), lang.Word("zone.", string(w.Zone)), "@unit."+unit
	if w.Zone == "" {
		zone = "@zone.unknown"
	}
	size := part.Say("why.value", "value", value)
	if w.atLeast {
		size = part.Say("why.at_least", "value", value)
	}
	severity := severityWord(w.Severity)
	switch {
	case w.measure == "":
		return part.Say("why.no_size", "kind", kind, "zone", zone)
	case unit == "um":
		return part.Say("why."+w.measure, "value_um", value, "limit_um", bound).With("place", at(w.StepStation))
	case w.cluster > 0:
		return part.Say("why.cluster", "kind", kind, "zone", zone, "unit", unitWord, "severity", severity, "count", strconv.Itoa(w.cluster), "within", short(w.within)).With("value", size)
	case math.IsNaN(limit):
		return part.Say("why.within", "kind", kind, "zone", zone, "unit", unitWord).With("value", size)
	case unit == "mrad" && !allWaves(w.band):
		return part.Say("why.waves", "kind", kind, "zone", zone, "severity", severity, "limit", bound, "from", short(w.band.FromMM), "to", short(w.band.ToMM)).With("value", size)
	case unit == "mrad":
		return part.Say("why.slope", "kind", kind, "zone", zone, "severity", severity, "limit", bound).With("value", size)
	}
	return part.Say("why.size", "kind", kind, "zone", zone, "unit", unitWord, "severity", severity, "limit", bound).With("value", size)
}

// whySeam tells what makes the steps at the seam one fault.
func whySeam(c *part.SeamCause) part.Phrase {
	value, _ := besideLimit(c.UM, math.NaN(), 0)
	size := part.Say("why.value", "value", value)
	if c.AtLeast {
		size = part.Say("why.at_least", "value", value)
	}
	p := part.Say("why.seam." + string(c.What))
	if c.UM > 0 {
		p = p.With("value_um", size)
	}
	if sides := c.Sides(false); len(sides) > 0 {
		p = p.With("sides", part.Turns(sides...))
	}
	for i, o := range []*part.Over{c.Proud, c.Recessed} {
		if o != nil {
			v, limit := besideLimit(o.UM, o.LimitUM, 0)
			p = p.With("over", part.Say([]string{"why.step.proud", "why.step.recessed"}[i], "value_um", v, "limit_um", limit).With("place", at(o.Station)))
		}
	}
	return p
}

// besideLimit writes a value and its limit with as many decimals as it takes to see on which side
// the value lies, but no more than three more.
func besideLimit(v, limit float64, decimals int) (value, bound string) {
	value, bound = fixed(v, decimals), fixed(limit, decimals)
	for i := 1; i <= 3 && value == bound && v != limit; i++ {
		value, bound = fixed(v, decimals+i), fixed(limit, decimals+i)
	}
	return value, bound
}

func whyScore(r *part.Result, l Limits) part.Phrase {
	n := 0
	for _, f := range r.Findings {
		if f.Severity.Rank() > 0 {
			n++
		}
	}
	return part.Say("why.score", "score", fixed(*r.Score, 0), "limit", fixed(l.ScoreLimit, 0), "n", strconv.Itoa(n))
}

// mostSteps is how many steps a plan has at most.
const mostSteps = 3

// retakes say what kept the unit from being measured, and what to do about it: a step for each
// thing to do.
func retakes(r *part.Result, l Limits) []part.PlanStep {
	var out []part.PlanStep
	add := func(why, do part.Phrase) {
		if len(out) < mostSteps && !slices.ContainsFunc(out, func(s part.PlanStep) bool { return s.DoPhrase.Key == do.Key }) {
			out = append(out, planStep(part.PlanRetake, why, do))
		}
	}
	en := lang.English()
	retake := func(name string) part.Phrase {
		if en.Has("retake." + name) {
			return part.Say("retake." + name)
		}
		return part.Say("retake.other")
	}
	for _, p := range r.Pictures {
		if p.State == part.PictureOK {
			continue
		}
		name := "other"
		if i := slices.IndexFunc(p.Problems, func(q part.Problem) bool { return !q.Warn }); i >= 0 {
			name = p.Problems[i].Name
		}
		problem := name
		if !en.Has("problem." + problem) {
			problem = "other"
		}
		add(part.Say("why.picture", "problem", "@problem."+problem).With("picture", r.ShotName(p.File)), retake(name))
	}
	missing := missingViews(r, l)
	for _, v := range missing {
		add(part.Say("why.view", "view", "@view."+string(v)), retake("other"))
	}
	if i := slices.IndexFunc(r.Seam.Stations, func(s part.StepStation) bool { return s.State != part.Measured }); i >= 0 {
		add(part.Say("why.station").With("place", at(place(r.Seam.Stations[i]))), retake("other"))
	}
	surfaces, least := tooLittleOf(r, l)
	for i, s := range surfaces {
		if s.Unsearched() && has(missing, s.View) {
			continue // told
		}
		key, do := "why.looked", "looked"
		if s.Unsearched() {
			key, do = "why.not_searched", "by_eye"
		}
		add(part.Say(key, "share", part.Percent(s.Seen()), "least", part.Percent(least[i])).With("view", s.Pose().Phrase()), retake(do))
	}
	if len(wavesOf(r, l).unjudged) > 0 {
		if m := r.Screen; m.SlopeMRad != nil {
			add(part.Say("why.waviness_bound", "value", fixed(*m.SlopeMRad, 1)), retake("waviness"))
		} else {
			add(part.Say("why.waviness"), retake("other"))
		}
	}
	if len(out) == 0 {
		add(part.Say("why.unjudged"), part.Say("remedy.other"))
	}
	return out
}

// unseen says what was not looked at or not measured. Of a flat panel, of which no view is required, only the
// panel's surface is told.
func unseen(r *part.Result, l Limits) []part.Phrase {
	var out []part.Phrase
	unfit := map[string]bool{}
	var names []part.Phrase
	for _, p := range r.Pictures {
		if p.State != part.PictureOK {
			unfit[p.File], names = true, append(names, r.ShotName(p.File))
		}
	}
	if len(names) > 0 {
		out = append(out, part.Say("plan.unseen.pictures").With("pictures", names...))
	}
	var lost []part.Phrase
	for _, s := range r.Seam.Stations {
		if s.State != part.Measured && !unfit[s.Image] {
			lost = append(lost, at(place(s)))
		}
	}
	if len(l.Required) == 0 {
		return append(out, r.NotLookedAtPhrases()...)
	}
	n := len(r.Seam.Stations)
	switch {
	case !slices.ContainsFunc(r.Seam.Stations, func(s part.StepStation) bool { return s.State == part.Measured }):
		out = append(out, part.Say("plan.unseen.seam"))
	case len(lost) > 3:
		out = append(out, part.Say("plan.unseen.stations", "n", strconv.Itoa(len(lost)), "of", strconv.Itoa(n)))
	case len(lost) > 0:
		out = append(out, part.Say("plan.unseen.steps").With("places", lost...))
	}
	for _, v := range []part.View{part.Face, part.Shell} {
		if surfaces, _ := r.SurfacesOf(v); len(surfaces) == 0 {
			out = append(out, part.Say("looked_at.none").With("pose", part.Pose{View: v, TurnDeg: math.NaN()}.Phrase()))
		}
	}
	return append(out, r.NotLookedAtPhrases()...)
}
