package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/plots"
	"finishbench/internal/process"
	"finishbench/internal/report"
)

const lotStepHelp = `step judges a lot by how large its steps are, rather than by counting: sampling by
variables, spread not known (s-method, MIL-STD-414), by the worst step of each unit
with its sign. It needs far fewer units than counting, but holds only where the
values are normal, which is tested and told. Lay down AQL and limits before the
lot is looked at. It stands beside the lot's decision and does not enter it.

Without values it tells the plan: sample, k, M, and what it lets through. Limits are
those from which a step is major, unless --low and --high say otherwise.

EXIT STATUS
  0    the plan is told, or the steps are accepted
  3    the steps are refused
  4    too few units were measured`

const lotStepExamples = `  inspect lot step --size 500 --aql 1
  inspect lot step 31 --aql 1 --record bench.db --out step
  inspect lot step --size 40 --aql 1 --values steps.txt --high 50`

// lotStepOptions are the plan by values, the limits, and where values come from.
type lotStepOptions struct {
	cli.SheetOptions
	*cli.Database
	size                     int
	level, mode, stage       string
	aql                      float64
	low, high, values, limit string
	stdin                    io.Reader
}

func newLotStepCommand(r *cli.Database) *cobra.Command {
	o := lotStepOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "step [LOT]",
		Short:                 "Judge the steps of a lot by measured values",
		Long:                  lotStepHelp,
		Example:               lotStepExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.stdin = cmd.InOrStdin()
			return runLotStep(cmd.Context(), o, strings.Join(args, ""), cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.size, "size", 0, "units in the lot (default: the lot's)")
	f.Float64Var(&o.aql, "aql", 1, "acceptance quality limit, percent of units with a step beyond the limits")
	f.StringVar(&o.level, "level", "IV", "inspection level of MIL-STD-414: I to V")
	f.StringVar(&o.mode, "mode", string(lots.Normal), "normal or tightened")
	f.StringVar(&o.low, "low", "", "lowest step, um, below 0 recessed; none: no limit")
	f.StringVar(&o.high, "high", "", "highest step, um, above 0 proud; none: no limit")
	f.StringVar(&o.values, "values", "", "file with a step a line, um, in the draw's order; - for standard input")
	f.StringVar(&o.stage, "stage", "", "trim, wet or cured: whose limits (default: the lot's, else cured)")
	f.StringVar(&o.limit, "limits", "", "file with the limits (default: the built-in ones)")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}

// lotStep is a plan by variables and, where there are values, what they say.
type lotStep struct {
	Lot       string         `json:"lot,omitempty"`
	Plan      lots.Variables `json:"plan"`
	Limits    lots.Limits    `json:"limits_um"`
	Through   lots.Through   `json:"through"`
	Measured  int            `json:"measured"`               // of the first ones, as many as the plan needs
	Missing   []string       `json:"not_measured,omitempty"` // units among these
	Judged    *lots.Measured `json:"judged,omitempty"`
	NormalP   *float64       `json:"normal_p,omitempty"` // chance of so large a deviation from normal values
	names     []string       `json:"-"`                  // along valuesUM; none: the values are from a file
	valuesUM  []float64      `json:"-"`                  // in the draw's order; NaN: not measured
	wasAsked  bool           `json:"-"`                  // values are wanted that were not measured
	normality error          `json:"-"`
}

