package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/inspection"
	"finishbench/internal/part"
	"finishbench/internal/study"
)

const checkHelp = `check keeps the log of the check piece: measure the same piece at the start of
each shift, write its value here, and see whether the gauge is still what it was.
Out of limits, 'inspect unit' passes no unit (station file, key check_log) until
a line in the log says who dealt with it, and how.

--value may be given several times: these are one check. --unit takes the value
from a result that 'inspect unit' wrote: the worst step, or the station named
with --station, such as "030 left".`

const checkExamples = `  inspect check checks.csv --value 12.3
  inspect check checks.csv --unit results/check-piece --station "030 left"
  inspect check checks.csv --dealt-with "finisher 3: cleaned the lens"
  inspect check checks.csv --new-baseline "setter 1: new lens"
  inspect check checks.csv                           (only tells the state)`

type checkOptions struct {
	values      []string
	unit        string
	station     string
	failed      bool
	dealtWith   string
	newBaseline string
	json        bool
}

func newCheckCommand() *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:                   "check LOG.csv",
		Short:                 "Log a check piece and tell whether the gauge is stable",
		Long:                  checkHelp + "\n\n" + studyExitHelp,
		Example:               checkExamples,
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runCheck(o, args, time.Now(), cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringArrayVar(&o.values, "value", nil, "what the check piece measured; several times for repeats of one check")
	f.StringVar(&o.unit, "unit", "", "folder with the check piece's result.json, in place of --value")
	f.StringVar(&o.station, "station", "", `with --unit: the station, such as "030 left" (default: the worst step)`)
	f.BoolVar(&o.failed, "not-measured", false, "the check piece could not be measured")
	f.StringVar(&o.dealtWith, "dealt-with", "", `who did what about a check out of limits: "name: what was done"`)
	f.StringVar(&o.newBaseline, "new-baseline", "", `the same, and the piece's level is another one from here on`)
	f.BoolVar(&o.json, "json", false, "write the state to standard output as JSON")
	f.SortFlags = false
	return cmd
}

func runCheck(o checkOptions, args []string, now time.Time, stdout io.Writer) error {
	if len(args) != 1 {
		return cli.Usagef("name one log, which is made where it is missing (see 'inspect check --help')")
	}
	entries, err := o.entries(now.Truncate(time.Second))
	if err != nil {
		return err
	}
	path := args[0]
	if len(entries) > 0 {
		if err := appendChecks(path, entries); err != nil {
			return err
		}
	}
	s, err := inspection.ReadStability(path, nil)
	if err != nil {
		return err
	}
	sheet := stabilitySheet{name: path, s: s, v: s.Verdict()}
	if err := o.tell(sheet, now, stdout); err != nil {
		return err
	}
	if blocked, _ := s.Blocked(now); blocked && s.State != study.OutOfLimits {
		return cli.ExitCode(cli.ExitUnmeasured)
	}
	return exitForGrade(sheet.v.Grade)
}

// tell writes the state in a few lines.
func (o checkOptions) tell(s stabilitySheet, now time.Time, stdout io.Writer) error {
	if o.json {
		return cli.WriteJSON(stdout, s.numbers())
	}
	fmt.Fprintf(stdout, "Check piece: %s\n", strings.ToUpper(string(s.s.State)))
	line := s.v.Line
	if blocked, why := s.s.Blocked(now); blocked {
		line = "No unit passes: " + why + "."
	}
	fmt.Fprintln(stdout, line)
	if l := s.s.Limits.Level; part.Num(l.Centre) != nil && len(s.s.Checks) > 0 {
		fmt.Fprintf(stdout, "  last check %s, limits %s to %s%s\n", cli.Shown4(s.s.Checks[len(s.s.Checks)-1].Level), cli.Shown4(l.Lower), cli.Shown4(l.Upper), s.from())
	}
	for _, w := range s.v.Warnings {
		fmt.Fprintf(stdout, "  - %s\n", w)
	}
	return nil
}

