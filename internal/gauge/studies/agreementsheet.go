package studies

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/lang"
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
func agreementSheet(x *lang.Lang, a study.Agreement, file string) (report.Sheet, error) {
	fit := a.Fitness()
	s := report.Sheet{
		Lang: x, Title: x.T("study.title.agreement"), Subject: filepath.Base(file), Rating: FitnessRating[fit], Word: x.Named("study.fit.",
			string(fit)), Line: agreementLine(x, a),
		Facts: []report.Fact{
			{Name: x.T("study.calls.fact.parts"), Value: agreementParts(x, a)},
			{Name: x.T("study.calls.fact.appraisers"), Value: strings.Join(a.Appraisers, ", ")},
			{Name: x.T("study.calls.fact.good"), Value: cli.Or(strings.Join(a.Good, ", "), x.T("study.not_known"))},
			{Name: x.T("study.calls.fact.same"), Value: shareText(x, a.Between)},
			{Name: x.T("study.calls.fact.right"), Value: shareText(x, a.AllRight)},
		},
		Reasons: agreementReasons(x, a), Warnings: agreementWarnings(x, a),
	}
	if a.OverallErr == nil {
		s.Facts = append(s.Facts, report.Fact{Name: x.T("study.calls.fact.kappa"), Value: kappaText(x, a.Overall.Kappa)})
	}
	figures, err := agreementFigures(x, a)
	if err != nil {
		return s, err
	}
	s.Sections = []report.SheetSection{
		{Heading: x.T("study.calls.each"), Text: []string{confidenceText(x, a)}, Figures: figures,
			Tables: []report.SheetTable{judgesTable(x, a)}},
		{Heading: x.T("study.calls.beyond"), Text: kappaNotes(x, a), Tables: kappaTables(x, a)},
	}
	return s, nil
}

func agreementParts(x *lang.Lang, a study.Agreement) string {
	if !a.HasReference {
		return x.T("study.calls.parts.no_reference", "n", strconv.Itoa(len(a.Parts)))
	}
	if len(a.Good) == 0 {
		return fmt.Sprint(len(a.Parts))
	}
	return x.T("study.calls.parts", "n", strconv.Itoa(len(a.Parts)), "good", strconv.Itoa(a.GoodParts), "bad", strconv.Itoa(a.BadParts))
}

func agreementLine(x *lang.Lang, a study.Agreement) string {
	by := map[study.Fitness][]string{}
	for _, j := range a.Results {
		by[j.Fitness] = append(by[j.Fitness], j.Appraiser)
	}
	var s []string
	for _, f := range []study.Fitness{study.FitUnacceptable, study.FitUnknown, study.FitMarginal, study.FitAcceptable} {
		if len(by[f]) > 0 {
			s = append(s, x.T("study.calls.who", "fit", x.Named("study.fit.", string(f)), "who", strings.Join(by[f], ", ")))
		}
	}
	if !a.HasReference {
		return x.T("study.calls.line.no_reference")
	}
	return x.T("study.calls.line", "who", cli.UpperFirst(strings.Join(s, x.T("join.signals"))))
}

// agreementReasons name each limit that is not kept.
func agreementReasons(x *lang.Lang, a study.Agreement) []string {
	l := a.Options.Limits
	var r []string
	for _, j := range a.Results {
		for _, c := range []struct {
			fit        study.Fitness
			share      study.Share
			what, than string
			good, fair float64
		}{
			{j.Effectiveness, j.Effective, x.T("study.calls.what.effective"), "least", l.GoodEffective, l.FairEffective},
			{j.Misses, j.Miss, x.T("study.calls.what.misses"), "most", l.GoodMiss, l.FairMiss},
			{j.FalseAlarms, j.FalseAlarm, x.T("study.calls.what.alarms"), "most", l.GoodFalseAlarm, l.FairFalseAlarm},
		} {
			switch c.fit {
			case study.FitMarginal, study.FitUnacceptable:
				r = append(r, x.T("study.calls.reason."+c.than, "who", j.Appraiser, "what", c.what, "share", shareText(x, c.share),
					"good_percent", fmt.Sprintf("%.3g", 100*c.good), "fair_percent", fmt.Sprintf("%.3g", 100*c.fair)))
			}
		}
	}
	return r
}

