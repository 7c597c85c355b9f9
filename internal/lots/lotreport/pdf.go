package lotreport

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/report/palette"
	"finishbench/internal/report/paper"
)

// manyUnits is up to how many units the PDF lists each with its numbers; of larger
// samples it lists those that count or were not measured, and the other formats
// have all.
const manyUnits = 320

// manyFindings bounds the PDF's list of findings; the gravest come first.
const manyFindings = 600

// WritePDF writes the report, in a language; times are told in zone.
func (r *Report) WritePDF(out io.Writer, w Words, tag string, zone *time.Location) error {
	s := speech{w, tag, zone}
	title := s.t("title") + " " + r.Lot.Name
	p, err := newSheet(s, title, s.t("state."+string(r.Lot.State)), r.Generated, func(n int) string {
		return s.t("foot", "lot", r.Lot.Name, "time", s.clock(r.Generated), "program", r.Program, "page", count(n), "pages", "{pages}")
	})
	if err != nil {
		return fmt.Errorf("lotreport: begin the PDF: %w", err)
	}
	figures, err := r.Figures(w, tag, zone)
	if err != nil {
		return err
	}
	d := pdfReport{r, p, figures}
	d.top()
	d.plans()
	d.decision()
	d.switching()
	d.gauge()
	d.step()
	d.process()
	d.units()
	d.findings()
	d.sample()
	d.end()
	if err := p.Output(out); err != nil {
		return fmt.Errorf("lotreport: write the PDF: %w", err)
	}
	return nil
}

// pdfReport writes a report's parts, one after the other.
type pdfReport struct {
	*Report
	*sheet
	figs []Figure
}

// fig draws a figure where there is one.
func (d pdfReport) fig(ids ...string) {
	for _, f := range d.figs {
		for _, id := range ids {
			if f.ID == id || strings.HasSuffix(id, "*") && strings.HasPrefix(f.ID, strings.TrimSuffix(id, "*")) {
				if err := d.figure(f); err != nil {
					d.SetError(err)
				}
			}
		}
	}
}

// top says what was decided, large, and of which lot.
func (d pdfReport) top() {
	d.letters(smallSize, palette.Soft)
	d.Text(margin, d.y+base(smallSize), paper.Printable(d.t("title")))
	d.y += high(smallSize)
	d.bold(22, palette.Ink, func() {
		for _, l := range paper.Wrap(d.Fpdf, paper.Printable(d.Lot.Name), wide) {
			d.Text(margin, d.y+base(22), l)
			d.y += high(22)
		}
	})
	d.y += 1
	sayWide := wide - 22
	d.letters(bodySize, palette.Ink)
	lines := paper.Wrap(d.Fpdf, paper.Printable(d.headline()), sayWide)
	tall := 6 + high(18) + float64(len(lines))*high(bodySize)
	c := d.stateColour()
	d.SetDrawColor(paper.RGB(c))
	d.SetLineWidth(.9)
	d.Rect(margin, d.y, wide, tall, "D")
	d.sign(margin+10, d.y+tall/2, 5.5, c)
	d.bold(18, palette.Ink, func() { d.Text(margin+20, d.y+2.6+base(18), paper.Printable(d.t("state."+string(d.Lot.State)))) })
	d.letters(bodySize, palette.Ink)
	for i, l := range lines {
		d.Text(margin+20, d.y+2.8+high(18)+float64(i)*high(bodySize)+base(bodySize), l)
	}
	d.y += tall + 3
	l := d.Lot
	all := []fact{
		{d.t("fact.size"), d.t("units", "n", count(l.Size))}, {d.t("fact.product"), l.Product},
		{d.t("fact.stage"), d.word("stage.", l.Stage)}, {d.t("fact.opened"), join(", ", d.clock(l.Opened), l.OpenedBy)},
		{d.t("fact.limits"), limitsWord(l)},
	}
	if l.Stage == "" {
		all[2].value = ""
	}
	if d.Draw != nil {
		all = append(all, fact{d.t("fact.sample"), d.t("units", "n", count(len(d.Draw.Serials)))},
			fact{d.t("fact.seed"), join(", ", fmt.Sprint(d.Draw.Seed), d.t(map[bool]string{true: "draw.given",
				false: "draw.chance"}[d.Draw.Given]))})
	}
	if x := d.Decision; x != nil {
		all = append(all, fact{d.t("fact.decided"), join(", ", d.clock(x.At), x.By)})
	}
	d.facts(append(all, fact{d.t("fact.reported"), d.clock(d.Generated)}))
	d.list("!", d.sayAll(d.Notes))
}

