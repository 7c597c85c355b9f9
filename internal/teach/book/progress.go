package book

import (
	"context"
	"errors"
	"math"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
	"finishbench/internal/teach"
)

// scored is an attempt with its score.
type scored struct {
	quizTaken
	Score teach.Score
	Err   error // nothing that counts was answered
}

// ofPerson are a person's attempts, in the order in which they were begun.
func (b *Book) ofPerson(ctx context.Context, id string) ([]scored, error) {
	all, err := b.attempts(ctx)
	if err != nil {
		return nil, err
	}
	var out []scored
	for _, t := range all {
		if t.Person != id {
			continue
		}
		s := scored{quizTaken: t}
		s.Score, s.Err = teach.NewScore(t.Of.Test, t.Shown, teach.DefaultScoreOptions())
		if s.Err != nil && !errors.Is(s.Err, teach.ErrNoAnswer) {
			return nil, s.Err
		}
		out = append(out, s)
	}
	return out, nil
}

// ProgressSheet makes the page of a person's tests over time, in a language.
type progressSheet struct {
	l        *lang.Lang
	Who      string
	All      []scored
	criteria teach.Criteria
	now      time.Time
}

func (s progressSheet) t(key string, args ...string) string {
	return s.l.T("quiz.progress."+key, args...)
}

// Progress implements bench.Quizzes.
func (b *Book) Progress(ctx context.Context, l *lang.Lang, initials, badge string) ([]byte, error) {
	s, err := b.ProgressSheet(ctx, l, initials, badge)
	if err != nil {
		return nil, err
	}
	return sheetBytes(s.Sheet())
}

// ProgressSheet gathers how a person did over time.
func (b *Book) ProgressSheet(ctx context.Context, l *lang.Lang, initials, badge string) (progressSheet, error) {
	p, err := b.Known(ctx, initials, badge)
	if err != nil {
		return progressSheet{}, err
	}
	all, err := b.ofPerson(ctx, p.ID)
	return progressSheet{l, p.Word(), all, teach.DefaultCriteria(), b.now()}, err
}

// Sheet is the page.
func (s progressSheet) Sheet() report.Sheet {
	sh := report.Sheet{Title: s.t("title"), Subject: s.Who, Rating: report.Plain, Lang: s.l, Cautions: report.AllCautions(s.l)}
	var ended []scored
	for _, t := range s.All {
		if !t.Finished.IsZero() && t.Err == nil {
			ended = append(ended, t)
		}
	}
	sh.Line = s.t("line", "n", strconv.Itoa(len(ended)))
	if len(ended) == 0 {
		sh.Line = s.t("none")
	}
	if len(ended) > 1 {
		sh.Sections = append(sh.Sections, s.plots(ended))
	}
	sh.Sections = append(sh.Sections, s.table(), report.SheetSection{Heading: s.l.T("quiz.result.method"),
		Text: []string{s.l.T("quiz.result.source"), s.l.T("quiz.result.people")}})
	return sh
}

func (s progressSheet) plots(ended []scored) report.SheetSection {
	sec := report.SheetSection{Heading: s.t("plot")}
	names := []string{"effective", "found", "miss", "alarm"}
	series := make([]plots.Series, len(names))
	for i, n := range names {
		series[i].Name = s.t("series." + n)
	}
	size := plots.Series{Name: s.l.T("quiz.result.spots")}
	sizes := 0
	for _, t := range ended {
		v := t.Score.Verdict
		x := t.Finished.Sub(ended[0].Finished).Hours() / 24 / 7
		for j, y := range []float64{v.Effective.Value(), t.Score.Found().Value(), v.Miss.Value(), v.FalseAlarm.Value()} {
			series[j].X, series[j].Y = append(series[j].X, x), append(series[j].Y, y)
		}
		size.X, size.Y = append(size.X, x), append(size.Y, t.Score.SpotSizeMM())
		if !math.IsNaN(t.Score.SpotSizeMM()) {
			sizes++
		}
	}
	h := plots.HLine{Name: s.t("asked", "v", s.l.Number(100*s.criteria.Effective, 0)), Y: s.criteria.Effective, Dash: true}
	if svg, err := plots.Lines(plots.Options{Missing: s.l.T("not_measured"), X: s.t("plot_x"), Y: s.t("plot_y"),
		HeightMM: 90}, series, h); err == nil {
		sec.Figures = append(sec.Figures, report.SheetFigure{SVG: svg, Alt: s.t("plot_alt"), Caption: s.t("plot")})
	}
	if sizes < 2 {
		return sec
	}
	if svg, err := plots.Lines(plots.Options{Missing: s.l.T("not_measured"), X: s.t("plot_x"), Y: s.t("size_y"),
		HeightMM: 60}, []plots.Series{size}); err == nil {
		sec.Figures = append(sec.Figures, report.SheetFigure{SVG: svg, Alt: s.t("size_plot"), Caption: s.t("size_plot")})
	}
	return sec
}

