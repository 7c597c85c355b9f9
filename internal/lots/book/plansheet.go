package book

import (
	"fmt"
	"strconv"

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
	said    []string // about switching
	written bool     // the lot was opened with it
}

func (p lotPlan) sheet() report.Sheet {
	o := &p.opening
	n := o.DrawSize()
	subject := fmt.Sprintf("%d units of %s, %s", o.Size, o.Product, o.Stage)
	if p.name != "" {
		subject = "lot " + p.name + ": " + subject
	}
	word := fmt.Sprintf("%s of %d", cli.Counted(n, "unit", "units"), o.Size)
	line := fmt.Sprintf("Look at %s of the %d, drawn at random.", cli.Counted(n, "unit", "units"), o.Size)
	if n >= o.Size {
		word, line = "every unit", fmt.Sprintf("Look at all %d units: the plan's sample is as large as the lot.", o.Size)
	}
	s := report.Sheet{Title: "Sampling plan", Subject: subject, Rating: report.Plain, Word: word, Line: line,
		Facts: []report.Fact{
			{Name: "tables", Value: o.Edition}, {Name: "inspection level", Value: string(o.Level)},
			{Name: "switching", Value: string(o.Standard)}, {Name: "limits", Value: fmt.Sprintf("%s (%.12s)", o.LimitsName, o.Limits)},
		},
		Reasons: p.said, Sections: []report.SheetSection{p.plans()}}
	for _, c := range o.Classes {
		s.Sections = append(s.Sections, protectionSection(c))
	}
	if p.written {
		s.Facts = append(s.Facts, report.Fact{Name: "next", Value: fmt.Sprintf("inspect lot draw %s --serials FILE", p.name)})
	}
	return s
}

func (p lotPlan) plans() report.SheetSection {
	t := report.SheetTable{Head: []string{"class", "counts", "AQL", "mode", "letter", "sample", "accepted up to", "refused from"},
		Numeric: []bool{false, false, true, false, false, true, true, true}}
	for _, c := range p.opening.Classes {
		t.Rows = append(t.Rows, []string{string(c.Severity), countsWhat(c), aqlWord(c), modeWord(c), letterWord(c.Plan),
			strconv.Itoa(c.Plan.N), strconv.Itoa(c.Plan.Ac), strconv.Itoa(c.Plan.Re)})
	}
	text := []string{"A unit counts once, in the class of the worst that it has. Each class is judged on the first units of the draw, as many as its sample has."}
	for _, c := range p.opening.Classes {
		if c.Plan.Re > c.Plan.Ac+1 {
			text = append(text, fmt.Sprintf("%s: a count between %d and %d accepts the lot, and the next one is inspected normally.",
				c.Severity, c.Plan.Ac, c.Plan.Re))
		}
	}
	return report.SheetSection{Heading: "Plans", Text: text, Tables: []report.SheetTable{t}}
}

func countsWhat(c lots.Planned) string {
	if c.PerHundred {
		return "findings: " + severitiesOf(c.Covers)
	}
	return "units: " + severitiesOf(c.Covers)
}

func aqlWord(c lots.Planned) string {
	if c.Zero {
		return "none accepted"
	}
	return strconv.FormatFloat(c.AQL, 'f', -1, 64)
}

func modeWord(c lots.Planned) string {
	switch due := c.Switching.Mode; {
	case c.Zero:
		return "not switched"
	case c.ChosenBy != "":
		return fmt.Sprintf("%s (set by %s; %s was due)", c.Plan.Mode, c.ChosenBy, due)
	case c.Plan.Mode != due:
		return fmt.Sprintf("%s (%s is due)", c.Plan.Mode, due)
	}
	return string(c.Plan.Mode)
}

func letterWord(s lots.Single) string {
	if s.Arrow != "" && s.PlanLetter != s.Letter {
		return fmt.Sprintf("%s, arrow to %s", s.Letter, s.PlanLetter)
	}
	return s.Letter
}

// ocRows is about how many rows a plan's table has.
const ocRows = 20