// headline is the decision in a sentence.
func (d pdfReport) headline() string { return d.Headline(d.speech.Words) }

// Headline says in a sentence how the lot stands.
func (r *Report) Headline(w Words) string {
	s := speech{w, "", time.UTC}
	switch {
	case r.Decision != nil:
		return s.t("line."+string(r.Lot.State), "by", r.Decision.By)
	case r.Draw == nil:
		return s.t("line.undrawn")
	case r.Lot.State == ToDecide && !r.reached():
		return s.t("line.done", "n", count(len(r.Draw.Serials)))
	}
	taken := 0
	for _, u := range r.Units {
		if u.Taken {
			taken++
		}
	}
	for _, p := range r.Plans {
		if p.Stand == lots.StandReached {
			key := "line.reached"
			if taken == len(r.Draw.Serials) {
				key = "line.reached_done"
			}
			return s.t(key, "severity", "@severity."+string(p.Severity), "count", count(p.Count), "re", count(p.Re))
		}
	}
	return s.t("line.open", "taken", count(taken), "n", count(len(r.Draw.Serials)))
}

func (r *Report) reached() bool {
	return slices.ContainsFunc(r.Plans, func(p Plan) bool { return p.Stand == lots.StandReached })
}

func (d pdfReport) stateColour() color.NRGBA {
	switch d.Lot.State {
	case Accepted:
		return palette.Green
	case Refused, Returned, Screened:
		return palette.Vermilion
	}
	return palette.Orange
}

// sign is the state's sign: a tick in a disc, a cross in a diamond, three dots.
func (d pdfReport) sign(x, y, r float64, c color.NRGBA) {
	d.SetDrawColor(paper.RGB(c))
	d.SetFillColor(paper.RGB(c))
	d.SetLineWidth(1.3)
	d.SetLineCapStyle("round")
	switch d.Lot.State {
	case Accepted:
		d.Circle(x, y, r, "D")
		d.Line(x-.5*r, y+.05*r, x-.1*r, y+.45*r)
		d.Line(x-.1*r, y+.45*r, x+.5*r, y-.4*r)
	case Refused, Returned, Screened:
		for i := range 4 {
			a, b := float64(i)*math.Pi/2, float64(i+1)*math.Pi/2
			d.Line(x+1.1*r*math.Cos(a), y+1.1*r*math.Sin(a), x+1.1*r*math.Cos(b), y+1.1*r*math.Sin(b))
		}
		d.Line(x-.32*r, y-.32*r, x+.32*r, y+.32*r)
		d.Line(x-.32*r, y+.32*r, x+.32*r, y-.32*r)
	default:
		for i := -1.; i <= 1; i++ {
			d.Circle(x+i*.7*r, y, .18*r, "F")
		}
	}
	d.SetLineCapStyle("butt")
}

func (d pdfReport) sayAll(all []Said) (out []string) {
	for _, x := range all {
		out = append(out, d.say(x))
	}
	return out
}

func join(sep string, parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, sep)
}