func (s progressSheet) table() report.SheetSection {
	r := func(key string) string { return s.l.T("quiz.result." + key) }
	t := report.SheetTable{Head: []string{s.t("day"), s.t("test"), s.t("units"), r("effectiveness"), r("miss"), r("false_alarm"),
		r("kappa"), r("size"), s.t("certificate")},
		Numeric: []bool{false, false, true, true, true, true, true, true, false}}
	for _, x := range s.All {
		row := []string{day(x.Last), quizTitle(x.Of), strconv.Itoa(x.Score.Units)}
		if x.Err != nil {
			t.Rows = append(t.Rows, append(row, s.t("open")))
			continue
		}
		v := x.Score.Verdict
		kappa := s.l.T("not_measured")
		if x.Score.VerdictErr == nil && v.ReferenceErr == nil {
			kappa = s.l.Number(v.Reference.Value, 2)
		}
		until := ""
		if c := x.Certificate; c != nil {
			until = day(c.Expires)
			if !c.Holds(s.now) {
				until += " (" + s.l.T("quiz.cert.word_expired") + ")"
			}
		} else if x.Finished.IsZero() {
			until = s.t("open")
		}
		t.Rows = append(t.Rows, append(row, percentText(s.l, v.Effective.Value()), percentText(s.l, v.Miss.Value()),
			percentText(s.l, v.FalseAlarm.Value()), kappa, QuizSheet{L: s.l}.mm(x.Score.SpotSizeMM()), until))
	}
	return report.SheetSection{Heading: s.t("table"), Tables: []report.SheetTable{t}}
}

// CertificateSheet makes the certificate, in a language.
func (b *Book) CertificateSheet(ctx context.Context, l *lang.Lang, q teach.Quiz, t teach.Attempt) (report.Sheet, error) {
	s, err := b.ResultSheet(ctx, l, q, t)
	if err != nil {
		return report.Sheet{}, err
	}
	c := t.Certificate
	if c == nil {
		return report.Sheet{}, problem("quiz.no_certificate")
	}
	key := func(k string, args ...string) string { return l.T("quiz.cert."+k, args...) }
	sh := report.Sheet{Title: key("title"), Subject: key("subject"), Rating: report.Good, Word: s.person(), Lang: l,
		Line: key("line", "who", s.person(), "title", quizTitle(q), "at", day(c.At))}
	sh.CautionsHead = key("scope")
	sh.Cautions = []string{key("stands_for", "n", strconv.Itoa(s.Score.Units), "good", strconv.Itoa(s.Score.Clean), "bad",
		strconv.Itoa(s.Score.Defective))}
	if !c.Holds(b.now()) {
		sh.Rating, sh.Word = report.Poor, key("word_expired")
		sh.Warnings = []string{key("expired", "day", day(c.Expires))}
	}
	sh.Facts = []report.Fact{{Name: key("at"), Value: day(c.At)}, {Name: key("expires"), Value: day(c.Expires)},
		{Name: key("number"), Value: q.Name + "-" + t.Name}}
	table := report.SheetTable{Head: []string{key("criterion"), key("asked"), key("got")}, Numeric: []bool{false, true, true}}
	all, _ := c.Criteria.Weigh(s.Score, !t.Finished.IsZero())
	for _, x := range all {
		table.Rows = append(table.Rows, criterionRow(l, x))
	}
	sh.Sections = []report.SheetSection{
		{Heading: key("criteria"), Tables: []report.SheetTable{table}},
		{Heading: key("by"), Text: []string{key("sign")}},
	}
	return sh, nil
}

// criterionRow is a criterion in words: what, asked, reached.
func criterionRow(l *lang.Lang, c teach.Criterion) []string {
	key := func(k string, args ...string) string { return l.T("quiz.cert."+k, args...) }
	say := func(v float64) string {
		if math.IsNaN(v) {
			return l.T("not_measured")
		}
		switch c.Name {
		case "whole":
			if v > 0 {
				return key("yes")
			}
			return key("no")
		case "clean", "defective":
			return l.Number(v, 0)
		case "kappa":
			return l.Number(v, 2)
		case "size":
			return l.T("quiz.result.mm", "v", l.Number(v, 2))
		}
		return percentText(l, v)
	}
	asked := say(c.Asked)
	switch c.Name {
	case "whole":
	case "miss", "false_alarm", "size":
		asked = key("most", "v", asked)
	default:
		asked = key("least", "v", asked)
	}
	return []string{key(c.Name), asked, say(c.Got)}
}

// unmet names the criteria that a score does not meet.
func unmet(l *lang.Lang, all []teach.Criterion) string {
	var out []string
	for _, c := range all {
		if !c.Met {
			r := criterionRow(l, c)
			out = append(out, r[0]+" "+r[2]+" ("+r[1]+")")
		}
	}
	return l.T("quiz.cert.unmet", "what", strings.Join(out, ", "))
}

// Certificate implements bench.Quizzes.
func (b *Book) Certificate(ctx context.Context, l *lang.Lang, attempt string) ([]byte, error) {
	q, t, err := b.Attempt(ctx, attempt)
	if err != nil {
		return nil, err
	}
	s, err := b.CertificateSheet(ctx, l, q, t)
	if err != nil {
		return nil, err
	}
	return sheetBytes(s)
}
