package shift

import (
	"math"
	"strconv"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/compare"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
)

// Page makes the sheet of a shift, in a language. It judges nothing: a
// yield is good or poor only beside what the house expects of it.
type Page struct {
	L        *lang.Lang
	s        compare.Shift
	O        compare.ShiftOptions
	from, to time.Time
	subject  string // bench, lot: what was chosen; may be empty
}

// t is a text of the sheet's own.
func (s Page) t(key string, args ...string) string { return s.L.T("sheet."+key, args...) }

// Sheet is the page.
func (s Page) Sheet() report.Sheet {
	span := s.t("span", "from", s.clock(s.from), "to", s.clock(s.to))
	if s.subject != "" {
		span += ", " + s.subject
	}
	sh := report.Sheet{Title: s.t("title"), Subject: span, Rating: report.Plain, Lang: s.L, Cautions: report.AllCautions(s.L)}
	if s.s.Inspections == 0 {
		sh.Line = s.t("empty")
		if s.s.Void > 0 {
			sh.Facts = []report.Fact{{Name: s.t("void"), Value: strconv.Itoa(s.s.Void)}}
		}
		sh.Sections = []report.SheetSection{s.how()}
		return sh
	}
	sh.Word, sh.Line = s.headline()
	sh.Facts, sh.Warnings = s.facts(), s.warnings()
	sh.Sections = []report.SheetSection{s.calls(), s.kinds(), s.steps(), s.hours(), s.overrules(), s.how()}
	return sh
}

func (s Page) clock(t time.Time) string {
	return t.In(s.location()).Format("2006-01-02 15:04")
}

func (s Page) location() *time.Location {
	if s.O.Location == nil {
		return time.UTC
	}
	return s.O.Location
}

func (s Page) percent(v float64) string { return s.L.Number(100*v, 0) }

// headline is the yield, large, and the sentence under it.
func (s Page) headline() (word, line string) {
	f := s.s.First
	if f.Yield == nil {
		return "", s.t("line.none")
	}
	return s.percent(*f.Yield) + " %", s.t("line", "passed", strconv.Itoa(f.Passed), "n", strconv.Itoa(f.Measured))
}

func (s Page) share(f compare.FirstPass) string {
	if f.Yield == nil {
		return s.t("yield.none")
	}
	return s.t("share", "v", s.percent(*f.Yield), "passed", strconv.Itoa(f.Passed), "n", strconv.Itoa(f.Measured))
}

func (s Page) facts() []report.Fact {
	facts := []report.Fact{
		{Name: s.t("units"), Value: strconv.Itoa(s.s.Units)},
		{Name: s.t("inspections"), Value: strconv.Itoa(s.s.Inspections)},
		{Name: s.t("yield"), Value: s.share(s.s.First)},
	}
	if s.s.First != s.s.FirstTool && (s.s.First.Passed != s.s.FirstTool.Passed || s.s.First.Measured != s.s.FirstTool.Measured) {
		facts = append(facts, report.Fact{Name: s.t("yield.tool"), Value: s.share(s.s.FirstTool)})
	}
	facts = append(facts,
		report.Fact{Name: s.t("per_hour"), Value: s.L.Number(part.OrNaN(s.s.PerHour), 0)},
		report.Fact{Name: s.t("active"), Value: s.L.Number(s.s.ActiveHours, 1)})
	n := 0
	for _, o := range s.s.Overrules {
		n += o.Count
	}
	if n > 0 {
		facts = append(facts, report.Fact{Name: s.t("overruled"), Value: strconv.Itoa(n)})
	}
	if s.s.Void > 0 {
		facts = append(facts, report.Fact{Name: s.t("void"), Value: strconv.Itoa(s.s.Void)})
	}
	return facts
}

func (s Page) warnings() []string {
	var w []string
	if n := s.s.First.NotMeasured; n > 0 {
		w = append(w, s.t("warn.unmeasured", "n", strconv.Itoa(n)))
	}
	if n := s.s.Steps.Missing; n > 0 {
		w = append(w, s.t("warn.no_step", "n", strconv.Itoa(n)))
	}
	return w
}

func (s Page) verdict(v part.Verdict) string { return s.L.T("verdict_short." + string(v)) }

func (s Page) calls() report.SheetSection {
	t := report.SheetTable{Caption: s.t("calls.caption"), Head: []string{s.t("verdict"), s.t("inspections"), s.t("standing")},
		Numeric: []bool{false, true, true}}
	for _, v := range []part.Verdict{part.Pass, part.Rework, part.Reject, part.NotMeasured} {
		t.Rows = append(t.Rows, []string{s.verdict(v), strconv.Itoa(s.s.Calls[v]), strconv.Itoa(s.s.Standing[v])})
	}
	return report.SheetSection{Heading: s.t("calls"), Tables: []report.SheetTable{t}}
}

