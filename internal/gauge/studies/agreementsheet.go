package studies

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
	"finishbench/internal/stats/study"
)

// FitnessRating is the sign of a fitness.
var FitnessRating = map[study.Fitness]report.Rating{
	study.FitAcceptable: report.Good, study.FitMarginal: report.Fair, study.FitUnacceptable: report.Poor, study.FitUnknown: report.Unrated,
}

// agreementSheet is the page of a study of calls.
func agreementSheet(a study.Agreement, file string) (report.Sheet, error) {
	fit := a.Fitness()
	s := report.Sheet{
		Title: "Agreement of calls", Subject: filepath.Base(file), Rating: FitnessRating[fit], Word: string(fit), Line: agreementLine(a),
		Facts: []report.Fact{
			{Name: "Parts", Value: agreementParts(a)},
			{Name: "Appraisers", Value: strings.Join(a.Appraisers, ", ")},
			{Name: "Calls that mean good", Value: cli.Or(strings.Join(a.Good, ", "), "not known")},
			{Name: "Same call by all, every trial", Value: shareText(a.Between)},
			{Name: "Right call by all, every trial", Value: shareText(a.AllRight)},
		},
		Reasons: agreementReasons(a), Warnings: agreementWarnings(a),
	}
	if a.OverallErr == nil {
		s.Facts = append(s.Facts, report.Fact{Name: "Kappa of all calls (Fleiss)", Value: kappaText(a.Overall.Kappa)})
	}
	figures, err := agreementFigures(a)
	if err != nil {
		return s, err
	}
	s.Sections = []report.SheetSection{
		{Heading: "Each appraiser", Text: []string{confidenceText(a)}, Figures: figures, Tables: []report.SheetTable{judgesTable(a)}},
		{Heading: "Beyond chance", Text: kappaNotes(a), Tables: kappaTables(a)},
	}
	return s, nil
}

func agreementParts(a study.Agreement) string {
	if !a.HasReference {
		return fmt.Sprintf("%d, without a reference", len(a.Parts))
	}
	if len(a.Good) == 0 {
		return fmt.Sprint(len(a.Parts))
	}
	return fmt.Sprintf("%d: %d good, %d bad", len(a.Parts), a.GoodParts, a.BadParts)
}

func agreementLine(a study.Agreement) string {
	by := map[study.Fitness][]string{}
	for _, j := range a.Results {
		by[j.Fitness] = append(by[j.Fitness], j.Appraiser)
	}
	var s []string
	for _, f := range []study.Fitness{study.FitUnacceptable, study.FitUnknown, study.FitMarginal, study.FitAcceptable} {
		if len(by[f]) > 0 {
			s = append(s, fmt.Sprintf("%s: %s", f, strings.Join(by[f], ", ")))
		}
	}
	if !a.HasReference {
		return "Without a reference nobody's calls can be judged right or wrong; agreement among the appraisers is below."
	}
	return cli.UpperFirst(strings.Join(s, "; ")) + "."
}

// agreementReasons name each limit that is not kept.
func agreementReasons(a study.Agreement) []string {
	l := a.Options.Limits
	var r []string
	for _, j := range a.Results {
		for _, c := range []struct {
			fit        study.Fitness
			share      study.Share
			what, than string
			good, fair float64
		}{
			{j.Effectiveness, j.Effective, "parts called right in every trial", "at least", l.GoodEffective, l.FairEffective},
			{j.Misses, j.Miss, "calls on bad parts that were good", "at most", l.GoodMiss, l.FairMiss},
			{j.FalseAlarms, j.FalseAlarm, "calls on good parts that were bad", "at most", l.GoodFalseAlarm, l.FairFalseAlarm},
		} {
			switch c.fit {
			case study.FitMarginal, study.FitUnacceptable:
				r = append(r, fmt.Sprintf("%s: %s, %s (%s: %s %.3g %%, marginal %.3g %%)", j.Appraiser, c.what, shareText(c.share), study.FitAcceptable, c.than, 100*c.good, 100*c.fair))
			}
		}
	}
	return r
}

