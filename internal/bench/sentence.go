package bench

import (
	"slices"
	"strings"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// This file says what the page tells of a unit. What it tells, and in which order, is the plan's;
// the words are in the language files.

// words says what the page tells of a unit, in one language.
type words struct{ *lang.Lang }

// why is the one sentence under a verdict: that of the plan's first step. A call that was overruled
// is told as such, and no more of the tool's reasons.
func (x words) why(a *Answer) string {
	r := a.Outcome.Result
	switch s := r.Plan.First(); {
	case a.Overruled != nil:
		return x.overruled(a)
	case s != nil:
		return x.Say(&s.WhyPhrase)
	case r.Verdict == part.Pass:
		return x.passes(r)
	case len(r.Reasons) > 0: // of a program that made no plan
		return x.SayOr(phraseAt(r.ReasonPhrases, len(r.Reasons)), r.Reasons[0])
	}
	return x.T("why.unjudged")
}

// phraseAt is the first of as many phrases as there are sentences; nil where the two do not go together.
func phraseAt(phrases []part.Phrase, sentences int) *part.Phrase {
	if len(phrases) != sentences {
		return nil
	}
	return &phrases[0]
}

// passes is the sentence of a pass: it tells the shares that it rests on. That of the shell
// is over all turns where it is known.
func (x words) passes(r *part.Result) string {
	p := part.Say("why.pass_looked")
	add := func(share float64, of part.Pose) {
		p = p.With("shares", part.Say("looked.share", "share", part.Percent(share)).With("view", of.Phrase()))
	}
	for _, s := range r.Surfaces {
		if !s.Unsearched() && (s.View != part.Shell || r.Shell == nil) {
			add(s.Seen(), s.Pose())
		}
	}
	if r.Shell != nil {
		add(r.Shell.LookedAt, r.Shell.Surface().Pose())
	}
	if len(p.Parts) == 0 {
		p = part.Say("why.pass_seam")
	}
	return x.Say(&p)
}

func (x words) overruled(a *Answer) string {
	o := a.Overruled
	return x.T("answer.overruled", "by", o.By, "verdict", "@verdict_short."+string(o.Verdict), "tool", "@verdict_short."+string(a.Outcome.Result.Verdict), "reason", "@reason."+o.Reason)
}

// todo is what to do with a unit: the plan's first step, and the care that it wants. Where nothing
// has to be done, it goes on; what a person called other than the tool is that person's.
func (x words) todo(a *Answer) (step, care string) {
	r := a.Outcome.Result
	switch s := a.plan().First(); {
	case a.Verdict() == part.Pass:
		return x.T("remedy.pass." + string(r.Stage)), ""
	case s != nil:
		return x.Say(&s.DoPhrase), report.CareSentence(x.Lang, s.Care)
	case a.Overruled != nil && a.Overruled.Note != "":
		return a.Overruled.Note, ""
	case a.Overruled != nil:
		return x.T("plan.persons", "by", a.Overruled.By), ""
	}
	return x.T("retake.other"), ""
}

// plan is what is to be done about the unit.
func (a *Answer) plan() *part.Plan { return a.Outcome.Result.Plan.Under(a.Overruled) }

// shown are the numbers of the findings that count, in the order of the plan, the one to show first
// at the head.
func (o Outcome) shown() []int {
	var out []int
	if p := o.Result.Plan; p != nil {
		for _, s := range p.Steps {
			for _, n := range s.Findings {
				if !slices.Contains(out, n) {
					out = append(out, n)
				}
			}
		}
		for _, n := range p.MayStay {
			if o.Result.Verdict != part.NotMeasured {
				out = append(out, n)
			}
		}
	}
	return out
}

// Shown are the findings that the answer shows, in this order; the first one's picture is the one
// to show large. None where the answer is about no finding.
func (o Outcome) Shown() []part.Finding {
	var out []part.Finding
	for _, n := range o.shown() {
		if i := slices.IndexFunc(o.Result.Findings, func(f part.Finding) bool { return f.Number == n }); i >= 0 {
			out = append(out, o.Result.Findings[i])
		}
	}
	return out
}

// problem says what is wrong with a picture.
func (x words) problem(q part.Problem) string {
	key := "problem." + q.Name
	if !x.Has(key) {
		key = "problem.other"
	}
	return x.T(key)
}

func orUnknown(s string) string {
	if s == "" {
		return "unknown"
	}
	return s
}

// stepStation says in words what a finding's Station says: "120 deg, left".
func (x words) stepStation(s string) string {
	angle, side, ok := strings.Cut(s, " deg, ")
	if !ok {
		return s
	}
	return x.T("seam.at", "angle_deg", angle, "side", "@limb."+side)
}

// picture names a picture: "edge 120°", "face, raking light".
func (x words) picture(r *part.Result, file string) string {
	p := r.ShotName(file)
	return x.Say(&p)
}

// shot names a shot.
func (x words) shot(v part.View, l part.Light, angleDeg float64) string {
	p := part.ShotName(v, l, angleDeg)
	return x.Say(&p)
}

// finding tells a finding in a few words: kind, size, zone.
func (x words) finding(f part.Finding) string {
	size := ""
	switch {
	case f.ValueUM != nil:
		size = x.Number(*f.ValueUM, 0) + " " + x.T("unit.um")
	case f.DiameterMM != nil:
		size = x.Number(*f.DiameterMM, 2) + " " + x.T("unit.mm")
	case f.LengthMM != nil:
		size = x.Number(*f.LengthMM, 2) + " " + x.T("unit.mm")
	}
	where := x.T("zone." + orUnknown(string(f.Zone)))
	if f.StepStation != "" {
		where = x.stepStation(f.StepStation)
	}
	if size == "" {
		return x.T("finding.no_size", "kind", "@kind."+string(f.Kind), "where", where)
	}
	return x.T("finding.size", "kind", "@kind."+string(f.Kind), "size", size, "where", where)
}
