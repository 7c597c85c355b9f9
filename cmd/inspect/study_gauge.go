package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/study"
)

const gaugeHelp = `gauge weighs a crossed study: the same parts, each measured several times by
each appraiser (a person, a shift, a station, a set-up). It says which share of
the variation is the gauge's own.

DATA.csv has the columns part, appraiser, trial and value, in any order. Without
appraiser all readings are by one, and without trial they count up.

With --folders, DIR/<appraiser>/<trial>/<unit>/ holds the pictures of a unit, or
a result.json that 'inspect unit' wrote; folders of pictures are inspected first,
into OUT/runs/<appraiser>/<trial>/. Take each unit out and put it back between
two trials, else the study does not see what that adds. Each station of a unit is
a part, its step the value; with --part worst each unit is, with its worst step.`

const gaugeExamples = `  inspect study gauge readings.csv --tolerance 60
  inspect study gauge --folders study/ --out results --mm-per-px 0.015 --tolerance 60`

const studyExitHelp = `EXIT STATUS
  0    the gauge is good enough, or may do
  1    anything else went wrong
  2    wrong usage, or a table that cannot be used
  3    the gauge is not good enough, or the check piece is out of limits
  4    the study does not tell`

type gaugeOptions struct {
	cli.SheetOptions
	inspect     inspection.Options // for folders of pictures
	folders     string
	part        string
	unitName    string
	leaveOut    bool
	tolerance   float64
	studySDs    float64
	poolAbove   float64
	errorTerm   string
	level       float64
	toleranceOn bool
}

