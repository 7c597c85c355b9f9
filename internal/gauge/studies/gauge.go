package studies

import (
	"context"
	"errors"
	"io"

	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/stats/study"
)

// GaugeOptions are a crossed study's readings and the tolerance that they are held against.
type GaugeOptions struct {
	cli.SheetOptions
	Inspect     inspection.Options // for folders of pictures
	Folders     string
	Part        string
	UnitName    string
	LeaveOut    bool
	Tolerance   float64
	StudySDs    float64
	PoolAbove   float64
	ErrorTerm   string
	Level       float64
	ToleranceOn bool
}

// RunGauge weighs a crossed study of a gauge.
func RunGauge(ctx context.Context, o GaugeOptions, args []string, stdout, stderr io.Writer) error {
	x, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	opt, err := o.study()
	if err != nil {
		return err
	}
	in, err := o.readings(ctx, args, stderr)
	if err != nil {
		return err
	}
	if o.LeaveOut || o.Folders != "" {
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
	s := gaugeSheet{x, in, c, g, r, v}
	if err := o.Write("gauge", s.sheet(), s.numbers(), stdout); err != nil {
		return err
	}
	return exitForGrade(v.Grade)
}

// study are the checked options of the statistics.
func (o GaugeOptions) study() (study.GaugeOptions, error) {
	opt := study.DefaultGaugeOptions()
	opt.SDs, opt.PoolAbove, opt.Level, opt.ErrorTerm = o.StudySDs, o.PoolAbove, o.Level, study.ErrorTerm(o.ErrorTerm)
	if o.ToleranceOn {
		opt.Tolerance = o.Tolerance
		if !(o.Tolerance > 0) {
			return opt, cli.Usagef("--tolerance %g: give upper limit minus lower limit, above 0", o.Tolerance)
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
	notes    []part.Phrase // what was left out or not measured
}

func (o GaugeOptions) readings(ctx context.Context, args []string, stderr io.Writer) (readingsIn, error) {
	switch {
	case o.Folders != "" && len(args) > 0:
		return readingsIn{}, cli.Usagef("give a table or --folders, not both")
	case o.Folders != "":
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
	return readingsIn{name: args[0], unit: o.UnitName, readings: readings}, nil
}

// leaveOutIncomplete goes on without the parts that lack readings, and says so.
func (in *readingsIn) leaveOutIncomplete() {
	left, out := study.Complete(in.readings)
	if len(out) == 0 {
		return
	}
	in.readings = left
	in.notes = append(in.notes, part.Say("study.note.left_out").With("names", firstNames(out)...))
}

func (in readingsIn) notesAsErrors() []error {
	var errs []error
	for _, n := range in.notes {
		errs = append(errs, lang.Error(n))
	}
	return errs
}

// exitForGrade is the exit code of a gauge's grade.
func exitForGrade(g study.Grade) error {
	switch g {
	case study.NotGood:
		return cli.ExitCode(cli.ExitFails)
	case study.Undecided:
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
