package studies

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

	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/stats/study"
)

// CheckOptions are which step of the check piece is logged, and where.
type CheckOptions struct {
	Values      []string
	Unit        string
	Station     string
	Failed      bool
	DealtWith   string
	NewBaseline string
	Json        bool
	Language    string // of the text; see [cli.Language]
}

// RunCheck puts a measurement of the check piece on its log, and says whether units may be passed.
func RunCheck(o CheckOptions, args []string, now time.Time, stdout io.Writer) error {
	if len(args) != 1 {
		return cli.Usagef("name one log, which is made where it is missing (see 'inspect check --help')")
	}
	x, err := cli.Language(o.Language)
	if err != nil {
		return err
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
	sheet := stabilitySheet{x: x, name: path, s: s, v: s.Verdict()}
	if err := o.tell(sheet, now, stdout); err != nil {
		return err
	}
	if _, blocked := s.Blocked(now); blocked && s.State != study.OutOfLimits {
		return cli.ExitCode(cli.ExitUnmeasured)
	}
	return exitForGrade(sheet.v.Grade)
}

// tell writes the state in a few lines.
func (o CheckOptions) tell(s stabilitySheet, now time.Time, stdout io.Writer) error {
	if o.Json {
		return cli.WriteJSON(stdout, s.numbers())
	}
	fmt.Fprintln(stdout, s.x.T("study.check.state", "state", strings.ToUpper(s.x.Named("study.state.", string(s.s.State)))))
	line := s.x.Say(&s.v.Line)
	if why, blocked := s.s.Blocked(now); blocked {
		line = s.x.T("study.check.blocked", "why", s.x.Say(&why))
	}
	fmt.Fprintln(stdout, line)
	if l := s.s.Limits.Level; part.Num(l.Centre) != nil && len(s.s.Checks) > 0 {
		fmt.Fprintln(stdout, "  "+s.x.T("study.check.last", "level", s.x.Shown4(s.s.Checks[len(s.s.Checks)-1].Level), "lower",
			s.x.Shown4(l.Lower), "upper", s.x.Shown4(l.Upper), "from", s.from()))
	}
	for _, w := range s.x.SayAll(s.v.Warnings) {
		fmt.Fprintf(stdout, "  - %s\n", w)
	}
	return nil
}

// entries are the lines that the options ask for; none where only the state is
// wanted.
func (o CheckOptions) entries(now time.Time) ([]study.CheckEntry, error) {
	asked := 0
	for _, b := range []bool{len(o.Values) > 0, o.Unit != "", o.Failed, o.DealtWith != "", o.NewBaseline != ""} {
		if b {
			asked++
		}
	}
	if asked > 1 {
		return nil, cli.Usagef("give one of --value, --unit, --not-measured, --dealt-with and --new-baseline at a time")
	}
	if o.Station != "" && o.Unit == "" {
		return nil, cli.Usagef("--station goes with --unit")
	}
	measured := func(v float64, note string) study.CheckEntry {
		return study.CheckEntry{Time: now, Value: v, Note: note}
	}
	switch {
	case len(o.Values) > 0:
		var all []study.CheckEntry
		for _, text := range o.Values {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil || !(math.Abs(v) <= 1e100) {
				return nil, cli.Usagef("--value %s: give a number, with a decimal point", text)
			}
			all = append(all, measured(v, ""))
		}
		return all, nil
	case o.Unit != "":
		v, note, err := o.fromResult()
		return []study.CheckEntry{measured(v, note)}, err
	case o.Failed:
		return []study.CheckEntry{measured(math.NaN(), "could not be measured")}, nil
	case o.DealtWith != "":
		return event(study.DealtWith, "--dealt-with", o.DealtWith, now)
	case o.NewBaseline != "":
		return event(study.NewBaseline, "--new-baseline", o.NewBaseline, now)
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
func (o CheckOptions) fromResult() (v float64, note string, err error) {
	r, err := inspection.ReadResult(filepath.Join(o.Unit, cli.ResultFile))
	if err != nil {
		return 0, "", err
	}
	if o.Station == "" {
		return part.OrNaN(r.Seam.WorstStepUM), "worst step of " + r.Unit, nil
	}
	var names []string
	for _, s := range r.Seam.Stations {
		name := stationName(s)
		if name == o.Station {
			note = fmt.Sprintf("step of %s at %s", r.Unit, name)
			if s.State != part.Measured {
				return math.NaN(), note + ": " + s.Reason, nil
			}
			return part.OrNaN(s.StepUM), note, nil
		}
		names = append(names, name)
	}
	return 0, "", cli.Usagef("--station %q is not in %s: it has %s", o.Station, filepath.Join(o.Unit, cli.ResultFile),
		lang.English().Listed(names))
}

// stationName is how a station is called in studies: "030 left".
func stationName(s part.StepStation) string { return fmt.Sprintf("%03.0f %s", s.AngleDeg, s.Side) }

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
