package studies

import (
	"fmt"
	"math"
	"path/filepath"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/plots"
	"finishbench/internal/report"
	"finishbench/internal/study"
)

// gaugeSheet makes the page of a gauge study.
type gaugeSheet struct {
	in     readingsIn
	c      study.Crossed
	g      study.Gauge
	ranges study.RangeStudy
	v      study.Verdict
}

func (s gaugeSheet) sheet() report.Sheet {
	rr := s.g.Component(study.GaugeRR)
	facts := []report.Fact{
		{Name: "study", Value: cli.Counted(s.g.Parts, "part", "parts") + " x " + cli.Counted(s.g.Appraisers, "appraiser", "appraisers") + fmt.Sprintf(" x %d trials", s.g.Trials)},
		{Name: "gauge, share of study variation", Value: s.withInterval(rr.Study, cli.ShownShare)},
	}
	if !math.IsNaN(s.g.Options.Tolerance) {
		facts = append(facts, report.Fact{Name: "gauge, share of tolerance", Value: s.withInterval(rr.Tolerance, cli.ShownShare)})
	}
	facts = append(facts,
		report.Fact{Name: "gauge, standard deviation", Value: s.withInterval(root(rr.Variance), func(v float64) string { return s.withUnit(cli.Shown4(v)) })},
		report.Fact{Name: "categories told apart", Value: s.categories()},
	)
	return report.Sheet{
		Title: "Gauge study: repeatability and reproducibility", Subject: filepath.Base(s.in.name),
		Rating: ratingOf(s.v.Grade), Word: string(s.v.Grade), Line: s.v.Line,
		Facts: facts, Reasons: s.v.Reasons, Warnings: s.v.Warnings,
		Sections: []report.SheetSection{s.components(), s.anova(), s.byRanges(), s.plots(), s.methods()},
	}
}

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
	up := "no upper limit"
	if part.Num(i.Upper) != nil {
		up = f(i.Upper)
	}
	return fmt.Sprintf("%s (%g %% interval: %s to %s)", f(i.Value), 100*s.g.Options.Level, f(i.Lower), up)
}

func root(i study.Interval) study.Interval {
	return study.Interval{Value: math.Sqrt(i.Value), Lower: math.Sqrt(i.Lower), Upper: math.Sqrt(i.Upper)}
}

func (s gaugeSheet) categories() string {
	if s.g.NDC < 0 {
		return "not measured"
	}
	return fmt.Sprintf("%d (%.2f before cutting off; by ranges %s)", s.g.NDC, s.g.NDCRaw.Value, s.rangeCategories())
}

func (s gaugeSheet) rangeCategories() string {
	if s.ranges.NDC < 0 {
		return "not measured"
	}
	return fmt.Sprint(s.ranges.NDC)
}

// components is the table that matters most.
func (s gaugeSheet) components() report.SheetSection {
	t := report.SheetTable{
		Caption: fmt.Sprintf("Components of the variation; limits of %g %% confidence", 100*s.g.Options.Level),
		Head:    []string{"component", "SD", "lower", "upper", "% contribution", "% study variation"},
		Numeric: []bool{false, true, true, true, true, true},
	}
	withTolerance := !math.IsNaN(s.g.Options.Tolerance)
	if withTolerance {
		t.Head, t.Numeric = append(t.Head, "% tolerance"), append(t.Numeric, true)
	}
	for _, c := range s.g.Components {
		sd := root(c.Variance)
		row := []string{string(c.Name), cli.Shown4(c.SD), cli.Shown4(sd.Lower), cli.Shown4(sd.Upper), cli.ShownShare(c.Contribution), cli.ShownShare(c.Study.Value)}
		if withTolerance {
			row = append(row, cli.ShownShare(c.Tolerance.Value))
		}
		t.Rows = append(t.Rows, row)
	}
	return report.SheetSection{Heading: "Components", Tables: []report.SheetTable{t},
		Figures: cli.Figures(cli.Figure(s.componentBars, "Bars of each component's share of the variation and of the tolerance.",
			"What varies. The gauge's bar should be small beside that of the parts."))}
}

func (s gaugeSheet) componentBars() ([]byte, error) {
	var names []string
	var contribution, share, tolerance []float64
	for _, c := range s.g.Components {
		if c.Name != study.Total {
			names = append(names, string(c.Name))
			contribution = append(contribution, 100*c.Contribution)
			share = append(share, 100*c.Study.Value)
			tolerance = append(tolerance, 100*c.Tolerance.Value)
		}
	}
	var series []plots.Series
	if s.g.Parts > 1 {
		series = append(series, plots.Series{Name: "% contribution (variances)", Y: contribution}, plots.Series{Name: "% study variation (standard deviations)", Y: share})
	}
	if !math.IsNaN(s.g.Options.Tolerance) {
		series = append(series, plots.Series{Name: "% tolerance", Y: tolerance})
	}
	return plots.Bars(plots.Options{Y: "share / %"}, names, series)
}

func (s gaugeSheet) anova() report.SheetSection {
	sec := report.SheetSection{Heading: "Analysis of variance"}
	if s.g.Pooled != nil {
		sec.Text = append(sec.Text, fmt.Sprintf("Part x appraiser shows no effect (p = %.4f, above %g), so it is counted with the repeats.", s.g.PInteraction, s.g.Options.PoolAbove))
		sec.Tables = append(sec.Tables, anovaTable("With interaction", s.g.Full), anovaTable("Without: the figures rest on this table", s.g.Pooled))
		return sec
	}
	sec.Tables = append(sec.Tables, anovaTable("", s.g.Full))
	return sec
}

