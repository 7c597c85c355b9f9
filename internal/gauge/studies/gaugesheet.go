package studies

import (
	"fmt"
	"math"
	"path/filepath"
	"strconv"

	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
	"finishbench/internal/stats/study"
)

// gaugeSheet makes the page of a gauge study.
type gaugeSheet struct {
	x      *lang.Lang
	in     readingsIn
	c      study.Crossed
	g      study.Gauge
	ranges study.RangeStudy
	v      study.Verdict
}

func (s gaugeSheet) sheet() report.Sheet {
	rr := s.g.Component(study.GaugeRR)
	facts := []report.Fact{
		{Name: s.x.T("study.fact.study"), Value: s.x.T("study.n_parts", "n",
			strconv.Itoa(s.g.Parts)) + " x " + s.x.T("study.n_appraisers", "n", strconv.Itoa(s.g.Appraisers)) +
			s.x.T("study.n_trials", "n", strconv.Itoa(s.g.Trials))},
		{Name: s.x.T("study.fact.share"), Value: s.withInterval(rr.Study, s.x.ShownShare)},
	}
	if !math.IsNaN(s.g.Options.Tolerance) {
		facts = append(facts, report.Fact{Name: s.x.T("study.fact.tolerance"), Value: s.withInterval(rr.Tolerance, s.x.ShownShare)})
	}
	facts = append(facts,
		report.Fact{Name: s.x.T("study.fact.sd"), Value: s.withInterval(root(rr.Variance),
			func(v float64) string { return s.withUnit(s.x.Shown4(v)) })},
		report.Fact{Name: s.x.T("study.fact.categories"), Value: s.categories()},
	)
	return report.Sheet{
		Lang: s.x, Title: s.x.T("study.title.gauge"), Subject: filepath.Base(s.in.name),
		Rating: ratingOf(s.v.Grade), Word: s.x.Named("study.grade.", string(s.v.Grade)), Line: s.x.Say(&s.v.Line),
		Facts: facts, Reasons: s.x.SayAll(s.v.Reasons), Warnings: s.x.SayAll(s.v.Warnings),
		Sections: []report.SheetSection{s.components(), s.anova(), s.byRanges(), s.plots(), s.methods()},
	}
}

func (s gaugeSheet) component(n study.ComponentName) string {
	return s.x.Named("study.component.", string(n))
}

func (s gaugeSheet) source(n study.Source) string { return s.x.Named("study.source.", string(n)) }

func (s gaugeSheet) withUnit(text string) string {
	if s.in.unit == "" {
		return text
	}
	return text + " " + s.in.unit
}

// label names an axis with the readings' unit.
func (s gaugeSheet) label(what string) string {
	if s.in.unit == "" {
		return what
	}
	return what + " / " + s.in.unit
}

func (s gaugeSheet) withInterval(i study.Interval, f func(float64) string) string {
	if part.Num(i.Value) == nil || part.Num(i.Lower) == nil {
		return f(i.Value)
	}
	up := s.x.T("study.no_upper")
	if part.Num(i.Upper) != nil {
		up = f(i.Upper)
	}
	return s.x.T("study.interval", "v", f(i.Value), "level", fmt.Sprintf("%g", 100*s.g.Options.Level), "lower", f(i.Lower), "upper", up)
}

func root(i study.Interval) study.Interval {
	return study.Interval{Value: math.Sqrt(i.Value), Lower: math.Sqrt(i.Lower), Upper: math.Sqrt(i.Upper)}
}

func (s gaugeSheet) categories() string {
	if s.g.NDC < 0 {
		return s.x.T("not_measured")
	}
	return s.x.T("study.categories", "n", strconv.Itoa(s.g.NDC), "raw", fmt.Sprintf("%.2f", s.g.NDCRaw.Value), "ranges",
		s.rangeCategories())
}

func (s gaugeSheet) rangeCategories() string {
	if s.ranges.NDC < 0 {
		return s.x.T("not_measured")
	}
	return fmt.Sprint(s.ranges.NDC)
}

// components is the table that matters most.
func (s gaugeSheet) components() report.SheetSection {
	t := report.SheetTable{
		Caption: s.x.T("study.components.caption", "level", fmt.Sprintf("%g", 100*s.g.Options.Level)),
		Head: []string{s.x.T("study.component"), s.x.T("study.sd"), s.x.T("study.lower"), s.x.T("study.upper"),
			s.x.T("study.contribution"), s.x.T("study.study_variation")},
		Numeric: []bool{false, true, true, true, true, true},
	}
	withTolerance := !math.IsNaN(s.g.Options.Tolerance)
	if withTolerance {
		t.Head, t.Numeric = append(t.Head, s.x.T("study.of_tolerance")), append(t.Numeric, true)
	}
	for _, c := range s.g.Components {
		sd := root(c.Variance)
		row := []string{s.component(c.Name), s.x.Shown4(c.SD), s.x.Shown4(sd.Lower), s.x.Shown4(sd.Upper), s.x.ShownShare(c.Contribution),
			s.x.ShownShare(c.Study.Value)}
		if withTolerance {
			row = append(row, s.x.ShownShare(c.Tolerance.Value))
		}
		t.Rows = append(t.Rows, row)
	}
	return report.SheetSection{Heading: s.x.T("study.components"), Tables: []report.SheetTable{t},
		Figures: cli.Figures(cli.Figure(s.componentBars, s.x.T("study.components.plot"),
			s.x.T("study.components.what")))}
}