func agreementWarnings(x *lang.Lang, a study.Agreement) []string {
	var w []string
	if len(a.LeftOut) > 0 {
		w = append(w, x.T("study.calls.left_out", "parts", strings.Join(a.LeftOut, ", ")))
	}
	switch {
	case !a.HasReference:
		w = append(w, x.T("study.calls.warn.no_reference"))
	case len(a.Good) == 0:
		w = append(w, x.T("study.calls.warn.good_unknown"))
	case a.BadParts == 0:
		w = append(w, x.T("study.calls.warn.no_bad"))
	case a.GoodParts == 0:
		w = append(w, x.T("study.calls.warn.no_good"))
	}
	need := study.OpportunitiesToShow(a.Options.Limits.GoodMiss, a.Options.Confidence)
	for _, j := range a.Results {
		if j.Misses == study.FitAcceptable && j.Miss.Of < need {
			w = append(w, x.T("study.calls.warn.few_bad", "who", j.Appraiser, "of", strconv.Itoa(j.Miss.Of), "most_percent",
				fmt.Sprintf("%.3g", 100*a.Options.Limits.GoodMiss), "need", strconv.Itoa(need), "level_percent", fmt.Sprintf("%.3g",
					100*a.Options.Confidence)))
		}
	}
	return w
}

func confidenceText(x *lang.Lang, a study.Agreement) string {
	return x.T("study.calls.how", "level", fmt.Sprintf("%.3g", 100*a.Options.Confidence), "interval", string(a.Options.Interval))
}

func judgesTable(x *lang.Lang, a study.Agreement) report.SheetTable {
	t := report.SheetTable{
		Head: []string{x.T("study.axis.appraiser"), x.T("study.calls.trials"), x.T("study.calls.same"), x.T("study.calls.effective"),
			x.T("study.calls.right"), x.T("study.calls.misses"), x.T("study.calls.alarms"), x.T("study.calls.verdict")},
		Numeric: []bool{false, true, true, true, true, true, true, false},
	}
	for _, j := range a.Results {
		t.Rows = append(t.Rows, []string{j.Appraiser, fmt.Sprint(j.Trials), shareText(x, j.Within), shareText(x, j.Effective),
			shareText(x, j.Right), shareText(x, j.Miss), shareText(x, j.FalseAlarm), x.Named("study.fit.", string(j.Fitness))})
		t.Marked = append(t.Marked, j.Fitness == study.FitUnacceptable)
	}
	return t
}

// shareText is a share with its counts and interval.
func shareText(x *lang.Lang, s study.Share) string {
	if s.Of == 0 {
		return x.T("not_measured")
	}
	return x.T("study.calls.share", "percent", fmt.Sprintf("%.1f", 100*s.Value()), "count", strconv.Itoa(s.Count), "of",
		strconv.Itoa(s.Of), "lower", fmt.Sprintf("%.1f", 100*s.Bounds.Lower), "upper", fmt.Sprintf("%.1f", 100*s.Bounds.Upper))
}

func kappaText(x *lang.Lang, k study.Kappa) string {
	if math.IsNaN(k.Value) {
		return x.T("not_measured")
	}
	if math.IsNaN(k.Bounds.Lower) {
		return x.T("study.calls.kappa_bare", "kappa", fmt.Sprintf("%.3f", k.Value), "word", x.Named("study.kappa.", k.Word()))
	}
	return x.T("study.calls.kappa", "kappa", fmt.Sprintf("%.3f", k.Value), "word", string(x.Named("study.kappa.", k.Word())), "lower",
		fmt.Sprintf("%.3f", k.Bounds.Lower), "upper", fmt.Sprintf("%.3f", k.Bounds.Upper))
}

