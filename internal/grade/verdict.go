package grade

import (
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// decide sets Score, Verdict and Reasons. missing says what was not measured.
func decide(r *part.Result, l Limits, all []weighed, missing []part.Phrase) {
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
	r.ReasonPhrases = reasons(r, l, all, score, missing)
	r.Reasons = lang.English().SayAll(r.ReasonPhrases)
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
func unmeasured(r *part.Result, l Limits) []part.Phrase {
	if len(r.Pictures) == 0 && len(r.Seam.Stations) == 0 {
		return []part.Phrase{part.Say("reason.no_picture")}
	}
	unfit := map[string]bool{}
	out := unfitSentences(r, unfit)
	stations := map[string]bool{}
	for _, s := range r.Seam.Stations {
		stations[s.Image] = true
		if s.State != part.Measured && !unfit[s.Image] {
			why := part.Say("reason.not_given")
			if s.Reason != "" {
				why = s.Why()
			}
			out = append(out, part.Say("reason.station").With("place", at(place(s))).With("why", why))
		}
	}
	for _, p := range r.Pictures {
		if p.View == part.Edge && p.State == part.PictureOK && !stations[p.File] {
			out = append(out, part.Say("reason.no_station", "file", p.File))
		}
	}
	missing := missingViews(r, l)
	for _, v := range missing {
		out = append(out, missingView(r, v))
	}
	surfaces, least := tooLittleOf(r, l)
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
func tooLittle(s part.Surface, least float64) part.Phrase {
	if s.Unsearched() {
		return part.Say("reason.not_searched", "least", part.Percent(least)).With("pose", s.Pose().Phrase())
	}
	got := part.Percent(s.Seen())
	if got == part.Percent(least) {
		got = fixed(100*s.Seen(), 1) + " %"
	}
	return part.Say("reason.too_little", "share", got, "least", part.Percent(least)).With("pose", s.Pose().Phrase())
}

// missingView says that a view is missing, or that its pictures are only read.
func missingView(r *part.Result, v part.View) part.Phrase {
	view := "@view." + string(v)
	what := part.Say("reason.unseen", "view", view)
	if v == part.Edge || v == part.Face {
		what = part.Say("reason.unseen." + string(v))
	}
	if slices.ContainsFunc(r.Pictures, func(p part.PictureReport) bool { return p.View == v }) {
		return part.Say("reason.only_read", "view", view, "name", string(v)).With("what", what)
	}
	return part.Say("reason.no_view", "view", view).With("what", what)
}

// unfitSentences say why pictures were not fit to measure, once where it is the same, and mark
// their files.
func unfitSentences(r *part.Result, unfit map[string]bool) []part.Phrase {
	alike := map[string][]string{} // files by what is wrong with them
	var whys []string
	var problems [][]part.Phrase
	for _, p := range r.Pictures {
		if p.State == part.PictureOK {
			continue
		}
		unfit[p.File] = true
		why := unfitWhy(p)
		key := strings.Join(lang.English().SayAll(why), "; ")
		if alike[key] == nil {
			whys, problems = append(whys, key), append(problems, why)
		}
		alike[key] = append(alike[key], p.File)
	}
	var out []part.Phrase
	for i, key := range whys {
		out = append(out, part.Say("reason.unfit", "n", strconv.Itoa(len(alike[key])), "files",
			strings.Join(alike[key], ", ")).With("problems", problems[i]...))
	}
	return out
}

func unfitWhy(p part.PictureReport) []part.Phrase {
	var why []part.Phrase
	for _, q := range p.Problems {
		if q.Warn {
			continue
		}
		s := part.Say("reason.problem", "problem", lang.Word("problem_word.", q.Name))
		if q.Remedy != "" {
			s = s.With("remedy", part.Say("reason.remedy").With("remedy", q.Phrase()))
		}
		why = append(why, s)
	}
	if len(why) == 0 {
		why = append(why, part.Say("reason.not_given"))
	}
	return why
}
