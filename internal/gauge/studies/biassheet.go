package studies

import (
	"fmt"
	"math"
	"path/filepath"

	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
	"finishbench/internal/stats/study"
)

// biasSheet makes the page of a study of bias and linearity.
type biasSheet struct {
	x          *lang.Lang
	name, unit string
	b          study.Bias
	v          study.Verdict
}

func (s biasSheet) label(what string) string { return cli.JoinUnit(what, s.unit, " / ") }

// sheet is the page.
func (s biasSheet) sheet() report.Sheet {
	facts := []report.Fact{{Name: s.x.T("study.bias.fact.pieces"), Value: fmt.Sprint(len(s.b.Pieces))}}
	if lo, hi := s.b.Range(); lo < hi {
		facts = append(facts, report.Fact{Name: s.x.T("study.bias.fact.range"),
			Value: cli.JoinUnit(s.x.T("span", "from", s.x.Shown4(lo), "to", s.x.Shown4(hi)), s.unit, " ")})
	}
	worst := 0
	for i, p := range s.b.Pieces {
		if math.Abs(p.Bias.Value) > math.Abs(s.b.Pieces[worst].Bias.Value) {
			worst = i
		}
	}
	facts = append(facts, report.Fact{Name: s.x.T("study.bias.fact.largest"),
		Value: s.x.T("study.bias.at_piece", s.x.T("study.bias.bias"), s.interval(s.b.Pieces[worst].Bias, s.unit),
			s.x.T("study.bias.piece"), s.b.Pieces[worst].Piece)})
	if l := s.b.Line; l != nil {
		facts = append(facts, report.Fact{Name: s.x.T("study.bias.fact.linearity"),
			Value: s.x.T("study.bias.linearity", "percent", s.x.Shown(l.PercentLinearity(), 2), "slope", s.interval(l.Slope, ""))})
	}
	sections := []report.SheetSection{s.pieces()}
	if s.b.Line != nil {
		sections = append(sections, s.linearity())
	}
	return report.Sheet{
		Lang: s.x, Title: s.x.T("study.title.bias"), Subject: filepath.Base(s.name), Rating: ratingOf(s.v.Grade), Word: s.word(),
		Line:  s.x.Say(&s.v.Line),
		Facts: facts, Reasons: s.x.SayAll(s.v.Reasons), Warnings: s.x.SayAll(s.v.Warnings), Sections: append(sections, s.methods()),
	}
}

func (s biasSheet) word() string {
	switch s.v.Grade {
	case study.GoodGauge:
		return s.x.T("study.bias.word.none")
	case study.Undecided:
		return s.x.Named("study.grade.", string(s.v.Grade))
	}
	return s.x.T("study.bias.word.some")
}

func (s biasSheet) interval(i study.Interval, unit string) string {
	v := cli.JoinUnit(s.x.Shown4(i.Value), unit, " ")
	if part.Num(i.Lower) == nil {
		return v
	}
	return s.x.T("study.interval", "v", v, "level", fmt.Sprintf("%g", 100*s.b.Level), "lower", s.x.Shown4(i.Lower), "upper",
		cli.JoinUnit(s.x.Shown4(i.Upper), unit, " "))
}

func (s biasSheet) pieces() report.SheetSection {
	t := report.SheetTable{
		Caption: s.x.T("study.bias.caption", "level", fmt.Sprintf("%g", 100*s.b.Level)),
		Head: []string{s.x.T("study.bias.piece"), s.x.T("study.bias.certified"), "u", s.x.T("study.bias.readings"),
			s.x.T("study.axis.mean"), s.x.T("study.sd"), s.x.T("study.bias.bias"), s.x.T("study.lower"), s.x.T("study.upper"), "p"},
		Numeric: []bool{false, true, true, true, true, true, true, true, true, true},
	}
	withShare := !math.IsNaN(s.b.Variation)
	if withShare {
		t.Head, t.Numeric = append(t.Head, s.x.T("study.bias.of_variation")), append(t.Numeric, true)
	}
	for _, p := range s.b.Pieces {
		row := []string{p.Piece, s.x.Shown4(p.Reference), s.x.Shown4(p.UReference), fmt.Sprint(len(p.Values)), s.x.Shown4(p.Mean),
			s.x.Shown4(p.SD), s.x.Shown4(p.Bias.Value), s.x.Shown4(p.Bias.Lower), s.x.Shown4(p.Bias.Upper), s.x.ShownP(p.P)}
		if withShare {
			row = append(row, s.x.ShownShare(math.Abs(p.Bias.Value)/s.b.Variation))
		}
		t.Rows, t.Marked = append(t.Rows, row), append(t.Marked, p.Biased())
	}
	return report.SheetSection{Heading: s.x.T("study.bias.head"), Tables: []report.SheetTable{t}}
}

