package book

import (
	"fmt"
	"strconv"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
)

// lotPlan makes the page of a plan.
type lotPlan struct {
	name    string // "" for no lot in particular
	opening lots.Opening
	said    []part.Phrase // about switching
	written bool          // the lot was opened with it
}

// sheetWords are the texts of the lots' sheets in a language.
type sheetWords struct{ *lang.Lang }

func (x sheetWords) t(key string, args ...string) string { return x.T("lot.sheet."+key, args...) }

// units is "3 units".
func (x sheetWords) units(n int) string { return x.t("units", "n", strconv.Itoa(n)) }

// ofLimits is a limits file's name with the beginning of its hash.
func ofLimits(o *lots.Opening) string { return fmt.Sprintf("%s (%.12s)", o.LimitsName, o.Limits) }

// stage is one in words.
func (x sheetWords) stage(s part.Stage) string { return x.Named("stage.", string(s)) }

func (p lotPlan) sheet(x sheetWords) report.Sheet {
	o := &p.opening
	n, size := strconv.Itoa(o.DrawSize()), strconv.Itoa(o.Size)
	subject := x.t("of_product", "n", size, "product", o.Product, "stage", x.stage(o.Stage))
	if p.name != "" {
		subject = x.t("of_lot", "lot", p.name, "what", subject)
	}
	word, line := x.t("units_of", "n", n, "size", size), x.t("plan.line", "n", n, "size", size)
	if o.DrawSize() >= o.Size {
		word, line = x.t("plan.every"), x.t("plan.every_line", "size", size)
	}
	s := report.Sheet{Title: x.t("plan.title"), Subject: subject, Rating: report.Plain, Word: word, Line: line, Lang: x.Lang,
		Facts: []report.Fact{
			{Name: x.t("tables"), Value: o.Edition}, {Name: x.t("level"), Value: string(o.Level)},
			{Name: x.t("switching"), Value: string(o.Standard)}, {Name: x.t("limits"), Value: ofLimits(o)},
		},
		Reasons: x.SayAll(p.said), Sections: []report.SheetSection{p.plans(x)}}
	for _, c := range o.Classes {
		s.Sections = append(s.Sections, x.protection(c))
	}
	if p.written {
		s.Facts = append(s.Facts, report.Fact{Name: x.t("next"), Value: fmt.Sprintf("inspect lot draw %s --serials FILE", p.name)})
	}
	return s
}

func (p lotPlan) plans(x sheetWords) report.SheetSection {
	t := report.SheetTable{Head: []string{x.t("class"), x.t("plan.counts"), "AQL", x.t("mode"), x.t("letter"), x.t("sample"),
		x.t("accepted_to"), x.t("refused_from")}, Numeric: []bool{false, false, true, false, false, true, true, true}}
	text := []string{x.t("plan.how")}
	for _, c := range p.opening.Classes {
		t.Rows = append(t.Rows, []string{x.severity(c.Severity), x.counts(c), x.aql(c), x.modeOf(c), x.letter(c.Plan),
			strconv.Itoa(c.Plan.N), strconv.Itoa(c.Plan.Ac), strconv.Itoa(c.Plan.Re)})
		if c.Plan.Re > c.Plan.Ac+1 {
			text = append(text, x.t("plan.gap", "severity", x.severity(c.Severity), "ac", strconv.Itoa(c.Plan.Ac), "re",
				strconv.Itoa(c.Plan.Re)))
		}
	}
	return report.SheetSection{Heading: x.t("plan.plans"), Text: text, Tables: []report.SheetTable{t}}
}

func (x sheetWords) severity(s part.Severity) string { return x.Named("severity.", string(s)) }

// severities is "critical, major".
func (x sheetWords) severities(list []part.Severity) string {
	names := make([]string, len(list))
	for i, s := range list {
		names[i] = x.severity(s)
	}
	return strings.Join(names, x.T("join.names"))
}

func (x sheetWords) counts(c lots.Planned) string {
	if c.PerHundred {
		return x.t("plan.count_findings", "classes", x.severities(c.Covers))
	}
	return x.t("plan.count_units", "classes", x.severities(c.Covers))
}

func (x sheetWords) aql(c lots.Planned) string {
	if c.Zero {
		return x.t("plan.none_accepted")
	}
	return strconv.FormatFloat(c.AQL, 'f', -1, 64)
}

func (x sheetWords) mode(m lots.Mode) string { return x.Named("lot.mode.", string(m)) }

func (x sheetWords) modeOf(c lots.Planned) string {
	switch due := c.Switching.Mode; {
	case c.Zero:
		return x.t("plan.not_switched")
	case c.ChosenBy != "":
		return x.t("plan.set_by", "mode", x.mode(c.Plan.Mode), "by", c.ChosenBy, "due", x.mode(due))
	case c.Plan.Mode != due:
		return x.t("plan.due", "mode", x.mode(c.Plan.Mode), "due", x.mode(due))
	}
	return x.mode(c.Plan.Mode)
}

