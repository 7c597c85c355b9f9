package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/bench/lang"
	"finishbench/internal/charts"
	"finishbench/internal/cli"
	"finishbench/internal/lotreport"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/process"
	"finishbench/internal/records"
	"finishbench/internal/report"
)

const lotChartHelp = `chart draws a control chart of what the records hold, in order of time.

  p, np    share, or number, of units that did not pass, lot by lot
  c, u     findings, or findings a unit, lot by lot (c: samples of one size)
  demerit  demerits a unit, lot by lot: critical 100, major 50, moderate 10, minor 1
  xbar     mean step of the units, in subgroups, with the chart of their spread
  i        mean step of each unit, with its moving range
  ewma     the same, averaged with weights that fade
  cusum    the same, summed up: small lasting shifts

With --of waviness the last four are of the faceplate's waviness before a screen
(root mean square slope, mrad). Units of which it was not measured, or is only known
to be at least so much, are left out and counted. Their points name the batch of
resin, and --resin keeps to one.

With --baseline the first so many points set the limits, and the others are judged
by them. Points at which a rule is met are named, and how often the rules call
falsely is told.`

const lotChartExamples = `  inspect lot chart --kind p --record bench.db --out charts
  inspect lot chart --kind xbar --subgroup 5 --baseline 20 --from 2026-02-01 --stage cured --record bench.db
  inspect lot chart --kind i --of waviness --baseline 30 --stage cured --record bench.db
  inspect lot chart --kind cusum --target 0 --lot 31 --record bench.db --json`

// Kinds of charts, over lots and over units.
func lotKinds() []string { return []string{"p", "np", "c", "u", "demerit"} }

// unitKinds are the values that are charted by unit.
func unitKinds() []string { return []string{"xbar", "i", "ewma", "cusum"} }

// lotChartOptions are the flags of lot chart.
type lotChartOptions struct {
	*cli.Database
	cli.SheetOptions
	kind, of, from, to, lot, resin, product, stage, rules, target, language string
	subgroup, baseline                                                      int
}

func newLotChartCommand(r *cli.Database) *cobra.Command {
	o := lotChartOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "chart --kind KIND",
		Short:                 "Control charts over lots, or of step or waviness over units",
		Long:                  lotChartHelp,
		Example:               lotChartExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runLotChart(cmd.Context(), o, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.kind, "kind", "", strings.Join(append(lotKinds(), unitKinds()...), ", "))
	f.StringVar(&o.of, "of", "step", "what of the units: step, waviness (xbar, i, ewma, cusum)")
	f.StringVar(&o.from, "from", "", `from this time on: "2026-03-02 06:00" or "2026-03-02"`)
	f.StringVar(&o.to, "to", "", "up to this time")
	f.StringVar(&o.lot, "lot", "", "units of this lot only (xbar, i, ewma, cusum)")
	f.StringVar(&o.resin, "resin", "", "units of this batch of resin only (xbar, i, ewma, cusum)")
	f.StringVar(&o.product, "product", "", "lots of this product only (p, np, c, u, demerit)")
	f.StringVar(&o.stage, "stage", "", "trim, wet or cured only")
	f.IntVar(&o.subgroup, "subgroup", subgroup, "units of a subgroup, 2 to 25 (xbar)")
	f.IntVar(&o.baseline, "baseline", 0, "points that set the limits; 0: all")
	f.StringVar(&o.rules, "rules", "", "western-electric, nelson, iso7870, or single rules (default: beyond,run9)")
	f.StringVar(&o.target, "target", "", "where the step should be, um, or the waviness, mrad (ewma, cusum; default: the mean of the baseline)")
	f.StringVar(&o.language, "language", "en", "of the sheet: en, zh-Hans")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}

// chosen are the flags as read.
type chartChoice struct {
	from, to time.Time
	target   *float64
	options  charts.Options
	rules    []charts.Rule
	quantity quantity
}

