package grade

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// job is what is one thing to do: all steps that have one cause, the gap, the bead, or all
// findings of one kind on a surface.
type job struct {
	word    string // how remedies are filed: "seam_proud", "dust"; wordReflection for what is probably none
	mends   bool
	members []weighed // the gravest first
	seam    *part.SeamCause
	r       *part.Result
}

// wordReflection is what lies along a mirrored lamp.
const wordReflection = "reflection"

// sentence is something to do, as the key of its text behind "plan.do.", with the jobs that it is done to.
type sentence struct {
	key  string
	jobs []*job
}

// stepDraft is a step on its way.
type stepDraft struct {
	key  part.PlanKey
	do   []sentence
	with []*job // mended by the way: what is wiped off need not be pricked
}

// planOf makes the plan of a judged result: its numbers, severities and verdict are there. all are
// its findings, in their order. byItself are the numbers of those to which their step does what one
// does to such a finding alone.
func planOf(r *part.Result, l Limits, all []weighed) (p *part.Plan, byItself map[int]bool) {
	p, byItself = &part.Plan{Steps: []part.PlanStep{}}, map[int]bool{}
	jobs := jobsOf(r, all)
	drafts := []stepDraft{}
	switch r.Verdict {
	case part.Rework:
		drafts = reworkSteps(r.Stage, needed(jobs, l))
	case part.Reject:
		drafts = rejectSteps(jobs)
	case part.NotMeasured:
		p.Steps = retakes(r, l)
	}
	for _, d := range drafts {
		p.Steps = append(p.Steps, d.step(r))
		for _, x := range d.do {
			for _, j := range x.jobs {
				for _, w := range j.members {
					byItself[w.Number] = !x.larger(r.Stage, j.word)
				}
			}
		}
	}
	if s := p.First(); s != nil && len(s.Findings) > 0 && !slices.ContainsFunc(all,
		func(w weighed) bool { return w.Severity.Rank() >= part.Major.Rank() }) {
		s.WhyPhrase = whyScore(r, l) // no finding is grave by itself
		s.Why = lang.English().Say(&s.WhyPhrase)
	}
	for _, w := range all {
		if w.counts() && p.StepOf(w.Number) == 0 {
			p.MayStay = append(p.MayStay, w.Number)
		}
	}
	p.UnseenPhrases = unseen(r, l)
	p.Unseen = lang.English().SayAll(p.UnseenPhrases)
	return p, byItself
}

// larger says whether a sentence is a larger remedy for a job than it would want alone.
func (x sentence) larger(st part.Stage, word string) bool {
	return word == wordReflection || st == part.Wet && word == string(part.Gap) && x.key == "fill" ||
		st == part.Cured && slices.Contains(onTop, word) && x.key == "cut_back"
}

// GaugePlan is the plan of a unit of which nothing can be told until the gauge is put right; p is
// the plan so far.
func GaugePlan(p *part.Plan, why part.Phrase) *part.Plan {
	out := part.Plan{}
	if p != nil {
		out = *p
	}
	remedy := "remedy.barred"
	if why.Key == "scale.poor" {
		remedy = "remedy.scale"
	}
	out.Steps = []part.PlanStep{planStep(part.PlanGauge, part.Say("why.barred").With("why", why), part.Say(remedy))}
	return &out
}

// planStep is a step that mends no finding.
func planStep(key part.PlanKey, why, do part.Phrase) part.PlanStep {
	en := lang.English()
	return part.PlanStep{Key: key, Why: en.Say(&why), WhyPhrase: why, Do: en.Say(&do), DoPhrase: do}
}

// counts says whether a finding weighs.
func (w weighed) counts() bool { return !w.doubted && w.Severity.Rank() > part.None.Rank() }

// jobsOf puts what is one thing to do together, the gravest first.
func jobsOf(r *part.Result, all []weighed) []*job {
	mirrored := alongLamps(r, all)
	by := map[string]*job{}
	var jobs []*job
	for i, w := range all {
		if !w.counts() {
			continue
		}
		word := remedyWord(w.Kind, w.Finding)
		if w.seam != nil && !apartAt(r, w.seam) {
			word, _ = w.seam.Remedy()
		}
		if mirrored[i] {
			word = wordReflection
		}
		key := word
		if !w.Kind.AtSeam() && !w.mends {
			key += ", beyond"
		}
		j := by[key]
		if j == nil {
			j = &job{word: word, mends: w.mends, r: r, seam: w.seam}
			by[key], jobs = j, append(jobs, j)
		}
		if r.Verdict == part.Rework { // then what rework cannot mend passes as it is
			j.mends = j.mends || w.mends
		} else {
			j.mends = j.mends && w.mends
		}
		j.members = append(j.members, w)
	}
	for _, j := range jobs {
		slices.SortStableFunc(j.members, heavier)
	}
	slices.SortStableFunc(jobs, graver)
	return jobs
}

