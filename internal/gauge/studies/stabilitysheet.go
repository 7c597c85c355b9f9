package studies

import (
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
	"finishbench/internal/stats/charts"
	"finishbench/internal/stats/study"
)

// stabilitySheet makes the page of a check piece's log.
type stabilitySheet struct {
	x          *lang.Lang
	name, unit string
	s          *study.Stability
	v          study.Verdict
}

func (s stabilitySheet) sheet() report.Sheet {
	facts := []report.Fact{{Name: s.x.T("study.check.fact.checks"), Value: fmt.Sprint(len(s.s.Checks))}}
	if n := len(s.s.Checks); n > 0 {
		last := s.s.Checks[n-1]
		facts = append(facts, report.Fact{Name: s.x.T("study.check.fact.last"),
			Value: cli.JoinUnit(s.x.Shown4(last.Level), s.unit, " ") + ", " + cli.ShownTime(last.Time)})
	}
	if l := s.s.Limits.Level; part.Num(l.Centre) != nil {
		spread := s.x.T("study.check.fact.sd_within")
		if s.s.Kind == charts.Individuals {
			spread = s.x.T("study.check.fact.sd_between")
		}
		facts = append(facts,
			report.Fact{Name: s.x.T("study.check.fact.limits"), Value: cli.JoinUnit(s.x.T("study.check.limits", "lower",
				s.x.Shown4(l.Lower), "upper", s.x.Shown4(l.Upper), "centre", s.x.Shown4(l.Centre)), s.unit, " ") + s.from()},
			report.Fact{Name: spread, Value: cli.JoinUnit(s.x.Shown4(s.s.Limits.SigmaWithin), s.unit, " ")})
	}
	return report.Sheet{
		Lang: s.x, Title: s.x.T("study.title.stability"), Subject: filepath.Base(s.name), Rating: ratingOf(s.v.Grade),
		Word: s.x.Named("study.state.", string(s.s.State)), Line: s.x.Say(&s.v.Line),
		Facts: facts, Reasons: s.x.SayAll(s.v.Reasons), Warnings: s.x.SayAll(s.v.Warnings),
		Sections: []report.SheetSection{s.chart(), s.out(), s.actions(), s.methods()},
	}
}

// from tells what the limits rest on.
func (s stabilitySheet) from() string {
	switch {
	case s.s.Given:
		return s.x.T("study.check.from.given")
	case s.s.Provisional:
		return s.x.T("study.check.from.provisional")
	}
	return s.x.T("study.check.from.checks", "of", strconv.Itoa(s.s.Options.Baseline))
}

func (s stabilitySheet) chart() report.SheetSection {
	levels, spreads := s.x.T("study.check.levels.values"), s.x.T("study.check.spreads.moving")
	switch s.s.Kind {
	case charts.MeansRanges:
		levels, spreads = s.x.T("study.check.levels.means"), s.x.T("study.check.spreads.ranges")
	case charts.MeansSDs:
		levels, spreads = s.x.T("study.check.levels.means"), s.x.T("study.check.spreads.sds")
	}
	if s.s.From > 0 {
		levels += s.x.T("study.check.since", "from", strconv.Itoa(s.s.From+1))
	}
	return report.SheetSection{Heading: s.x.T("study.check.charts"), Figures: cli.Figures(
		cli.Figure(s.levelChart, s.x.T("study.check.chart.levels"), levels),
		cli.Figure(s.spreadChart, s.x.T("study.check.chart.spreads"), spreads))}
}

func (s stabilitySheet) series(value func(study.Check) float64) (v []float64, labels []string) {
	for i, c := range s.s.Checks {
		if i >= s.s.From {
			v, labels = append(v, value(c)), append(labels, c.Time.Format("01-02"))
		}
	}
	return v, labels
}

func (s stabilitySheet) levelChart() ([]byte, error) {
	v, labels := s.series(func(c study.Check) float64 { return c.Level })
	var out []bool
	for _, c := range s.s.Checks[s.s.From:] {
		out = append(out, len(c.Signals) > 0)
	}
	l := s.s.Limits.Level
	return plots.Control(plots.Options{X: s.x.T("study.check.axis"), Y: cli.JoinUnit(s.x.T("study.value"), s.unit, " / "),
		Missing: s.x.T("not_measured")},
		plots.Chart{Names: cli.ChartNames(s.x), Values: v, Labels: labels, Centre: l.Centre, Lower: l.Lower, Upper: l.Upper, Out: out})
}

func (s stabilitySheet) spreadChart() ([]byte, error) {
	if part.Num(s.s.Limits.Spread.Centre) == nil {
		return nil, plots.ErrNothing
	}
	v, labels := s.series(func(c study.Check) float64 { return c.Spread })
	name := map[charts.Kind]string{charts.Individuals: s.x.T("study.check.axis.moving"), charts.MeansRanges: s.x.T("study.axis.range"),
		charts.MeansSDs: s.x.T("study.sd_long")}[s.s.Kind]
	if s.s.Kind == charts.Individuals && len(v) > 0 {
		v, labels = v[1:], labels[1:] // the first has no check before it
	}
	l := s.s.Limits.Spread
	return plots.Control(plots.Options{X: s.x.T("study.check.axis"), Y: cli.JoinUnit(name, s.unit, " / "), HeightMM: 70},
		plots.Chart{Names: cli.ChartNames(s.x), Values: v, Labels: labels, Centre: l.Centre, Lower: math.NaN(), Upper: l.Upper})
}

