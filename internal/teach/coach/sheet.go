package coach

import (
	"fmt"
	"strconv"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
	"finishbench/internal/teach"
)

// coachSheet makes the coaching sheet, in a language. It gives no mark: a
// difference is a reason to talk.
type coachSheet struct {
	l        *lang.Lang
	c        teach.Coaching
	p        teach.CoachParams
	from, to time.Time
	stage    part.Stage
	crop     func(id int64, f part.Finding) (report.Crop, error)
}

func (s coachSheet) t(key string, args ...string) string { return s.l.T("coach."+key, args...) }

func (s coachSheet) kind(k part.Kind) string { return s.l.T("kind." + string(k)) }

func (s coachSheet) sheet() report.Sheet {
	sh := report.Sheet{Title: s.t("title"), Subject: s.t("who", "who", s.c.Operator) + ", " + s.day(s.from) + " – " + s.day(s.to),
		Rating: report.Plain, Lang: s.l, Cautions: report.AllCautions(s.l), Line: s.line(), Reasons: s.reasons()}
	if s.stage != "" {
		sh.Subject += ", " + s.l.T("stage."+string(s.stage))
	} else {
		sh.Warnings = append(sh.Warnings, s.t("warn.stages"))
	}
	if n := s.c.Unnamed; n > 0 {
		sh.Warnings = append(sh.Warnings, s.t("warn.unnamed", "n", strconv.Itoa(n)))
	}
	sh.Sections = []report.SheetSection{s.kinds(), s.trend(), s.talk(),
		{Heading: s.t("how"), Text: []string{s.t("how.work"), s.t("how.numbers"), s.t("how.people")}}}
	return sh
}

func (s coachSheet) day(t time.Time) string { return t.Local().Format("2006-01-02") }

func (s coachSheet) line() string {
	if s.c.Others == 0 {
		return s.t("line.alone", "n", strconv.Itoa(s.c.Units))
	}
	return s.t("line", "n", strconv.Itoa(s.c.Units), "m", strconv.Itoa(s.c.OtherUn), "k", strconv.Itoa(s.c.Others))
}

func (s coachSheet) reasons() []string {
	var out []string
	for _, k := range s.c.Kinds {
		if k.Word == teach.More || k.Word == teach.Fewer {
			out = append(out, s.t("reason."+k.Word, "kind", s.kind(k.Kind), "own", s.l.Number(k.Own.Rate, 1), "others",
				s.l.Number(k.Others.Rate, 1), "p", lang.English().ShownP(*k.PHolm)))
		}
	}
	if w := s.c.Trend.Word; w == teach.Rising || w == teach.Falling {
		out = append(out, s.t("reason."+w, "f", s.l.Number(*s.c.Trend.Change, 2), "p", lang.English().ShownP(*s.c.Trend.P)))
	}
	if len(out) == 0 {
		out = []string{s.t("reason.none")}
	}
	return out
}

func (s coachSheet) span(r teach.Per100) string {
	return fmt.Sprintf("%s (%s – %s)", s.l.Number(r.Rate, 1), s.l.Number(r.Low, 1), s.l.Number(r.High, 1))
}

func (s coachSheet) kinds() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("kinds")}
	t := report.SheetTable{Caption: s.t("kinds.caption", "c", s.l.Number(100*s.c.AtLevel, 0)),
		Head: []string{s.t("kind"), s.t("found"), s.t("own"), s.t("others"), s.t("p"), s.t("differs")}, Numeric: []bool{false, true, true,
			true, true, false}}
	var names []string
	var spans []plots.Interval
	for _, k := range s.c.Kinds {
		p, others := "–", "–"
		if k.PHolm != nil {
			p = lang.English().ShownP(*k.PHolm)
		}
		names, spans = append(names, s.kind(k.Kind)+", "+s.t("one")), append(spans,
			plots.Interval{Lo: k.Own.Low, Mid: k.Own.Rate, Hi: k.Own.High})
		if s.c.OtherUn > 0 {
			others = s.span(k.Others)
			names, spans = append(names, s.t("rest")), append(spans, plots.Interval{Lo: k.Others.Low, Mid: k.Others.Rate,
				Hi: k.Others.High})
		}
		t.Rows = append(t.Rows, []string{s.kind(k.Kind), strconv.Itoa(k.Own.Count), s.span(k.Own), others, p, s.t("word." + k.Word)})
		t.Marked = append(t.Marked, k.Word == teach.More || k.Word == teach.Fewer)
	}
	if len(t.Rows) == 0 {
		sec.Text = []string{s.t("talk.none")}
		return sec
	}
	sec.Figures = cli.Figures(cli.Figure(func() ([]byte, error) {
		return plots.Intervals(plots.Options{Missing: s.l.T("not_measured"), Y: s.t("kinds.axis"), HeightMM: 75}, names, spans)
	}, s.t("kinds.plot"), ""))
	sec.Tables = []report.SheetTable{t}
	return sec
}

func (s coachSheet) trend() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("trend")}
	switch s.c.Trend.Word {
	case teach.TooFew:
		sec.Text = []string{s.t("trend.few")}
	case teach.Level:
		sec.Text = []string{s.t("trend.level")}
	}
	if len(s.c.Trend.Weeks) < 2 {
		return sec
	}
	var names []string
	var spans []plots.Interval
	for _, w := range s.c.Trend.Weeks {
		names = append(names, w.From.Format("01-02"))
		spans = append(spans, plots.Interval{Lo: w.Low, Mid: w.Rate, Hi: w.High})
	}
	sec.Figures = cli.Figures(cli.Figure(func() ([]byte, error) {
		return plots.Intervals(plots.Options{Missing: s.l.T("not_measured"), X: s.t("trend.x"), Y: s.t("kinds.axis"),
			HeightMM: 60}, names, spans)
	}, s.t("trend.plot"), ""))
	return sec
}

// talk shows the findings, or says that a picture was not kept.
func (s coachSheet) talk() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("talk"), Small: true}
	if len(s.c.Talk) == 0 {
		sec.Text = []string{s.t("talk.none")}
	}
	for _, x := range s.c.Talk {
		args := []string{"kind", s.kind(x.Finding.Kind), "severity", s.l.T("severity." + string(x.Finding.Severity)), "unit", x.Serial,
			"when", s.day(x.At)}
		crop, err := s.crop(x.ID, x.Finding)
		if err != nil {
			sec.Text = append(sec.Text, s.t("talk.gone", args...))
			continue
		}
		caption := s.t("talk.caption", args...)
		sec.Pictures = append(sec.Pictures, report.SheetPicture{JPEG: crop.JPEG, W: crop.W, H: crop.H, Alt: caption, Caption: caption})
	}
	return sec
}