// protectionSection is a class' operating characteristic, as sentence, plot and table.
func protectionSection(c lots.Planned) report.SheetSection {
	protection, oc := c.Plan.Protection(), c.Plan.OC()
	s := report.SheetSection{Heading: fmt.Sprintf("What the plan for %s lets through", c.Severity), Text: []string{protection.Sentence}}
	rows := oc.Curve(ocRows)
	if c.Plan.All || len(rows) == 0 {
		return s
	}
	unit, scale, digits := "nonconforming units / %", 100.0, lang.English().Shown4
	switch oc.Law {
	case lots.Poisson:
		unit = "nonconformities per 100 units"
	case lots.Hypergeometric: // of this one lot: whole units
		unit, scale = fmt.Sprintf("nonconforming units among the %d", oc.LotSize), float64(oc.LotSize)
		digits = func(v float64) string { return lang.English().Shown(v, 0) }
	}
	t := report.SheetTable{Caption: fmt.Sprintf("Operating characteristic (%s), %d units, accepted up to %d", oc.Law, oc.N, oc.Ac),
		Head:    []string{unit, "accepted / %", "average outgoing quality / %", "units looked at on average"},
		Numeric: []bool{true, true, true, true}}
	for _, r := range rows {
		t.Rows = append(t.Rows, []string{digits(scale * r.P), lang.English().Shown(100*r.Pa, 2), lang.English().Shown(100*r.AOQ, 3),
			lang.English().Shown(r.ATI, 1)})
	}
	plot := plots.OC{Whole: oc.Law == lots.Hypergeometric}
	if !c.Zero {
		plot.Points = append(plot.Points, plots.OCPoint{Name: "AQL", X: c.AQL, Share: cli.NumberOf(protection.PaAtAQL)})
	}
	for _, q := range []struct {
		name  string
		at    *float64
		share float64
	}{{"95 in 100", protection.P95, 0.95}, {"50 in 100", protection.P50, 0.5}, {"10 in 100", protection.P10, 0.1}} {
		if q.at != nil && !plot.Whole {
			plot.Points = append(plot.Points, plots.OCPoint{Name: q.name, X: *q.at, Share: q.share})
		}
	}
	s.Figures = ocFigure(unit, oc.Curve(curvePoints), scale, plot, "Share of lots that the plan accepts, over the quality that comes in.")
	if protection.AOQL != nil {
		s.Text = append(s.Text,
			fmt.Sprintf("Where refused lots are looked at unit by unit, what leaves has %s %% bad units at worst, on average over many lots.", lang.English().Shown4(*protection.AOQL)))
	}
	s.Tables = []report.SheetTable{t}
	return s
}

// ocFigure draws a plan's operating characteristic, qualities times scale, with the
// points that plot has.
func ocFigure(x string, points []lots.CurvePoint, scale float64, plot plots.OC, caption string) []report.SheetFigure {
	const y = "share of lots accepted"
	curve := plots.Series{Name: y}
	for _, r := range points {
		curve.X, curve.Y = append(curve.X, scale*r.P), append(curve.Y, r.Pa)
	}
	plot.Curves = []plots.Series{curve}
	return cli.Figures(cli.Figure(func() ([]byte, error) { return plots.OCCurve(plots.Options{X: x, Y: y}, plot) },
		"Operating characteristic: share of lots accepted over their quality.", caption))
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
	Protection []lotClassJSON `json:"lets_through"`
}

type lotClassJSON struct {
	Severity   part.Severity     `json:"severity"`
	Protection lots.Protection   `json:"through"`
	Curve      []lots.CurvePoint `json:"curve"`
}

func (p lotPlan) numbers() lotPlanJSON {
	j := lotPlanJSON{Lot: p.name, Opened: p.written, Draw: p.opening.DrawSize(), Plan: p.opening, Said: p.said, Protection: []lotClassJSON{}}
	for _, c := range p.opening.Classes {
		k := lotClassJSON{Severity: c.Severity, Protection: c.Plan.Protection(), Curve: []lots.CurvePoint{}}
		if !c.Plan.All {
			k.Curve = c.Plan.OC().Curve(ocRows)
		}
		j.Protection = append(j.Protection, k)
	}
	return j
}
