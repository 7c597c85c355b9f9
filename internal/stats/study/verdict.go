package study

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// Grade is how good a gauge is for what it is asked.
type Grade string

// The grades, best first. Bars of a gauge's variation: AIAG MSA, 4th ed., II-D.
const (
	GoodGauge   Grade = "good"
	Conditional Grade = "conditional"
	NotGood     Grade = "not good enough"
	Undecided   Grade = "not told"
)

// The bars: the gauge's share of a variation or of the tolerance, and the
// number of categories that a gauge should tell apart.
const (
	GoodShare   = 0.10
	PoorShare   = 0.30
	EnoughNDC   = 5
	manyZero    = 0.25 // share of ranges that are 0 (AIAG MSA, II-D; from memory)
	enoughCells = 15   // parts times appraisers (AIAG MSA; from memory)
)

// ShareGrade grades the gauge's share of the study variation or of the tolerance.
func ShareGrade(share float64) Grade {
	switch {
	case math.IsNaN(share):
		return Undecided
	case share < GoodShare:
		return GoodGauge
	case share <= PoorShare:
		return Conditional
	}
	return NotGood
}

// Verdict is a grade with its reasons and with what a reader must know.
type Verdict struct {
	Grade             Grade
	Line              part.Phrase
	Reasons, Warnings []part.Phrase
}

// Verdict grades a gauge by the worse of its shares of study variation and of
// tolerance, as far as both are known, and by its number of categories: below
// five it is not better than conditional.
func (g Gauge) Verdict(r RangeStudy) Verdict {
	v := Verdict{Grade: Undecided}
	rr := g.Component(GaugeRR)
	study, tolerance := ShareGrade(rr.Study.Value), ShareGrade(rr.Tolerance.Value)
	if study != Undecided {
		v.Grade = study
		v.Reasons = append(v.Reasons, part.Say("study.gauge.share", "share", percent(rr.Study.Value), "grade", gradeWord(study)))
	}
	if tolerance != Undecided {
		v.Grade = worse(v.Grade, tolerance)
		v.Reasons = append(v.Reasons, part.Say("study.gauge.tolerance", "sds", fmt.Sprintf("%g", g.Options.SDs),
			"share", percent(rr.Tolerance.Value), "grade", gradeWord(tolerance)))
	}
	if g.NDC >= 0 {
		v.Reasons = append(v.Reasons, part.Say("study.gauge.categories", "n", strconv.Itoa(g.NDC), "want", strconv.Itoa(EnoughNDC)))
		if g.NDC < EnoughNDC && v.Grade == GoodGauge {
			v.Grade = Conditional
		}
	}
	v.Line = g.line(v.Grade)
	v.Warnings = g.warnings(r)
	return v
}

func gradeWord(g Grade) string { return lang.Word("study.grade.", string(g)) }

func worse(a, b Grade) Grade {
	order := map[Grade]int{Undecided: 0, GoodGauge: 1, Conditional: 2, NotGood: 3}
	if order[b] > order[a] {
		return b
	}
	return a
}

func (g Gauge) line(v Grade) part.Phrase {
	switch v {
	case GoodGauge:
		return part.Say("study.line.good")
	case Conditional:
		return part.Say("study.line.conditional")
	case NotGood:
		return part.Say("study.line.not_good")
	}
	return part.Say("study.line.not_told")
}

// warnings say what the numbers rest on.
func (g Gauge) warnings(r RangeStudy) []part.Phrase {
	var w []part.Phrase
	add := func(p part.Phrase) { w = append(w, p) }
	if g.Appraisers == 1 {
		add(part.Say("study.warn.one_appraiser"))
	}
	if g.Parts == 1 {
		add(part.Say("study.warn.one_part"))
	}
	for _, n := range []ComponentName{ByAppraiser, ByInteraction, PartToPart} {
		if c := g.Component(n); c.Raw < 0 {
			add(part.Say("study.warn.negative", "component", lang.Word("study.component.", string(n)), "variance",
				fmt.Sprintf("%.3g", c.Raw)))
		}
	}
	if g.zeroRepeats {
		add(part.Say("study.warn.coarse"))
	} else if r.ZeroRanges > manyZero {
		add(part.Say("study.warn.equal_cells", "share", percent(r.ZeroRanges)))
	}
	if len(r.High) > 0 {
		var s []part.Phrase
		for _, c := range r.High {
			s = append(s, part.Say("study.cell", "part", c.Part, "appraiser", c.Appraiser))
		}
		add(part.Say("study.warn.wide_cells", "limit", fmt.Sprintf("%.4g", r.UpperRange)).With("cells", s...))
	}
	if g.Parts > 1 && g.Appraisers > 1 && g.Parts*g.Appraisers <= enoughCells {
		add(part.Say("study.warn.small", "parts", strconv.Itoa(g.Parts), "appraisers", strconv.Itoa(g.Appraisers),
			"cells", strconv.Itoa(enoughCells)))
	}
	if s := g.Component(GaugeRR).Study; ShareGrade(s.Lower) != ShareGrade(s.Upper) && !math.IsNaN(s.Lower) {
		add(part.Say("study.warn.unsure", "level", percent(g.Options.Level), "lower", percent(s.Lower), "upper", percent(s.Upper)))
	}
	return w
}

func percent(share float64) string {
	switch {
	case math.IsNaN(share):
		return "@not_measured"
	case share >= 9.995:
		return fmt.Sprintf("%.3g %%", 100*share)
	}
	return strings.TrimSuffix(fmt.Sprintf("%.1f", 100*share), ".0") + " %"
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