// entries are the lines that the options ask for; none where only the state is
// wanted.
func (o checkOptions) entries(now time.Time) ([]study.CheckEntry, error) {
	asked := 0
	for _, b := range []bool{len(o.values) > 0, o.unit != "", o.failed, o.dealtWith != "", o.newBaseline != ""} {
		if b {
			asked++
		}
	}
	if asked > 1 {
		return nil, cli.Usagef("give one of --value, --unit, --not-measured, --dealt-with and --new-baseline at a time")
	}
	if o.station != "" && o.unit == "" {
		return nil, cli.Usagef("--station goes with --unit")
	}
	measured := func(v float64, note string) study.CheckEntry {
		return study.CheckEntry{Time: now, Value: v, Note: note}
	}
	switch {
	case len(o.values) > 0:
		var all []study.CheckEntry
		for _, text := range o.values {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil || !(math.Abs(v) <= 1e100) {
				return nil, cli.Usagef("--value %s: give a number, with a decimal point", text)
			}
			all = append(all, measured(v, ""))
		}
		return all, nil
	case o.unit != "":
		v, note, err := o.fromResult()
		return []study.CheckEntry{measured(v, note)}, err
	case o.failed:
		return []study.CheckEntry{measured(math.NaN(), "could not be measured")}, nil
	case o.dealtWith != "":
		return event(study.DealtWith, "--dealt-with", o.dealtWith, now)
	case o.newBaseline != "":
		return event(study.NewBaseline, "--new-baseline", o.newBaseline, now)
	}
	return nil, nil
}

func event(e study.CheckEvent, flag, note string, now time.Time) ([]study.CheckEntry, error) {
	if err := study.CheckNote(note); err != nil {
		return nil, cli.Usagef("%s: %w", flag, err)
	}
	return []study.CheckEntry{{Time: now, Value: math.NaN(), Event: e, Note: note}}, nil
}

// fromResult takes the check's value from a unit's result: NaN, with a note,
// where it was not measured.
func (o checkOptions) fromResult() (v float64, note string, err error) {
	r, err := inspection.ReadResult(filepath.Join(o.unit, cli.ResultFile))
	if err != nil {
		return 0, "", err
	}
	if o.station == "" {
		return cli.NumberOf(r.Seam.WorstStepUM), "worst step of " + r.Unit, nil
	}
	var names []string
	for _, s := range r.Seam.Stations {
		name := stationName(s)
		if name == o.station {
			note = fmt.Sprintf("step of %s at %s", r.Unit, name)
			if s.State != part.Measured {
				return math.NaN(), note + ": " + s.Reason, nil
			}
			return cli.NumberOf(s.StepUM), note, nil
		}
		names = append(names, name)
	}
	return 0, "", cli.Usagef("--station %q is not in %s: it has %s", o.station, filepath.Join(o.unit, cli.ResultFile), cli.Few(names))
}

// stationName is how a station is called in studies: "030 left".
func stationName(s part.Station) string { return fmt.Sprintf("%03.0f %s", s.AngleDeg, s.Side) }

// appendChecks adds lines to a log, which it makes where there is none. The log
// must be whole before and after; else nothing is written.
func appendChecks(path string, entries []study.CheckEntry) error {
	data, err := files.Read(path, files.MostText)
	made := errors.Is(err, fs.ErrNotExist)
	if err != nil && !made {
		return cli.Usagef("%s cannot be read: %w", path, cli.PlainPath(err))
	}
	text := ""
	if len(bytes.TrimSpace(data)) == 0 {
		text = study.CheckHeader
	} else if !headed(string(data)) {
		return cli.Usagef("%s cannot be added to: its first line must be %s", path, strings.TrimSpace(study.CheckHeader))
	} else if !bytes.HasSuffix(data, []byte("\n")) {
		text = "\n"
	}
	for _, e := range entries {
		text += e.Row()
	}
	if _, err := inspection.ParseStability(path, append(slices.Clone(data), text...), nil); err != nil {
		return fmt.Errorf("nothing was written: %w", err)
	}
	f, err := os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o666)
	if err != nil {
		return fmt.Errorf("%s cannot be written: %w", path, cli.PlainPath(err))
	}
	_, err = f.WriteString(text)
	if err := errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("%s cannot be written: %w", path, cli.PlainPath(err))
	}
	return nil
}

// headed says whether a log has the columns in the order that lines are added in.
func headed(text string) bool {
	for line := range strings.Lines(strings.TrimPrefix(text, "\ufeff")) {
		line = strings.TrimSpace(line)
		if line != "" && !strings.HasPrefix(line, "#") {
			return strings.EqualFold(line, strings.TrimSpace(study.CheckHeader))
		}
	}
	return false
}