func (s biasSheet) linearity() report.SheetSection {
	l := s.b.Line
	t := report.SheetTable{Head: []string{s.x.T("study.bias.line_of"), s.x.T("study.value"), s.x.T("study.lower"), s.x.T("study.upper"),
		"p"}, Numeric: []bool{false, true, true, true, true},
		Rows: [][]string{
			{s.x.T("study.bias.intercept"), s.x.Shown4(l.Intercept.Value), s.x.Shown4(l.Intercept.Lower), s.x.Shown4(l.Intercept.Upper),
				s.x.ShownP(l.PIntercept)},
			{s.x.T("study.bias.slope"), s.x.Shown4(l.Slope.Value), s.x.Shown4(l.Slope.Lower), s.x.Shown4(l.Slope.Upper),
				s.x.ShownP(l.PSlope)},
		}}
	text := []string{s.x.T("study.bias.scatter", "sd", cli.JoinUnit(s.x.Shown4(l.S), s.unit, " "), "share", s.x.ShownShare(l.R2), "p",
		s.x.ShownP(l.PLack))}
	if !math.IsNaN(s.b.Variation) {
		text = append(text, s.x.T("study.bias.linearity_line", "v", cli.JoinUnit(s.x.Shown4(math.Abs(l.Slope.Value)*s.b.Variation),
			s.unit, " "), "share", s.x.ShownShare(math.Abs(l.Slope.Value))))
	}
	return report.SheetSection{Heading: s.x.T("study.bias.linearity_head"), Text: text, Tables: []report.SheetTable{t},
		Figures: cli.Figures(cli.Figure(s.curve, s.x.T("study.bias.plot.alt"), s.x.T("study.bias.plot")))}
}

func (s biasSheet) curve() ([]byte, error) {
	b := plots.Band{Name: s.x.T("study.bias.fitted"), BandName: s.x.T("study.bias.band", "level", fmt.Sprintf("%g", 100*s.b.Level))}
	lo, hi := s.b.Range()
	const steps = 100
	for i := range steps + 1 {
		x := lo + (hi-lo)*float64(i)/steps
		at := s.b.Line.Band(x)
		b.X, b.Y, b.Lower, b.Upper = append(b.X, x), append(b.Y, at.Value), append(b.Lower, at.Lower), append(b.Upper, at.Upper)
	}
	single, means := plots.Series{Name: s.x.T("study.bias.readings")}, plots.Series{Name: s.x.T("study.bias.means")}
	for _, p := range s.b.Pieces {
		for _, v := range p.Values {
			single.X, single.Y = append(single.X, p.Reference), append(single.Y, v-p.Reference)
		}
		means.X, means.Y = append(means.X, p.Reference), append(means.Y, p.Bias.Value)
	}
	b.Points = []plots.Series{single, means}
	return plots.Curve(plots.Options{X: s.label(s.x.T("study.bias.certified_value")), Y: s.label(s.x.T("study.bias.bias"))}, b,
		plots.HLine{Name: s.x.T("study.bias.no_bias"), Y: 0, Dash: true})
}

func (s biasSheet) methods() report.SheetSection {
	return report.SheetSection{Heading: s.x.T("how.computed"), Text: []string{
		s.x.T("study.bias.how.1"),
		s.x.T("study.bias.how.2"),
		s.x.T("study.bias.how.3"),
	}}
}

// biasJSON are the numbers of a study of bias.
type biasJSON struct {
	Study      string          `json:"study"`
	Unit       string          `json:"unit,omitempty"`
	Grade      study.Grade     `json:"grade"`
	Confidence float64         `json:"confidence"`
	Pieces     []pieceBiasJSON `json:"pieces"`
	Line       *biasLineJSON   `json:"line,omitempty"`
	ZeroInBand *bool           `json:"zero_in_band,omitempty"`
	Reasons    []string        `json:"reasons"`
	Warnings   []string        `json:"warnings"`

	ReasonPhrases  []part.Phrase `json:"reason_phrases,omitempty"` // to be told in any language
	WarningPhrases []part.Phrase `json:"warning_phrases,omitempty"`
}

type pieceBiasJSON struct {
	Piece     string       `json:"piece"`
	Reference float64      `json:"reference"`
	U         float64      `json:"u_reference"`
	Readings  int          `json:"readings"`
	Mean      *float64     `json:"mean,omitempty"`
	SD        *float64     `json:"sd,omitempty"`
	Bias      intervalJSON `json:"bias"`
	UBias     *float64     `json:"u_bias,omitempty"`
	P         *float64     `json:"p,omitempty"`
}

type biasLineJSON struct {
	Slope            intervalJSON `json:"slope"`
	Intercept        intervalJSON `json:"intercept"`
	PSlope           *float64     `json:"p_slope,omitempty"`
	PIntercept       *float64     `json:"p_intercept,omitempty"`
	SD               *float64     `json:"residual_sd,omitempty"`
	R2               *float64     `json:"r2,omitempty"`
	PLack            *float64     `json:"p_lack_of_fit,omitempty"`
	PercentLinearity *float64     `json:"percent_linearity,omitempty"`
}

func (s biasSheet) numbers() biasJSON {
	j := biasJSON{Study: s.name, Unit: s.unit, Grade: s.v.Grade, Confidence: s.b.Level, Reasons: lang.English().SayAll(s.v.Reasons),
		Warnings:      lang.English().SayAll(s.v.Warnings),
		ReasonPhrases: s.v.Reasons, WarningPhrases: s.v.Warnings}
	cli.NotNil(&j.Reasons)
	cli.NotNil(&j.Warnings)
	for _, p := range s.b.Pieces {
		j.Pieces = append(j.Pieces, pieceBiasJSON{p.Piece, p.Reference, p.UReference, len(p.Values), part.Num(p.Mean), part.Num(p.SD),
			jsonInterval(p.Bias), part.Num(p.U), part.Num(p.P)})
	}
	if l := s.b.Line; l != nil {
		in := s.b.ZeroInBand()
		j.ZeroInBand = &in
		j.Line = &biasLineJSON{jsonInterval(l.Slope), jsonInterval(l.Intercept), part.Num(l.PSlope), part.Num(l.PIntercept),
			part.Num(l.S), part.Num(l.R2), part.Num(l.PLack), part.Num(l.PercentLinearity())}
	}
	return j
}