// runLotStep judges a lot's steps by their values.
func runLotStep(ctx context.Context, o lotStepOptions, name string, stdout io.Writer) error {
	s := lotStep{Lot: name}
	stage := part.Cured
	if name != "" {
		opening, err := s.fromLot(ctx, o.Database, name)
		if err != nil {
			return err
		}
		if o.size == 0 {
			o.size = opening.Size
		}
		stage = opening.Stage
	}
	if o.stage != "" {
		var err error
		if stage, err = part.ParseStage(o.stage); err != nil {
			return cli.UsageError{Err: err}
		}
	}
	if o.values != "" {
		if name != "" {
			return cli.Usagef("--values and a lot: the lot has its own; give one of them")
		}
		if err := s.fromFile(o.values, o.stdin); err != nil {
			return err
		}
	}
	if o.size == 0 {
		return cli.Usagef("say how large the lot is: --size, or name a lot of the records")
	}
	var err error
	if s.Plan, err = lots.LookupVariables(o.size, lots.Level(o.level), o.aql, lots.Mode(o.mode)); err != nil {
		return lotError(err)
	}
	if s.Limits, err = o.stepLimits(stage); err != nil {
		return err
	}
	s.Through = s.Plan.Through()
	if err := s.judge(); err != nil {
		return err
	}
	if err := o.SheetOptions.Write("lot-step", s.sheet(), s, stdout); err != nil {
		return err
	}
	return s.exit()
}

// exit is the exit code of what was judged; nil: accepted.
func (s *lotStep) exit() error {
	switch {
	case s.Judged != nil && !s.Judged.Accepted:
		return cli.ExitCode(cli.ExitFails)
	case s.wasAsked && s.Judged == nil:
		return cli.ExitCode(cli.ExitUnmeasured)
	}
	return nil
}

// fromLot takes the worst step of each unit of the sample, in the draw's order.
func (s *lotStep) fromLot(ctx context.Context, r *cli.Database, name string) (lots.Opening, error) {
	book, err := openLot(ctx, r, name)
	if err != nil {
		return lots.Opening{}, err
	}
	defer book.store.Close()
	s.wasAsked = true
	for _, p := range book.lot.Current().Sample {
		um := math.NaN()
		if p.Unit != nil {
			um = cli.NumberOf(p.Unit.WorstStepUM)
		}
		s.names, s.valuesUM = append(s.names, p.Name), append(s.valuesUM, um)
	}
	return book.lot.Current().Opening, nil
}

// fromFile reads a step a line; empty lines and those that begin with # are skipped.
func (s *lotStep) fromFile(path string, stdin io.Reader) error {
	in, name, err := openLines(path, stdin)
	if err != nil {
		return err
	}
	defer in.Close()
	s.wasAsked = true
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
		s.valuesUM = append(s.valuesUM, v)
	}
	if err := lines.Err(); err != nil {
		return linesError(name, err)
	}
	return nil
}

