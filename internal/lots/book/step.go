package book

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/lots"
	"finishbench/internal/lots/process"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
)

// StepOptions are the plan by values, the limits, and where values come from.
type StepOptions struct {
	cli.SheetOptions
	*cli.Database
	Size                     int
	Level, Mode, Stage       string
	AQL                      float64
	Low, High, Values, Limit string
	Stdin                    io.Reader
}

// Step is a plan by variables and, where there are values, what they say.
type Step struct {
	Lot        string          `json:"lot,omitempty"`
	Plan       lots.Variables  `json:"plan"`
	Limits     lots.Limits     `json:"limits_um"`
	Protection lots.Protection `json:"through"`
	Measured   int             `json:"measured"`               // of the first ones, as many as the plan needs
	Missing    []string        `json:"not_measured,omitempty"` // units among these
	Judged     *lots.Measured  `json:"judged,omitempty"`
	NormalP    *float64        `json:"normal_p,omitempty"` // chance of so large a deviation from normal values
	Names      []string        `json:"-"`                  // along ValuesUM; none: the values are from a file
	ValuesUM   []float64       `json:"-"`                  // in the draw's order; NaN: not measured
	WasAsked   bool            `json:"-"`                  // values are wanted that were not measured
	normality  error           `json:"-"`
}

// RunStep judges a lot's steps by their values.
func RunStep(ctx context.Context, o StepOptions, name string, stdout io.Writer) error {
	l, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	s := Step{Lot: name}
	stage := part.Cured
	if name != "" {
		opening, err := s.fromLot(ctx, o.Database, name)
		if err != nil {
			return err
		}
		if o.Size == 0 {
			o.Size = opening.Size
		}
		stage = opening.Stage
	}
	if o.Stage != "" {
		if stage, err = part.ParseStage(o.Stage); err != nil {
			return cli.UsageError{Err: err}
		}
	}
	if o.Values != "" {
		if name != "" {
			return cli.Usagef("--values and a lot: the lot has its own; give one of them")
		}
		if err := s.fromFile(o.Values, o.Stdin); err != nil {
			return err
		}
	}
	if o.Size == 0 {
		return cli.Usagef("say how large the lot is: --size, or name a lot of the records")
	}
	if s.Plan, err = lots.LookupVariables(o.Size, lots.Level(o.Level), o.AQL, lots.Mode(o.Mode)); err != nil {
		return lotError(err)
	}
	if s.Limits, err = o.stepLimits(stage); err != nil {
		return err
	}
	s.Protection = s.Plan.Protection()
	if err := s.Judge(); err != nil {
		return err
	}
	if err := o.SheetOptions.Write("lot-step", s.sheet(sheetWords{l}), s, stdout); err != nil {
		return err
	}
	return s.Exit()
}

// Exit is the exit code of what was judged; nil: accepted.
func (s *Step) Exit() error {
	switch {
	case s.Judged != nil && !s.Judged.Accepted:
		return cli.ExitCode(cli.ExitFails)
	case s.WasAsked && s.Judged == nil:
		return cli.ExitCode(cli.ExitUnmeasured)
	}
	return nil
}

// fromLot takes the worst step of each unit of the sample, in the draw's order.
func (s *Step) fromLot(ctx context.Context, r *cli.Database, name string) (lots.Opening, error) {
	book, err := openFrom(ctx, r, name)
	if err != nil {
		return lots.Opening{}, err
	}
	defer book.store.Close()
	s.WasAsked = true
	for _, p := range book.Lot.Current().Sample {
		um := math.NaN()
		if p.Unit != nil {
			um = part.OrNaN(p.Unit.WorstStepUM)
		}
		s.Names, s.ValuesUM = append(s.Names, p.Name), append(s.ValuesUM, um)
	}
	return book.Lot.Current().Opening, nil
}

// fromFile reads a step a line; empty lines and those that begin with # are skipped.
func (s *Step) fromFile(path string, stdin io.Reader) error {
	in, name, err := openLines(path, stdin)
	if err != nil {
		return err
	}
	defer in.Close()
	s.WasAsked = true
	lines := bufio.NewScanner(in)
	for n := 1; lines.Scan(); n++ {
		text := strings.TrimSpace(lines.Text())
		if text == "" || strings.HasPrefix(text, "#") {
			continue
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return cli.Usagef("%s, line %d: %q is no step in um", name, n, shortText(text))
		}
		s.ValuesUM = append(s.ValuesUM, v)
	}
	if err := lines.Err(); err != nil {
		return linesError(name, err)
	}
	return nil
}

// stepLimits are those given, else those from which on a step is major.
func (o *StepOptions) stepLimits(stage part.Stage) (lots.Limits, error) {
	limits, err := config.LoadLimits(o.Limit)
	if err != nil {
		return lots.Limits{}, cli.UsageError{Err: err}
	}
	proud, recessed := limits.StepLimits(stage)
	out := lots.Limits{Lower: part.Num(-recessed), Upper: part.Num(proud)}
	for _, x := range []struct {
		flag, text string
		to         **float64
	}{{"--low", o.Low, &out.Lower}, {"--high", o.High, &out.Upper}} {
		switch x.text {
		case "":
			continue
		case "none":
			*x.to = nil
			continue
		}
		v, err := strconv.ParseFloat(x.text, 64)
		if err != nil || part.Num(v) == nil {
			return out, cli.Usagef("%s %s: give um, or none", x.flag, x.text)
		}
		*x.to = &v
	}
	if out.Lower == nil && out.Upper == nil {
		return out, cli.Usagef("a step needs a limit: --low, --high or both")
	}
	if out.Lower != nil && out.Upper != nil && *out.Lower >= *out.Upper {
		return out, cli.Usagef("--low %g is not below --high %g", *out.Lower, *out.Upper)
	}
	return out, nil
}