func newStudyGaugeCommand() *cobra.Command {
	var o gaugeOptions
	def := study.DefaultGaugeOptions()
	cmd := &cobra.Command{
		Use:                   "gauge DATA.csv | gauge --folders DIR --out OUT",
		Short:                 "Repeatability and reproducibility of a gauge",
		Long:                  gaugeHelp + "\n\n" + studyExitHelp,
		Example:               gaugeExamples,
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.toleranceOn = cmd.Flags().Changed("tolerance")
			return runStudyGauge(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.Float64Var(&o.tolerance, "tolerance", 0, "upper limit minus lower limit, in the readings' unit")
	f.StringVar(&o.unitName, "unit", "", "the readings' unit, for labels (with --folders: um)")
	f.Float64Var(&o.studySDs, "sds", def.SDs, "standard deviations that count as all of a variation (some use 5.15)")
	f.Float64Var(&o.poolAbove, "pool-above", def.PoolAbove, "part x appraiser counts with the repeats where its p is above this (1: never)")
	f.StringVar(&o.errorTerm, "error-term", string(def.ErrorTerm), "what parts and appraisers are tested against: interaction or equipment")
	f.Float64Var(&o.level, "confidence", def.Level, "level of the confidence intervals")
	f.BoolVar(&o.leaveOut, "leave-out-incomplete", false, "go on without the parts that lack readings (with --folders always)")
	f.StringVar(&o.folders, "folders", "", "folder with <appraiser>/<trial>/<unit>/, in place of DATA.csv")
	f.StringVar(&o.part, "part", "station", "with --folders: what a part is, station or worst (a unit's worst step)")
	sheetFlags(&o.SheetOptions, cmd)
	f.Float64Var(&o.inspect.MMPerPX, "mm-per-px", 0, "with --folders: scale of the pictures, millimetres per pixel")
	f.StringVar(&o.inspect.Station, "station", "", "with --folders: file that describes the station")
	f.StringVar(&o.inspect.Stage, "stage", "", "with --folders: trim, wet or cured (default wet)")
	f.IntVar(&o.inspect.Jobs, "jobs", 0, "with --folders: pictures at a time (default: one for each processor)")
	return cmd
}

func runStudyGauge(ctx context.Context, o gaugeOptions, args []string, stdout, stderr io.Writer) error {
	opt, err := o.study()
	if err != nil {
		return err
	}
	in, err := o.readings(ctx, args, stderr)
	if err != nil {
		return err
	}
	if o.leaveOut || o.folders != "" {
		in.leaveOutIncomplete()
	}
	c, err := study.NewCrossed(in.readings)
	if err != nil {
		var incomplete study.IncompleteError
		if errors.As(err, &incomplete) {
			return cli.Usagef("%s: %w (--leave-out-incomplete does the second)", in.name, err)
		}
		return cli.Usagef("%s: %w", in.name, errors.Join(append([]error{err}, in.notesAsErrors()...)...))
	}
	g, err := study.NewGauge(c, opt)
	if err != nil {
		return cli.Usagef("%s: %w", in.name, err)
	}
	r := study.NewRangeStudy(c)
	v := g.Verdict(r)
	v.Warnings = append(v.Warnings, in.notes...)
	s := gaugeSheet{in, c, g, r, v}
	if err := o.Write("gauge", s.sheet(), s.numbers(), stdout); err != nil {
		return err
	}
	return exitForGrade(v.Grade)
}

// study are the checked options of the statistics.
func (o gaugeOptions) study() (study.GaugeOptions, error) {
	opt := study.DefaultGaugeOptions()
	opt.SDs, opt.PoolAbove, opt.Level, opt.ErrorTerm = o.studySDs, o.poolAbove, o.level, study.ErrorTerm(o.errorTerm)
	if o.toleranceOn {
		opt.Tolerance = o.tolerance
		if !(o.tolerance > 0) {
			return opt, cli.Usagef("--tolerance %g: give upper limit minus lower limit, above 0", o.tolerance)
		}
	}
	if err := opt.Check(); err != nil {
		return opt, cli.UsageError{Err: err}
	}
	return opt, nil
}

// readingsIn are the readings of a study and where they came from.
type readingsIn struct {
	name     string // of the table or folder
	unit     string // "um"; "" where it was not told
	readings []study.Reading
	notes    []string // what was left out or not measured
}

func (o gaugeOptions) readings(ctx context.Context, args []string, stderr io.Writer) (readingsIn, error) {
	switch {
	case o.folders != "" && len(args) > 0:
		return readingsIn{}, cli.Usagef("give a table or --folders, not both")
	case o.folders != "":
		return o.fromFolders(ctx, stderr)
	case len(args) != 1:
		return readingsIn{}, cli.Usagef("name one table with the readings, or --folders DIR (see 'inspect study gauge --help')")
	}
	f, err := cli.OpenTable(args[0])
	if err != nil {
		return readingsIn{}, err
	}
	defer f.Close()
	readings, err := study.ReadReadings(f)
	if err != nil {
		return readingsIn{}, cli.Usagef("%s: %w", args[0], err)
	}
	return readingsIn{name: args[0], unit: o.unitName, readings: readings}, nil
}

// leaveOutIncomplete goes on without the parts that lack readings, and says so.
func (in *readingsIn) leaveOutIncomplete() {
	left, out := study.Complete(in.readings)
	if len(out) == 0 {
		return
	}
	in.readings = left
	in.notes = append(in.notes, fmt.Sprintf("left out for want of readings: %s", cli.Few(out)))
}

func (in readingsIn) notesAsErrors() []error {
	var errs []error
	for _, n := range in.notes {
		errs = append(errs, errors.New(n))
	}
	return errs
}

// exitForGrade is the exit code of a gauge's grade.
func exitForGrade(g study.Grade) error {
	switch g {
	case study.NotGood:
		return cli.ExitCode(cli.ExitFails)
	case study.NotTold:
		return cli.ExitCode(cli.ExitUnmeasured)
	}
	return nil
}

func ratingOf(g study.Grade) report.Rating {
	switch g {
	case study.GoodGauge:
		return report.Good
	case study.Conditional:
		return report.Fair
	case study.NotGood:
		return report.Poor
	}
	return report.Unrated
}

// intervalJSON is a number with its confidence interval; absent where there is
// none.
type intervalJSON struct {
	Value *float64 `json:"value,omitempty"`
	Lower *float64 `json:"lower,omitempty"`
	Upper *float64 `json:"upper,omitempty"`
}

func jsonInterval(i study.Interval) intervalJSON {
	return intervalJSON{part.Num(i.Value), part.Num(i.Lower), part.Num(i.Upper)}
}
