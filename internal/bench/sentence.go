package bench

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/grade"
	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// This file makes sentences out of a result's numbers. Their words are in the
// language files; which text is chosen, and with what numbers, is decided here.

// words says what the page tells of a unit, in one language.
type words struct{ *lang.Lang }

// why is the one sentence under a verdict.
func (x words) why(a *Answer) string {
	r := a.Outcome.Result
	switch r.Verdict {
	case part.Pass:
		return x.passes(r)
	case part.NotMeasured:
		if a.Outcome.Barred != nil {
			return x.T("why.barred", "why", x.Say(a.Outcome.Barred))
		}
		return x.missing(a.Outcome)
	}
	if f, c, ok := worst(a.Outcome); ok {
		return x.cause(r, f, c)
	}
	if a.Outcome.ScoreOver {
		return x.scoreSentence(a.Outcome)
	}
	return x.missing(a.Outcome)
}

// worst is the finding that weighs most: the severest, and among equals the one
// that rework cannot mend, then the one that is furthest over its limit. Where
// no finding is severe by itself, the score decides.
func worst(o Outcome) (f part.Finding, c grade.Cause, ok bool) {
	best := -1
	for i := range o.Causes {
		if i >= len(o.Result.Findings) || o.Result.Findings[i].Severity.Rank() < part.Major.Rank() || o.Causes[i].Doubted {
			continue
		}
		if best < 0 || heavier(o, i, best) {
			best = i
		}
	}
	if best < 0 {
		return f, c, false
	}
	return o.Result.Findings[best], o.Causes[best], true
}

func heavier(o Outcome, i, j int) bool {
	a, b := o.Result.Findings[i].Severity.Rank(), o.Result.Findings[j].Severity.Rank()
	switch {
	case a != b:
		return a > b
	case o.Causes[i].Mends != o.Causes[j].Mends:
		return !o.Causes[i].Mends
	}
	return over(o.Causes[i]) > over(o.Causes[j])
}

// over is how far a cause is over its limit, as a ratio; +Inf where no size is
// known.
func over(c grade.Cause) float64 {
	switch {
	case math.IsNaN(c.Limit):
		return math.Inf(1)
	case c.Limit > 0:
		return c.Value / c.Limit
	}
	return c.Value
}

// shown is the finding to be shown large: the worst, else the first that counts.
func shown(o Outcome) (f part.Finding, c grade.Cause, ok bool) {
	if f, c, ok := worst(o); ok {
		return f, c, true
	}
	if o.Result.Verdict == part.NotMeasured {
		return f, c, false
	}
	for i := range o.Causes {
		if i < len(o.Result.Findings) && !o.Causes[i].Doubted && o.Result.Findings[i].Severity != part.None {
			return o.Result.Findings[i], o.Causes[i], true
		}
	}
	return f, c, false
}

// cause tells a finding in a sentence.
func (x words) cause(r *part.Result, f part.Finding, c grade.Cause) string {
	decimals, unit := 2, "mm"
	switch {
	case strings.HasSuffix(c.Measure, "_um"):
		decimals, unit = 0, "um"
	case c.Measure == "area_mm2":
		unit = "mm2"
	case c.Measure == "lines":
		decimals, unit = 0, "lines"
	case c.Measure == "slope_mrad":
		decimals, unit = 1, "mrad"
	}
	value, limit := x.apart(c.Value, c.Limit, decimals)
	if c.AtLeast {
		value = x.T("why.at_least", "value", value)
	}
	args := []string{
		"kind", "@kind." + string(f.Kind), "zone", "@zone." + orUnknown(string(f.Zone)), "severity", "@severity." + string(f.Severity),
		"value", value, "limit", limit, "unit", x.T("unit." + unit),
		"place", x.station(f.Station), "count", strconv.Itoa(c.Cluster), "within", x.Number(c.WithinMM, 1),
		"from", part.Decimal(c.FromMM), "to", part.Decimal(c.ToMM),
	}
	key := "why.size"
	switch {
	case c.Measure == "":
		key = "why.no_size"
	case decimals == 0 && unit == "um":
		key = "why." + c.Measure
	case math.IsNaN(c.Limit):
		key = "why.within"
	case c.Cluster > 0:
		key = "why.cluster"
	case unit == "mrad" && c.FromMM > 0:
		key = "why.waves"
	case unit == "mrad":
		key = "why.slope"
	}
	s := x.T(key, args...)
	if c.Seam != nil {
		s = x.seamSentence(c.Seam)
	}
	if c.Near {
		digits := 1
		if unit == "mrad" {
			digits = 2
		}
		s = x.T("why.near", "sentence", s, "u", x.Number(c.U, digits), "unit", x.T("unit."+unit))
	}
	if !c.Mends || c.Seam != nil && c.Seam.Beyond {
		s = x.T("why.beyond."+string(r.Stage), "sentence", s)
	}
	return s
}