func (o *lotChartOptions) choice() (c chartChoice, err error) {
	if !slices.Contains(append(lotKinds(), unitKinds()...), o.kind) {
		return c, cli.Usagef("--kind %q: there are %s", o.kind, strings.Join(append(lotKinds(), unitKinds()...), ", "))
	}
	switch o.of {
	case "step":
		c.quantity = steps()
	case "waviness":
		c.quantity = waviness()
	default:
		return c, cli.Usagef("--of %q: there are step, waviness", o.of)
	}
	for _, t := range []struct {
		flag, text string
		to         *time.Time
	}{{"--from", o.from, &c.from}, {"--to", o.to, &c.to}} {
		if t.text == "" {
			continue
		}
		if *t.to, err = cli.ClockTime(t.flag, t.text); err != nil {
			return c, err
		}
	}
	if !c.from.IsZero() && !c.to.IsZero() && !c.from.Before(c.to) {
		return c, cli.Usagef("--from %s is not before --to %s", o.from, o.to)
	}
	if o.stage != "" {
		if _, err := part.ParseStage(o.stage); err != nil {
			return c, cli.UsageError{Err: err}
		}
	}
	switch {
	case o.subgroup < 2 || o.subgroup > charts.MaxSize:
		return c, cli.Usagef("--subgroup %d: a subgroup has 2 to %d units; for single ones use --kind i", o.subgroup, charts.MaxSize)
	case o.baseline < 0:
		return c, cli.Usagef("--baseline %d: a number of points, 0 for all", o.baseline)
	case o.lot != "" && slices.Contains(lotKinds(), o.kind):
		return c, cli.Usagef("--lot is for charts of units; a chart of kind %s goes over lots", o.kind)
	case o.of != "step" && slices.Contains(lotKinds(), o.kind):
		return c, cli.Usagef("--of %s is for charts of units; a chart of kind %s counts over lots", o.of, o.kind)
	case o.resin != "" && slices.Contains(lotKinds(), o.kind):
		return c, cli.Usagef("--resin is for charts of units; a chart of kind %s goes over lots", o.kind)
	case o.product != "" && !slices.Contains(lotKinds(), o.kind):
		return c, cli.Usagef("--product is for charts over lots, not for kind %s", o.kind)
	case o.target != "" && o.kind != "ewma" && o.kind != "cusum":
		return c, cli.Usagef("--target is for ewma and cusum")
	}
	if o.target != "" {
		v, err := strconv.ParseFloat(o.target, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return c, cli.Usagef("--target %q is no number", o.target)
		}
		c.target = &v
	}
	if c.rules, err = charts.Rules(o.rules); err != nil {
		return c, cli.UsageError{Err: err}
	}
	c.options = charts.Options{Rules: c.rules, Phases: []charts.Phase{{Baseline: o.baseline}}}
	return c, nil
}