// Judge decides by the first units of the draw, as many as the plan needs. Where one
// of them was not measured nothing is decided: to take the next one in its place would
// be to choose.
func (s *Step) Judge() error {
	s.ValuesUM = s.ValuesUM[:min(len(s.ValuesUM), s.Plan.N)]
	for i, um := range s.ValuesUM {
		if math.IsNaN(um) {
			s.Missing = append(s.Missing, s.Names[i])
		}
	}
	s.Measured = len(s.ValuesUM) - len(s.Missing)
	if s.Measured < s.Plan.N {
		return nil
	}
	m, err := s.Plan.Judge(s.ValuesUM, s.Limits)
	if err != nil {
		return errors.New(strings.TrimPrefix(err.Error(), "lots: "))
	}
	s.Judged = &m
	n, err := process.AndersonDarling(s.ValuesUM)
	if s.normality = err; err == nil {
		s.NormalP = part.Num(n.P)
	}
	return nil
}

func (s *Step) sheet(x sheetWords) report.Sheet {
	p := &s.Plan
	n := strconv.Itoa(p.N)
	sh := report.Sheet{Title: x.t("step.title"), Rating: report.Plain, Lang: x.Lang,
		Word: x.t("units_of", "n", n, "size", strconv.Itoa(p.LotSize)), Line: x.t("step.line", "n", n)}
	if s.Lot != "" {
		sh.Subject = x.t("step.lot", "lot", s.Lot)
	}
	sh.Facts = []report.Fact{{Name: x.t("step.plan"), Value: lots.VariablesEdition},
		{Name: x.t("step.level"), Value: strings.Join([]string{string(p.Level), p.Letter, x.mode(p.Mode)}, x.T("join.names"))},
		{Name: "AQL", Value: fmt.Sprintf("%g %%", p.AQL)}, {Name: x.t("limits"), Value: x.stepLimits(s.Limits)},
		{Name: "k", Value: x.Shown(p.K, 3)}, {Name: "M", Value: x.ShownShare(p.M)}}
	switch {
	case s.Judged != nil:
		sh.Rating, sh.Word, sh.Line = report.Good, x.t("accepted"), x.Say(&s.Judged.Phrase)
		if !s.Judged.Accepted {
			sh.Rating, sh.Word = report.Poor, x.t("refused")
		}
		sh.Facts = append(sh.Facts, report.Fact{Name: x.t("step.mean"), Value: x.WithUnit(s.Judged.Mean, 2, "µm")},
			report.Fact{Name: x.t("step.sd"), Value: x.WithUnit(s.Judged.S, 2, "µm")})
	case s.WasAsked:
		sh.Rating, sh.Word = report.Unrated, ""
		sh.Line = x.t("step.few", "measured", strconv.Itoa(s.Measured), "n", n)
	}
	sh.Warnings = s.doubts(x)
	sh.Sections = []report.SheetSection{s.protectionSection(x)}
	return sh
}

func (x sheetWords) stepLimits(l lots.Limits) string {
	um := func(v *float64) string { return fmt.Sprintf("%+g", *v) }
	switch {
	case l.Lower == nil:
		return x.t("step.at_most", "um", um(l.Upper))
	case l.Upper == nil:
		return x.t("step.at_least", "um", um(l.Lower))
	}
	return x.t("step.between", "low", um(l.Lower), "high", um(l.Upper))
}

func (s *Step) doubts(x sheetWords) []string {
	note := lots.VariablesNote()
	out := []string{x.Say(&note)}
	if n := len(s.Missing); n > 0 && s.Judged == nil {
		out = append(out, x.t("step.missing", "units", x.Listed(s.Missing)))
	}
	switch {
	case s.Judged == nil:
	case s.normality != nil:
		out = append(out, x.t("step.untested_why", "why", x.reason(s.normality)))
	case s.NormalP == nil:
		out = append(out, x.t("step.untested"))
	case *s.NormalP < 0.05:
		out = append(out, x.t("step.not_normal", "p", x.ShownP(*s.NormalP)))
	}
	if s.Judged != nil && s.Judged.Outside > 0 {
		out = append(out, x.t("step.beyond", "n", strconv.Itoa(s.Judged.Outside)))
	}
	return out
}

func (s *Step) protectionSection(x sheetWords) report.SheetSection {
	beyond := x.t("oc.beyond")
	sec := report.SheetSection{Heading: x.t("oc.title"), Text: []string{x.Say(s.Protection.Phrase)}}
	t := report.SheetTable{Caption: x.t("oc.caption_one"), Head: []string{beyond, x.t("oc.accepted_percent")},
		Numeric: []bool{true, true}}
	for _, r := range s.Plan.Curve(ocRows) {
		t.Rows = append(t.Rows, []string{x.Shown4(100 * r.P), x.Shown(100*r.Pa, 2)})
	}
	sec.Figures = x.ocFigure(beyond, s.Plan.Curve(curvePoints), 100, plots.OC{}, x.t("oc.over_limit"))
	sec.Tables = []report.SheetTable{t}
	return sec
}