func agreementWarnings(a study.Agreement) []string {
	var w []string
	if len(a.LeftOut) > 0 {
		w = append(w, "left out, because calls are missing: part "+strings.Join(a.LeftOut, ", "))
	}
	switch {
	case !a.HasReference:
		w = append(w, "no column reference: right and wrong calls, misses and false alarms are not measured")
	case len(a.Good) == 0:
		w = append(w, "which calls mean good is not known, so misses and false alarms are not measured: name them with --good")
	case a.BadParts == 0:
		w = append(w, "no part is bad: misses are not measured; take bad parts into the study")
	case a.GoodParts == 0:
		w = append(w, "no part is good: false alarms are not measured; take good parts into the study")
	}
	need := study.OpportunitiesToShow(a.Options.Limits.GoodMiss, a.Options.Confidence)
	for _, j := range a.Results {
		if j.Misses == study.FitAcceptable && j.Miss.Of < need {
			w = append(w, fmt.Sprintf("%s: %d calls on bad parts; to show at most %.3g %% of misses takes %d without one (%.3g %% confidence), so the verdict is about these parts only",
				j.Appraiser, j.Miss.Of, 100*a.Options.Limits.GoodMiss, need, 100*a.Options.Confidence))
		}
	}
	return w
}

func confidenceText(a study.Agreement) string {
	return fmt.Sprintf("In brackets the interval at %.3g %% confidence, %s's. Effective: parts called right in every trial. Misses: calls on bad parts that were good. "+
		"False alarms: calls on good parts that were not good. A part's trials are not independent, so that the intervals of misses and false alarms are rather too narrow.",
		100*a.Options.Confidence, a.Options.Interval)
}

func judgesTable(a study.Agreement) report.SheetTable {
	t := report.SheetTable{
		Head:    []string{"appraiser", "trials", "same in all trials", "effective", "calls right", "misses", "false alarms", "verdict"},
		Numeric: []bool{false, true, true, true, true, true, true, false},
	}
	for _, j := range a.Results {
		t.Rows = append(t.Rows, []string{j.Appraiser, fmt.Sprint(j.Trials), shareText(j.Within), shareText(j.Effective), shareText(j.Right), shareText(j.Miss), shareText(j.FalseAlarm), string(j.Fitness)})
		t.Marked = append(t.Marked, j.Fitness == study.FitUnacceptable)
	}
	return t
}

// shareText is a share with its counts and interval.
func shareText(s study.Share) string {
	if s.Of == 0 {
		return "not measured"
	}
	return fmt.Sprintf("%.1f %% (%d of %d) [%.1f, %.1f]", 100*s.Value(), s.Count, s.Of, 100*s.Bounds.Lower, 100*s.Bounds.Upper)
}

func kappaText(k study.Kappa) string {
	if math.IsNaN(k.Value) {
		return "not measured"
	}
	if math.IsNaN(k.Bounds.Lower) {
		return fmt.Sprintf("%.3f, %s [no interval: the calls do not vary enough]", k.Value, k.Word())
	}
	return fmt.Sprintf("%.3f, %s [%.3f, %.3f]", k.Value, k.Word(), k.Bounds.Lower, k.Bounds.Upper)
}

func kappaNotes(a study.Agreement) []string {
	notes := []string{"Kappa is agreement beyond chance: 0 is chance, 1 is full (two: Cohen 1960; several: Fleiss 1971). The words are those of Landis & Koch (1977). " +
		"Where a part was called several times, the interval comes from the scatter between parts (Fleiss & Davies 1982); else from large samples (Fleiss, Cohen & Everitt 1969)."}
	seen := map[string]bool{}
	note := func(err error) {
		if errors.Is(err, study.ErrNoKappa) && !seen[err.Error()] {
			seen[err.Error()] = true
			notes = append(notes, "Where there is a dash: "+err.Error()+".")
		}
	}
	for _, p := range a.Pairs {
		note(p.Err)
	}
	for _, j := range a.Results {
		note(j.ReferenceErr)
		note(j.WithinErr)
	}
	return notes
}