// runLotChart draws the process over many lots.
func runLotChart(ctx context.Context, o lotChartOptions, stdout io.Writer) error {
	c, err := o.choice()
	if err != nil {
		return err
	}
	l, err := cli.Language(o.language)
	if err != nil {
		return err
	}
	store, err := o.Database.Open(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	var all []lotreport.Chart
	var left []lotreport.Said
	if slices.Contains(lotKinds(), o.kind) {
		all, err = o.overLots(ctx, store, c)
	} else {
		all, left, err = o.overUnits(ctx, store, c)
	}
	if err != nil {
		return err
	}
	r := lotreport.Report{Charts: all}
	figs, err := r.Figures(l, l.Tag, time.Local)
	if err != nil {
		return err
	}
	sheet := o.sheet(l, c, all, figs)
	sheet.Warnings = r.Say(l, l.Tag, left)
	return o.Write("chart", sheet, lotChartJSON{o.kind, all, left, falseOf(o.kind, c.rules)}, stdout)
}

// lotChartJSON are the numbers of charts.
type lotChartJSON struct {
	Kind   string            `json:"kind"`
	Charts []lotreport.Chart `json:"charts"`
	Left   []lotreport.Said  `json:"left_out,omitempty"`      // units without what is charted, by why
	False  *falseJSON        `json:"false_signals,omitempty"` // of independent normal values; absent where the kind has none such
}

type falseJSON struct {
	PerPoint float64  `json:"per_point"`
	RunMean  *float64 `json:"mean_run,omitempty"`
	Exact    bool     `json:"exact"`
}

// falseOf is how often the rules call where nothing is wrong; nil for charts of which
// that cannot be told from normal values.
func falseOf(kind string, rules []charts.Rule) *falseJSON {
	if kind != "xbar" && kind != "i" {
		return nil
	}
	f := charts.FalseSignals(rules, 1)
	return &falseJSON{f.PerPoint, part.Num(f.RunMean), f.Exact}
}

// overLots charts counts, a point a lot.
func (o *lotChartOptions) overLots(ctx context.Context, s *records.Store, c chartChoice) ([]lotreport.Chart, error) {
	history, err := lotHistory(ctx, s)
	if err != nil {
		return nil, err
	}
	var all []lots.Lot
	seen := map[string]bool{}
	for _, e := range history {
		if seen[e.Lot] || e.Kind != lots.Opened || !c.from.IsZero() && e.At.Before(c.from) || !c.to.IsZero() && !e.At.Before(c.to) {
			continue
		}
		seen[e.Lot] = true
		l, err := foldLot(ctx, s, e.Lot)
		if err != nil {
			return nil, err
		}
		if r := l.Current(); (o.product == "" || r.Opening.Product == o.product) && (o.stage == "" || string(r.Opening.Stage) == o.stage) {
			all = append(all, l)
		}
	}
	series := seriesOf(all)
	if len(series.names) < fewLots {
		return nil, fmt.Errorf("%s: %s with units that were looked at: a chart needs two at least", s.Where(), cli.Counted(len(series.names), "lot", "lots"))
	}
	chart, err := series.counted(o.kind, c.options)
	return []lotreport.Chart{chart}, err
}

// overUnits charts the step or the waviness, a point a unit or a subgroup, and tells
// which units were left out.
func (o *lotChartOptions) overUnits(ctx context.Context, s *records.Store, c chartChoice) (all []lotreport.Chart, left []lotreport.Said, err error) {
	units, err := o.units(ctx, s, c)
	if err != nil {
		return nil, nil, err
	}
	units, left = c.quantity.measured(process.InTime(units))
	need := 2
	if o.kind == "xbar" {
		need = 2 * o.subgroup
	}
	if len(units) < need {
		en, err := cli.Language("en")
		if err != nil {
			return nil, nil, err
		}
		said := append([]string{fmt.Sprintf("%s: %s of %s: this chart needs %d at least", s.Where(), o.of, cli.Counted(len(units), "unit", "units"), need)}, (&lotreport.Report{}).Say(en, en.Tag, left)...)
		return nil, nil, errors.New(strings.TrimSuffix(strings.Join(said, "; "), "."))
	}
	if o.kind == "ewma" || o.kind == "cusum" {
		all = make([]lotreport.Chart, 1)
		all[0], err = c.quantity.moving(o.kind, units, c.target, o.baseline)
	} else {
		all, err = c.quantity.charts(o.kind, units, o.subgroup, c.options)
	}
	return all, left, err
}

// units are the inspections that hold. The records' brief form has steps, but what is
// mirrored of a screen only stands in whole results.
func (o *lotChartOptions) units(ctx context.Context, s *records.Store, c chartChoice) (units []process.Unit, err error) {
	f := records.Filter{From: c.from, To: c.to, Lot: o.lot, Resin: o.resin, Stage: part.Stage(o.stage)}
	add := func(in records.Inspection) error {
		if in.Holds() {
			units = append(units, processUnits([]records.Inspection{in})...)
		}
		return nil
	}
	if o.of == "waviness" {
		err = s.Each(ctx, f, add)
		return units, err
	}
	ins, err := s.Briefs(ctx, f)
	for i := range ins {
		add(ins[i])
	}
	return units, err
}

// sheet makes the page and the text of charts, in a language.
func (o *lotChartOptions) sheet(l *lang.Lang, c chartChoice, all []lotreport.Chart, figs []lotreport.Figure) report.Sheet {
	t := func(key string, args ...string) string { return l.T("lot.chart."+key, args...) }
	span := t("span", "from", cli.First(o.from, t("begin")), "to", cli.First(o.to, t("now")))
	for _, w := range []string{o.lot, o.product} {
		if w != "" {
			span += ", " + w
		}
	}
	if o.resin != "" {
		span += ", " + t("batch", "name", o.resin)
	}
	s := report.Sheet{Title: l.T("lot.chart.title"), Subject: span, Rating: report.Plain, Frame: cli.Frame(l)}
	points, out := len(all[0].Values), map[int]bool{}
	for _, g := range all[0].Signals {
		out[g.Point] = true
	}
	s.Word, s.Line = t("word", "n", strconv.Itoa(len(out))), t("line", "n", strconv.Itoa(len(out)), "of", strconv.Itoa(points))
	s.Facts = append(s.Facts, report.Fact{Name: t("points"), Value: strconv.Itoa(points)})
	if f := falseOf(o.kind, c.rules); f != nil && f.PerPoint > 0 {
		s.Facts = append(s.Facts, report.Fact{Name: t("false"), Value: t("false_value", "n", l.Number(1/f.PerPoint, 0))})
	}
	for i, chart := range all {
		sec := report.SheetSection{}
		if i < len(figs) {
			sec.Heading = figs[i].Title
			sec.Figures = []report.SheetFigure{{SVG: figs[i].SVG, Alt: figs[i].Title, Caption: figs[i].Caption}}
		}
		if t := chartTable(l, chart); len(t.Rows) > 0 {
			sec.Tables = []report.SheetTable{t}
		} else {
			sec.Text = []string{l.T("lot.chart.quiet")}
		}
		s.Sections = append(s.Sections, sec)
	}
	return s
}

// mostRows bounds the table under a chart.
const mostRows = 60

// chartTable lists the points that stand out, or all where they are few.
func chartTable(l *lang.Lang, c lotreport.Chart) report.SheetTable {
	t := report.SheetTable{Caption: l.T("lot.chart.outs"), Head: []string{l.T("lot.axis." + c.X), l.T("lot.axis." + c.Y), l.T("lot.chart.lower"), l.T("lot.chart.centre"), l.T("lot.chart.upper"), l.T("lot.chart.rule")}, Numeric: []bool{false, true, true, true, true, false}}
	rules := map[int][]string{}
	for _, g := range c.Signals {
		rules[g.Point] = append(rules[g.Point], g.Number)
	}
	few := len(c.Values) <= mostRows/2
	if few {
		t.Caption = l.T("lot.chart.points")
	}
	at := func(v []*float64, i int) string {
		switch {
		case len(v) == 0:
			return ""
		case i >= len(v):
			i = len(v) - 1
		}
		return chartNumber(l, v[i])
	}
	for i, v := range c.Values {
		if (few || len(rules[i]) > 0) && len(t.Rows) < mostRows {
			value := chartNumber(l, v)
			if c.Low != nil {
				value += " / " + chartNumber(l, c.Low[i])
			}
			t.Rows, t.Marked = append(t.Rows, []string{c.Names[i], value, at(c.Lower, i), at(c.Centre, i), at(c.Upper, i), strings.Join(rules[i], " ")}), append(t.Marked, len(rules[i]) > 0)
		}
	}
	return t
}

// chartNumber writes a number with about three digits.
func chartNumber(l *lang.Lang, v *float64) string {
	if v == nil {
		return l.T("not_measured")
	}
	decimals := 0
	for x := math.Abs(*v); x < 100 && decimals < 5 && x != 0; x *= 10 {
		decimals++
	}
	return l.Number(*v, decimals)
}
