package studies

import (
	"fmt"
	"math"
	"path/filepath"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/plots"
	"finishbench/internal/report"
	"finishbench/internal/study"
)

// biasSheet makes the page of a study of bias and linearity.
type biasSheet struct {
	name, unit string
	b          study.Bias
	v          study.Verdict
}

func (s biasSheet) label(what string) string { return cli.JoinUnit(what, s.unit, " / ") }

// sheet is the page.
func (s biasSheet) sheet() report.Sheet {
	facts := []report.Fact{{Name: "reference pieces", Value: fmt.Sprint(len(s.b.Pieces))}}
	if lo, hi := s.b.Range(); lo < hi {
		facts = append(facts, report.Fact{Name: "range", Value: cli.JoinUnit(cli.Shown4(lo)+" to "+cli.Shown4(hi), s.unit, " ")})
	}
	worst := 0
	for i, p := range s.b.Pieces {
		if math.Abs(p.Bias.Value) > math.Abs(s.b.Pieces[worst].Bias.Value) {
			worst = i
		}
	}
	facts = append(facts, report.Fact{Name: "largest bias", Value: s.interval(s.b.Pieces[worst].Bias, s.unit) + " at piece " + s.b.Pieces[worst].Piece})
	if l := s.b.Line; l != nil {
		facts = append(facts, report.Fact{Name: "linearity", Value: fmt.Sprintf("%s %% (slope %s)", cli.Shown(l.PercentLinearity(), 2), s.interval(l.Slope, ""))})
	}
	sections := []report.SheetSection{s.pieces()}
	if s.b.Line != nil {
		sections = append(sections, s.linearity())
	}
	return report.Sheet{
		Title: "Bias and linearity", Subject: filepath.Base(s.name), Rating: ratingOf(s.v.Grade), Word: s.word(), Line: s.v.Line,
		Facts: facts, Reasons: s.v.Reasons, Warnings: s.v.Warnings, Sections: append(sections, s.methods()),
	}
}

func (s biasSheet) word() string {
	switch s.v.Grade {
	case study.GoodGauge:
		return "no bias shows"
	case study.NotTold:
		return string(s.v.Grade)
	}
	return "a bias shows"
}

func (s biasSheet) interval(i study.Interval, unit string) string {
	v := cli.JoinUnit(cli.Shown4(i.Value), unit, " ")
	if part.Num(i.Lower) == nil {
		return v
	}
	return fmt.Sprintf("%s (%g %% interval: %s to %s)", v, 100*s.b.Level, cli.Shown4(i.Lower), cli.JoinUnit(cli.Shown4(i.Upper), unit, " "))
}

func (s biasSheet) pieces() report.SheetSection {
	t := report.SheetTable{
		Caption: fmt.Sprintf("Bias of each piece; limits of %g %% confidence, marked where they leave out 0", 100*s.b.Level),
		Head:    []string{"piece", "certified", "u", "readings", "mean", "SD", "bias", "lower", "upper", "p"},
		Numeric: []bool{false, true, true, true, true, true, true, true, true, true},
	}
	withShare := !math.IsNaN(s.b.Variation)
	if withShare {
		t.Head, t.Numeric = append(t.Head, "% of variation"), append(t.Numeric, true)
	}
	for _, p := range s.b.Pieces {
		row := []string{p.Piece, cli.Shown4(p.Reference), cli.Shown4(p.UReference), fmt.Sprint(len(p.Values)), cli.Shown4(p.Mean), cli.Shown4(p.SD), cli.Shown4(p.Bias.Value), cli.Shown4(p.Bias.Lower), cli.Shown4(p.Bias.Upper), cli.ShownP(p.P)}
		if withShare {
			row = append(row, cli.ShownShare(math.Abs(p.Bias.Value)/s.b.Variation))
		}
		t.Rows, t.Marked = append(t.Rows, row), append(t.Marked, p.Biased())
	}
	return report.SheetSection{Heading: "Bias", Tables: []report.SheetTable{t}}
}

