package grade

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"finishbench/internal/part"
)

// maxAlike is how many findings of one sort get a sentence of their own; the
// others are counted.
const maxAlike = 3

// reasons says in plain sentences, worst first, why the verdict is what it is.
// A pass tells how much of the surface it rests on. The score and the moderate findings are told where they
// alone would not pass; a major finding needs no help. Where nothing else
// decides, what was not measured comes first.
func reasons(r *part.Result, l Limits, all []weighed, score float64, missing []string) []string {
	out := []string{}
	if r.Verdict == part.Pass {
		return append(out, restsOn(r)...)
	}
	if r.Verdict == part.NotMeasured {
		out = append(out, missing...)
	}
	least := part.Major
	over := mild(all) > l.ScoreLimit
	if over {
		least = part.Moderate
	}
	out = append(out, severeSentences(r, all, least)...)
	if over {
		out = append(out, scoreSentence(all, score, l.ScoreLimit))
	}
	if r.Verdict != part.NotMeasured {
		out = append(out, missing...)
	}
	return out
}

// restsOn says which share of the surfaces a pass rests on.
func restsOn(r *part.Result) []string {
	if s := r.LookedAtSentences(); len(s) > 0 {
		return s
	}
	return []string{"No surface was looked at: this rests on the seam alone"}
}

// mild is the demerits of what is less than major.
func mild(all []weighed) float64 {
	sum := 0.0
	for _, w := range all {
		if w.Severity.Rank() < part.Major.Rank() {
			sum += Demerits(w.Severity)
		}
	}
	return sum
}

// severeSentences has the findings of at least this severity, worst first; of
// many alike only the first few, then how many more.
func severeSentences(r *part.Result, all []weighed, least part.Severity) []string {
	st := r.Stage
	var list []weighed
	for _, w := range all {
		if w.Severity.Rank() >= least.Rank() {
			list = append(list, w)
		}
	}
	sort.SliceStable(list, func(i, j int) bool {
		a, b := list[i], list[j]
		if x, y := a.Severity.Rank(), b.Severity.Rank(); x != y {
			return x > y
		}
		if a.mends != b.mends {
			return b.mends
		}
		return a.excess() > b.excess()
	})
	type group struct {
		head, tail []weighed
	}
	var order []string
	groups := map[string]*group{}
	for _, w := range list {
		key := fmt.Sprint(w.Severity, w.mends, w.Kind, w.measure, w.Zone)
		if w.seam != nil {
			key = "seam" // one sentence, in the worst one's place
		} else if w.Kind == part.Gap || w.Kind == part.Bead {
			key = string(w.Kind)
		}
		g := groups[key]
		if g == nil {
			g = &group{}
			groups[key] = g
			order = append(order, key)
		}
		if len(g.head) < maxAlike {
			g.head = append(g.head, w)
		} else {
			g.tail = append(g.tail, w)
		}
	}
	var out []string
	for _, key := range order {
		g := groups[key]
		if c := g.head[0].seam; c != nil {
			var steps []string
			for _, o := range []*part.Over{c.Proud, c.Recessed} {
				if i := slices.IndexFunc(all, func(w weighed) bool { return o != nil && w.Kind == part.Step && w.Station == o.Station }); i >= 0 {
					steps = append(steps, all[i].sentence(st))
				}
			}
			out = append(out, causeSentence(c, steps))
			continue
		}
		if k := g.head[0].Kind; (k == part.Gap || k == part.Bead) && len(g.head) > 1 {
			out = append(out, g.head[0].sentence(st)+extent(r, append(g.head, g.tail...)))
			continue
		}
		for _, w := range g.head {
			out = append(out, w.sentence(st))
		}
		switch n := len(g.tail); {
		case n == 1:
			out = append(out, g.tail[0].sentence(st))
		case n > 1:
			out = append(out, more(g.tail))
		}
	}
	return out
}

// excess is how far over its bound a finding is, as a ratio; the larger the
// worse. A size that is not known comes first.
func (w weighed) excess() float64 {
	switch {
	case math.IsNaN(w.class.bound):
		return math.Inf(1)
	case w.class.bound > 0:
		return w.value / w.class.bound
	}
	return w.value
}

// sentence is one reason: "proud by 92 um at 120 deg, left (limit 50 um)".
func (w weighed) sentence(st part.Stage) string {
	var s string
	switch w.Kind {
	case part.Step, part.Gap, part.Bead:
		s = w.seamSentence()
	default:
		s = w.surfaceSentence()
		if w.measure == SlopeMRad {
			s = w.slopeSentence()
		}
	}
	if !w.mends {
		s += "; rework cannot mend it " + stageWord(st)
	}
	return s
}