// plans tells the sampling plans and how the counts stand against them.
func (d pdfReport) plans() {
	if len(d.Plans) == 0 {
		return
	}
	d.heading(d.t("plan.title"))
	cols := []column{{d.t("plan.severity"), 2.2, false}, {d.t("plan.mode"), 1.7, false}, {d.t("plan.level"), 1.1, false},
		{d.t("plan.letter"), 1.1, false}, {d.t("plan.aql"), 1.2, true},
		{d.t("plan.n"), 1.25, true}, {d.t("plan.ac"), .7, true}, {d.t("plan.re"), .7, true}, {d.t("plan.inspected"), 1.6, true},
		{d.t("plan.count"), 1.2, true}, {d.t("plan.stand"), 3.2, false}}
	var rows [][]string
	for _, x := range d.Plans {
		aql := "–"
		if x.AQL > 0 {
			aql = part.Decimal(x.AQL)
		}
		what := d.t("plan.units")
		if x.PerHundred {
			what = d.t("plan.findings")
		}
		rows = append(rows, []string{d.t("plan.what", "severity", "@severity."+string(x.Severity), "what", what),
			d.word("lot.mode.", x.Mode), x.Level, x.Letter, aql,
			count(x.N), count(x.Ac), count(x.Re), count(x.Inspected), count(x.Count), d.t("stand." + string(x.Stand))})
	}
	d.table(cols, rows, func(i int) bool { return d.Plans[i].Stand == lots.StandReached })
	d.paraIn(d.t("plan.by", "standard", d.standards()), smallSize, palette.Soft)
	for _, x := range d.Plans {
		d.list("•", d.sayAll(x.Notes))
	}
	if lets := d.protection(); len(lets) > 0 {
		d.small(d.t("lets.title"))
		d.list("•", lets)
	}
	d.fig("oc")
}

func (d pdfReport) standards() string {
	var out []string
	seen := map[string]bool{}
	for _, p := range d.Plans {
		if !seen[p.Standard] && p.Standard != "" {
			seen[p.Standard] = true
			out = append(out, p.Standard)
		}
	}
	return strings.Join(out, "; ")
}

func (d pdfReport) protection() []string { return d.speech.lets(d.Plans) }

// Protection says in sentences what the plans let through.
func (r *Report) Protection(w Words) []string { return speech{w, "", time.UTC}.lets(r.Plans) }

func (s speech) lets(plans []Plan) (out []string) {
	for _, p := range plans {
		l, sev := p.Lets, "@severity."+string(p.Severity)
		if l == nil {
			continue
		}
		if l.Zero {
			out = append(out, s.t("lets.zero", "severity", sev))
			continue
		}
		key := "lets.units"
		if p.PerHundred {
			key = "lets.findings"
		}
		t := s.t(key, "severity", sev, "p50", s.shareIn(l.P50, p.PerHundred), "p10", s.shareIn(l.P10, p.PerHundred))
		if l.PAtAQL != nil && p.AQL > 0 {
			t += " " + s.t("lets.aql", "aql", part.Decimal(p.AQL), "p", s.percent(l.PAtAQL, 1))
		}
		if l.AOQL != nil {
			t += " " + s.t("lets.aoql", "v", s.shareIn(l.AOQL, p.PerHundred))
		}
		if l.Law != "" {
			t += " " + s.t("lets.law", "law", "@lot.law."+l.Law)
		}
		out = append(out, t)
	}
	return out
}

// shareIn is a share in per cent, or per hundred units.
func (s speech) shareIn(v *float64, perHundred bool) string {
	if perHundred && v != nil {
		return s.Number(100**v, 2)
	}
	return s.percent(v, 2)
}

// decision is the signature, what became of single units, and how former presentations
// ended.
func (d pdfReport) decision() {
	x := d.Decision
	d.heading(d.t("decision.title"))
	if x == nil {
		d.para(d.t("decision.none"))
	} else {
		d.signature(x)
	}
	d.list("•", d.sayAll(d.Disposed))
	if len(d.Earlier) > 0 {
		d.heading(d.t("earlier.title"))
		d.list("•", d.sayAll(d.Earlier))
	}
}

func (d pdfReport) signature(x *Decision) {
	word := d.t("decision.refuse")
	if x.Accept {
		word = d.t("decision.accept")
	}
	d.facts([]fact{{d.t("decision.word"), word}, {d.t("decision.by"), x.By}, {d.t("decision.at"), d.clock(x.At)},
		{d.t("decision.note"), x.Note}})
	d.list("•", d.sayAll(x.Notes))
	if x.Hash != "" {
		d.paraIn(d.t("decision.hash", "hash", x.Hash), smallSize, palette.Soft)
	}
}

