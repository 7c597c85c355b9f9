package book

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

	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/lots/lotreport"
	"finishbench/internal/lots/process"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/report"
	"finishbench/internal/stats/charts"
)

// Kinds of charts, over lots and over units.
func Kinds() []string { return []string{"p", "np", "c", "u", "demerit"} }

// UnitKinds are the values that are charted by unit.
func UnitKinds() []string { return []string{"xbar", "i", "ewma", "cusum"} }

// ChartOptions are the flags of lot chart.
type ChartOptions struct {
	*cli.Database
	cli.SheetOptions
	Kind, Of, From, To, Lot, Resin, Product, Stage, Rules, Target string
	Subgroup, Baseline                                            int
}

// chosen are the flags as read.
type chartChoice struct {
	from, to time.Time
	target   *float64
	options  charts.Options
	rules    []charts.Rule
	quantity quantity
}

func (o *ChartOptions) choice() (c chartChoice, err error) {
	if !slices.Contains(append(Kinds(), UnitKinds()...), o.Kind) {
		return c, cli.Usagef("--kind %q: there are %s", o.Kind, strings.Join(append(Kinds(), UnitKinds()...), ", "))
	}
	switch o.Of {
	case "step":
		c.quantity = steps()
	case "waviness":
		c.quantity = waviness()
	default:
		return c, cli.Usagef("--of %q: there are step, waviness", o.Of)
	}
	for _, t := range []struct {
		flag, text string
		to         *time.Time
	}{{"--from", o.From, &c.from}, {"--to", o.To, &c.to}} {
		if t.text == "" {
			continue
		}
		if *t.to, err = cli.ClockTime(t.flag, t.text); err != nil {
			return c, err
		}
	}
	if !c.from.IsZero() && !c.to.IsZero() && !c.from.Before(c.to) {
		return c, cli.Usagef("--from %s is not before --to %s", o.From, o.To)
	}
	if o.Stage != "" {
		if _, err := part.ParseStage(o.Stage); err != nil {
			return c, cli.UsageError{Err: err}
		}
	}
	switch {
	case o.Subgroup < 2 || o.Subgroup > charts.MaxSize:
		return c, cli.Usagef("--subgroup %d: a subgroup has 2 to %d units; for single ones use --kind i", o.Subgroup, charts.MaxSize)
	case o.Baseline < 0:
		return c, cli.Usagef("--baseline %d: a number of points, 0 for all", o.Baseline)
	case o.Lot != "" && slices.Contains(Kinds(), o.Kind):
		return c, cli.Usagef("--lot is for charts of units; a chart of kind %s goes over lots", o.Kind)
	case o.Of != "step" && slices.Contains(Kinds(), o.Kind):
		return c, cli.Usagef("--of %s is for charts of units; a chart of kind %s counts over lots", o.Of, o.Kind)
	case o.Resin != "" && slices.Contains(Kinds(), o.Kind):
		return c, cli.Usagef("--resin is for charts of units; a chart of kind %s goes over lots", o.Kind)
	case o.Product != "" && !slices.Contains(Kinds(), o.Kind):
		return c, cli.Usagef("--product is for charts over lots, not for kind %s", o.Kind)
	case o.Target != "" && o.Kind != "ewma" && o.Kind != "cusum":
		return c, cli.Usagef("--target is for ewma and cusum")
	}
	if o.Target != "" {
		v, err := strconv.ParseFloat(o.Target, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return c, cli.Usagef("--target %q is no number", o.Target)
		}
		c.target = &v
	}
	if c.rules, err = charts.Rules(o.Rules); err != nil {
		return c, cli.UsageError{Err: err}
	}
	c.options = charts.Options{Rules: c.rules, Phases: []charts.Phase{{Baseline: o.Baseline}}}
	return c, nil
}