func kappaTables(a study.Agreement) []report.SheetTable {
	pairs := report.SheetTable{Caption: "Two by two", Head: []string{"appraisers", "same calls", "kappa"}, Numeric: []bool{false, true, true}}
	for _, p := range a.Pairs {
		pairs.Rows = append(pairs.Rows, []string{p.A + " and " + p.B, shareText(p.Same), kappaOr(p.Kappa, p.Err)})
	}
	ref := report.SheetTable{Caption: "To the reference, and to themselves over the trials", Head: []string{"appraiser", "to the reference", "over the trials"}, Numeric: []bool{false, true, true}}
	for _, j := range a.Results {
		ref.Rows = append(ref.Rows, []string{j.Appraiser, kappaOr(j.Reference, j.ReferenceErr), kappaOr(j.WithinKappa.Kappa, j.WithinErr)})
	}
	tables := []report.SheetTable{ref}
	if len(pairs.Rows) > 0 {
		tables = append(tables, pairs)
	}
	if a.OverallErr == nil && len(a.Categories) > 2 {
		c := report.SheetTable{Caption: "Each call against all others (Fleiss)", Head: []string{"call", "kappa"}, Numeric: []bool{false, true}}
		for i, k := range a.Overall.Categories {
			c.Rows = append(c.Rows, []string{a.Categories[i], kappaText(k)})
		}
		tables = append(tables, c)
	}
	return tables
}

func kappaOr(k study.Kappa, err error) string {
	if err != nil {
		return "-"
	}
	return kappaText(k)
}

// agreementFigures are the shares of each appraiser with their intervals.
func agreementFigures(a study.Agreement) ([]report.SheetFigure, error) {
	l := a.Options.Limits
	var figs []report.SheetFigure
	for _, c := range []struct {
		name       string
		share      func(study.AppraiserResult) study.Share
		good, fair float64
	}{
		{"same in all trials", func(j study.AppraiserResult) study.Share { return j.Within }, math.NaN(), math.NaN()},
		{"effective", func(j study.AppraiserResult) study.Share { return j.Effective }, l.GoodEffective, l.FairEffective},
		{"misses", func(j study.AppraiserResult) study.Share { return j.Miss }, l.GoodMiss, l.FairMiss},
		{"false alarms", func(j study.AppraiserResult) study.Share { return j.FalseAlarm }, l.GoodFalseAlarm, l.FairFalseAlarm},
	} {
		var v []plots.Interval
		for _, j := range a.Results {
			s := c.share(j)
			v = append(v, plots.Interval{Lo: 100 * s.Bounds.Lower, Mid: 100 * s.Value(), Hi: 100 * s.Bounds.Upper})
		}
		svg, err := plots.Intervals(plots.Options{X: "appraiser", Y: c.name + " / %", HeightMM: 70}, a.Appraisers, v,
			plots.HLine{Name: "acceptable", Y: 100 * c.good, Dash: true}, plots.HLine{Name: "marginal", Y: 100 * c.fair, Dash: true})
		if errors.Is(err, plots.ErrNothing) {
			continue // not measured for anyone
		}
		if err != nil {
			return nil, err
		}
		figs = append(figs, report.SheetFigure{SVG: svg, Alt: c.name + " by appraiser, with intervals", Caption: cli.UpperFirst(c.name) + ", with intervals"})
	}
	return figs, nil
}

// The numbers of a study of calls, as JSON. What was not measured is absent.
type agreementJSON struct {
	Verdict    study.Fitness  `json:"verdict"`
	Parts      int            `json:"parts"`
	GoodParts  int            `json:"good_parts"`
	BadParts   int            `json:"bad_parts"`
	LeftOut    []string       `json:"left_out,omitempty"`
	Confidence float64        `json:"confidence"`
	Interval   string         `json:"interval"`
	Between    *ShareJSON     `json:"same_by_all,omitempty"`
	AllRight   *ShareJSON     `json:"right_by_all,omitempty"`
	Kappa      *kappaJSON     `json:"kappa,omitempty"`
	Appraisers []judgeJSON    `json:"appraisers"`
	Pairs      []pairJSON     `json:"pairs"`
	Categories []categoryJSON `json:"calls,omitempty"`
}