// switching tells in which mode the next lot is inspected.
func (d pdfReport) switching() {
	if len(d.Switching) == 0 {
		return
	}
	d.heading(d.t("switch.title"))
	cols := []column{{d.t("plan.severity"), 2, false}, {d.t("switch.by"), 3, false}, {d.t("switch.before"), 2, false},
		{d.t("switch.after"), 2, false}, {d.t("switch.score"), 1.4, true}}
	var rows [][]string
	for _, x := range d.Switching {
		after := d.t("switch.undecided")
		if x.After != "" {
			after = d.word("lot.mode.", x.After)
		}
		if x.Stopped {
			after = d.t("switch.stopped")
		}
		score := "–"
		if x.Score != nil {
			score = count(*x.Score)
		}
		rows = append(rows, []string{d.T("severity." + string(x.Severity)), x.Standard, d.word("lot.mode.", x.Before), after, score})
	}
	d.table(cols, rows, func(i int) bool { return d.Switching[i].Stopped })
	for _, x := range d.Switching {
		for _, t := range d.sayAll(x.Notes) {
			d.list("•", []string{d.t("switch.told", "severity", "@severity."+string(x.Severity), "told", t)})
		}
	}
}

// gauge tells what the numbers rest on.
func (d pdfReport) gauge() {
	g := d.Gauge
	d.heading(d.t("gauge.title"))
	if u := g.Step; u != nil {
		d.para(d.t("gauge.step", "n", count(u.Stations), "median", d.number(doubled(u.MedianUM), 1), "largest",
			d.number(doubled(u.LargestUM), 1)))
		if u.Unmeasured > 0 {
			d.list("!", []string{d.t("gauge.unmeasured", "n", count(u.Unmeasured))})
		}
	} else {
		d.para(d.t("gauge.no_step"))
	}
	switch s := g.Study; {
	case s == nil:
		d.list("!", []string{d.t("gauge.no_study")})
	default:
		n := ""
		if s.Categories != nil {
			n = count(*s.Categories)
		}
		d.facts([]fact{{d.t("gauge.study"), join(", ", s.Name, s.Date)}, {d.t("gauge.grade"), d.word("lot.grade.", s.Grade)},
			{d.t("gauge.share"), d.percent(s.Gauge, 1)}, {d.t("gauge.tolerance"), d.percent(s.OfTolerance, 1)},
			{d.t("gauge.categories"), n}})
	}
	switch c := g.Check; {
	case c == nil:
		d.list("!", []string{d.t("gauge.no_check")})
	default:
		last := ""
		if c.Last != nil {
			last = d.clock(*c.Last)
		}
		key := "gauge.check_out"
		if c.OK {
			key = "gauge.check_ok"
		}
		d.facts([]fact{{d.t("gauge.check"), d.t(key)}, {d.t("gauge.check_last"), last}, {d.t("gauge.check_log"), c.Log},
			{d.t("gauge.check_told"), c.Notes}})
	}
	if len(g.Scales) == 0 {
		d.list("!", []string{d.t("gauge.no_scale")})
		return
	}
	if g.ScalesOf > 0 && g.ScalesOf < len(d.Units) {
		d.paraIn(d.t("scale.of", "n", count(g.ScalesOf), "of", count(len(d.Units))), smallSize, palette.Soft)
	}
	cols := []column{{d.t("scale.file"), 3, false}, {d.t("scale.made"), 1.6, false}, {d.t("scale.view"), 1.2, false},
		{d.t("scale.mm"), 1.5, true}, {d.t("scale.u"), 1.4, true}, {d.t("scale.units"), 1, true}, {"SHA-256", 2.2, false}}
	var rows [][]string
	for _, x := range g.Scales {
		view := d.t("scale.all")
		if x.View != "" {
			view = d.T("view." + x.View)
		}
		rows = append(rows, []string{x.File, x.Made, view, d.Number(x.MMPerPX, 6), d.Number(100*x.URel, 3), count(x.Units),
			x.SHA256[:min(16, len(x.SHA256))]})
	}
	d.table(cols, rows, nil)
}