func kappaNotes(x *lang.Lang, a study.Agreement) []string {
	notes := []string{x.T("study.calls.kappa_how")}
	seen := map[string]bool{}
	note := func(err error) {
		if errors.Is(err, study.ErrNoKappa) && !seen[err.Error()] {
			seen[err.Error()] = true
			p := cli.Why(err)
			notes = append(notes, x.T("study.calls.dash", "why", x.Say(&p)))
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

func kappaTables(x *lang.Lang, a study.Agreement) []report.SheetTable {
	pairs := report.SheetTable{Caption: x.T("study.calls.pairs"), Head: []string{x.T("study.calls.appraisers"),
		x.T("study.calls.same_calls"), x.T("study.calls.kappa_head")}, Numeric: []bool{false, true, true}}
	for _, p := range a.Pairs {
		pairs.Rows = append(pairs.Rows, []string{x.T("study.calls.two", "a", p.A, "b", p.B), shareText(x, p.Same),
			kappaOr(x, p.Kappa, p.Err)})
	}
	ref := report.SheetTable{Caption: x.T("study.calls.to_reference"),
		Head: []string{x.T("study.axis.appraiser"), x.T("study.calls.to_reference_head"),
			x.T("study.calls.over_trials")}, Numeric: []bool{false, true, true}}
	for _, j := range a.Results {
		ref.Rows = append(ref.Rows, []string{j.Appraiser, kappaOr(x, j.Reference, j.ReferenceErr),
			kappaOr(x, j.WithinKappa.Kappa, j.WithinErr)})
	}
	tables := []report.SheetTable{ref}
	if len(pairs.Rows) > 0 {
		tables = append(tables, pairs)
	}
	if a.OverallErr == nil && len(a.Categories) > 2 {
		c := report.SheetTable{Caption: x.T("study.calls.categories"),
			Head: []string{x.T("study.calls.call"), x.T("study.calls.kappa_head")}, Numeric: []bool{false, true}}
		for i, k := range a.Overall.Categories {
			c.Rows = append(c.Rows, []string{a.Categories[i], kappaText(x, k)})
		}
		tables = append(tables, c)
	}
	return tables
}

func kappaOr(x *lang.Lang, k study.Kappa, err error) string {
	if err != nil {
		return "-"
	}
	return kappaText(x, k)
}

// agreementFigures are the shares of each appraiser with their intervals.
func agreementFigures(x *lang.Lang, a study.Agreement) ([]report.SheetFigure, error) {
	l := a.Options.Limits
	var figs []report.SheetFigure
	for _, c := range []struct {
		name       string
		share      func(study.AppraiserResult) study.Share
		good, fair float64
	}{
		{x.T("study.calls.same"), func(j study.AppraiserResult) study.Share { return j.Within }, math.NaN(), math.NaN()},
		{x.T("study.calls.effective"), func(j study.AppraiserResult) study.Share { return j.Effective }, l.GoodEffective, l.FairEffective},
		{x.T("study.calls.misses"), func(j study.AppraiserResult) study.Share { return j.Miss }, l.GoodMiss, l.FairMiss},
		{x.T("study.calls.alarms"), func(j study.AppraiserResult) study.Share { return j.FalseAlarm }, l.GoodFalseAlarm, l.FairFalseAlarm},
	} {
		var v []plots.Interval
		for _, j := range a.Results {
			s := c.share(j)
			v = append(v, plots.Interval{Lo: 100 * s.Bounds.Lower, Mid: 100 * s.Value(), Hi: 100 * s.Bounds.Upper})
		}
		svg, err := plots.Intervals(plots.Options{Missing: x.T("not_measured"), X: x.T("study.axis.appraiser"),
			Y: c.name + " / %", HeightMM: 70}, a.Appraisers, v,
			plots.HLine{Name: x.T("study.fit.acceptable"), Y: 100 * c.good, Dash: true}, plots.HLine{Name: x.T("study.fit.marginal"),
				Y: 100 * c.fair, Dash: true})
		if errors.Is(err, plots.ErrNothing) {
			continue // not measured for anyone
		}
		if err != nil {
			return nil, err
		}
		figs = append(figs, report.SheetFigure{SVG: svg, Alt: x.T("study.calls.plot.alt", "what", c.name),
			Caption: x.T("study.calls.plot", "what", cli.UpperFirst(c.name))})
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
	v := agreementJSON{Verdict: a.Fitness(), Parts: len(a.Parts), GoodParts: a.GoodParts, BadParts: a.BadParts, LeftOut: a.LeftOut,
		Confidence: a.Options.Confidence,
		Interval:   string(a.Options.Interval), Between: NewShareJSON(a.Between), AllRight: NewShareJSON(a.AllRight),
		Kappa: newKappaJSON(a.Overall.Kappa, a.OverallErr)}
	for _, j := range a.Results {
		v.Appraisers = append(v.Appraisers, judgeJSON{j.Appraiser, j.Trials, j.Fitness, NewShareJSON(j.Within), NewShareJSON(j.Effective),
			NewShareJSON(j.Right), NewShareJSON(j.Miss),
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
	return &kappaJSON{k.N, part.Num(k.Observed), part.Num(k.Expected), part.Num(k.Value), part.Num(k.SE), part.Num(k.SENull),
		part.Num(k.Bounds.Lower), part.Num(k.Bounds.Upper),
		k.Word(), k.Method}
}
