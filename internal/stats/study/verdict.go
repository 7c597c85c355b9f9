package study

import (
	"fmt"
	"math"
	"strings"
)

// Grade is how good a gauge is for what it is asked.
type Grade string

// The grades, best first. Bars of a gauge's variation: AIAG MSA, 4th ed., II-D.
const (
	GoodGauge   Grade = "good"
	Conditional Grade = "conditional"
	NotGood     Grade = "not good enough"
	NotTold     Grade = "not told"
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
		return NotTold
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
	Line              string
	Reasons, Warnings []string
}

// Verdict grades a gauge by the worse of its shares of study variation and of
// tolerance, as far as both are known, and by its number of categories: below
// five it is not better than conditional.
func (g Gauge) Verdict(r RangeStudy) Verdict {
	v := Verdict{Grade: NotTold}
	rr := g.Component(GaugeRR)
	study, tolerance := ShareGrade(rr.Study.Value), ShareGrade(rr.Tolerance.Value)
	if study != NotTold {
		v.Grade = study
		v.Reasons = append(v.Reasons, fmt.Sprintf("the gauge makes %s of the study's variation: %s (below 10 %% is good, above 30 %% is not good enough)", percent(rr.Study.Value), study))
	}
	if tolerance != NotTold {
		v.Grade = worse(v.Grade, tolerance)
		v.Reasons = append(v.Reasons, fmt.Sprintf("%g of the gauge's standard deviations fill %s of the tolerance: %s", g.Options.SDs, percent(rr.Tolerance.Value), tolerance))
	}
	if g.NDC >= 0 {
		v.Reasons = append(v.Reasons, fmt.Sprintf("it tells %s apart; %d or more are wanted", count(g.NDC, "category", "categories"), EnoughNDC))
		if g.NDC < EnoughNDC && v.Grade == GoodGauge {
			v.Grade = Conditional
		}
	}
	v.Line = g.line(v.Grade)
	v.Warnings = g.warnings(r)
	return v
}

func worse(a, b Grade) Grade {
	order := map[Grade]int{NotTold: 0, GoodGauge: 1, Conditional: 2, NotGood: 3}
	if order[b] > order[a] {
		return b
	}
	return a
}

func (g Gauge) line(v Grade) string {
	switch v {
	case GoodGauge:
		return "The gauge is good for this use."
	case Conditional:
		return "The gauge may do, depending on what a wrong answer costs and what a better gauge would."
	case NotGood:
		return "The gauge is not good enough: find what makes it vary before it judges anything."
	}
	return "The study does not tell how good the gauge is: it has one part and no tolerance was given."
}

// warnings say what the numbers rest on.
func (g Gauge) warnings(r RangeStudy) []string {
	var w []string
	add := func(f string, a ...any) { w = append(w, fmt.Sprintf(f, a...)) }
	if g.Appraisers == 1 {
		add("one appraiser: repeatability only; what people or set-ups add is not measured and not in any figure here")
	}
	if g.Parts == 1 {
		add("one part: the parts' variation is not measured, so there is no share of study variation and no number of categories")
	}
	for _, n := range []ComponentName{ByAppraiser, ByInteraction, PartToPart} {
		if c := g.Component(n); c.Raw < 0 {
			add("the variance of %s comes out below 0 (%.3g) and is taken as 0", n, c.Raw)
		}
	}
	if g.zeroRepeats {
		add("repeats never differ: the readings are too coarse to show the gauge's scatter, so its share is not to be trusted; record more digits")
	} else if r.ZeroRanges > manyZero {
		add("%s of the cells show no difference between repeats: the readings may be too coarse to show the gauge's scatter", percent(r.ZeroRanges))
	}
	if len(r.High) > 0 {
		var s []string
		for _, c := range r.High {
			s = append(s, fmt.Sprintf("part %s by %s", c.Part, c.Appraiser))
		}
		add("repeats differ more than chance explains (range above %.4g): %s; look for the cause, then measure these again", r.UpperRange, strings.Join(s, ", "))
	}
	if g.Parts > 1 && g.Appraisers > 1 && g.Parts*g.Appraisers <= enoughCells {
		add("%d parts by %d appraisers is a small study: more than %d cells are wanted", g.Parts, g.Appraisers, enoughCells)
	}
	if s := g.Component(GaugeRR).Study; ShareGrade(s.Lower) != ShareGrade(s.Upper) && !math.IsNaN(s.Lower) {
		add("the study is too small to be sure of the word: with %s confidence the gauge's share lies between %s and %s", percent(g.Options.Level), percent(s.Lower), percent(s.Upper))
	}
	return w
}

func percent(share float64) string {
	switch {
	case math.IsNaN(share):
		return "not measured"
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
