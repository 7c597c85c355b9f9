package lotreport

import (
	"errors"
	"fmt"
	"html"
	"math"
	"slices"
	"strings"
	"time"

	"finishbench/internal/part"
	"finishbench/internal/plots"
)

// Figure is a plot with its words, ready for a page and for the PDF.
type Figure struct {
	ID      string // the same for the same thing: "oc", "chart-p", "map"
	Title   string
	Caption string
	SVG     []byte
}

// Figures are the plots of a report, in a language. A plot that has nothing to
// draw is left out.
func (r *Report) Figures(w Words, tag string, zone *time.Location) ([]Figure, error) {
	s := speech{w, tag, zone}
	var all []Figure
	add := func(f Figure, svg []byte, err error) error {
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
	svg, err := s.curves(r.Plans)
	if err := add(Figure{ID: "oc", Title: s.t("fig.oc"), Caption: s.t("fig.oc.caption")}, svg, err); err != nil {
		return nil, err
	}
	if c := r.Steps; c != nil {
		svg, err := s.histogram(c)
		if err := add(Figure{ID: "histogram", Title: s.t("fig.histogram"), Caption: s.t("fig.histogram.caption", "n", count(c.N))}, svg, err); err != nil {
			return nil, err
		}
	}
	for _, c := range r.Charts {
		svg, err := s.control(c)
		if err := add(Figure{ID: "chart-" + c.Kind, Title: s.say(c.Title), Caption: s.chartCaption(c)}, svg, err); err != nil {
			return nil, err
		}
	}
	for _, p := range r.Paretos {
		svg, err := s.pareto(p)
		if err := add(Figure{ID: "pareto-" + p.By, Title: s.t("pareto.by." + p.By), Caption: s.chance(p)}, svg, err); err != nil {
			return nil, err
		}
	}
	if r.Map != nil && len(r.Map.Outline) > 2 {
		caption := s.t("map.caption", "n", count(len(r.Map.Findings)))
		if r.Map.Left > 0 {
			caption += " " + s.t("map.left", "n", count(r.Map.Left))
		}
		for _, c := range r.Map.Circles {
			caption += " " + s.t("map.circle", "n", count(c.Units), "expected", s.Number(c.Expected, 1), "p", s.pValue(orNaN(c.P)))
		}
		for _, t := range r.Map.Told {
			caption += " " + s.say(t)
		}
		if err := add(Figure{ID: "map", Title: s.t("fig.map"), Caption: caption}, s.mapSVG(r.Map), nil); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// curves draws the operating characteristics.
func (s speech) curves(plans []Plan) ([]byte, error) {
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
	return plots.Lines(plots.Options{X: x, Y: s.t("axis.accept"), HeightMM: 70}, all)
}

// histogram draws the steps with their limits.
func (s speech) histogram(c *Capability) ([]byte, error) {
	if len(c.Histogram) == 0 {
		return nil, plots.ErrNothing
	}
	var names []string
	var one plots.Series
	for i, b := range c.Histogram {
		names = append(names, s.Number((b.Low+b.High)/2, 0))
		one.X, one.Y = append(one.X, float64(i)), append(one.Y, float64(b.Count))
	}
	return plots.Bars(plots.Options{X: s.t("axis.step"), Y: s.t("axis.count"), HeightMM: 65}, names, []plots.Series{one})
}

// manyLabels is from how many points on a chart tells numbers rather than names.
const manyLabels = 60

// control draws a control chart.
func (s speech) control(c Chart) ([]byte, error) {
	if len(c.Values) == 0 {
		return nil, plots.ErrNothing
	}
	p := plots.Chart{Names: &plots.ChartNames{Centre: s.t("chart.centre"), Upper: s.t("chart.upper"), Lower: s.t("chart.lower"), Out: s.t("chart.out")},
		Centre: lastOf(c.Centre), Lower: lastOf(c.Lower), Upper: lastOf(c.Upper)}
	if len(c.Names) <= manyLabels {
		p.Labels = c.Names
	}
	p.Out = make([]bool, len(c.Values))
	for _, g := range c.Signals {
		if g.Point >= 0 && g.Point < len(p.Out) {
			p.Out[g.Point] = true
		}
	}
	for _, v := range c.Values {
		p.Values = append(p.Values, orNaN(v))
	}
	return plots.Control(plots.Options{X: s.t("axis." + c.X), Y: s.t("axis." + c.Y), HeightMM: 70, Missing: s.T("not_measured")}, p)
}

func (s speech) chartCaption(c Chart) string {
	var out []string
	for _, t := range c.Told {
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
func (s speech) pareto(p Pareto) ([]byte, error) {
	var names []string
	var one plots.Series
	for i, r := range p.Rows {
		if i == 14 {
			break // what comes after is in the table
		}
		names = append(names, s.rowName(p.By, r.Name))
		one.X, one.Y = append(one.X, float64(i)), append(one.Y, float64(r.Count))
	}
	if len(names) == 0 {
		return nil, plots.ErrNothing
	}
	return plots.Bars(plots.Options{Y: s.t("axis.findings"), HeightMM: 55}, names, []plots.Series{one})
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
	for _, t := range p.Told {
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

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

func lastOf(v []*float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	return orNaN(v[len(v)-1])
}

// Sizes of the map, in its own units, and of the signs on it.
const (
	mapWide, mapHigh = 680.0, 420.0
	signSize         = 6.5
)

// mapSVG lays the findings over the outline. Each kind has its own sign, filled or
// open; graver findings are drawn larger.
func (s speech) mapSVG(m *Map) []byte {
	const k, left, top = 380.0, 40.0, 20.0
	at := func(x, y float64) (float64, float64) { return left + k*x, top + k*y }
	var kinds []part.Kind
	for _, kd := range part.Kinds {
		if slices.ContainsFunc(m.Findings, func(f MapPoint) bool { return f.Kind == kd }) {
			kinds = append(kinds, kd)
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="plot" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" style="min-width:20rem;max-width:44rem" font-family="system-ui, 'Liberation Sans', 'DejaVu Sans', sans-serif">`, mapWide, mapHigh)
	for i, p := range m.Outline {
		x, y := at(p.X, p.Y)
		op := "L"
		if i == 0 {
			op = `<path style="fill:#FFFDF8;stroke:#1D1B18;stroke-width:2" d="M`
		}
		fmt.Fprintf(&b, "%s%.1f,%.1f", op, x, y)
	}
	b.WriteString(`Z" />`)
	for _, c := range m.Circles {
		x, y := at(c.X, c.Y)
		fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="%.1f" style="fill:none;stroke:#1D1B18;stroke-width:2;stroke-dasharray:6,4" />`, x, y, k*c.R)
	}
	for _, f := range m.Findings {
		x, y := at(f.X, f.Y)
		size := signSize * (0.55 + 0.18*float64(max(f.Severity.Rank(), 0)))
		sign(&b, slices.Index(kinds, f.Kind), x, y, size)
	}
	for i, kd := range kinds {
		y := top + 16 + 26*float64(i)
		n := 0
		for _, f := range m.Findings {
			if f.Kind == kd {
				n++
			}
		}
		sign(&b, i, 470, y, signSize)
		fmt.Fprintf(&b, `<text x="488" y="%.1f" style="font-size:15px;fill:#1D1B18">%s</text>`, y+5, html.EscapeString(s.T("kind."+string(kd))+" ("+count(n)+")"))
	}
	b.WriteString("</svg>")
	return []byte(b.String())
}

// sign draws the sign of the i-th kind.
func sign(b *strings.Builder, i int, x, y, r float64) {
	colours := []string{"#0072B2", "#D55E00", "#009E73", "#CC79A7", "#1D1B18", "#E69F00"}
	c := colours[max(i, 0)%len(colours)]
	fill := c
	if i%2 == 1 {
		fill = "none"
	}
	shape := [][2]float64{}
	switch i % 7 {
	case 0:
		fmt.Fprintf(b, `<circle cx="%.1f" cy="%.1f" r="%.1f" style="fill:%s;fill-opacity:0.7;stroke:%s;stroke-width:1.5" />`, x, y, r*.9, fill, c)
		return
	case 1:
		shape = [][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}}
	case 2:
		shape = [][2]float64{{0, -1.2}, {1.1, .9}, {-1.1, .9}}
	case 3:
		shape = [][2]float64{{0, -1.3}, {1.1, 0}, {0, 1.3}, {-1.1, 0}}
	case 4:
		shape = [][2]float64{{-1.2, -.3}, {-.3, -.3}, {-.3, -1.2}, {.3, -1.2}, {.3, -.3}, {1.2, -.3}, {1.2, .3}, {.3, .3}, {.3, 1.2}, {-.3, 1.2}, {-.3, .3}, {-1.2, .3}}
	case 5:
		shape = [][2]float64{{0, 1.2}, {1.1, -.9}, {-1.1, -.9}}
	case 6:
		shape = [][2]float64{{-1.2, -.8}, {1.2, -.8}, {1.2, .8}, {-1.2, .8}}
	}
	b.WriteString(`<path d="`)
	for k, q := range shape {
		fmt.Fprintf(b, "%s%.1f,%.1f", map[bool]string{true: "M", false: "L"}[k == 0], x+r*q[0], y+r*q[1])
	}
	fmt.Fprintf(b, `Z" style="fill:%s;fill-opacity:0.7;stroke:%s;stroke-width:1.5" />`, fill, c)
}