// seamSentence tells what makes the steps at the seam one fault.
func (x words) seamSentence(c *part.SeamCause) string {
	key := map[part.SeamWhat]string{part.AllProud: "all_proud", part.AllRecessed: "all_recessed", part.OffCentre: "off_centre", part.Oval: "oval",
		part.OnePlace: "one_place", part.InTurn: "in_turn"}[c.What]
	value := x.Number(c.UM, 0)
	if c.AtLeast {
		value = x.T("why.at_least", "value", value)
	}
	var steps []string
	for i, o := range []*part.Over{c.Proud, c.Recessed} {
		if o != nil {
			v, limit := x.apart(o.UM, o.LimitUM, 0)
			steps = append(steps, x.T([]string{"why.step.proud", "why.step.recessed"}[i], "value", v, "limit", limit, "place", x.station(o.Station)))
		}
	}
	told := steps[0]
	if len(steps) > 1 {
		told = x.T("why.step.both", "proud", steps[0], "recessed", steps[1])
	}
	return x.T("why.seam."+key, "value", value, "sides", x.turns(c.Sides(false)), "steps", told)
}

// turns are turns in words: "40 deg", "20 and 200 deg".
func (x words) turns(deg []float64) string {
	switch len(deg) {
	case 1:
		return x.T("sides.one", "a", part.Decimal(deg[0]))
	case 2:
		return x.T("sides.two", "a", part.Decimal(deg[0]), "b", part.Decimal(deg[1]))
	}
	return ""
}

func orUnknown(s string) string {
	if s == "" {
		return "unknown"
	}
	return s
}

// apart writes a value and its limit, with as many decimals as it takes to see
// on which side the value lies, but no more than three more.
func (x words) apart(v, limit float64, decimals int) (value, bound string) {
	value, bound = x.Number(v, decimals), x.Number(limit, decimals)
	for i := 1; i <= 3 && value == bound && v != limit; i++ {
		value, bound = x.Number(v, decimals+i), x.Number(limit, decimals+i)
	}
	return value, bound
}

// station says in words what a finding's Station says: "120 deg, left".
func (x words) station(s string) string {
	angle, side, ok := strings.Cut(s, " deg, ")
	if !ok {
		return s
	}
	return x.T("station", "angle", angle, "side", "@limb."+side)
}

func (x words) scoreSentence(o Outcome) string {
	n := 0
	for _, f := range o.Result.Findings {
		if f.Severity.Rank() > 0 {
			n++
		}
	}
	return x.T("why.score", "score", x.Number(o.Score, 0), "limit", x.Number(o.ScoreMost, 0), "n", strconv.Itoa(n))
}

// missing says what first kept the unit from being measured.
func (x words) missing(o Outcome) string {
	r := o.Result
	for _, p := range r.Pictures {
		if p.State == part.PictureOK {
			continue
		}
		for _, q := range p.Problems {
			if !q.Warn {
				return x.T("why.picture", "picture", x.picture(r, p.File), "problem", x.problem(q))
			}
		}
		return x.T("why.picture", "picture", x.picture(r, p.File), "problem", x.T("problem.other"))
	}
	if len(o.Missing) > 0 {
		return x.T("why.view", "view", "@view."+string(o.Missing[0]))
	}
	for _, s := range r.Seam.Stations {
		if s.State != part.Measured {
			return x.T("why.station", "place", x.T("station", "angle", part.Decimal(s.AngleDeg), "side", "@limb."+string(s.Side)))
		}
	}
	if len(o.TooLittle) > 0 {
		return x.tooLittle(o.TooLittle[0])
	}
	if m := r.Screen; o.Waviness && m != nil {
		if m.SlopeMRad == nil {
			return x.T("why.waviness")
		}
		return x.T("why.waviness_bound", "value", x.Number(*m.SlopeMRad, 1))
	}
	return x.T("why.unjudged")
}

