package grade

import (
	"fmt"
	"slices"
	"strings"

	"finishbench/internal/part"
)

// decide sets Score, Verdict and Reasons. missing says what was not measured.
func decide(r *part.Result, l Limits, all []weighed, missing []string) {
	score, left := 0.0, 0.0
	worst, worstLeft := part.None, part.None
	for _, w := range all {
		score += Demerits(w.Severity)
		worst = worse(worst, w.Severity)
		if !w.mends {
			left += Demerits(w.Severity)
			worstLeft = worse(worstLeft, w.Severity)
		}
	}
	r.Score = nil
	if somethingMeasured(r) {
		r.Score = part.Num(score)
	}
	switch {
	case !passes(worstLeft, left, l):
		r.Verdict = part.Reject
	case !passes(worst, score, l):
		r.Verdict = part.Rework
	case len(missing) > 0:
		r.Verdict = part.NotMeasured
	default:
		r.Verdict = part.Pass
	}
	r.Reasons = reasons(r, l, all, score, missing)
}

// passes is the rule for findings alone. A score at its limit passes.
func passes(worst part.Severity, score float64, l Limits) bool {
	return worst.Rank() < part.Major.Rank() && score <= l.ScoreLimit
}

func worse(a, b part.Severity) part.Severity {
	if b.Rank() > a.Rank() {
		return b
	}
	return a
}

func somethingMeasured(r *part.Result) bool {
	for _, p := range r.Pictures {
		if p.State == part.PictureOK && p.LookedAt() {
			return true
		}
	}
	for _, s := range r.Seam.Stations {
		if s.State == part.Measured {
			return true
		}
	}
	return len(r.Findings) > 0
}

// unmeasured says, a sentence each, what was not measured: pictures that were
// not fit, stations, views that are missing. Stations of a picture that was not
// fit are told by the picture.
func unmeasured(r *part.Result, l Limits) []string {
	if len(r.Pictures) == 0 && len(r.Seam.Stations) == 0 {
		return []string{"no picture: nothing was measured"}
	}
	var out []string
	unfit := map[string]bool{}
	alike := map[string][]string{} // files by what is wrong with them
	var whys []string
	for _, p := range r.Pictures {
		if p.State != part.PictureOK {
			unfit[p.File] = true
			w := unfitWhy(p)
			if alike[w] == nil {
				whys = append(whys, w)
			}
			alike[w] = append(alike[w], p.File)
		}
	}
	for _, w := range whys {
		out = append(out, unfitSentence(alike[w], w))
	}
	stations := map[string]bool{}
	for _, s := range r.Seam.Stations {
		stations[s.Image] = true
		if s.State != part.Measured && !unfit[s.Image] {
			why := s.Reason
			if why == "" {
				why = "no reason given"
			}
			out = append(out, fmt.Sprintf("step not measured at %s: %s", place(s), why))
		}
	}
	for _, p := range r.Pictures {
		if p.View == part.Edge && p.State == part.PictureOK && !stations[p.File] {
			out = append(out, "step not measured in "+p.File+": it has no station")
		}
	}
	missing := MissingViews(r, l)
	for _, v := range missing {
		out = append(out, missingView(r, v))
	}
	surfaces, least := TooLittle(r, l)
	for i, s := range surfaces {
		// Where no picture could be looked into, that was told above.
		unread := slices.ContainsFunc(r.Pictures, func(p part.PictureReport) bool { return p.Pose() == s.Pose() && unfit[p.File] })
		if s.Unsearched() && (unread || has(missing, s.View)) {
			continue
		}
		out = append(out, tooLittle(s, least[i]))
	}
	return out
}

// tooLittle says that too little of a surface was looked at.
func tooLittle(s part.Surface, least float64) string {
	of := "the " + s.Pose().String()
	if s.Unsearched() {
		return fmt.Sprintf("%s was not looked at (at least %s is asked for): look at it by eye", of, part.Percent(least))
	}
	got := part.Percent(s.Seen())
	if got == part.Percent(least) {
		got = fixed(100*s.Seen(), 1) + " %"
	}
	return fmt.Sprintf("only %s of %s could be looked at, at least %s is asked for: move the lamp, turn the unit, or use a softer light, then photograph it again", got, of, part.Percent(least))
}

// missingView says that a view is missing, or that its pictures are only read.
func missingView(r *part.Result, v part.View) string {
	what := fmt.Sprintf("the %s was not looked at", v)
	switch v {
	case part.Edge:
		what = "the seam was not measured"
	case part.Face:
		what = "the faceplate was not looked at"
	}
	if slices.ContainsFunc(r.Pictures, func(p part.PictureReport) bool { return p.View == v }) {
		return fmt.Sprintf("no %s picture that is looked into (%s_diffuse or %s_raking): %s", v, v, v, what)
	}
	return fmt.Sprintf("no %s picture: %s", v, what)
}

// unfitSentence says why pictures were not fit to measure, once where it is the same.
func unfitSentence(files []string, why string) string {
	are := " is"
	if len(files) > 1 {
		are = " are"
	}
	return strings.Join(files, ", ") + are + " not fit to measure: " + why
}

func unfitWhy(p part.PictureReport) string {
	var why []string
	for _, q := range p.Problems {
		if q.Warn {
			continue
		}
		s := strings.ReplaceAll(q.Name, "_", " ")
		if q.Remedy != "" {
			s += " (" + q.Remedy + ")"
		}
		why = append(why, s)
	}
	if len(why) == 0 {
		why = []string{"no reason given"}
	}
	return strings.Join(why, "; ")
}