func (s gaugeSheet) componentBars() ([]byte, error) {
	var names []string
	var contribution, share, tolerance []float64
	for _, c := range s.g.Components {
		if c.Name != study.Total {
			names = append(names, s.component(c.Name))
			contribution = append(contribution, 100*c.Contribution)
			share = append(share, 100*c.Study.Value)
			tolerance = append(tolerance, 100*c.Tolerance.Value)
		}
	}
	var series []plots.Series
	if s.g.Parts > 1 {
		series = append(series, plots.Series{Name: s.x.T("study.contribution_variances"), Y: contribution},
			plots.Series{Name: s.x.T("study.study_variation_sd"), Y: share})
	}
	if !math.IsNaN(s.g.Options.Tolerance) {
		series = append(series, plots.Series{Name: s.x.T("study.of_tolerance"), Y: tolerance})
	}
	return plots.Bars(plots.Options{Y: s.x.T("study.axis.share")}, names, series)
}

func (s gaugeSheet) anova() report.SheetSection {
	sec := report.SheetSection{Heading: s.x.T("study.anova")}
	if s.g.Pooled != nil {
		sec.Text = append(sec.Text, s.x.T("study.anova.pooled", "p", fmt.Sprintf("%.4f", s.g.PInteraction), "above",
			fmt.Sprintf("%g", s.g.Options.PoolAbove)))
		sec.Tables = append(sec.Tables, s.anovaTable(s.x.T("study.anova.full"), s.g.Full),
			s.anovaTable(s.x.T("study.anova.reduced"), s.g.Pooled))
		return sec
	}
	sec.Tables = append(sec.Tables, s.anovaTable("", s.g.Full))
	return sec
}

