package grade

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// maxAlike is how many findings of one sort get a sentence of their own; the
// others are counted.
const maxAlike = 3

// reasons says in plain sentences, worst first, why the verdict is what it is.
// A pass tells how much of the surface it rests on. The score and the moderate findings are told where they
// alone would not pass; a major finding needs no help. Where nothing else
// decides, what was not measured comes first.
func reasons(r *part.Result, l Limits, all []weighed, score float64, missing []part.Phrase) []part.Phrase {
	out := []part.Phrase{}
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
func restsOn(r *part.Result) []part.Phrase {
	if s := r.LookedAtPhrases(); len(s) > 0 {
		return s
	}
	return []part.Phrase{part.Say("reason.seam_alone")}
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
func severeSentences(r *part.Result, all []weighed, least part.Severity) []part.Phrase {
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
	var out []part.Phrase
	for _, key := range order {
		g := groups[key]
		if c := g.head[0].seam; c != nil {
			var steps []part.Phrase
			for _, o := range []*part.Over{c.Proud, c.Recessed} {
				if i := slices.IndexFunc(all, func(w weighed) bool { return o != nil && w.Kind == part.Step && w.StepStation == o.Station }); i >= 0 {
					steps = append(steps, all[i].sentence(st))
				}
			}
			out = append(out, causeSentence(c, steps))
			continue
		}
		if k := g.head[0].Kind; (k == part.Gap || k == part.Bead) && len(g.head) > 1 {
			out = append(out, g.head[0].sentence(st).With("extent", extent(r, append(g.head, g.tail...))))
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
func (w weighed) sentence(st part.Stage) part.Phrase {
	var p part.Phrase
	switch {
	case w.Kind.AtSeam():
		p = w.seamSentence()
	case w.measure == SlopeMRad:
		p = w.slopeSentence()
	default:
		p = w.surfaceSentence()
	}
	if !w.mends {
		p = p.With("beyond", part.Say("reason.beyond."+stageWord(st)))
	}
	return p
}

func (w weighed) seamSentence() part.Phrase {
	limit := w.class.bound
	limitPhrase := part.Say("limit.over_um", "severity", severityWord(w.class.sev), "limit_um", short(limit))
	if w.Severity.Rank() >= part.Major.Rank() {
		limit = w.classes.limit()
		limitPhrase = part.Say("limit.um", "limit_um", short(limit))
		if w.class.sev == part.Critical && w.class.bound != limit {
			limitPhrase = part.Say("limit.critical_um", "limit_um", short(limit), "critical_um", short(w.class.bound))
		}
	}
	p := part.Say("reason.seam").With("what", seamWord(w.measure, w.value, limit)).With("place", at(w.StepStation)).With("limit", limitPhrase)
	if nearLimit(w.value, limit, w.u, w.k) || nearLimit(w.value, w.class.bound, w.u, w.k) {
		p = p.With("near", part.Say("limit.near_um", "u_um", short1(*w.u)))
	}
	return p
}

// seamWord is "proud by 92 um", with a decimal where the rounded number would
// look like the limit.
func seamWord(measure string, v, limit float64) part.Phrase {
	return part.Say("seam."+measure, "value_um", apart(v, limit, 0))
}

// at names a station, which is told as "120 deg, left".
func at(station string) part.Phrase {
	angle, side, ok := strings.Cut(station, " deg, ")
	if !ok {
		return part.Text(station)
	}
	return part.Say("seam.at", "angle_deg", angle, "side", lang.Word("limb.", side))
}

func (w weighed) surfaceSentence() part.Phrase {
	if w.measure == "" {
		return part.Say("reason.no_size", "kind", kindWord(w.Kind), "zone", zoneWord(w.Zone))
	}
	size, from, unit := apart(w.value, w.class.bound, 2), fixed(w.class.bound, 2), "mm"
	switch w.measure {
	case Lines:
		size, from, unit = short(w.value), short(w.class.bound), "lines"
	case AreaMM2:
		unit = "mm2"
	}
	limitPhrase := part.Say("limit.from."+unit, "severity", severityWord(w.class.sev), "from_"+unit, from)
	if w.cluster > 0 {
		limitPhrase = w.clusterWord()
	}
	return part.Say("reason.size."+unit, "kind", kindWord(w.Kind), "zone", zoneWord(w.Zone), "size_"+unit, size).With("limit", limitPhrase)
}

func (w weighed) clusterWord() part.Phrase {
	return part.Say("limit.cluster", "severity", severityWord(w.Severity), "n", strconv.Itoa(w.cluster), "within_mm", short(w.within))
}

// more counts what is left of many alike.
func more(tail []weighed) part.Phrase {
	w := tail[0]
	n, severity := strconv.Itoa(len(tail)), severityWord(w.Severity)
	if w.Kind.AtSeam() {
		return part.Say("reason.more_stations", "n", n, "what", "@seam.word."+w.measure, "severity", severity)
	}
	return part.Say("reason.more", "n", n, "kind", kindWord(w.Kind), "zone", zoneWord(w.Zone), "severity", severity)
}

// scoreSentence says what the score is made of.
func scoreSentence(all []weighed, score, limit float64) part.Phrase {
	count := map[part.Severity]int{}
	for _, w := range all {
		count[w.Severity]++
	}
	p := part.Say("reason.score", "score", short(score), "limit", short(limit))
	for i := len(part.Severities) - 1; i > 0; i-- {
		if s := part.Severities[i]; count[s] > 0 {
			p = p.With("counts", part.Say("reason.count", "n", strconv.Itoa(count[s]), "severity", severityWord(s)))
		}
	}
	return p
}

func kindWord(k part.Kind) string { return lang.Word("noun.", string(k)) }

func severityWord(s part.Severity) string { return lang.Word("severity.", string(s)) }

func zoneWord(z part.Zone) string {
	switch {
	case z == "":
		return "@lies.unknown"
	case slices.Contains(part.Zones, z):
		return lang.Word("lies.", string(z))
	}
	return "on the " + string(z)
}

// stageWord is the stage by which remedies and limits go; an unknown one has the words of none.
func stageWord(st part.Stage) string {
	if slices.Contains(part.Stages, st) {
		return string(st)
	}
	return string(part.Trim)
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