// RunChart draws the process over many lots.
func RunChart(ctx context.Context, o ChartOptions, stdout io.Writer) error {
	c, err := o.choice()
	if err != nil {
		return err
	}
	l, err := cli.Language(o.Language)
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
	if slices.Contains(Kinds(), o.Kind) {
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
	return o.Write("chart", sheet, ChartJSON{o.Kind, all, left, falseOf(o.Kind, c.rules)}, stdout)
}

// ChartJSON are the numbers of charts.
type ChartJSON struct {
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
func (o *ChartOptions) overLots(ctx context.Context, s *records.Store, c chartChoice) ([]lotreport.Chart, error) {
	history, err := History(ctx, s)
	if err != nil {
		return nil, err
	}
	var all []lots.Lot
	seen := map[string]bool{}
	for _, e := range history {
		if seen[e.Name] || e.Kind != lots.Opened || !c.from.IsZero() && e.At.Before(c.from) || !c.to.IsZero() && !e.At.Before(c.to) {
			continue
		}
		seen[e.Name] = true
		l, err := Fold(ctx, s, e.Name)
		if err != nil {
			return nil, err
		}
		if r := l.Current(); (o.Product == "" || r.Opening.Product == o.Product) && (o.Stage == "" || string(r.Opening.Stage) == o.Stage) {
			all = append(all, l)
		}
	}
	series := seriesOf(all)
	if len(series.names) < minLots {
		return nil, fmt.Errorf("%s: %s with units that were looked at: a chart needs two at least", s.Where(),
			cli.Counted(len(series.names), "lot", "lots"))
	}
	chart, err := series.counted(o.Kind, c.options)
	return []lotreport.Chart{chart}, err
}

// overUnits charts the step or the waviness, a point a unit or a subgroup, and tells
// which units were left out.
func (o *ChartOptions) overUnits(ctx context.Context, s *records.Store, c chartChoice) (all []lotreport.Chart, left []lotreport.Said,
	err error) {
	units, err := o.units(ctx, s, c)
	if err != nil {
		return nil, nil, err
	}
	units, left = c.quantity.measured(process.InTime(units))
	need := 2
	if o.Kind == "xbar" {
		need = 2 * o.Subgroup
	}
	if len(units) < need {
		en, err := cli.Language("en")
		if err != nil {
			return nil, nil, err
		}
		said := append([]string{fmt.Sprintf("%s: %s of %s: this chart needs %d at least", s.Where(), o.Of,
			cli.Counted(len(units), "unit", "units"), need)}, (&lotreport.Report{}).Say(en, en.Tag, left)...)
		return nil, nil, errors.New(strings.TrimSuffix(strings.Join(said, "; "), "."))
	}
	if o.Kind == "ewma" || o.Kind == "cusum" {
		all = make([]lotreport.Chart, 1)
		all[0], err = c.quantity.moving(o.Kind, units, c.target, o.Baseline)
	} else {
		all, err = c.quantity.charts(o.Kind, units, o.Subgroup, c.options)
	}
	return all, left, err
}

// units are the inspections that hold. The records' brief form has steps, but what is
// mirrored of a screen only stands in whole results.
func (o *ChartOptions) units(ctx context.Context, s *records.Store, c chartChoice) (units []process.Unit, err error) {
	f := records.Filter{From: c.from, To: c.to, Lot: o.Lot, Resin: o.Resin, Stage: part.Stage(o.Stage)}
	add := func(in part.Inspection) error {
		if in.Holds() {
			units = append(units, process.UnitOf(&in))
		}
		return nil
	}
	if o.Of == "waviness" {
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
func (o *ChartOptions) sheet(l *lang.Lang, c chartChoice, all []lotreport.Chart, figs []lotreport.Figure) report.Sheet {
	t := func(key string, args ...string) string { return l.T("lot.chart."+key, args...) }
	span := t("span", "from", cli.First(o.From, t("begin")), "to", cli.First(o.To, t("now")))
	for _, w := range []string{o.Lot, o.Product} {
		if w != "" {
			span += ", " + w
		}
	}
	if o.Resin != "" {
		span += ", " + t("batch", "name", o.Resin)
	}
	s := report.Sheet{Title: l.T("lot.chart.title"), Subject: span, Rating: report.Plain, Lang: l, Cautions: report.AllCautions(l)}
	points, out := len(all[0].Values), map[int]bool{}
	for _, g := range all[0].Signals {
		out[g.Point] = true
	}
	s.Word, s.Line = t("word", "n", strconv.Itoa(len(out))), t("line", "n", strconv.Itoa(len(out)), "of", strconv.Itoa(points))
	s.Facts = append(s.Facts, report.Fact{Name: t("points"), Value: strconv.Itoa(points)})
	if f := falseOf(o.Kind, c.rules); f != nil && f.PerPoint > 0 {
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
	t := report.SheetTable{Caption: l.T("lot.chart.outs"), Head: []string{l.T("lot.axis." + c.X), l.T("lot.axis." + c.Y),
		l.T("lot.chart.lower"), l.T("lot.chart.centre"), l.T("lot.chart.upper"), l.T("lot.chart.rule")}, Numeric: []bool{false, true, true, true, true, false}}
	rules := map[int][]string{}
	for _, g := range c.Signals {
		rules[g.Point] = append(rules[g.Point], g.Number)
	}
	short := len(c.Values) <= mostRows/2
	if short {
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
		if (short || len(rules[i]) > 0) && len(t.Rows) < mostRows {
			value := chartNumber(l, v)
			if c.Low != nil {
				value += " / " + chartNumber(l, c.Low[i])
			}
			t.Rows, t.Marked = append(t.Rows, []string{c.Names[i], value, at(c.Lower, i), at(c.Centre, i), at(c.Upper, i),
				strings.Join(rules[i], " ")}), append(t.Marked, len(rules[i]) > 0)
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