func (s gaugeSheet) anovaTable(caption string, a study.Anova) report.SheetTable {
	t := report.SheetTable{Caption: caption, Head: []string{s.x.T("study.anova.source"), s.x.T("study.anova.df"), s.x.T("study.anova.ss"),
		s.x.T("study.anova.ms"), "F", "p", s.x.T("study.anova.against")}, Numeric: []bool{false, true, true, true, true, true, false}}
	for _, r := range a {
		row := []string{s.source(r.Source), fmt.Sprintf("%g", r.DF), s.x.Shown4(r.SS), "", "", "", ""}
		if r.Source != study.TotalSource {
			row[3] = s.x.Shown4(r.MS)
		}
		if r.Against != "" {
			row[4], row[5], row[6] = s.x.Shown4(r.F), s.x.ShownP(r.P), s.source(r.Against)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func (s gaugeSheet) byRanges() report.SheetSection {
	r := s.ranges
	t := report.SheetTable{
		Head:    []string{s.x.T("study.ranges.variation"), s.x.T("study.sd"), s.x.T("study.study_variation")},
		Numeric: []bool{false, true, true},
	}
	for _, row := range []struct {
		name string
		v    float64
	}{{s.x.T("study.ranges.equipment"), r.EV}, {s.x.T("study.ranges.appraiser"), r.AV}, {s.x.T("study.component.gauge R&R"),
		r.RR}, {s.x.T("study.component.part to part"), r.PV}, {s.x.T("study.component.total"), r.TV}} {
		t.Rows = append(t.Rows, []string{row.name, s.x.Shown4(row.v), s.x.ShownShare(r.Share(row.v))})
	}
	text := []string{s.x.T("study.ranges.factors", "mean", s.x.Shown4(r.RBar), "upper", s.x.Shown4(r.UpperRange), "k1",
		s.x.Shown(r.K1, 4), "k2", s.x.Shown(r.K2, 4), "k3", s.x.Shown(r.K3, 4))}
	if s.g.Parts > 1 {
		text = append(text, s.x.T("study.ranges.averages", "share", s.x.ShownShare(r.ShareOutside)))
	}
	return report.SheetSection{Heading: s.x.T("study.ranges.head"), Text: text, Tables: []report.SheetTable{t},
		Figures: cli.Figures(
			cli.Figure(s.rangeChart, s.x.T("study.ranges.chart.ranges.alt"), s.x.T("study.ranges.chart.ranges", "order", s.byAppraiser())),
			cli.Figure(s.averageChart, s.x.T("study.ranges.chart.averages.alt"),
				s.x.T("study.ranges.chart.averages", "order", s.byAppraiser())),
		)}
}

// byAppraiser tells how the points of the charts stand.
func (s gaugeSheet) byAppraiser() string {
	return s.x.T("study.ranges.order", "names", s.x.Listed(s.c.Appraisers))
}

// cells lays values by part and appraiser out, appraiser by appraiser.
func (s gaugeSheet) cells(v [][]float64) (values []float64, labels []string) {
	for j, a := range s.c.Appraisers {
		for i, p := range s.c.Parts {
			values = append(values, v[i][j])
			labels = append(labels, a+" "+p)
		}
	}
	return values, labels
}

func (s gaugeSheet) rangeChart() ([]byte, error) {
	v, labels := s.cells(s.ranges.Ranges)
	out := make([]bool, len(v))
	for i := range v {
		out[i] = v[i] > s.ranges.UpperRange
	}
	return plots.Control(plots.Options{X: s.x.T("study.axis.appraiser_part"), Y: s.label(s.x.T("study.axis.range"))},
		plots.Chart{Names: cli.ChartNames(s.x), Values: v, Labels: labels, Centre: s.ranges.RBar, Lower: math.NaN(),
			Upper: s.ranges.UpperRange, Out: out})
}

func (s gaugeSheet) averageChart() ([]byte, error) {
	v, labels := s.cells(s.ranges.Averages)
	l := s.ranges.Chart
	return plots.Control(plots.Options{X: s.x.T("study.axis.appraiser_part"), Y: s.label(s.x.T("study.axis.average"))},
		plots.Chart{Names: cli.ChartNames(s.x), Values: v, Labels: labels, Centre: l.Centre, Lower: l.Lower, Upper: l.Upper})
}

func (s gaugeSheet) plots() report.SheetSection {
	return report.SheetSection{Heading: s.x.T("study.plots"), Figures: cli.Figures(
		cli.Figure(s.partStrips, s.x.T("study.plots.parts.alt"), s.x.T("study.plots.parts")),
		cli.Figure(s.appraiserStrips, s.x.T("study.plots.appraisers.alt"), s.x.T("study.plots.appraisers")),
		cli.Figure(s.interactionLines, s.x.T("study.plots.interaction.alt"), s.x.T("study.plots.interaction")),
	)}
}

func (s gaugeSheet) partStrips() ([]byte, error) {
	var g plots.Series
	for i, row := range s.c.Values {
		for _, cell := range row {
			for _, v := range cell {
				g.X, g.Y = append(g.X, float64(i)), append(g.Y, v)
			}
		}
	}
	return plots.Strips(plots.Options{X: s.x.T("study.axis.part"), Y: s.label(s.x.T("study.axis.reading"))}, s.c.Parts, []plots.Series{g})
}

func (s gaugeSheet) appraiserStrips() ([]byte, error) {
	var g plots.Series
	for _, row := range s.c.Values {
		for j, cell := range row {
			for _, v := range cell {
				g.X, g.Y = append(g.X, float64(j)), append(g.Y, v)
			}
		}
	}
	return plots.Strips(plots.Options{X: s.x.T("study.axis.appraiser"), Y: s.label(s.x.T("study.axis.reading"))}, s.c.Appraisers,
		[]plots.Series{g})
}

func (s gaugeSheet) interactionLines() ([]byte, error) {
	if s.g.Parts < 2 || s.g.Appraisers < 2 {
		return nil, plots.ErrNothing
	}
	var series []plots.Series
	for j, a := range s.c.Appraisers {
		l := plots.Series{Name: a}
		for i := range s.c.Parts {
			l.X, l.Y = append(l.X, float64(i)), append(l.Y, s.ranges.Averages[i][j])
		}
		series = append(series, l)
	}
	return plots.Strips(plots.Options{X: s.x.T("study.axis.part"), Y: s.label(s.x.T("study.axis.mean"))}, s.c.Parts, series)
}

func (s gaugeSheet) methods() report.SheetSection {
	o := s.g.Options
	text := []string{
		s.x.T("study.how.model"),
	}
	if s.g.Parts > 1 && s.g.Appraisers > 1 {
		text = append(text,
			s.x.T("study.how.error_term", "term", s.x.Named("study.error_term.", string(o.ErrorTerm))),
			s.x.T("study.how.categories"))
	}
	text = append(text, s.x.T("study.how.width", "sds", fmt.Sprintf("%g", o.SDs)))
	return report.SheetSection{Heading: s.x.T("how.computed"), Text: text}
}