func doubled(v *float64) *float64 {
	if v == nil {
		return nil
	}
	return part.Num(2 * *v)
}

// step tells how the step fits its limits.
func (d pdfReport) step() {
	c := d.Steps
	if c == nil {
		return
	}
	d.heading(d.t("cap.title"))
	d.facts([]fact{{d.t("cap.n"), count(c.N)}, {d.t("var.limits"), d.between(d.blank(c.LowerUM, 0), d.blank(c.UpperUM, 0)) + " µm"},
		{d.t("var.mean"), d.number(c.MeanUM, 1) + " µm"}, {d.t("var.sd"), d.number(c.SDUM, 2) + " µm"},
		{d.t("cap.within"), d.number(c.WithinUM, 2) + " µm"}, {d.t("cap.beyond"), d.percent(c.Beyond, 2)}})
	if len(c.Indices) > 0 {
		cols := []column{{d.t("cap.index"), 1, false}, {d.t("cap.value"), 1, true}, {d.t("cap.interval"), 2, true}}
		var rows [][]string
		for _, x := range c.Indices {
			between := "–"
			if x.Low != nil && x.High != nil {
				between = d.t("cap.between", "low", d.Number(*x.Low, 2), "high", d.Number(*x.High, 2), "level", d.Number(100*x.Level, 0))
			}
			rows = append(rows, []string{d.index(x.Name), d.number(x.Value, 2), between})
		}
		d.table(cols, rows, nil)
	}
	if n := c.Normal; n != nil && n.P != nil {
		key := "cap.normal"
		if *n.P < 0.05 {
			key = "cap.skewed"
		}
		d.para(d.t(key, "a2", d.number(n.A2, 3), "p", d.pValue(*n.P)))
	}
	if len(c.Quantiles) > 0 {
		var cols []column
		var row []string
		for _, q := range c.Quantiles {
			cols = append(cols, column{d.t("cap.percentile", "p", part.Decimal(math.Round(1e4*q.P)/100)), 1, true})
			row = append(row, d.number(q.Value, 1))
		}
		d.table(cols, [][]string{row}, nil)
	}
	d.list("•", d.sayAll(c.Notes))
	d.fig("histogram", "chart-xbar", "chart-s", "chart-r", "chart-i", "chart-mr", "chart-ewma", "chart-cusum")
}

// index is the name of a capability index.
func (s speech) index(name string) string {
	if s.Has("lot.index." + name) {
		return s.t("index." + name)
	}
	return name
}

// process tells what the findings have in common.
func (d pdfReport) process() {
	if len(d.Paretos)+len(d.Yields)+len(d.Hints) == 0 && d.Map == nil && d.Shell == nil && len(d.Charts) == 0 {
		return
	}
	d.heading(d.t("process.title"))
	if len(d.Hints) > 0 {
		d.small(d.t("hints.title"))
		d.list("•", d.sayAll(d.Hints))
		d.paraIn(d.t("hints.only"), smallSize, palette.Soft)
	}
	if len(d.Yields) > 0 {
		cols := []column{{d.t("yield.stage"), 2, false}, {d.t("yield.n"), 1, true}, {d.t("yield.passed"), 1, true},
			{d.t("yield.share"), 1, true}, {d.t("cap.interval"), 2, true}}
		var rows [][]string
		for _, y := range d.Yields {
			name := d.t("yield.rolled")
			if y.Stage != "" {
				name = d.word("stage.", y.Stage)
			}
			between := "–"
			if y.Low != nil && y.High != nil {
				between = d.between(d.percent(y.Low, 1), d.percent(y.High, 1))
			}
			n, passed := count(y.N), count(y.Passed)
			if y.Stage == "" {
				n, passed = "–", "–"
			}
			rows = append(rows, []string{name, n, passed, d.percent(y.Share, 1), between})
		}
		d.small(d.t("yield.title"))
		d.table(cols, rows, nil)
	}
	if len(d.Escapes) > 0 {
		d.small(d.t("escape.title"))
		var all []string
		for _, e := range d.Escapes {
			all = append(all, d.t("escape.line", "from", "@stage."+e.From, "to", "@stage."+e.To, "n", count(e.N), "found", count(e.Found),
				"share", d.percent(e.Share, 1), "overlooked", count(e.Overlooked)))
		}
		d.list("•", all)
	}
	d.fig("pareto-*", "map", "chart-p", "chart-np", "chart-c", "chart-u", "chart-demerit")
}