func anovaTable(caption string, a study.Anova) report.SheetTable {
	t := report.SheetTable{Caption: caption, Head: []string{"source", "df", "sum of squares", "mean square", "F", "p", "tested against"}, Numeric: []bool{false, true, true, true, true, true, false}}
	for _, r := range a {
		row := []string{string(r.Source), fmt.Sprintf("%g", r.DF), cli.Shown4(r.SS), "", "", "", ""}
		if r.Source != study.TotalSource {
			row[3] = cli.Shown4(r.MS)
		}
		if r.Against != "" {
			row[4], row[5], row[6] = cli.Shown4(r.F), cli.ShownP(r.P), string(r.Against)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func (s gaugeSheet) byRanges() report.SheetSection {
	r := s.ranges
	t := report.SheetTable{
		Head:    []string{"variation", "SD", "% study variation"},
		Numeric: []bool{false, true, true},
	}
	for _, row := range []struct {
		name string
		v    float64
	}{{"equipment (repeatability)", r.EV}, {"appraiser (reproducibility)", r.AV}, {"gauge R&R", r.RR}, {"part to part", r.PV}, {"total", r.TV}} {
		t.Rows = append(t.Rows, []string{row.name, cli.Shown4(row.v), cli.ShownShare(r.Share(row.v))})
	}
	text := []string{fmt.Sprintf("Mean range %s; a range above %s stands out. Factors K1 %s, K2 %s, K3 %s.", cli.Shown4(r.RBar), cli.Shown4(r.UpperRange), cli.Shown(r.K1, 4), cli.Shown(r.K2, 4), cli.Shown(r.K3, 4))}
	if s.g.Parts > 1 {
		text = append(text, fmt.Sprintf("%s of the averages lie outside the limits that repeats alone explain; half or more should, else the gauge does not tell the parts apart.", cli.ShownShare(r.ShareOutside)))
	}
	return report.SheetSection{Heading: "By averages and ranges", Text: text, Tables: []report.SheetTable{t},
		Figures: cli.Figures(
			cli.Figure(s.rangeChart, "Control chart of the ranges of the cells, appraiser by appraiser.", "Ranges of the repeats, "+s.byAppraiser()+"."),
			cli.Figure(s.averageChart, "Control chart of the averages of the cells, appraiser by appraiser.", "Averages of the repeats, "+s.byAppraiser()+". Points outside the limits are parts that the gauge tells apart."),
		)}
}

// byAppraiser tells how the points of the charts stand.
func (s gaugeSheet) byAppraiser() string {
	return fmt.Sprintf("appraiser by appraiser (%s), each with all parts in their order", cli.Few(s.c.Appraisers))
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
	return plots.Control(plots.Options{X: "appraiser, part", Y: s.label("range")}, plots.Chart{Values: v, Labels: labels, Centre: s.ranges.RBar, Lower: math.NaN(), Upper: s.ranges.UpperRange, Out: out})
}

func (s gaugeSheet) averageChart() ([]byte, error) {
	v, labels := s.cells(s.ranges.Averages)
	l := s.ranges.Chart
	return plots.Control(plots.Options{X: "appraiser, part", Y: s.label("average")}, plots.Chart{Values: v, Labels: labels, Centre: l.Centre, Lower: l.Lower, Upper: l.Upper})
}

func (s gaugeSheet) plots() report.SheetSection {
	return report.SheetSection{Heading: "Plots", Figures: cli.Figures(
		cli.Figure(s.partStrips, "All readings by part, the means joined.", "By part: how far parts differ beside how far readings of one part do."),
		cli.Figure(s.appraiserStrips, "All readings by appraiser, the means joined.", "By appraiser: a line that is not level is a difference of appraisers."),
		cli.Figure(s.interactionLines, "Mean of each part by each appraiser, a line an appraiser.", "Interaction: lines that run side by side show none."),
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
	return plots.Strips(plots.Options{X: "part", Y: s.label("reading")}, s.c.Parts, []plots.Series{g})
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
	return plots.Strips(plots.Options{X: "appraiser", Y: s.label("reading")}, s.c.Appraisers, []plots.Series{g})
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
	return plots.Strips(plots.Options{X: "part", Y: s.label("mean")}, s.c.Parts, series)
}

func (s gaugeSheet) methods() report.SheetSection {
	o := s.g.Options
	text := []string{
		"Random two-factor model; a component that comes out below 0 is taken as 0. The limits are of the modified large-sample method (Burdick, Borror and Montgomery 2005), those of repeatability of chi-square, exact.",
	}
	if s.g.Parts > 1 && s.g.Appraisers > 1 {
		text = append(text,
			fmt.Sprintf("While the interaction is in the table, parts and appraisers are tested against the %s. Published pages differ here: for parts and appraisers drawn at random it is the interaction (Montgomery; AIAG MSA, appendix A), while a worked page of AIAG MSA divides by the equipment's mean square. --error-term chooses; the components do not depend on it.", o.ErrorTerm),
			"The number of categories is 1.41 times parts over gauge, cut to a whole number. The two methods may differ by one: for the example data of AIAG MSA averages and ranges give 5, analysis of variance 4 (4.86).")
	}
	text = append(text, fmt.Sprintf("A variation's width is %g standard deviations. Bars: below 10 %% good, 10 to 30 %% conditional, above 30 %% not good enough; five categories or more (AIAG MSA, 4th ed.).", o.SDs))
	return report.SheetSection{Heading: "How this was computed", Text: text}
}