// ShareJSON is a share with its interval, as JSON.
type ShareJSON struct {
	Count int     `json:"count"`
	Of    int     `json:"of"`
	Share float64 `json:"share"`
	Lower float64 `json:"lower"`
	Upper float64 `json:"upper"`
}

type kappaJSON struct {
	N        int      `json:"n"`
	Observed *float64 `json:"observed,omitempty"`
	Expected *float64 `json:"expected,omitempty"`
	Kappa    *float64 `json:"kappa,omitempty"`
	SE       *float64 `json:"se,omitempty"`
	SENull   *float64 `json:"se_null,omitempty"`
	Lower    *float64 `json:"lower,omitempty"`
	Upper    *float64 `json:"upper,omitempty"`
	Word     string   `json:"word,omitempty"`
	Method   string   `json:"method"`
}

type judgeJSON struct {
	Appraiser   string        `json:"appraiser"`
	Trials      int           `json:"trials"`
	Verdict     study.Fitness `json:"verdict"`
	Within      *ShareJSON    `json:"same_in_all_trials,omitempty"`
	Effective   *ShareJSON    `json:"effective,omitempty"`
	Right       *ShareJSON    `json:"calls_right,omitempty"`
	Miss        *ShareJSON    `json:"misses,omitempty"`
	FalseAlarm  *ShareJSON    `json:"false_alarms,omitempty"`
	Reference   *kappaJSON    `json:"kappa_reference,omitempty"`
	WithinKappa *kappaJSON    `json:"kappa_trials,omitempty"`
}

type pairJSON struct {
	A     string     `json:"a"`
	B     string     `json:"b"`
	Same  *ShareJSON `json:"same,omitempty"`
	Kappa *kappaJSON `json:"kappa,omitempty"`
}

type categoryJSON struct {
	Call  string     `json:"call"`
	Kappa *kappaJSON `json:"kappa,omitempty"`
}

func newAgreementJSON(a study.Agreement) agreementJSON {
	v := agreementJSON{Verdict: a.Fitness(), Parts: len(a.Parts), GoodParts: a.GoodParts, BadParts: a.BadParts, LeftOut: a.LeftOut, Confidence: a.Options.Confidence,
		Interval: string(a.Options.Interval), Between: NewShareJSON(a.Between), AllRight: NewShareJSON(a.AllRight), Kappa: newKappaJSON(a.Overall.Kappa, a.OverallErr)}
	for _, j := range a.Results {
		v.Appraisers = append(v.Appraisers, judgeJSON{j.Appraiser, j.Trials, j.Fitness, NewShareJSON(j.Within), NewShareJSON(j.Effective), NewShareJSON(j.Right), NewShareJSON(j.Miss),
			NewShareJSON(j.FalseAlarm), newKappaJSON(j.Reference, j.ReferenceErr), newKappaJSON(j.WithinKappa.Kappa, j.WithinErr)})
	}
	for _, p := range a.Pairs {
		v.Pairs = append(v.Pairs, pairJSON{p.A, p.B, NewShareJSON(p.Same), newKappaJSON(p.Kappa, p.Err)})
	}
	if a.OverallErr == nil {
		for i, k := range a.Overall.Categories {
			v.Categories = append(v.Categories, categoryJSON{a.Categories[i], newKappaJSON(k, nil)})
		}
	}
	return v
}

// NewShareJSON is nil where nothing was counted.
func NewShareJSON(s study.Share) *ShareJSON {
	if s.Of == 0 {
		return nil
	}
	return &ShareJSON{s.Count, s.Of, s.Value(), s.Bounds.Lower, s.Bounds.Upper}
}

func newKappaJSON(k study.Kappa, err error) *kappaJSON {
	if err != nil {
		return nil
	}
	return &kappaJSON{k.N, part.Num(k.Observed), part.Num(k.Expected), part.Num(k.Value), part.Num(k.SE), part.Num(k.SENull), part.Num(k.Bounds.Lower), part.Num(k.Bounds.Upper),
		k.Word(), k.Method}
}
