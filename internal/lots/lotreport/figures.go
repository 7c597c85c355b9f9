package lotreport

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"finishbench/internal/part"
	"finishbench/internal/report/marks"
	"finishbench/internal/report/plots"
)

// Figure is a plot with its words, ready for a page and for the PDF.
type Figure struct {
	ID      string // the same for the same thing: "oc", "chart-p", "map"
	Title   string
	Caption string
	SVG     []byte
	plot    func(plots.Onto) ([]byte, error)
}

// Figures are the plots of a report, in a language. A plot that has nothing to
// draw is left out.
func (r *Report) Figures(w Words, tag string, zone *time.Location) ([]Figure, error) {
	s := speech{w, tag, zone}
	var all []Figure
	add := func(f Figure) error {
		svg, err := f.plot(nil)
		if errors.Is(err, plots.ErrNothing) || err == nil && svg == nil {
			return nil
		}
		if err != nil {
			return fmt.Errorf("lotreport: %s: %w", f.ID, err)
		}
		f.SVG = svg
		all = append(all, f)
		return nil
	}
	if err := add(Figure{ID: "oc", Title: s.t("fig.oc"), Caption: s.t("fig.oc.caption"),
		plot: func(o plots.Onto) ([]byte, error) { return s.curves(r.Plans, o) }}); err != nil {
		return nil, err
	}
	if c := r.Steps; c != nil {
		if err := add(Figure{ID: "histogram", Title: s.t("fig.histogram"), Caption: s.t("fig.histogram.caption", "n", count(c.N)),
			plot: func(o plots.Onto) ([]byte, error) { return s.histogram(c, o) }}); err != nil {
			return nil, err
		}
	}
	for _, c := range r.Charts {
		if err := add(Figure{ID: "chart-" + c.Kind, Title: s.say(c.Title), Caption: s.chartCaption(c),
			plot: func(o plots.Onto) ([]byte, error) { return s.control(c, o) }}); err != nil {
			return nil, err
		}
	}
	for _, p := range r.Paretos {
		if err := add(Figure{ID: "pareto-" + p.By, Title: s.t("pareto.by." + p.By), Caption: s.chance(p),
			plot: func(o plots.Onto) ([]byte, error) { return s.pareto(p, o) }}); err != nil {
			return nil, err
		}
	}
	if r.Map != nil || r.Shell != nil {
		if err := add(Figure{ID: "map", Title: s.t("fig.map"), Caption: s.placesCaption(r.Map, r.Shell),
			plot: func(o plots.Onto) ([]byte, error) { return s.places(r.Map, r.Shell, o) }}); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// curves draws the operating characteristics.
func (s speech) curves(plans []Plan, onto plots.Onto) ([]byte, error) {
	var all []plots.Series
	for _, p := range plans {
		one := plots.Series{Name: s.T("severity." + string(p.Severity))}
		for _, q := range p.Curve {
			one.X, one.Y = append(one.X, 100*q.X), append(one.Y, q.Y)
		}
		if len(one.X) > 0 {
			all = append(all, one)
		}
	}
	if len(all) == 0 {
		return nil, plots.ErrNothing
	}
	x := s.t("axis.share")
	if plans[0].PerHundred {
		x = s.t("axis.per_hundred")
	}
	return plots.Lines(plots.Options{X: x, Y: s.t("axis.accept"), HeightMM: 70, Onto: onto}, all)
}

// histogram draws the steps with their limits.
func (s speech) histogram(c *Capability, onto plots.Onto) ([]byte, error) {
	if len(c.Histogram) == 0 {
		return nil, plots.ErrNothing
	}
	h := plots.Counted{}
	width := c.Histogram[0].High - c.Histogram[0].Low
	for _, b := range c.Histogram {
		h.Edges, h.Counts = append(h.Edges, b.Low), append(h.Counts, float64(b.Count))
	}
	h.Edges = append(h.Edges, c.Histogram[len(c.Histogram)-1].High)
	for _, m := range []struct {
		name string
		v    *float64
	}{{"hist.lower", c.LowerUM}, {"hist.upper", c.UpperUM}} {
		if m.v != nil {
			h.Marks = append(h.Marks, plots.Mark{Name: s.t(m.name) + " " + s.Number(*m.v, 0), X: *m.v})
		}
	}
	if c.MeanUM != nil && c.SDUM != nil && *c.SDUM > 0 {
		one := plots.Series{Name: s.t("hist.normal")}
		for k := range 81 {
			z := -4 + float64(k)/10
			one.X = append(one.X, *c.MeanUM+z**c.SDUM)
			one.Y = append(one.Y, float64(c.N)*width/(*c.SDUM)*math.Exp(-z*z/2)/math.Sqrt(2*math.Pi))
		}
		h.Curves = []plots.Series{one}
	}
	return plots.Histogram(plots.Options{X: s.t("axis.step"), Y: s.t("axis.count"), HeightMM: 65, Onto: onto}, h)
}

// manyLabels is from how many points on a chart tells numbers rather than names.
const manyLabels = 60

// control draws a control chart.
func (s speech) control(c Chart, onto plots.Onto) ([]byte, error) {
	if len(c.Values) == 0 {
		return nil, plots.ErrNothing
	}
	o := plots.Options{X: s.t("axis." + c.X), Y: s.t("axis." + c.Y), HeightMM: 70, Missing: s.T("not_measured"), Onto: onto}
	var labels []string
	if len(c.Names) <= manyLabels {
		labels = c.Names
	}
	var signs []plots.Sign
	for _, g := range c.Signals {
		signs = append(signs, plots.Sign{Point: g.Point, Number: g.Number, Text: s.word("lot.rule.", g.Rule)})
	}
	if len(c.Low) > 0 {
		return plots.CUSUM(o, plots.Sums{High: numbersOf(c.Values), Low: numbersOf(c.Low), Limit: lastOf(c.Upper), Labels: labels,
			Signs: signs,
			Names: &plots.SumNames{High: s.t("chart.sum_high"), Low: s.t("chart.sum_low"), Limit: s.t("chart.sum_limit")}})
	}
	return plots.Times(o, plots.TimeChart{Values: numbersOf(c.Values), Centre: numbersOf(c.Centre), Lower: numbersOf(c.Lower),
		Upper: numbersOf(c.Upper), Labels: labels, Signs: signs,
		Names: &plots.ChartNames{Centre: s.t("chart.centre"), Upper: s.t("chart.upper"), Lower: s.t("chart.lower"), Out: s.t("chart.out")}})
}

func numbersOf(v []*float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = part.OrNaN(v[i])
	}
	return out
}

func (s speech) chartCaption(c Chart) string {
	var out []string
	for _, t := range c.Notes {
		out = append(out, s.say(t))
	}
	rules := map[string][]string{}
	var order []string
	for _, g := range c.Signals {
		name := count(g.Point + 1)
		if g.Point < len(c.Names) {
			name = c.Names[g.Point]
		}
		if rules[g.Rule] == nil {
			order = append(order, g.Rule)
		}
		rules[g.Rule] = append(rules[g.Rule], name)
	}
	for _, r := range order {
		at := rules[r]
		more := ""
		if len(at) > 12 {
			more = " …"
		}
		out = append(out, s.t("chart.signal", "rule", "@lot.rule."+r, "points", strings.Join(at[:min(len(at), 12)], ", ")+more))
	}
	if len(order) == 0 {
		out = append(out, s.t("chart.quiet"))
	}
	return strings.Join(out, " ")
}

// pareto draws the bars of a count, the most first.
func (s speech) pareto(p Pareto, onto plots.Onto) ([]byte, error) {
	o := plots.Ordered{Bars: s.t("axis.findings"), Line: s.t("pareto.sum")}
	for i, r := range p.Rows {
		if i == maxBars {
			break // what comes after is in the other formats
		}
		o.Categories, o.Shares, o.Texts = append(o.Categories, s.rowName(p.By, r.Name)), append(o.Shares, r.Share),
			append(o.Texts, count(r.Count))
	}
	if len(o.Categories) == 0 {
		return nil, plots.ErrNothing
	}
	return plots.Pareto(plots.Options{Y: s.t("axis.percent_findings"), HeightMM: 60, Onto: onto}, o)
}

// maxBars is how many bars a Pareto shows.
const maxBars = 14

// placesCaption says what the map shows: the faceplate, the shell, what is not there.
func (s speech) placesCaption(m *Map, sh *ShellMap) string {
	var out, notes []string
	left := 0
	if m != nil {
		out = append(out, s.t("map.caption", "n", count(len(m.Findings))))
		for _, c := range m.Circles {
			out = append(out, s.t("map.circle", "n", count(c.Units), "expected", s.Number(c.Expected, 1), "p", s.pValue(part.OrNaN(c.P))))
		}
		left = m.Left
		for _, t := range m.Notes {
			notes = append(notes, s.say(t))
		}
	}
	if sh != nil {
		out = append(out, s.t("map.shell_caption", "n", count(len(sh.Findings)), "share", s.percent(&sh.LookedAt, 0), "girth",
			s.Number(sh.GirthMM, 1)))
		for _, c := range sh.Circles {
			out = append(out, s.t("map.circle_shell", "turn", s.Number(c.TurnDeg, 0), "below", s.Number(c.BelowMM, 1), "n", count(c.Units),
				"expected", s.Number(c.Expected, 1), "p", s.pValue(part.OrNaN(c.P))))
		}
		left += sh.Left
		for _, t := range sh.Notes {
			notes = append(notes, s.say(t))
		}
	}
	if left > 0 {
		out = append(out, s.t("map.left", "n", count(left)))
	}
	return strings.Join(append(out, notes...), " ")
}

// places lays the findings over the faceplate's outline and the unrolled shell.
func (s speech) places(m *Map, sh *ShellMap, onto plots.Onto) ([]byte, error) {
	u := plots.Unrolled{Onto: onto}
	n := map[part.Kind]int{}
	add := func(p plots.Placed, k part.Kind, v part.Severity) {
		p.Outline, p.Heavy = outlineOf(k), v.Rank() >= part.Major.Rank()
		u.Marks = append(u.Marks, p)
		n[k]++
	}
	if m != nil && m.MMWide != nil {
		k := *m.MMWide
		for _, q := range m.Outline {
			u.Plate = append(u.Plate, [2]float64{k * q.X, k * q.Y})
		}
		for _, f := range m.Findings {
			add(plots.Placed{X: k * f.X, Y: k * f.Y}, f.Kind, f.Severity)
		}
		for _, c := range m.Circles {
			u.Rings = append(u.Rings, plots.Ring{Name: s.t("map.ring", "n", count(c.Units)), X: k * c.X, Y: k * c.Y, R: k * c.R})
		}
	}
	if sh != nil {
		u.Names = plots.UnrolledNames{Plate: s.t("map.plate"), Shell: s.t("map.shell"), Turn: s.t("map.turn"), Below: s.t("map.below"),
			Some: s.t("map.some"), None: s.t("map.none")}
		u.GirthMM, u.DepthMM, u.Looked = sh.GirthMM, sh.DepthMM, sh.Rows
		mmPerDeg := sh.GirthMM / 360
		for _, f := range sh.Findings {
			add(plots.Placed{Shell: true, X: mmPerDeg * f.TurnDeg, Y: f.BelowMM}, f.Kind, f.Severity)
		}
		for _, c := range sh.Circles {
			u.OnShell = append(u.OnShell, plots.Ring{Name: s.t("map.ring", "n", count(c.Units)), X: mmPerDeg * c.TurnDeg, Y: c.BelowMM,
				R: c.RMM})
		}
	}
	for _, k := range part.Kinds {
		if n[k] > 0 {
			u.Kinds = append(u.Kinds, plots.Kind{Name: s.T("kind."+string(k)) + " (" + count(n[k]) + ")", Outline: outlineOf(k)})
		}
	}
	return plots.Unroll(u)
}

// outlineOf is a kind's shape and colour for a plot.
func outlineOf(k part.Kind) plots.Outline {
	x := marks.Of(k)
	return plots.Outline{Paths: x.Corners(), Closed: x.Closed, Inner: x.Inner, Colour: marks.Colour(k)}
}

// rowName is a row of a Pareto in words: kinds, zones and stages have texts.
func (s speech) rowName(by, name string) string {
	switch by {
	case "kind", "zone", "stage", "severity":
		return s.word(by+".", name)
	}
	if name == "" {
		return s.t("pareto.untold")
	}
	return name
}

// Tests whose words differ.
const (
	signTest   = "sign test"
	fisherTest = "Fisher's exact test"
)

// chance tells what the chi-squared test says of a Pareto.
func (s speech) chance(p Pareto) string {
	var out []string
	if p.P != nil {
		key := "pareto.chance"
		if *p.P < 0.05 {
			key = "pareto.more"
		}
		if p.Method == signTest {
			key = "pareto.ahead_chance"
			if *p.P < 0.05 {
				key = "pareto.ahead"
			}
		}
		how := s.t("pareto.chi", "chi", s.number(p.Chi2, 1), "df", count(p.DF))
		if p.Chi2 == nil || p.Method == fisherTest {
			how = s.word("lot.test.", strings.ReplaceAll(p.Method, " ", "_"))
		}
		out = append(out, s.t(key, "how", how, "p", s.pValue(*p.P)))
	}
	for _, t := range p.Notes {
		out = append(out, s.say(t))
	}
	return strings.Join(out, " ")
}

func (s speech) pValue(p float64) string {
	if p < 0.001 {
		return "< " + s.Number(0.001, 3)
	}
	return "= " + s.Number(p, 3)
}

func lastOf(v []*float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	return part.OrNaN(v[len(v)-1])
}