func (s Page) kinds() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("kinds")}
	if len(s.s.Kinds) == 0 {
		sec.Text = []string{s.t("kinds.none")}
		return sec
	}
	t := report.SheetTable{Caption: s.t("kinds.caption"), Head: []string{s.t("kind"), s.t("count"), s.t("with"), s.t("part"),
		s.t("cumulative")}, Numeric: []bool{false, true, true, true, true}}
	var names []string
	var counts plots.Series
	for i, k := range s.s.Kinds {
		name := s.L.T("kind." + string(k.Kind))
		names = append(names, name)
		counts.X, counts.Y = append(counts.X, float64(i)), append(counts.Y, float64(k.Count))
		t.Rows = append(t.Rows, []string{name, strconv.Itoa(k.Count), strconv.Itoa(k.Units), s.percent(k.Share), s.percent(k.Cumulative)})
	}
	sec.Figures = cli.Figures(cli.Figure(func() ([]byte, error) {
		return plots.Bars(plots.Options{Y: s.t("kinds.axis"), HeightMM: 60}, names, []plots.Series{counts})
	}, s.t("kinds.plot"), ""))
	sec.Tables = []report.SheetTable{t}
	return sec
}

func (s Page) steps() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("steps")}
	st := s.s.Steps
	if len(st.Points) == 0 {
		sec.Text = []string{s.t("steps.none")}
		return sec
	}
	c := plots.Chart{Centre: math.NaN(), Lower: math.NaN(), Upper: math.NaN(),
		Names: &plots.ChartNames{Centre: s.t("centre"), Upper: s.t("upper"), Lower: s.t("lower"), Out: s.t("marked")[len("▸ "):]}}
	caption := s.t("warn.few", "n", strconv.Itoa(len(st.Points)), "need", strconv.Itoa(s.O.LimitsFrom))
	if l := st.Limits; l != nil {
		c.Centre, c.Upper, caption = l.Centre, l.Upper, s.t("steps.limits")
		if l.Lower > 0 {
			c.Lower = l.Lower
		}
	}
	t := report.SheetTable{Caption: s.t("steps.out"), Head: []string{s.t("unit"), s.t("stage"), s.t("steps.x"), s.t("step"), s.t("why")},
		Numeric: []bool{false, false, false, true, false}}
	for _, p := range st.Points {
		c.Values, c.Labels, c.Out = append(c.Values, p.SizeUM), append(c.Labels, p.At.In(s.location()).Format("15:04")), append(c.Out,
			len(p.Signals) > 0)
		if len(p.Signals) > 0 {
			why := ""
			for i, g := range p.Signals {
				if i > 0 {
					why += "; "
				}
				why += s.t("rule." + g)
			}
			t.Rows = append(t.Rows, []string{part.UnitName(p.Serial, p.Side), s.L.T("stage." + string(p.Stage)),
				p.At.In(s.location()).Format("15:04"), s.L.Number(p.StepUM, 0), why})
		}
	}
	sec.Figures = cli.Figures(cli.Figure(func() ([]byte, error) {
		return plots.Control(plots.Options{X: s.t("steps.x"), Y: s.t("steps.axis"), HeightMM: 70, Missing: s.L.T("not_measured")}, c)
	}, s.t("steps.plot"), caption))
	switch {
	case len(t.Rows) > 0:
		sec.Tables = []report.SheetTable{t}
	case st.Limits != nil:
		sec.Text = []string{s.t("steps.in")}
	}
	return sec
}

func (s Page) hours() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("hours")}
	var names []string
	var n plots.Series
	for i, h := range s.s.Hours {
		names = append(names, h.From.Format("15:04"))
		n.X, n.Y = append(n.X, float64(i)), append(n.Y, float64(h.Inspections))
	}
	sec.Figures = cli.Figures(cli.Figure(func() ([]byte, error) {
		return plots.Bars(plots.Options{X: s.t("hours.x"), Y: s.t("hours.axis"), HeightMM: 60}, names, []plots.Series{n})
	}, s.t("hours.plot"), s.t("hours.plot")))
	return sec
}

func (s Page) overrules() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("overrules")}
	if len(s.s.Overrules) == 0 {
		sec.Text = []string{s.t("overrules.none")}
		return sec
	}
	t := report.SheetTable{Caption: s.t("overrules.caption"), Head: []string{s.t("tool"), s.t("person"), s.t("reason"), s.t("times")},
		Numeric: []bool{false, false, false, true}}
	for _, o := range s.s.Overrules {
		reason := o.Reason
		if s.L.Has("reason." + reason) {
			reason = s.L.T("reason." + reason)
		}
		t.Rows = append(t.Rows, []string{s.verdict(o.From), s.verdict(o.To), reason, strconv.Itoa(o.Count)})
	}
	sec.Tables = []report.SheetTable{t}
	return sec
}

func (s Page) how() report.SheetSection {
	return report.SheetSection{Heading: s.t("how"), Text: []string{
		s.t("how.first"), s.t("how.findings"), s.t("how.hours", "min", s.L.Number(s.O.Pause.Minutes(), 0)),
	}}
}