func (w weighed) seamSentence() string {
	limit := w.class.bound
	told := fmt.Sprintf("%s over %s um", w.class.sev, short(limit))
	if w.Severity.Rank() >= part.Major.Rank() {
		limit = w.classes.limit()
		told = fmt.Sprintf("limit %s um", short(limit))
		if w.class.sev == part.Critical && w.class.bound != limit {
			told += fmt.Sprintf(", critical over %s um", short(w.class.bound))
		}
	}
	s := fmt.Sprintf("%s at %s (%s", seamWord(w.measure, w.value, limit), w.Station, told)
	if nearLimit(w.value, limit, w.u, w.k) || nearLimit(w.value, w.class.bound, w.u, w.k) {
		s += fmt.Sprintf("; within the uncertainty of the limit, u = %s um", short1(*w.u))
	}
	return s + ")"
}

// seamWord is "proud by 92 um", with a decimal where the rounded number would
// look like the limit.
func seamWord(measure string, v, limit float64) string {
	n := apart(v, limit, 0)
	switch measure {
	case ProudUM:
		return "proud by " + n + " um"
	case RecessedUM:
		return "recessed by " + n + " um"
	case GapUM:
		return "gap " + n + " um deep"
	}
	return "glue bead " + n + " um high"
}

func (w weighed) surfaceSentence() string {
	where := kindWord(w.Kind) + " " + zoneWord(w.Zone)
	if w.measure == "" {
		return where + " (size not measured, so taken as major)"
	}
	size, from := "", ""
	switch w.measure {
	case Lines:
		size, from = short(w.value)+" lines", short(w.class.bound)
	case AreaMM2:
		size, from = apart(w.value, w.class.bound, 2)+" mm2", fixed(w.class.bound, 2)+" mm2"
	default:
		size, from = apart(w.value, w.class.bound, 2)+" mm", fixed(w.class.bound, 2)+" mm"
	}
	told := fmt.Sprintf("%s from %s", w.class.sev, from)
	if w.cluster > 0 {
		told = fmt.Sprintf("%s: %d lie within %s mm", w.Severity, w.cluster, short(w.within))
	}
	return fmt.Sprintf("%s of %s %s (%s)", kindWord(w.Kind), size, zoneWord(w.Zone), told)
}

// more counts what is left of many alike.
func more(tail []weighed) string {
	w := tail[0]
	what := kindWord(w.Kind) + " " + zoneWord(w.Zone)
	switch w.Kind {
	case part.Step, part.Gap, part.Bead:
		what = map[string]string{ProudUM: "proud", RecessedUM: "recessed", GapUM: "gap", BeadUM: "glue bead"}[w.measure]
		return fmt.Sprintf("and %d more stations with the same finding (%s, %s)", len(tail), what, w.Severity)
	}
	return fmt.Sprintf("and %d more of the same sort (%s, %s)", len(tail), what, w.Severity)
}

// scoreSentence says what the score is made of.
func scoreSentence(all []weighed, score, limit float64) string {
	count := map[part.Severity]int{}
	for _, w := range all {
		count[w.Severity]++
	}
	var of []string
	for i := len(part.Severities) - 1; i > 0; i-- {
		if s := part.Severities[i]; count[s] > 0 {
			of = append(of, fmt.Sprintf("%d %s", count[s], s))
		}
	}
	return fmt.Sprintf("score %s is over its limit of %s (%s)", short(score), short(limit), strings.Join(of, ", "))
}

func kindWord(k part.Kind) string {
	switch k {
	case part.Sanding:
		return "sanding marks"
	case part.Bead:
		return "glue bead"
	}
	return strings.ReplaceAll(string(k), "_", " ")
}

func zoneWord(z part.Zone) string {
	switch z {
	case part.ZoneSeam:
		return "at the seam"
	case "":
		return "in an unknown place"
	}
	return "on the " + string(z)
}

func stageWord(st part.Stage) string {
	switch st {
	case part.Cured:
		return "once cured"
	case part.Wet:
		return "with the lacquer on"
	}
	return "at this stage"
}

// short prints a number without needless digits.
func short(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// short1 prints one decimal.
func short1(v float64) string { return fixed(v, 1) }

func fixed(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }

// apart prints v with at least so many decimals, and with up to three more where
// it would otherwise read as on the other side of the bound, or on it.
func apart(v, bound float64, decimals int) string {
	s := fixed(v, decimals)
	for i := 1; i <= 3; i++ {
		printed, _ := strconv.ParseFloat(s, 64)
		if v == bound || math.IsNaN(bound) || (printed > bound) == (v > bound) && printed != bound {
			break
		}
		s = fixed(v, decimals+i)
	}
	return s
}