// problem says what is wrong with a picture.
func (x words) problem(q part.Problem) string {
	key := "problem." + q.Name
	if !x.Has(key) {
		key = "problem.other"
	}
	return x.T(key)
}

// retake says what to do about what could not be measured.
func (x words) retake(o Outcome) string {
	for _, p := range o.Result.Pictures {
		for _, q := range p.Problems {
			if key := "retake." + q.Name; !q.Warn && p.State != part.PictureOK && x.Has(key) {
				return x.T(key)
			}
		}
	}
	unmeasured := func(s part.Station) bool { return s.State != part.Measured }
	if len(o.TooLittle) > 0 && len(o.Missing) == 0 && !slices.ContainsFunc(o.Result.Seam.Stations, unmeasured) {
		if o.TooLittle[0].Unsearched() {
			return x.T("retake.by_eye")
		}
		return x.T("retake.looked")
	}
	if m := o.Result.Screen; o.Waviness && m != nil && m.SlopeMRad != nil && len(o.Missing) == 0 && !slices.ContainsFunc(o.Result.Seam.Stations, unmeasured) {
		return x.T("retake.waviness")
	}
	return x.T("retake.other")
}

// remedy says what to do about a unit.
func (x words) remedy(a *Answer) string {
	r := a.Outcome.Result
	switch {
	case r.Verdict == part.Pass:
		return x.T("remedy.pass." + string(r.Stage))
	case r.Verdict == part.NotMeasured && a.Outcome.Barred != nil:
		return x.T("remedy.barred")
	case r.Verdict == part.NotMeasured:
		return x.retake(a.Outcome)
	}
	f, _, ok := shown(a.Outcome)
	if !ok {
		return x.T("remedy.look")
	}
	return x.SayOr(f.AdvicePhrase, f.Advice)
}

// picture names a picture: "edge 120°", "face, raking light".
func (x words) picture(r *part.Result, file string) string {
	for _, s := range r.Seam.Stations {
		if s.Image == file {
			return x.shot(part.Edge, part.NoLight, s.AngleDeg)
		}
	}
	for _, p := range r.Pictures {
		if p.File == file && slices.Contains(part.Views, p.View) && p.View != part.Edge {
			return x.shot(p.View, p.Light, p.AngleDeg)
		}
	}
	if file == part.GlossMap {
		return x.T("shot.gloss")
	}
	return file
}

// shot names a shot; a shell at turn 0 without its turn.
func (x words) shot(v part.View, l part.Light, angleDeg float64) string {
	switch {
	case v == part.Edge:
		return x.T("shot.edge", "angle", part.Decimal(angleDeg))
	case l == part.NoLight:
		return x.T("view." + string(v))
	case v == part.Shell:
		return x.T("shot.turn", "view", "@view."+string(v), "angle", part.Decimal(part.Turn(angleDeg)), "light", "@light."+string(l))
	}
	return x.T("shot.light", "view", "@view."+string(v), "light", "@light."+string(l))
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
	if f.Station != "" {
		where = x.station(f.Station)
	}
	if size == "" {
		return x.T("finding.no_size", "kind", "@kind."+string(f.Kind), "where", where)
	}
	return x.T("finding.size", "kind", "@kind."+string(f.Kind), "size", size, "where", where)
}

// Shown is the finding that the answer is about: its picture is the one to
// show. False where there is none.
func (o Outcome) Shown() (part.Finding, bool) {
	f, _, ok := shown(o)
	return f, ok
}

// WorstFirst lists the findings that count, the one to show first.
func (o Outcome) WorstFirst() []part.Finding {
	first, has := o.Shown()
	var out []part.Finding
	if has {
		out = append(out, first)
	}
	for i, f := range o.Result.Findings { // sorted: worst first
		if i < len(o.Causes) && !o.Causes[i].Doubted && f.Severity != part.None && !(has && f.Number == first.Number) {
			out = append(out, f)
		}
	}
	return out
}