// out lists the checks that stand out.
func (s stabilitySheet) out() report.SheetSection {
	t := report.SheetTable{Head: []string{s.x.T("study.check.line"), s.x.T("study.check.time"), s.x.T("study.value"),
		s.x.T("study.check.why")}, Numeric: []bool{true, false, true, false}}
	for i, c := range s.s.Checks {
		if len(c.Signals) > 0 {
			t.Rows = append(t.Rows, []string{fmt.Sprint(c.Line), cli.ShownTime(c.Time), s.x.Shown4(c.Level),
				strings.Join(s.x.SayAll(c.Signals), s.x.T("join.signals"))})
			t.Marked = append(t.Marked, s.s.Since >= 0 && i >= s.s.Since)
		}
	}
	if len(t.Rows) == 0 {
		return report.SheetSection{Heading: s.x.T("study.check.out_head"), Text: []string{s.x.T("study.check.none")}}
	}
	return report.SheetSection{Heading: s.x.T("study.check.out_head"), Tables: []report.SheetTable{t}}
}

func (s stabilitySheet) actions() report.SheetSection {
	t := report.SheetTable{Head: []string{s.x.T("study.check.line"), s.x.T("study.check.time"), s.x.T("study.check.event"),
		s.x.T("study.check.who")}, Numeric: []bool{true, false, false, false}}
	for _, a := range s.s.Actions {
		t.Rows = append(t.Rows, []string{fmt.Sprint(a.Line), cli.ShownTime(a.Time), s.x.Named("study.event.", string(a.Event)), a.Note})
	}
	if len(t.Rows) == 0 {
		return report.SheetSection{Heading: s.x.T("study.check.dealt"), Text: []string{s.x.T("study.check.nothing")}}
	}
	return report.SheetSection{Heading: s.x.T("study.check.dealt"), Tables: []report.SheetTable{t}}
}

func (s stabilitySheet) methods() report.SheetSection {
	rules, _ := charts.Rules(s.s.Options.Rules)
	var names []string
	for _, r := range rules {
		names = append(names, s.x.T("rule."+r.Name))
	}
	kind := s.x.Named("study.chart.", string(s.s.Kind))
	if s.s.Kind == "" {
		kind = s.x.T("study.check.kind_unknown")
	}
	return report.SheetSection{Heading: s.x.T("how.computed"), Text: []string{
		s.x.T("study.check.how.chart", "kind", kind),
		s.x.T("study.check.how.rules", "rules", strings.Join(names, s.x.T("join.signals"))),
		s.x.T("study.check.how.stays"),
	}}
}

// stabilityJSON are the numbers of a check piece's log.
type stabilityJSON struct {
	Log         string      `json:"log"`
	Unit        string      `json:"unit,omitempty"`
	State       study.State `json:"state"`
	Chart       charts.Kind `json:"chart,omitempty"`
	Provisional bool        `json:"provisional"`
	Centre      *float64    `json:"centre,omitempty"`
	Lower       *float64    `json:"lower,omitempty"`
	Upper       *float64    `json:"upper,omitempty"`
	Sigma       *float64    `json:"sigma_within,omitempty"`
	UpperSpread *float64    `json:"upper_spread,omitempty"`
	Checks      []checkJSON `json:"checks"`
	Line        string      `json:"sentence"`
	Warnings    []string    `json:"warnings"`

	LinePhrase     *part.Phrase  `json:"sentence_phrase,omitempty"` // to be told in any language
	WarningPhrases []part.Phrase `json:"warning_phrases,omitempty"`
}

type checkJSON struct {
	Line    int       `json:"line"`
	Time    time.Time `json:"time"`
	Value   *float64  `json:"value,omitempty"`
	Spread  *float64  `json:"spread,omitempty"`
	Signals []string  `json:"signals,omitempty"`

	SignalPhrases []part.Phrase `json:"signal_phrases,omitempty"`
}

func (s stabilitySheet) numbers() stabilityJSON {
	en := lang.English()
	l, sp := s.s.Limits.Level, s.s.Limits.Spread
	j := stabilityJSON{Log: s.name, Unit: s.unit, State: s.s.State, Chart: s.s.Kind, Provisional: s.s.Provisional,
		Centre: part.Num(l.Centre), Lower: part.Num(l.Lower), Upper: part.Num(l.Upper), Sigma: part.Num(s.s.Limits.SigmaWithin),
		UpperSpread: part.Num(sp.Upper),
		Checks:      []checkJSON{}, Line: en.Say(&s.v.Line), Warnings: en.SayAll(s.v.Warnings), LinePhrase: &s.v.Line,
		WarningPhrases: s.v.Warnings}
	cli.NotNil(&j.Warnings)
	for _, c := range s.s.Checks {
		j.Checks = append(j.Checks, checkJSON{c.Line, c.Time, part.Num(c.Level), part.Num(c.Spread), en.SayAll(c.Signals), c.Signals})
	}
	return j
}