// units lists the units of the sample with their numbers.
func (d pdfReport) units() {
	if len(d.Units) == 0 {
		return
	}
	d.heading(d.t("unit.title"))
	var shown []Unit
	for _, u := range d.Units {
		if u.Taken && (len(d.Units) <= manyUnits || u.Counts || u.Verdict == part.NotMeasured) {
			shown = append(shown, u)
		}
	}
	if len(d.Units) > manyUnits {
		d.para(d.t("unit.some", "n", count(len(d.Units))))
	}
	d.paraIn(d.t("unit.u"), smallSize, palette.Soft)
	if len(shown) == 0 {
		d.para(d.t("unit.none"))
		return
	}
	cols := []column{{d.t("unit.place"), .8, true}, {d.t("unit.serial"), 2.2, false}, {d.t("unit.verdict"), 2, false},
		{d.t("unit.step"), 2, true}, {d.t("unit.score"), 1.1, true},
		{d.T("severity.critical"), 1, true}, {d.T("severity.major"), 1, true}, {d.T("severity.moderate"), 1.45, true},
		{d.T("severity.minor"), 1, true}, {d.t("unit.when"), 2.4, false}, {d.t("unit.by"), 1.8, false}}
	var rows [][]string
	for _, u := range shown {
		when := ""
		if u.At != nil {
			when = d.clock(*u.At)
		}
		rows = append(rows, []string{count(u.Place), u.Serial, d.word("verdict_short.", string(u.Verdict)),
			d.withU(u.WorstStepUM, u.UUM, 0), d.blank(u.Score, 0),
			count(u.Critical), count(u.Major), count(u.Moderate), count(u.Minor), when, u.By})
	}
	d.table(cols, rows, func(i int) bool { return shown[i].Counts })
	d.paraIn(d.t("unit.marked"), smallSize, palette.Soft)
	for _, u := range shown {
		if phrases := d.seam(u.Seam); u.Counts && phrases != "" {
			d.list("•", []string{d.t("unit.seam", "serial", u.Serial, "what", phrases)})
		}
		if u.Person != "" {
			d.list("•", []string{d.t("unit.person", "serial", u.Serial, "what", u.Person)})
		}
	}
}

// seam tells the curve of a unit's steps in a line.
func (d pdfReport) seam(s *part.SeamShape) string {
	if s == nil {
		return ""
	}
	var phrases []string
	if s.MeanUM != nil {
		phrases = append(phrases, d.t("seam.mean", "um", d.withU(s.MeanUM, s.UMeanUM, 0)))
	}
	switch {
	case s.OffCentreUM != nil:
		phrases = append(phrases, d.t("seam.off_centre", "um", d.withU(s.OffCentreUM, s.UOffCentreUM, 0), "deg", d.number(s.TowardsDeg, 0)))
	case s.OffCentreMostUM != nil:
		phrases = append(phrases, d.t("seam.centred", "um", d.number(s.OffCentreMostUM, 0)))
	case s.AlongUM != nil:
		phrases = append(phrases, d.t("seam.along", "um", d.withU(s.AlongUM, s.UAlongUM, 0), "deg", d.number(s.AlongDeg, 0)))
	}
	if s.OvalUM != nil {
		phrases = append(phrases, d.t("seam.oval", "um", d.withU(s.OvalUM, s.UOvalUM, 0)))
	}
	return strings.Join(phrases, "; ")
}