func (x sheetWords) letter(s lots.Single) string {
	if s.Arrow != "" && s.PlanLetter != s.Letter {
		return x.t("plan.arrow", "letter", s.Letter, "to", s.PlanLetter)
	}
	return s.Letter
}

// ocRows is about how many rows a plan's table has.
const ocRows = 20

// protection is a class' operating characteristic, as sentence, plot and table.
func (x sheetWords) protection(c lots.Planned) report.SheetSection {
	protection, oc := c.Plan.Protection(), c.Plan.OC()
	s := report.SheetSection{Heading: x.t("oc.of_class", "severity", x.severity(c.Severity)), Text: []string{x.Say(protection.Phrase)}}
	rows := oc.Curve(ocRows)
	if c.Plan.All || len(rows) == 0 {
		return s
	}
	unit, scale, digits := x.t("oc.percent"), 100.0, x.Shown4
	switch oc.Law {
	case lots.Poisson:
		unit = x.t("oc.per_hundred")
	case lots.Hypergeometric: // of this one lot: whole units
		unit, scale = x.t("oc.among", "size", strconv.Itoa(oc.LotSize)), float64(oc.LotSize)
		digits = func(v float64) string { return x.Shown(v, 0) }
	}
	t := report.SheetTable{Caption: x.t("oc.caption_plan", "law", x.law(oc.Law), "n", strconv.Itoa(oc.N), "ac", strconv.Itoa(oc.Ac)),
		Head:    []string{unit, x.t("oc.accepted_percent"), x.t("oc.aoq"), x.t("oc.ati")},
		Numeric: []bool{true, true, true, true}}
	for _, r := range rows {
		t.Rows = append(t.Rows, []string{digits(scale * r.P), x.Shown(100*r.Pa, 2), x.Shown(100*r.AOQ, 3), x.Shown(r.ATI, 1)})
	}
	plot := plots.OC{Whole: oc.Law == lots.Hypergeometric}
	if !c.Zero {
		plot.Points = append(plot.Points, plots.OCPoint{Name: "AQL", X: c.AQL, Share: part.OrNaN(protection.PaAtAQL)})
	}
	for _, q := range []struct {
		at    *float64
		share int
	}{{protection.P95, 95}, {protection.P50, 50}, {protection.P10, 10}} {
		if q.at != nil && !plot.Whole {
			plot.Points = append(plot.Points, plots.OCPoint{Name: x.t("oc.in_hundred", "n", strconv.Itoa(q.share)), X: *q.at,
				Share: float64(q.share) / 100})
		}
	}
	s.Figures = x.ocFigure(unit, oc.Curve(curvePoints), scale, plot, x.t("oc.over_quality"))
	if protection.AOQL != nil {
		s.Text = append(s.Text, x.t("oc.aoql", "percent", x.Shown4(*protection.AOQL)))
	}
	s.Tables = []report.SheetTable{t}
	return s
}

func (x sheetWords) law(l lots.Law) string { return x.Named("lot.law.", string(l)) }

// ocFigure draws a plan's operating characteristic, qualities times scale, with the
// points that plot has.
func (x sheetWords) ocFigure(quality string, points []lots.CurvePoint, scale float64, plot plots.OC, caption string) []report.SheetFigure {
	curve := plots.Series{Name: x.t("oc.share")}
	for _, r := range points {
		curve.X, curve.Y = append(curve.X, scale*r.P), append(curve.Y, r.Pa)
	}
	plot.Curves = []plots.Series{curve}
	return cli.Figures(cli.Figure(func() ([]byte, error) { return plots.OCCurve(plots.Options{X: quality, Y: curve.Name}, plot) },
		x.t("oc.alt"), caption))
}

// curvePoints draws a smooth line.
const curvePoints = 200

// lotPlanJSON is what lot plan --json writes.
type lotPlanJSON struct {
	Lot        string         `json:"lot,omitempty"`
	Opened     bool           `json:"opened"`
	Draw       int            `json:"draw"` // units that are drawn
	Plan       lots.Opening   `json:"plan"`
	Said       []string       `json:"switching,omitempty"`
	Phrases    []part.Phrase  `json:"switching_phrases,omitempty"` // the same, to be told in any language
	Protection []lotClassJSON `json:"lets_through"`
}

type lotClassJSON struct {
	Severity   part.Severity     `json:"severity"`
	Protection lots.Protection   `json:"through"`
	Curve      []lots.CurvePoint `json:"curve"`
}

func (p lotPlan) numbers() lotPlanJSON {
	j := lotPlanJSON{Lot: p.name, Opened: p.written, Draw: p.opening.DrawSize(), Plan: p.opening,
		Said: lang.English().SayAll(p.said), Phrases: p.said,
		Protection: []lotClassJSON{}}
	for _, c := range p.opening.Classes {
		k := lotClassJSON{Severity: c.Severity, Protection: c.Plan.Protection(), Curve: []lots.CurvePoint{}}
		if !c.Plan.All {
			k.Curve = c.Plan.OC().Curve(ocRows)
		}
		j.Protection = append(j.Protection, k)
	}
	return j
}
