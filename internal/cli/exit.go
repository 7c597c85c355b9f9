package cli

import (
	"errors"
	"fmt"
	"io"
)

// The exit codes. They are an interface to other programs: see docs/commands.md.
const (
	ExitPass        = 0   // all units pass
	ExitOther       = 1   // anything else went wrong, or some unit was not looked at
	ExitUsage       = 2   // wrong usage
	ExitFails       = 3   // some unit wants rework or is rejected
	ExitUnmeasured  = 4   // some picture or unit could not be measured
	ExitInterrupted = 130 // stopped by ctrl-C or SIGTERM
)

// ExitHelp tells of the exit codes, for the commands that inspect units.
const ExitHelp = `EXIT STATUS
  0    all units pass
  1    anything else: a folder is missing, OUT cannot be written, the disk is full
  2    wrong usage; nothing was inspected
  3    some unit wants rework or is rejected
  4    some picture or unit could not be measured (4 wins over 3, 1 over both)
  130  stopped by ctrl-C; units already done are whole`

// UsageError is a mistake in the command line or in a file named there.
type UsageError struct{ Err error }

func (e UsageError) Error() string { return e.Err.Error() }
func (e UsageError) Unwrap() error { return e.Err }

// Usagef is a usage error, made as by fmt.Errorf.
func Usagef(format string, a ...any) error { return UsageError{fmt.Errorf(format, a...)} }

// ExitCode is an exit code for which all has been said already.
type ExitCode int

func (e ExitCode) Error() string { return fmt.Sprintf("exit code %d", int(e)) }

// Interrupted is a run that was stopped by ctrl-C or SIGTERM.
type Interrupted struct{ Done, Total int }

func (e Interrupted) Error() string {
	return fmt.Sprintf("stopped: %d of %d units done, their results are whole", e.Done, e.Total)
}

// Tell says what went wrong, in one line, and returns the exit code. It is the
// only place that knows which error is which code.
func Tell(stderr io.Writer, err error) int {
	var code ExitCode
	var usage UsageError
	var interrupted Interrupted
	switch {
	case err == nil:
		return ExitPass
	case errors.As(err, &code):
		return int(code)
	case errors.As(err, &usage):
		fmt.Fprintf(stderr, "inspect: %v\n", err)
		return ExitUsage
	case errors.As(err, &interrupted):
		fmt.Fprintf(stderr, "inspect: %v\n", err)
		return ExitInterrupted
	}
	fmt.Fprintf(stderr, "inspect: %v\n", err)
	return ExitOther
}