// stepLimits are those given, else those from which on a step is major.
func (o *lotStepOptions) stepLimits(stage part.Stage) (lots.Limits, error) {
	limits, err := config.LoadLimits(o.limit)
	if err != nil {
		return lots.Limits{}, cli.UsageError{Err: err}
	}
	proud, recessed := limits.StepLimits(stage)
	out := lots.Limits{Lower: part.Num(-recessed), Upper: part.Num(proud)}
	for _, x := range []struct {
		flag, text string
		to         **float64
	}{{"--low", o.low, &out.Lower}, {"--high", o.high, &out.Upper}} {
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

// judge decides by the first units of the draw, as many as the plan needs. Where one
// of them was not measured nothing is decided: to take the next one in its place would
// be to choose.
func (s *lotStep) judge() error {
	s.valuesUM = s.valuesUM[:min(len(s.valuesUM), s.Plan.N)]
	for i, um := range s.valuesUM {
		if math.IsNaN(um) {
			s.Missing = append(s.Missing, s.names[i])
		}
	}
	s.Measured = len(s.valuesUM) - len(s.Missing)
	if s.Measured < s.Plan.N {
		return nil
	}
	m, err := s.Plan.Judge(s.valuesUM, s.Limits)
	if err != nil {
		return errors.New(strings.TrimPrefix(err.Error(), "lots: "))
	}
	s.Judged = &m
	n, err := process.AndersonDarling(s.valuesUM)
	if s.normality = err; err == nil {
		s.NormalP = part.Num(n.P)
	}
	return nil
}

func (s *lotStep) sheet() report.Sheet {
	p := &s.Plan
	sh := report.Sheet{Title: "Steps by measured values", Rating: report.Plain, Word: fmt.Sprintf("%s of %d", cli.Counted(p.N, "unit", "units"), p.LotSize),
		Line: fmt.Sprintf("Measure the step of %s, drawn at random.", cli.Counted(p.N, "unit", "units"))}
	if s.Lot != "" {
		sh.Subject = "lot " + s.Lot
	}
	sh.Facts = []report.Fact{{Name: "plan", Value: lots.VariablesEdition}, {Name: "level, letter, mode", Value: fmt.Sprintf("%s, %s, %s", p.Level, p.Letter, p.Mode)},
		{Name: "AQL", Value: fmt.Sprintf("%g %%", p.AQL)}, {Name: "limits", Value: limitsWord(s.Limits)},
		{Name: "k", Value: cli.Shown(p.K, 3)}, {Name: "M", Value: cli.ShownShare(p.M)}}
	switch {
	case s.Judged != nil:
		sh.Rating, sh.Word, sh.Line = report.Good, "accepted", s.Judged.Sentence
		if !s.Judged.Accepted {
			sh.Rating, sh.Word = report.Poor, "refused"
		}
		sh.Facts = append(sh.Facts, report.Fact{Name: "mean", Value: cli.Shown(s.Judged.Mean, 2) + " um"}, report.Fact{Name: "standard deviation", Value: cli.Shown(s.Judged.S, 2) + " um"})
	case s.wasAsked:
		sh.Rating, sh.Word = report.Unrated, ""
		sh.Line = fmt.Sprintf("%d of the %d steps that the plan needs were measured: nothing is decided.", s.Measured, p.N)
	}
	sh.Warnings = s.doubts()
	sh.Sections = []report.SheetSection{s.through()}
	return sh
}

func limitsWord(l lots.Limits) string {
	switch {
	case l.Lower == nil:
		return fmt.Sprintf("at most %+g um", *l.Upper)
	case l.Upper == nil:
		return fmt.Sprintf("at least %+g um", *l.Lower)
	}
	return fmt.Sprintf("%+g to %+g um", *l.Lower, *l.Upper)
}

func (s *lotStep) doubts() []string {
	out := []string{lots.VariablesNote}
	if n := len(s.Missing); n > 0 && s.Judged == nil {
		out = append(out, "Not measured: "+strings.Join(s.Missing[:min(n, 20)], ", ")+".")
	}
	switch {
	case s.Judged == nil:
	case s.normality != nil:
		out = append(out, "Whether the values are normal could not be tested: "+s.normality.Error()+".")
	case s.NormalP == nil:
		out = append(out, "Whether the values are normal could not be tested.")
	case *s.NormalP < 0.05:
		out = append(out, fmt.Sprintf("The values are not normal (Anderson-Darling, p %s): this decision does not hold; judge the lot by counting.", cli.ShownP(*s.NormalP)))
	}
	if s.Judged != nil && s.Judged.Outside > 0 {
		out = append(out, cli.Counted(s.Judged.Outside, "unit of the sample is itself beyond a limit: take it out", "units of the sample are themselves beyond a limit: take them out")+", whatever the lot's decision.")
	}
	return out
}

func (s *lotStep) through() report.SheetSection {
	sec := report.SheetSection{Heading: "What the plan lets through", Text: []string{s.Through.Sentence}}
	t := report.SheetTable{Caption: "Operating characteristic, one limit", Head: []string{"beyond the limit / %", "accepted / %"}, Numeric: []bool{true, true}}
	for _, r := range s.Plan.Curve(ocRows) {
		t.Rows = append(t.Rows, []string{cli.Shown4(100 * r.P), cli.Shown(100*r.Pa, 2)})
	}
	sec.Figures = ocFigure("beyond the limit / %", s.Plan.Curve(curvePoints), 100, plots.OC{}, "Share of lots that the plan accepts, over the share of units beyond the limit.")
	sec.Tables = []report.SheetTable{t}
	return sec
}