// findings lists what was found, the gravest first within each unit as it came.
func (d pdfReport) findings() {
	if len(d.Findings) == 0 {
		return
	}
	d.heading(d.t("finding.title"))
	shown := d.Findings
	if len(shown) > manyFindings {
		var grave []Finding
		for rank := part.Critical.Rank(); rank >= 0; rank-- {
			for _, f := range d.Findings {
				if f.Severity.Rank() == rank && len(grave) < manyFindings {
					grave = append(grave, f)
				}
			}
		}
		shown = grave
		d.para(d.t("finding.some", "n", count(len(d.Findings)), "shown", count(len(shown))))
	}
	d.paraIn(d.t("finding.u"), smallSize, palette.Soft)
	cols := []column{{d.t("unit.serial"), 2, false}, {d.t("finding.number"), .7, true}, {d.t("finding.kind"), 2.2, false},
		{d.t("finding.where"), 2.4, false}, {d.t("finding.severity"), 1.5, false},
		{d.t("finding.size"), 2.6, true}, {d.t("finding.confidence"), 1.6, true}}
	var rows [][]string
	for _, f := range shown {
		where := d.T("zone." + orUnknown(string(f.Zone)))
		if f.Place != "" {
			where = d.place(f.Place)
		}
		if f.TurnDeg != nil && f.BelowMM != nil {
			where = d.t("finding.on_shell", "turn", d.Number(*f.TurnDeg, 0), "below", d.Number(*f.BelowMM, 1))
		}
		rows = append(rows, []string{f.Serial, count(f.Number), d.T("kind." + string(f.Kind)), where, d.T("severity." + string(f.Severity)),
			d.size(f), d.Number(f.Confidence, 2)})
	}
	d.table(cols, rows, nil)
}

func orUnknown(s string) string {
	if s == "" {
		return "unknown"
	}
	return s
}

// size is a finding's size with unit and expanded uncertainty.
func (s speech) size(f Finding) string {
	switch {
	case f.ValueUM != nil:
		return s.Number(*f.ValueUM, 0) + " µm"
	case f.DiameterMM != nil:
		return s.withU(f.DiameterMM, f.UDiamMM, 2) + " mm"
	case f.LengthMM != nil:
		return s.withU(f.LengthMM, f.ULengthMM, 2) + " mm"
	}
	return s.number(nil, 0)
}

// sample lists the drawn serials in the order of drawing, so that anyone can draw
// them again.
func (d pdfReport) sample() {
	x := d.Draw
	if x == nil || len(x.Serials) == 0 {
		return
	}
	d.heading(d.t("draw.title"))
	d.para(d.t("draw.how", "n", count(len(x.Serials)), "from", count(x.From), "seed", fmt.Sprint(x.Seed), "algorithm",
		d.algorithm(x.Algorithm), "time", d.clock(x.At), "by", join("", x.By)))
	counts := map[string]bool{}
	for _, u := range d.Units {
		if u.Counts {
			counts[u.Serial] = true
		}
	}
	widest := 0.0
	texts := make([]string, len(x.Serials))
	d.letters(smallSize, palette.Ink)
	for i, s := range x.Serials {
		texts[i] = paper.Printable(s)
		if counts[s] {
			texts[i] += " ×"
		}
		widest = max(widest, d.GetStringWidth(texts[i]))
	}
	cols := max(1, int(wide/(widest+4)))
	for i := 0; i < len(texts); i += cols {
		d.need(high(smallSize))
		d.letters(smallSize, palette.Ink)
		for k := 0; k < cols && i+k < len(texts); k++ {
			d.Text(margin+float64(k)*wide/float64(cols), d.y+base(smallSize), texts[i+k])
		}
		d.y += high(smallSize)
	}
	d.y += 1
	d.paraIn(d.t("draw.marked"), smallSize, palette.Soft)
	for _, s := range x.Replaced {
		d.list("•", []string{d.t("draw.replaced", "serial", s.Serial, "with", s.With, "by", s.By, "time", d.clock(s.At), "why", s.Why)})
	}
}

// algorithm says what the name of a way of drawing stands for.
func (s speech) algorithm(name string) string {
	if s.Has("lot.draw.by." + name) {
		return name + ": " + s.t("draw.by."+name)
	}
	return name
}

// end says what the report is not.
func (d pdfReport) end() {
	d.heading(d.t("end.title"))
	d.list("•", []string{d.t("end.sample"), d.t("end.gauge"), d.t("end.not")})
}