// graver puts the job with the graver finding first, and between equals what has a cause at the seam.
func graver(a, b *job) int {
	v, w := a.members[0], b.members[0]
	if v.Severity == w.Severity && (a.seam == nil) != (b.seam == nil) {
		if a.seam != nil {
			return -1
		}
		return 1
	}
	return heavier(v, w)
}

// heavier puts the graver finding first: by severity, then what rework cannot mend, then what is
// further over its limit.
func heavier(a, b weighed) int {
	if c := b.Severity.Rank() - a.Severity.Rank(); c != 0 {
		return c
	}
	if a.mends != b.mends {
		if a.mends {
			return 1
		}
		return -1
	}
	return cmp.Compare(b.excess(), a.excess())
}

// needed are the jobs without which the unit would not pass: those with a moderate finding or
// worse, and as many of the others as it takes.
func needed(jobs []*job, l Limits) []*job {
	var out []*job
	left, worst := 0.0, part.None
	for _, j := range jobs { // the gravest first
		if !j.mends {
			left += j.demerits()
			worst = worse(worst, j.members[0].Severity)
		}
	}
	for _, j := range jobs {
		if j.mends && j.members[0].Severity.Rank() < part.Moderate.Rank() {
			left += j.demerits()
		}
	}
	for _, j := range jobs {
		switch {
		case !j.mends:
		case j.members[0].Severity.Rank() >= part.Moderate.Rank():
			out = append(out, j)
		case !passes(worst, left, l):
			out, left = append(out, j), left-j.demerits()
		}
	}
	return out
}

func (j *job) demerits() float64 {
	sum := 0.0
	for _, w := range j.members {
		sum += Demerits(w.Severity)
	}
	return sum
}

// step says a draft.
func (d stepDraft) step(r *part.Result) part.PlanStep {
	s := part.PlanStep{Key: d.key, DoPhrase: part.Say("plan.step")}
	var mended []*job
	care := map[part.Care]bool{}
	for _, x := range d.do {
		s.DoPhrase = s.DoPhrase.With("sentences", x.phrase())
		mended = append(mended, x.jobs...)
		for _, c := range cares[x.key] {
			care[c] = true
		}
	}
	slices.SortStableFunc(mended, graver)
	slices.SortStableFunc(d.with, graver)
	mended = append(mended, d.with...)
	seen := map[string]bool{}
	for _, j := range mended {
		for _, w := range j.members {
			if slices.Contains(s.Findings, w.Number) {
				continue // filled, and then trimmed flush
			}
			s.Findings = append(s.Findings, w.Number)
			if w.StepStation != "" && !seen[w.StepStation] {
				seen[w.StepStation], s.Stations = true, append(s.Stations, w.StepStation)
			}
		}
	}
	for _, c := range part.Cares {
		if care[c] {
			s.Care = append(s.Care, c)
		}
	}
	s.WhyPhrase = whyFinding(r, mended[0].members[0])
	en := lang.English()
	s.Do, s.Why = en.Say(&s.DoPhrase), en.Say(&s.WhyPhrase)
	return s
}

// phrase is what a sentence says.
func (x sentence) phrase() part.Phrase {
	p := part.Say(doKey + x.key)
	if strings.HasPrefix(x.key, beyondRework) {
		p = part.Say(x.key)
	}
	for _, j := range x.jobs {
		switch {
		case x.key == "reglue" || x.key == beyondRework+"seam_both":
			return p.With("where", j.where(true))
		case strings.HasPrefix(x.key, beyondRework) || x.key == "wipe_off":
			return p
		case x.key == "flush" && j.word == "seam_both": // what was filled, too
			p = p.With("things", part.Say("plan.edge").With("where", part.Say("where.all_round")))
		default:
			p = p.With("things", j.thing())
		}
	}
	return p
}

// Where what a plan says begins in the language files; what rework cannot mend has sentences of its own.
const (
	doKey        = "plan.do."
	beyondRework = "beyond."
)