func (s biasSheet) linearity() report.SheetSection {
	l := s.b.Line
	t := report.SheetTable{Head: []string{"line of the bias", "value", "lower", "upper", "p"}, Numeric: []bool{false, true, true, true, true},
		Rows: [][]string{
			{"intercept", cli.Shown4(l.Intercept.Value), cli.Shown4(l.Intercept.Lower), cli.Shown4(l.Intercept.Upper), cli.ShownP(l.PIntercept)},
			{"slope", cli.Shown4(l.Slope.Value), cli.Shown4(l.Slope.Lower), cli.Shown4(l.Slope.Upper), cli.ShownP(l.PSlope)},
		}}
	text := []string{fmt.Sprintf("Readings scatter about the line with a standard deviation of %s; it explains %s of the biases' variation. Lack of fit: p %s.", cli.JoinUnit(cli.Shown4(l.S), s.unit, " "), cli.ShownShare(l.R2), cli.ShownP(l.PLack))}
	if !math.IsNaN(s.b.Variation) {
		text = append(text, fmt.Sprintf("Linearity, slope times process variation: %s, %s of it.", cli.JoinUnit(cli.Shown4(math.Abs(l.Slope.Value)*s.b.Variation), s.unit, " "), cli.ShownShare(math.Abs(l.Slope.Value))))
	}
	return report.SheetSection{Heading: "Linearity", Text: text, Tables: []report.SheetTable{t},
		Figures: cli.Figures(cli.Figure(s.curve, "Bias of each reading over the certified value, with the fitted line and its band.", "Bias over the certified value. Where the band leaves the line at 0, a bias shows."))}
}

func (s biasSheet) curve() ([]byte, error) {
	b := plots.Band{Name: "fitted line", BandName: fmt.Sprintf("%g %% band", 100*s.b.Level)}
	lo, hi := s.b.Range()
	const steps = 100
	for i := range steps + 1 {
		x := lo + (hi-lo)*float64(i)/steps
		at := s.b.Line.Band(x)
		b.X, b.Y, b.Lower, b.Upper = append(b.X, x), append(b.Y, at.Value), append(b.Lower, at.Lower), append(b.Upper, at.Upper)
	}
	single, means := plots.Series{Name: "readings"}, plots.Series{Name: "means"}
	for _, p := range s.b.Pieces {
		for _, v := range p.Values {
			single.X, single.Y = append(single.X, p.Reference), append(single.Y, v-p.Reference)
		}
		means.X, means.Y = append(means.X, p.Reference), append(means.Y, p.Bias.Value)
	}
	b.Points = []plots.Series{single, means}
	return plots.Curve(plots.Options{X: s.label("certified value"), Y: s.label("bias")}, b, plots.HLine{Name: "no bias", Y: 0, Dash: true})
}

func (s biasSheet) methods() report.SheetSection {
	return report.SheetSection{Heading: "How this was computed", Text: []string{
		"Bias of a piece: mean minus certified value; its interval by Student's t from the scatter of repeats and the certified value's own uncertainty, with effective degrees of freedom (AIAG MSA, 4th ed., III-B; JCGM 100:2008, G.4.1).",
		"Line: least squares through the biases of all readings; the certified values' uncertainty is added to its band, each piece's taken as independent of the others'.",
		"Good: the line of no bias stays within the band over the pieces' range. A bias that follows a line is conditional, since it can be taken off; one that does not is not good enough.",
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
	j := biasJSON{Study: s.name, Unit: s.unit, Grade: s.v.Grade, Confidence: s.b.Level, Reasons: s.v.Reasons, Warnings: s.v.Warnings}
	cli.NotNil(&j.Reasons)
	cli.NotNil(&j.Warnings)
	for _, p := range s.b.Pieces {
		j.Pieces = append(j.Pieces, pieceBiasJSON{p.Piece, p.Reference, p.UReference, len(p.Values), part.Num(p.Mean), part.Num(p.SD), jsonInterval(p.Bias), part.Num(p.U), part.Num(p.P)})
	}
	if l := s.b.Line; l != nil {
		in := s.b.ZeroInBand()
		j.ZeroInBand = &in
		j.Line = &biasLineJSON{jsonInterval(l.Slope), jsonInterval(l.Intercept), part.Num(l.PSlope), part.Num(l.PIntercept), part.Num(l.S), part.Num(l.R2), part.Num(l.PLack), part.Num(l.PercentLinearity())}
	}
	return j
}
