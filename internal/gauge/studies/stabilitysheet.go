package studies

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"time"

	"finishbench/internal/charts"
	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/plots"
	"finishbench/internal/report"
	"finishbench/internal/study"
)

// stabilitySheet makes the page of a check piece's log.
type stabilitySheet struct {
	name, unit string
	s          *study.Stability
	v          study.Verdict
}

func (s stabilitySheet) sheet() report.Sheet {
	facts := []report.Fact{{Name: "checks", Value: fmt.Sprint(len(s.s.Checks))}}
	if n := len(s.s.Checks); n > 0 {
		last := s.s.Checks[n-1]
		facts = append(facts, report.Fact{Name: "last check", Value: cli.JoinUnit(cli.Shown4(last.Level), s.unit, " ") + ", " + cli.ShownTime(last.Time)})
	}
	if l := s.s.Limits.Level; part.Num(l.Centre) != nil {
		spread := "standard deviation within a check"
		if s.s.Kind == charts.Individuals {
			spread = "standard deviation from check to check"
		}
		facts = append(facts,
			report.Fact{Name: "limits", Value: cli.JoinUnit(fmt.Sprintf("%s to %s about %s", cli.Shown4(l.Lower), cli.Shown4(l.Upper), cli.Shown4(l.Centre)), s.unit, " ") + s.from()},
			report.Fact{Name: spread, Value: cli.JoinUnit(cli.Shown4(s.s.Limits.SigmaWithin), s.unit, " ")})
	}
	return report.Sheet{
		Title: "Stability of the gauge: check piece", Subject: filepath.Base(s.name), Rating: ratingOf(s.v.Grade), Word: string(s.s.State), Line: s.v.Line,
		Facts: facts, Reasons: s.v.Reasons, Warnings: s.v.Warnings,
		Sections: []report.SheetSection{s.chart(), s.out(), s.actions(), s.methods()},
	}
}

// from tells what the limits rest on.
func (s stabilitySheet) from() string {
	switch {
	case s.s.Given:
		return " (given)"
	case s.s.Provisional:
		return " (provisional)"
	}
	return fmt.Sprintf(" (from %d checks)", s.s.Options.Baseline)
}

func (s stabilitySheet) chart() report.SheetSection {
	levels, spreads := "Values in the order of time.", "Moving ranges: how far a value is from the one before."
	switch s.s.Kind {
	case charts.MeansRanges:
		levels, spreads = "Means of the checks in the order of time.", "Ranges of the values of one check."
	case charts.MeansSDs:
		levels, spreads = "Means of the checks in the order of time.", "Standard deviations of the values of one check."
	}
	if s.s.From > 0 {
		levels += fmt.Sprintf(" Limits are for the checks since the new baseline at check %d.", s.s.From+1)
	}
	return report.SheetSection{Heading: "Charts", Figures: cli.Figures(
		cli.Figure(s.levelChart, "Control chart of the check piece's values over time.", levels),
		cli.Figure(s.spreadChart, "Control chart of the spread within or between checks.", spreads))}
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
	return plots.Control(plots.Options{X: "check", Y: cli.JoinUnit("value", s.unit, " / ")}, plots.Chart{Values: v, Labels: labels, Centre: l.Centre, Lower: l.Lower, Upper: l.Upper, Out: out})
}

func (s stabilitySheet) spreadChart() ([]byte, error) {
	if part.Num(s.s.Limits.Spread.Centre) == nil {
		return nil, plots.ErrNothing
	}
	v, labels := s.series(func(c study.Check) float64 { return c.Spread })
	name := map[charts.Kind]string{charts.Individuals: "moving range", charts.MeansRanges: "range", charts.MeansSDs: "standard deviation"}[s.s.Kind]
	if s.s.Kind == charts.Individuals && len(v) > 0 {
		v, labels = v[1:], labels[1:] // the first has no check before it
	}
	l := s.s.Limits.Spread
	return plots.Control(plots.Options{X: "check", Y: cli.JoinUnit(name, s.unit, " / "), HeightMM: 70}, plots.Chart{Values: v, Labels: labels, Centre: l.Centre, Lower: math.NaN(), Upper: l.Upper})
}

// out lists the checks that stand out.
func (s stabilitySheet) out() report.SheetSection {
	t := report.SheetTable{Head: []string{"line", "time", "value", "why"}, Numeric: []bool{true, false, true, false}}
	for i, c := range s.s.Checks {
		if len(c.Signals) > 0 {
			t.Rows = append(t.Rows, []string{fmt.Sprint(c.Line), cli.ShownTime(c.Time), cli.Shown4(c.Level), strings.Join(c.Signals, "; ")})
			t.Marked = append(t.Marked, s.s.Since >= 0 && i >= s.s.Since)
		}
	}
	if len(t.Rows) == 0 {
		return report.SheetSection{Heading: "Checks out of limits", Text: []string{"None."}}
	}
	return report.SheetSection{Heading: "Checks out of limits", Tables: []report.SheetTable{t}}
}

func (s stabilitySheet) actions() report.SheetSection {
	t := report.SheetTable{Head: []string{"line", "time", "event", "who, and what was done"}, Numeric: []bool{true, false, false, false}}
	for _, a := range s.s.Actions {
		t.Rows = append(t.Rows, []string{fmt.Sprint(a.Line), cli.ShownTime(a.Time), strings.ReplaceAll(string(a.Event), "_", " "), a.Note})
	}
	if len(t.Rows) == 0 {
		return report.SheetSection{Heading: "Dealt with", Text: []string{"Nothing so far."}}
	}
	return report.SheetSection{Heading: "Dealt with", Tables: []report.SheetTable{t}}
}

func (s stabilitySheet) methods() report.SheetSection {
	rules, _ := charts.Rules(s.s.Options.Rules)
	var names []string
	for _, r := range rules {
		names = append(names, r.Text)
	}
	kind := string(s.s.Kind)
	if kind == "" {
		kind = "not yet known"
	}
	return report.SheetSection{Heading: "How this was computed", Text: []string{
		fmt.Sprintf("Chart of %s, limits three standard deviations from the centre (NIST/SEMATECH e-Handbook 6.3.2; constants computed from their definitions).", kind),
		"Stands out: " + strings.Join(names, "; ") + " (Western Electric 1956; Nelson 1984).",
		"A check out of limits stays so until someone says what was done; runs then start afresh, the limits stay.",
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
}

type checkJSON struct {
	Line    int       `json:"line"`
	Time    time.Time `json:"time"`
	Value   *float64  `json:"value,omitempty"`
	Spread  *float64  `json:"spread,omitempty"`
	Signals []string  `json:"signals,omitempty"`
}

func (s stabilitySheet) numbers() stabilityJSON {
	l, sp := s.s.Limits.Level, s.s.Limits.Spread
	j := stabilityJSON{Log: s.name, Unit: s.unit, State: s.s.State, Chart: s.s.Kind, Provisional: s.s.Provisional,
		Centre: part.Num(l.Centre), Lower: part.Num(l.Lower), Upper: part.Num(l.Upper), Sigma: part.Num(s.s.Limits.SigmaWithin), UpperSpread: part.Num(sp.Upper),
		Checks: []checkJSON{}, Line: s.v.Line, Warnings: s.v.Warnings}
	cli.NotNil(&j.Warnings)
	for _, c := range s.s.Checks {
		j.Checks = append(j.Checks, checkJSON{c.Line, c.Time, part.Num(c.Level), part.Num(c.Spread), c.Signals})
	}
	return j
}