// cares are what to take care of, by sentence.
var cares = func() map[string][]part.Care {
	out := map[string][]part.Care{}
	for c, keys := range map[part.Care][]string{
		part.CareGloves: {"wipe_off", "reglue", "fill", "fill_recessed", "pores", "lacquer", "prick", "lift", "pull", "run_in", "build_up",
			"draw",
			"brush_on", "level", "fill_thin", "roughen", "recoat", "polish"},
		part.CareDust: {"reglue", "fill", "fill_recessed", "flush", "finer", "pores", "cut_back", "fill_thin", "roughen", "polish"},
		part.CareLamp: {"reglue", "fill", "fill_recessed", "pores", "fill_thin", "recoat", "polish"},
	} {
		for _, k := range keys {
			out[k] = append(out[k], c)
		}
	}
	return out
}()

// clock is a station by the clock face of the sketch, and by its picture.
func (j *job) clock(station string) part.Phrase {
	i := slices.IndexFunc(j.r.Seam.Stations, func(s part.StepStation) bool { return place(s) == station })
	if i < 0 {
		return at(station)
	}
	return part.Say("plan.clock", "hour", part.ClockHour(j.r.Seam.Stations[i].AroundDeg())).With("station", at(station))
}

// thing names what a job is done to: kind, place, and the findings' numbers.
func (j *job) thing() part.Phrase {
	w := j.members[0]
	switch w.Kind {
	case part.Step:
		return part.Say("plan.edge").With("where", j.where(w.measure == RecessedUM || j.word == "seam_both"))
	case part.Gap, part.Bead:
		return part.Say("plan."+string(w.Kind)).With("where", j.stations())
	}
	key := "plan.found"
	if slices.ContainsFunc(j.members, func(w weighed) bool { return w.cluster > 0 }) {
		key = "plan.found.close"
	}
	p := part.Say(key, "kind", kindWord(w.Kind), "zone", zoneWord(w.Zone))
	if j.word == wordReflection || slices.ContainsFunc(j.members, func(v weighed) bool { return v.Zone != w.Zone }) {
		p = part.Say(key+".zones", "kind", kindWord(w.Kind))
	}
	if j.word == wordReflection {
		p = part.Say("plan.findings")
	}
	const most = 8 // the sketch has all
	for i, m := range j.numbers() {
		if i == most && len(j.members) > most+1 {
			p = p.With("numbers", part.Say("plan.more", "n", strconv.Itoa(len(j.members)-most)))
			break
		}
		p = p.With("numbers", part.Say("plan.number", "number", strconv.Itoa(m)))
	}
	return p
}

func (j *job) numbers() []int {
	var out []int
	for _, w := range j.members {
		out = append(out, w.Number)
	}
	slices.Sort(out)
	return out
}

// where is the part of the faceplate's edge that is to be worked on.
func (j *job) where(recessed bool) part.Phrase {
	if c := j.seam; c != nil && !apartAt(j.r, c) && c.What != part.OnePlace &&
		(c.What == part.AllProud || c.What == part.AllRecessed || len(c.Sides(recessed)) > 0) {
		return where(c, recessed)
	}
	if recessed {
		low := *j
		low.members = slices.DeleteFunc(slices.Clone(j.members), func(w weighed) bool { return w.measure != RecessedUM })
		return low.stations()
	}
	return j.stations()
}

// roundLeast is how many stations tell of the whole seam.
const roundLeast = 6

// stations are the job's places round the seam.
func (j *job) stations() part.Phrase {
	over := map[string]bool{}
	var first []part.Phrase
	for _, w := range j.members {
		if !over[w.StepStation] {
			over[w.StepStation], first = true, append(first, j.clock(w.StepStation))
		}
	}
	from, to, arc, all := arcOf(j.r, over)
	switch {
	case all && len(first) >= roundLeast:
		return part.Say("where.all_round")
	case len(first) <= 2:
		return part.Say("plan.at").With("stations", first...)
	case arc:
		return part.Say("plan.arc", "from_deg", short(from), "to_deg", short(to))
	}
	return part.Say("plan.some", "n", strconv.Itoa(len(first)))
}

// PlanFor makes the plan of a result that an earlier program judged; the result stays as it is. ok is
// false where it would be another verdict's.
func PlanFor(r *part.Result, l Limits) (p *part.Plan, ok bool) {
	c := *r
	c.Findings, c.Seam.Stations = slices.Clone(r.Findings), slices.Clone(r.Seam.Stations)
	c.Warnings, c.WarningPhrases = slices.Clone(r.Warnings), slices.Clone(r.WarningPhrases)
	Judge(&c, l)
	return c.Plan, c.Verdict == r.Verdict
}
